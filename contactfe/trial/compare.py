"""Prediction against measurement: errors, bias, which readings fall outside the band, validation figures, what would
explain a miss.

Validation in the sense of ASME V&V 20: E = S - D with S the simulation and D the data, here of ln T, so that E is
relative; u_val^2 = u_num^2 + u_input^2 + u_D^2, and the error of the model lies in E +- 2 u_val. Inputs that are the
same in every case (friction, constraint factor) move all cases together: their parts of the covariance are full.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, spearmanr, wasserstein_distance

from contactfe.errors import ContactFEError, InputError, Problem
from contactfe.trial.pooled import Cell, pooled_fit
from contactfe.trial.readings import Condition, Reading, Readings
from contactfe.trial.study import TrialCase, TrialStudy
from contactfe.uncertainty import Band, Distribution, band, label_of

Array = NDArray[np.float64]

SAMPLES = 16
U_NUM = 0.003  # of ln T: two meshes of one shape differ by up to this
TEN_TO_NINETY = 2.5631  # standard deviations between the 10 and 90 % values of a normal distribution
SHARED = ("contact.friction", "contact.constraint_factor")


@dataclass(frozen=True)
class Explanation:
    """A value of an input, beside the one it has, that would bring the estimate to the mean of the readings; `usual`
    tells that it lies where the input may lie."""

    path: str
    words: str
    usual: bool


@dataclass(frozen=True, eq=False)
class Compared:
    """One design in one condition: estimate S N m with its 10 and 90 % values and what ends it, geometric mean D of the
    readings N m, E = ln S - ln D, u_val and its parts, the readings outside the band, the area between the two
    distributions of ln T, and what would explain a miss."""

    design: str
    condition: Condition
    estimate_Nm: float
    low_Nm: float
    high_Nm: float
    measured_Nm: float
    readings: tuple[float, ...]
    at_least: tuple[bool, ...]
    error: float
    u_val: float
    u_input: float
    u_data: float
    outside: tuple[int, ...]
    area: float
    explanations: tuple[Explanation, ...]

    @property
    def explained(self) -> bool:
        """Whether the error lies inside 2 u_val."""
        return abs(self.error) <= 2.0 * self.u_val


@dataclass(frozen=True, eq=False)
class ComparedStudy:
    """A whole comparison. `bias` is the mean of E, `spread` its standard deviation (None for one case), `chi_square` of
    all E together with its probability, `pooled_area` the area metric of u = F(y), `rank` the rank agreement
    of the designs per condition (None where it cannot be told)."""

    name: str
    cases: tuple[Compared, ...]
    bias: float
    spread: float | None
    chi_square: float
    probability: float
    pooled_area: float
    ranks: tuple[tuple[Condition, float | None], ...]
    notes: tuple[str, ...]
    calibration: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def matched(study: TrialStudy, readings: Readings) -> dict[int, list[Reading]]:
    """Readings by the number of their case.

    Raises:
        InputError: every reading that the study has no case for.
    """
    found: dict[int, list[Reading]] = {}
    problems: dict[str, Problem] = {}
    for reading in readings.readings:
        try:
            case = study.case_of(reading)
        except ContactFEError as error:
            problems.setdefault(error.message, Problem(f"line {reading.line}", error.message, error.hint))
            continue
        found.setdefault(study.cases.index(case), []).append(reading)
    if problems:
        raise InputError(problems.values(), source=readings.source)
    if not any(not r.at_least for group in found.values() for r in group):
        told = f"all {len(readings.readings)} readings are at least: there is nothing to compare with"
        raise InputError([Problem("", told, "pull until the wrench slips")], source=readings.source)
    return dict(sorted(found.items()))


def compare(
    study: TrialStudy,
    readings: Readings,
    samples: int = SAMPLES,
    workers: int = 1,
    watch: Callable[[str], None] | None = None,
) -> ComparedStudy:
    """Compare the estimates of a study with readings.

    Raises:
        InputError: readings that the study has no case for, or none that ended by slip.
    """
    groups = matched(study, readings)
    bands = {}
    for k, group in groups.items():
        case = study.cases[k]
        if watch is not None:
            watch(f"{case.design} on {case.condition.words()}")
        bands[k] = band(_raw(case, group), samples, study.settings.seed, workers, folder=study.folder)
    return put_together(study, groups, bands)


def _raw(case: TrialCase, group: Sequence[Reading]) -> dict[str, Any]:
    """The raw tables with the yield strength that was measured, the mean of the bars."""
    measured = [r.measured_yield_MPa for r in group if r.measured_yield_MPa is not None]
    raw = {key: (dict(part) if isinstance(part, dict) else part) for key, part in case.raw.items()}
    if measured:
        raw.setdefault("fastener", {})["yield_strength"] = f"{float(np.mean(measured)):.6g} MPa"
    return raw


def put_together(
    study: TrialStudy, groups: dict[int, list[Reading]], bands: dict[int, Band], calibration: str = ""
) -> ComparedStudy:
    """The comparison of readings by case with the bands of these cases."""
    known = [k for k, group in groups.items() if not all(r.at_least for r in group)]
    notes = [
        f"{study.cases[k].design} on {study.cases[k].condition.words()}: nothing slipped, it held at least "
        f"{max(r.torque_Nm for r in group):.4g} N m; the estimate is {bands[k].nominal_Nm:.4g} N m"
        for k, group in groups.items()
        if k not in known
    ]
    free = [k for k in known if not bands[k].nominal_Nm > 0]
    notes += [
        f"{study.cases[k].design} on {study.cases[k].condition.words()}: slips by estimate at no torque"
        for k in free
    ]
    known = [k for k in known if k not in free]
    notes += [
        f"{study.cases[k].design} on {study.cases[k].condition.words()}: by estimate it ends by the {bands[k].nominal_ended_by} "
        f"at {bands[k].nominal_Nm:.4g} N m, but it slipped: compare with the strength of the {bands[k].nominal_ended_by} first"
        for k in known
        if bands[k].nominal_ended_by not in (None, "grip")
    ]
    if not known:
        raise ContactFEError(
            "no case with readings grips by estimate", hint="check sizes and openings", slug="nothing"
        )
    cells = [
        Cell(np.log([r.torque_Nm for r in groups[k]]), np.array([r.at_least for r in groups[k]]))
        for k in known
    ]
    fitted = pooled_fit(cells)
    scatter = fitted.sigma if math.isfinite(fitted.sigma) else study.settings.scatter
    if not math.isfinite(fitted.sigma):
        notes.append(
            f"nothing was pulled twice: the scatter of the plan, {100 * scatter:.3g} %, stands for it"
        )
    u_data = scatter / np.sqrt(fitted.weight)
    cases = tuple(
        _compared(study.cases[k], groups[k], bands[k], (float(fitted.mu[i]), float(u_data[i])))
        for i, k in enumerate(known)
    )
    error = np.array([c.error for c in cases])
    covariance = _covariance([bands[k] for k in known], u_data)
    square = float(error @ np.linalg.solve(covariance, error))
    shares = np.array([
        float(np.mean(bands[k].torque_Nm[bands[k].known] <= r.torque_Nm)) for k in known for r in groups[k] if not r.at_least
    ])  # fmt: skip
    even = (np.arange(1000) + 0.5) / 1000
    if any(r.at_least for k in known for r in groups[k]):
        notes.append("readings that are only at least count in the means, not in the area metric")
    return ComparedStudy(
        study.name, cases, float(error.mean()), float(error.std(ddof=1)) if len(error) > 1 else None, square,
        float(chi2.sf(square, len(error))), float(wasserstein_distance(shares, even)), _ranks(cases), tuple(notes),
        calibration,
    )  # fmt: skip


def _compared(case: TrialCase, group: Sequence[Reading], wide: Band, mean: tuple[float, float]) -> Compared:
    mu, u_data = mean
    log = np.log(wide.torque_Nm[wide.known & (wide.torque_Nm > 0)])
    u_input = float(log.std(ddof=1)) if len(log) > 1 else 0.0
    u_val = math.sqrt(U_NUM**2 + u_input**2 + u_data**2)
    low, high = wide.low_Nm, wide.high_Nm
    exact = [r.torque_Nm for r in group if not r.at_least]
    outside = tuple(r.line for r in group if (r.torque_Nm < low and not r.at_least) or r.torque_Nm > high)
    error = math.log(wide.nominal_Nm) - mu
    return Compared(
        case.design, case.condition, wide.nominal_Nm, low, high, math.exp(mu),
        tuple(r.torque_Nm for r in group), tuple(r.at_least for r in group), error, u_val, u_input, u_data, outside,
        float(wasserstein_distance(log, np.log(exact))), _explanations(wide, error),
    )  # fmt: skip


def _explanations(wide: Band, error: float) -> tuple[Explanation, ...]:
    """The inputs that would bring the estimate to the readings, the likeliest first: by how far each would have to go,
    in units of its own scatter."""
    found = []
    for item, one in zip(wide.inputs, wide.one_at_a_time, strict=True):
        if not (one.low_Nm > 0 and one.high_Nm > 0) or one.value_high == one.value_low:
            continue
        slope = (math.log(one.high_Nm) - math.log(one.low_Nm)) / (one.value_high - one.value_low)
        if (
            abs(slope * (one.value_high - one.value_low)) < 0.005
        ):  # moves the torque by less than half a per cent
            continue
        needed = item.nominal - error / slope
        if needed <= 0:
            continue
        far = abs(needed - item.nominal) / (one.value_high - one.value_low)
        usual = item.low <= needed <= item.high
        text = f"{label_of(item.path)} of {_show(item, needed)} instead of {_show(item, item.nominal)}"
        found.append((far, Explanation(item.path, text, usual)))
    return tuple(e for _, e in sorted(found, key=lambda pair: pair[0])[:3])


def _show(item: Distribution, value: float) -> str:
    return item.show(float(f"{value:.3g}"))


def _covariance(bands: Sequence[Band], u_data: Array) -> Array:
    """Of the errors (k, k): numerical and data parts alone, shared inputs together, the rest of the band alone."""
    total = np.diag(U_NUM**2 + u_data**2)
    for i, wide in enumerate(bands):
        own = 0.0
        for item, one in zip(wide.inputs, wide.one_at_a_time, strict=True):
            if item.path not in SHARED and one.low_Nm > 0 and one.high_Nm > 0:
                own += (math.log(one.high_Nm / one.low_Nm) / TEN_TO_NINETY) ** 2
        total[i, i] += own
    for path in SHARED:
        move = np.array([
            next((math.log(one.high_Nm / one.low_Nm) / TEN_TO_NINETY for one in wide.one_at_a_time
                  if one.path == path and one.low_Nm > 0 and one.high_Nm > 0), 0.0)
            for wide in bands
        ])  # fmt: skip
        total += np.outer(move, move)
    return np.asarray(total)


def _ranks(cases: Sequence[Compared]) -> tuple[tuple[Condition, float | None], ...]:
    """Spearman's rank correlation of estimates and means over the designs of each condition."""
    found: list[tuple[Condition, float | None]] = []
    for condition in dict.fromkeys(c.condition for c in cases):
        own = [c for c in cases if c.condition == condition]
        rho = None
        if len(own) > 1:
            rho = float(spearmanr([c.estimate_Nm for c in own], [c.measured_Nm for c in own]).statistic)
        found.append((condition, rho))
    return tuple(found)
