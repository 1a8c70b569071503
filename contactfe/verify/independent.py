"""Numbers of other programs, kept with the tests together with the scripts that make them, and the case built on them."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from contactfe.elastic import side_loads
from contactfe.inputs import CaseInput
from contactfe.turn import bearing_depth, build_pair, in_contact
from contactfe.verify.bodies import Array
from contactfe.verify.check import CASES, CaseAnswer, Source
from contactfe.verify.geometry import real_case

#: Opening of the mouth (mm) of the head of `open_end_case` under 1 N/mm on each flank, 1 mm thick, spread as a hump
#: (1 - (x/4)^2)^2: fourth-order elements, 2407 triangles, 39310 unknowns, exact arcs (NGSolve 6.2.2608).
OPEN_END_OPENING_MM = 3.74456e-4
#: Torque per turn (N mm per mm and rad) of a hexagon of 10 mm, bore 5 mm held, in rigid parallel jaws, and the place
#: of the resultant over half a flat: fourth-order elements, 5964 triangles, penalty (NGSolve 6.2.2608).
JAWS_STIFFNESS_N, JAWS_RESULTANT = 1.53692e6, 0.75520
#: Half width of contact over height, and p(0) h / P, of a layer on a half plane of its own material: integral
#: equation by Fourier transform, 200 cells.
LAYER_HALF_WIDTH, LAYER_PRESSURE = 1.32493, 0.71297

#: Lower and upper bound of the pressure on a half plane's flat strip and on one flank of a 120 degree corner: plane
#: strain in shear yield strengths, sheet in plane stress in tensile yield strengths. "Rubbed": under a
#: shear of 0.15 of the pressure towards the edge. Finite-element limit analysis by conic programming, about 560 triangles.
LIMIT_BOUNDS = MappingProxyType(
    {
        ("flat", "strain"): (5.1005, 5.2113),
        ("corner", "strain"): (3.0445, 3.0830),
        ("corner", "sheet"): (1.1547, 1.1549),
        ("rubbed corner", "strain"): (2.5723, 2.6015),
        ("rubbed corner", "sheet"): (1.1025, 1.1068),
    }
)

LIBRARY = Source(
    "independent", "independent code", "NGSolve 6.2, fourth-order elements on the exact outline; own script"
)
BOUNDS = Source(
    "limits", "independent code", "bounds by finite-element limit analysis (conic programming), own script"
)
LAYER = Source(
    "independent",
    "independent code",
    "integral equation by Fourier transform, own script; problem of Keer, Dundurs & Tsai 1972",
)

HUMP = 4.0  # mm: half the length of flank that is loaded
HEAD = {
    "opening": "16.16 mm",
    "thickness": "7.04 mm",
    "edge_radius": "0.32 mm",
    "handle_blend": "6.4 mm",
    "handle_length": "8 mm",
    "handle_width": "12.8 mm",
    "head_centre": "-2.4 mm",
    "head_width": "37.6 mm",
    "jaw_depth": "5.76 mm",
    "jaw_reach": "6.72 mm",
    "offset_angle": "15 deg",
    "throat_depth": "9.92 mm",
    "throat_radius": "1.6 mm",
    "tip_radius": "1.6 mm",
    "tip_width": "5.6 mm",
}


def open_end_case() -> CaseInput:
    """An open-end head for 16 mm, every dimension given."""
    return real_case("open-end", {}, wrench=HEAD, mesh={"edge_at_contact": "0.5 mm"})


@CASES.case("open end spread by its flanks", "independent")
def open_end_spread() -> CaseAnswer:
    """Opening of the mouth of a real head, of its real thickness, under a pair of forces on its flanks."""
    case = open_end_case()
    built = build_pair(case)
    wrench = in_contact(case, built.fastener, built.wrench)[1]
    mesh, flexibility = wrench.mesh, wrench.flexibility
    force = 1000.0  # N on each flank
    per_depth = force / bearing_depth(case)

    def hump(x: Array, normal: Array) -> Array:
        share = np.clip(1.0 - (x[:, 0] / HUMP) ** 2, 0.0, None) ** 2
        return -15.0 / (16.0 * HUMP) * per_depth * share[:, None] * normal

    load = side_loads(mesh, mesh.sides_named("flank"), hump).reshape(-1, 2)[flexibility.nodes]
    opening = float(flexibility.observed["spread"] @ load.ravel())
    expected = OPEN_END_OPENING_MM * force / case.wrench.thickness
    return CaseAnswer(
        (LIBRARY.relative("open end spread by 1000 N on each flank: opening, mm", opening, expected, 5e-3),)
    )
