"""Curved bars: pure bending, the half ring opened at its ends, the U hook (jaw spread) and the C ring."""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, PlaneElastic, below, positive, require, within

#: Opening (mm) of a U hook (inner radius, outer radius, arm length) for P = 1 N/mm, E = 1000 MPa, nu = 0.3,
#: plane stress, end forces as parabolic shear. Source: two independent finite element codes, one of high
#: order on exact arcs.
U_HOOK_OPENING_MM = MappingProxyType(
    {(1.0, 1.1, 1.0): 122.390, (1.0, 1.5, 1.0): 1.34907, (1.0, 2.0, 1.0): 0.243211, (1.0, 2.0, 2.0): 0.581624}
)


def _bar(where: str, inner: float, outer: float) -> None:
    require(where, positive("inner radius", inner), below("inner radius", inner, outer, "outer radius"))


def _bending_constant(inner: float, outer: float) -> float:
    """N = (b^2 - a^2)^2 - 4 a^2 b^2 ln(b/a)^2 of the curved bar in pure bending, mm^4."""
    a2, b2 = inner**2, outer**2
    return (b2 - a2) ** 2 - 4.0 * a2 * b2 * math.log(outer / inner) ** 2


def golovin_stress(radius: ArrayLike, inner: float, outer: float, moment: float) -> tuple[Array, Array]:
    """Radial and hoop stress (MPa) of a curved bar a..b (mm) under a `moment` M (N mm per mm) opening it.

    s_r = -(4M/N)[(a^2 b^2/r^2) ln(b/a) + b^2 ln(r/b) + a^2 ln(a/r)]
    s_t = -(4M/N)[-(a^2 b^2/r^2) ln(b/a) + b^2 ln(r/b) + a^2 ln(a/r) + b^2 - a^2]
    N = (b^2 - a^2)^2 - 4 a^2 b^2 ln^2(b/a); the same in both plane states; tension at the inner edge.
    Source: Golovin 1881; Timoshenko & Goodier, Theory of Elasticity, 3rd ed. 1970, art. 29 and its table
    (from memory). Raises ContactFEError unless 0 < a < b and a <= r <= b.

    >>> [round(float(golovin_stress(r, 1.0, 2.0, 1.0)[1]), 4) for r in (1.0, 2.0)]  # T&G table, b/a = 2
    [7.7552, -4.917]
    """
    _bar("golovin_stress", inner, outer)
    require("golovin_stress", within("radius", radius, inner, outer))
    r = np.asarray(radius, dtype=float)
    a2, b2 = inner**2, outer**2
    factor = -4.0 * moment / _bending_constant(inner, outer)
    twist = a2 * b2 / r**2 * math.log(outer / inner)
    logs = b2 * np.log(r / outer) + a2 * np.log(inner / r)
    return factor * (twist + logs), factor * (-twist + logs + b2 - a2)


def golovin_rotation(inner: float, outer: float, moment: float, material: PlaneElastic) -> float:
    """Rotation of one end against the other per radian of bar, rad/rad, under `moment` M (N mm per mm).

    8 M (b^2 - a^2) / (E' N). Source and range as `golovin_stress`.

    >>> round(golovin_rotation(1.0, 2.0, 1.0, PlaneElastic(1.0, 0.3)), 3)  # T&G art. 29, b/a = 2
    18.282
    """
    _bar("golovin_rotation", inner, outer)
    return 8.0 * moment * (outer**2 - inner**2) / (material.modulus * _bending_constant(inner, outer))


def winkler_stress(radius: ArrayLike, inner: float, outer: float, moment: float) -> Array:
    """Hoop stress (MPa) at `radius` (mm) of a curved bar by Winkler's plane-section theory.

    s_t = M (r_n - r) / (h e r), r_n = h / ln(b/a), e = R - r_n; `moment` M (N mm per mm) opens the bar.
    Source: Timoshenko, Strength of Materials II, curved bars (from memory). Range: within 1.1 % of the plane
    solution up to b/a = 2, 3 % at b/a = 3. Raises ContactFEError as `golovin_stress`.

    >>> [round(float(winkler_stress(r, 1.0, 2.0, 1.0)), 3) for r in (1.0, 2.0)]
    [7.725, -4.863]
    """
    _bar("winkler_stress", inner, outer)
    require("winkler_stress", within("radius", radius, inner, outer))
    r = np.asarray(radius, dtype=float)
    height = outer - inner
    neutral = height / math.log(outer / inner)
    shift = 0.5 * (inner + outer) - neutral
    stress: Array = moment * (neutral - r) / (height * shift * r)
    return stress


def winkler_rotation(inner: float, outer: float, moment: float, material: PlaneElastic) -> float:
    """Rotation per radian of bar (rad/rad) by Winkler's theory, M / (E' h e); 4.5 % too stiff at b/a = 2.

    Source and range as `winkler_stress`.

    >>> round(winkler_rotation(1.0, 2.0, 1.0, PlaneElastic(1.0, 0.3)), 2)
    17.45
    """
    _bar("winkler_rotation", inner, outer)
    height = outer - inner
    shift = 0.5 * (inner + outer) - height / math.log(outer / inner)
    return moment / (material.modulus * height * shift)


def _half_ring_constant(inner: float, outer: float) -> float:
    """N' = (a^2 + b^2) ln(b/a) - (b^2 - a^2) of the half ring bent by end forces, mm^2."""
    return (inner**2 + outer**2) * math.log(outer / inner) - (outer**2 - inner**2)


