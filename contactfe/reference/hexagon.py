"""Hexagon in an opening, exact geometry and rigid statics: widths, rounding, free turn, spinning, forces.

Throughout: `flats` s is the width across flats of the hexagon (mm), `clearance` c the opening minus s (mm),
`rounding` r from 0 (sharp corners) to 1 (turned down to the circle of diameter s): the corners are cut by the
circle of diameter e' = e - r (e - s), e = 2 s/sqrt(3). Angles in rad. All formulas are plane geometry,
derived, checked in the tests against polygons.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, Rule, positive, require, within

#: Torsion of a hexagonal bar: K = 0.115051 s^4 (finite elements, and harmonic polynomials in the tests;
#: Roark's 1.0355 a^4 with side a and Timoshenko & Goodier's 0.133 A s^2 agree, both from memory; 0.1154 s^4,
#: often quoted, is 0.3 % high).
TORSION_CONSTANT = 0.115051
#: Largest torsion stress of a hexagonal bar, at mid-flat: 5.33 T/s^3 (finite elements, +-0.01; Timoshenko &
#: Goodier's 0.217 A s, from memory, gives 5.32, and T = 0.188 tau s^3 of a handbook page 5.32).
TORSION_STRESS = 5.33
#: Corners of a double hexagon (12-point opening) of width S: inner (re-entrant) radius / S, outer radius / S.
TWELVE_POINT_INNER = 0.5 / math.cos(math.pi / 12.0)
TWELVE_POINT_OUTER = 1.0 / math.sqrt(3.0)


def _size(flats: float, rounding: float = 0.0, clearance: float = 0.0) -> tuple[Rule, Rule, Rule]:
    return (
        positive("width across flats", flats),
        within("rounding", rounding, 0.0, 1.0),
        (0.0 <= clearance < math.inf, f"clearance is {clearance:g}, must not be negative"),
    )


def across_corners(flats: float, rounding: float = 0.0) -> float:
    """Width across corners e' (mm): e - r (e - s), e = 2 s/sqrt(3).

    >>> round(across_corners(10.0), 6), round(across_corners(10.0, 0.3), 5)
    (11.547005, 11.0829)
    """
    require("across_corners", *_size(flats, rounding))
    sharp = 2.0 * flats / math.sqrt(3.0)
    return sharp - rounding * (sharp - flats)


def corner_half_angle(flats: float, rounding: float = 0.0) -> float:
    """a0 = acos(s/e'), the angle from the middle of a flat to its end: 30 degrees when sharp, 0 when round.

    >>> round(math.degrees(corner_half_angle(10.0)), 9)
    30.0
    """
    return math.acos(min(1.0, flats / across_corners(flats, rounding)))


def half_flat(flats: float, rounding: float = 0.0) -> float:
    """f = sqrt((e'/2)^2 - (s/2)^2) (mm), half the length of flat that is left.

    >>> round(half_flat(10.0, 0.3), 5)
    2.38908
    """
    corner = across_corners(flats, rounding)
    return 0.5 * math.sqrt(max(0.0, corner - flats) * (corner + flats))


@dataclass(frozen=True)
class HexSection:
    """Area and polar second moment about the middle; the two rectangular moments are half the polar one."""

    area_mm2: float
    polar_mm4: float

    @property
    def inertia_mm4(self) -> float:
        """Second moment about any axis through the middle (six-fold symmetry makes them all equal)."""
        return 0.5 * self.polar_mm4


def section(flats: float, rounding: float = 0.0) -> HexSection:
    """Area (mm^2) and polar second moment (mm^4) of a hexagon whose corners are cut by a circle.

    A = 6 [(s/2) f + (e'/2)^2 g/2], J = 6 [(s/2)^3 f/2 + (s/2) f^3/6 + (e'/2)^4 g/4], g = pi/3 - 2 a0.

    >>> round(section(10.0).area_mm2, 6), round(section(10.0).inertia_mm4, 6)
    (86.60254, 601.40653)
    >>> round(section(10.0, 0.3).polar_mm4, 4)
    1184.3297
    """
    f, apothem, corner = half_flat(flats, rounding), 0.5 * flats, 0.5 * across_corners(flats, rounding)
    arc = math.pi / 3.0 - 2.0 * corner_half_angle(flats, rounding)
    area = 6.0 * (apothem * f + corner**2 * arc / 2.0)
    polar = 6.0 * (apothem**3 * f / 2.0 + apothem * f**3 / 6.0 + corner**4 * arc / 4.0)
    return HexSection(area, polar)


def width_across(angle: ArrayLike, flats: float, rounding: float = 0.0) -> Array:
    """Width (mm) between two parallel lines when the hexagon stands at `angle` from flats-against-lines.

    e' cos(a0 - angle) for |angle| <= a0, then e' up to 30 degrees; repeats every 60 degrees.

    >>> round(float(width_across(0.0, 10.0)), 9), round(float(width_across(math.pi / 6.0, 10.0)), 6)
    (10.0, 11.547005)
    """
    corner, edge = across_corners(flats, rounding), corner_half_angle(flats, rounding)
    third = math.pi / 3.0
    turned = np.abs((np.asarray(angle, dtype=float) + third / 2.0) % third - third / 2.0)
    return corner * np.cos(edge - np.minimum(turned, edge))


def free_turn(flats: float, clearance: float, rounding: float = 0.0) -> float:
    """Angle (rad) the hexagon turns each way from flats-parallel before it touches; inf when it spins freely.

    a0 - acos((s + c)/e'). The same in parallel jaws (two contacts), in a hexagonal ring (six at once) and in
    a 12-point ring as long as its inner corners stay outside e'/2 (`twelve_point_loss`). Total play is twice
    this. Raises ContactFEError for a negative clearance.

    >>> [round(math.degrees(free_turn(10.0, 0.2, r)), 4) for r in (0.0, 0.3, 0.6)]
    [2.0487, 2.5145, 3.5114]
    """
    require("free_turn", *_size(flats, rounding, clearance))
    corner = across_corners(flats, rounding)
    if flats + clearance >= corner:
        return math.inf
    return corner_half_angle(flats, rounding) - math.acos((flats + clearance) / corner)


def spin_rounding(flats: float, clearance: float) -> float:
    """Rounding r from which the hexagon spins in jaws or a six-point ring: 1 - c/(e - s); below 0: always.

    >>> round(spin_rounding(10.0, 0.2), 4)
    0.8707
    """
    require("spin_rounding", *_size(flats, clearance=clearance))
    return 1.0 - clearance / (across_corners(flats) - flats)


def twelve_point_loss(flats: float, clearance: float) -> float:
    """Rounding r from which a 12-point ring loses the hexagon: [e - (s + c)/cos 15 deg]/(e - s).

    >>> round(twelve_point_loss(10.0, 0.0), 5), round(twelve_point_loss(10.0, 0.2), 5)
    (0.77197, 0.63813)
    """
    require("twelve_point_loss", *_size(flats, clearance=clearance))
    sharp = across_corners(flats)
    return (sharp - 2.0 * TWELVE_POINT_INNER * (flats + clearance)) / (sharp - flats)


def twelve_point_flank(opening: float) -> float:
    """Length (mm) of one flank of a 12-point `opening` S (mm), S (1/sqrt(3) - tan(15 deg))/2 = 0.1547 S.

    A six-point opening has 0.2887 S for each half flat: the ratio is 0.536.

    >>> round(twelve_point_flank(1.0), 4)
    0.1547
    """
    require("twelve_point_flank", positive("opening", opening))
    return 0.5 * opening * (math.tan(math.pi / 6.0) - math.tan(math.pi / 12.0))


def corner_arm(flats: float, clearance: float, rounding: float = 0.0) -> float:
    """Lever arm x_c (mm) of a corner's normal force after the free turn: sqrt(e'^2 - (s + c)^2)/2.

    Raises ContactFEError where the hexagon spins freely.

    >>> round(2.0 * corner_arm(10.0, 0.2), 4)
    5.4123
    """
    require("corner_arm", *_size(flats, rounding, clearance))
    corner, opening = across_corners(flats, rounding), flats + clearance
    # rounding or clearance so large that no corner is caught: there is no contact to balance
    require(
        "corner_arm", (opening < corner, f"opening is {opening:g}, must be below the corners' {corner:g}")
    )
    return 0.5 * math.sqrt((corner - opening) * (corner + opening))


def rigid_normal_force(
    torque: float, hexagon: tuple[float, float, float], friction: float, pairs: int
) -> float:
    """Normal force per contact (N/mm) that carries `torque` (N mm per mm) after the free turn, rigid bodies.

    N = T / {n [sqrt(e'^2 - (s + c)^2) + mu (s + c)]} with `hexagon` = (s, c, r) and n `pairs` of opposite
    contacts (jaws 1, six-point ring 3); friction helps to carry the torque. mu = 0 agrees with virtual work,
    T = n N dw/dangle. Raises ContactFEError where the hexagon spins freely.

    >>> round(rigid_normal_force(5.4123, (10.0, 0.2, 0.0), 0.0, 1), 4)
    1.0
    """
    flats, clearance, rounding = hexagon
    require(
        "rigid_normal_force",
        (0.0 <= friction < math.inf, f"friction is {friction:g}, must not be negative"),
        (pairs in (1, 2, 3), f"number of pairs is {pairs}, must be 1, 2 or 3"),
    )
    arm = corner_arm(flats, clearance, rounding)
    return torque / (pairs * (2.0 * arm + friction * (flats + clearance)))


def corner_torque_factor(friction: float, free_angle: float = 0.0) -> float:
    """T/(n N s) of a sharp hexagon on n corners: [sin(30 deg - angle) + mu cos(30 deg - angle)]/sqrt(3).

    At the tight fit (`free_angle` 0) 0.2887 + 0.5 mu; open end n = 2, ring n = 6. Range: mu >= 0, angle 0 to
    30 degrees.

    >>> [round(corner_torque_factor(mu), 4) for mu in (0.0, 0.12, 0.15, 0.20, 0.30)]
    [0.2887, 0.3487, 0.3637, 0.3887, 0.4387]
    """
    require(
        "corner_torque_factor",
        (0.0 <= friction < math.inf, f"friction is {friction:g}, must not be negative"),
        within("free angle", free_angle, 0.0, math.pi / 6.0),
    )
    lean = math.pi / 6.0 - free_angle
    return (math.sin(lean) + friction * math.cos(lean)) / math.sqrt(3.0)
