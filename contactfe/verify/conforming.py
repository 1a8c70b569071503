"""Contact of surfaces that nearly fit: pin in a hole, rings shrunk on, a layer that recedes, and the patch test."""

from __future__ import annotations

import math

import numpy as np

from contactfe.contact import ContactLaw
from contactfe.elastic import PlaneMaterial, nodal_stresses
from contactfe.profile import Outline, Piece, arc
from contactfe.reference import PlaneElastic, pins, rings
from contactfe.verify.bodies import (
    CONTACT,
    HELD,
    Array,
    ContactBody,
    Press,
    Pressed,
    chain,
    circle,
    contact_body,
    graded,
    press_together,
    uniform,
)
from contactfe.verify.check import CASES, CaseAnswer, Check, Comparison, Source
from contactfe.verify.independent import LAYER, LAYER_HALF_WIDTH, LAYER_PRESSURE

PERSSON = Source(
    "contact",
    "published formula",
    "Persson, thesis 1964; Ciavarella & Decuzzi, Int. J. Solids Structures 38 (2001) 4507 (from memory)",
)
LAME = Source(
    "contact", "exact", "Lame; Timoshenko & Goodier art. 28; Shigley, press and shrink fits (from memory)"
)
RECEDE = Source(
    "contact", "exact", "Dundurs & Stippes 1970 (from memory): the extent of receding contact knows no load"
)
PATCH = Source("contact", "exact", "equilibrium: uniform pressure gives uniform stress whatever the meshes")
FREE_CAP = 1e6  # MPa: never reached


def _ring_piece(radius: float, low: float, high: float, name: str) -> Piece:
    """An arc about the origin between two angles given in degrees from straight down."""
    down = -math.pi / 2
    return arc((0, 0), radius, down + math.radians(low), down + math.radians(high), name)


def crest(place: Array, pressure: Array, within: float) -> float:
    """Pressure at place 0, from a parabola in the square of the place over the nearest cells, MPa."""
    near = np.abs(place) < within
    return float(np.polyfit(place[near] ** 2, pressure[near], 2)[2])


@CASES.case("pin in a hole", "contact")
def pin_in_hole() -> CaseAnswer:
    """A pin in a hole of 1/1000 more radius, loaded until the contact spans 60 degrees each way."""
    radius, clearance, stiff = 1.0, 1e-3, 1000.0
    half_angle = math.radians(60.0)
    load = stiff * clearance / pins.pin_clearance_number(half_angle)
    material = PlaneMaterial(stiff, 0.3)
    spots = np.radians(np.linspace(-165.0, -15.0, 61))
    near = np.column_stack([np.cos(spots), np.sin(spots)])
    inner = radius - clearance
    pin_loop = (_ring_piece(inner, -85, 85, CONTACT), _ring_piece(inner, 85, 275, "free"))
    pin = contact_body(
        Outline((pin_loop, circle(0.05, HELD, hole=True))),
        graded(inner * near, 0.045, 0.2),
        material,
        carried=True,
    )
    hole = (_ring_piece(radius, 80, -80, CONTACT), _ring_piece(radius, 280, 80, "free"))
    plate = contact_body(Outline((circle(60.0, HELD), hole)), graded(radius * near, 0.04, 15.0), material)
    found = press_together(pin, plate, Press((0.0, load), ContactLaw(0.0, FREE_CAP), (0.1, 0.1)))
    angle = np.arctan2(found.problem.centre[:, 0], -found.problem.centre[:, 1])
    peak = crest(angle, found.pressure, 0.3)
    ends = np.linspace(-half_angle, half_angle, 241)
    exact = pins.pin_pressure(ends, half_angle, load, radius)
    expected = float(pins.pin_pressure(0.0, half_angle, load, radius))
    order = np.argsort(angle)
    order = order[np.abs(angle[order]) < 1.15 * half_angle]
    drawn = Comparison(
        "Pin in a hole of nearly its radius",
        "angle from the load, deg",
        "pressure, MPa",
        (np.degrees(angle[order]), found.pressure[order]),
        (np.degrees(ends), exact),
    )
    return CaseAnswer(
        (
            PERSSON.absolute(
                "pin in a hole: half angle of contact, deg",
                math.degrees(found.width() / 2 / radius),
                60.0,
                1.2,
            ),
            PERSSON.relative("pin in a hole: pressure under the load, MPa", peak, expected, 5e-3),
        ),
        (drawn,),
    )


@CASES.case("rings shrunk onto each other", "contact")
def shrink_fit() -> CaseAnswer:
    """Two rings with a radial interference of 0.002, of the same and of different materials."""
    a, b, c, interference = 1.0, 2.0, 3.0, 0.002
    checks = []
    pairs = {"equal rings": ((200e3, 0.3), (200e3, 0.3)), "unlike rings": ((70e3, 0.33), (200e3, 0.28))}
    for name, (inside, outside) in pairs.items():
        inner = contact_body(
            Outline((circle(b, CONTACT), circle(a, HELD, hole=True))),
            uniform(0.25),
            PlaneMaterial(*inside),
            carried=True,
        )
        outer = contact_body(
            Outline((circle(c, HELD), circle(b, CONTACT, hole=True))),
            uniform(0.22),
            PlaneMaterial(*outside),
            carried=True,
        )
        press = Press((0.0, 0.0), ContactLaw(0.0, 500.0), (0.2, 0.2), offset=-interference)
        found = press_together(inner, outer, press)
        exact = rings.shrink_fit_pressure(
            (a, b, c), interference, PlaneElastic(*inside), PlaneElastic(*outside)
        )
        mean = float(found.pressure @ found.problem.length / found.problem.length.sum())
        uneven = float(np.ptp(found.pressure)) / exact
        checks.append(LAME.relative(f"shrink fit, {name}: mean pressure, MPa", mean, exact, 1e-3))
        checks.append(
            LAME.absolute(f"shrink fit, {name}: unevenness of pressure over its mean", uneven, 0.0, 2e-2)
        )
    return CaseAnswer(tuple(checks))


