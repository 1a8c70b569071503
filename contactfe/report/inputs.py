"""The inputs of a case as a table: every value resolved, and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from contactfe.inputs import GIVEN, CaseInput, field_of, to_dict
from contactfe.report.words import plain

TABLES = {
    "fastener": "Fastener",
    "wrench": "Wrench",
    "contact": "Contact",
    "load": "Load",
    "mesh": "Mesh",
}
# Keys of the record whose value comes from a key of another name.
_NOTED_AS = {
    "fastener.across_flats_nominal": "fastener.across_flats",
    "fastener.corner_radius": "fastener.corner",
}


@dataclass(frozen=True)
class InputRow:
    """One resolved input: name, value with unit, what it means, and where it comes from: given, or the rule or standard
    that it follows."""

    name: str
    value: str
    meaning: str
    rule: str


def input_tables(case: CaseInput) -> dict[str, list[InputRow]]:
    """Return the rows of every table of a case by its heading, in the order of the case file."""
    record = to_dict(case)
    found: dict[str, list[InputRow]] = {}
    for table, heading in TABLES.items():
        rows = []
        for name, raw in record[table].items():
            path = f"{table}.{name}"
            if raw is None or (path == "wrench.points" and raw == 0):
                continue  # not given, or without meaning: an open end has no points
            rows.append(
                InputRow(
                    name.replace("_", " "),
                    _shown(raw),
                    _meaning(path),
                    _origin(case, path),
                )
            )
        found[heading] = rows
    return found


def _shown(raw: Any) -> str:
    """A value of the record with at most six digits."""
    head, space, unit = str(raw).partition(" ")
    try:
        return f"{float(head):.6g}{space}{unit}"
    except ValueError:
        return plain(raw)


def _meaning(path: str) -> str:
    extra = {
        "fastener.across_flats_nominal": "nominal width across flats",
        "fastener.across_flats": "width across flats after undersize",
        "fastener.corner_radius": "radius of the unworn corner",
        "wrench.opening": "width of the opening",
        "wrench.points": "points of the opening",
    }
    field = field_of(path)
    return extra.get(path) or (field.doc if field else "")


def _origin(case: CaseInput, path: str) -> str:
    """Where a value comes from, as it was noted when the case was put together."""
    origin = case.origins.get(_NOTED_AS.get(path, path), "")
    return "given in the case" if origin == GIVEN else origin
