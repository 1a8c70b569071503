"""Outlines of fasteners: hexagon, square and double hexagon, new or worn, held at a round core.

Every outline is built with the normal of its first flat along +x. The core is the hole over which the shank (or
the rest of the bar) holds the section; it carries the name ``core``.
"""

from __future__ import annotations

import math

import numpy as np

from contactfe.errors import GeometryError
from contactfe.inputs import FastenerInput
from contactfe.profile.curves import Outline, Piece, arc, filleted_loop, line
from contactfe.profile.files import drawn_fastener

LEAST_EDGE = 0.004  # of the width across flats: shortest rounding of an edge that is drawn
LEAST_TURN = math.radians(3)  # of a corner that is rounded
SIDES = {"hex": 6, "square": 4, "double-hex": 6}


def across_corners(across_flats: float, sides: int = 6) -> float:
    """Width over the sharp corners of a regular polygon, mm: s / cos(pi / n)."""
    return across_flats / math.cos(math.pi / sides)


def turned_diameter(across_flats: float, rounding: float, sides: int = 6) -> float:
    """Diameter of the circle to which the corners were turned down: e - r (e - s), mm."""
    e = across_corners(across_flats, sides)
    return e - rounding * (e - across_flats)


def half_flat(across_flats: float, rounding: float, sides: int = 6) -> float:
    """Half length of the flat that the turning leaves: sqrt((d/2)^2 - (s/2)^2), mm."""
    d = turned_diameter(across_flats, rounding, sides)
    return math.sqrt(max(d**2 - across_flats**2, 0.0)) / 2


def fastener_outline(fastener: FastenerInput, sense: int = 1) -> Outline:
    """The outline of a fastener section: outer loop anticlockwise, and its core as a hole.

    ``sense``: +1 where the wrench turns anticlockwise, -1 where clockwise. Wear on the driven side only lies at the
    end of each flat that runs ahead in that sense.

    Raises:
        GeometryError: the shape is unknown here, or a rounding does not fit.
        InputError: the file of an outline cannot be used.
    """
    if fastener.shape == "outline":
        return drawn_fastener(fastener).outline
    if fastener.shape not in SIDES:
        raise GeometryError(
            f"no outline is built for the shape {fastener.shape!r}",
            where="[fastener] shape",
            hint="use one of " + ", ".join(SIDES),
            slug="unknown-shape",
        )
    if fastener.shape == "double-hex":
        outer = _double_hexagon(fastener.across_flats, fastener.rounding, fastener.corner_radius)
    elif fastener.worn_side == "driven" and fastener.rounding > 0:
        outer = _one_sided(fastener, SIDES[fastener.shape])
        if sense < 0:
            outer = Outline((outer,)).mirrored().loops[0]
    else:
        outer = _turned(fastener, SIDES[fastener.shape])
    r = fastener.core_radius
    core = (arc((0, 0), r, math.tau, math.pi, "core"), arc((0, 0), r, math.pi, 0.0, "core"))
    return Outline((outer, core))


def _direction(angle: float) -> np.ndarray:
    return np.array([math.cos(angle), math.sin(angle)])


def _turned(fastener: FastenerInput, sides: int) -> tuple[Piece, ...]:
    """A regular polygon whose corners were turned down on a circle; every edge gets the corner radius."""
    s, r = fastener.across_flats, fastener.rounding
    pitch = math.tau / sides
    f = half_flat(s, r, sides)
    radius = turned_diameter(s, r, sides) / 2
    corners = [f"corner-{k + 1}" for k in range(sides)]
    sharp = filleted_loop(
        _flats(s, s / 2 * math.tan(pitch / 2), sides), [fastener.corner_radius] * sides, corners
    )
    if r <= 0:
        return sharp
    flats = _flats(s, f, sides)
    half = math.atan2(f, s / 2)
    edge = _edge_radius(fastener, half)
    trim = edge * math.tan(half / 2)
    if f < 4 * trim + LEAST_EDGE * s:
        # Nothing of the flats is left that a corner rounding would fit on: a round bar.
        return tuple(arc((0, 0), radius, k * pitch, (k + 1) * pitch, f"corner-{k + 1}") for k in range(sides))
    pieces: list[Piece] = []
    for k in range(sides):
        pieces.append(flats[k])
        pieces.append(arc((0, 0), radius, k * pitch + half, (k + 1) * pitch - half, f"corner-{k + 1}"))
    # On a barely turned corner the arc between two edges is shorter than they are: the corner stays a corner.
    if radius * (pitch - 2 * half) < 2.5 * trim:
        return sharp
    return filleted_loop(pieces, [edge] * (2 * sides), _edge_names(sides))


def _flats(s: float, half: float, sides: int) -> list[Piece]:
    """The flats of a regular polygon, each reaching ``half`` to either side of its middle."""
    pieces = []
    for k in range(sides):
        n, t = _direction(math.tau * k / sides), _direction(math.tau * k / sides + math.pi / 2)
        pieces.append(line(n * s / 2 - t * half, n * s / 2 + t * half, f"flat-{k + 1}"))
    return pieces


