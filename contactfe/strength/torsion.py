"""What is held below the head in torsion: the free thread of a bolt, or a solid bar of the head's own section."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.inputs import FastenerInput
from contactfe.profile import turned_diameter
from contactfe.standards import Thread, grade, thread, twist_off_torque

HEX_TORSION_STRESS = 5.33
"""Largest torsion stress of a hexagonal bar, at mid-flat, over T/s^3 (Timoshenko & Goodier's 0.217 A s gives 5.32,
from memory)."""
SQUARE_TORSION_STRESS = 1.0 / 0.208
"""Largest torsion stress of a square bar over T/s^3 (Roark's Formulas, torsion of a square: 0.208 a^3, from memory)."""
_SAME = 1e-6


@dataclass(frozen=True)
class TwistOff:
    """Where what is held below the head ends in torsion. Torques in N m.

    `kind` is what ends: the free thread of a "bolt", or a solid "bar". `torque_Nm` is the value that counts, at the
    least strength; None where it is not known, and `note` says why. `band_Nm` reaches from there to the tensile
    strength (ISO 898-7: to the strongest bolt of the grade); None where no tensile strength is known. `first_yield_Nm`
    is where the skin of a bar begins to yield; None for bolts. `note` says what is twisted, and for a bolt by which
    rule; `source` is the formula of a bar, and of a bolt the section it holds for.
    """

    kind: Literal["bolt", "bar"]
    torque_Nm: float | None
    band_Nm: tuple[float, float] | None
    first_yield_Nm: float | None
    note: str
    source: str = ""


def twist_off(fastener: FastenerInput) -> TwistOff | None:
    """Return what is held below the head in torsion: `fastener.stock` says whether that is a bolt or a bar.

    A bolt: the least breaking torque of ISO 898-7 where that standard reaches (coarse threads to M10, 8.8 to 12.9),
    fully plastic torsion of the stress area elsewhere. A bar: fully plastic torsion of its own section. A nut is
    known only as far as a stud of the same strength is; a drawn section has no formula, which gives None for a bar.
    """
    if _is_nut(fastener):
        return _stud(fastener)
    return _bolt(fastener) if fastener.stock == "bolt" else _bar(fastener)


def plastic_torque(diameter: float, strength: float) -> float:
    """Return the fully plastic torque (N m) of a round bar of `diameter` (mm) and `strength` (MPa) in tension.

    T = pi d^3 / 12 k with k = strength / sqrt 3 (von Mises): the whole section carries the shear strength, 4/3 of the
    torque at first yield (Boresi & Schmidt, Advanced Mechanics of Materials, fully plastic torsion of a round bar;
    Dowling, Mechanical Behavior of Materials; both from memory). On the stress area of coarse threads M3 to M10 it lies
    7 % below (8.8) to 28 % above (12.9) the least breaking torque of ISO 898-7, which takes the thinnest core.
    """
    return math.pi * diameter**3 / 12.0 * strength / math.sqrt(3.0) / 1e3


def _bolt(fastener: FastenerInput) -> TwistOff:
    try:
        found = thread(fastener.size or "")
    except ContactFEError:
        why = "no thread size is given, so the twist-off torque of the shank is not known"
        return TwistOff("bolt", None, None, None, why)
    section = f"free thread {found.name}, stress area {found.stress_area:.3g} mm²"
    low, high, words = _plastic(found, fastener)
    beside = f"fully plastic torsion of the stress area ({found.source}) {words}"
    rule = _iso_898_7(fastener, found)
    if rule is not None:
        note = f"ISO 898-7: free thread, torsion alone; beside it {beside}"
        return TwistOff("bolt", rule[0], rule, None, note, section)
    band = None if high is None else (low, high)
    note = f"{beside}; free thread, torsion alone"
    return TwistOff("bolt", low, band, None, note, section)


def _plastic(found: Thread, fastener: FastenerInput) -> tuple[float, float | None, str]:
    """Return plastic torques (N m) at yield and tensile strength (None where not known), and words."""
    low = plastic_torque(found.stress_diameter, fastener.yield_strength)
    if fastener.tensile_ratio is None:
        return (
            low,
            None,
            f"{low:.3g} N*m at the yield strength; the tensile strength is not known, so it may hold more",
        )
    high = low * fastener.tensile_ratio
    return low, high, f"{low:.3g} N*m at the yield strength to {high:.3g} N*m at the tensile strength"


def _iso_898_7(fastener: FastenerInput, found: Thread) -> tuple[float, float] | None:
    """Return the band of ISO 898-7 (N m), None where the standard does not reach.

    Its least torque is in proportion to the strength. The upper end is that of the strongest bolt of the grade with a
    nominal core; where the strength is another than the least of the grade, it is known, and only the core is left.
    """
    if (
        fastener.grade is None
        or fastener.size is None
        or not found.coarse
        or found.inch
        or found.diameter > 10.0
    ):
        return None
    try:
        low, high = twist_off_torque(fastener.size, fastener.grade)
    except ContactFEError:
        return None
    known = grade(fastener.grade, found.diameter)
    share = fastener.yield_strength / known.yield_min
    if abs(share - 1.0) > _SAME:
        high *= known.tensile_min / (known.tensile_upper or known.tensile_min)
    return low * share, high * share


def _bar(fastener: FastenerInput) -> TwistOff | None:
    """Torsion of a bar of the fastener's own section; None for a drawn section.

    First yield: the elastic bar of the full section, von Mises shear yield Y/sqrt(3). Full yield: twice the volume of
    the sand heap of slope Y/sqrt(3) over the section (Nadai 1923; Hill, The Mathematical Theory of Plasticity, 1950,
    from memory). A double hexagon counts as a round bar of its width (a lower bound).
    """
    if fastener.shape == "outline":
        return None
    s, shear = fastener.across_flats, fastener.yield_strength / math.sqrt(3.0)
    if fastener.shape == "double-hex":
        first, full = math.pi * s**3 / 16.0, math.pi * s**3 / 12.0
        section = f"solid round bar of {s:.4g} mm inside the points"
    elif fastener.shape == "square":
        first, full = s**3 / SQUARE_TORSION_STRESS, 2.0 * heap_volume(s, fastener.rounding, 4)
        section = f"solid square bar of {s:.4g} mm"
    else:
        first, full = s**3 / HEX_TORSION_STRESS, 2.0 * heap_volume(s, fastener.rounding, 6)
        section = f"solid hexagonal bar of {s:.4g} mm"
    if fastener.rounding > 0 and fastener.shape != "double-hex":
        section += f" with its corners turned down by {100 * fastener.rounding:.3g} %"
    low = full * shear / 1e3
    ratio = fastener.tensile_ratio
    band = None if ratio is None else (low, low * ratio)
    source = "fully plastic torsion of the section (sand heap), yield to tensile strength"
    if ratio is None:
        source = "fully plastic torsion of the section (sand heap) at the yield strength; the tensile strength is not known"
    return TwistOff("bar", low, band, first * shear / 1e3, section, source)


def _stud(fastener: FastenerInput) -> TwistOff:
    """A nut is turned, but what it sits on is twisted, and the case does not say how strong that is."""
    found = thread(fastener.size or "")
    low, high, _ = _plastic(found, fastener)
    reach = f"{low:.3g} N*m" if high is None else f"{low:.3g} to {high:.3g} N*m"
    note = (
        "the stud or bar in the nut has a strength of its own, which the case does not name; seized in the nut, a "
        f"stud {found.name} as strong as the nut twists off at {reach} (fully plastic torsion of the stress area)"
    )
    kind: Literal["bolt", "bar"] = "bolt" if fastener.stock == "bolt" else "bar"
    return TwistOff(kind, None, None, None, note, f"what the nut is threaded on, {found.name}")


def heap_volume(across_flats: float, rounding: float, sides: int) -> float:
    """Volume (mm^3) of the sand heap of slope 1 over a regular polygon whose corners are turned down on a circle.

    The height is the distance from the edge: the smaller of the distances from the flat and from the circle.
    """
    half, corner = across_flats / 2, turned_diameter(across_flats, rounding, sides) / 2
    angle, weight = np.polynomial.legendre.leggauss(24)
    end = math.pi / sides
    phi, share = 0.5 * end * (1 + angle), 0.5 * end * weight
    edge = np.minimum(half / np.cos(phi), corner)
    # From the middle outwards the flat is nearer first, then perhaps the circle.
    change = np.minimum(edge, (corner - half) / np.maximum(1.0 - np.cos(phi), 1e-15))
    inner = half * change**2 / 2 - np.cos(phi) * change**3 / 3
    outer = corner * (edge**2 - change**2) / 2 - (edge**3 - change**3) / 3
    return float(2 * sides * share @ (inner + outer))


def _is_nut(fastener: FastenerInput) -> bool:
    return fastener.size is not None and fastener.size.endswith(" nut")
