"""The one list of everything a case file can say. Parsing, messages, the template and the key table all read
it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ..materials import WRENCH_YIELD_SOURCE
from ..standards import DIMENSIONS, PROFILES, head_defaults
from ..units import KINDS, format_quantity

FORMAT = 1
"""Number of the case file format this version reads."""

FieldKind = Literal[
    "length",
    "stress",
    "angle",
    "fraction",
    "number",
    "integer",
    "choice",
    "text",
    "size",
    "grade",
    "hardness",
]


@dataclass(frozen=True)
class Field:
    """One key of a case file.

    `low` and `high` bound it in internal units. `choices` are words that are allowed (for a length: beside a
    length). `default` is the text that stands for an absent key where that is fixed, `rule` says in words
    what an absent key means where it is not; `reason` says why the fixed default is what it is. `example` is a valid
    text.
    """

    table: str
    name: str
    kind: FieldKind
    doc: str
    example: str
    low: float = 0.0
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    default: str | None = None
    rule: str = ""
    reason: str = ""

    @property
    def path(self) -> str:
        """The dotted path of the key, as `set_path` takes it."""
        return f"{self.table}.{self.name}" if self.table else self.name

    @property
    def where(self) -> str:
        """The place of the key as messages name it: "[fastener] rounding"."""
        return f"[{self.table}] {self.name}" if self.table else self.name

    def show(self, value: float) -> str:
        """Return a bound or value of this field as text with its unit."""
        return format_quantity(value, self.kind) if self.kind in KINDS else f"{value:g}"


def _length(table: str, name: str, doc: str, example: str, **more: object) -> Field:
    bounds = {"low": 0.1, "high": 250.0, **more}
    return Field(table, name, "length", doc, example, **bounds)  # type: ignore[arg-type]


def _head(name: str) -> Field:
    """Return the field of a head dimension; its example is the rule's value for a 16 mm hexagon."""
    dim = DIMENSIONS[name]
    values = (head_defaults(profile, 16.0, 16.16).get(name) for profile in PROFILES)
    example = format_quantity(next(entry.value for entry in values if entry is not None), dim.kind)
    return Field("wrench", name, dim.kind, dim.doc, example, dim.low, dim.high, rule="by profile")


def _choice(table: str, name: str, doc: str, choices: tuple[str, ...], default: str | None) -> Field:
    return Field(table, name, "choice", doc, default or choices[0], choices=choices, default=default)


def _elastic(table: str, rule: str) -> tuple[Field, ...]:
    return (
        Field(table, "elastic_modulus", "stress", "elastic modulus", "206 GPa", 1000.0, 1.0e6, rule=rule),
        Field(table, "poisson_ratio", "number", "Poisson's ratio", "0.3", 0.0, 0.49, rule=rule),
    )


_TOP = (
    Field("", "format", "integer", "number of the file format", "1", 1, 1),
    Field(
        "", "name", "text", "name of the case, for tables and files", "my-case", rule="the name of the file"
    ),
    Field(
        "",
        "calibration",
        "text",
        "file of constants that compare --calibrate wrote, beside the case",
        "calibration.toml",
        rule="the constants of [contact]",
    ),
)

_FASTENER = (
    _choice("fastener", "shape", "shape of the head", ("hex", "square", "double-hex", "outline"), "hex"),
    Field(
        "fastener",
        "size",
        "size",
        'thread size; "M10 nut" and "1/2 in nut" for nuts',
        "M10",
        rule="across_flats and engaged_depth",
    ),
    _length(
        "fastener",
        "across_flats",
        "nominal width across flats, instead of size",
        "16 mm",
        low=2.0,
        rule="size",
    ),
    Field("fastener", "grade", "grade", "strength grade", "8.8", rule="yield_strength"),
    Field(
        "fastener",
        "yield_strength",
        "stress",
        "yield strength, instead of that of the grade",
        "640 MPa",
        10.0,
        4000.0,
        rule="by hardness, or of the grade",
    ),
    Field(
        "fastener",
        "yield",
        "choice",
        "which yield strength of the grade: its least, or what is typical",
        "least",
        choices=("least", "typical"),
        default="least",
        reason="what the standard promises; real bolts and bars are stronger",
    ),
    Field(
        "fastener",
        "hardness",
        "hardness",
        "hardness (HRC, HV, HRB, HB), instead of yield_strength; with a grade in the grade's ratio of yield to tensile "
        "strength",
        "28 HRC",
        rule="none",
    ),
    Field(
        "fastener",
        "tensile_strength",
        "stress",
        "tensile strength, for the torque at which bolt or bar twists off",
        "800 MPa",
        10.0,
        5000.0,
        rule="in proportion to the yield strength, as in the grade",
    ),
    Field(
        "fastener",
        "stock",
        "choice",
        "what is held below the head: a solid bar of the full section, or a bolt's shank, which can twist off",
        "bar",
        choices=("bolt", "bar"),
        default="bar",
        reason="bench tests use solid hex bar, because bolts twist off before sound rings slip",
    ),
    Field(
        "fastener",
        "rounding",
        "fraction",
        "share of each corner that is worn away; 100 % is a circle",
        "0 %",
        0.0,
        1.0,
        default="0 %",
        reason="a new fastener",
    ),
    _length(
        "fastener",
        "across_corners",
        "width across corners measured after turning, instead of rounding",
        "17.6 mm",
        low=2.0,
        rule="rounding",
    ),
    _choice(
        "fastener", "worn_side", "side of each corner that the rounding takes", ("both", "driven"), "both"
    ),
    _length(
        "fastener",
        "engaged_depth",
        "depth of head inside the wrench",
        "6.4 mm",
        rule="the nominal head height of the size",
    ),
    _length(
        "fastener",
        "corner",
        "radius of the unworn corner: sharp is 0.01 x across flats; minimum is the fillet "
        "that leaves the least across corners of the standard",
        "0.5 mm",
        low=0.0,
        choices=("sharp", "minimum"),
        default="sharp",
    ),
    _length(
        "fastener",
        "undersize",
        "length that rust or wear took off the width across flats",
        "0 mm",
        low=0.0,
        default="0 mm",
    ),
    Field(
        "fastener",
        "chamfer_angle",
        "angle",
        "angle of the head's chamfer to its face, which takes depth off the corners; standard is 30 deg for "
        "a size of a standard, none for a bar",
        "30 deg",
        0.0,
        math.radians(60.0),
        choices=("none", "standard"),
        default="none",
    ),
    *_elastic("fastener", "steel, or the material of the grade"),
    _length(
        "fastener",
        "core_radius",
        "radius of the core that is held",
        "5.6 mm",
        low=0.05,
        rule="0.35 x across flats",
    ),
    Field(
        "fastener", "outline", "text", 'file of the outline, for shape = "outline"', "head.toml", rule="none"
    ),
)

