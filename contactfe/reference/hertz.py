"""Hertz line contact: two cylinders, or a cylinder on a flat, pressed together without friction."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, PlaneElastic, positive, require, within


def contact_modulus(*bodies: PlaneElastic) -> float:
    """E* (MPa) of one body on a rigid one, or of two elastic bodies: 1/E* = sum of 1/E'.

    Source: Johnson, Contact Mechanics, 1985, ch. 4 (from memory). Raises ContactFEError unless one or two
    bodies.

    >>> round(contact_modulus(PlaneElastic(1000.0, 0.3, "strain")), 2)
    1098.9
    """
    require("contact_modulus", (len(bodies) in (1, 2), f"number of bodies is {len(bodies)}, must be 1 or 2"))
    return 1.0 / sum(1.0 / body.modulus for body in bodies)


def relative_radius(first: float, second: float = math.inf) -> float:
    """R (mm) of two cylinders, 1/R = 1/R1 + 1/R2; a flat has an infinite radius, a hollow a negative one.

    Source: Johnson, Contact Mechanics, 1985, ch. 4 (from memory). Raises ContactFEError unless R comes out
    positive.

    >>> relative_radius(20.0, 20.0)  # by hand
    10.0
    """
    require("relative_radius", (first != 0.0 and second != 0.0, "a radius is 0, must not be"))
    curvature = 1.0 / first + 1.0 / second
    require("relative_radius", positive("relative curvature 1/R1 + 1/R2", curvature))
    return 1.0 / curvature


@dataclass(frozen=True)
class HertzLine:
    """Line contact under `load` P (N/mm), relative radius R (mm) and contact modulus E* (MPa).

    a = sqrt(4 P R/(pi E*)), p0 = E* a/(2R) = sqrt(P E*/(pi R)) = 2P/(pi a).
    Source: Hertz 1882; Johnson, Contact Mechanics, 1985, eq. 4.43-4.46 (from memory). Range: a << R.
    Raises ContactFEError unless all three are positive.

    >>> contact = HertzLine(17.262, 50.0, 1098.90)
    >>> round(contact.half_width_mm, 3), round(contact.peak_pressure_MPa, 2)
    (1.0, 10.99)
    """

    load: float
    radius: float
    modulus: float

    def __post_init__(self) -> None:
        require(
            "HertzLine",
            positive("load", self.load),
            positive("relative radius", self.radius),
            positive("contact modulus", self.modulus),
        )

    @property
    def half_width_mm(self) -> float:
        """a, half the width of the contact."""
        return math.sqrt(4.0 * self.load * self.radius / (math.pi * self.modulus))

    @property
    def peak_pressure_MPa(self) -> float:
        """p0, the pressure in the middle."""
        return math.sqrt(self.load * self.modulus / (math.pi * self.radius))

    def pressure(self, x: ArrayLike) -> Array:
        """p0 sqrt(1 - x^2/a^2) in MPa at `x` mm from the middle; zero outside the contact."""
        ratio = np.asarray(x, dtype=float) / self.half_width_mm
        return self.peak_pressure_MPa * np.sqrt(np.clip(1.0 - ratio**2, 0.0, None))

    def shear_below(self, depth: ArrayLike) -> Array:
        """Largest in-plane shear stress (MPa) at `depth` z >= 0 (mm) under the middle.

        (p0/a)(z - z^2/sqrt(a^2 + z^2)); 0.30 p0 at z = 0.78 a. Source: Johnson 1985, eq. 4.46-4.47 (from
        memory).
        """
        require("HertzLine.shear_below", within("depth", depth, 0.0, math.inf))
        a, z = self.half_width_mm, np.asarray(depth, dtype=float)
        return self.peak_pressure_MPa / a * (z - z**2 / np.sqrt(a**2 + z**2))


def hertz_load(half_width: float, radius: float, modulus: float) -> float:
    """Load P (N/mm) that makes the contact 2a wide: P = pi E* a^2 / (4R). Source and range as `HertzLine`.

    >>> round(hertz_load(1.0, 50.0, 1098.901), 2)
    17.26
    """
    require(
        "hertz_load",
        positive("half width", half_width),
        positive("relative radius", radius),
        positive("contact modulus", modulus),
    )
    return math.pi * modulus * half_width**2 / (4.0 * radius)
