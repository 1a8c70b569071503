"""Few inputs scatter: a part of the samples is solved, the others follow from a polynomial through those.

The torques at which grip and wrench end a pull are smooth in strengths, friction, depth and opening, each by itself. A
polynomial of second degree in the shares of up to three inputs has ten terms at most; twice as many samples tell by
their leave-one-out errors whether it is good enough. Where it is not, every sample is solved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.uncertainty.jobs import Job, JobPlan
from contactfe.uncertainty.solve import Solve
from contactfe.uncertainty.surrogate import fit

Array = NDArray[np.float64]

MOST_INPUTS = 3
SOLVED_PER_TERM = 2
WORTH = 0.75  # of the samples: where more would be solved all are
GOOD = 5e-3  # of the torque: largest root mean square of the leave-one-out errors
SPREAD = 0.5  # least torque over the largest: nearer to nothing some of the others may turn freely
CLEAR = 1.05  # times the torque of the grip: where a limit of the wrench that none of the solved samples comes below
FAR = 0.02  # does not decide, and may be as uncertain as this


@dataclass(frozen=True, eq=False)
class SolvedPlan:
    """Torques (m, 2) N m of the jobs of a plan; how many of its samples were ``fitted``, and the leave-one-out ``error``
    of that, as a share of the torque."""

    torques: Array
    fitted: int = 0
    error: float = 0.0


def solve_plans(plans: Sequence[tuple[JobPlan, Array | None]], solve: Solve) -> list[SolvedPlan]:
    """Solve plans, those with the shares (n, d) of their samples thinned where that is good enough; `solve` gets the
    jobs of all in one go, and in another one those of the samples that have to be solved after all."""
    first = [len(plan.jobs) if u is None else solved_first(plan, u) for plan, u in plans]
    answers = _in_parts([plan.jobs[:n] for (plan, _), n in zip(plans, first, strict=True)], solve)
    found = [
        SolvedPlan(own) if n == len(plan.jobs) or u is None else _filled(u, own)
        for (plan, u), n, own in zip(plans, first, answers, strict=True)
    ]
    rest = [
        plan.jobs[n:] if one is None else () for (plan, _), n, one in zip(plans, first, found, strict=True)
    ]
    more = _in_parts(rest, solve) if any(rest) else [np.empty((0, 2))] * len(plans)
    return [
        SolvedPlan(np.concatenate([own, extra])) if one is None else one
        for one, own, extra in zip(found, answers, more, strict=True)
    ]


def solved_first(plan: JobPlan, u: Array) -> int:
    """How many jobs of a plan are solved first: all where nothing would be saved, or other shapes are looked at too."""
    n, d = u.shape
    wanted = SOLVED_PER_TERM * (d + 1) * (d + 2) // 2
    thinned = 1 <= d <= MOST_INPUTS and not plan.ratios and wanted <= WORTH * n
    return wanted if thinned else len(plan.jobs)


def _in_parts(jobs: Sequence[Sequence[Job]], solve: Solve) -> list[Array]:
    solved = solve([job for part in jobs for job in part])
    return np.split(solved, np.cumsum([len(part) for part in jobs])[:-1])


def _filled(u: Array, solved: Array) -> SolvedPlan | None:
    """The torques of all samples from those of the first ones (m, 2); None where a polynomial does not do."""
    grip, wrench = solved.T
    clear = bool((wrench > CLEAR * grip).all())
    found = _fitted(u, grip, GOOD)
    if found is None:
        return None
    out = np.full((len(u), 2), np.inf)
    out[: len(solved)] = solved
    out[len(solved) :, 0], error = found
    if not (clear and np.isposinf(wrench).any()):
        found = _fitted(u, wrench, FAR if clear else GOOD)
        if found is None:
            return None
        out[len(solved) :, 1] = found[0]
        error = error if clear else max(error, found[1])
    return SolvedPlan(out, len(u) - len(solved), error)


def _fitted(u: Array, known: Array, good: float) -> tuple[Array, float] | None:
    """Torques of the samples after the first ones (m,), which are known, and the leave-one-out error."""
    if not np.isfinite(known).all() or known.min() <= SPREAD * known.max():
        return None
    model = fit(u[: len(known)], np.log(known))
    return None if model.error > good else (np.exp(model(u[len(known) :])), model.error)
