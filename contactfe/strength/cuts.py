"""Where a wrench's head may yield through: straight cuts from its opening to its outside, and across its handle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from contactfe.profile import TOUCHING, Outline, Piece, as_polygon

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SPACING = 0.04  # of the width across flats: distance of cuts along the opening
FACING = 0.7  # cosine: how squarely a cut leaves the opening's surface
DETOUR = 2.0  # the way round along the surface over the cut's length: less is the cutting of a corner
STUB = (0.02, 0.35, 0.7)  # of the handle's straight side, from the head: where cuts across it lie
PLACES = {
    "root": "wall over the corner",
    "ridge": "wall behind the ridge",
    "flank": "wall behind the flank",
    "slot": "end of the slot",
    "tip": "end of the slot",
    "throat": "throat",
}
JAW_PLACES = PLACES | {"flank": "jaw", "tip": "jaw", "ridge": "jaw"}
JAW_ROOT, HANDLE = "jaw root", "handle at the head"


@dataclass(frozen=True, eq=False)
class Cuts:
    """Straight cuts (c of them): inner and outer end (c, 2) mm, and in words where each lies."""

    inner: Array
    outer: Array
    place: tuple[str, ...]

    @property
    def height(self) -> Array:
        """Length of each cut, mm."""
        return np.asarray(np.linalg.norm(self.outer - self.inner, axis=1))

    @property
    def direction(self) -> Array:
        """Unit vectors from inner to outer end (c, 2)."""
        return np.asarray((self.outer - self.inner) / self.height[:, None])

    def points(self, shares: Array) -> Array:
        """Points at shares (q,) of each cut's length, (c, q, 2)."""
        return np.asarray(self.inner[:, None] + shares[:, None] * (self.outer - self.inner)[:, None])


def head_cuts(outline: Outline, across_flats: float) -> Cuts:
    """Cuts from points all along the opening to the nearest outside that lies behind them, and across the handle."""
    step = SPACING * across_flats
    boundary = _Boundary(outline, step / 5)
    polygon = as_polygon(outline, step / 10).buffer(1e-3 * across_flats)
    inner, outer, places = [], [], []
    for k, piece in enumerate(outline.pieces):
        if piece.name not in TOUCHING:
            continue
        shares = _inner_shares(piece, step)
        for point, normal in zip(piece.points(shares), piece.normals(shares), strict=True):
            end = boundary.behind(point, normal)
            if end is None or not polygon.covers(shapely.LineString([point, end])):
                continue
            inner.append(point)
            outer.append(end)
            places.append(_place(outline, k))
    for start, end in _handle_cuts(outline):
        inner.append(start)
        outer.append(end)
        places.append(HANDLE)
    return Cuts(np.array(inner).reshape(-1, 2), np.array(outer).reshape(-1, 2), tuple(places))


def _inner_shares(piece: Piece, step: float) -> Array:
    count = max(3 if piece.is_arc else 1, math.ceil(piece.length / step))
    return (np.arange(count) + 0.5) / count


class _Boundary:
    """Points along the outside with the way round the outline to them."""

    def __init__(self, outline: Outline, step: float) -> None:
        points, loops, ways, self._around = [], [], [], []
        self._way_to: list[tuple[Array, int, Array]] = []
        for number, loop in enumerate(outline.loops):
            at = 0.0
            for k, piece in enumerate(loop):
                count = max(3, math.ceil(piece.length / step))
                u = (np.arange(count) + 0.5) / count
                self._way_to.append((piece.points(u), number, at + u * piece.length))
                handle = "handle-end" in (piece.name, loop[k - 1].name, loop[(k + 1) % len(loop)].name)
                if piece.name not in TOUCHING and not handle:
                    points.append(piece.points(u))
                    loops.append(np.full(count, number))
                    ways.append(at + u * piece.length)
                at += piece.length
            self._around.append(at)
        self.points, self.loop, self.way = np.vstack(points), np.concatenate(loops), np.concatenate(ways)
        self._all = np.vstack([p for p, _, _ in self._way_to])
        self._all_loop = np.concatenate([np.full(len(p), n) for p, n, _ in self._way_to])
        self._all_way = np.concatenate([w for _, _, w in self._way_to])

    def behind(self, point: Array, normal: Array) -> Array | None:
        """The nearest point of the outside that a cut from here, about against the surface's normal, may end at."""
        away = self.points - point
        distance = np.linalg.norm(away, axis=1)
        here = int(np.linalg.norm(self._all - point, axis=1).argmin())
        loop = int(self._all_loop[here])
        round_ = np.abs(self.way - self._all_way[here])
        round_ = np.where(self.loop == loop, np.minimum(round_, self._around[loop] - round_), np.inf)
        ok = (away @ -normal >= FACING * distance) & (round_ >= DETOUR * distance)
        if not ok.any():
            return None
        return np.asarray(self.points[ok][distance[ok].argmin()])


def _place(outline: Outline, number: int) -> str:
    """Where a cut from a piece of the opening lies, in words."""
    pieces = outline.pieces
    name = pieces[number].name
    jaws = "throat" in outline.names()
    if name == "throat" and pieces[number].is_arc and _beside_flank(outline, number):
        return JAW_ROOT
    return (JAW_PLACES if jaws else PLACES).get(name, name)


def _beside_flank(outline: Outline, number: int) -> bool:
    first = 0
    for loop in outline.loops:
        if number < first + len(loop):
            k = number - first
            return "flank" in (loop[k - 1].name, loop[(k + 1) % len(loop)].name)
        first += len(loop)
    return False


def _handle_cuts(outline: Outline) -> list[tuple[Array, Array]]:
    """Cuts across the handle between its straight sides, from the one before its end to the one behind."""
    found = []
    for loop in outline.loops:
        for k, piece in enumerate(loop):
            before, after = loop[k - 1], loop[(k + 1) % len(loop)]
            if piece.name != "handle-end" or {before.name, after.name, "handle-end"} == {"handle-end"}:
                continue
            if before.is_arc or after.is_arc or "handle-end" in (before.name, after.name):
                continue
            share = np.array(STUB)
            one, other = before.points(share), after.points(1.0 - share)
            found += [(one[i], other[i]) for i in range(len(share))]
    return found
