"""The band of one case: the torque that it delivers over all that scatters, and the probabilities that follow."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.case import EndedBy
from contactfe.errors import ContactFEError
from contactfe.uncertainty.distributions import Distribution
from contactfe.uncertainty.ends import Ends, ends_of
from contactfe.uncertainty.jobs import JobPlan, plan_jobs
from contactfe.uncertainty.model_error import combined_quantiles, probability_below
from contactfe.uncertainty.model_sigma import ModelSigma, model_sigma
from contactfe.uncertainty.probabilities import Chance, chance, chance_of
from contactfe.uncertainty.read import UncertainCase, split_case
from contactfe.uncertainty.sampling import SamplingPlan
from contactfe.uncertainty.solve import Solve, Watch, solving
from contactfe.uncertainty.thinned import solve_plans
from contactfe.uncertainty.typical import BY_RULE, typical_scatter

Array = NDArray[np.float64]

SAMPLES = 128
LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True)
class OneAtATime:
    """Torques N m delivered with one input at 10 % and at 90 % of its distribution and the others at their medians."""

    path: str
    low_Nm: float
    high_Nm: float
    value_low: float
    value_high: float

    @property
    def spread_Nm(self) -> float:
        """How far the torque moves between the two, N m."""
        return abs(self.high_Nm - self.low_Nm)


@dataclass(frozen=True, eq=False)
class Band:
    """Torques N m (n,) that n samples deliver, with what `ends` each of them, and the `model`'s own error.

    Median, ends and probabilities of a torque hold both: each sample stands for a lognormal distribution about it. Those
    named inputs are of the samples alone.

    `u` (n, d) are the shares and `values` (n, d) the values (internal units) of the `inputs`; `by_rule` tells that the
    case named none, so that they scatter by rule. `strong` (n,) is how far up its band of strength lies what is held
    below the head. `nominal_Nm` is the plain case, ended by `nominal_ended_by`; `median_case_Nm` is the case with every
    input at its median, `one_at_a_time` what each input moves by itself. `fitted` of the samples follow from a polynomial
    through the others, whose leave-one-out error is the share `fit_error` of the torque. Arrays are read-only.
    """

    name: str
    inputs: tuple[Distribution, ...]
    by_rule: bool
    seed: int
    u: Array
    values: Array
    strong: Array
    ends: Ends
    nominal_Nm: float
    nominal_ended_by: EndedBy | None
    median_case_Nm: float
    one_at_a_time: tuple[OneAtATime, ...]
    cautions: tuple[str, ...]
    model: ModelSigma
    fitted: int = 0
    fit_error: float = 0.0

    def __post_init__(self) -> None:
        for array in (self.u, self.values, self.strong):
            array.setflags(write=False)

    @property
    def torque_Nm(self) -> Array:
        """Torque that each sample delivers (n,): 0 where the wrench turns freely, nan where no curve was found."""
        return self.ends.torque_Nm

    @cached_property
    def known(self) -> NDArray[np.bool_]:
        """Which samples have an answer (n,)."""
        return np.isfinite(self.torque_Nm)

    @property
    def samples(self) -> int:
        """Number of samples with an answer."""
        return int(self.known.sum())

    def quantile_Nm(self, share: float) -> float:
        """Torque N m that a share of the pulls lies below, with the model's own error."""
        return combined_quantiles(self.torque_Nm[self.known], self.sigma[self.known], (share,))[0]

    def inputs_quantile_Nm(self, share: float) -> float:
        """Torque N m that a share of the samples lies below: what scatters in the inputs alone."""
        return float(np.quantile(self.torque_Nm[self.known], share))

    @cached_property
    def sigma(self) -> Array:
        """Sigma (n,) of the model's own factor on each sample, by what ends it."""
        return self.model.of(self.ends.ended_by)

    @cached_property
    def median_Nm(self) -> float:
        """Median torque, N m."""
        return self.quantile_Nm(0.5)

    @cached_property
    def low_Nm(self) -> float:
        """Torque that a tenth of the pulls lies below, N m."""
        return self.quantile_Nm(LOW)

    @cached_property
    def high_Nm(self) -> float:
        """Torque that nine tenths of the pulls lie below, N m."""
        return self.quantile_Nm(HIGH)

    def turns_freely(self) -> Chance:
        """Probability that the wrench turns freely."""
        return chance(self.torque_Nm[self.known] <= 0.0)

    def below(self, torque_Nm: float) -> Chance:
        """Probability that the pull ends below a torque (N m), by whatever, with the model's own error; turning freely
        counts as 0."""
        share = probability_below(self.torque_Nm[self.known], self.sigma[self.known], torque_Nm)
        return chance_of(share, self.samples)

    def ends_by(self, *causes: EndedBy) -> Chance:
        """Probability that the pull ends by one of some causes: counted over the samples, see `ModelSigma`."""
        return chance_of(self.ends.count(*causes) / self.samples, self.samples)

    def twists_off_first(self) -> Chance | None:
        """Probability that the bolt or bar twists off before anything else ends the pull; None where it cannot be
        told."""
        return None if self.ends.held_Nm is None else self.ends_by("bolt", "bar")

    def columns(self) -> dict[str, float]:
        """The band as columns of a table."""
        found = {
            "torque_median_Nm": self.median_Nm,
            "torque_p10_Nm": self.low_Nm,
            "torque_p90_Nm": self.high_Nm,
            "torque_inputs_median_Nm": self.inputs_quantile_Nm(0.5),
            "torque_inputs_p10_Nm": self.inputs_quantile_Nm(LOW),
            "torque_inputs_p90_Nm": self.inputs_quantile_Nm(HIGH),
            "turns_freely_share": self.turns_freely().share,
            "wrench_first_share": self.ends_by("wrench").share,
        }
        first = self.twists_off_first()
        return found if first is None else found | {"twist_off_first_share": first.share}


