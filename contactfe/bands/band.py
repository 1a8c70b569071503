"""The band of one case: slip torque over all that scatters, and the probabilities that follow from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.bands.chances import Chance, chance
from contactfe.bands.distributions import Distribution
from contactfe.bands.jobs import JobPlan, plan_jobs
from contactfe.bands.points import sobol_points
from contactfe.bands.read import UncertainCase, split_case
from contactfe.bands.solve import Solve, Watch, Weak, solving
from contactfe.bands.typical import typical_scatter
from contactfe.bands.wrench import wrench_cautions
from contactfe.errors import ContactFEError
from contactfe.standards import size, twist_off_torque

Array = NDArray[np.float64]

SAMPLES = 128
LOW, HIGH = 0.1, 0.9
_YIELD = "fastener.yield_strength"


@dataclass(frozen=True)
class OneAtATime:
    """Slip torques N m with one input at 10 % and at 90 % of its distribution and the others at their medians."""

    path: str
    low_Nm: float
    high_Nm: float
    value_low: float
    value_high: float

    @property
    def spread_Nm(self) -> float:
        """How far the slip torque moves between the two, N m."""
        return abs(self.high_Nm - self.low_Nm)


@dataclass(frozen=True, eq=False)
class Band:
    """Slip torques N m (n,) of n samples: 0 where the wrench turns freely, nan where no curve was found.

    `u` (n, d) are the shares and `values` (n, d) the values (internal units) of the `inputs`; `by_rule` tells that the
    case named none, so that they scatter by rule. `nominal_Nm` is the plain case, `median_case_Nm` the case with every
    input at its median, `one_at_a_time` what each input moves by itself. `twist_off_Nm` (n,) is where the bolt's shank
    twists off, None with the reason `no_twist_off` where it cannot be told. Arrays are read-only.
    """

    name: str
    inputs: tuple[Distribution, ...]
    by_rule: bool
    seed: int
    u: Array
    values: Array
    torque_Nm: Array
    nominal_Nm: float
    median_case_Nm: float
    one_at_a_time: tuple[OneAtATime, ...]
    twist_off_Nm: Array | None
    no_twist_off: str
    cautions: tuple[str, ...]

    def __post_init__(self) -> None:
        for array in (self.u, self.values, self.torque_Nm, self.twist_off_Nm):
            if array is not None:
                array.setflags(write=False)

    @cached_property
    def known(self) -> NDArray[np.bool_]:
        """Which samples have an answer (n,)."""
        return np.isfinite(self.torque_Nm)

    @property
    def samples(self) -> int:
        """Number of samples with an answer."""
        return int(self.known.sum())

    def quantile_Nm(self, share: float) -> float:
        """Slip torque N m that a share of the samples lies below."""
        return float(np.quantile(self.torque_Nm[self.known], share))

    @property
    def median_Nm(self) -> float:
        """Median slip torque, N m."""
        return self.quantile_Nm(0.5)

    @property
    def low_Nm(self) -> float:
        """Slip torque that a tenth of the samples lies below, N m."""
        return self.quantile_Nm(LOW)

    @property
    def high_Nm(self) -> float:
        """Slip torque that nine tenths of the samples lie below, N m."""
        return self.quantile_Nm(HIGH)

    def turns_freely(self) -> Chance:
        """Probability that the wrench turns freely."""
        return chance(self.torque_Nm[self.known] <= 0.0)

    def below(self, torque_Nm: float) -> Chance:
        """Probability that the wrench slips below a torque (N m); turning freely counts as slipping."""
        return chance(self.torque_Nm[self.known] < torque_Nm)

    def twists_off_first(self) -> Chance | None:
        """Probability that the bolt twists off before the wrench slips; None where it cannot be told."""
        if self.twist_off_Nm is None:
            return None
        return chance(self.twist_off_Nm[self.known] < self.torque_Nm[self.known])

    def columns(self) -> dict[str, float]:
        """The band as columns of a table."""
        found = {
            "slip_torque_median_Nm": self.median_Nm,
            "slip_torque_p10_Nm": self.low_Nm,
            "slip_torque_p90_Nm": self.high_Nm,
            "turns_freely_share": self.turns_freely().share,
        }
        first = self.twists_off_first()
        return found if first is None else found | {"twists_off_first_share": first.share}


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
        >>> from contactfe.bands import band
        >>> case = {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"},
        ...         "contact": {"friction": {"low": 0.1, "high": 0.2}}, "mesh": {"edge_at_contact": "0.8 mm"}}
        >>> found = band(case, n=4)
        >>> found.low_Nm < found.median_Nm < found.high_Nm
        True
    """
    uncertain, by_rule = uncertain_case(raw, folder=folder)
    points = sobol_points(n, len(uncertain.inputs) + 1, seed)
    return bands_at([(uncertain, by_rule, points)], seed, solving(workers, watch))[0]


