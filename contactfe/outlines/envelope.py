"""How large and heavy a head is: outside radius, least wall, area and mass, from the exact outline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from contactfe.profile import TOUCHING, Outline, Piece, as_polygon

CHORD_TURN = 0.01  # rad: an arc of 13 mm radius then lies within 0.2 um of its chords
STEEL = 7.85e-3
"""Density of carbon and low-alloy steel, g/mm3 (7850 kg/m3, EN 1993-1-1, 3.2.6)."""


@dataclass(frozen=True)
class Envelope:
    """Largest radius of the head without its handle (mm), the least wall between opening and outside (mm), the head's
    thickness (mm), its section (mm2) and its mass (g) of steel, both within that radius."""

    outside_radius: float
    wall: float
    thickness: float
    area: float
    mass: float


def envelope(wrench: Outline, thickness: float) -> Envelope:
    """The head of a wrench with named pieces; what reaches beyond its outside radius is handle."""
    outside = _outside(wrench)
    points = np.vstack([p.points(np.linspace(0.0, 1.0, 65)) for p in outside])
    radius = float(np.hypot(*points.T).max())
    polygon = as_polygon(wrench, radius / 400)
    area = float(polygon.intersection(shapely.Point(0, 0).buffer(radius, quad_segs=256)).area)
    bearing = [p for p in wrench.pieces if p.name in TOUCHING - {"tip"}]
    inner = shapely.MultiLineString([_line(p) for p in bearing])
    # At its tips an open head's outside runs into its opening: there is no wall.
    tips = [p for p in wrench.pieces if p.name == "tip"]
    outer = shapely.MultiLineString([_line(p) for p in _outside(wrench)])
    if tips:
        reach = min(min(p.start[0], p.end[0]) for p in tips)
        behind = shapely.box(-10 * radius, -10 * radius, reach, 10 * radius)
        outer, inner = outer.intersection(behind), inner.intersection(behind)
    return Envelope(radius, float(shapely.distance(outer, inner)), thickness, area, area * thickness * STEEL)


def _outside(wrench: Outline) -> list[Piece]:
    """The pieces of the head's outside: not the handle's end, not its sides, not the blends into it."""
    loop = wrench.loops[0]
    n = len(loop)
    ends = {k for k, p in enumerate(loop) if p.name == "handle-end"}
    handle = set(ends)
    for end in ends:
        for step in (-1, 1):
            k = (end + step) % n
            while loop[k].name == "outside" and not loop[k].is_arc:
                handle.add(k)
                k = (k + step) % n
    kept = [
        p for k, p in enumerate(loop) if k not in handle and p.name not in TOUCHING | {"blend", "handle-end"}
    ]
    return kept or [p for k, p in enumerate(loop) if k not in ends]


def _line(piece: Piece) -> shapely.LineString:
    count = max(2, math.ceil(abs(piece.turn) / CHORD_TURN) + 1)
    return shapely.LineString(piece.points(np.linspace(0.0, 1.0, count)))
