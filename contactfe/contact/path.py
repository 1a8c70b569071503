"""Parametric active set: follows the exact solution from a neighbouring problem to the wanted one.

The neighbour's pressures solve a problem whose gaps are shifted by just as much as they violate the conditions of
the new one. Taking that shift back in one sweep, h from 0 to 1, the solution moves along straight stretches; at
the end of each stretch one cell changes between open, free and capped. For the monotone matrices of contact every
stretch leads forward, so the number of stretches is finite, there is no cycling, and a start that is close to the
answer needs few of them (the idea of parametric quadratic programming; e.g. Best, "An algorithm for the solution
of the parametric quadratic programming problem", 1996, from memory). Only the columns of free cells are needed.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgesv

Array = NDArray[np.float64]
Index = NDArray[np.int64]

GROUND = 1e-13  # stiffness that keeps the free motion finite where no flank opposes it (along parallel jaws)
TIE = 1e-13
AHEAD = (
    3  # neighbours whose columns are fetched along with a cell's: the patch grows and shrinks cell by cell
)


class Flexible(Protocol):
    """What the path needs of the flexibility matrix M (c, c)."""

    def apply(self, p: Array) -> Array:
        """M p, (c,)."""

    def columns(self, cells: Index) -> Array:
        """The columns of some cells, (c, k)."""


class Path:
    """The state of one walk; all quantities scaled: pressures in shares of the cap, gaps and rows of order one."""

    def __init__(self, matrix: Flexible, gap: Array, balance: Array, balance_n: Array, force: Array) -> None:
        self.matrix, self.gap, self.balance, self.balance_n, self.force = (
            matrix,
            gap,
            balance,
            balance_n,
            force,
        )
        self._columns: dict[int, Array] = {}

    def prepare(self, cells: Index) -> None:
        """Fetch the columns of cells that are likely to be free, all at once."""
        missing = np.array([c for c in cells.tolist() if c not in self._columns], dtype=np.int64)
        if len(missing):
            found = self.matrix.columns(missing)
            self._columns.update(zip(missing.tolist(), found.T, strict=True))

    def walk(self, p: Array, a: Array, most: int) -> tuple[Array, Array, int] | None:
        """Pressures, free motion and number of stretches from a start p (c,) in [0, 1], a (m,); None when stuck."""
        state = np.where(p <= 0.0, -1, np.where(p >= 1.0, 1, 0))
        s = self.gap + self.matrix.apply(p) - self.balance_n.T @ a
        # The shift that makes the start exact: what each cell violates, and nothing where it violates nothing.
        shift = np.where(state == 0, -s, np.where(state < 0, np.maximum(-s, 0.0), np.minimum(-s, 0.0)))
        s = s + shift
        lack = self.balance @ p + GROUND * a - self.force
        p, h, free = p.copy(), 0.0, np.flatnonzero(state == 0).tolist()
        for stretch in range(1, most + 1):
            found = self._direction(free, shift, lack)
            if found is None:
                return None
            dp, da, ds = found
            bound = self._until_bound_moves(state, s, ds, 1.0 - h)
            step, cell, becomes = self._until_free_stops(p, free, dp, bound)
            h += step
            if free:
                p[free] += step * dp
            a = a + step * da
            s = s + step * ds
            if cell < 0:
                return np.clip(p, 0.0, 1.0), a, stretch
            if becomes == 0:
                free.append(cell)
                s[cell] = 0.0
            else:
                free.remove(cell)
                p[cell] = 0.0 if becomes < 0 else 1.0
                s[cell] = 0.0
            state[cell] = becomes
        return None

    def _direction(self, free: list[int], shift: Array, lack: Array) -> tuple[Array, Array, Array] | None:
        n, m = len(free), len(lack)
        for cell in free:
            if cell not in self._columns:
                self.prepare(np.arange(max(cell - AHEAD, 0), min(cell + AHEAD + 1, len(shift))))
        rows = np.array([self._columns[cell] for cell in free]).reshape(n, len(shift))
        k = np.zeros((n + m, n + m))
        k[:n, :n] = rows[:, free].T
        k[:n, n:] = -self.balance_n[:, free].T
        k[n:, :n] = self.balance[:, free]
        k[range(n, n + m), range(n, n + m)] = GROUND
        rhs = np.empty(n + m)
        rhs[:n], rhs[n:] = shift[free], -lack
        _, _, step, info = dgesv(k, rhs, overwrite_a=1, overwrite_b=1)
        if info != 0 or not np.isfinite(step).all():
            return None
        dp, da = step[:n], step[n:]
        ds = dp @ rows - shift - da @ self.balance_n
        ds[free] = 0.0
        return dp, da, ds

    @staticmethod
    def _until_bound_moves(state: NDArray[np.int64], s: Array, ds: Array, most: float) -> tuple[float, int]:
        """How far until an open cell closes or a capped cell gapes, and which one (-1: none within ``most``)."""
        where = np.flatnonzero(state * ds > 0.0)
        if len(where) == 0:
            return most, -1
        reach = np.maximum(-s[where] / ds[where], 0.0)
        i = int(np.argmin(reach))
        return (float(reach[i]), int(where[i])) if reach[i] < most else (most, -1)

    @staticmethod
    def _until_free_stops(
        p: Array, free: list[int], dp: Array, found: tuple[float, int]
    ) -> tuple[float, int, int]:
        """The same against free cells that reach a bound: length, cell, and what it becomes (-1, 0 or 1)."""
        step, cell = found
        if not free:
            return step, cell, 0
        own = p[free]
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(dp < 0, -own / dp, np.where(dp > 0, (1.0 - own) / dp, np.inf))
        i = int(np.argmin(reach))
        if reach[i] < step - TIE:
            return max(float(reach[i]), 0.0), free[i], -1 if dp[i] < 0 else 1
        return step, cell, 0
