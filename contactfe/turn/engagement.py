"""Real engagement: over which depth the two bodies bear, and how much of it a cell touches, by its distance from the axis.

A jaw that is thinner than the fastener is deep bears over its own thickness.

The chamfer of a head (a cone about its axis) takes depth off everything outside the chamfer circle, most at
the corners; the chamfer at the mouth of the wrench's opening takes the same off everywhere. Stock has none.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.inputs import CaseInput
from contactfe.standards import head_chamfer

Array = NDArray[np.float64]


@dataclass(frozen=True)
class EngagedFraction:
    """Share of the depth that bears that is left at a distance from the axis. Lengths mm.

    `depth` of the fastener, `thickness` of the wrench; `slope` is the depth the chamfers of all faces take off per mm
    beyond the chamfer circle. A thin jaw lies where the chamfers have taken nothing off, as long as there is room.
    """

    depth: float
    thickness: float
    lead_in: float
    slope: float
    circle_radius: float

    def __call__(self, centres: Array) -> Array:
        """Share (c,), 0 to 1, at points (c, 2) in mm from the fastener's axis."""
        beyond = np.maximum(np.hypot(centres[:, 0], centres[:, 1]) - self.circle_radius, 0.0)
        left = np.minimum(self.depth - self.slope * beyond, self.thickness) - self.lead_in
        return np.clip(left / min(self.depth, self.thickness), 0.0, 1.0)


def bearing_depth(case: CaseInput) -> float:
    """Depth (mm) over which the two bodies bear on each other: the engaged depth, or a thinner wrench's thickness."""
    return min(case.fastener.engaged_depth, case.wrench.thickness)


def engaged_fraction(case: CaseInput) -> Callable[[Array], Array] | None:
    """The share of the engaged depth at cells' centres (c, 2) in mm, as (c,); None when nothing is taken off.

    The chamfer circle is the middle of its tolerance (ASME B18.2.1: the largest width across flats, minus
    15 %), taken for every hexagon; a nut is chamfered on both faces.
    """
    fastener = case.fastener
    if fastener.chamfer_angle <= 0.0 and case.wrench.lead_in <= 0.0:
        return None
    chamfer = head_chamfer("nut" if fastener.size and fastener.size.endswith("nut") else "head")
    circle = 0.5 * (chamfer.circle_low + chamfer.circle_high) * fastener.across_flats_nominal
    slope = chamfer.faces * math.tan(fastener.chamfer_angle)
    return EngagedFraction(
        fastener.engaged_depth, case.wrench.thickness, case.wrench.lead_in, slope, circle / 2.0
    )
