"""The shape numbers of each family of wrenches with the ranges a designer moves them in: one table.

`contactfe init` shows them, `contactfe search` takes its bounds from them, and so does the table of keys. Ranges are
shares of the nominal width across flats s, or angles; they are engineering judgement: wide enough for heads that are
made, narrow enough that the outline closes with the other numbers at their defaults.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..errors import ContactFEError, nearest
from .heads import DIMENSIONS
from .profiles import PROFILES, profile

_DEG = math.pi / 180.0


@dataclass(frozen=True)
class DesignNumber:
    """One number of a head's shape: its key in [wrench], `kind`, and the range in shares of s ("length"), rad
    ("angle") or as it is ("integer"); `doc` says what it is."""

    name: str
    kind: Literal["length", "angle", "integer"]
    low: float
    high: float
    doc: str

    def bounds(self, s: float) -> tuple[float, float]:
        """The range for a nominal width across flats `s` (mm), in mm, rad or as it is."""
        scale = s if self.kind == "length" else 1.0
        return self.low * scale, self.high * scale

    def words(self) -> str:
        """The range as text: "0.10 s to 0.28 s", "5 deg to 40 deg", "6 to 12"."""
        if self.kind == "length":
            return f"{self.low:g} s to {self.high:g} s"
        if self.kind == "angle":
            return f"{self.low / _DEG:g} deg to {self.high / _DEG:g} deg"
        return f"{self.low:g} to {self.high:g}"


# Of s, or deg. What makes the opening (its place between the standard's limits) and the thickness holds for all.
_RANGES: dict[str, tuple[float, float]] = {
    "outside_diameter": (1.4, 2.0),
    "head_width": (1.9, 2.7),
    "jaw_reach": (0.34, 0.6),
    "throat_depth": (0.58, 0.75),
    "tip_width": (0.2, 0.5),
    "tip_radius": (0.05, 0.15),
    "jaw_depth": (0.3, 0.45),
    "throat_radius": (0.05, 0.16),
    "head_centre": (-0.3, 0.0),
    "slot_width": (0.6, 0.75),
    "edge_radius": (0.008, 0.05),
    "root_radius": (0.005, 0.08),
    "ridge_radius": (0.01, 0.08),
    "bearing_reach": (0.12, 0.24),
    "relief_angle": (5.0, 40.0),
    "lobe_angle": (90.0, 150.0),
    "thickness": (0.3, 1.0),
    "opening": (1.002, 1.03),
}
_STUB = frozenset({"handle_width", "handle_length", "handle_blend", "offset_angle"})
"""Dimensions of the stub of handle: they do not touch the grip."""


def design_numbers(name: str) -> tuple[DesignNumber, ...]:
    """The shape numbers of a family, with their ranges; none for a drawn wrench.

    Raises:
        UnknownProfile: no family has this name.
    """
    family = profile(name)
    if family.drawn:
        return ()
    found = [
        _number("opening", "width of the opening"),
        _number("thickness", "thickness of the head along the axis"),
    ]
    if family.points_choices:
        low, high = min(family.points_choices), max(family.points_choices)
        found.append(DesignNumber("points", "integer", low, high, "points of the opening"))
    found += [
        _number(key, DIMENSIONS[key].doc)
        for key in family.rules
        if key in _RANGES and key not in ("thickness", *_STUB)
    ]
    return tuple(found)


def design_number(name: str, key: str) -> DesignNumber:
    """One shape number of a family. Raises ContactFEError (slug "design-number") when it has none of this name."""
    known = {number.name: number for number in design_numbers(name)}
    if key not in known:
        raise ContactFEError(
            f"{name} has no design number {key}",
            hint=nearest(key, known) or f"it has: {', '.join(known) or 'none'}",
            slug="design-number",
        )
    return known[key]


def design_table() -> tuple[tuple[str, str, str, tuple[str, ...]], ...]:
    """Every design number once: key, what it is, its range in words, and the families that have it."""
    rows: dict[str, tuple[str, str, list[str]]] = {}
    for name in PROFILES:
        for number in design_numbers(name):
            rows.setdefault(number.name, (number.doc, number.words(), []))[2].append(name)
    return tuple((key, doc, words, tuple(owners)) for key, (doc, words, owners) in rows.items())


def _number(key: str, doc: str) -> DesignNumber:
    low, high = _RANGES[key]
    angle = key in DIMENSIONS and DIMENSIONS[key].kind == "angle"
    scale = _DEG if angle else 1.0
    return DesignNumber(key, "angle" if angle else "length", low * scale, high * scale, doc)
