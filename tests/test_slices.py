"""Depth along the axis: a chamfered head as a share of depth for each cell, against the sum of slices solved one by one.

A cone about the axis cuts every slice of a chamfered head as corners turned down do: a hexagon and a circle. Slices
whose circle lies inside the flats hold nothing.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from cases import COARSE, case, slip, solved
from numpy.polynomial.legendre import leggauss

from contactfe.standards import head_chamfer
from contactfe.turn import smooth_through

S, DEPTH = 16.0, 6.4  # mm: M10
POINTS = 5  # slices in the chamfer, at Gauss points
STIFF = {"elastic_modulus": "1000 GPa", "thickness": "60 mm"}


def sliced(profile: str, wrench: dict[str, Any]) -> float:
    """Top (N m) of the sum of the slices' curves at the same rotation of the wrench."""
    chamfer = head_chamfer("head")
    circle = (chamfer.circle_low + chamfer.circle_high) / 4.0 * S
    tip, rise = S / math.sqrt(3.0), math.tan(math.radians(30.0))
    low, high = (S / 2 - circle) * rise, (tip - circle) * rise  # heights over the face
    x, w = leggauss(POINTS)
    height, share = low + (high - low) * (x + 1) / 2, w / 2 * (high - low) / DEPTH
    roundings = (tip - circle - height / rise) / (tip - S / 2)
    rotation = np.radians(np.linspace(0.5, 15.0, 500))
    total = np.zeros_like(rotation)
    for r, part in [*zip(roundings, share, strict=True), (0.0, 1.0 - high / DEPTH)]:
        fastener = {"stock": "bar", "rounding": f"{100 * r} %"}
        curve = solved(case(profile, fastener=fastener, wrench=wrench, mesh=COARSE))[0]
        if curve.free_play is None:
            continue
        smooth = smooth_through(curve.rotation, curve.torque)
        assert smooth is not None
        torque = smooth(np.clip(rotation, smooth.x[0], smooth.x[-1]))
        total += part * np.where(rotation < smooth.x[0], 0.0, torque)
    return float(total.max())


def by_cells(profile: str, wrench: dict[str, Any]) -> float:
    chamfered = {"stock": "bar", "chamfer_angle": "30 deg"}
    return slip(case(profile, fastener=chamfered, wrench=wrench, mesh=COARSE))


@pytest.mark.parametrize(("profile", "wrench"), [("ring-six", {}), ("open-end", STIFF)])
def test_the_share_of_depth_of_each_cell_agrees_with_slices(profile: str, wrench: dict[str, Any]) -> None:
    full = slip(case(profile, fastener={"stock": "bar"}, wrench=wrench, mesh=COARSE))
    cells = by_cells(profile, wrench)
    assert cells < 0.95 * full  # the chamfer matters here
    assert cells == pytest.approx(sliced(profile, wrench), rel=0.01)


def test_slices_that_each_open_a_jaw_of_their_own_hold_less() -> None:
    """Why the factor is kept: a real jaw is one body, so the slices in the chamfer relieve the others."""
    ratio = by_cells("open-end", {}) / sliced("open-end", {})
    assert 1.01 < ratio < 1.05
