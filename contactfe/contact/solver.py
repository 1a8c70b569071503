"""Solver of the bounded contact problem: a mixed complementarity problem with bounds and balance rows.

    s = g + M p - B_n^T a,   B p = F,   and for every cell:  p = 0 and s >= 0,  or 0 < p < cap and s = 0,
                                                             or p = cap and s <= 0.

First a Newton method on the set of free cells, started from the neighbouring rotation; it may cycle on this
problem, so its answer is taken only when it fulfils every condition exactly. Otherwise a primal-dual interior-point
method, whose complementarity falls in every step for the monotone matrices that friction below about 0.5 leaves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, lapack, lu_factor, lu_solve

from contactfe.errors import NotConverged

Array = NDArray[np.float64]

NEWTON_ROUNDS = 8
INTERIOR_ROUNDS = 80
TOLERANCE = 1e-11
RESIDUAL_LIMIT = 1e-6
GROUND = 1e-11  # stiffness that keeps the free motion finite where no flank opposes it (along parallel jaws)


@dataclass(frozen=True)
class SolveReport:
    """How a solve went. ``residual`` is relative: violated conditions over the pressure and gap scales."""

    converged: bool
    method: str
    iterations: int
    residual: float


@dataclass(frozen=True, eq=False)
class BoundedProblem:
    """Matrix M (c, c) mm per MPa times cell length, gaps g (c,), balance rows B and B_n (m, c), cap (c,) in MPa.

    ``force`` (m,): what the rows have to add up to, N per mm of depth (zero for a wrench that floats).
    """

    matrix: Array
    gap: Array
    balance: Array
    balance_n: Array
    cap: Array
    force: Array


def solve_bounded(problem: BoundedProblem, start: Array | None = None) -> tuple[Array, Array, SolveReport]:
    """Pressures (c,), free motion a (m,) and the report.

    Args:
        start: pressures to start from, or None.

    Raises:
        NotConverged: with the report of the last state.
    """
    scaled, units = _scaled(problem)
    count = 0
    if start is not None:
        p0 = np.clip(start / units[0], 0.0, 1.0)
        found = _newton(scaled, np.where(p0 <= 0, -1, np.where(p0 >= 1, 1, 0)))
        if found is not None:
            return _finish(problem, units, *found, "newton")
        count = NEWTON_ROUNDS
    p, a, z, rounds = _interior(scaled)
    found = _newton(scaled, np.where(z[0] > p, -1, np.where(z[1] > 1 - p, 1, 0)))
    if found is not None:
        return _finish(problem, units, found[0], found[1], found[2] + rounds + count, "interior, newton")
    return _finish(problem, units, p, a, rounds + count, "interior")


def _scaled(problem: BoundedProblem) -> tuple[BoundedProblem, tuple[Array, float, Array]]:
    """Unknowns as shares of the cap; rows and balance scaled to order one."""
    cap = problem.cap
    compliance = problem.matrix * cap[None, :] * cap[:, None]
    unit = float(np.mean(np.diag(compliance)))
    rows = np.maximum(np.abs(problem.balance * cap).max(axis=1), 1e-300)
    matrix = compliance / unit
    # Neighbouring slivers of cells may answer almost alike; a hair on the diagonal keeps the factorisation sound.
    matrix[np.diag_indices(len(cap))] += 1e-13
    scaled = BoundedProblem(
        matrix=matrix,
        gap=problem.gap * cap / unit,
        balance=problem.balance * cap / rows[:, None],
        balance_n=problem.balance_n * cap / rows[:, None],
        cap=np.ones_like(cap),
        force=problem.force / rows,
    )
    return scaled, (cap, unit, rows)


def _finish(problem: BoundedProblem, units: tuple[Array, float, Array], p: Array, a: Array, rounds: int, method: str) -> tuple[Array, Array, SolveReport]:
    cap, unit, rows = units
    pressure = p * cap
    motion = a * unit / rows
    residual = complementarity(problem, pressure, motion)
    report = SolveReport(residual < RESIDUAL_LIMIT, method, rounds, residual)
    if not report.converged:
        raise NotConverged(
            f"the contact solver stopped with a relative residual of {residual:.1e} after {rounds} iterations",
            hint="try a slightly different mesh (edge_at_contact) or less friction",
            slug="contact-not-converged",
            report=report,
        )
    return pressure, motion, report


def complementarity(problem: BoundedProblem, pressure: Array, motion: Array) -> float:
    """Largest violation of the contact conditions and of balance, relative to the scales of the problem.

    For each cell |p - clip(p - s / d, 0, cap)| / cap with d the mean diagonal flexibility; for balance, net force
    over the sum of the magnitudes.
    """
    if len(pressure) == 0:
        return 0.0
    s = problem.gap + problem.matrix @ pressure - problem.balance_n.T @ motion
    d = np.diag(problem.matrix)
    d = np.maximum(d, 1e-6 * d.max())
    miss = float((np.abs(pressure - np.clip(pressure - s / d, 0.0, problem.cap)) / problem.cap).max())
    force = np.abs(problem.balance) @ pressure
    net = np.abs(problem.balance @ pressure - problem.force)
    return max(miss, float((net / np.maximum(force, 1e-300)).max()) if pressure.any() else 0.0)


def _newton(problem: BoundedProblem, state: NDArray[np.int64]) -> tuple[Array, Array, int] | None:
    """Newton on the sets: -1 open, 0 free, 1 capped. None when it cycles or meets a singular set."""
    m, g, b, bn = problem.matrix, problem.gap, problem.balance, problem.balance_n
    d = np.diag(m)
    seen: set[bytes] = set()
    for rounds in range(1, NEWTON_ROUNDS + 1):
        key = state.tobytes()
        if key in seen:
            return None
        seen.add(key)
        free = np.flatnonzero(state == 0)
        p = (state == 1).astype(float)
        if len(free) < len(b):
            return None
        k = np.zeros((len(free) + len(b), len(free) + len(b)))
        k[: len(free), : len(free)] = m[np.ix_(free, free)]
        k[: len(free), len(free) :] = -bn[:, free].T
        k[len(free) :, : len(free)] = b[:, free]
        k[len(free) :, len(free) :] = GROUND * np.eye(len(b))
        rhs = np.concatenate([-(g + m @ p)[free], problem.force - b @ p])
        _, _, solution, info = lapack.dgesv(k, rhs)
        if info != 0 or not np.isfinite(solution).all():
            return None
        p[free] = solution[: len(free)]
        a = solution[len(free) :]
        s = g + m @ p - bn.T @ a
        guess = p - s / d
        new = np.where(guess < 0, -1, np.where(guess > 1, 1, 0))
        # A free cell whose pressure is a rounding error outside the bounds stays free.
        new = np.where((state == 0) & (p > -TOLERANCE) & (p < 1 + TOLERANCE), 0, new)
        new = np.where((state == -1) & (s > -TOLERANCE), -1, np.where((state == 1) & (s < TOLERANCE), 1, new))
        if np.array_equal(new, state):
            return np.clip(p, 0.0, 1.0), a, rounds
        state = new
    return None


def _interior(problem: BoundedProblem) -> tuple[Array, Array, Array, int]:
    """Primal-dual interior point with predictor and corrector; pressures, motion, multipliers (2, c), rounds."""
    m, g, b, bn = problem.matrix, problem.gap, problem.balance, problem.balance_n
    n, rows = len(g), len(b)
    p, a = np.full(n, 0.5), np.zeros(rows)
    scale = max(1.0, float(np.abs(g + m @ p).max()))
    z = np.full((2, n), scale)
    k = np.zeros((n + rows, n + rows))
    k[:n, n:], k[n:, :n], k[n:, n:] = -bn.T, b, GROUND * np.eye(rows)
    for rounds in range(1, INTERIOR_ROUNDS + 1):
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
            rhs = np.concatenate([-dual + low - high, -primal])
            step = lu_solve(factor, rhs, check_finite=False)
            dp, da = step[:n], step[n:]
            dz = np.vstack([low - z[0] / p * dp, high + z[1] / v * dp])
            along = min(_longest(p, dp), _longest(v, -dp))
            along_z = _longest(z.ravel(), dz.ravel())
            if not corrector:
                later = float((z[0] + along_z * dz[0]) @ (p + along * dp) + (z[1] + along_z * dz[1]) @ (v - along * dp)) / (2 * n)
                sigma = min(1.0, (later / mu) ** 3)
                second = np.vstack([dp * dz[0], -dp * dz[1]])
        size = min(1.0, 0.995 * min(along, along_z))  # one length for both: the matrix couples p and z
        p, a, z = p + size * dp, a + size * da, z + size * dz
    return p, a, z, rounds


def _longest(x: Array, dx: Array) -> float:
    falling = dx < 0
    return min(1.0, float((-x[falling] / dx[falling]).min(initial=1e30)))
