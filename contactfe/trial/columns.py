"""The columns of a readings file: their names, what stands in them, and how one cell is read."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from contactfe.errors import ContactFEError
from contactfe.standards import grade, size
from contactfe.trial.readings import ENDINGS
from contactfe.units import parse_quantity

Kind = Literal["text", "size", "grade", "length", "stress", "fraction", "torque", "integer", "ending"]


@dataclass(frozen=True)
class Column:
    """One column: name, kind, whether it belongs to the condition, an example, what it holds, and its bounds in
    internal units."""

    name: str
    kind: Kind
    doc: str
    example: str
    condition: bool = False
    low: float = -math.inf
    high: float = math.inf


COLUMNS: tuple[Column, ...] = (
    Column("design", "text", "name of the wrench's design, any text", "ring A"),
    Column("size", "size", "thread size of the fastener, or across_flats instead", "M10", True),
    Column("across_flats", "length", "nominal width across flats", "16 mm", True, 2.0, 250.0),
    Column("grade", "grade", "strength grade, or yield_strength instead", "8.8", True),
    Column(
        "yield_strength",
        "stress",
        "yield strength; beside a grade: measured on the bar",
        "655 MPa",
        True,
        10.0,
        4000.0,
    ),
    Column("rounding", "fraction", "share of each corner that is turned down", "20 %", True, 0.0, 1.0),
    Column("engaged_depth", "length", "depth of head inside the wrench", "6.4 mm", True, 0.1, 250.0),
    Column("pull", "integer", "number of the pull within design and condition", "1", False, 1, 1e9),
    Column("torque", "torque", "largest torque of the pull", "66.2"),
    Column("happened", "ending", "what ended the pull; nothing: slipped", "slipped"),
    Column("bar", "text", "bar of stock that the specimen was cut from", "A"),
    Column("note", "text", "anything else", ""),
)
BY_NAME: Mapping[str, Column] = {column.name: column for column in COLUMNS}
CONDITION: tuple[str, ...] = tuple(column.name for column in COLUMNS if column.condition)
_NUMBER = r"[+-]?(?:\d+[- ])?[\d./]+(?:[eE][+-]?\d+)?"
_HEADING = re.compile(r"\s*(?P<name>[^(\[]*?)\s*(?:[(\[]\s*(?P<unit>[^)\]]*?)\s*[)\]])?\s*")
_SPELLED = {
    "nm": "N*m", "n m": "N*m", "n.m": "N*m", "n·m": "N*m", "n-m": "N*m", "n⋅m": "N*m", "newton metre": "N*m",
    "nmm": "N*mm", "n mm": "N*mm", "n.mm": "N*mm", "ncm": "N*cm", "n cm": "N*cm", "knm": "kN*m", "kn m": "kN*m",
    "lbf ft": "lbf*ft", "ft lbf": "lbf*ft", "ft-lbf": "lbf*ft", "ft-lb": "lbf*ft", "ft lb": "lbf*ft",
    "ft.lb": "lbf*ft", "lb-ft": "lbf*ft", "lb ft": "lbf*ft", "lbf-ft": "lbf*ft", "lbft": "lbf*ft",
    "ftlb": "lbf*ft", "ft lbs": "lbf*ft", "ft-lbs": "lbf*ft",
    "lbf in": "lbf*in", "in lbf": "lbf*in", "in-lbf": "lbf*in", "in-lb": "lbf*in", "in lb": "lbf*in",
    "in.lb": "lbf*in", "lb-in": "lbf*in", "lb in": "lbf*in", "lbf-in": "lbf*in", "inlb": "lbf*in",
    "in lbs": "lbf*in", "in-lbs": "lbf*in",
}  # fmt: skip
"""How instruments spell units of torque, in small letters."""


def spelled_unit(text: str) -> str:
    """A unit as the rest of the program spells it: "Nm", "N.m" or "ft-lb" are torques; others stay as they are."""
    return _SPELLED.get(" ".join(text.lower().split()), text.strip())


def torque_factor(unit: str) -> float:
    """N m in one of a unit of torque.

    Raises:
        ContactFEError: the unit is unknown or none of torque.
    """
    return parse_quantity(f"1 {spelled_unit(unit)}", "torque") / 1e3


def split_heading(text: str) -> tuple[str, str]:
    """Name and unit of a heading such as "torque (N*m)" or "rounding [%]"; no unit: an empty text."""
    match = _HEADING.fullmatch(text)
    name, unit = (match["name"], match["unit"] or "") if match else (text.strip(), "")
    return name.lower().replace(" ", "_"), unit


def read_cell(column: Column, text: str, unit: str, comma: bool) -> Any:
    """The value of a cell that is not empty, in N m for torques, else in internal units. `unit` is that of the
    heading; `comma`: a comma is the decimal mark.

    Raises:
        ContactFEError: the cell cannot be read.
    """
    if column.kind == "text":
        return text
    if column.kind == "size":
        return size(text).name
    if column.kind == "grade":
        return grade(text).name
    if column.kind == "ending":
        return _ending(text)
    if comma:
        text = text.replace(",", ".")
    if column.kind == "integer":
        return _integer(text)
    return _quantity(column, text, unit)


def _quantity(column: Column, text: str, unit: str) -> float:
    """A number with its own unit or that of the heading."""
    bare = re.fullmatch(_NUMBER, text) is not None
    if bare and not unit:
        hint = f'name the unit in the heading: "{column.name} ({_unit_of(column)})"'
        raise ContactFEError(f"{text} has no unit", hint=hint, slug="unit")
    if column.kind == "torque" and not bare:
        match = re.fullmatch(rf"({_NUMBER})\s*(\D.*)", text)
        if match is None:
            raise ContactFEError(f'"{text}" is not a torque', hint="write a number", slug="number")
        text, unit = match.groups()
    full = f"{text} {spelled_unit(unit)}" if bare or column.kind == "torque" else text
    value = parse_quantity(full, column.kind)  # type: ignore[arg-type]
    if column.kind == "torque":
        value /= 1e3
        if value <= 0:
            told = "is negative" if value < 0 else "is 0"
            raise ContactFEError(
                f"torque {text} {told}", hint="write the size of the largest torque, above 0", slug="range"
            )
    if not column.low <= value <= column.high:
        raise ContactFEError(
            f'"{text}" is out of range', hint=f'write a value such as "{column.example}"', slug="range"
        )
    return value


def _unit_of(column: Column) -> str:
    return {"length": "mm", "stress": "MPa", "fraction": "%", "torque": "N*m"}[column.kind]


def _integer(text: str) -> int:
    if re.fullmatch(r"\d{1,9}", text) is None or int(text) < 1:
        raise ContactFEError(f'"{text}" is not a whole number from 1', hint="write 1, 2, 3", slug="number")
    return int(text)


def _ending(text: str) -> str:
    plain = " ".join(text.lower().replace("_", " ").split())
    if plain in ENDINGS:
        return plain
    from contactfe.errors import nearest

    raise ContactFEError(
        f'"{text}" is not known', hint=nearest(plain, ENDINGS) or f"write {', '.join(ENDINGS)}", slug="ending"
    )
