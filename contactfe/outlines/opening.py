"""Where the opening of a drawn wrench is: its axis, the pieces that face it, which way its mouth looks, its width.

Nothing here knows names of pieces: everything is found from the shape alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from contactfe.outlines.measure import loop_area, loop_centroid
from contactfe.profile import Outline, Piece, as_polygon

Array = NDArray[np.float64]
RAYS = 2880
CENTRED = 1e-3
"""Of the opening's size: a drawing whose origin lies this close to the middle of its opening is left where it is."""
PLAIN_RADIUS = 0.2
"""Of the opening's width: arcs with a smaller radius are roundings, with a larger one curved flanks."""
PARALLEL = math.radians(2)
SLOT = 0.43
"""Of the width: straight sides of the mouth closer to its middle line pass a tube, and are no flanks."""


@dataclass(frozen=True)
class Mouth:
    """Direction (rad) in which an opening is open, and the angle (rad) over which it is."""

    direction: float
    angle: float


def axis_of(loops: Sequence[Sequence[Piece]]) -> tuple[float, float] | None:
    """The fastener's axis (mm) in a drawing: the origin where it lies free in an opening, else the middle of the
    hole that is widest; None when it cannot be told, as in an open end drawn away from the origin."""
    outer, *holes = loops
    around = [hole for hole in holes if _inside(hole, (0.0, 0.0))]
    if around:
        centre = loop_centroid(around[0])
        size = math.sqrt(abs(loop_area(around[0])))
        return (0.0, 0.0) if math.hypot(*centre) < 0.25 * size else centre
    if holes:
        widest = max(holes, key=lambda hole: abs(loop_area(hole)))
        if abs(loop_area(widest)) > 0.02 * abs(loop_area(outer)):
            return loop_centroid(widest)
    polygon = shapely.Polygon(Outline((tuple(outer),)).polygon(1.0)[0])
    free = polygon.is_valid and not polygon.contains(shapely.Point(0, 0))
    return (0.0, 0.0) if free and polygon.convex_hull.contains(shapely.Point(0, 0)) else None


def _inside(loop: Sequence[Piece], point: tuple[float, float]) -> bool:
    return bool(as_polygon(Outline((tuple(loop),)), 1.0).contains(shapely.Point(point)))


def mouth_of(outline: Outline) -> Mouth | None:
    """The widest angle in which a look from the axis meets no material; None for a closed ring."""
    size = max(math.hypot(*p.start) for p in outline.pieces)
    polygon = as_polygon(outline, size / 400)
    angles = math.tau * np.arange(RAYS) / RAYS
    far = 3.0 * size * np.column_stack([np.cos(angles), np.sin(angles)])
    rays = shapely.linestrings(np.stack([np.zeros_like(far), far], axis=1))
    free = ~shapely.intersects(polygon, rays)
    if not free.any() or free.all():
        return None
    start = int(np.flatnonzero(~free)[0])
    turned = np.roll(free, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], turned.astype(int), [0]])))
    runs = edges.reshape(-1, 2)
    first, last = max(runs.tolist(), key=lambda run: run[1] - run[0])
    middle = 0.5 * (first + last - 1) + start
    return Mouth(float(math.tau * middle / RAYS % math.tau), float(math.tau * (last - first) / RAYS))


def straightened(outline: Outline, mouth: Mouth) -> float:
    """The mouth's direction (rad) along the straight pieces nearest to it that face the axis, where there are
    two that are parallel; else as seen."""
    best, found = 0.0, mouth.direction
    for p in outline.pieces:
        if p.is_arc:
            continue
        direction = math.atan2(p.end[1] - p.start[1], p.end[0] - p.start[0])
        off = math.remainder(direction - mouth.direction, math.pi)
        half = abs(p.start[0] * p.end[1] - p.start[1] * p.end[0]) / p.length
        if abs(off) < math.radians(12) and p.length > best and half < 1.5 * p.length:
            best, found = p.length, mouth.direction + off
    return found % math.tau


def facing(outline: Outline, mouth: Mouth | None) -> tuple[int, list[int]]:
    """The loop that holds the opening and the numbers of its pieces that face the axis, in running order.

    Of a ring this is the whole hole around the axis; of an open head the stretch between the two tips, whose
    edges are the first and the last piece.
    """
    for number, loop in enumerate(outline.loops[1:], start=1):
        if _inside(loop, (0.0, 0.0)):
            return number, list(range(len(loop)))
    loop = outline.loops[0]
    if mouth is None:
        return 0, []
    u = np.linspace(0.0, 1.0, 33)
    points = [p.points(u) for p in loop]
    angles = [np.remainder(np.arctan2(p[:, 1], p[:, 0]) - mouth.direction, math.tau) for p in points]
    size = max(math.hypot(*p.start) for p in loop)
    seen = [_first_seen(q, a, mouth, size) for q, a in zip(points, angles, strict=True)]
    # The jaws' edges: the pieces nearest to the mouth's two sides among those that bound the free angle.
    upper = min((k for k in range(len(loop)) if seen[k] is not None), key=lambda k: seen[k] or 0.0)
    lower_angles = [_first_seen(q, math.tau - a, mouth, size) for q, a in zip(points, angles, strict=True)]
    lower = min(
        (k for k in range(len(loop)) if lower_angles[k] is not None), key=lambda k: lower_angles[k] or 0.0
    )
    # Material on the left: along the opening the loop runs clockwise about the axis, from the upper tip back.
    there = [(upper + i) % len(loop) for i in range((lower - upper) % len(loop) + 1)]
    back = [(lower + i) % len(loop) for i in range((upper - lower) % len(loop) + 1)]
    return 0, min((there, back), key=lambda way: _mean_distance([points[k] for k in way]))


def _first_seen(points: Array, angles: Array, mouth: Mouth, size: float) -> float | None:
    """Smallest angle from the mouth's middle at which a piece lies, a hair nearer when it is nearer to the axis."""
    ahead = (angles > 0.45 * mouth.angle) & (angles < math.pi)
    if not ahead.any():
        return None
    return float((angles[ahead] + 1e-3 * np.hypot(*points[ahead].T) / size).min())


def _mean_distance(points: list[Array]) -> float:
    return float(np.hypot(*np.vstack(points).T).mean())
