"""Dimensions of wrench heads: what each is, its default by the rule of its family, and chamfers of fasteners."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..errors import ContactFEError
from ._tables import rows
from .head_rules import DefaultDim, HeadOf
from .profiles import profile


@dataclass(frozen=True)
class Dimension:
    """What a dimension is: its kind, the range that can be typed (mm or rad), and one line of explanation."""

    kind: Literal["length", "angle"]
    low: float
    high: float
    doc: str


_DEG = math.pi / 180.0

DIMENSIONS: dict[str, Dimension] = {
    "outside_diameter": Dimension("length", 1.0, 500.0, "outside diameter of the ring"),
    "head_width": Dimension("length", 1.0, 500.0, "width of an open-end head across both jaws"),
    "jaw_reach": Dimension("length", 0.1, 250.0, "from the fastener's axis to the jaw tips"),
    "throat_depth": Dimension("length", 0.1, 250.0, "from the fastener's axis to the bottom of the throat"),
    "tip_width": Dimension("length", 0.1, 250.0, "width of each jaw at its tip"),
    "tip_radius": Dimension("length", 0.001, 50.0, "outside radius of each jaw at its tip"),
    "jaw_depth": Dimension("length", 0.1, 250.0, "from the fastener's axis back to where the throat begins"),
    "throat_radius": Dimension("length", 0.001, 50.0, "radius in the corners of the throat"),
    "head_centre": Dimension("length", -250.0, 250.0, "place of the round head's centre along the jaws"),
    "slot_width": Dimension("length", 0.1, 250.0, "width of the slot that passes the tube"),
    "edge_radius": Dimension("length", 0.001, 50.0, "radius of the edges where a flank ends"),
    "root_radius": Dimension("length", 0.001, 50.0, "radius in the corners of the opening"),
    "ridge_radius": Dimension("length", 0.001, 50.0, "radius on the ridges that point inward"),
    "bearing_reach": Dimension(
        "length", 0.01, 100.0, "half length of flat that bears, from the middle of the flat"
    ),
    "relief_angle": Dimension("angle", 1.0 * _DEG, 60.0 * _DEG, "angle at which the flank leaves the flat"),
    "lobe_angle": Dimension("angle", 60.0 * _DEG, 170.0 * _DEG, "included angle of each lobe"),
    "offset_angle": Dimension("angle", -45.0 * _DEG, 45.0 * _DEG, "angle between the head and the handle"),
    "handle_width": Dimension("length", 0.5, 250.0, "width of the stub of handle"),
    "handle_length": Dimension("length", 0.1, 500.0, "length of the stub of handle beyond the head"),
    "handle_blend": Dimension("length", 0.01, 250.0, "radius that blends the handle into the head"),
}


@dataclass(frozen=True)
class HeadChamfer:
    """Chamfer of a hexagon: limits of its angle to the face (rad), limits of the chamfer circle over the
    largest width across flats, how many `faces` have it, and where this comes from."""

    angle_low: float
    angle_high: float
    circle_low: float
    circle_high: float
    faces: int
    source: str


def head_chamfer(item: str) -> HeadChamfer:
    """Return the chamfer of a "head" or a "nut". Raises ContactFEError (slug "chamfer") for another item."""
    for row in rows("head_chamfer.csv"):
        if row["item"] == item:
            low, high = (float(row[key]) * _DEG for key in ("angle_low", "angle_high"))
            where = "ISO 4014" if item == "head" else "ISO 4032"
            source = f"{where}, 15 to 30 deg (from memory); chamfer circle ASME B18.2.1"
            return HeadChamfer(
                low, high, float(row["circle_low"]), float(row["circle_high"]), int(row["faces"]), source
            )
    raise ContactFEError(f'no chamfer is known for "{item}"', hint="known: head, nut", slug="chamfer")


def head_defaults(
    profile_name: str, s: float, opening: float, shape: str = "hex", inch: bool = False
) -> dict[str, DefaultDim]:
    """Return the default dimensions of a head by name, for nominal across flats `s` (mm) and `opening` (mm).

    `inch` says that the width is an inch width, whose heads have a table of their own. Includes "thickness". Empty
    for "outline", whose file holds the whole head. Raises UnknownProfile for another profile.
    """
    head = HeadOf(s, opening, inch)
    return {name: rule(head) for name, rule in profile(profile_name).rules_for(shape).items()}
