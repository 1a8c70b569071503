"""Few inputs scatter: a part of the samples is solved, the others follow from a polynomial through those.

The torques at which grip and wrench end a pull are smooth in strengths, friction, depth and opening, each by itself. A
polynomial of second degree in up to three inputs has ten terms at most. Some samples more are solved, those
that tell it best, whose leave-one-out errors say whether it is good enough. Where it is not, every sample is solved.

Beyond slip the limit of a wrench is an extrapolation, with a kink where both limits meet: the polynomial for a limit goes
through the samples that it ends, or the nearest to that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.uncertainty.jobs import Job, JobPlan
from contactfe.uncertainty.solve import Solve
from contactfe.uncertainty.surrogate import fit, telling

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MOST_INPUTS = 3
MORE = 6  # samples that are solved than the polynomial has terms
WORTH = 0.75  # of the samples: where more would be solved all are
GOOD = 0.01  # of the torque: largest root mean square of the leave-one-out errors (twice those of the others)
SPREAD = 0.35  # least torque over the largest: nearer to nothing some of the others may turn freely
CLEAR = 1.05  # times the other limit: one that is higher in all of the solved samples does not decide
FAR = 0.02  # and may be as uncertain as this


@dataclass(frozen=True, eq=False)
class SolvedPlan:
    """Torques (m, 2) N m of the jobs of a plan; how many of its samples were ``fitted``, and the leave-one-out ``error``
    of that, as a share of the torque."""

    torques: Array
    fitted: int = 0
    error: float = 0.0


def solve_plans(plans: Sequence[tuple[JobPlan, Array | None]], solve: Solve) -> list[SolvedPlan]:
    """Solve plans, those with the shares (n, d) of their samples (None: no samples) thinned where that is good enough.

    `solve` gets the jobs of all in one go, and in another one those of the samples that have to be solved after all.
    """
    first = [np.arange(len(plan.jobs)) if u is None else solved_first(plan, u) for plan, u in plans]
    answers = _in_parts(
        [[plan.jobs[k] for k in one] for (plan, _), one in zip(plans, first, strict=True)], solve
    )
    found = [
        SolvedPlan(own) if len(one) == len(plan.jobs) or u is None else _filled(_scaled(plan, u), one, own)
        for (plan, u), one, own in zip(plans, first, answers, strict=True)
    ]
    rest = [
        [] if done is not None else _others(one, len(plan.jobs)).tolist()
        for (plan, _), one, done in zip(plans, first, found, strict=True)
    ]
    jobs = [[plan.jobs[k] for k in one] for (plan, _), one in zip(plans, rest, strict=True)]
    more = _in_parts(jobs, solve) if any(jobs) else [np.empty((0, 2))] * len(plans)
    return [
        SolvedPlan(_merged(one, own, extra)) if done is None else done
        for done, one, own, extra in zip(found, first, answers, more, strict=True)
    ]


def solved_first(plan: JobPlan, u: Array) -> Index:
    """Which jobs of a plan are solved first: all where nothing would be saved, or other shapes are looked at too."""
    n, d = u.shape
    wanted = (d + 1) * (d + 2) // 2 + MORE
    thinned = 1 <= d <= MOST_INPUTS and not plan.ratios and wanted <= WORTH * n
    return telling(_scaled(plan, u), wanted) if thinned else np.arange(len(plan.jobs))


def _scaled(plan: JobPlan, u: Array) -> Array:
    """Values (n, d) of the inputs, each from 0 to 1: what the torques follow, also in the tails of a distribution; the
    shares u of those that hardly scatter."""
    values = plan.values[: len(u)]
    width = np.ptp(values, axis=0)
    told = width > 1e-9 * np.abs(values).max(axis=0)
    return np.where(told, (values - values.min(axis=0)) / np.where(told, width, 1.0), u)


def _in_parts(jobs: Sequence[Sequence[Job]], solve: Solve) -> list[Array]:
    solved = solve([job for part in jobs for job in part])
    return np.split(solved, np.cumsum([len(part) for part in jobs])[:-1])


def _others(chosen: Index, count: int) -> Index:
    return np.setdiff1d(np.arange(count), chosen)


def _merged(chosen: Index, solved: Array, rest: Array) -> Array:
    """Torques (n, 2) of the chosen samples (m,) and of the others, in the order of all."""
    out = np.empty((len(solved) + len(rest), 2))
    out[chosen], out[_others(chosen, len(out))] = solved, rest
    return out


def _filled(u: Array, chosen: Index, solved: Array) -> SolvedPlan | None:
    """The torques of all samples, with scaled inputs u (n, d), from those (m, 2) of the chosen ones; None where a
    polynomial does not do."""
    grip, wrench = solved.T
    known, others = u[chosen], u[_others(chosen, len(u))]
    limits = [_limit(known, others, grip, wrench), _limit(known, others, wrench, grip)]
    found = [one for one in limits if one is not None]
    if len(found) < len(limits):
        return None
    rest = np.column_stack([torque for torque, _ in found])
    return SolvedPlan(_merged(chosen, solved, rest), len(rest), max(error for _, error in found))


def _limit(known: Array, others: Array, own: Array, other: Array) -> tuple[Array, float] | None:
    """One of the two limits of the other samples, from the known ones (m, d) with both limits (m,), and the error of the
    torque that they deliver by it; None where no polynomial does."""
    if (own > CLEAR * other).all():  # decides nowhere: may be uncertain
        if np.isposinf(own).any():
            return np.full(len(others), np.inf), 0.0
        found = _fitted(known, own, others)
        return None if found is None or found[1] > FAR else (found[0], 0.0)
    # Those that it ends, or the nearest to it; and all, where these are too few to tell.
    least = 2 * (known.shape[1] + 1)
    with np.errstate(invalid="ignore"):
        nearest = np.argsort(own / other, kind="stable")[: max(int((own <= other).sum()), least)]
    judged = []
    for which in (nearest, np.arange(len(own))):
        found = _fitted(known[which], own[which], np.concatenate([known, others]))
        if found is not None:
            here, there = np.split(found[0], [len(own)])
            judged.append((there, max(found[1], _too_low(own, other, here))))
    best = min(judged, key=lambda one: one[1], default=None)
    return None if best is None or best[1] > GOOD else best


def _too_low(own: Array, other: Array, fitted: Array) -> float:
    """By how much fitted values of a limit (m,) come below the other one where that is the lower: root mean square, as a
    share."""
    held = own > other
    lower = np.log(np.minimum(fitted[held] / other[held], 1.0))
    return float(np.sqrt(np.mean(lower**2))) if lower.size else 0.0


def _fitted(u: Array, known: Array, others: Array) -> tuple[Array, float] | None:
    """Torques of other samples (k, d) from known ones (m,), and the leave-one-out error as a share of them; None where
    they differ too much for that."""
    if len(known) < 2 or not np.isfinite(known).all() or known.min() <= SPREAD * known.max():
        return None
    model = fit(u, np.log(known))
    return np.exp(model(others)), model.error
