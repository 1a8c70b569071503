"""What the crush of a pull leaves behind on the fastener: the surface of every crushed stretch, without its elastic part."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from contactfe.contact import ContactSolution, turned
from contactfe.turn.build import BuiltPair

Array = NDArray[np.float64]

SAME_RUN = 2.5  # cells whose centres lie farther apart than so many mean lengths belong to two stretches


def crushed_runs(built: BuiltPair, solution: ContactSolution) -> Iterator[Array]:
    """Surfaces of the crushed stretches at one rotation, polylines (k, 2) mm in the fastener's own frame.

    A cell at the cap stays displaced by its crush depth along the wrench's normal; by the rest of the overlap both bodies
    spring back. Where nothing is elastic the surface left is that of the wrench.
    """
    problem, cells = solution.problem, np.flatnonzero(solution.capped & (solution.gap < 0))
    if not len(cells):
        return
    normal, length = problem.normal[cells], problem.length[cells]
    back = problem.gap[cells] / length - solution.gap[cells]
    place = problem.centre[cells] + problem.stand + back[:, None] * normal
    tangent = np.column_stack([-normal[:, 1], normal[:, 0]])
    angle = np.arctan2(place[:, 1], place[:, 0])
    for group in np.unique(problem.group[cells]):
        own = np.flatnonzero(problem.group[cells] == group)
        own = _in_order(own, angle)
        step = np.linalg.norm(np.diff(place[own], axis=0), axis=1)
        limit = SAME_RUN * 0.5 * (length[own][1:] + length[own][:-1])
        for run in np.split(own, np.flatnonzero(step > limit) + 1):
            ahead = np.sign(tangent[run[-1]] @ np.array([-place[run[-1], 1], place[run[-1], 0]])) or 1.0
            first = place[run[0]] - ahead * 0.5 * length[run[0]] * tangent[run[0]]
            last = place[run[-1]] + ahead * 0.5 * length[run[-1]] * tangent[run[-1]]
            line = np.vstack([first, place[run], last])
            yield turned(line, built.pair.sense * solution.rotation)


def _in_order(own: NDArray[np.int64], angle: Array) -> NDArray[np.int64]:
    """Cells of one stretch of the wrench by their angle about the axis, which never spans more than half a turn."""
    middle = np.arctan2(np.sin(angle[own]).mean(), np.cos(angle[own]).mean())
    off = np.angle(np.exp(1j * (angle[own] - middle)))
    return np.asarray(own[np.argsort(off, kind="stable")])


def relief(solution: ContactSolution) -> float:
    """How far both bodies give way elastically where the fastener is crushed, mm: a mean over the crushed length."""
    problem, cells = solution.problem, solution.capped & (solution.gap < 0)
    length = problem.length[cells]
    if not len(length):
        return 0.0
    return float(np.maximum(solution.gap[cells] * length - problem.gap[cells], 0.0).sum() / length.sum())
