"""Default dimensions of wrench heads by rule. Each rule is one line of a table; the text beside it is its
source."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from ..errors import ContactFEError, nearest
from ..units import parse_number, tidy
from ._tables import rows


@dataclass(frozen=True)
class DefaultDim:
    """A default dimension: `value` in mm or rad, `rule` the rule it came from."""

    value: float
    rule: str


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
class OutsideSize:
    """Largest outside diameter and thickness of a ring head (mm) by a standard, and which one."""

    outside_diameter: float
    thickness: float
    source: str


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


def ring_outside(across_flats_mm: float, inch: bool = False) -> OutsideSize | None:
    """Return the largest ring head a standard gives for a nominal width (mm), None where it has no row.

    Metric: JIS B 4632-1986. Inch: A-A-1346A.
    """
    unit = 25.4 if inch else 1.0
    for row in rows("head_outside_inch.csv" if inch else "head_outside.csv"):
        width, outside, thick = (tidy(parse_number(text) * unit) for text in row.values())
        if abs(width - across_flats_mm) < 1e-3:
            return OutsideSize(outside, thick, "A-A-1346A, largest" if inch else "JIS B 4632, largest")
    return None


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


_Rule = tuple[Callable[[float, float], float], str]
_JUDGEMENT = "engineering judgement"
_ROOT = "engineering judgement: small enough to clear a sharp corner in the tightest opening of ISO 691"


@lru_cache(maxsize=1)
def _ring_table() -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (float(row["s"]), float(row["outside_diameter"]), float(row["thickness"]))
        for row in rows("head_outside.csv")
    )


def _ring(s: float, column: int) -> float:
    """Interpolate the ring table (1 outside diameter, 2 thickness); beyond its ends its least-squares
    line."""
    table = _ring_table()
    if s < table[0][0] or s > table[-1][0]:
        xs, ys = [row[0] for row in table], [row[column] for row in table]
        x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
        slope = sum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True)) / sum(
            (x - x_mean) ** 2 for x in xs
        )
        return y_mean + slope * (s - x_mean)
    for low, high in pairwise(table):
        if s <= high[0]:
            return low[column] + (high[column] - low[column]) * (s - low[0]) / (high[0] - low[0])
    return table[-1][column]


def _share(factor: float, why: str) -> _Rule:
    return (lambda s, opening: factor * s), f"{factor:g} s ({why})"


def _angle(degrees: float, why: str) -> _Rule:
    return (lambda s, opening: degrees * _DEG), f"{degrees:g} deg ({why})"


_EVERY: dict[str, _Rule] = {
    "edge_radius": _share(0.02, "engineering judgement: broken edge of a broached or milled flank"),
    "handle_width": _share(0.8, _JUDGEMENT),
    "handle_length": _share(0.5, _JUDGEMENT),
    "handle_blend": _share(0.4, _JUDGEMENT),
}
_RING: dict[str, _Rule] = {
    "outside_diameter": ((lambda s, opening: _ring(s, 1)), "JIS B 4632 table, interpolated in s"),
    "thickness": ((lambda s, opening: _ring(s, 2)), "JIS B 4632 table, interpolated in s"),
    "offset_angle": _angle(0.0, "a ring has no preferred side"),
}

_PROFILES: dict[str, dict[str, _Rule]] = {
    "open-end": {
        "head_width": (
            (lambda s, opening: 2.1 * s + 4.0),
            "2.1 s + 4 mm (3 mm below the largest, 2.1 s + 7 mm of ISO 3318, from memory)",
        ),
        "thickness": _share(0.44, _JUDGEMENT),
        "jaw_reach": _share(0.42, _JUDGEMENT),
        "throat_depth": _share(0.62, _JUDGEMENT),
        "tip_width": _share(0.35, _JUDGEMENT),
        "tip_radius": _share(0.1, _JUDGEMENT),
        "jaw_depth": _share(0.36, "engineering judgement: the flank reaches past the flat's end at 0.29 s"),
        "throat_radius": _share(0.1, _JUDGEMENT),
        "head_centre": _share(-0.15, "engineering judgement: the round head lies behind the axis"),
        "offset_angle": _angle(15.0, "common practice, no source"),
        **_EVERY,
    },
    "ring-six": {**_RING, "root_radius": _share(0.012, _ROOT), **_EVERY},
    "ring-six-relieved": {
        **_RING,
        "bearing_reach": _share(0.22, _JUDGEMENT),
        "relief_angle": _angle(15.0, _JUDGEMENT),
        "root_radius": _share(0.06, _JUDGEMENT),
        **_EVERY,
    },
    "ring-twelve": {
        **_RING,
        "ridge_radius": _share(0.02, _JUDGEMENT),
        "root_radius": _share(0.012, _ROOT),
        **_EVERY,
    },
    "ring-spline": {
        **_RING,
        "lobe_angle": _angle(120.0, _JUDGEMENT),
        "ridge_radius": _share(0.05, _JUDGEMENT),
        "root_radius": _share(0.06, _JUDGEMENT),
        **_EVERY,
    },
    "flare-nut": {
        **_RING,
        "outside_diameter": (
            (lambda s, opening: 1.12 * _ring(s, 1)),
            "1.12 times the JIS B 4632 table, interpolated in s (engineering judgement)",
        ),
        "slot_width": _share(0.6, "engineering judgement: passes tubes up to 0.6 s"),
        "root_radius": _share(0.012, _ROOT),
        "ridge_radius": _share(0.02, "engineering judgement; used with 12 points"),
        **_EVERY,
    },
    "outline": {},
}

PROFILES: tuple[str, ...] = tuple(_PROFILES)
"""The wrench profiles; "outline" is read from a file and has no dimensions."""


# A square's flat is as long as it is wide: jaws and throat have to reach past its corners.
_SQUARE_JAWS: dict[str, _Rule] = {
    "jaw_reach": _share(0.62, "engineering judgement, square: past the corner at 0.5 s"),
    "jaw_depth": _share(0.58, "engineering judgement, square: past the corner at 0.5 s"),
    "throat_depth": _share(0.78, "engineering judgement, square: clears the flat behind"),
    "head_centre": _share(-0.1, "engineering judgement, square"),
}


def head_defaults(profile: str, s: float, opening: float, shape: str = "hex") -> dict[str, DefaultDim]:
    """Return the default dimensions of a head by name, for nominal across flats `s` (mm) and `opening` (mm).

    Includes "thickness". Empty for "outline", whose file holds the whole head. Raises ContactFEError (slug
    "unknown-profile") for another profile.
    """
    if profile not in _PROFILES:
        raise ContactFEError(
            f'unknown profile "{profile}"',
            hint=nearest(profile, _PROFILES) or f"known: {', '.join(_PROFILES)}",
            slug="unknown-profile",
        )
    beyond = not _ring_table()[0][0] <= s <= _ring_table()[-1][0]
    found: dict[str, DefaultDim] = {}
    rules = _PROFILES[profile] | (_SQUARE_JAWS if (profile, shape) == ("open-end", "square") else {})
    for name, (rule, text) in rules.items():
        told = (
            text.replace("table, interpolated in s", "least-squares line beyond its table")
            if beyond
            else text
        )
        found[name] = DefaultDim(rule(s, opening), told)
    return found
