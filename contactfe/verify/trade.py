"""What the trade would expect of slip torques: bands without a source, and one published rule of thumb."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from contactfe.inputs import CaseInput, parse_case
from contactfe.profile import profile_pair
from contactfe.reference import trade
from contactfe.turn import BodyModel, assemble, fastener_body, slip_estimate, torque_curve, wrench_body
from contactfe.verify.check import CASES, NO_SOURCE, CaseAnswer, Check, Source

BAND = Source("trade", "common practice", NO_SOURCE)
STRIP = Source(
    "trade",
    "published formula",
    "strip rule 0.103 s^2 h Rm per pair, +-50 %: G. S. Case, Mechanical Engineering (secondary citation)",
)

SIZES, GRADES = ("M10", "M12"), {"8.8": 800.0, "10.9": 1040.0}  # tensile strength MPa, ISO 898-1
GRADE = "8.8"
PROFILES = ("ring-six", "ring-twelve", "ring-spline", "flare-nut", "open-end")
WORN = 0.4
RELATIVE = MappingProxyType(
    {"ring-twelve": (0.6, 0.95), "ring-spline": (0.5, 0.85), "flare-nut": (0.2, 0.5), "open-end": (0.15, 0.4)}
)
LOSS = MappingProxyType(
    {
        "ring-six": (0.10, 0.30),
        "ring-twelve": (0.30, 0.60),
        "ring-spline": (0.20, 0.55),
        "flare-nut": (0.15, 0.50),
        "open-end": (0.10, 0.55),
    }
)
NO_EFFECT = MappingProxyType(
    {
        "ring-six": (
            (-0.003, 0.001),
            "a six-point ring loses by geometry and clearance, hardly by strength: the two losses differ by three tenths of a "
            "percentage point, the other way round",
        )
    }
)
"""Profiles of which the model does not show the trade's effect: the number it gives instead, how far that may move from
machine to machine, and why."""
STIFFER = 4.0  # times the wrench's modulus: what that gains tells how much a head gives way by opening


def trade_case(size: str, grade: str, profile: str, rounding: float = 0.0, **wrench: Any) -> CaseInput:
    """A bolt head of the standards in a head of the default dimensions."""
    return parse_case(
        {
            "format": 1,
            "name": f"{size} {grade} {profile}",
            "fastener": {"size": size, "grade": grade, "rounding": f"{100 * rounding:g} %"},
            "wrench": {"profile": profile} | wrench,
        }
    )


@functools.cache
def _fastener(size: str, rounding: float, like: str) -> BodyModel:
    """The fastener's body; neither the grade nor the shape of the ring has a say in it."""
    case = trade_case(size, GRADE, like, rounding)
    return fastener_body(case, profile_pair(case))


@functools.cache
def _wrench(size: str, profile: str, **wrench: Any) -> BodyModel:
    """The wrench's body, whatever the fastener's grade and wear."""
    case = trade_case(size, GRADE, profile, **wrench)
    return wrench_body(case, profile_pair(case))


def slip_torque(size: str, grade: str, profile: str, rounding: float = 0.0, **wrench: Any) -> float:
    """Slip torque, N m; 0 where the wrench turns freely."""
    case = trade_case(size, grade, profile, rounding, **wrench)
    like = "open-end" if profile == "open-end" else "ring-six"
    bodies = _fastener(size, rounding, like), _wrench(size, profile, **wrench)
    built = assemble(case, profile_pair(case), *bodies)
    return slip_estimate(built, torque_curve(built)).slip_torque_Nm or 0.0


@functools.cache
def slip_table() -> Mapping[tuple[str, str, str, float], float]:
    """Slip torque (N m) by size, grade, profile and rounding, 0 and 40 %."""
    found = {
        (size, grade, profile, rounding): slip_torque(size, grade, profile, rounding)
        for size in SIZES
        for grade in GRADES
        for profile in PROFILES
        for rounding in (0.0, WORN)
    }
    return MappingProxyType(found)


