"""Plates: hole in tension, hole in a strip, two published benchmark values, the end-loaded cantilever."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from contactfe.reference.plane import Array, PlaneElastic, positive, require, within

#: Gross-section stress factor of a central hole in a strip, d/W -> K. Howland, Phil. Trans. Royal Society A
#: 229 (1930); the numbers are from memory.
HOWLAND_GROSS = MappingProxyType({0.1: 3.03, 0.2: 3.14, 0.3: 3.36, 0.4: 3.74, 0.5: 4.32})
#: The same by converged curved quadratic finite elements (strip 4 W long each way), good to 0.1 %.
CONVERGED_GROSS = MappingProxyType({0.1: 3.036, 0.2: 3.153, 0.3: 3.374, 0.4: 3.747, 0.5: 4.348})

#: Cook's skew membrane: corners (mm), clamped on the left edge, unit shear force spread evenly over the right
#: edge, E = 1 MPa, nu = 1/3, plane stress, unit thickness. Cook 1974 and Cook et al., Concepts and
#: Applications of Finite Element Analysis (from memory).
COOK_CORNERS_MM = ((0.0, 0.0), (48.0, 44.0), (48.0, 60.0), (0.0, 44.0))
#: Vertical movement (mm) of the middle of Cook's right edge, (48, 52): the value usually published.
COOK_PUBLISHED_MM = 23.96
#: The same converged (fifth-order elements): +-0.001 mm.
COOK_CONVERGED_MM = 23.968
#: The same on 32 x 32 nine-node quadrilaterals, identical in three independent codes.
COOK_QUADRATIC_32_MM = 23.9608
#: Vertical movement (mm) of Cook's upper right corner (48, 60), a point often confused with the middle of the
#: edge.
COOK_CORNER_MM = 25.19

#: NAFEMS LE1, quarter elliptic membrane, plane stress, outward pressure on the outer ellipse. The Standard
#: NAFEMS Benchmarks, test LE1 (geometry, 10 MPa and 92.7 MPa read on public pages; report number R0015 from
#: memory).
LE1_INNER_SEMIAXES_M = (2.0, 1.0)
LE1_OUTER_SEMIAXES_M = (3.25, 2.75)
LE1_PRESSURE_MPA = 10.0
LE1_YOUNGS_MPA = 210e3
LE1_POISSON = 0.3
#: Vertical normal stress at (2 m, 0).
LE1_STRESS_MPA = 92.7


def kirsch_stress(
    radius: ArrayLike, angle: ArrayLike, hole: float, tension: float
) -> tuple[Array, Array, Array]:
    """Radial, hoop and shear stress (MPa) round a hole of radius `hole` (mm) in an infinite plate.

    Plate pulled by `tension` S (MPa) along angle 0; q = hole/radius, C, S2 = cos, sin of 2 angle:
    s_r = S/2 (1 - q^2) + S/2 (1 - 4 q^2 + 3 q^4) C; s_t = S/2 (1 + q^2) - S/2 (1 + 3 q^4) C;
    t = -S/2 (1 + 2 q^2 - 3 q^4) S2. Source: Kirsch 1898; Timoshenko & Goodier, Theory of Elasticity, art. 35
    (from memory). Raises ContactFEError for points inside the hole.

    >>> from math import pi
    >>> [round(float(kirsch_stress(1.0, t, 1.0, 1.0)[1]), 12) for t in (pi / 2, 0.0)]  # 3 S and -S
    [3.0, -1.0]
    """
    require("kirsch_stress", positive("hole radius", hole), within("radius", radius, hole, np.inf))
    q2 = (hole / np.asarray(radius, dtype=float)) ** 2
    cosine, sine = np.cos(2.0 * np.asarray(angle, dtype=float)), np.sin(2.0 * np.asarray(angle, dtype=float))
    half = 0.5 * tension
    radial = half * (1.0 - q2) + half * (1.0 - 4.0 * q2 + 3.0 * q2**2) * cosine
    hoop = half * (1.0 + q2) - half * (1.0 + 3.0 * q2**2) * cosine
    shear = -half * (1.0 + 2.0 * q2 - 3.0 * q2**2) * sine
    return radial, hoop, shear


def hole_factor_roark(ratio: float) -> float:
    """Net-section stress factor of a central hole in a pulled strip, `ratio` x = d/W.

    3 - 3.13 x + 3.66 x^2 - 1.53 x^3. Source: Roark's Formulas for Stress and Strain, stress concentration
    tables (polynomial read in a public reprint, table number not checked). Range 0 to 1; within 1 % of
    converged values to 0.5.

    >>> round(hole_factor_roark(0.1), 3)
    2.722
    """
    require("hole_factor_roark", within("d/W", ratio, 0.0, 1.0))
    return 3.0 - 3.13 * ratio + 3.66 * ratio**2 - 1.53 * ratio**3


def hole_factor_heywood(ratio: float) -> float:
    """Net-section stress factor of a central hole in a pulled strip, 2 + (1 - x)^3 with `ratio` x = d/W.

    Source: Heywood, Designing by Photoelasticity, 1952 (from memory). Range 0 to 1; up to 2.3 % low at 0.5.

    >>> hole_factor_heywood(0.5)  # 2 + 1/8, by hand
    2.125
    """
    require("hole_factor_heywood", within("d/W", ratio, 0.0, 1.0))
    return 2.0 + (1.0 - ratio) ** 3


def gross_from_net(net_factor: float, ratio: float) -> float:
    """Factor on the gross section from the factor on the net section, K_net / (1 - x), x = d/W below 1.

    >>> gross_from_net(2.125, 0.5)  # by hand
    4.25
    """
    require("gross_from_net", (0.0 <= ratio < 1.0, f"d/W is {ratio:g}, must be at least 0 and below 1"))
    return net_factor / (1.0 - ratio)


@dataclass(frozen=True)
class Cantilever:
    """Cantilever 0 <= x <= `length`, |y| <= `depth`/2 (mm), `load` P (N/mm) downward at x = length."""

    length: float
    depth: float
    load: float
    material: PlaneElastic

    def __post_init__(self) -> None:
        require("Cantilever", positive("length", self.length), positive("depth", self.depth))

    @property
    def inertia_mm3(self) -> float:
        """Second moment of area per unit thickness, D^3/12."""
        return self.depth**3 / 12.0


def cantilever_displacement(beam: Cantilever, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    """Exact displacements u, v (mm) at (`x`, `y`) mm of the cantilever of plane elasticity.

    u =  P y/(6 E' I) [(6 L - 3 x) x + (2 + nu')(y^2 - D^2/4)]
    v = -P/(6 E' I) [3 nu' y^2 (L - x) + (4 + 5 nu') D^2 x/4 + (3 L - x) x^2]
    Prescribe these on x = 0: the root warps, a clamped root is another problem. Source: Timoshenko & Goodier,
    Theory of Elasticity, art. 21, in the form of Augarde & Deeks, Finite Elements in Analysis and Design 44
    (2008) (from memory). Raises ContactFEError for points outside the beam.

    >>> beam = Cantilever(10.0, 2.0, 1.0, PlaneElastic(1000.0, 0.3))
    >>> round(float(cantilever_displacement(beam, 10.0, 0.0)[1]), 6)
    -0.51375
    """
    _inside(beam, x, y)
    px, py = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    nu, length, depth = beam.material.ratio, beam.length, beam.depth
    scale = beam.load / (6.0 * beam.material.modulus * beam.inertia_mm3)
    along = scale * py * ((6.0 * length - 3.0 * px) * px + (2.0 + nu) * (py**2 - depth**2 / 4.0))
    sag = (
        3.0 * nu * py**2 * (length - px)
        + (4.0 + 5.0 * nu) * depth**2 * px / 4.0
        + (3.0 * length - px) * px**2
    )
    return along, -scale * sag


def cantilever_stress(beam: Cantilever, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array, Array]:
    """Stresses s_xx, s_yy, s_xy (MPa) at (`x`, `y`) mm: P (L - x) y/I, 0, -(P/2I)(D^2/4 - y^2).

    Source and range as `cantilever_displacement`.

    >>> beam = Cantilever(10.0, 2.0, 1.0, PlaneElastic(1000.0, 0.3))
    >>> float(cantilever_stress(beam, 0.0, 1.0)[0].round(9))  # 10 * 1 / (8/12), by hand
    15.0
    """
    _inside(beam, x, y)
    px, py = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    normal = beam.load * (beam.length - px) * py / beam.inertia_mm3
    shear = -beam.load / (2.0 * beam.inertia_mm3) * (beam.depth**2 / 4.0 - py**2)
    return normal, np.zeros_like(normal), shear


def _inside(beam: Cantilever, x: ArrayLike, y: ArrayLike) -> None:
    half = 0.5 * beam.depth
    require("cantilever", within("x", x, 0.0, beam.length), within("y", y, -half, half))
