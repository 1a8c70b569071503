"""Hertz contact of a cylinder on a flat and of two cylinders, elastic and with a pressure cap."""

from __future__ import annotations

import math

import numpy as np

from contactfe.contact import ContactLaw
from contactfe.elastic import PlaneMaterial, nodal_stresses
from contactfe.profile import Outline, arc, line
from contactfe.reference import HertzLine, PlaneElastic, capped, contact_modulus, hertz_load, relative_radius
from contactfe.verify.bodies import (
    CONTACT,
    FAR,
    HELD,
    Array,
    ContactBody,
    Fineness,
    Press,
    Pressed,
    along,
    block,
    contact_body,
    graded,
    press_together,
)
from contactfe.verify.check import CASES, CaseAnswer, Comparison, Source

HERTZ = Source(
    "contact", "exact", "Hertz 1882; Johnson, Contact Mechanics, 1985, eq. 4.43-4.46 (from memory)"
)
JOHNSON = Source(
    "contact", "published", "Johnson, Contact Mechanics, 1985, section 4.2: 0.30 p0 at 0.78 a (from memory)"
)
CAPPED = Source("saturation", "exact", "derived: line contact with capped pressure (boundary elements agree)")

BALANCE = Source("saturation", "self-audit", "equilibrium: the pressures carry the load that was laid on")

FINE = 0.05  # edge length at the contact over the half width


def cylinder(radius: float, half: float, material: PlaneMaterial, below: bool = False) -> ContactBody:
    """The lower part of a cylinder that stands on the origin, for contact out to ``half``; held far above.

    ``below``: its upper part, hanging under the origin.
    """
    edge, far = math.asin(1.3 * half / radius), math.asin(min(0.8, FAR * half / radius))
    centre, down = (0.0, radius), -math.pi / 2
    arcs = [
        arc(centre, radius, down - far, down - edge, "free"),
        arc(centre, radius, down - edge, down + edge, CONTACT),
        arc(centre, radius, down + edge, down + far, "free"),
    ]
    (x, y), top = arcs[-1].end, arcs[-1].end[1] + FAR * half
    walls = [
        line((x, y), (x, top), HELD),
        line((x, top), (-x, top), HELD),
        line((-x, top), arcs[0].start, HELD),
    ]
    outline = Outline((tuple(arcs + walls),))
    size = graded(along((-1.2 * half, 0), (1.2 * half, 0), 49), FINE * half, FAR / 4 * half)
    return contact_body(outline.rotated(math.pi) if below else outline, size, material)


def peak_pressure(pressed: Pressed, half: float) -> float:
    """Pressure in the middle, from the ellipse that fits the inner half of the cells, MPa."""
    x, p = pressed.problem.centre[:, 0], pressed.pressure
    inner = np.abs(x) < 0.5 * half
    return float(np.sqrt(np.polyfit(x[inner] ** 2, p[inner] ** 2, 1)[1]))


def curve(title: str, pressed: Pressed, exact: tuple[Array, Array]) -> Comparison:
    """Pressure over position, computed and exact."""
    order = np.argsort(pressed.problem.centre[:, 0])
    points = (pressed.problem.centre[order, 0], pressed.pressure[order])
    low, high = exact[0][0], exact[0][-1]
    inside = (points[0] > 1.15 * low) & (points[0] < 1.15 * high)
    return Comparison(title, "position, mm", "pressure, MPa", (points[0][inside], points[1][inside]), exact)