def _mean_ratio(over: tuple[str, float], under: tuple[str, float]) -> float:
    """Mean over sizes and grades of the slip torque of one profile and rounding over another's."""
    table = slip_table()
    return float(np.mean([table[(s, g, *over)] / table[(s, g, *under)] for s in SIZES for g in GRADES]))


@CASES.case("slip torques of new hexagons", "trade", quick=False)
def new_hexagons() -> CaseAnswer:
    """Slip torque relative to the six-point ring at equal depth, means over two sizes and two grades."""
    checks = [
        BAND.band(
            f"new hexagon: {profile} over ring-six", _mean_ratio((profile, 0.0), ("ring-six", 0.0)), limits
        )
        for profile, limits in RELATIVE.items()
    ]
    return CaseAnswer(tuple(checks))


@CASES.case("loss by rounding", "trade", quick=False)
def rounding_loss() -> CaseAnswer:
    """Share of the slip torque that 40 % of rounding takes."""
    loss = {profile: 1.0 - _mean_ratio((profile, WORN), (profile, 0.0)) for profile in PROFILES}
    checks = [
        BAND.band(f"loss by 40 % rounding: {profile}", loss[profile], LOSS[profile]) for profile in PROFILES
    ]
    more = loss["ring-twelve"] - loss["ring-six"]
    checks.append(BAND.band("loss by 40 % rounding: ring-twelve less ring-six", more, (0.0, 1.0)))
    return CaseAnswer(tuple(checks))


@CASES.case("large soft and small hard hexagons", "trade", quick=False)
def size_and_grade() -> CaseAnswer:
    """A larger, softer hexagon loses a smaller share to the same rounding than a small, hard one."""
    checks: list[Check] = []
    for profile in ("ring-six", "ring-twelve", "open-end"):
        loss = {}
        for size, grade in (("M16", "8.8"), ("M8", "10.9")):
            new, old = (slip_torque(size, grade, profile, rounding) for rounding in (0.0, WORN))
            loss[size] = 1.0 - old / new
        name, more = f"loss by 40 % rounding: M8 10.9 less M16 8.8, {profile}", loss["M8"] - loss["M16"]
        if profile in NO_EFFECT:
            reach, note = NO_EFFECT[profile]
            checks.append(BAND.outside_reach(name, more, (0.0, 1.0), reach, note))
        else:
            checks.append(BAND.band(name, more, (0.0, 1.0)))
    return CaseAnswer(tuple(checks))


@CASES.case("strip rule", "trade", quick=False)
def strip_rule() -> CaseAnswer:
    """The published rule of thumb on six-point rings and open ends, new hexagons."""
    checks: list[Check] = []
    table = slip_table()
    for profile, pairs in (("ring-six", 3.0), ("open-end", 1.0)):
        for size in SIZES:
            for grade, tensile in GRADES.items():
                case = trade_case(size, grade, profile)
                rule = trade.strip_torque_Nm(
                    case.fastener.across_flats_nominal, case.fastener.engaged_depth, tensile, pairs
                )
                ratio = table[(size, grade, profile, 0.0)] / rule
                name = f"slip torque over the strip rule: {profile}, {size} {grade}"
                checks.append(STRIP.band(name, ratio, (trade.STRIP_RATIO.low, trade.STRIP_RATIO.high)))
    return CaseAnswer(tuple(checks))


@CASES.case("how heads let go", "trade", quick=False)
def modes() -> CaseAnswer:
    """Open ends and flare-nut wrenches let go by opening: a stiffer head of theirs holds more, a ring's hardly."""
    gain = {}
    for profile in ("ring-six", "ring-twelve", "flare-nut", "open-end"):
        torque = [
            slip_torque("M10", "8.8", profile, elastic_modulus=f"{modulus:g} GPa")
            for modulus in (206.0, 206.0 * STIFFER)
        ]
        gain[profile] = torque[1] / torque[0] - 1.0
    rings = max(gain["ring-six"], gain["ring-twelve"])
    return CaseAnswer(
        tuple(
            BAND.band(
                f"gain of a stiffer head: {profile} less that of rings", gain[profile] - rings, (0.0, 10.0)
            )
            for profile in ("flare-nut", "open-end")
        )
    )
