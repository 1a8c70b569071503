"""Rigid punches on a half plane: sharp, sliding with friction, with rounded edges, with a pressure cap."""

from __future__ import annotations

import math

import numpy as np

from contactfe.contact import ContactLaw
from contactfe.elastic import PlaneMaterial
from contactfe.profile import Outline, arc, line
from contactfe.reference import PlaneElastic, capped, punches
from contactfe.verify.bodies import (
    CONTACT,
    HELD,
    ContactBody,
    Fineness,
    Press,
    Pressed,
    block,
    chain,
    contact_body,
    graded,
    press_together,
)
from contactfe.verify.check import CASES, CaseAnswer, Check, Source
from contactfe.verify.line_contact import curve

FLAT = Source("contact", "exact", "Johnson, Contact Mechanics, 1985, eq. 2.64 (from memory)")
SLIDING = Source(
    "contact",
    "exact",
    "Johnson, Contact Mechanics, 1985, eq. 2.69-2.71 (from memory; sign settled numerically)",
)
ROUNDED = Source(
    "contact",
    "published formula",
    "Ciavarella, Hills & Monno, Proc. IMechE C 212(4), 1998 (formula from memory)",
)
CAPPED = Source("saturation", "exact", "derived: capped flat punch (boundary elements agree to five digits)")
BALANCE = Source("saturation", "self-audit", "equilibrium: the pressures carry the load that was laid on")

RIGID = 1e12  # MPa
LIFT = 50.0  # mm: height of the contact over the axis, so that the wrench slides along x


def flat_punch(half: float, height: float = 0.0) -> ContactBody:
    """A sharp rigid punch that stands on y = ``height`` over -half..half."""
    top = height + half
    corners = [(-half, height), (half, height), (half, top), (-half, top)]
    outline = Outline((chain(corners, [CONTACT, "free", HELD, "free"]),))
    return contact_body(
        outline, graded([(-half, height), (half, height)], 0.02 * half, 0.3 * half), PlaneMaterial(RIGID, 0.3)
    )


def middle_pressure(found: Pressed, within: float) -> float:
    """Mean pressure of the cells within a distance of the middle, MPa."""
    inner = np.abs(found.problem.centre[:, 0]) < within
    return float(np.average(found.pressure[inner], weights=found.problem.length[inner]))


@CASES.case("flat punch", "contact")
def sharp_punch() -> CaseAnswer:
    """Sharp flat punch pressed by a central load."""
    load = 100.0
    base = block(1.0, Fineness(0.04, (1.0,)), PlaneMaterial(1000.0, 0.3, "strain"))
    found = press_together(base, flat_punch(1.0), Press((0.0, -load), ContactLaw(0.0, 1e4), (1.0, 1.0)))
    x = np.linspace(-0.97, 0.97, 401)
    exact = punches.flat_pressure(x, 1.0, load)
    at = middle_pressure(found, 0.1)
    expected = load / math.pi * (2 * math.asin(0.1)) / 0.2  # mean of the exact pressure over the same middle
    return CaseAnswer(
        (FLAT.relative("flat punch: pressure in the middle, MPa", at, expected, 1e-2),),
        (curve("Sharp flat punch", found, (x, exact)),),
    )


@CASES.case("sliding punch", "contact")
def sliding_punch() -> CaseAnswer:
    """Flat punch that slides with friction 0.5: its pressure leans to the side that the drag points away from."""
    checks: list[Check] = []
    curves = []
    load, friction = 100.0, 0.5
    for plane, poisson in (("strain", 0.0), ("strain", 0.3), ("stress", 0.3)):
        base = block(1.0, Fineness(0.04, (1.0,)), PlaneMaterial(1000.0, poisson, plane), height=LIFT)
        law = ContactLaw(friction, 1e4)
        press = Press((friction * load, -load), law, (1.0, 1.0), sense=-1)  # drags the base in +x
        found = press_together(base, flat_punch(1.0, LIFT), press)
        share = found.pressure * found.problem.length
        centroid = float(found.problem.centre[:, 0] @ share / share.sum())
        exponent = punches.sliding_exponent(friction, PlaneElastic(1000.0, poisson, plane))  # type: ignore[arg-type]
        name = f"sliding punch, plane {plane}, Poisson {poisson:g}: resultant, mm"
        checks.append(SLIDING.relative(name, centroid, punches.sliding_centroid(1.0, exponent), 1e-2))
        if poisson == 0.0:
            x = np.linspace(-0.97, 0.97, 401)
            curves.append(
                curve(
                    "Sliding flat punch, friction 0.5",
                    found,
                    (x, punches.sliding_pressure(x, 1.0, load, exponent)),
                )
            )
    return CaseAnswer(tuple(checks), tuple(curves))


