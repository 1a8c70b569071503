"""A straight cut through a body: resultants of the stresses along it, and when its whole section yields.

    N = int s_n ds,   V = int t ds,   M = int s_n (h/2 - s) ds        per unit depth, s from the inner end
    membrane N/h, bending +-6 M/h^2 at the inner and outer end, mean shear V/h

The section is a rectangle of height h; its fully plastic moment is 1.5 times the elastic one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]

STAGES = np.array(
    [0.0, 0.01, 0.03, 0.08, 0.2, 0.5, 1.0]
)  # of the height: finer at the inner end, where stress piles up
_PLACES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
STATIONS: Array = (STAGES[:-1, None] + 0.5 * np.diff(STAGES)[:, None] * (1.0 + _PLACES)).ravel()
"""Where along a cut stresses are taken, as shares of its height from the inner end."""
SHARES: Array = (0.5 * np.diff(STAGES)[:, None] * _WEIGHTS).ravel()
"""Their shares of the height in an integral: Gauss's rule on each stage."""
PLANE_STRAIN_YIELD = 2.0 / math.sqrt(3.0)
"""Largest stress over the yield strength in plane strain bending (von Mises)."""


@dataclass(frozen=True, eq=False)
class Resultants:
    """Resultants of cuts, arrays of one shape: heights in mm; N and V in N/mm, M in N mm/mm, per unit depth.

    ``moment`` is positive when it pulls at the inner end.
    """

    height: Array
    normal: Array
    shear: Array
    moment: Array

    def rows(self, which: int | Index) -> Resultants:
        """Those of one of the states, or of some of them."""
        return Resultants(self.height[which], self.normal[which], self.shear[which], self.moment[which])

    @property
    def membrane(self) -> Array:
        """Mean normal stress, MPa."""
        return self.normal / self.height

    @property
    def bending(self) -> Array:
        """Linearised bending stress at the inner end, MPa; the same with the other sign at the outer end."""
        return 6.0 * self.moment / self.height**2

    @property
    def mean_shear(self) -> Array:
        """Mean shear stress, MPa."""
        return self.shear / self.height


def resultants(stress: Array, direction: Array, height: Array) -> Resultants:
    """Resultants of cuts from stresses (..., c, q, 4) at `STATIONS`, with unit directions (c, 2) and heights (c,).

    The normal of a cut is its direction turned clockwise.
    """
    d = direction[:, None, :]
    n = np.stack([d[..., 1], -d[..., 0]], axis=-1)
    sx, sy, sxy = stress[..., 0], stress[..., 1], stress[..., 2]
    tx, ty = sx * n[..., 0] + sxy * n[..., 1], sxy * n[..., 0] + sy * n[..., 1]
    across = tx * n[..., 0] + ty * n[..., 1]
    along = tx * d[..., 0] + ty * d[..., 1]
    arm = height[:, None] * (0.5 - STATIONS)
    return Resultants(
        height=np.broadcast_to(height, across.shape[:-1]),
        normal=(across @ SHARES) * height,
        shear=(along @ SHARES) * height,
        moment=((across * arm) @ SHARES) * height,
    )


def utilisation(loads: Resultants, yield_strength: float, plane: str = "stress") -> Array:
    """By how much the loads, growing together, use up the rectangular section: 1 when all of it yields.

    Limit: |M|/Mp + (N/Np)^2 = 1 with Np = Y h, Mp = Y h^2/4 (exact: rectangular section, perfectly plastic), and with
    shear |M|/Mp + (N/Np)^2 + (V/Vp)^4 / (1 - (N/Np)^2) = 1, Vp = Y h/sqrt(3) (Neal, "The effect of shear and normal
    forces on the fully plastic moment of a beam of rectangular cross section", 1961, from memory). In plane strain Np
    and Mp are 2/sqrt(3) times as large (von Mises).
    """
    strength = yield_strength * (PLANE_STRAIN_YIELD if plane == "strain" else 1.0)
    n = np.abs(loads.normal) / (strength * loads.height)
    m = np.abs(loads.moment) / (strength * loads.height**2 / 4.0)
    v = np.abs(loads.shear) / (yield_strength * loads.height / math.sqrt(3.0))
    low = np.zeros_like(n)
    high = 1.0 / np.maximum(np.maximum(n, np.maximum(m, v)), 1e-12)
    for _ in range(50):  # the load factor at which the section yields through, by halving
        factor = 0.5 * (low + high)
        square = (factor * n) ** 2
        used = factor * m + square + (factor * v) ** 4 / np.maximum(1.0 - square, 1e-12)
        low, high = np.where(used < 1.0, factor, low), np.where(used < 1.0, high, factor)
    return np.asarray(2.0 / (low + high))
