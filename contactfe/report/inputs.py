"""The inputs of a case as a table: every value resolved, and the rule behind it where it is the rule's
value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput, FastenerInput, field_of, to_dict
from contactfe.materials import elastic_source, material
from contactfe.report.words import grade_words, plain
from contactfe.standards import grade, opening_limits, size
from contactfe.units import KINDS, parse_quantity

TABLES = {
    "fastener": "Fastener",
    "wrench": "Wrench",
    "contact": "Contact",
    "load": "Load",
    "mesh": "Mesh",
}


@dataclass(frozen=True)
class InputRow:
    """One resolved input: name, value with unit, what it means, and the rule or standard it agrees with (""
    if none).
    """

    name: str
    value: str
    meaning: str
    rule: str


def input_tables(case: CaseInput) -> dict[str, list[InputRow]]:
    """Return the rows of every table of a case by its heading, in the order of the case file.

    A case does not record which of its values were written and which filled in, except for the dimensions of
    the head; for the others the rule is named where the value is the one that the rule gives.
    """
    record = to_dict(case)
    rules = {**_fastener_rules(case.fastener), **_wrench_rules(case), **_other_rules(case)}
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
                    rules.get(path) or _fixed_default(path, raw),
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


def _fixed_default(path: str, raw: Any) -> str:
    """ "default" where the value is the fixed default of the field."""
    field = field_of(path)
    if field is None or field.default is None:
        return ""
    if field.kind in KINDS and field.default[:1].isdigit() and str(raw)[:1].isdigit():
        same = math.isclose(parse_quantity(field.default, field.kind), parse_quantity(raw, field.kind))
    else:
        same = str(raw) == field.default
    return "the default" if same else ""


def _fastener_rules(f: FastenerInput) -> dict[str, str]:
    found: dict[str, str] = {}
    known = size(f.size) if f.size else None
    if known is not None:
        found["fastener.across_flats_nominal"] = f"{known.name}, {known.source}"
        if math.isclose(known.height, f.engaged_depth):
            found["fastener.engaged_depth"] = f"nominal height of {known.name}, {known.source}"
    if f.grade:
        found["fastener.yield_strength"] = _grade_rule(f, known.diameter if known else None)
    kind = _material_of(f)
    elastic = material(kind, 0.0)
    if (f.elastic_modulus, f.poisson) == (elastic.elastic_modulus, elastic.poisson):
        found["fastener.elastic_modulus"] = found["fastener.poisson_ratio"] = (
            f"{kind}; {elastic_source(kind)}"
        )
    if math.isclose(f.corner_radius, 0.01 * f.across_flats):
        found["fastener.corner_radius"] = "sharp: 0.01 × across flats"
    if math.isclose(f.core_radius, 0.35 * f.across_flats):
        found["fastener.core_radius"] = "0.35 × across flats"
    return {path: rule for path, rule in found.items() if rule}


def _material_of(f: FastenerInput) -> str:
    """The material of the grade, steel without one."""
    return grade(f.grade).material if f.grade else "steel"


def _grade_rule(f: FastenerInput, diameter: float | None) -> str:
    try:
        entry = grade(f.grade or "", diameter)
    except ContactFEError:
        return ""  # a yield strength stands beside a grade that has no row for this diameter
    return (
        f"least of {grade_words(entry.name)}, {entry.source}"
        if math.isclose(entry.yield_min, f.yield_strength)
        else ""
    )


def _wrench_rules(case: CaseInput) -> dict[str, str]:
    w, f = case.wrench, case.fastener
    found = {
        f"wrench.{name}": "given in the case" if rule == "given" else rule
        for name, rule in w.rules.items()
        if rule
    }
    steel = material("steel", 0.0)
    if (w.elastic_modulus, w.poisson) == (steel.elastic_modulus, steel.poisson):
        found["wrench.elastic_modulus"] = found["wrench.poisson_ratio"] = f"steel; {elastic_source('steel')}"
    if w.family.drawn:
        return {**found, "wrench.opening": "measured in the outline"}
    try:
        limits = opening_limits(f.across_flats_nominal, f.inch)
    except ContactFEError:
        return found  # no standard reaches this width: the opening was given
    for word, value in (("tight", limits.lower), ("middle", limits.middle), ("loose", limits.upper)):
        if math.isclose(w.opening, value):
            found["wrench.opening"] = (
                f"{word} in {limits.lower:.2f} to {limits.upper:.2f} mm, {limits.source}"
            )
    return found


def _other_rules(case: CaseInput) -> dict[str, str]:
    s, mesh = case.fastener.across_flats, case.mesh
    found: dict[str, str] = {}
    if math.isclose(mesh.edge_at_contact, 0.012 * s):
        found["mesh.edge_at_contact"] = "0.012 × across flats"
    if math.isclose(mesh.edge_max, 0.12 * s):
        found["mesh.edge_max"] = "0.12 × across flats"
    if math.isclose(case.contact.constraint_factor, 1.155):
        found["contact.constraint_factor"] = (
            "2/√3: largest pressure at yield without friction, von Mises, plane stress; friction takes off"
        )
    return found
