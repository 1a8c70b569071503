"""Cutting off a handle: an outline of a whole wrench becomes that of one head with a stub."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from contactfe.outlines.chain import Fault
from contactfe.profile import Outline, Piece, line

Array = NDArray[np.float64]


def cut_handle(outline: Outline, distance: float, faults: list[Fault]) -> Outline:
    """The outline without what lies farther than `distance` (mm) from the axis along the handle.

    The handle's direction is that of the farthest point, along the longest straight edge within 20 degrees of it.
    Holes beyond the cut fall away. Where the cut does not meet the outside exactly twice, a fault is added.
    """
    outer = outline.loops[0]
    direction = _direction(outer)
    d = np.array([math.cos(direction), math.sin(direction)])
    pieces, crossings = _split(outer, d, distance)
    if crossings != 2:
        faults.append(
            Fault(
                "--cut",
                f"a cut {distance:g} mm from the axis meets the outside {crossings} times",
                "cut where the handle is one strip",
                (float(distance * d[0]), float(distance * d[1])),
            )
        )
        return outline
    keep = [float(p.points(np.array([0.5]))[0] @ d) < distance for p in pieces]
    start = next(k for k in range(len(pieces)) if keep[k] and not keep[k - 1])
    kept = []
    for i in range(len(pieces)):
        k = (start + i) % len(pieces)
        if not keep[k]:
            break
        kept.append(pieces[k])
    end = line(kept[-1].end, kept[0].start, "handle-end")
    holes = [h for h in outline.loops[1:] if max(float(np.array(p.start) @ d) for p in h) < distance]
    return Outline(((*kept, end), *holes))


def _direction(outer: Sequence[Piece]) -> float:
    points = np.vstack([p.points(np.linspace(0, 1, 17)) for p in outer])
    far = points[int(np.hypot(*points.T).argmax())]
    seen = math.atan2(far[1], far[0])
    best, found = 0.0, seen
    for p in outer:
        off = math.remainder(math.atan2(p.end[1] - p.start[1], p.end[0] - p.start[0]) - seen, math.pi)
        if not p.is_arc and abs(off) < math.radians(20) and p.length > best:
            best, found = p.length, seen + off
    return found


def _split(outer: Sequence[Piece], d: Array, distance: float) -> tuple[list[Piece], int]:
    """The pieces parted where they cross the line at a distance along d, and how often they do."""
    parted: list[Piece] = []
    count = 0
    for p in outer:
        at = [u for u in _crossing(p, d, distance) if 1e-9 < u < 1 - 1e-9]
        count += len(at)
        last = 0.0
        for u in [*at, 1.0]:
            parted.append(_part(p, last, u))
            last = u
    return parted, count


def _crossing(p: Piece, d: Array, distance: float) -> list[float]:
    """Fractions of a piece's length at which it crosses the line."""
    if not p.is_arc:
        a, b = float(np.array(p.start) @ d) - distance, float(np.array(p.end) @ d) - distance
        return [a / (a - b)] if a * b < 0 else []
    off = (distance - float(np.array(p.centre) @ d)) / p.radius
    if abs(off) >= 1:
        return []
    begin = math.atan2(p.start[1] - p.centre[1], p.start[0] - p.centre[0])
    about, half = math.atan2(d[1], d[0]), math.acos(off)
    sign = math.copysign(1.0, p.turn)
    swept = [((sign * (about + side * half - begin)) % math.tau) / abs(p.turn) for side in (-1, 1)]
    return sorted(u for u in swept if u < 1)


def _part(p: Piece, a: float, b: float) -> Piece:
    if a == 0.0 and b == 1.0:
        return p
    first, last = p.points(np.array([a, b])).tolist()
    start = p.start if a == 0.0 else (first[0], first[1])
    end = p.end if b == 1.0 else (last[0], last[1])
    return Piece(start, end, p.name, p.centre, p.radius, p.turn * (b - a))
