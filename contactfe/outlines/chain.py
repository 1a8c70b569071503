"""Loose pieces of a drawing put together to closed loops; gaps are closed within a tolerance and told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from contactfe.errors import Problem
from contactfe.profile import Piece

Array = NDArray[np.float64]
EXACT = 1e-9  # mm: ends closer than this are one point
MOST_TOLD = 8  # places of one kind that are listed


@dataclass(frozen=True)
class Fault(Problem):
    """A problem with its place in the drawing, mm, to be marked in a picture."""

    at: tuple[float, float] | None = None


@dataclass(frozen=True)
class Gap:
    """Two ends that were moved together: where, and how far they were apart, mm."""

    at: tuple[float, float]
    width: float


@dataclass
class Chained:
    """Closed loops, what was done to close them, and what stands in the way."""

    loops: list[list[Piece]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    dropped: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def chain(pieces: Sequence[Piece], snap: float) -> Chained:
    """Closed loops from pieces in any order and direction; ends within `snap` (mm) are joined.

    Pieces shorter than `snap` and pieces drawn twice are left out. Open ends and places where three or more ends
    meet become faults.
    """
    out = Chained()
    kept = _without_doubles(_without_specks(pieces, snap, out), snap, out)
    if not kept:
        out.faults.append(Fault("", "nothing of length is left of the drawing", "draw an outline"))
        return out
    ends = np.array([point for p in kept for point in (p.start, p.end)])
    groups = _groups(ends, snap)
    partner: dict[int, int] = {}
    open_ends = []
    for members in groups:
        if len(members) == 2:
            partner[members[0]], partner[members[1]] = members[1], members[0]
        elif len(members) == 1:
            open_ends.append(members[0])
        else:
            at = _at(ends[members].mean(axis=0))
            out.faults.append(
                Fault(
                    _near(at),
                    f"{len(members)} ends meet there",
                    "leave two: take out what is drawn twice, or name the layer of the outline with --layer",
                    at,
                )
            )
    _tell_open(ends, open_ends, out)
    if not out.faults:
        out.loops = [_joined(loop, out) for loop in _walk(kept, partner)]
    out.faults = _bounded(out.faults)
    return out


def _near(at: tuple[float, float]) -> str:
    return f"near ({at[0]:.3f}, {at[1]:.3f}) mm"


def _at(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _bounded(faults: list[Fault]) -> list[Fault]:
    if len(faults) <= MOST_TOLD:
        return faults
    more = len(faults) - MOST_TOLD
    return [*faults[:MOST_TOLD], Fault("", f"and {more} more places of this kind", "mend these first")]


def _without_specks(pieces: Sequence[Piece], snap: float, out: Chained) -> list[Piece]:
    kept = [p for p in pieces if p.length > snap]
    if len(kept) < len(pieces):
        out.dropped.append(f"{len(pieces) - len(kept)} pieces shorter than {snap:g} mm")
    return kept


def _without_doubles(pieces: list[Piece], snap: float, out: Chained) -> list[Piece]:
    """The pieces without those that lie on another one: same ends, same middle."""
    kept: dict[tuple[tuple[float, ...], ...], Piece] = {}
    gone: list[Piece] = []
    for p in pieces:
        middle = p.points(np.array([0.5]))[0]
        ends = sorted((_grid(p.start), _grid(p.end)))
        key = (*ends, _grid((float(middle[0]), float(middle[1]))))
        if key in kept:
            gone.append(p)
        kept.setdefault(key, p)
    if gone:
        x, y = gone[0].start
        out.dropped.append(f"{len(gone)} pieces drawn twice, the first from ({x:.3f}, {y:.3f}) mm")
    return list(kept.values())


def _grid(point: tuple[float, float]) -> tuple[float, ...]:
    return tuple(round(v, 4) + 0.0 for v in point)


def _groups(ends: Array, snap: float) -> list[list[int]]:
    """Numbers of ends that belong together: those that coincide first, what is left within the tolerance.

    Only the three nearest others of each end are looked at: that tells where more than two meet, however many.
    """
    found: list[list[int]] = []
    left = np.arange(len(ends))
    for reach in (EXACT, snap):
        if not len(left):
            break
        _, near = cKDTree(ends[left]).query(ends[left], k=min(4, len(left)), distance_upper_bound=reach)
        groups = _together(np.atleast_2d(near), len(left))
        last = reach == snap
        found += [left[g].tolist() for g in groups if len(g) > 1 or last]
        left = np.array([left[g[0]] for g in groups if len(g) == 1 and not last], dtype=int)
    return found


def _together(near: NDArray[np.int64], count: int) -> list[list[int]]:
    """Connected groups of rows, each joined with those it names; a name of `count` is none."""
    parent = list(range(count))

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    for i, row in enumerate(near.tolist()):
        for j in row:
            if j < count:
                parent[root(j)] = root(i)
    groups: dict[int, list[int]] = {}
    for k in range(count):
        groups.setdefault(root(k), []).append(k)
    return list(groups.values())


def _tell_open(ends: Array, open_ends: list[int], out: Chained) -> None:
    """Name each open end with the nearest other one, a gap between two once."""
    if not open_ends:
        return
    places = ends[open_ends]
    distance, near = cKDTree(places).query(places, k=min(2, len(places)))
    nearest = np.atleast_2d(near)[:, -1]
    for k, number in enumerate(open_ends):
        at, other = _at(ends[number]), int(nearest[k])
        if other < k and nearest[other] == k:
            continue  # told from the other side
        if other == k:
            message = "an end joins nothing"
        else:
            gap, to = float(np.atleast_2d(distance)[k, -1]), places[other]
            message = f"the outline is open: {gap:.4g} mm to the next end at ({to[0]:.3f}, {to[1]:.3f}) mm"
        out.faults.append(Fault(_near(at), message, "close it, or raise --snap above the gap", at))


def _walk(pieces: list[Piece], partner: dict[int, int]) -> list[list[Piece]]:
    """Loops of pieces that run head to tail; end 2k is the start of piece k, 2k + 1 its end."""
    used = [False] * len(pieces)
    loops = []
    for first in range(len(pieces)):
        if used[first]:
            continue
        loop, at = [], 2 * first
        while not used[at // 2]:
            k = at // 2
            used[k] = True
            loop.append(pieces[k] if at % 2 == 0 else pieces[k].reversed())
            at = partner[at ^ 1]
        loops.append(loop)
    return loops


def _joined(loop: list[Piece], out: Chained) -> list[Piece]:
    """The loop with ends moved to the middle of each gap; arcs keep their ends on a circle."""
    n = len(loop)
    joints = []
    for k, piece in enumerate(loop):
        after = loop[(k + 1) % n]
        gap = math.dist(piece.end, after.start)
        joint = (0.5 * (piece.end[0] + after.start[0]), 0.5 * (piece.end[1] + after.start[1]))
        joints.append(piece.end if gap == 0.0 else joint)
        if gap > EXACT:
            out.gaps.append(Gap(joint, gap))
    return [moved(piece, joints[k - 1], joints[k]) for k, piece in enumerate(loop)]


def moved(piece: Piece, start: tuple[float, float], end: tuple[float, float]) -> Piece:
    """The piece between two ends slightly moved; an arc keeps the angle it sweeps, and gets a new centre.

    Centre of an arc from its ends and swept angle a: middle + normal c / (2 tan(a/2)), c the chord (geometry).
    """
    if start == piece.start and end == piece.end:
        return piece
    if not piece.is_arc:
        return replace(piece, start=start, end=end)
    off = 0.5 / math.tan(0.5 * piece.turn)
    dx, dy = end[0] - start[0], end[1] - start[1]
    centre = (0.5 * (start[0] + end[0]) - off * dy, 0.5 * (start[1] + end[1]) + off * dx)
    return Piece(start, end, piece.name, centre, math.dist(start, centre), piece.turn)
