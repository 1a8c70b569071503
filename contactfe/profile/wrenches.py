"""Outlines of wrench heads: the opening, the body of the head, its wall and a stub of the handle.

Rings and flare-nut wrenches are built with a flat of the opening across the +x axis and the handle towards -x;
open ends with parallel jaws above and below the x axis, the mouth towards +x. Pieces that may touch the fastener
are named ``flank``, ``ridge``, ``root``, ``throat``, ``tip`` or ``slot``; the others ``outside``, ``blend`` and
``handle-end``, the edge on which the handle's load acts.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from contactfe.errors import GeometryError
from contactfe.inputs import WrenchInput
from contactfe.profile.curves import Array, Outline, Piece, arc, filleted_loop, line
from contactfe.profile.files import drawn_wrench
from contactfe.standards import PROFILES

LONGEST_STUB = 10  # widths of the opening: longer ones bend so far that the head's own giving drowns in it

Vertices = list[tuple[Array, float, str]]  # corner, rounding radius, name of the rounding


def wrench_outline(wrench: WrenchInput) -> Outline:
    """The outline of a wrench head of the asked profile.

    Raises:
        GeometryError: unknown profile, or dimensions that do not fit each other.
        InputError: the file of an outline cannot be used.
    """
    if wrench.profile in _JAWS:
        return _JAWS[wrench.profile](wrench)
    if wrench.profile in PROFILES and wrench.family.drawn:
        return drawn_wrench(wrench).outline
    if wrench.profile not in _OPENINGS:
        raise GeometryError(
            f"no outline is built for the profile {wrench.profile!r}",
            where="[wrench] profile",
            hint="use one of " + ", ".join([*_JAWS, *_OPENINGS]),
            slug="unknown-profile",
        )
    vertices = _OPENINGS[wrench.profile](wrench)
    return _slotted(wrench, vertices) if wrench.family.is_open else _closed_ring(wrench, vertices)


def _at(radius: float, angle: float) -> Array:
    return radius * np.array([math.cos(angle), math.sin(angle)])


# --- openings: corners in anticlockwise order ---------------------------------------------------------------------


def _six_point(w: WrenchInput) -> Vertices:
    corner = w.opening / 2 / math.cos(math.pi / 6)
    return [(_at(corner, math.radians(60 * k - 30)), w.dims["root_radius"], "root") for k in range(6)]


def _six_point_relieved(w: WrenchInput) -> Vertices:
    """A hexagon whose flats fall back towards the corners: it bears on the fastener away from its corners."""
    half, reach = w.opening / 2, w.dims["bearing_reach"]
    slope = math.tan(w.dims["relief_angle"])
    # The relief line leaves the flat at (half, reach) and meets its mirror image on the corner's bisector.
    along = (half * math.tan(math.pi / 6) - reach) / (1 - slope * math.tan(math.pi / 6))
    corner = math.hypot(half + slope * along, reach + along)
    vertices: Vertices = []
    for k in range(6):
        turn = math.radians(60 * k)
        c, s = math.cos(turn), math.sin(turn)
        spin = np.array([[c, -s], [s, c]])
        vertices.append((spin @ np.array([half, -reach]), w.dims["edge_radius"], "ridge"))
        vertices.append((spin @ np.array([half, reach]), w.dims["edge_radius"], "ridge"))
        vertices.append((_at(corner, turn + math.pi / 6), w.dims["root_radius"], "root"))
    return vertices


def _lobed(w: WrenchInput, half_angle: float) -> Vertices:
    """Twelve lobes whose rounded tips touch the flats of a hexagon of the opening's width, at 15 degrees.

    ``half_angle`` is half the included angle of a lobe; 75 degrees gives the twelve-point opening, that is two
    hexagons of the same width at 30 degrees to each other.
    """
    tip = w.dims["ridge_radius"]
    ridge = (w.opening / 2 + tip) / math.cos(math.pi / 12) - tip / math.sin(half_angle)
    root = ridge * math.sin(half_angle) / math.sin(half_angle - math.pi / 12)
    vertices: Vertices = []
    for k in range(12):
        vertices.append((_at(root, math.radians(30 * k)), w.dims["root_radius"], "root"))
        vertices.append((_at(ridge, math.radians(30 * k + 15)), tip, "ridge"))
    return vertices


def _twelve_point(w: WrenchInput) -> Vertices:
    return _lobed(w, math.radians(75))


def _spline(w: WrenchInput) -> Vertices:
    return _lobed(w, w.dims["lobe_angle"] / 2)


def _flare(w: WrenchInput) -> Vertices:
    return _twelve_point(w) if w.points == 12 else _six_point(w)


_OPENINGS: dict[str, Callable[[WrenchInput], Vertices]] = {
    "ring-six": _six_point,
    "ring-six-relieved": _six_point_relieved,
    "ring-twelve": _twelve_point,
    "ring-spline": _spline,
    "flare-nut": _flare,
}


def _opening_pieces(vertices: Vertices) -> tuple[list[Piece], list[float], list[str]]:
    """The pieces between corners, run clockwise (the material lies outside the opening)."""
    back = vertices[::-1]
    pieces = [line(back[i][0], back[(i + 1) % len(back)][0], "flank") for i in range(len(back))]
    return pieces, [v[1] for v in back], [v[2] for v in back]


# --- bodies -------------------------------------------------------------------------------------------------------


def _handle(w: WrenchInput, radius: float, centre: Array) -> list[Piece]:
    """The stub of the handle on a round head, anticlockwise: side, end, side; it leaves along 180 deg + offset."""
    if w.dims["handle_length"] > LONGEST_STUB * w.opening:
        raise GeometryError(
            f"the stub of the handle is more than {LONGEST_STUB} times as long as the opening is wide",
            where="[wrench] handle_length",
            hint="make it shorter: its length does not touch the answers, and the hand's place is [load] lever_arm",
            slug="handle-too-long",
        )
    direction = math.pi + w.dims["offset_angle"]
    along, across = _at(1.0, direction), _at(1.0, direction + math.pi / 2)
    half = w.dims["handle_width"] / 2
    root = radius * math.cos(_handle_angle(w, radius))
    end = radius + w.dims["handle_length"]
    corners = [
        centre + along * x + across * y for x, y in ((root, -half), (end, -half), (end, half), (root, half))
    ]
    return [
        line(corners[0], corners[1], "outside"),
        line(corners[1], corners[2], "handle-end"),
        line(corners[2], corners[3], "outside"),
    ]


def _handle_angle(w: WrenchInput, radius: float) -> float:
    """Half the angle (rad) over which the handle leaves a round head."""
    share = w.dims["handle_width"] / 2 / radius
    if share >= 0.98:
        raise GeometryError(
            "the handle is as wide as the head",
            where="[wrench] handle_width",
            hint="make it smaller, or the head's outside larger",
            slug="handle-too-wide",
        )
    return math.asin(share)


def _closed_ring(w: WrenchInput, vertices: Vertices) -> Outline:
    radius = w.dims["outside_diameter"] / 2
    direction = math.pi + w.dims["offset_angle"]
    half = _handle_angle(w, radius)
    stub = _handle(w, radius, np.zeros(2))
    blend = w.dims["handle_blend"]
    front = direction - math.pi
    body = [
        arc((0, 0), radius, front, direction - half, "outside"),
        *stub,
        arc((0, 0), radius, direction + half - math.tau, front, "outside"),
    ]
    outer = filleted_loop(
        body, [0.0, blend, 0.0, 0.0, blend], ["outside", "blend", "outside", "outside", "blend"]
    )
    pieces, radii, names = _opening_pieces(vertices)
    return Outline((outer, filleted_loop(pieces, radii, names)))


def _slotted(w: WrenchInput, vertices: Vertices) -> Outline:
    """A ring with one slot across the +x axis that passes the tube."""
    radius, half = w.dims["outside_diameter"] / 2, w.dims["slot_width"] / 2
    edge = w.dims["edge_radius"]
    inner = _cut_by_slot(vertices, half, edge)
    mouth = math.asin(half / radius)
    direction = math.pi + w.dims["offset_angle"]
    at_handle = _handle_angle(w, radius)
    lower, upper = np.array([radius * math.cos(mouth), -half]), np.array([radius * math.cos(mouth), half])
    back = inner[::-1]  # clockwise: from the slot's lower edge round to its upper one
    pieces = [arc((0, 0), radius, mouth, direction - at_handle, "outside"), *_handle(w, radius, np.zeros(2))]
    radii = [edge, w.dims["handle_blend"], 0.0, 0.0]
    names = ["tip", "blend", "outside", "outside"]
    pieces.append(arc((0, 0), radius, direction + at_handle - math.tau, -mouth, "outside"))
    radii.append(w.dims["handle_blend"])
    names.append("blend")
    pieces.append(line(lower, back[0][0], "slot"))
    radii.append(edge)
    names.append("tip")
    for i in range(len(back) - 1):
        pieces.append(line(back[i][0], back[i + 1][0], "flank"))
        radii.append(back[i][1])
        names.append(back[i][2])
    pieces.append(line(back[-1][0], upper, "slot"))
    radii.append(back[-1][1])
    names.append(back[-1][2])
    return Outline((filleted_loop(pieces, radii, names),))


def _cut_by_slot(vertices: Vertices, half: float, edge: float) -> Vertices:
    """The corners that a slot of half width ``half`` leaves, anticlockwise from its upper to its lower edge."""
    kept: Vertices = []
    n = len(vertices)
    points = [v[0] for v in vertices]
    inside = [bool(p[0] > 0 and abs(p[1]) < half) for p in points]
    for i in range(n):
        if not inside[i]:
            kept.append(vertices[i])
        j = (i + 1) % n
        a, b = points[i], points[j]
        for level in (half, -half):
            if (a[1] - level) * (b[1] - level) < 0 and a[0] + b[0] > 0:
                f = (level - a[1]) / (b[1] - a[1])
                kept.append((a + f * (b - a), edge, "tip"))
    upper = next(
        i for i, v in enumerate(kept) if abs(v[0][1] - half) < 1e-9 and v[2] == "tip" and v[0][0] > 0
    )
    ordered = kept[upper:] + kept[:upper]
    if not (ordered[-1][2] == "tip" and abs(ordered[-1][0][1] + half) < 1e-9):
        raise GeometryError(
            "the slot does not cut the opening cleanly",
            where="[wrench] slot_width",
            hint="keep it below the width across the corners of the opening",
            slug="slot-too-wide",
        )
    return ordered


def _open_end(w: WrenchInput) -> Outline:
    """Parallel jaws, a throat that clears the corner behind, a round head and a handle at the offset angle."""
    d, half = w.dims, w.opening / 2
    radius, centre = d["head_width"] / 2, np.array([d["head_centre"], 0.0])
    reach, tip_y = d["jaw_reach"], half + d["tip_width"]
    deep, turn_in = -d["throat_depth"], -d["jaw_depth"]
    floor = 0.4 * half
    shoulder = math.radians(72)
    direction = math.pi + d["offset_angle"]
    at_handle = _handle_angle(w, radius)
    top, bottom = centre + _at(radius, shoulder), centre + _at(radius, -shoulder)
    corners: Vertices = [
        (np.array([reach, tip_y]), d["tip_radius"], "outside"),
        (top, d["tip_radius"], "outside"),
        (bottom, d["tip_radius"], "outside"),
        (np.array([reach, -tip_y]), d["tip_radius"], "outside"),
        (np.array([reach, -half]), d["edge_radius"], "tip"),
        (np.array([turn_in, -half]), d["throat_radius"], "throat"),
        (np.array([deep, -floor]), d["throat_radius"], "throat"),
        (np.array([deep, floor]), d["throat_radius"], "throat"),
        (np.array([turn_in, half]), d["throat_radius"], "throat"),
        (np.array([reach, half]), d["edge_radius"], "tip"),
    ]
    names = ["outside", "", "outside", "outside", "flank", "throat", "throat", "throat", "flank", "outside"]
    pieces: list[Piece] = []
    radii: list[float] = []
    rounds: list[str] = []
    for i, (point, radius_i, name) in enumerate(corners):
        radii.append(radius_i)
        rounds.append(name)
        if i == 1:  # the round head, broken by the handle
            pieces.append(arc(centre, radius, shoulder, direction - at_handle, "outside"))
            pieces += _handle(w, radius, centre)
            pieces.append(arc(centre, radius, direction + at_handle - math.tau, -shoulder, "outside"))
            radii += [d["handle_blend"], 0.0, 0.0, d["handle_blend"]]
            rounds += ["blend", "outside", "outside", "blend"]
        else:
            pieces.append(line(point, corners[(i + 1) % len(corners)][0], names[i]))
    return Outline((filleted_loop(pieces, radii, rounds),))


_JAWS: dict[str, Callable[[WrenchInput], Outline]] = {"open-end": _open_end}
