"""The scoreboard: means per condition, per cent of the best, averages, loss from rounding, ranks and how sure they are."""

from __future__ import annotations

import inspect
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import dunnett
from scipy.stats import t as student

from contactfe.errors import ContactFEError, InputError, Problem
from contactfe.trial.censored import fit, restricted_mean
from contactfe.trial.pooled import Cell, Pooled, draws, pooled_fit
from contactfe.trial.readings import Condition, Reading, Readings

Array = NDArray[np.float64]

DRAWS, SEED = 10_000, 1
RISK = 0.05


@dataclass(frozen=True)
class Entry:
    """One design in one condition. `mean_Nm` is the geometric mean with its 95 % interval, None where nothing ended by
    slip: then `at_least_Nm` is all that is known. `of_best` is the share of the best mean of the condition with its
    interval; `ties` tells that it cannot be told from the best. `rank` counts from 1, with the range that holds 95 %
    of the draws. `plain_mean_Nm` is the mean without a distribution, up to the largest reading."""

    design: str
    condition: Condition
    readings: int
    at_least: int
    mean_Nm: float | None
    low_Nm: float | None
    high_Nm: float | None
    at_least_Nm: float | None
    plain_mean_Nm: float
    of_best: float | None = None
    of_best_low: float | None = None
    of_best_high: float | None = None
    ties: bool = False
    rank: int | None = None
    rank_low: int | None = None
    rank_high: int | None = None
    beats_next: float | None = None


@dataclass(frozen=True)
class Standing:
    """A design over all: mean share of the best over the conditions that all designs have (None: there are none) and
    over all of its own, how many those are, its place by the first (else by the second), how likely it is ahead of the
    next one, and what the conditions that others lack do to its average."""

    design: str
    common: float | None
    own: float | None
    conditions: int
    missing: tuple[Condition, ...]
    place: int
    ahead_of_next: float | None


@dataclass(frozen=True)
class Loss:
    """What rounding takes from a design: torque over that at the least rounding of the same fastener, less one."""

    design: str
    condition: Condition
    against: Condition
    change: float


@dataclass(frozen=True)
class Score:
    """Everything that the readings say. `scatter` is the pooled standard deviation of ln T, None where nothing was
    pulled twice. `notes` is what the reader has to know; nothing is left out without standing there."""

    title: str
    entries: tuple[Entry, ...]
    standings: tuple[Standing, ...]
    losses: tuple[Loss, ...]
    common: tuple[Condition, ...]
    scatter: float | None
    freedom: int
    readings: int
    seed: int
    notes: tuple[str, ...]

    def conditions(self) -> tuple[Condition, ...]:
        """The conditions in order."""
        return tuple(dict.fromkeys(entry.condition for entry in self.entries))

    def of(self, condition: Condition) -> tuple[Entry, ...]:
        """The entries of a condition, best first, those that are only "at least" last."""
        found = [entry for entry in self.entries if entry.condition == condition]
        return tuple(sorted(found, key=lambda e: -(e.mean_Nm or -1.0)))

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def score(readings: Readings, seed: int = SEED) -> Score:
    """Score readings; the same seed gives the same ranks.

    Raises:
        InputError: no reading ended by slip.
    """
    groups: dict[tuple[Condition, str], list[Reading]] = {}
    for reading in readings.readings:
        groups.setdefault((reading.condition, reading.design), []).append(reading)
    known = {key: group for key, group in groups.items() if not all(r.at_least for r in group)}
    if not known:
        told = f"all {len(readings.readings)} readings are at least: nothing slipped, so no mean can be told"
        raise InputError([Problem("", told, "pull until the wrench slips")], source=readings.source)
    cells = [_cell(group) for group in known.values()]
    fitted = pooled_fit(cells)
    drawn = draws(fitted, DRAWS, seed) if math.isfinite(fitted.sigma) else None
    entries = [_entry(key, group) for key, group in groups.items()]
    for k, key in enumerate(known):
        at = list(groups).index(key)
        entries[at] = replace(
            entries[at],
            mean_Nm=math.exp(fitted.mu[k]),
            low_Nm=_exp(fitted.low[k]),
            high_Nm=_exp(fitted.high[k]),
        )
    keys = list(known)
    for condition in readings.conditions():
        inside = [k for k, key in enumerate(keys) if key[0] == condition]
        for k, change in _compared(inside, fitted, cells, drawn).items():
            at = list(groups).index(keys[k])
            entries[at] = replace(entries[at], **change)
    order = {c: i for i, c in enumerate(readings.conditions())}
    entries.sort(key=lambda e: (order[e.condition], -(e.mean_Nm or -1.0)))
    common, standings = _standings(readings, entries, keys, drawn)
    return Score(
        readings.title,
        tuple(entries),
        standings,
        _losses(entries),
        common,
        fitted.sigma if math.isfinite(fitted.sigma) else None,
        fitted.freedom,
        len(readings.readings),
        seed,
        _notes(readings, entries, fitted, common, cells),
    )