_WRENCH = (
    _choice("wrench", "profile", "profile of the opening", PROFILES, None),
    _length(
        "wrench",
        "opening",
        "width of the opening: a place between the standard's limits, or a width",
        "16.12 mm",
        low=2.0,
        choices=("tight", "middle", "loose"),
        default="middle",
    ),
    Field("wrench", "points", "integer", "points of a flare-nut opening, 6 or 12", "6", 6, 12, rule="6"),
    _length("wrench", "thickness", "thickness of the head along the axis", "11 mm", rule="by profile"),
    Field(
        "wrench",
        "yield_strength",
        "stress",
        "yield strength (1250 MPa: steel of 42 to 46 HRC)",
        "1250 MPa",
        10.0,
        4000.0,
        default="1250 MPa",
        reason=WRENCH_YIELD_SOURCE,
    ),
    Field(
        "wrench",
        "hardness",
        "hardness",
        "hardness (HRC, HV, HRB, HB), instead of yield_strength",
        "44 HRC",
        rule="yield_strength",
    ),
    *_elastic("wrench", "steel"),
    _length(
        "wrench",
        "lead_in",
        "depth that the chamfer at the mouth of the opening takes off the engagement; standard is 0.03 x "
        "across flats for a ring, 0.02 x for an open end (engineering judgement)",
        "0.5 mm",
        low=0.0,
        choices=("none", "standard"),
        default="none",
    ),
    *(_head(name) for name in DIMENSIONS),
    Field(
        "wrench",
        "outline",
        "text",
        'file of the outline, for profile = "outline"',
        "wrench.toml",
        rule="none",
    ),
)

_CONTACT = (
    Field(
        "contact",
        "friction",
        "number",
        "coefficient of friction (0.15: clean steel as delivered, lightly oiled)",
        "0.15",
        0.0,
        1.0,
        default="0.15",
        reason="steel as delivered, bright or phosphated and lightly oiled: where classes B (0.08 to 0.16) and C "
        "(0.14 to 0.24) of VDI 2230 part 1 overlap; its values are for threads and bearing faces of bolts",
    ),
    Field(
        "contact",
        "constraint_factor",
        "number",
        "contact pressure cap over yield strength, without friction",
        "1.155",
        0.5,
        3.0,
        default="1.155",
        reason="2/sqrt 3: largest pressure at yield without friction, von Mises, plane stress; friction takes off",
    ),
    _choice("contact", "plane", "plane stress or plane strain", ("stress", "strain"), "stress"),
)

_LOAD = (
    _length(
        "load",
        "lever_arm",
        "from the fastener's axis to the hand; none is a pure couple",
        "200 mm",
        low=1.0,
        high=5000.0,
        choices=("none",),
        default="none",
    ),
    _choice("load", "direction", "turning direction", ("anticlockwise", "clockwise"), "anticlockwise"),
    Field(
        "load", "pulls", "integer", "pulls on the same corners, one after the other", "3", 1, 20, default="1"
    ),
)

_MESH = (
    _length(
        "mesh",
        "edge_at_contact",
        "edge length at the contact",
        "0.19 mm",
        low=0.001,
        high=50.0,
        rule="0.012 x across flats",
    ),
    _length(
        "mesh", "edge_max", "largest edge length", "1.9 mm", low=0.01, high=50.0, rule="0.12 x across flats"
    ),
    Field(
        "mesh",
        "growth",
        "number",
        "growth of the edge length per unit of distance",
        "0.3",
        0.1,
        0.6,
        default="0.3",
    ),
)

FIELDS: tuple[Field, ...] = (*_TOP, *_FASTENER, *_WRENCH, *_CONTACT, *_LOAD, *_MESH)
TABLES: tuple[str, ...] = ("fastener", "wrench", "contact", "load", "mesh")
_BY_PATH: dict[str, Field] = {entry.path: entry for entry in FIELDS}


def field_of(path: str) -> Field | None:
    """Return the field at a dotted path, None when there is none."""
    return _BY_PATH.get(path)


def fields_of(table: str) -> tuple[Field, ...]:
    """Return the fields of a table, "" for the keys above all tables."""
    return tuple(entry for entry in FIELDS if entry.table == table)
