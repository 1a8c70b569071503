"""How much of the largest pressure friction leaves: the surface that carries a shear yields under less pressure.

Sheet in plane stress (the default). A surface carries the pressure p and the shear mu p; the stress along it is s.
Yield after von Mises is p^2 + p s + s^2 + 3 (mu p)^2 = Y^2 with tension positive and the pressure entering as -p. The
material beside is free to bring s where it helps most: at s = -p/2 the left side is least, (3/4 + 3 mu^2) p^2, so

    p = Y / sqrt(3/4 + 3 mu^2) = (2/sqrt 3) Y / sqrt(1 + 4 mu^2)

No stress field carries more, whatever the shape beside it. That a flank carries as much over its whole length, up to
the edge of a 120 or a 150 degree corner and for both directions of the shear, the bounds of the limit analysis in the
tests show (1.103 to 1.107 at mu = 0.15).

Plane strain. Hill's one-sided wedge, whose loaded flank carries a shear q = m k towards the edge (k: shear yield): the
fan between the two uniform regions is narrower by asin(m)/2, and the circle of stress at the flank gives

    p = k [1 + 2 (phi - pi/2) - asin m + sqrt(1 - m^2)],  m = mu p / k,  phi: angle of the corner

(for phi = pi the inclined load on a flat). A wrench drags the flank towards the corner that it drives, which is the
weak direction. The share at 120 degrees, a hexagon's corner, is taken everywhere; at 150 degrees, the blunt edge of a
corner turned down, it is 1 % smaller at mu = 0.15.
"""

from __future__ import annotations

import math

from scipy.optimize import brentq

HEXAGON_CORNER = math.radians(120)


def friction_share(friction: float, plane: str) -> float:
    """Largest pressure under full friction over that without friction, 1 at ``friction`` 0.

    Args:
        plane: "stress" or "strain".

    Source: the yield ellipse with shear, by hand; Hill's slip lines with an inclined traction (Hill 1950, ch. IX, from
    memory), both within the bounds of the limit analysis in the tests.

    >>> round(friction_share(0.15, "stress"), 4), round(friction_share(0.15, "strain"), 4)
    (0.9578, 0.8445)
    """
    if friction <= 0.0:
        return 1.0
    if plane == "stress":
        return 1.0 / math.sqrt(1.0 + 4.0 * friction**2)
    return _inclined(friction, HEXAGON_CORNER) / (2.0 * (1.0 + HEXAGON_CORNER - math.pi / 2))


def _inclined(friction: float, corner: float) -> float:
    """Pressure over shear yield on a flank that friction drags towards the edge of a corner (rad), plane strain."""

    def excess(m: float) -> float:
        carried = 1.0 + 2.0 * corner - math.pi - math.asin(m) + math.sqrt(1.0 - m**2)
        return carried - m / friction

    # At m = 1 (the flank shears off) the carried pressure is 2 corner - 3 pi/2 + 1 = 0.48 at 120 degrees: beyond a
    # friction of 2.1 there is no smaller root, and the flank carries its shear yield and no more.
    m = 1.0 if excess(1.0) >= 0.0 else float(brentq(excess, 0.0, 1.0, xtol=1e-14))
    return m / friction