def _cell(group: Sequence[Reading]) -> Cell:
    return Cell(np.log([r.torque_Nm for r in group]), np.array([r.at_least for r in group]))


def _exp(value: float) -> float | None:
    return math.exp(value) if math.isfinite(value) else None


def _entry(key: tuple[Condition, str], group: Sequence[Reading]) -> Entry:
    torque = np.array([r.torque_Nm for r in group])
    flags = np.array([r.at_least for r in group])
    plain = restricted_mean(torque, flags, float(torque.max()))[0]
    bound = float(torque[flags].max()) if flags.any() else None
    return Entry(key[1], key[0], len(group), int(flags.sum()), None, None, None, bound, plain)


def _compared(
    inside: Sequence[int], fitted: Pooled, cells: Sequence[Cell], drawn: Array | None
) -> dict[int, dict[str, Any]]:
    """What is said about the cells of one condition beside each other."""
    order = sorted(inside, key=lambda k: -fitted.mu[k])
    found: dict[int, dict[str, Any]] = {}
    if not order:
        return found
    best = order[0]
    apart = _apart(order, cells)
    for place, k in enumerate(order):
        ratio = float(fitted.mu[k] - fitted.mu[best])
        found[k] = {"of_best": math.exp(ratio), "rank": place + 1}
        if drawn is None:
            continue
        error = fitted.sigma * math.sqrt(1.0 / fitted.weight[k] + 1.0 / fitted.weight[best])
        reach = float(student.ppf(1 - RISK / 2, fitted.freedom)) * error if k != best else 0.0
        ranks = 1 + (drawn[:, list(inside)] > drawn[:, [k]]).sum(axis=1)
        low, high = np.quantile(ranks, [RISK / 2, 1 - RISK / 2], method="nearest")
        found[k] |= {
            "of_best_low": math.exp(ratio - reach),
            "of_best_high": math.exp(ratio + reach),
            "ties": k != best and (apart[k] > RISK if apart else reach >= -ratio),
            "rank_low": int(low),
            "rank_high": int(high),
        }
        if place + 1 < len(order):
            found[k]["beats_next"] = float((drawn[:, k] > drawn[:, order[place + 1]]).mean())
    return found


def _apart(order: Sequence[int], cells: Sequence[Cell]) -> dict[int, float]:
    """P values of every cell against the best, all comparisons together (Dunnett), where nothing is "at least" and every
    design was pulled twice; else empty."""
    if len(order) < 3 or any(cells[k].at_least.any() or len(cells[k].y) < 2 for k in order):
        return {}
    rest = order[1:]
    name = "rng" if "rng" in inspect.signature(dunnett).parameters else "random_state"
    found = dunnett(
        *(cells[k].y for k in rest), control=cells[order[0]].y, **{name: np.random.default_rng(SEED)}
    )
    return {order[0]: 1.0} | dict(zip(rest, map(float, found.pvalue), strict=True))


def _standings(
    readings: Readings, entries: Sequence[Entry], keys: Sequence[tuple[Condition, str]], drawn: Array | None
) -> tuple[tuple[Condition, ...], tuple[Standing, ...]]:
    """The conditions that all designs have a mean in, and the designs over all."""
    designs = readings.designs()
    share = {(e.condition, e.design): e.of_best for e in entries if e.of_best is not None}
    common = tuple(c for c in readings.conditions() if all((c, d) in share for d in designs))
    sampled = _sampled(common, designs, keys, drawn)
    found = []
    for design in designs:
        own = [value for (_, d), value in share.items() if d == design]
        lacking = tuple(c for c in readings.conditions() if (c, design) not in share)
        both = [share[c, design] for c in common]
        found.append(Standing(design, _mean(both), _mean(own), len(own), lacking, 0, None))
    found.sort(key=lambda s: -((s.common if common else s.own) or -1.0))
    placed = []
    for i, standing in enumerate(found):
        ahead = None
        if sampled is not None and i + 1 < len(found):
            a, b = designs.index(standing.design), designs.index(found[i + 1].design)
            ahead = float((sampled[:, a] > sampled[:, b]).mean())
        placed.append(replace(standing, place=i + 1, ahead_of_next=ahead))
    return common, tuple(placed)


