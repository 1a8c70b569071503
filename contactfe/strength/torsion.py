"""The fastener's own strength in torsion: the bar's body, and the twist-off of a bolt's shank."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.inputs import FastenerInput
from contactfe.profile import turned_diameter
from contactfe.standards import twist_off_torque

HEX_TORSION_STRESS = 5.33
"""Largest torsion stress of a hexagonal bar, at mid-flat, over T/s^3 (Timoshenko & Goodier's 0.217 A s gives 5.32,
from memory)."""
SQUARE_TORSION_STRESS = 1.0 / 0.208
"""Largest torsion stress of a square bar over T/s^3 (Roark's Formulas, torsion of a square: 0.208 a^3, from memory)."""


@dataclass(frozen=True)
class BodyTorsion:
    """Torques (N m) at which a bar begins to yield in torsion and yields through, and the section they hold for."""

    first_yield_Nm: float
    full_yield_Nm: float
    section: str


@dataclass(frozen=True)
class TwistOff:
    """Torque (N m) at which what is held below the head, a bolt's shank or a solid bar, twists off.

    ``torque_Nm`` is that at the least strength, the lower end of ``band_Nm``; both are None where no rule is known and
    ``note`` says why. ``first_yield_Nm``: where the surface of a bar begins to yield, None for a bolt.
    """

    kind: Literal["bolt", "bar"]
    torque_Nm: float | None
    band_Nm: tuple[float, float] | None
    first_yield_Nm: float | None
    note: str


def body_torsion(fastener: FastenerInput) -> BodyTorsion | None:
    """Torsion of a bar of the fastener's own section; None for a nut or a drawn section, to which no formula fits.

    First yield: the elastic bar of the full section, von Mises shear yield Y/sqrt(3). Full yield: twice the volume of
    the sand heap of slope Y/sqrt(3) over the section (Nadai 1923; Hill, The Mathematical Theory of Plasticity, 1950,
    from memory). A double hexagon counts as a round bar of its width (a lower bound).
    """
    if fastener.shape == "outline" or _is_nut(fastener):
        return None
    s, shear = fastener.across_flats, fastener.yield_strength / math.sqrt(3.0)
    if fastener.shape == "double-hex":
        first, full, section = (
            math.pi * s**3 / 16.0,
            math.pi * s**3 / 12.0,
            f"solid round bar of {s:.4g} mm inside the points",
        )
    elif fastener.shape == "square":
        first, full = s**3 / SQUARE_TORSION_STRESS, 2.0 * heap_volume(s, fastener.rounding, 4)
        section = f"solid square bar of {s:.4g} mm"
    else:
        first, full = s**3 / HEX_TORSION_STRESS, 2.0 * heap_volume(s, fastener.rounding, 6)
        section = f"solid hexagonal bar of {s:.4g} mm"
    if fastener.rounding > 0 and fastener.shape != "double-hex":
        section += f" with its corners turned down by {100 * fastener.rounding:.3g} %"
    return BodyTorsion(first * shear / 1e3, full * shear / 1e3, section)


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


def twist_off(fastener: FastenerInput) -> TwistOff | None:
    """Torque at which the free thread of a bolt (ISO 898-7) or a solid bar twists off.

    None for a nut, and for a drawn section held as a bar, to which no formula fits.
    """
    if _is_nut(fastener):
        return None
    if fastener.stock != "bolt":
        bar = body_torsion(fastener)
        if bar is None:
            return None
        return TwistOff("bar", bar.full_yield_Nm, None, bar.first_yield_Nm, bar.section)
    if fastener.size is None or fastener.grade is None:
        return TwistOff("bolt", None, None, None, "the twist-off torque needs a size and a grade")
    try:
        low, high = twist_off_torque(fastener.size, fastener.grade)
    except ContactFEError as error:
        note = f"{error.message}; ISO 898-7 covers metric sizes of grades 8.8 to 12.9"
        return TwistOff("bolt", None, None, None, note)
    diameter = float(fastener.size.split()[0].lstrip("Mm"))
    outside = "" if diameter <= 10 else ", its formula used above the M10 where the standard ends"
    return TwistOff("bolt", low, (low, high), None, f"ISO 898-7: free thread, torsion alone{outside}")


def _is_nut(fastener: FastenerInput) -> bool:
    return fastener.size is not None and fastener.size.endswith(" nut")