@CASES.case("punch with rounded edges", "contact")
def rounded_punch() -> CaseAnswer:
    """Flat of half width 0.8 with edges of radius 10, pressed until the contact is 2 wide."""
    exact = punches.RoundedPunch(0.8, 10.0, 1.0, 1000.0)
    bend = math.asin(0.3 / 10.0)
    down = -math.pi / 2
    left = arc((-0.8, 10.0), 10.0, down - bend, down, CONTACT)
    right = arc((0.8, 10.0), 10.0, down, down + bend, CONTACT)
    (x, y), top = right.end, 2.0
    loop = (
        left,
        line((-0.8, 0.0), (0.8, 0.0), CONTACT),
        right,
        line((x, y), (x, top), "free"),
        line((x, top), (-x, top), HELD),
        line((-x, top), left.start, "free"),
    )
    size = graded([(-0.9, 0.0), (0.9, 0.0)], 0.04, 0.4)
    punch = contact_body(Outline((loop,)), size, PlaneMaterial(RIGID, 0.3))
    base = block(1.0, Fineness(0.03, (0.8, 0.9, 1.0), 0.008), PlaneMaterial(1000.0, 0.3))
    load = exact.load_N_per_mm
    found = press_together(base, punch, Press((0.0, -load), ContactLaw(0.0, 100.0), (1.0, 1.0)))
    ends = np.linspace(-1.0, 1.0, 801)
    shape = exact.pressure(ends)
    name = "punch with rounded edges"
    return CaseAnswer(
        (
            ROUNDED.relative(
                f"{name}: pressure in the middle, MPa",
                middle_pressure(found, 0.1),
                shape[380:421].mean(),
                5e-3,
            ),
            ROUNDED.relative(f"{name}: largest pressure, MPa", found.pressure.max(), shape.max(), 2e-2),
            ROUNDED.absolute(f"{name}: half width, mm", found.width() / 2, 1.0, 0.02),
        ),
        (curve("Punch with rounded edges", found, (ends, shape)),),
    )


@CASES.case("flat punch with a pressure cap", "saturation")
def capped_punch() -> CaseAnswer:
    """Sharp flat punch whose pressure cannot pass the cap, at three shares of its limit load."""
    cap = 100.0
    base = block(1.0, Fineness(0.04, (0.4359, 0.8, 0.9539, 1.0)), PlaneMaterial(1000.0, 0.3, "strain"))
    punch = flat_punch(1.0)
    checks: list[Check] = []
    curves = []
    for share in (0.3, 0.6, 0.9):
        exact = capped.CappedPunch(1.0, share * 2 * cap, cap)
        found = press_together(base, punch, Press((0.0, -exact.load), ContactLaw(0.0, cap), (1.0, 1.0)))
        x = np.linspace(-0.1, 0.1, 41)
        name = f"flat punch with a cap, P/2Ha {share}"
        checks += [
            CAPPED.relative(
                f"{name}: pressure in the middle, MPa",
                middle_pressure(found, 0.1),
                exact.pressure(x).mean(),
                3e-3,
            ),
            CAPPED.absolute(
                f"{name}: crushed edge, mm", found.capped_width() / 2, 1.0 - exact.core_half_width_mm, 0.01
            ),
        ]
        if share == 0.6:
            checks.append(BALANCE.relative(f"{name}: load carried, N/mm", -found.load()[1], exact.load, 1e-9))
            ends = np.linspace(-1.0, 1.0, 401)
            curves.append(
                curve("Flat punch with a pressure cap, 0.6 of its limit", found, (ends, exact.pressure(ends)))
            )
    return CaseAnswer(tuple(checks), tuple(curves))