def band(
    raw: Mapping[str, Any],
    n: int = SAMPLES,
    seed: int = 1,
    workers: int = 1,
    *,
    folder: Path | None = None,
    watch: Watch | None = None,
) -> Band:
    """The band of a case from its raw tables: n samples (a power of two) at scrambled Sobol points of a seed.

    Inputs that are distributions scatter; in a case without any, what standards and stated judgements let
    scatter. The same seed gives the same band to the bit, whatever `workers` is. Raises InputError with every
    problem of the case, ContactFEError for a number of samples or workers that makes no sense, GeometryError for
    bodies that cannot be built.

    Example:
        >>> from contactfe.uncertainty import band
        >>> case = {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"},
        ...         "contact": {"friction": {"low": 0.1, "high": 0.2}}, "mesh": {"edge_at_contact": "0.8 mm"}}
        >>> found = band(case, n=4)
        >>> found.low_Nm < found.median_Nm < found.high_Nm
        True
    """
    uncertain, by_rule = uncertain_case(raw, folder=folder)
    plan = sampling_of(n, seed, (uncertain, by_rule))
    points = plan.points(uncertain.case.wrench.profile, uncertain.inputs)
    return bands_at([(uncertain, by_rule, points)], seed, solving(workers, watch))[0]


def uncertain_case(
    raw: Mapping[str, Any], *, folder: Path | None = None, name: str = "case"
) -> tuple[UncertainCase, bool]:
    """The case with what scatters in it, and whether that is by rule because the case names nothing."""
    found = split_case(raw, name, folder=folder, name=name)
    return (found, False) if found.inputs else (scattered_by_rule(found), True)


def sampling_of(n: int, seed: int, *cases: tuple[UncertainCase, bool]) -> SamplingPlan:
    """The sampling of cases that are looked at together, each with whether what scatters in it scatters by rule."""
    paths: set[str] = set()
    for uncertain, by_rule in cases:
        paths |= set(BY_RULE) if by_rule else {item.path for item in uncertain.inputs}
    return SamplingPlan.of(n, seed, paths)


