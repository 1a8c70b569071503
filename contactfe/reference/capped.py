"""Elastic half plane under a contact law that cannot press harder than a cap H: 0 <= p <= H.

Where p = H the bodies may overlap (crushed), where 0 < p < H they touch. The formulas are derived (a plastic
strip in compression in the manner of Dugdale), not quoted; boundary elements and finite elements confirm them
to the digits shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import ellipe, ellipkm1, elliprf, elliprj

from contactfe.reference.plane import Array, below, positive, require, within

#: Rotation stiffness (N mm per mm and rad) of an elastic hexagon in rigid parallel jaws before the cap acts:
#: s = 10 mm, central bore of 5 mm held fixed, E = 200e3 MPa, nu = 0.3, plane strain, no clearance, no
#: friction. Finite elements, extrapolated from 16, 32 and 64 elements per flat; an independent code gives
#: 1.5365e6.
HEX_IN_JAWS_STIFFNESS_N_PER_RAD = 1.537e6
#: Distance of the resultant on each flat from the flat's middle over the half flat, same case, elastic.
HEX_IN_JAWS_CENTROID = 0.7556


@dataclass(frozen=True)
class CappedPunch:
    """Sharp rigid flat punch: half width a (mm), central `load` P (N/mm), pressure capped at H (MPa).

    Elastic core |x| < c = a sqrt(1 - (P/2Ha)^2), crushed beyond; p = (2H/pi) atan sqrt((a^2 - c^2)/(c^2 -
    x^2)) in the core; p(0) = (2H/pi) asin(P/2Ha); the limit is P = 2Ha. Independent of the modulus.
    Source: derived, confirmed by boundary elements to 5 digits. Range 0 < P < 2Ha; raises ContactFEError
    otherwise.

    >>> punch = CappedPunch(half_width=1.0, load=1.2, cap=1.0)
    >>> round(punch.core_half_width_mm, 4), round(float(punch.pressure(0.0)), 5)
    (0.8, 0.40967)
    """

    half_width: float
    load: float
    cap: float

    def __post_init__(self) -> None:
        require("CappedPunch", positive("half width", self.half_width), positive("cap", self.cap))
        require(
            "CappedPunch",
            positive("load", self.load),
            below("load", self.load, 2.0 * self.cap * self.half_width, "limit load 2Ha"),
        )

    @property
    def core_half_width_mm(self) -> float:
        """c, half the width of the elastic core."""
        return self.half_width * math.sqrt(1.0 - (self.load / (2.0 * self.cap * self.half_width)) ** 2)

    def pressure(self, x: ArrayLike) -> Array:
        """Pressure (MPa) at `x` (mm from the middle), |x| <= a."""
        position = np.abs(np.asarray(x, dtype=float))
        require("CappedPunch.pressure", within("|x|", position, 0.0, self.half_width))
        core = self.core_half_width_mm
        inside = position < core
        depth = np.where(inside, core**2 - position**2, 1.0)
        rising = 2.0 * self.cap / math.pi * np.arctan(np.sqrt((self.half_width**2 - core**2) / depth))
        return np.where(inside, rising, self.cap)


def yield_load(radius: float, modulus: float, cap: float) -> float:
    """Load P_Y = pi R H^2 / E* (N/mm) at which the Hertz peak reaches the cap H (mm, MPa, MPa).

    Source: Hertz line contact with p0 = H (see `contactfe.reference.hertz`).

    >>> round(yield_load(10.0, 1000.0, 40.0), 3)
    50.265
    """
    require(
        "yield_load", positive("radius", radius), positive("contact modulus", modulus), positive("cap", cap)
    )
    return math.pi * radius * cap**2 / modulus


@dataclass(frozen=True)
class CappedHertz:
    """Line contact with capped pressure: `half_width` a, `crushed_half_width` b (mm), cap H (MPa).

    Made by `capped_hertz`. p = H for |x| < b; for b < |x| < a
    p = (2H/pi) sqrt((x^2 - b^2)(a^2 - x^2))/(a |x|) Pi(b^2/x^2; k), k = b/a, Pi complete elliptic of the
    third kind.
    """

    half_width: float
    crushed_half_width: float
    cap: float

    def pressure(self, x: ArrayLike) -> Array:
        """Pressure (MPa) at `x` (mm from the middle); zero outside the contact."""
        a, b = self.half_width, self.crushed_half_width
        position = np.abs(np.asarray(x, dtype=float))
        ring = (position > b) & (position < a)
        place = np.where(ring, position, 0.5 * (a + b))
        # Pi(n; k) = RF(0, 1 - k^2, 1) + n/3 RJ(0, 1 - k^2, 1, 1 - n), DLMF 19.25.2; products keep digits near
        # k = 1.
        rest = (a - b) * (a + b) / a**2
        gap = (place - b) * (place + b) / place**2
        third = elliprf(0.0, rest, 1.0) + (1.0 - gap) / 3.0 * elliprj(0.0, rest, 1.0, gap)
        root = np.sqrt((place - b) * (place + b) * (a - place) * (a + place))
        rising = 2.0 * self.cap / math.pi * root / (a * place) * third
        return np.where(position <= b, self.cap, np.where(ring, rising, 0.0))


def capped_hertz(load: float, radius: float, modulus: float, cap: float) -> CappedHertz:
    """Line contact, pressure capped at H (MPa): `load` P (N/mm), relative `radius` R (mm), E* (MPa).

    a = (4 H R/(pi E*)) K(k), P = H a [2 E(k) - (1 - k^2) K(k)], b = k a (complete elliptic integrals of
    modulus k); k -> 0 is Hertz, k -> 1 gives a = P/2H. Source: derived, confirmed by boundary elements to the
    cell and by an independent saturated-contact code to 1-2 %. Range P_Y < P <= 100 P_Y (`yield_load`; below
    it use Hertz); raises ContactFEError outside.

    >>> answer = capped_hertz(1.5 * yield_load(10.0, 1000.0, 40.0), 10.0, 1000.0, 40.0)
    >>> round(answer.half_width, 4), round(answer.crushed_half_width, 4)
    (1.0244, 0.8278)
    """
    first = yield_load(radius, modulus, cap)
    require(
        "capped_hertz",
        (
            first < load <= 100.0 * first,
            f"load is {load:g}, must be above {first:g} and at most {100.0 * first:g}",
        ),
    )
    width = 4.0 * cap * radius / (math.pi * modulus)

    def carried(depth: float) -> float:
        # rest = 1 - k^2 as exp(-depth): K grows like depth/2, so every load has a moderate depth.
        rest = math.exp(-depth)
        whole = float(ellipkm1(rest))
        return cap * width * whole * (2.0 * float(ellipe(1.0 - rest)) - rest * whole)

    # carried(1e-12) equals P_Y to rounding; a load within rounding of P_Y has no crushed middle.
    low = 1e-12
    depth = low if carried(low) >= load else brentq(lambda d: carried(d) - load, low, 600.0, xtol=1e-13)
    half_width = width * float(ellipkm1(math.exp(-depth)))
    return CappedHertz(half_width, half_width * math.sqrt(-math.expm1(-depth)), cap)


def eccentric_limit(half_width: float, eccentricity: float, cap: float) -> tuple[float, float]:
    """Limit load (N/mm) and contact width (mm) of a flat punch free to tilt, loaded at e (mm).

    Stress block: P = 2 d H on the width 2 d, d = a - |e|; far below the cap the width is that of
    `eccentric_width`. Source: equilibrium (derived, boundary elements approach it). Range |e| < a.

    >>> [round(number, 9) for number in eccentric_limit(1.0, 0.6, 10.0)]  # d = 0.4, by hand
    [8.0, 0.8]
    """
    require(
        "eccentric_limit",
        positive("half width", half_width),
        below("eccentricity", abs(eccentricity), half_width, "half width"),
        positive("cap", cap),
    )
    arm = half_width - abs(eccentricity)
    return 2.0 * arm * cap, 2.0 * arm


def hex_limit_torque(half_flat: float, cap: float, flats: int = 2) -> float:
    """Limit torque (N mm per mm) of a hexagon in a rigid close-fitting opening, pressure capped at H (MPa).

    Each driven flat carries H over half its length f (mm) on the arm f/2: T = flats H f^2 / 2, so H f^2 in
    parallel jaws (2 flats) and 3 H f^2 in a six-sided ring (6 flats). No clearance, no friction. Source:
    derived (stress block); finite elements of a hexagon in jaws reach 1.0000 H f^2. Rounded corners: take f
    from `hexagon.half_flat`.

    >>> hex_limit_torque(2.0, 100.0), hex_limit_torque(2.0, 100.0, flats=6)  # by hand
    (400.0, 1200.0)
    """
    require(
        "hex_limit_torque",
        positive("half flat", half_flat),
        positive("cap", cap),
        (flats in range(1, 7), f"number of flats is {flats}, must be 1 to 6"),
    )
    return 0.5 * flats * cap * half_flat**2