def half_ring_opening(inner: float, outer: float, load: float, material: PlaneElastic) -> float:
    """Movement (mm) of one end of a half ring a..b opened by radial end forces `load` P (N/mm).

    delta = pi P (a^2 + b^2) / {E' [(a^2 + b^2) ln(b/a) - (b^2 - a^2)]}; the gap opens by 2 delta. Exact when
    the end force is spread as `half_ring_end_shear`. Source: Timoshenko & Goodier, Theory of Elasticity, 3rd
    ed. 1970, art. 33 (from memory). Raises ContactFEError unless 0 < a < b.

    >>> round(half_ring_opening(1.0, 2.0, 1.0, PlaneElastic(1000.0, 0.3)), 7)
    0.0337272
    """
    _bar("half_ring_opening", inner, outer)
    return math.pi * load * (inner**2 + outer**2) / (material.modulus * _half_ring_constant(inner, outer))


def half_ring_end_shear(radius: ArrayLike, inner: float, outer: float, load: float) -> Array:
    """Radial shear stress (MPa) over the end of the half ring, resultant `load` P (N/mm).

    t = (P/N') ((a^2 + b^2)/r - r - a^2 b^2/r^3). Source and range as `half_ring_opening`; the size only.

    >>> float(half_ring_end_shear(1.5, 1.0, 2.0, 1.0).round(4))  # by hand: 0.648148 / 0.4657359
    1.3917
    """
    _bar("half_ring_end_shear", inner, outer)
    require("half_ring_end_shear", within("radius", radius, inner, outer))
    r = np.asarray(radius, dtype=float)
    a2, b2 = inner**2, outer**2
    shear: Array = load / _half_ring_constant(inner, outer) * ((a2 + b2) / r - r - a2 * b2 / r**3)
    return shear


def half_ring_crown_stress(radius: ArrayLike, inner: float, outer: float, load: float) -> Array:
    """Hoop stress (MPa) across the crown (90 degrees from the ends) of the half ring under P (N/mm).

    s_t = (P/N') ((a^2 + b^2)/r - 3 r + a^2 b^2/r^3), tension inside. Source and range as `half_ring_opening`.

    >>> float(half_ring_crown_stress(1.0, 1.0, 2.0, 1.0).round(4))
    12.8828
    """
    _bar("half_ring_crown_stress", inner, outer)
    require("half_ring_crown_stress", within("radius", radius, inner, outer))
    r = np.asarray(radius, dtype=float)
    a2, b2 = inner**2, outer**2
    stress: Array = load / _half_ring_constant(inner, outer) * ((a2 + b2) / r - 3.0 * r + a2 * b2 / r**3)
    return stress


def u_hook_opening(radii: tuple[float, float], arm: float, load: float, material: PlaneElastic) -> float:
    """Opening (mm) of a thin U hook: half ring `radii` (a, b), two arms (mm), end forces P (N/mm).

    d = (2P/EI)[L^3/3 + R(pi L^2/2 + 2 L R + pi R^2/4)], R mid radius, EI = E' h^3/12.
    Source: Castigliano's theorem; Timoshenko, Strength of Materials II (from memory). Range: bending only,
    0.05 % low at h/R = 0.1, 2.9 % low at h/R = 0.67 with L = a. Raises ContactFEError unless 0 < a < b and L
    >= 0.

    >>> round(u_hook_opening((1.0, 1.1), 1.0, 1.0, PlaneElastic(1000.0, 0.3)), 3)
    122.325
    """
    inner, outer = radii
    _bar("u_hook_opening", inner, outer)
    require("u_hook_opening", (arm >= 0.0, f"arm length is {arm:g}, must not be negative"))
    mid = 0.5 * (inner + outer)
    stiffness = material.modulus * (outer - inner) ** 3 / 12.0
    bow = mid * (math.pi * arm**2 / 2.0 + 2.0 * arm * mid + math.pi * mid**2 / 4.0)
    return 2.0 * load / stiffness * (arm**3 / 3.0 + bow)


def c_ring_opening(
    radii: tuple[float, float], gap_half_angle: float, load: float, material: PlaneElastic
) -> float:
    """Opening (mm) of a thin C ring `radii` = (a, b) whose gap spans +-g rad, forces P (N/mm) across the gap.

    d = (P R^3/EI)[(pi - g)(1 + 2 cos^2 g) + 3 sin g cos g], EI = E' h^3/12.
    Source: Castigliano's theorem (derived; the slit ring g = 0 gives 3 pi and the half ring pi/2, both
    classical). Range: bending only, 0.07 % low at h/R = 0.1, 2 to 4 % low at h/R = 0.5; g in 0 to pi/2.

    >>> from math import radians
    >>> round(c_ring_opening((0.5, 1.5), radians(30.0), 1.0, PlaneElastic(12.0, 0.3)), 5)  # R = EI = 1
    7.84402
    """
    inner, outer = radii
    _bar("c_ring_opening", inner, outer)
    require("c_ring_opening", within("gap half angle", gap_half_angle, 0.0, math.pi / 2.0))
    mid = 0.5 * (inner + outer)
    stiffness = material.modulus * (outer - inner) ** 3 / 12.0
    c, s = math.cos(gap_half_angle), math.sin(gap_half_angle)
    return load * mid**3 / stiffness * ((math.pi - gap_half_angle) * (1.0 + 2.0 * c**2) + 3.0 * s * c)
