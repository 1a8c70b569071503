"""A hexagon in rigid jaws and in a rigid ring: elastic stiffness, limit torque, friction's share, and the law itself."""

from __future__ import annotations

import math

import numpy as np

from contactfe.contact import ContactLaw, complementarity
from contactfe.elastic import PlaneMaterial
from contactfe.mesh import SizeField
from contactfe.profile import Outline
from contactfe.reference import capped, hexagon
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
)
from contactfe.verify.check import CASES, CaseAnswer, Check, Source
from contactfe.verify.independent import JAWS_RESULTANT, JAWS_STIFFNESS_N, LIBRARY

LIMIT = Source("saturation", "exact", "stress block: cap over half of each driven flat (derived)")
BALANCE = Source("contact", "self-audit", "equilibrium of the forces on two flats")
STATICS = Source("contact", "exact", "statics of corners pressed by flats (derived)")
LAW = Source(
    "saturation", "self-audit", "optimality conditions of the convex problem that the contact law states"
)

FLATS, BORE = 10.0, 5.0  # mm: width across flats, diameter of the held bore
STEEL = 200e3
RIGID = 1e13


def hexagon_body(material: PlaneMaterial, edge: float, growth: float = 0.15) -> ContactBody:
    """A sharp hexagon with two flats facing up and down, held at its bore; fine towards its corners."""
    corners = FLATS / math.sqrt(3.0) * _directions(6, 0.0)
    outline = Outline((chain(corners, [CONTACT] * 6), circle(BORE / 2, HELD, hole=True)))
    return contact_body(outline, SizeField(corners, np.full(6, edge), np.full(6, growth), 1.5), material)


def _directions(count: int, first: float) -> Array:
    angle = first + math.tau / count * np.arange(count)
    return np.column_stack([np.cos(angle), np.sin(angle)])


def jaws_body(opening: float) -> ContactBody:
    """Two rigid parallel jaws in one frame; they may touch as far as the flats reach."""
    half, reach, wall, flat = opening / 2, 9.0, 14.0, FLATS / (2.0 * math.sqrt(3.0))
    outer = chain([(-wall, -wall), (wall, -wall), (wall, wall), (-wall, wall)], [HELD] * 4)
    upper = [(-reach, half), (-flat, half), (flat, half), (reach, half)]
    lower = [(-x, -y) for x, y in upper]
    inner = chain([*upper, *lower], ["free", CONTACT, "free", "free"] * 2)
    return contact_body(Outline((outer, inner)), graded([(0.0, 0.0)], 1.0, 3.0), PlaneMaterial(RIGID, 0.3))


def ring_body(opening: float) -> ContactBody:
    """A rigid ring with a hexagonal opening."""
    corners = opening / math.sqrt(3.0) * _directions(6, 0.0)
    outline = Outline((circle(14.0, HELD), chain(corners[::-1], [CONTACT] * 6)))
    return contact_body(outline, graded([(0.0, 0.0)], 1.0, 3.0), PlaneMaterial(RIGID, 0.3))


def turned_in(fastener: ContactBody, wrench: ContactBody, rotation: float, law: ContactLaw) -> Pressed:
    """The floating wrench turned by a rotation (rad)."""
    return press_together(fastener, wrench, Press((0.0, 0.0), law, (1.0, 0.5), rotation=rotation, split=True))


@CASES.case("hexagon in rigid jaws", "independent")
def hexagon_in_jaws() -> CaseAnswer:
    """Elastic stiffness of a hexagon turned in rigid jaws, and how the flats share the force."""
    turn = 1e-5
    fastener = hexagon_body(PlaneMaterial(STEEL, 0.3, "strain"), 0.04)
    jaws = jaws_body(FLATS)
    found = turned_in(fastener, jaws, turn, ContactLaw(0.0, 1e3))
    stiffness = found.torque() / turn
    upper = found.problem.centre[:, 1] > 0
    force = found.pressure * found.problem.length
    centroid = abs(float(found.problem.centre[upper, 0] @ force[upper] / force[upper].sum()))
    half = FLATS / (2.0 * math.sqrt(3.0))
    lean = float(force[upper].sum() / force[~upper].sum()) - 1.0
    return CaseAnswer(
        (
            LIBRARY.relative(
                "hexagon in rigid jaws: torque over turn, N mm per mm and rad",
                stiffness,
                JAWS_STIFFNESS_N,
                2e-3,
            ),
            LIBRARY.absolute(
                "hexagon in rigid jaws: resultant on a flat over half its length",
                centroid / half,
                JAWS_RESULTANT,
                2e-3,
            ),
            BALANCE.absolute("hexagon in rigid jaws: upper force over lower, less one", lean, 0.0, 1e-8),
        )
    )