def uncertain_case(
    raw: Mapping[str, Any], *, folder: Path | None = None, name: str = "case"
) -> tuple[UncertainCase, bool]:
    """The case with what scatters in it, and whether that is by rule because the case names nothing."""
    found = split_case(raw, name, folder=folder, name=name)
    return (found, False) if found.inputs else (scattered_by_rule(found), True)


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
    """Bands of cases at given points (n, d + 1), the last column for the shank; `solve` gets all jobs in one go.

    With `alone` also one input at a time, and cautions where the wrench gives way before slip.
    """
    laid = [_lay_out(uncertain, points, alone) for uncertain, _, points in tasks]
    jobs = [job for plans in laid for plan in plans for job in plan.jobs]
    weak: Weak = {}
    solved = solve(jobs, weak if alone else None)
    found, at = [], 0
    for (uncertain, by_rule, points), plans in zip(tasks, laid, strict=True):
        torques = []
        for plan in plans:
            torques.append(plan.torques(solved[at : at + len(plan.jobs)]))
            at += len(plan.jobs)
        twist, why = _twist_off(uncertain, points)
        told = wrench_cautions(plans[2].jobs[0], plans[0].jobs[: len(points)], weak) if alone else []
        single, nominal = (torques[1], float(torques[2][0])) if alone else (np.empty(0), math.nan)
        found.append(
            Band(
                name=uncertain.case.name,
                inputs=uncertain.inputs,
                by_rule=by_rule,
                seed=seed,
                u=np.ascontiguousarray(points[:, : len(uncertain.inputs)]),
                values=plans[0].values,
                torque_Nm=_some(torques[0]),
                nominal_Nm=nominal,
                median_case_Nm=float(single[0]) if alone else math.nan,
                one_at_a_time=_one_at_a_time(uncertain.inputs, single) if alone else (),
                twist_off_Nm=twist,
                no_twist_off=why,
                cautions=(*told, *uncertain.case.cautions, *_cautions(torques[0])),
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


def _some(torque: Array) -> Array:
    if not np.isfinite(torque).any():
        raise ContactFEError(
            "no sample has an answer: the contact did not converge",
            hint="try a slightly different mesh (edge_at_contact) or less friction",
            slug="no-band",
        )
    return torque


def _cautions(torque: Array) -> list[str]:
    missing = int((~np.isfinite(torque)).sum())
    return [f"{missing} of {len(torque)} samples have no answer and are left out"] if missing else []


def _twist_off(uncertain: UncertainCase, points: Array) -> tuple[Array | None, str]:
    """Torque N m at which each sample's shank twists off, or why that cannot be told.

    Between the limits of `twist_off_torque`, as strong as the sample's head where the yield strength scatters (they
    are of one steel), independent of everything else where it does not.
    """
    f = uncertain.case.fastener
    if f.stock != "bolt" or f.size is None or f.grade is None:
        return None, "the fastener is no bolt of a size and grade, so that no shank can twist off"
    try:
        low, high = twist_off_torque(size(f.size).name, f.grade)
    except ContactFEError as error:
        return None, error.message
    paths = [item.path for item in uncertain.inputs]
    strong = points[:, paths.index(_YIELD)] if _YIELD in paths else points[:, -1]
    return low + strong * (high - low), ""
