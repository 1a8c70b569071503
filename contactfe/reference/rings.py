"""Rings: under pressure (Lame), shrunk onto each other, and pinched by two or by N equal radial loads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, PlaneElastic, below, positive, require, within

SHEAR_FACTOR = 6.0 / 5.0  # rectangular section; Roark's Formulas, table of closed rings (from memory)


def lame_stress(
    radius: ArrayLike, inner: float, outer: float, pressure_inside: float, pressure_outside: float = 0.0
) -> tuple[Array, Array]:
    """Radial and hoop stress (MPa) at `radius` (mm) of a ring a..b under pressure inside and outside (MPa).

    s_r, s_t = (a^2 p_i - b^2 p_o) / (b^2 - a^2) -+ a^2 b^2 (p_i - p_o) / (r^2 (b^2 - a^2)); the same in both
    plane states. Source: Lame 1852; Timoshenko & Goodier, Theory of Elasticity, 3rd ed. 1970, art. 28 (from
    memory). Raises ContactFEError unless 0 < a < b and a <= r <= b.

    >>> float(lame_stress(1.0, 1.0, 2.0, 1.0)[1].round(6))  # 5/3, by hand
    1.666667
    """
    require(
        "lame_stress", positive("inner radius", inner), below("inner radius", inner, outer, "outer radius")
    )
    require("lame_stress", within("radius", radius, inner, outer))
    r2 = np.asarray(radius, dtype=float) ** 2
    a2, b2 = inner**2, outer**2
    mean = (a2 * pressure_inside - b2 * pressure_outside) / (b2 - a2)
    swing = a2 * b2 * (pressure_inside - pressure_outside) / ((b2 - a2) * r2)
    return mean - swing, mean + swing


def lame_displacement(
    radius: ArrayLike, inner: float, outer: float, pressures: tuple[float, float], material: PlaneElastic
) -> Array:
    """Outward displacement (mm) at `radius` (mm) of a ring under `pressures` = (inside, outside) in MPa.

    u = r (s_t - nu' s_r) / E' with the stresses of `lame_stress`. Source and range as there.

    >>> float(lame_displacement(1.0, 1.0, 2.0, (1.0, 0.0), PlaneElastic(1000.0, 0.3)).round(8))  # T&G art. 28
    0.00196667
    """
    radial, hoop = lame_stress(radius, inner, outer, *pressures)
    return np.asarray(radius, dtype=float) * (hoop - material.ratio * radial) / material.modulus


def shrink_fit_pressure(
    radii: tuple[float, float, float], interference: float, inner_body: PlaneElastic, outer_body: PlaneElastic
) -> float:
    """Pressure (MPa) between two rings, `radii` = (bore, interface, outside), radial `interference` (mm).

    p = delta / { (b/Eo')[(c^2 + b^2)/(c^2 - b^2) + nuo'] + (b/Ei')[(b^2 + a^2)/(b^2 - a^2) - nui'] }; a bore
    of zero is a solid shaft. Source: Timoshenko & Goodier art. 28; Shigley, Mechanical Engineering Design,
    press and shrink fits (both from memory). Raises ContactFEError unless 0 <= a < b < c and delta > 0.

    >>> steel = PlaneElastic(200e3, 0.3)
    >>> round(shrink_fit_pressure((1.0, 2.0, 3.0), 0.002, steel, steel), 4)
    46.875
    """
    a, b, c = radii
    require(
        "shrink_fit_pressure",
        (a >= 0.0, f"bore radius is {a:g}, must not be negative"),
        below("bore radius", a, b, "interface radius"),
        below("interface radius", b, c, "outside radius"),
        positive("interference", interference),
    )
    stretch = (b / outer_body.modulus) * ((c**2 + b**2) / (c**2 - b**2) + outer_body.ratio)
    squeeze = (b / inner_body.modulus) * ((b**2 + a**2) / (b**2 - a**2) - inner_body.ratio)
    return interference / (stretch + squeeze)


@dataclass(frozen=True)
class RingSection:
    """Section of a ring: centroid radius R (mm), bending stiffness (N mm), factors k1 and k2.

    The stiffness is EI per unit thickness for a thin ring and E' A e R for a thick one (e: shift of the
    neutral axis). k1 = k2 = 1 leaves bending alone; k1 = 1 - alpha + beta and k2 = 1 - alpha add hoop and
    shear deformation.
    """

    radius_mm: float
    stiffness_Nmm: float
    k1: float = 1.0
    k2: float = 1.0


def thin_section(radius: float, height: float, material: PlaneElastic) -> RingSection:
    """Section of a thin ring: centroid radius and radial height (mm), bending only, EI = E' h^3 / 12.

    Range: h << R; raises ContactFEError unless 0 < h < 2 R. Against the exact plane solution two diametral
    loads are 1.3 % off at h/R = 0.1; six loads are useless beyond h/R = 0.05.

    >>> thin_section(10.0, 1.0, PlaneElastic(1200.0, 0.3)).stiffness_Nmm  # 1200/12, by hand
    100.0
    """
    require(
        "thin_section",
        positive("radius", radius),
        positive("height", height),
        below("height", height, 2.0 * radius, "twice the radius"),
    )
    return RingSection(radius, material.modulus * height**3 / 12.0)


def thick_section(inner: float, outer: float, material: PlaneElastic) -> RingSection:
    """Section of a thick ring a..b (mm) by Winkler's theory with hoop and shear deformation.

    e = R - h / ln(b/a), alpha = e/R, beta = 2 F (1 + nu') e / R with F = 6/5, stiffness E' h e R.
    Source: Roark's Formulas for Stress and Strain, 7th ed., table 9.2 (k1, k2, alpha, beta read in a public
    reprint; table number from memory); equal to the Winkler energy. Range: 0 < a < b; against the
    exact movement of the inner edge, two loads on the outer edge come out 0.3 % high at h/R = 0.1, 1.2 % at
    0.2, 8.6 % at 0.5.

    >>> section = thick_section(1.0, 2.0, PlaneElastic(1000.0, 0.3))
    >>> round(1.0 / (section.stiffness_Nmm / 1000.0 / section.radius_mm), 2)  # 1/(A e), Winkler, b/a = 2
    17.45
    """
    require(
        "thick_section", positive("inner radius", inner), below("inner radius", inner, outer, "outer radius")
    )
    height, radius = outer - inner, 0.5 * (inner + outer)
    shift = radius - height / math.log(outer / inner)
    alpha = shift / radius
    beta = 2.0 * SHEAR_FACTOR * (1.0 + material.ratio) * shift / radius
    stiffness = material.modulus * height * shift * radius
    return RingSection(radius, stiffness, k1=1.0 - alpha + beta, k2=1.0 - alpha)


@dataclass(frozen=True)
class DiametralRing:
    """Answer of `ring_two_loads`: both diameters' changes (mm) and the two moments' sizes (N mm per mm)."""

    shortening_mm: float
    widening_mm: float
    moment_load_N: float
    moment_side_N: float


def ring_two_loads(load: float, section: RingSection) -> DiametralRing:
    """Closed ring pressed by two opposite `load`s W (N/mm) along one diameter.

    shortening = (W R^3/EI)(pi k1/4 - 2 k2^2/pi); widening = (W R^3/EI)(k1/2 - k2 + 2 k2^2/pi);
    moment under the load = W R k2/pi, at the side W R (1/2 - k2/pi), per unit thickness.
    Source: Roark's Formulas for Stress and Strain, 7th ed., table 9.2 case 1 (number from memory).

    >>> unit = RingSection(1.0, 1.0)
    >>> round(ring_two_loads(1.0, unit).shortening_mm, 5), round(ring_two_loads(1.0, unit).widening_mm, 5)
    (0.14878, 0.13662)
    """
    require(
        "ring_two_loads", positive("radius", section.radius_mm), positive("stiffness", section.stiffness_Nmm)
    )
    scale = load * section.radius_mm**3 / section.stiffness_Nmm
    k1, k2 = section.k1, section.k2
    return DiametralRing(
        shortening_mm=scale * (math.pi * k1 / 4.0 - 2.0 * k2**2 / math.pi),
        widening_mm=scale * (k1 / 2.0 - k2 + 2.0 * k2**2 / math.pi),
        moment_load_N=load * section.radius_mm * k2 / math.pi,
        moment_side_N=load * section.radius_mm * (0.5 - k2 / math.pi),
    )


@dataclass(frozen=True)
class RadialRing:
    """Answer of `ring_radial_loads`: movement (mm), moments (N mm per mm), hoop forces (N/mm)."""

    movement_load_mm: float
    moment_load_N: float
    moment_mid_N: float
    hoop_load_N_per_mm: float
    hoop_mid_N_per_mm: float


def ring_radial_loads(count: int, load: float, section: RingSection) -> RadialRing:
    """Closed ring under `count` = N equal, equally spaced radial loads W (N/mm), all outward or all inward.

    With t = pi/N, s = sin t, c = cos t: movement = (W R^3/4EI)[k1 (t - s c)/s^2 + 2 k2 c/s - 2 k2^2/t];
    moment under a load (W R/2)(k2/t - c/s), midway (W R/2)(1/s - k2/t); hoop force W c/(2 s) and W/(2 s).
    Sizes only: outward loads give hoop tension, inward loads compression. Source: Roark's Formulas for Stress
    and Strain, closed ring case 7 (form from memory; equal to the Winkler energy). Raises ContactFEError for
    N < 2. Thin-ring moments are right, but with six loads hoop and shear govern the movement: give a thick
    section.

    >>> answer = ring_radial_loads(6, 1.0, RingSection(1.0, 1.0))
    >>> round(answer.moment_load_N, 4), round(answer.moment_mid_N, 5)
    (0.0889, 0.04507)
    """
    require(
        "ring_radial_loads",
        (count >= 2, f"number of loads is {count}, must be at least 2"),
        positive("radius", section.radius_mm),
        positive("stiffness", section.stiffness_Nmm),
    )
    t = math.pi / count
    s, c = math.sin(t), math.cos(t)
    k1, k2 = section.k1, section.k2
    scale = load * section.radius_mm**3 / (4.0 * section.stiffness_Nmm)
    half = 0.5 * load * section.radius_mm
    return RadialRing(
        movement_load_mm=scale * (k1 * (t - s * c) / s**2 + 2.0 * k2 * c / s - 2.0 * k2**2 / t),
        moment_load_N=half * (k2 / t - c / s),
        moment_mid_N=half * (1.0 / s - k2 / t),
        hoop_load_N_per_mm=load * c / (2.0 * s),
        hoop_mid_N_per_mm=load / (2.0 * s),
    )
