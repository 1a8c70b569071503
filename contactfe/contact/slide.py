"""Parallel jaws: no flank opposes a force along them, so friction carries it.

With friction fully mobilised against the turning, both jaws rub in opposite directions and nothing is left to hold
the wrench along its jaws. What the hand adds in that direction makes the wrench creep until one jaw rubs less than
it could: its share of friction, between -1 and 1, follows from the balance of forces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from contactfe.contact.problem import ContactProblem, Handle
from contactfe.contact.solver import BoundedProblem, SolveReport, solve_bounded
from contactfe.errors import SlidesOff

Array = NDArray[np.float64]

WEAK = 0.02  # ratio of singular values below which a direction counts as not opposed
ROUNDS = 25
CLOSE = 1e-12


@dataclass(frozen=True)
class Slid:
    """Solution of a problem whose friction was shared so that the weak direction balances."""

    problem: ContactProblem
    pressure: Array
    motion: Array
    report: SolveReport


def weak_direction(problem: ContactProblem, overlaps: NDArray[np.bool_], handle: Handle) -> Array | None:
    """The direction (2,), in the rows of the balance, that no normal of an overlapping cell opposes, or None."""
    if overlaps.sum() < 2:
        return None
    rows = problem.force_n if handle.lever_arm is None else handle.axes() @ problem.force_n
    u, size, _ = np.linalg.svd(rows[:, overlaps], full_matrices=False)
    return np.asarray(u[:, 1]) if size[1] < WEAK * size[0] else None


def solve_sliding(
    problem: ContactProblem, weak: Array, law: tuple[float, Array], start: Array | None, motion: Array | None
) -> Slid:
    """Solve with only the strong row of the balance, and share the friction until the weak one balances too.

    Args:
        law: friction coefficient and the cap of each cell (c,), MPa.

    Raises:
        SlidesOff: the hand's force along the jaws is more than friction can hold.
    """
    friction, cap = law
    strong = np.array([-weak[1], weak[0]])
    along = weak @ problem.balance_t  # force along the jaws per unit pressure, from friction with mu = 1
    share, current, at = np.ones(len(along)), problem, None if motion is None else np.array([strong @ motion])
    for rounds in range(ROUNDS):
        current = _shared(problem, share)
        whole = current.bounded(friction, cap)
        reduced = BoundedProblem(
            whole.matrix,
            whole.gap,
            strong[None] @ whole.balance,
            strong[None] @ whole.balance_n,
            whole.cap,
            np.zeros(1),
        )
        pressure, at, report = solve_bounded(reduced, start, at)
        start = pressure
        left = float(weak @ (problem.balance_n @ pressure))
        forward = friction * float(along[along > 0] @ pressure[along > 0])
        backward = friction * float(along[along < 0] @ pressure[along < 0])
        scale = max(forward, -backward, 1e-300)
        total = left + friction * float((share * along) @ pressure)
        if abs(total) <= CLOSE * float(np.abs(whole.balance).sum(axis=0) @ pressure):
            return Slid(
                current, pressure, strong * at[0], replace(report, iterations=report.iterations + rounds)
            )
        if friction == 0.0:
            break
        more, less = (forward, backward) if left + forward + backward > 0 else (backward, forward)
        wanted = -(left + less) / more if more else 1.0
        if not -1.0 <= wanted <= 1.0 + 1e-9 or scale <= 0:
            break
        share = np.where(along * np.sign(more) > 0, min(wanted, 1.0), 1.0)
    raise SlidesOff(
        "the hand pulls the jaws along the fastener harder than friction can hold",
        where="[load] lever_arm",
        hint="use a longer lever arm, or a pure couple",
    )


def _shared(problem: ContactProblem, share: Array) -> ContactProblem:
    if bool((share == 1.0).all()):
        return problem
    return replace(
        problem,
        fastener=problem.fastener.with_friction(share),
        wrench=problem.wrench.with_friction(share),
        balance_t=problem.balance_t * share,
        arm_t=problem.arm_t * share,
        force_t=problem.force_t * share,
    )
