"""A pin in a hole of nearly its own radius: conforming contact, equal materials, no friction."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from contactfe.reference.plane import Array, positive, require, within

_SMALLEST_HALF_ANGLE = 1e-3


def _clearance_of_tangent(b2: float) -> float:
    return (2.0 - math.log(b2 + 1.0) - 2.0 * b2**2) / (math.pi * b2 * (b2 + 1.0))


def pin_largest_half_angle() -> float:
    """Half angle (rad) without clearance: 2 b^4 + ln(b^2 + 1) = 2 with b = tan(half angle / 2).

    Source as `pin_clearance_number`.

    >>> round(math.degrees(pin_largest_half_angle()), 2)
    84.83
    """
    b2 = brentq(_clearance_of_tangent, 0.1, 1.0, xtol=1e-15)
    return 2.0 * math.atan(math.sqrt(b2))


def pin_clearance_number(half_angle: float) -> float:
    """E' dR / Q at which the contact spans +-`half_angle` (rad): modulus times radial clearance over load.

    [2 - ln(b^2 + 1) - 2 b^4] / [pi b^2 (b^2 + 1)], b = tan(half angle / 2). E' is the modulus of one body (E
    or E/(1 - nu^2)), not of the pair; Q is the load per thickness through the pin's centre, carried far away.
    Source: Persson, On the Stress Distribution of Cylindrical Elastic Bodies in Contact, thesis 1964;
    Ciavarella & Decuzzi, Int. J. Solids and Structures 38 (2001) 4507 (from memory; the pressure is held to
    equilibrium). Range: from 0.001 rad to `pin_largest_half_angle`; raises ContactFEError outside.

    >>> round(pin_clearance_number(math.radians(60.0)), 4)
    1.0672
    """
    require(
        "pin_clearance_number",
        within("half angle", half_angle, _SMALLEST_HALF_ANGLE, pin_largest_half_angle()),
    )
    return _clearance_of_tangent(math.tan(half_angle / 2.0) ** 2)


def pin_half_angle(clearance_number: float) -> float:
    """Half angle of contact (rad) for a `clearance_number` E' dR / Q: inverse of `pin_clearance_number`.

    Range 0 to the number at 0.001 rad (about 2.5e6); raises ContactFEError outside.

    >>> round(math.degrees(pin_half_angle(1.06720)), 2)
    60.0
    """
    most = _clearance_of_tangent(math.tan(_SMALLEST_HALF_ANGLE / 2.0) ** 2)
    require("pin_half_angle", within("clearance number", clearance_number, 0.0, most))
    low, high = _SMALLEST_HALF_ANGLE, pin_largest_half_angle()

    def miss(angle: float) -> float:
        return _clearance_of_tangent(math.tan(angle / 2.0) ** 2) - clearance_number

    if miss(high) >= 0.0:  # no clearance, to rounding
        return high
    if miss(low) <= 0.0:
        return low
    return float(brentq(miss, low, high, xtol=1e-14))


def pin_pressure(angle: ArrayLike, half_angle: float, load: float, radius: float) -> Array:
    """Pressure (MPa) at `angle` (rad from the load line) in a hole of `radius` R (mm), `load` Q (N/mm).

    p R/Q = 2/(pi sqrt(b^2 + 1)) sqrt(b^2 - y^2)/(1 + y^2)
    + 1/(2 pi b^2 (1 + b^2)) ln{(sqrt(b^2 + 1) + sqrt(b^2 - y^2))/(sqrt(b^2 + 1) - sqrt(b^2 - y^2))},
    y = tan(angle/2), b = tan(half angle/2); zero outside the contact. Source and range as
    `pin_clearance_number`.

    >>> round(float(pin_pressure(0.0, math.radians(60.0), 1.0, 1.0)), 4)
    0.7117
    """
    require(
        "pin_pressure",
        within("half angle", half_angle, _SMALLEST_HALF_ANGLE, pin_largest_half_angle()),
        within("angle", angle, -math.pi / 2.0, math.pi / 2.0),
        positive("radius", radius),
    )
    b2 = math.tan(half_angle / 2.0) ** 2
    y2 = np.tan(np.asarray(angle, dtype=float) / 2.0) ** 2
    arc = np.sqrt(np.clip(b2 - y2, 0.0, None))
    root = math.sqrt(b2 + 1.0)
    first = 2.0 / (math.pi * root) * arc / (1.0 + y2)
    second = np.log((root + arc) / (root - arc)) / (2.0 * math.pi * b2 * (1.0 + b2))
    return load / radius * (first + second)
