"""Two cases against each other on the same samples, and where their ranking changes along a swept input."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError
from contactfe.inputs import FIELDS, field_of, read_value, set_path
from contactfe.uncertainty.band import HIGH, LOW, SAMPLES, Band, bands_at, sampling_of, uncertain_case
from contactfe.uncertainty.probabilities import Chance, chance
from contactfe.uncertainty.read import UncertainCase
from contactfe.uncertainty.solve import Watch, solving

Array = NDArray[np.float64]

CROSSOVER_SAMPLES = 32


@dataclass(frozen=True, eq=False)
class Duel:
    """Torques N m (n,) that two cases deliver on the same samples: 0 where one turns freely, nan without an answer."""

    first_Nm: Array
    second_Nm: Array

    @cached_property
    def known(self) -> NDArray[np.bool_]:
        """Which samples have an answer in both (n,)."""
        return np.asarray(np.isfinite(self.first_Nm) & np.isfinite(self.second_Nm))

    def first_beats_second(self) -> Chance:
        """Probability that the first delivers more than the second."""
        return chance((self.first_Nm > self.second_Nm)[self.known])

    def ties(self) -> int:
        """Samples in which both deliver the same torque: both turn freely, or one bolt twists off in both."""
        return int((self.first_Nm == self.second_Nm)[self.known].sum())

    def ratio(self) -> tuple[float, float, float]:
        """Median, 10 % and 90 % of the ratio of the torques, over samples in which the second one grips."""
        grips = self.known & (self.second_Nm > 0.0)
        if not grips.any():
            return float("nan"), float("nan"), float("nan")
        ratio = self.first_Nm[grips] / self.second_Nm[grips]
        low, middle, high = np.quantile(ratio, [LOW, 0.5, HIGH])
        return float(middle), float(low), float(high)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two bands whose samples go together: `shared` are the inputs that had the same value in both."""

    first: Band
    second: Band
    shared: tuple[str, ...]

    @cached_property
    def duel(self) -> Duel:
        """The torques of both."""
        return Duel(self.first.torque_Nm, self.second.torque_Nm)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Which samples have an answer in both (n,)."""
        return self.duel.known

    def first_beats_second(self) -> Chance:
        """Probability that the first delivers more than the second."""
        return self.duel.first_beats_second()

    def ties(self) -> int:
        """Samples in which both deliver the same torque: both turn freely, or one bolt twists off in both."""
        return self.duel.ties()

    def ratio(self) -> tuple[float, float, float]:
        """Median, 10 % and 90 % of the ratio of the torques, over samples in which the second one grips."""
        return self.duel.ratio()


@dataclass(frozen=True, eq=False)
class Crossover:
    """Where the ranking of two cases changes along a swept input (internal units).

    `values` (k,) are the values swept, `first_Nm` and `second_Nm` (n, k) the torques, `places` (n,) where the first
    change of each sample lies, nan where there is none. `leads` is the chance (k,) that the first one leads.
    """

    path: str
    names: tuple[str, str]
    values: Array
    first_Nm: Array
    second_Nm: Array
    places: Array
    shared: tuple[str, ...]

    @property
    def changes(self) -> Chance:
        """Probability that the ranking changes within the values."""
        return chance(np.isfinite(self.places))

    @property
    def leads(self) -> tuple[Chance, ...]:
        """Probability that the first one delivers more, at each value."""
        return tuple(chance(self.first_Nm[:, k] > self.second_Nm[:, k]) for k in range(len(self.values)))

    def first_leads_before(self) -> bool:
        """Whether in most samples that change (of all, where none does) the first one delivers more up to there."""
        changes = np.isfinite(self.places)
        which = changes if changes.any() else np.ones(len(changes), dtype=bool)
        leads = np.sign(self.first_Nm - self.second_Nm)[which]
        started = leads[np.arange(len(leads)), np.argmax(leads != 0.0, axis=1)]
        return bool(np.sum(started > 0.0) >= np.sum(started < 0.0))

    def place(self) -> tuple[float, float, float] | None:
        """Median, 10 % and 90 % of the place, over the samples that change; None when none does."""
        found = self.places[np.isfinite(self.places)]
        if not len(found):
            return None
        low, middle, high = np.quantile(found, [LOW, 0.5, HIGH])
        return float(middle), float(low), float(high)


@dataclass(frozen=True)
class Sampling:
    """How to sample: `n` points (a power of two) of a `seed`, on how many `workers`.

    Outlines are looked for in `folder`; `watch` is called with how many jobs of how many are done.
    """

    n: int = SAMPLES
    seed: int = 1
    workers: int = 1
    folder: Path | None = None
    watch: Watch | None = None


def compare(first: Mapping[str, Any], second: Mapping[str, Any], how: Sampling | None = None) -> Comparison:
    """Bands of two cases on common random numbers: what scatters outside [wrench] has one random number in both.

    The samples of each are those that a study of both with the same seed draws.

    Raises as `band`; names of the cases head their problems.
    """
    how = how or Sampling()
    pair = _both(first, second, how.folder)
    one, two = bands_at(_tasks([pair], how), how.seed, solving(how.workers, how.watch))
    return Comparison(one, two, _shared([pair]))


def crossover(
    first: Mapping[str, Any],
    second: Mapping[str, Any],
    values: Sequence[str],
    path: str = "fastener.rounding",
    how: Sampling | None = None,
) -> Crossover:
    """Where along `values` (as text, upward) of an input the ranking of two cases changes, sample by sample.

    Between two values the difference of the torques over their sum is taken as linear. Raises as `band`, and
    ContactFEError (slug "crossover") for fewer than two values or values that do not go upward.
    """
    how = how or Sampling(CROSSOVER_SAMPLES)
    field = field_of(path)
    if field is None:
        hint = "write table.key, such as fastener.rounding"
        raise ContactFEError(f"no such input: {path}", hint=hint, slug="crossover")
    numbers = np.array([float(read_value(field, text)) for text in values])
    if len(numbers) < 2 or not (np.diff(numbers) > 0).all():
        hint = 'such as "0 %, 20 %, 40 %"'
        raise ContactFEError("values to sweep go upward, two at least", hint=hint, slug="crossover")
    pairs = [_both(set_path(first, path, text), set_path(second, path, text), how.folder) for text in values]
    found = bands_at(_tasks(pairs, how), how.seed, solving(how.workers, how.watch), alone=False)
    names = (found[0].name, found[1].name)
    one, two = (np.column_stack([b.torque_Nm for b in found[k::2]]) for k in (0, 1))
    known = np.isfinite(one).all(axis=1) & np.isfinite(two).all(axis=1)
    one, two = one[known], two[known]
    places = np.array([first_change(numbers, a, b) for a, b in zip(one, two, strict=True)])
    return Crossover(path, names, numbers, one, two, places, _shared(pairs))


def first_change(values: Array, first: Array, second: Array) -> float:
    """Where the sign of first - second (k,) changes first along values (k,); nan where it never does.

    A tie takes the side of what comes before it.
    """
    total = first + second
    lead = np.where(total > 0.0, (first - second) / np.where(total > 0.0, total, 1.0), 0.0)
    sign, at = 0.0, 0
    for k, value in enumerate(lead):
        if value == 0.0:
            continue
        if sign and np.sign(value) != sign:
            share = lead[at] / (lead[at] - value)
            return float(values[at] + share * (values[k] - values[at]))
        sign, at = float(np.sign(value)), k
    return float("nan")


_Pair = tuple[tuple[UncertainCase, bool], tuple[UncertainCase, bool]]


def _both(first: Mapping[str, Any], second: Mapping[str, Any], folder: Path | None) -> _Pair:
    return uncertain_case(first, folder=folder, name="first"), uncertain_case(
        second, folder=folder, name="second"
    )


def _tasks(pairs: Sequence[_Pair], how: Sampling) -> list[tuple[UncertainCase, bool, Array]]:
    """Both cases of every pair with their points, the strength of what is held in common."""
    plan = sampling_of(how.n, how.seed, *(case for pair in pairs for case in pair))
    tasks = []
    for pair in pairs:
        profiles = [uncertain.case.wrench.profile for uncertain, _ in pair]
        same = profiles[0] == profiles[1] and _wrench_of(pair[0][0]) != _wrench_of(pair[1][0])
        for (uncertain, by_rule), profile, piece in zip(pair, profiles, (0, int(same)), strict=True):
            tasks.append((uncertain, by_rule, plan.points(profile, uncertain.inputs, piece)))
    return tasks


def _wrench_of(uncertain: UncertainCase) -> object:
    """What makes one piece out of a wrench: the same wrench on two fasteners is one."""
    return uncertain.base.get("wrench"), [
        item for item in uncertain.inputs if item.path.startswith("wrench.")
    ]


def _shared(pairs: Sequence[_Pair]) -> tuple[str, ...]:
    """Inputs outside [wrench] with one distribution in both cases of every pair: they have one value in both."""
    own = [tuple({item.path: item for item in uncertain.inputs} for uncertain, _ in pair) for pair in pairs]
    paths = {path for one, two in own for path in one if path in two and not path.startswith("wrench.")}
    order = [entry.path for entry in FIELDS]
    return tuple(
        sorted((p for p in paths if all(one.get(p) == two.get(p) for one, two in own)), key=order.index)
    )
