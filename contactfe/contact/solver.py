"""Solver of the bounded contact problem: a mixed complementarity problem with bounds and balance rows.

    s = g + M p - B_n^T a,   B p = F,   and for every cell:  p = 0 and s >= 0,  or 0 < p < cap and s = 0,
                                                             or p = cap and s <= 0.

First the parametric active set of ``path``, started from a neighbouring solution: finite, and cheap when the start
is close. Should rounding stop it, a primal-dual interior-point method on the full matrix, whose complementarity
falls in every step for the monotone matrices that friction below about 0.5 leaves, and the path from there.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, lu_factor, lu_solve

from contactfe.contact.path import GROUND, Flexible, Path
from contactfe.errors import NotConverged

Array = NDArray[np.float64]
Index = NDArray[np.int64]

INTERIOR_ROUNDS = 80
RESIDUAL_LIMIT = 1e-6
# Of what all cells could carry: smaller loads, at first touch, are judged as if they were as large.
SLIGHT = 1e-4
ROUNDED = 1e-9  # of the cap: a start so close to it is at it
SAMPLES = 3  # cells whose own flexibility sets the scale of gaps


@dataclass(frozen=True)
class SolveReport:
    """How a solve went. ``residual`` is relative: violated conditions over the pressure and gap scales.

    ``gap`` (c,): the gaps that are left, integrated over each cell (mm2 per mm of depth), as the check worked them out.
    """

    converged: bool
    method: str
    iterations: int
    residual: float
    gap: Array = field(default_factory=lambda: np.zeros(0), compare=False, repr=False)


class Dense:
    """A flexibility matrix held in full."""

    def __init__(self, matrix: Array) -> None:
        self.matrix = matrix

    def apply(self, p: Array) -> Array:
        """M p, (c,)."""
        return np.asarray(self.matrix @ p)

    def columns(self, cells: Index) -> Array:
        """Columns of some cells, (c, k)."""
        return self.matrix[:, cells]

    def diagonal(self, cells: Index) -> Array:
        """Diagonal entries of some cells, (k,)."""
        return self.matrix[cells, cells]


@dataclass(frozen=True, eq=False)
class BoundedProblem:
    """Flexibility M (c, c), gaps g (c,), balance rows B and B_n (m, c), cap (c,) in MPa, and net force.

    Gaps are integrals over a cell (mm2 per mm of depth); M is per MPa of pressure. ``force`` (m,): what the rows
    have to add up to, N per mm of depth (zero for a wrench that floats).
    """

    matrix: Flexible
    gap: Array
    balance: Array
    balance_n: Array
    cap: Array
    force: Array


def solve_bounded(
    problem: BoundedProblem, start: Array | None = None, motion: Array | None = None
) -> tuple[Array, Array, SolveReport]:
    """Pressures (c,), free motion a (m,) and the report.

    Args:
        start: pressures (c,) to start from, or None.
        motion: free motion (m,) to start from, or None.

    Raises:
        NotConverged: with the report of the last state.
    """
    scaled, scale = _scaled(problem)
    p0 = np.zeros(len(problem.gap)) if start is None else np.clip(start / problem.cap, 0.0, 1.0)
    # As cells between their bounds, hundreds of them would have to be found capped one by one.
    p0[p0 > 1.0 - ROUNDED] = 1.0
    a0 = np.zeros(len(problem.force)) if motion is None else motion * scale.rows / scale.unit
    path = Path(scaled.matrix, scaled.gap, scaled.balance, scaled.balance_n, scaled.force)
    path.prepare(_edges(p0))
    most = 4 * len(p0) + 100
    found = path.walk(p0, a0, most)
    if found is not None:
        answer = _judged(problem, scale, found, "path")
        if answer[2].converged:
            return answer
    p, a, rounds = _interior(scaled)
    near = path.walk(np.where(p < 1e-7, 0.0, np.where(p > 1 - 1e-7, 1.0, p)), a, most)
    if near is not None:
        answer = _judged(problem, scale, (near[0], near[1], near[2] + rounds), "interior, path")
        if answer[2].converged:
            return answer
    answer = _judged(problem, scale, (p, a, rounds), "interior")
    report = answer[2]
    if not report.converged:
        raise NotConverged(
            f"the contact solver stopped with a relative residual of {report.residual:.1e}",
            hint="try a slightly different mesh (edge_at_contact) or less friction",
            slug="contact-not-converged",
            report=report,
        )
    return answer


def _edges(p: Array) -> Index:
    """Cells that are partly loaded, and those at the ends of loaded runs: the ones that will be free next."""
    loaded = p > 0
    change = np.flatnonzero(loaded[1:] != loaded[:-1])
    around = np.concatenate([(change[:, None] + np.arange(-2, 4)).ravel(), np.flatnonzero(loaded & (p < 1))])
    return np.unique(np.clip(around, 0, max(len(p) - 1, 0))) if len(p) else around


@dataclass(frozen=True, eq=False)
class _Scale:
    cap: Array
    unit: float
    rows: Array
    typical: float


class _ScaledMatrix:
    def __init__(self, matrix: Flexible, cap: Array, unit: float) -> None:
        self._matrix, self._cap, self._unit = matrix, cap, unit

    def apply(self, p: Array) -> Array:
        return self._matrix.apply(p * self._cap) * self._cap / self._unit

    def columns(self, cells: Index) -> Array:
        found = self._matrix.columns(cells) * self._cap[:, None] * (self._cap[cells] / self._unit)
        # Neighbouring slivers of cells may answer almost alike; a hair on the diagonal keeps the solve sound.
        found[cells, np.arange(len(cells))] *= 1.0 + 1e-13
        return found

    def diagonal(self, cells: Index) -> Array:
        return self._matrix.diagonal(cells) * self._cap[cells] ** 2 / self._unit


def typical_flexibility(problem: BoundedProblem) -> float:
    """Mean of some diagonal entries of the flexibility, mm2 per MPa."""
    n = len(problem.gap)
    cells = np.unique(np.linspace(0, n - 1, min(SAMPLES, n)).astype(np.int64))
    return float(np.mean(problem.matrix.diagonal(cells)))


def _scaled(problem: BoundedProblem) -> tuple[BoundedProblem, _Scale]:
    """Unknowns as shares of the cap; rows and balance scaled to order one."""
    cap = problem.cap
    typical = typical_flexibility(problem)
    unit = typical * float(cap.mean()) ** 2
    rows = np.maximum(np.abs(problem.balance * cap).max(axis=1), 1e-300)
    scaled = BoundedProblem(
        matrix=_ScaledMatrix(problem.matrix, cap, unit),
        gap=problem.gap * cap / unit,
        balance=problem.balance * cap / rows[:, None],
        balance_n=problem.balance_n * cap / rows[:, None],
        cap=np.ones_like(cap),
        force=problem.force / rows,
    )
    return scaled, _Scale(cap, unit, rows, typical)


def _judged(
    problem: BoundedProblem, scale: _Scale, found: tuple[Array, Array, int], method: str
) -> tuple[Array, Array, SolveReport]:
    pressure, motion = found[0] * scale.cap, found[1] * scale.unit / scale.rows
    gap = _gaps(problem, pressure, motion)
    residual = _violation(problem, pressure, gap, scale.typical)
    return pressure, motion, SolveReport(bool(residual < RESIDUAL_LIMIT), method, found[2], residual, gap)


def _gaps(problem: BoundedProblem, pressure: Array, motion: Array) -> Array:
    return np.asarray(problem.gap + problem.matrix.apply(pressure) - problem.balance_n.T @ motion)


def complementarity(problem: BoundedProblem, pressure: Array, motion: Array) -> float:
    """Largest violation of the contact conditions and of balance, relative to the scales of the problem.

    For each cell |p - clip(p - s / d, 0, cap)| / cap with d the typical own flexibility of a cell; for balance, net
    force over the sum of the magnitudes, or over 1e-4 of the largest possible sum.
    """
    if len(pressure) == 0:
        return 0.0
    return _violation(problem, pressure, _gaps(problem, pressure, motion), typical_flexibility(problem))


def _violation(problem: BoundedProblem, pressure: Array, gap: Array, typical: float) -> float:
    moved = np.clip(pressure - gap / typical, 0.0, problem.cap)
    miss = float((np.abs(pressure - moved) / problem.cap).max())
    if not pressure.any():
        return miss
    force = np.abs(problem.balance) @ pressure
    net = np.abs(problem.balance @ pressure - problem.force)
    least = np.maximum(SLIGHT * np.abs(problem.balance) @ problem.cap, 1e-300)
    return max(miss, float((net / np.maximum(force, least)).max()))


def _interior(problem: BoundedProblem) -> tuple[Array, Array, int]:
    """Primal-dual interior point with predictor and corrector: pressures, motion, rounds."""
    g, b, bn = problem.gap, problem.balance, problem.balance_n
    n, rows = len(g), len(b)
    m = problem.matrix.columns(np.arange(n))
    p, a = np.full(n, 0.5), np.zeros(rows)
    scale = max(1.0, float(np.abs(g + m @ p).max()))
    z = np.full((2, n), scale)
    k = np.zeros((n + rows, n + rows))
    k[:n, n:], k[n:, :n], k[n:, n:] = -bn.T, b, GROUND * np.eye(rows)
    rounds = 0
    while rounds < INTERIOR_ROUNDS:
        rounds += 1
        v = 1.0 - p
        dual = g + m @ p - bn.T @ a - z[0] + z[1]
        primal = b @ p + GROUND * a - problem.force
        mu = float(z[0] @ p + z[1] @ v) / (2 * n)
        if mu < 1e-15 * scale and np.abs(dual).max() < 1e-11 * scale and np.abs(primal).max() < 1e-12 * n:
            break
        k[:n, :n] = m
        k[np.arange(n), np.arange(n)] += z[0] / p + z[1] / v
        try:
            factor = lu_factor(k, check_finite=False)
        except LinAlgError:
            break
        sigma, second = 0.0, np.zeros((2, n))
        for corrector in (False, True):
            low = (sigma * mu - second[0]) / p - z[0]
            high = (sigma * mu - second[1]) / v - z[1]
            step = lu_solve(factor, np.concatenate([-dual + low - high, -primal]), check_finite=False)
            dp, da = step[:n], step[n:]
            dz = np.vstack([low - z[0] / p * dp, high + z[1] / v * dp])
            along = min(_longest(p, dp), _longest(v, -dp))
            along_z = _longest(z.ravel(), dz.ravel())
            if not corrector:
                low_after = (z[0] + along_z * dz[0]) @ (p + along * dp)
                high_after = (z[1] + along_z * dz[1]) @ (v - along * dp)
                sigma = min(1.0, (float(low_after + high_after) / (2 * n * mu)) ** 3)
                second = np.vstack([dp * dz[0], -dp * dz[1]])
        size = min(1.0, 0.995 * min(along, along_z))  # one length for both: the matrix couples p and z
        p, a, z = p + size * dp, a + size * da, z + size * dz
    return p, a, rounds


def _longest(x: Array, dx: Array) -> float:
    falling = dx < 0
    return min(1.0, float((-x[falling] / dx[falling]).min(initial=1e30)))