def _edge_names(sides: int) -> list[str]:
    # The junction at the start of flat k belongs to the corner behind it, the one at its end to the corner ahead.
    names = []
    for k in range(sides):
        names += [f"corner-{(k - 1) % sides + 1}", f"corner-{k + 1}"]
    return names


def _one_sided(fastener: FastenerInput, sides: int) -> tuple[Piece, ...]:
    """Only the driven side of each corner is worn, by a wrench that turns anticlockwise.

    The driven half, from the end of the flat to the corner's bisector, is turned down on the circle of diameter
    e - r (e - s), as it is on both sides of a turned corner. From there the corner runs straight on, along the
    circle's tangent, to the trailing flat: the most that a convex corner keeps.
    """
    s = fastener.across_flats
    pitch = math.tau / sides
    full = s / 2 * math.tan(pitch / 2)
    f = half_flat(s, fastener.rounding, sides)
    radius = turned_diameter(s, fastener.rounding, sides) / 2
    half = math.atan2(f, s / 2)
    edge = _edge_radius(fastener, half)
    trim = edge * math.tan(half / 2)
    if (
        radius * (pitch / 2 - half) < 1.25 * trim
    ):  # barely worn: the corner stays a corner, as a turned one does
        corners = [f"corner-{k + 1}" for k in range(sides)]
        return filleted_loop(_flats(s, full, sides), [fastener.corner_radius] * sides, corners)
    # How far the tangent at the bisector leaves the trailing flat short of the sharp corner.
    kept = full - (across_corners(s, sides) / 2 - radius) / math.sin(pitch / 2)
    if f + kept < 4 * trim + LEAST_EDGE * s:
        edge = 0.0
    pieces: list[Piece] = []
    for k in range(sides):
        n, t = _direction(k * pitch), _direction(k * pitch + math.pi / 2)
        m, u = _direction((k + 1) * pitch), _direction((k + 1) * pitch + math.pi / 2)
        middle = _direction((k + 0.5) * pitch) * radius
        corner = f"corner-{k + 1}"
        pieces += [
            line(n * s / 2 - t * kept, n * s / 2 + t * f, f"flat-{k + 1}"),
            arc((0, 0), radius, k * pitch + half, (k + 0.5) * pitch, corner),
            line(middle, m * s / 2 - u * kept, corner),
        ]
    blunt = min(fastener.corner_radius, 0.4 * (full - f))
    names = [name for k in range(sides) for name in (f"corner-{k or sides}", *2 * (f"corner-{k + 1}",))]
    return filleted_loop(pieces, [blunt, edge, 0.0] * sides, names)


def _edge_radius(fastener: FastenerInput, half: float) -> float:
    """Radius of the edge between a flat and a turned arc, which meet at an angle of ``half``.

    The edge grows blunter with the rounding; a blunt edge gets a larger radius, so that its rounding stays long
    enough to be seen by a mesh.
    """
    least = LEAST_EDGE * fastener.across_flats
    return max(fastener.corner_radius, least / half) if half > 0 else fastener.corner_radius


def _double_hexagon(s: float, rounding: float, corner_radius: float) -> tuple[Piece, ...]:
    """Two hexagons of the same width at 30 degrees; the twelve points are turned down by the rounding."""
    inner = s / 2 / math.cos(math.pi / 12)
    tip = across_corners(s) / 2
    tip -= rounding * (tip - inner)
    vertices, names, radii = [], [], []
    for k in range(12):
        low = _direction((k - 0.5) * math.pi / 6) * inner
        high = _direction(k * math.pi / 6) * tip
        vertices += [low, high]
        names += [f"valley-{k + 1}", f"point-{k + 1}"]
        radii += [corner_radius, corner_radius]
    if rounding >= 1.0 - 1e-9:
        return tuple(
            arc((0, 0), inner, k * math.pi / 6, (k + 1) * math.pi / 6, f"point-{k + 1}") for k in range(12)
        )
    pieces = [
        line(vertices[i], vertices[(i + 1) % 24], f"flat-{(i // 2 + i % 2) % 12 + 1}") for i in range(24)
    ]
    return filleted_loop(pieces, [_vertex_radius(pieces, i, s, r) for i, r in enumerate(radii)], names)


def _vertex_radius(pieces: list[Piece], i: int, s: float, radius: float) -> float:
    """Radius of the rounding at the start of a straight piece: larger where the corner is blunt, so that it stays long
    enough to be seen by a mesh; 0 where the line goes nearly straight on."""
    before, after = (p.tangents(np.zeros(1))[0] for p in (pieces[i - 1], pieces[i]))
    turn = abs(math.atan2(before[0] * after[1] - before[1] * after[0], float(before @ after)))
    return max(radius, LEAST_EDGE * s / turn) if turn > LEAST_TURN else 0.0
