"""Geometry cases: play, spinning, what rounding leaves, by polygon arithmetic that shares nothing with the outlines."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from scipy.optimize import brentq

from contactfe.contact import GapSearch, SearchRules, free_play
from contactfe.inputs import CaseInput, parse_case
from contactfe.mesh import SectionMesh, SizeField, mesh_outline
from contactfe.profile import TOUCHING, Outline, profile_pair
from contactfe.reference import hexagon
from contactfe.standards import opening_limits
from contactfe.turn import build_pair
from contactfe.verify.bodies import Array
from contactfe.verify.check import CASES, CaseAnswer, Check, Source
from contactfe.verify.quadrature import cell_quadrature

POLYGON = Source("geometry", "exact", "plane geometry of polygons")
CLOSED = Source("geometry", "formula against formula", "plane geometry of polygons, reckoned by hand")
STANDARD = Source(
    "geometry", "published", "ISO 4014 and ISO 691 limits (read in national reprints), plane geometry"
)

COARSE = {"edge_at_contact": "0.5 mm"}
CORNER = 0.16  # mm: fillet of a sharp corner of 16 mm across flats


def real_case(profile: str, fastener: dict[str, Any], **tables: dict[str, Any]) -> CaseInput:
    """A case like those of a user: 16 mm across flats, 6.4 mm deep, 640 MPa, unless told otherwise."""
    return parse_case(
        {
            "format": 1,
            "name": "known case",
            "fastener": {"across_flats": "16 mm", "engaged_depth": "6.4 mm", "yield_strength": "640 MPa"}
            | fastener,
            "wrench": {"profile": profile} | tables.get("wrench", {}),
            **{k: v for k, v in tables.items() if k != "wrench"},
        }
    )


def hexagon_polygon(flats: float, rounding: float, corner: float) -> shapely.Polygon:
    """A hexagon, two flats across the x axis, turned down on a circle, every edge with a fillet."""
    angle = np.radians(30.0 + 60.0 * np.arange(6))
    sharp = shapely.Polygon(flats / math.sqrt(3.0) * np.column_stack([np.cos(angle), np.sin(angle)]))
    across = hexagon.across_corners(flats, rounding)
    turned = sharp.intersection(shapely.Point(0, 0).buffer(across / 2, quad_segs=2000))
    return turned.buffer(-corner, quad_segs=500).buffer(corner, quad_segs=500)


def polygon_play(polygon: shapely.Polygon, opening: float) -> float:
    """Angle (rad) at which the width of a polygon, lying flat along x, reaches the opening."""
    x = np.asarray(polygon.exterior.coords)

    def excess(turn: float) -> float:
        across = x[:, 0] * math.cos(turn) - x[:, 1] * math.sin(turn)
        return float(np.ptp(across)) - opening

    return float(brentq(excess, 0.0, math.radians(20.0), xtol=1e-10))


@CASES.case("free play", "geometry")
def free_play_angles() -> CaseAnswer:
    """Play of a worn hexagon in the heads that a user would ask for."""
    checks: list[Check] = []
    expected = math.degrees(polygon_play(hexagon_polygon(16.0, 0.3, CORNER), 16.2))
    for profile in ("open-end", "ring-six", "ring-twelve"):
        case = real_case(profile, {"rounding": "30 %"}, wrench={"opening": "16.2 mm"}, mesh=COARSE)
        # One of them through everything that turning it would do: the opening that is meshed and the gap offset.
        search = build_pair(case).rig.search if profile == "ring-six" else _search(case)
        play = free_play(search, 16.0, math.radians(31.0))
        found = math.nan if play is None else math.degrees(play)
        checks.append(POLYGON.absolute(f"free play in {profile}, deg", found, expected, 5e-3))
    return CaseAnswer(tuple(checks))


@CASES.case("free play of the standards", "geometry")
def standard_play() -> CaseAnswer:
    """The smallest hexagon that ISO 4014 allows in the widest opening that ISO 691 allows."""
    limits = opening_limits(16.0)
    low, high = limits.lower, limits.upper
    case = real_case("ring-six", {"undersize": "0.27 mm"}, wrench={"opening": "loose"})
    play = free_play(_search(case), 15.73, math.radians(31.0))
    sharp = math.degrees(hexagon.free_turn(15.73, high - 15.73))
    return CaseAnswer(
        (
            STANDARD.absolute("ISO 691: least opening for 16 mm, mm", low, 16.05, 1e-9),
            STANDARD.absolute("ISO 691: largest opening for 16 mm, mm", high, 16.27, 1e-9),
            CLOSED.absolute("play of the smallest sharp M10 head in it, closed form, deg", sharp, 3.61, 5e-3),
            POLYGON.absolute(
                "the same with filleted corners, from the gap search, deg",
                math.nan if play is None else math.degrees(play),
                math.degrees(polygon_play(hexagon_polygon(15.73, 0.0, CORNER * 15.73 / 16.0), high)),
                1e-2,
            ),
        )
    )


def _coarse_mesh(outline: Outline) -> SectionMesh:
    """A mesh just fine enough to follow every piece of an outline."""
    places = np.vstack([p.points(np.array([0.0, 0.5, 1.0])) for p in outline.pieces])
    sizes = np.repeat([0.5 * p.length for p in outline.pieces], 3)
    return mesh_outline(outline, SizeField(places, sizes, np.full(len(sizes), 0.4), 3.0))


def _search(case: CaseInput, wrench: SectionMesh | None = None) -> GapSearch:
    """A gap search on coarse meshes of the case's own outlines, or on a mesh of the wrench that is there already."""
    pair = profile_pair(case)
    s = case.fastener.across_flats
    rules = SearchRules(TOUCHING, frozenset({"root", "throat"}), pair.sense, (0.12 * s, 0.08 * s))
    return GapSearch(_coarse_mesh(pair.fastener), wrench or _coarse_mesh(pair.wrench), rules)