def _layer(material: PlaneMaterial) -> ContactBody:
    """A layer of height 1 and length 8 on y = 0, loaded over a short patch on top."""
    loop = chain(
        [(-4, 0), (4, 0), (4, 1), (0.02, 1), (-0.02, 1), (-4, 1)],
        [CONTACT, "free", "free", HELD, "free", "free"],
    )
    spots = [(x, 0.0) for x in np.linspace(-1.8, 1.8, 61)] + [(0.0, 1.0)]
    return contact_body(Outline((loop,)), graded(spots, 0.025, 0.3), material, carried=True)


@CASES.case("receding contact", "contact")
def receding_layer() -> CaseAnswer:
    """A layer pressed on a half plane of the same material: contact shrinks at once and then keeps its extent."""
    material = PlaneMaterial(1000.0, 0.3)
    layer = _layer(material)
    far = 200.0
    corners = [(-far, -far), (far, -far), (far, 0), (2.4, 0), (-2.4, 0), (-far, 0)]
    outline = Outline((chain(corners, [HELD, HELD, "free", CONTACT, "free", HELD]),))
    base = contact_body(
        outline, graded([(x, 0.0) for x in np.linspace(-1.8, 1.8, 61)], 0.03, far / 4), material
    )
    small, large = (
        press_together(layer, base, Press((0.0, load), ContactLaw(0.0, 50.0), (0.5, 0.5)))
        for load in (1.0, 10.0)
    )
    unlike = float(np.count_nonzero(small.active != large.active))
    scaled = float(np.abs(large.pressure / 10.0 - small.pressure).max() / small.pressure.max())
    middle = crest(small.problem.centre[:, 0], small.pressure, 0.3)
    return CaseAnswer(
        (
            RECEDE.absolute(
                "receding contact: cells that change when the load is ten times", unlike, 0.0, 0.0
            ),
            RECEDE.absolute("receding contact: change of pressure over load", scaled, 0.0, 1e-9),
            LAYER.absolute(
                "receding contact: half width over height", small.width() / 2, LAYER_HALF_WIDTH, 0.015
            ),
            LAYER.relative("receding contact: p(0) h / P", middle, LAYER_PRESSURE, 5e-3),
        )
    )


def _patch_blocks(
    edges: tuple[float, float], turn: float, material: PlaneMaterial
) -> tuple[ContactBody, ContactBody]:
    """Two blocks 1 x 0.5 on each other, each carried on its far side, turned about the origin."""
    lower = chain([(-0.5, -0.5), (0.5, -0.5), (0.5, 0), (-0.5, 0)], [HELD, "free", CONTACT, "free"])
    upper = chain([(-0.5, 0), (0.5, 0), (0.5, 0.5), (-0.5, 0.5)], [CONTACT, "free", HELD, "free"])
    made = [
        contact_body(Outline((loop,)).rotated(turn), uniform(edge), material, carried=True)
        for loop, edge in zip((lower, upper), edges, strict=True)
    ]
    return made[0], made[1]


def patch_error(found: Pressed, direction: Array) -> float:
    """Largest deviation of the stress in both bodies from a unit pressure along a direction, MPa."""
    worst = 0.0
    exact = -np.array([direction[0] ** 2, direction[1] ** 2, direction[0] * direction[1]])
    for body, forces in zip(found.bodies, found.forces(), strict=True):
        u = body.held.displacements(forces[:, None]).reshape(-1, 2)
        stress = nodal_stresses(body.mesh, body.held.material, u)[:, :3]
        worst = max(worst, float(np.abs(stress - exact).max()))
    return worst


@CASES.case("contact patch test", "contact")
def contact_patch() -> CaseAnswer:
    """Two blocks with meshes that do not match carry a uniform pressure without any error."""
    checks: list[Check] = []
    material = PlaneMaterial(1000.0, 0.3)
    for name, edges, degrees in (
        ("four on five edges", (0.25, 0.2), 0.0),
        ("roles swapped", (0.2, 0.25), 0.0),
        ("turned by 37 degrees", (0.25, 0.2), 37.0),
    ):
        turn = math.radians(degrees)
        up = np.array([-math.sin(turn), math.cos(turn)])
        lower, upper = _patch_blocks(edges, turn, material)
        press = Press((-up[0], -up[1]), ContactLaw(0.0, 4.0), (0.1, 0.1))
        found = press_together(lower, upper, press)
        checks.append(
            PATCH.absolute(
                f"contact patch test, {name}: error of stress, MPa", patch_error(found, up), 0.0, 1e-9
            )
        )
    return CaseAnswer(tuple(checks))