def scattered_by_rule(plain: UncertainCase) -> UncertainCase:
    """A case without distributions, with what scatters by standards and stated judgements."""
    return UncertainCase(plain.base, plain.case, typical_scatter(plain), plain.folder)


def bands_at(
    tasks: Sequence[tuple[UncertainCase, bool, Array]],
    seed: int,
    solve: Solve,
    *,
    alone: bool = True,
) -> list[Band]:
    """Bands of cases at given points (n, d + 1), the last column for the strength of what is held; `solve` gets all
    jobs in one go. With `alone` also the plain case and one input at a time.
    """
    laid = [_lay_out(uncertain, points, alone) for uncertain, _, points in tasks]
    shares = [points[:, : len(uncertain.inputs)] for uncertain, _, points in tasks]
    flat = [
        (plan, u if k == 0 else None)
        for plans, u in zip(laid, shares, strict=True)
        for k, plan in enumerate(plans)
    ]
    answers = iter(solve_plans(flat, solve))
    found = []
    for (uncertain, by_rule, points), plans in zip(tasks, laid, strict=True):
        strengths = (points[:, -1], np.full(2 * len(uncertain.inputs) + 1, 0.5), None)
        solved = [next(answers) for _ in plans]
        ends = [
            ends_of(plan.torques(one.torques), plan.cases, strong)
            for plan, one, strong in zip(plans, solved, strengths, strict=False)
        ]
        single = ends[1].torque_Nm if alone else np.empty(0)
        found.append(
            Band(
                name=uncertain.case.name,
                inputs=uncertain.inputs,
                by_rule=by_rule,
                seed=seed,
                u=np.ascontiguousarray(points[:, : len(uncertain.inputs)]),
                values=plans[0].values,
                strong=points[:, -1].copy(),
                ends=_some(ends[0]),
                nominal_Nm=float(ends[2].torque_Nm[0]) if alone else math.nan,
                nominal_ended_by=ends[2].ended_by[0] if alone else None,
                median_case_Nm=float(single[0]) if alone else math.nan,
                one_at_a_time=_one_at_a_time(uncertain.inputs, single) if alone else (),
                fitted=solved[0].fitted,
                fit_error=solved[0].error,
                cautions=(*uncertain.case.cautions, *_cautions(ends[0].torque_Nm)),
                model=model_sigma(uncertain),
            )
        )
    return found


def _lay_out(uncertain: UncertainCase, points: Array, alone: bool) -> list[JobPlan]:
    """Plans for the samples and, with `alone`, for one input at a time and for the plain case."""
    inputs = uncertain.inputs
    plans = [plan_jobs(uncertain, inputs, points[:, : len(inputs)])]
    if alone:
        single = np.full((2 * len(inputs) + 1, len(inputs)), 0.5)
        for k in range(len(inputs)):
            single[2 * k + 1, k], single[2 * k + 2, k] = LOW, HIGH
        plans += [plan_jobs(uncertain, inputs, single), plan_jobs(uncertain, (), np.empty((1, 0)))]
    return plans


def _one_at_a_time(inputs: Sequence[Distribution], torque: Array) -> tuple[OneAtATime, ...]:
    """What each input moves, from the torques at the medians and at two rows for each input."""
    found = []
    for k, item in enumerate(inputs):
        low, high = (float(x) for x in item.at(np.array([LOW, HIGH])))
        found.append(OneAtATime(item.path, float(torque[2 * k + 1]), float(torque[2 * k + 2]), low, high))
    return tuple(found)


def _some(ends: Ends) -> Ends:
    if not np.isfinite(ends.torque_Nm).any():
        raise ContactFEError(
            "no sample has an answer: the contact did not converge",
            hint="try a slightly different mesh (edge_at_contact) or less friction",
            slug="no-band",
        )
    return ends


def _cautions(torque: Array) -> list[str]:
    missing = int((~np.isfinite(torque)).sum())
    return [f"{missing} of {len(torque)} samples have no answer and are left out"] if missing else []
