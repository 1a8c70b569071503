"""Exact measures of loops of lines and arcs: area, centroid, perimeter, symmetry."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from contactfe.profile import Outline, Piece

Array = NDArray[np.float64]


def loop_area(loop: Sequence[Piece]) -> float:
    """Area of a closed loop, mm2, positive when it runs anticlockwise: Green's theorem over lines and the circular
    segments r^2 (a - sin a) / 2 beyond the chords."""
    total = 0.0
    for p in loop:
        total += 0.5 * (p.start[0] * p.end[1] - p.start[1] * p.end[0])
        if p.is_arc:
            total += 0.5 * p.radius**2 * (p.turn - math.sin(p.turn))
    return total


def loop_centroid(loop: Sequence[Piece]) -> tuple[float, float]:
    """Centroid of a closed loop, mm. A circular segment's lies 4 r sin^3(a/2) / (3 (a - sin a)) from its centre."""
    area = first_x = first_y = 0.0
    for p in loop:
        cross = p.start[0] * p.end[1] - p.start[1] * p.end[0]
        area += 0.5 * cross
        first_x += cross * (p.start[0] + p.end[0]) / 6.0
        first_y += cross * (p.start[1] + p.end[1]) / 6.0
        if p.is_arc:
            part = 0.5 * p.radius**2 * (p.turn - math.sin(p.turn))
            middle = p.points(np.array([0.5]))[0]
            # Signed like the segment: 2 r^3 sin^3(a/2) / 3 along the arc's bisector.
            moment = 2.0 * p.radius**3 * math.sin(0.5 * p.turn) ** 3 / 3.0
            first_x += part * p.centre[0] + moment * (middle[0] - p.centre[0]) / p.radius
            first_y += part * p.centre[1] + moment * (middle[1] - p.centre[1]) / p.radius
            area += part
    return first_x / area, first_y / area


def outline_area(outline: Outline) -> float:
    """Area of the material, mm2: the outside less the holes."""
    return sum(loop_area(loop) for loop in outline.loops)


def fold(loop: Sequence[Piece], most: int = 12) -> int:
    """How many times a loop repeats itself in a turn about the axis, 1 for none: 12, 6, 4, 3, 2 are tried."""
    p = _dense(loop)
    tree = cKDTree(p)
    step = 2.0 * sum(q.length for q in loop) / len(p)
    for count in (12, 8, 6, 4, 3, 2):
        if count <= most:
            c, s = math.cos(math.tau / count), math.sin(math.tau / count)
            turned = p @ np.array([[c, s], [-s, c]])
            if float(tree.query(turned)[0].max()) < step:
                return count
    return 1


def mirror_axis(loop: Sequence[Piece]) -> float | None:
    """Angle (rad, 0 to pi) of a line through the axis in which a loop mirrors itself; None for none."""
    p = _dense(loop)
    tree = cKDTree(p)
    step = 2.0 * sum(q.length for q in loop) / len(p)
    for k in range(48):
        angle = math.pi * k / 48
        c, s = math.cos(2 * angle), math.sin(2 * angle)
        if float(tree.query(p @ np.array([[c, s], [s, -c]]))[0].max()) < step:
            return angle
    return None


def _dense(loop: Sequence[Piece], count: int = 4000) -> Array:
    """About `count` points at even distances along a loop, (n, 2)."""
    total = sum(p.length for p in loop)
    return np.vstack(
        [p.points(np.arange(n) / n) for p in loop for n in [max(1, math.ceil(count * p.length / total))]]
    )