@CASES.case("limit torque of a hexagon", "saturation")
def hexagon_limit() -> CaseAnswer:
    """A hexagon turned far beyond the cap in rigid jaws and in a rigid ring."""
    turn, cap = 2e-5, 0.002
    half = FLATS / (2.0 * math.sqrt(3.0))
    fastener = hexagon_body(PlaneMaterial(STEEL, 0.3, "strain"), 0.08)
    checks: list[Check] = []
    for name, wrench, flats in (("jaws", jaws_body(FLATS), 2), ("a ring", ring_body(FLATS), 6)):
        torque = turned_in(fastener, wrench, turn, ContactLaw(0.0, cap)).torque()
        exact = capped.hex_limit_torque(half, cap, flats)
        checks.append(
            LIMIT.relative(f"limit torque of a hexagon in {name}, N mm per mm", torque, exact, 3e-3)
        )
    return CaseAnswer(tuple(checks))


@CASES.case("corner statics with friction", "contact")
def corner_statics() -> CaseAnswer:
    """Almost rigid hexagon, just past its free play: torque per normal force is the arm plus friction's share."""
    checks: list[Check] = []
    clearance = 0.2
    opening = FLATS + clearance
    play = hexagon.free_turn(FLATS, clearance)
    fastener = hexagon_body(PlaneMaterial(1e9, 0.3), 0.004, growth=0.45)
    for name, wrench in (("jaws", jaws_body(opening)), ("a ring", ring_body(opening))):
        for friction in (0.0, 0.15):
            found = turned_in(fastener, wrench, play + 2e-4, ContactLaw(friction, 1e6))
            normal = float(found.pressure @ found.problem.length)
            expected = hexagon.corner_arm(FLATS, clearance) + friction * opening / 2
            label = f"corner statics in {name}, friction {friction:g}: torque over force, mm"
            checks.append(STATICS.relative(label, found.torque() / normal, expected, 1e-2))
    return CaseAnswer(tuple(checks))


@CASES.case("contact law", "saturation")
def contact_law() -> CaseAnswer:
    """Hexagon in jaws half way to its limit: complementarity, least energy, and balance of both bodies."""
    turn, cap = 2e-5, 0.4
    fastener = hexagon_body(PlaneMaterial(STEEL, 0.3, "strain"), 0.1)
    found = turned_in(fastener, jaws_body(FLATS), turn, ContactLaw(0.0, cap))
    problem, p = found.problem, found.pressure
    residual = complementarity(problem.bounded(0.0, cap), p, found.motion)
    overlap = found.gap[p < cap * (1 - 1e-6)].min(initial=0.0)
    law = LAW
    on_fastener, on_wrench = (f.reshape(-1, 2) for f in found.forces())
    moment = [_moment(b.mesh.nodes, f) for b, f in zip(found.bodies, (on_fastener, on_wrench), strict=True)]
    return CaseAnswer(
        (
            law.absolute("contact law: complementarity, over the cap", residual, 0.0, 1e-8),
            law.absolute("contact law: overlap below the cap, mm", overlap, 0.0, 1e-12),
            law.absolute(
                "contact law: energy that another pressure would save, over its own",
                energy_saved(found),
                0.0,
                1e-9,
            ),
            law.absolute(
                "contact law: moments on both bodies, N mm per mm", sum(moment) / moment[0], 0.0, 1e-8
            ),
        )
    )


def _moment(x: Array, force: Array) -> float:
    return float(np.sum(x[:, 0] * force[:, 1] - x[:, 1] * force[:, 0]))


def energy_saved(found: Pressed, trials: int = 200) -> float:
    """Largest fall of the energy p'Cp/2 + p'g over random admissible changes of the pressure, relative; 0 if least."""
    cap = found.press.law.cap
    bounded = found.problem.bounded(0.0, cap)
    matrix, gap = bounded.matrix.columns(np.arange(len(found.pressure))), bounded.gap
    balance = found.problem.balance_n
    rng = np.random.default_rng(7)
    p = found.pressure
    own = 0.5 * p @ matrix @ p + p @ gap
    saved = 0.0
    span = np.linalg.qr(balance.T)[0]
    for _ in range(trials):
        step = rng.standard_normal(len(p)) * cap * rng.choice([1e-3, 1e-1, 1.0])
        step[(p <= 0) & (step < 0)] = 0.0
        step[(p >= cap) & (step > 0)] = 0.0
        for _ in range(50):  # towards steps without a net force, alternately within the bounds
            step = np.clip(p + step - span @ (span.T @ step), 0.0, cap) - p
        other = p + step
        change = 0.5 * other @ matrix @ other + other @ gap - own - found.motion @ (balance @ step)
        saved = max(saved, -float(change))
    return saved / abs(float(own))
