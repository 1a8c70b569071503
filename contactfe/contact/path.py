"""Parametric active set: follows the exact solution from a neighbouring problem to the wanted one.

The neighbour's pressures solve a problem whose gaps are shifted by just as much as they violate the conditions of
the new one. Taking that shift back in one sweep, h from 0 to 1, the solution moves along straight stretches; at
the end of each stretch one cell changes between open, free and capped. For the monotone matrices of contact every
stretch leads forward, so the number of stretches is finite, there is no cycling, and a start that is close to the
answer needs few of them (the idea of parametric quadratic programming; e.g. Best, "An algorithm for the solution
of the parametric quadratic programming problem", 1996, from memory). Only the columns of free cells are needed.
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgesv

Array = NDArray[np.float64]
Index = NDArray[np.int64]

GROUND = 1e-13  # stiffness that keeps the free motion finite where no flank opposes it (along parallel jaws)
TIE = 1e-13
LEAST_AT_ONCE = 6  # violating cells: fewer are left to the walk
AHEAD = 3  # neighbours whose columns are fetched with a cell's: the patch grows and shrinks cell by cell


class Flexible(Protocol):
    """What the path needs of the flexibility matrix M (c, c)."""

    def apply(self, p: Array) -> Array:
        """M p, (c,)."""

    def columns(self, cells: Index) -> Array:
        """The columns of some cells, (c, k)."""

    def diagonal(self, cells: Index) -> Array:
        """The diagonal entries of some cells, (k,)."""


class Path:
    """Problems of one matrix; all quantities scaled: pressures in shares of the cap, gaps and rows of order one."""

    def __init__(self, matrix: Flexible, gap: Array, balance: Array, balance_n: Array, force: Array) -> None:
        self.matrix, self.gap, self.force = matrix, gap, force
        self.balance, self.balance_n = balance, balance_n
        self._columns: dict[int, Array] = {}

    def prepare(self, cells: Index) -> None:
        """Fetch the columns of cells that are likely to be free, all at once."""
        missing = np.array([c for c in cells.tolist() if c not in self._columns], dtype=np.int64)
        if len(missing):
            found = self.matrix.columns(missing)
            self._columns.update(zip(missing.tolist(), found.T, strict=True))

    def column(self, cell: int) -> Array:
        """Gap changes (c,) from the pressure of one cell."""
        if cell not in self._columns:
            self.prepare(np.arange(max(cell - AHEAD, 0), min(cell + AHEAD + 1, len(self.gap))))
        return self._columns[cell]

    def walk(self, p: Array, a: Array, most: int) -> tuple[Array, Array, int] | None:
        """Pressures, free motion and number of stretches from a start p (c,) in [0, 1], a (m,); None when stuck."""
        s = self.gap + self.matrix.apply(p) - self.balance_n.T @ a
        p, a, s = self._nearer(p, a, s)
        state = np.where(p <= 0.0, -1.0, np.where(p >= 1.0, 1.0, 0.0))
        # The shift that makes the start exact: what each cell violates, and nothing where it violates nothing.
        shift = np.where(state == 0, -s, np.where(state < 0, np.maximum(-s, 0.0), np.minimum(-s, 0.0)))
        s += shift
        lack = self.balance @ p + GROUND * a - self.force
        m, h = len(lack), 0.0
        inside = np.flatnonzero(state == 0)
        self.prepare(np.union1d(inside, np.flatnonzero(shift)))
        free = _FreeCells(self, lack, shift)
        for cell in inside.tolist():
            free.add(cell, float(p[cell]))
        for stretch in range(1, most + 1):
            x = free.direction()
            if x is None:
                return None
            ds = x @ free.rows
            ds -= shift
            ds[free.cells] = 0.0
            step, cell = _until_bound_moves(state, s, ds, 1.0 - h)
            step, stops, becomes = _until_free_stops(free.pressure, x[m:].tolist(), step)
            h += step
            free.advance(step, x[m:].tolist())
            a = a + step * x[:m]
            s += step * ds
            if stops >= 0:
                cell = free.remove(stops)
                p[cell] = 0.0 if becomes < 0 else 1.0
            elif cell >= 0:
                becomes = 0.0
                free.add(cell, float(p[cell]))
            else:
                p[free.cells] = free.pressure
                return np.clip(p, 0.0, 1.0), a, stretch
            state[cell], s[cell] = becomes, 0.0
        return None

    def _nearer(self, p: Array, a: Array, s: Array) -> tuple[Array, Array, Array]:
        """A start that violates less: one Newton step for all violating cells at once, cut off at the bounds.

        It need not lead towards the answer; where it does, as mostly, it saves many stretches.
        """
        m = len(self.force)
        wrong = ((p <= 0.0) & (s < 0.0)) | ((p >= 1.0) & (s > 0.0))
        if np.count_nonzero(wrong) < LEAST_AT_ONCE:
            return p.copy(), a, s
        free = np.flatnonzero(((p > 0.0) & (p < 1.0)) | wrong)
        self.prepare(free)
        rows = np.vstack([-self.balance_n, *(self._columns[cell] for cell in free.tolist())])
        rhs = np.concatenate([self.force - self.balance @ p - GROUND * a, -s[free]])
        x = _unknowns(rows[:, free], self.balance[:, free].T, rhs)
        if x is None:
            return p.copy(), a, s
        new = p.copy()
        new[free] = np.clip(p[free] + x[m:], 0.0, 1.0)
        return new, a + x[:m], s + np.concatenate([x[:m], new[free] - p[free]]) @ rows


class _FreeCells:
    """The cells between their bounds, with the rows of what each unknown does to all gaps: motions, then pressures.

    Small arrays, many times over: what a stretch needs is kept as it grows instead of being put together anew.
    """

    def __init__(self, path: Path, lack: Array, shift: Array) -> None:
        self._path, self._lack, self._shift = path, -lack, shift
        self._balance = np.ascontiguousarray(path.balance.T)
        self._m = len(lack)
        self._all = np.empty((self._m + 16, len(shift)))
        self._all[: self._m] = -path.balance_n
        self.cells: list[int] = []
        self.pressure: list[float] = []

    @property
    def rows(self) -> Array:
        """Gap changes (m + n, c) per unit of each unknown."""
        return self._all[: self._m + len(self.cells)]

    def add(self, cell: int, pressure: float) -> None:
        """A cell that has reached a bound of its gap becomes free, with the pressure that it has."""
        at = self._m + len(self.cells)
        if at == len(self._all):
            self._all = np.concatenate([self._all, np.empty_like(self._all)])
        self._all[at] = self._path.column(cell)
        self.cells.append(cell)
        self.pressure.append(pressure)

    def remove(self, place: int) -> int:
        """Take out the cell at a place of the list; returns the cell."""
        last = len(self.cells) - 1
        cell = self.cells[place]
        self._all[self._m + place] = self._all[self._m + last]
        self.cells[place], self.pressure[place] = self.cells[last], self.pressure[last]
        self.cells.pop()
        self.pressure.pop()
        return cell

    def advance(self, step: float, rate: list[float]) -> None:
        """Move the pressures on."""
        self.pressure = [own + step * d for own, d in zip(self.pressure, rate, strict=True)]

    def direction(self) -> Array | None:
        """Rates (m + n,) of motions and free pressures that keep free gaps shut and take the shift back."""
        rhs = np.concatenate([self._lack, self._shift[self.cells]])
        return _unknowns(self.rows[:, self.cells], self._balance[self.cells], rhs)


def _unknowns(gaps: Array, balance: Array, rhs: Array) -> Array | None:
    """Motions and free pressures (m + n,) from the balance and the gaps of the free cells; None when there are none.

    ``gaps`` (m + n, n): what each unknown does to them; ``balance`` (n, m): what their pressures add to each row.
    """
    size, m = len(gaps), balance.shape[1]
    k = np.empty((size, size))  # transposed: one column for every equation
    k[:m, :m] = 0.0
    k[range(m), range(m)] = GROUND
    k[m:, :m] = balance
    k[:, m:] = gaps
    _, _, x, info = dgesv(k.T, rhs, overwrite_a=1, overwrite_b=1)
    return x if info == 0 and np.isfinite(x).all() else None


def _until_bound_moves(state: Array, s: Array, ds: Array, most: float) -> tuple[float, int]:
    """How far until an open cell closes or a capped cell gapes, and which one (-1: none within ``most``)."""
    where = np.flatnonzero(state * ds > 0.0)
    if len(where) == 0:
        return most, -1
    ratio = s[where] / ds[where]
    i = int(ratio.argmax())
    reach = max(-float(ratio[i]), 0.0)
    return (reach, int(where[i])) if reach < most else (most, -1)


def _until_free_stops(pressure: list[float], rate: list[float], most: float) -> tuple[float, int, float]:
    """The same against free cells that reach a bound: length, place in the list (-1: none), and which bound."""
    best, place, becomes = most - TIE, -1, 0.0
    for i, (own, d) in enumerate(zip(pressure, rate, strict=True)):
        if d != 0.0:
            reach = -own / d if d < 0.0 else (1.0 - own) / d
            if reach < best:
                best, place, becomes = reach, i, math.copysign(1.0, d)
    return (max(best, 0.0), place, becomes) if place >= 0 else (most, -1, 0.0)