@CASES.case("rounding at which the hexagon spins", "geometry", quick=False)
def spinning() -> CaseAnswer:
    """Rounding from which a six-point and a twelve-point ring no longer hold the hexagon."""
    clearance = 0.2
    expected = {
        "ring-six": hexagon.spin_rounding(16.0, clearance),
        "ring-twelve": _ridge_loss(16.0, 16.0 + clearance, ridge=0.1),
    }
    checks = []
    for profile, known in expected.items():
        wrench = {"opening": "16.2 mm"} | ({"ridge_radius": "0.1 mm"} if profile == "ring-twelve" else {})
        most = math.radians(31.0 if profile == "ring-six" else 16.0)
        new = real_case(profile, {}, wrench=wrench)
        ring = _coarse_mesh(profile_pair(new).wrench)

        def spins(
            rounding: float, new: CaseInput = new, ring: SectionMesh = ring, most: float = most
        ) -> bool:
            worn = replace(new, fastener=replace(new.fastener, rounding=rounding))
            return free_play(_search(worn, ring), 16.0, most) is None

        found = _threshold(spins, known - 0.016, known + 0.016)
        checks.append(
            POLYGON.absolute(f"rounding at which {profile} lets the hexagon spin", found, known, 2e-3)
        )
    return CaseAnswer(tuple(checks))


def _ridge_loss(flats: float, opening: float, ridge: float) -> float:
    """Rounding at which the turned corners pass the rounded ridges of a twelve-point opening."""
    sharp = hexagon.across_corners(flats)
    innermost = opening * hexagon.TWELVE_POINT_INNER + ridge * (1.0 / math.cos(math.pi / 12) - 1.0)
    return (sharp - 2.0 * innermost) / (sharp - flats)


def _threshold(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Where a condition becomes true between two places; nan when it does not change."""
    if holds(low) or not holds(high):
        return math.nan
    for _ in range(4):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return 0.5 * (low + high)


@CASES.case("section of a rounded hexagon", "geometry")
def rounded_section() -> CaseAnswer:
    """Area, polar moment and length of flat of the meshed section against formulas and polygons."""
    case = real_case("ring-six", {"rounding": "30 %"})
    outline = profile_pair(case).fastener
    mesh = _coarse_mesh(outline)
    core = case.fastener.core_radius
    polygon = hexagon_polygon(16.0, 0.3, CORNER)
    cells = cell_quadrature(mesh)
    polar = float(cells.weights @ np.sum(cells.places**2, axis=1))
    flat = next(p for p in outline.pieces if p.name == "flat-1")
    bend = hexagon.corner_half_angle(16.0, 0.3)
    left = flat.length + 2.0 * CORNER * math.tan(bend / 2.0)
    x = np.asarray(polygon.exterior.coords)
    known_polar = _polygon_polar(x) - math.pi * core**4 / 2.0
    return CaseAnswer(
        (
            POLYGON.relative(
                "rounded hexagon: area of the mesh, mm2", mesh.area(), polygon.area - math.pi * core**2, 1e-4
            ),
            POLYGON.relative("rounded hexagon: polar moment of the mesh, mm4", polar, known_polar, 1e-4),
            POLYGON.relative(
                "rounded hexagon: flat that is left, mm", left, 2.0 * hexagon.half_flat(16.0, 0.3), 1e-3
            ),
            POLYGON.relative(
                "rounded hexagon: width over corners, mm",
                float(np.ptp(mesh.nodes @ _towards(30.0))),
                hexagon.across_corners(16.0, 0.3),
                1e-9,
            ),
        )
    )


def _towards(degrees: float) -> Array:
    return np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])


def _polygon_polar(x: Array) -> float:
    """Polar moment of area of a closed polygon about the origin, mm4."""
    a, b = x[:-1], x[1:]
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return abs(float(cross @ (np.sum(a * a, axis=1) + np.sum(a * b, axis=1) + np.sum(b * b, axis=1)) / 12.0))
