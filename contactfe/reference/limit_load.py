"""Largest pressures of a perfectly plastic body: flat, wedge, truncated wedge; sheet in plane stress.

The plane-strain formulas lie between strict lower and upper bounds computed by conic programming (see the
tests).
"""

from __future__ import annotations

import math
from typing import Literal

from contactfe.reference.plane import positive, require, within


def shear_yield(yield_stress: float, criterion: Literal["mises", "tresca"] = "mises") -> float:
    """Shear yield stress k (MPa) from the tensile `yield_stress` Y (MPa): Y/sqrt(3) (Mises) or Y/2 (Tresca).

    Source: Hill, The Mathematical Theory of Plasticity, 1950, ch. II (from memory).

    >>> shear_yield(300.0, "tresca")  # by hand
    150.0
    """
    require(
        "shear_yield",
        positive("yield stress", yield_stress),
        (criterion in ("mises", "tresca"), f'criterion is {criterion!r}, must be "mises" or "tresca"'),
    )
    return yield_stress / math.sqrt(3.0) if criterion == "mises" else 0.5 * yield_stress


def flat_limit(shear: float) -> float:
    """Limit pressure (MPa) on a flat far from edges, (2 + pi) k, plane strain; `shear` k in MPa.

    Source: Prandtl 1920; Hill, The Mathematical Theory of Plasticity, 1950, ch. IX (from memory).

    >>> round(flat_limit(1.0), 4)
    5.1416
    """
    require("flat_limit", positive("shear yield", shear))
    return (2.0 + math.pi) * shear


def wedge_limit(included_angle: float, shear: float) -> float:
    """Limit pressure (MPa) on one flank of a wedge up to its apex; `included_angle` phi (rad), plane strain.

    2k (1 + phi - pi/2) for phi from pi/2 to pi, 2k (1 - cos phi) for an acute wedge. A hexagon's corner has
    120 degrees. Source: Hill, The Mathematical Theory of Plasticity, 1950, ch. IX; Prager & Hodge 1951 (from
    memory). Range 0 < phi <= pi; raises ContactFEError outside.

    >>> round(wedge_limit(math.radians(120.0), 1.0), 4)
    3.0472
    """
    require(
        "wedge_limit",
        positive("shear yield", shear),
        positive("included angle", included_angle),
        within("included angle", included_angle, 0.0, math.pi),
    )
    if included_angle < math.pi / 2.0:
        return 2.0 * shear * (1.0 - math.cos(included_angle))
    return 2.0 * shear * (1.0 + included_angle - math.pi / 2.0)


def truncated_wedge_limit(semi_angle: float, shear: float) -> float:
    """Limit pressure (MPa) on the flat top of a truncated wedge of `semi_angle` alpha (rad), plane strain.

    2k (1 + alpha): alpha = 0 is a bar (2k), pi/2 the flat of Prandtl; a hexagon's corner rubbed flat has 60
    degrees. Source: Hill, The Mathematical Theory of Plasticity, 1950, ch. IX; Johnson, Contact Mechanics,
    1985, ch. 6 (from memory). Range 0 to pi/2; raises ContactFEError outside.

    >>> round(truncated_wedge_limit(math.radians(60.0), 1.0), 4)
    4.0944
    """
    require(
        "truncated_wedge_limit",
        positive("shear yield", shear),
        within("semi angle", semi_angle, 0.0, math.pi / 2.0),
    )
    return 2.0 * shear * (1.0 + semi_angle)


def sheet_cap(yield_stress: float, shear_ratio: float = 0.0) -> float:
    """Largest pressure (MPa) on a surface of a von Mises sheet in plane stress that carries a shear beside it.

    Y / sqrt(3/4 + 3 mu^2), `shear_ratio` mu being the shear over the pressure; 2 Y / sqrt(3) without shear.
    Source: the yield ellipse s1^2 - s1 s2 + s2^2 + 3 t^2 = Y^2, whose largest s1 stands at s2 = s1/2 (by hand).

    >>> round(sheet_cap(1000.0), 1), round(sheet_cap(1000.0, 0.15), 1)
    (1154.7, 1106.0)
    """
    require(
        "sheet_cap",
        positive("yield stress", yield_stress),
        (0.0 <= shear_ratio < math.inf, f"shear ratio is {shear_ratio:g}, must not be negative"),
    )
    return yield_stress / math.sqrt(0.75 + 3.0 * shear_ratio**2)