def _mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if values else None


def _sampled(
    common: Sequence[Condition],
    designs: Sequence[str],
    keys: Sequence[tuple[Condition, str]],
    drawn: Array | None,
) -> Array | None:
    """Average share of the best (draws, designs) over the common conditions."""
    if drawn is None or not common:
        return None
    total = np.zeros((len(drawn), len(designs)))
    for condition in common:
        own = np.exp(drawn[:, [keys.index((condition, d)) for d in designs]])
        total += own / own.max(axis=1, keepdims=True)
    return total / len(common)


def _losses(entries: Sequence[Entry]) -> tuple[Loss, ...]:
    found = []
    for entry in entries:
        if entry.mean_Nm is None or entry.condition.rounding is None:
            continue
        same = [
            other
            for other in entries
            if other.design == entry.design
            and other.mean_Nm is not None
            and other.condition.rounding is not None
            and replace(other.condition, rounding=None) == replace(entry.condition, rounding=None)
        ]
        least = min(same, key=lambda e: e.condition.rounding or 0.0)
        if least is not entry and least.mean_Nm is not None:
            found.append(
                Loss(entry.design, entry.condition, least.condition, entry.mean_Nm / least.mean_Nm - 1.0)
            )
    return tuple(found)


def _notes(
    readings: Readings,
    entries: Sequence[Entry],
    fitted: Pooled,
    common: Sequence[Condition],
    cells: Sequence[Cell],
) -> tuple[str, ...]:
    notes = []
    count = sum(r.at_least for r in readings.readings)
    if count:
        notes.append(
            f"{count} of {len(readings.readings)} readings are at-least values: the pull ended by something else than "
            "slip, so each counts as a torque that the slip torque exceeds"
        )
    for entry in entries:
        where = f"{entry.design} on {entry.condition.words()}"
        if entry.mean_Nm is None:
            notes.append(
                f"{where}: at least {entry.at_least_Nm:.4g} N m, nothing slipped; it has no mean and no rank"
            )
        elif entry.readings == 1:
            notes.append(f"{where}: one reading; its interval rests on the scatter of the others")
        best = max((e.mean_Nm or 0.0) for e in entries if e.condition == entry.condition)
        if entry.mean_Nm is None and (entry.at_least_Nm or 0.0) > best > 0.0:
            notes.append(
                f"{where}: held more than the best mean of the condition, which is no longer the best"
            )
    if not math.isfinite(fitted.sigma):
        notes.append(
            "no design was pulled twice in a condition: scatter, intervals and certainties cannot be told"
        )
    lacking = [c for c in readings.conditions() if c not in common]
    for condition in lacking:
        absent = [
            d
            for d in readings.designs()
            if not any(e.design == d and e.condition == condition and e.mean_Nm for e in entries)
        ]
        notes.append(
            f"{condition.words()}: incomplete, without {', '.join(absent)}; it is left out of the common average"
        )
    if readings.pending:
        notes.append(f"{len(readings.pending)} rows are not filled in yet")
    notes += _shape_note(cells, fitted)
    return tuple(notes)


def _shape_note(cells: Sequence[Cell], fitted: Pooled) -> list[str]:
    """Whether another distribution would describe the scatter clearly better: by more than 2 in Akaike's criterion."""
    if fitted.freedom < 8:
        return []
    ratio = np.exp(np.concatenate([cell.y - mu for cell, mu in zip(cells, fitted.mu, strict=True)]))
    flags = np.concatenate([cell.at_least for cell in cells])
    try:
        gain = fit(ratio, flags).aic - fit(ratio, flags, "weibull").aic
    except (ContactFEError, np.linalg.LinAlgError):
        return []
    if gain <= 2.0:
        return []
    return [
        f"a Weibull scatter would describe the readings better than the lognormal one (AIC lower by {gain:.1f})"
    ]
