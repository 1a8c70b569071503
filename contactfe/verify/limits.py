"""Limits: the default pressure cap, and the torque of a real pair when both bodies are almost rigid."""

from __future__ import annotations

import math

import numpy as np
import shapely

from contactfe.contact import friction_share
from contactfe.inputs import parse_case
from contactfe.reference import limit_load
from contactfe.turn import build_pair, contact_law, torque_curve
from contactfe.verify.bodies import Array
from contactfe.verify.check import CASES, CaseAnswer, Source
from contactfe.verify.geometry import CORNER, hexagon_polygon, real_case
from contactfe.verify.independent import BOUNDS, LIMIT_BOUNDS

ELLIPSE = Source(
    "limits", "formula against formula", "von Mises ellipse s1^2 - s1 s2 + s2^2 = Y^2, its largest s1"
)
SHEARED = Source(
    "limits",
    "formula against formula",
    "von Mises ellipse with the shear of friction, its largest pressure, by search",
)
OVERLAP = Source(
    "limits", "exact", "rigid limit: cap over the stretch of flank that lies inside the turned hexagon"
)
PLASTIC = Source(
    "limits",
    "formula against formula",
    "Prandtl 1920; Hill, The Mathematical Theory of Plasticity, 1950, ch. IX (from memory)",
)

OPENING, FRICTION, YIELD, DEPTH = 16.2, 0.15, 10.0, 5.0  # mm, -, MPa, mm
STIFF = {"elastic_modulus": "1000 GPa"}


@CASES.case("pressure cap", "limits")
def pressure_cap() -> CaseAnswer:
    """The default constraint factor against the yield ellipse, and the plane-strain limits that bound it."""
    angle = np.linspace(0.0, math.tau, 200_001)
    s1, s2 = np.cos(angle), np.sin(angle)
    sheet, rubbed = (
        float((s1 / np.sqrt(s1**2 - s1 * s2 + s2**2 + 3.0 * (mu * s1) ** 2)).max()) for mu in (0.0, FRICTION)
    )
    case = parse_case(
        {
            "format": 1,
            "name": "defaults",
            "fastener": {"size": "M10", "grade": "8.8"},
            "wrench": {"profile": "ring-six"},
        }
    )
    factor = case.contact.constraint_factor
    corner, flat = limit_load.wedge_limit(math.radians(120.0), 1.0), limit_load.flat_limit(1.0)
    shear = limit_load.shear_yield(1.0)
    note = "plane strain: what bounds the cap from above, not its value"
    known = LIMIT_BOUNDS["corner", "sheet"]
    law = contact_law(case)
    taken = friction_share(FRICTION, "strain") * corner
    return CaseAnswer(
        (
            ELLIPSE.relative("default constraint factor", factor, sheet, 1e-3),
            ELLIPSE.relative("largest stress of a sheet over yield", limit_load.sheet_cap(1.0), sheet, 1e-8),
            SHEARED.relative(
                f"default cap over yield, friction {FRICTION:g}",
                law.cap / case.fastener.yield_strength,
                rubbed,
                1e-3,
            ),
            BOUNDS.band(
                f"default cap over yield at a 120 degree corner, friction {FRICTION:g}",
                law.cap / case.fastener.yield_strength,
                LIMIT_BOUNDS["rubbed corner", "sheet"],
            ),
            BOUNDS.band(
                f"limit on a flank of a 120 degree corner over shear yield, friction {FRICTION:g}",
                taken,
                LIMIT_BOUNDS["rubbed corner", "strain"],
            ),
            BOUNDS.relative(
                "default factor, flank of a 120 degree corner of a sheet", factor, sum(known) / 2, 1e-3
            ),
            PLASTIC.absolute(
                "limit on a flank of a 120 degree corner over yield", corner * shear, 1.76, 5e-3, note
            ),
            BOUNDS.band(
                "limit on a flank of a 120 degree corner over shear yield",
                corner,
                LIMIT_BOUNDS["corner", "strain"],
            ),
            PLASTIC.absolute("limit far from a corner over yield", flat * shear, 2.97, 5e-3, note),
            BOUNDS.band("limit far from a corner over shear yield", flat, LIMIT_BOUNDS["flat", "strain"]),
        )
    )


@CASES.case("rigid limit of a six-point ring", "limits")
def rigid_ring() -> CaseAnswer:
    """Torque of a real pair with stiff bodies and a low yield strength: cap times geometry, friction and depth."""
    case = real_case(
        "ring-six",
        {"yield_strength": f"{YIELD} MPa", "engaged_depth": f"{DEPTH} mm", "rounding": "20 %", **STIFF},
        wrench={"opening": f"{OPENING} mm", **STIFF},
        contact={"friction": FRICTION},
        mesh={"edge_at_contact": "0.25 mm"},
    )
    curve = torque_curve(build_pair(case))
    polygon = hexagon_polygon(16.0, 0.2, CORNER)
    turns = np.array([solution.rotation for solution in curve.solutions])
    past = np.flatnonzero((turns > math.radians(3.0)) & (turns < math.radians(9.0)))
    scale = 6.0 * DEPTH * limit_load.sheet_cap(YIELD, FRICTION) / 1e3
    exact = np.array([scale * _flank_moment(polygon, float(turns[i])) for i in past])
    off = curve.torque[past] / exact - 1.0
    worst = float(off[np.abs(off).argmax()]) if len(past) else math.nan
    return CaseAnswer(
        (
            OVERLAP.absolute(
                "rigid six-point ring, 3 to 9 deg: worst torque over exact, less one", worst, 0.0, 3e-3
            ),
        )
    )


def _flank_moment(polygon: shapely.Polygon, turn: float) -> float:
    """Moment about the axis of a unit pressure with friction on the part of one flank inside the turned hexagon, mm2."""
    half = OPENING / 2
    turned = shapely.affinity.rotate(polygon, -turn, origin=(0, 0), use_radians=True)
    flank = shapely.LineString([(half, -half), (half, half)])
    inside: Array = np.asarray(turned.intersection(flank).coords)[:, 1]
    low, high = float(inside.min()), float(inside.max())
    return (high**2 - low**2) / 2.0 + FRICTION * half * (high - low)