@CASES.case("cylinder on a flat", "contact")
def cylinder_on_flat() -> CaseAnswer:
    """Elastic cylinder on an elastic half plane, plane strain."""
    half, radius = 1.0, 50.0
    material, body = PlaneMaterial(1000.0, 0.3, "strain"), PlaneElastic(1000.0, 0.3, "strain")
    exact = HertzLine(
        hertz_load(half, radius, contact_modulus(body, body)), radius, contact_modulus(body, body)
    )
    flat = block(half, Fineness(FINE * 1.1, deep=((0.0, -0.78),)), material)
    press = Press((0.0, -exact.load), ContactLaw(0.0, 4 * exact.peak_pressure_MPa), (1.0, 1.0))
    found = press_together(flat, cylinder(radius, half, material), press)
    peak = exact.peak_pressure_MPa
    stress = nodal_stresses(
        flat.mesh, material, flat.held.displacements(found.forces()[0][:, None]).reshape(-1, 2)
    )
    shear = np.hypot(0.5 * (stress[:, 0] - stress[:, 1]), stress[:, 2])
    x, y = flat.mesh.nodes.T
    under = (np.abs(x) < 0.15) & (y < -0.45) & (y > -1.2)
    c = np.polyfit(y[under], shear[under], 3)
    depth = np.linspace(0.5, 1.1, 601)
    along_axis = np.polyval(c, -depth)
    ends = np.linspace(-half, half, 201)
    name = "cylinder on a flat"
    return CaseAnswer(
        (
            HERTZ.relative(f"{name}: pressure in the middle, MPa", peak_pressure(found, half), peak, 3e-3),
            HERTZ.absolute(f"{name}: half width, mm", found.width() / 2, half, 0.4 * FINE),
            JOHNSON.absolute(f"{name}: largest shear below over p0", along_axis.max() / peak, 0.30, 5e-3),
            JOHNSON.absolute(f"{name}: its depth over a", depth[along_axis.argmax()], 0.78, 0.01),
        ),
        (curve("Cylinder on a flat (Hertz)", found, (ends, exact.pressure(ends))),),
    )


@CASES.case("two cylinders", "contact")
def two_cylinders() -> CaseAnswer:
    """Two elastic cylinders of different radius and modulus, plane strain."""
    half, radii = 1.0, (60.0, 100.0)
    moduli = (1000.0, 3000.0)
    bodies = [PlaneElastic(e, 0.3, "strain") for e in moduli]
    stiff, radius = contact_modulus(*bodies), relative_radius(*radii)
    exact = HertzLine(hertz_load(half, radius, stiff), radius, stiff)
    lower = cylinder(radii[0], half, PlaneMaterial(moduli[0], 0.3, "strain"), below=True)
    upper = cylinder(radii[1], 0.9 * half, PlaneMaterial(moduli[1], 0.3, "strain"))
    press = Press((0.0, -exact.load), ContactLaw(0.0, 4 * exact.peak_pressure_MPa), (1.0, 1.0))
    found = press_together(lower, upper, press)
    peak = peak_pressure(found, half)
    ends = np.linspace(-half, half, 201)
    return CaseAnswer(
        (
            HERTZ.relative("two cylinders: pressure in the middle, MPa", peak, exact.peak_pressure_MPa, 5e-3),
            HERTZ.absolute("two cylinders: half width, mm", found.width() / 2, half, 0.4 * FINE),
        ),
        (curve("Two cylinders (Hertz)", found, (ends, exact.pressure(ends))),),
    )


@CASES.case("cylinder with a pressure cap", "saturation")
def capped_cylinder() -> CaseAnswer:
    """Rigid cylinder on a half plane whose pressure cannot pass the cap, at 1.5 times the first load that meets it."""
    stiff, radius, cap = 1000.0, 10.0, 40.0
    load = 1.5 * capped.yield_load(radius, stiff, cap)
    exact = capped.capped_hertz(load, radius, stiff, cap)
    half = exact.half_width
    flat = block(half, Fineness(FINE, (exact.crushed_half_width, half)), PlaneMaterial(stiff, 0.3))
    found = press_together(
        flat,
        cylinder(radius, half, PlaneMaterial(1e9 * stiff, 0.3)),
        Press((0.0, -load), ContactLaw(0.0, cap), (1.0, 1.0)),
    )
    ends = np.linspace(-1.0, 1.0, 401) * half
    name = "cylinder with a cap"
    return CaseAnswer(
        (
            CAPPED.absolute(f"{name}: half width, mm", found.width() / 2, half, FINE * half),
            CAPPED.absolute(
                f"{name}: half width at the cap, mm",
                found.capped_width() / 2,
                exact.crushed_half_width,
                FINE * half,
            ),
            BALANCE.relative(f"{name}: load carried, N/mm", -found.load()[1], load, 1e-9),
        ),
        (curve("Cylinder on a flat with a pressure cap", found, (ends, exact.pressure(ends))),),
    )
