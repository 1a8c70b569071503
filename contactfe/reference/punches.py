"""Rigid punches on an elastic half plane: flat, off centre, sliding with friction, rounded edges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, PlaneElastic, below, positive, require


def flat_pressure(x: ArrayLike, half_width: float, load: float) -> Array:
    """Pressure (MPa) at `x` (mm) under a sharp flat punch: `half_width` a (mm), central `load` P (N/mm).

    p = P / (pi sqrt(a^2 - x^2)), independent of the modulus. Source: Johnson, Contact Mechanics, 1985, eq.
    2.64 (from memory). Range |x| < a: the edges carry an infinite pressure; raises ContactFEError there.

    >>> round(float(flat_pressure(0.0, 2.0, 10.0)), 6)  # 10 / (2 pi), by hand
    1.591549
    """
    _under("flat_pressure", x, half_width)
    return load / (math.pi * np.sqrt(half_width**2 - np.asarray(x, dtype=float) ** 2))


def eccentric_width(half_width: float, eccentricity: float) -> float:
    """Contact width (mm) of a sharp flat punch, free to tilt, loaded at `eccentricity` e (mm).

    2a up to e = a/2; beyond, 4 (a - |e|): the far edge has lifted. A bed of springs would lift at a/3 and
    keep 3 (a - e). Source: Johnson, Contact Mechanics, 1985, section 2.8, after Muskhelishvili (from memory);
    second branch derived. Range |e| < a.

    >>> eccentric_width(1.0, 0.75)
    1.0
    """
    _offset("eccentric_width", half_width, eccentricity)
    return 2.0 * min(half_width, 2.0 * (half_width - abs(eccentricity)))


def eccentric_pressure(x: ArrayLike, half_width: float, eccentricity: float, load: float) -> Array:
    """Pressure (MPa) at `x` (mm from the middle) under a sharp flat punch loaded at e (mm).

    |e| <= a/2: p = P (1 + 2 e x/a^2) / (pi sqrt(a^2 - x^2)). Beyond, with 2a' = 4(a - |e|) the width still in
    contact and x' counted from its middle: p = P/(pi a') sqrt((a' + x')/(a' - x')), zero where lifted.
    Source and range as `eccentric_width`; |x| < a.

    >>> round(float(eccentric_pressure(0.0, 1.0, 0.5, 1.0)), 6)  # 1/pi: the middle does not feel the tilt
    0.31831
    """
    _offset("eccentric_pressure", half_width, eccentricity)
    _under("eccentric_pressure", x, half_width)
    position = np.asarray(x, dtype=float)
    if abs(eccentricity) <= half_width / 2.0:
        tilt = 1.0 + 2.0 * eccentricity * position / half_width**2
        return load * tilt / (math.pi * np.sqrt(half_width**2 - position**2))
    half = 2.0 * (half_width - abs(eccentricity))
    local = math.copysign(1.0, eccentricity) * position - (half_width - half)
    touching = local > -half
    inside = np.where(touching, local, 0.0)
    return np.where(touching, load / (math.pi * half) * np.sqrt((half + inside) / (half - inside)), 0.0)


def sliding_exponent(friction: float, body: PlaneElastic) -> float:
    """g of the sliding flat punch: tan(pi g) = mu (1 - 2 nu) / (2 (1 - nu)) in plane strain.

    Plane stress: nu -> nu/(1 + nu), that is tan(pi g) = mu (1 - nu)/2. Source: Johnson, Contact Mechanics,
    1985, eq. 2.69-2.71 (from memory; sign settled numerically). Range mu >= 0.

    >>> [round(sliding_exponent(0.5, PlaneElastic(1.0, nu, "strain")), 4) for nu in (0.0, 0.3)]
    [0.078, 0.0452]
    """
    require(
        "sliding_exponent", (0.0 <= friction < math.inf, f"friction is {friction:g}, must not be negative")
    )
    return math.atan(friction * (1.0 - body.ratio) / 2.0) / math.pi


def sliding_pressure(x: ArrayLike, half_width: float, load: float, exponent: float) -> Array:
    """Pressure (MPa) at `x` (mm) under a flat punch that drags the body's surface in +x with traction mu p.

    p = P cos(pi g)/(pi sqrt(a^2 - x^2)) ((a - x)/(a + x))^g with `exponent` g from `sliding_exponent`; the
    side from which the drag points away carries more, and the resultant sits at x = -2 g a. Source as
    `sliding_exponent`. Range |x| < a, 0 <= g < 1/2.

    >>> g = sliding_exponent(0.5, PlaneElastic(1.0, 0.0, "strain"))
    >>> high, low = sliding_pressure([-0.6, 0.6], 1.0, 1.0, g)
    >>> round(float(low / high), 3)  # (0.4/1.6)^(2 g), by hand
    0.806
    """
    _under("sliding_pressure", x, half_width)
    require(
        "sliding_pressure",
        (0.0 <= exponent < 0.5, f"exponent is {exponent:g}, must be at least 0 and below 1/2"),
    )
    position = np.asarray(x, dtype=float)
    skew = ((half_width - position) / (half_width + position)) ** exponent
    return load * math.cos(math.pi * exponent) * skew / (math.pi * np.sqrt(half_width**2 - position**2))


def sliding_centroid(half_width: float, exponent: float) -> float:
    """Where the resultant of `sliding_pressure` acts (mm): -2 g a. Source and range as there.

    >>> round(sliding_centroid(1.0, sliding_exponent(0.5, PlaneElastic(1.0, 0.0, "strain"))), 4)
    -0.156
    """
    require("sliding_centroid", positive("half width", half_width))
    return -2.0 * exponent * half_width


@dataclass(frozen=True)
class RoundedPunch:
    """Flat of half width b with edges of radius R, pressed until the contact is 2a wide (mm, mm, mm, MPa).

    With sin f0 = b/a: P = E* a^2/(4R) (pi - 2 f0 - sin 2 f0), N/mm. Source: Ciavarella, Hills & Monno, Proc.
    IMechE C 212(4) 1998, 319-328 (citation and abstract read, formula of the pressure from memory, load
    derived); the pressure integrates to P. Range 0 < b < a, a - b << R. Raises ContactFEError otherwise.

    >>> punch = RoundedPunch(flat_half_width=0.8, edge_radius=10.0, half_width=1.0, modulus=1000.0)
    >>> round(punch.load_N_per_mm, 5), round(float(punch.pressure(0.0)) / punch.load_N_per_mm, 5)
    (8.17506, 0.34647)
    """

    flat_half_width: float
    edge_radius: float
    half_width: float
    modulus: float

    def __post_init__(self) -> None:
        require(
            "RoundedPunch",
            positive("flat half width", self.flat_half_width),
            positive("edge radius", self.edge_radius),
            positive("contact modulus", self.modulus),
            below("flat half width", self.flat_half_width, self.half_width, "contact half width"),
        )

    @property
    def _start(self) -> float:
        return math.asin(self.flat_half_width / self.half_width)

    @property
    def _bow(self) -> float:
        return math.pi - 2.0 * self._start - math.sin(2.0 * self._start)

    @property
    def load_N_per_mm(self) -> float:
        """P, the load that makes the contact 2a wide."""
        return self.modulus * self.half_width**2 / (4.0 * self.edge_radius) * self._bow

    def pressure(self, x: ArrayLike) -> Array:
        """Pressure (MPa) at `x` (mm from the middle), |x| <= a; finite everywhere, zero at the ends.

        a p/P = (2/pi)/(pi - 2 f0 - sin 2 f0) {(pi - 2 f0) cos f + sin f ln|sin(f + f0)/sin(f - f0)|
        + sin f0 ln|tan((f + f0)/2) tan((f - f0)/2)|}, x = a sin f.
        """
        ratio = np.asarray(x, dtype=float) / self.half_width
        require("RoundedPunch.pressure", (bool(np.all(np.abs(ratio) <= 1.0)), "x lies outside the contact"))
        f, f0 = np.abs(np.arcsin(ratio)), self._start
        # At the end of the flat both logarithms diverge and cancel; a step of 1e-12 rad moves p by less than
        # 1e-10.
        f = np.where(np.abs(f - f0) < 1e-12, f0 + 1e-12, f)
        shape = (
            (math.pi - 2.0 * f0) * np.cos(f)
            + np.sin(f) * np.log(np.abs(np.sin(f + f0) / np.sin(f - f0)))
            + math.sin(f0) * np.log(np.abs(np.tan((f + f0) / 2.0) * np.tan((f - f0) / 2.0)))
        )
        mean = self.load_N_per_mm / self.half_width
        scaled: Array = mean * (2.0 / math.pi) / self._bow * shape
        return scaled


def _under(where: str, x: ArrayLike, half_width: float) -> None:
    held = bool(np.all(np.abs(np.asarray(x, dtype=float)) < half_width))
    require(
        where,
        positive("half width", half_width),
        (held, f"x reaches the punch edge at {half_width:g} or lies outside"),
    )


def _offset(where: str, half_width: float, eccentricity: float) -> None:
    require(
        where,
        positive("half width", half_width),
        below("eccentricity", abs(eccentricity), half_width, "half width"),
    )
