"""The limits that standards give for an input of a case."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from contactfe.errors import ContactFEError, nearest
from contactfe.inputs import CaseInput, grade_row, parse_case, set_path
from contactfe.standards import (
    FrictionClass,
    across_flats_min,
    bar_across_flats_min,
    friction_classes,
    head_chamfer,
    opening_limits,
    size,
)

HAVE_LIMITS = (
    "fastener.across_flats",
    "fastener.engaged_depth",
    "fastener.yield_strength",
    "fastener.corner",
    "fastener.chamfer_angle",
    "wrench.opening",
    "contact.friction",
)
"""Inputs for which a standard gives limits."""

Limits = tuple[float, float, str]


def standard_limits(path: str, base: Mapping[str, Any], case: CaseInput, table: Mapping[str, Any]) -> Limits:
    """Least and largest value (internal units) and their source, for an input of a resolved case.

    `base` are the raw tables of the case, `table` is the distribution as written: its "nominal" or "class"
    tells the friction class. Raises ContactFEError (slug "no-limits") where the standard gives none.
    """
    if path not in HAVE_LIMITS:
        raise _none("no standard gives limits for it")
    if path == "contact.friction":
        return friction_limits(table)
    if path == "wrench.opening":
        return _opening(case)
    if path == "fastener.yield_strength":
        return _strength(case)
    if path == "fastener.across_flats":
        return _width(case)
    if case.fastener.size is None:
        raise _none("across_flats alone tells no size of a standard", 'give size = "M10", or low and high')
    known = size(case.fastener.size)
    if path == "fastener.engaged_depth":
        return known.height_min, known.height_max, known.source
    if path == "fastener.chamfer_angle":
        chamfer = head_chamfer(known.item)
        return chamfer.angle_low, chamfer.angle_high, chamfer.source
    ends = [parse_case(set_path(base, path, word)).fastener.corner_radius for word in ("sharp", "minimum")]
    return ends[0], ends[1], f"sharp to least across corners, {known.source}"


def _opening(case: CaseInput) -> Limits:
    if case.wrench.family.drawn:
        raise _none("its file holds the opening of an outline", "draw the openings, one file each")
    f = case.fastener
    found = opening_limits(f.across_flats_nominal, f.inch)
    return found.lower, found.upper, found.source


def _width(case: CaseInput) -> Limits:
    f = case.fastener
    known = size(f.size) if f.size is not None else None
    if known is not None and (known.item == "nut" or f.stock == "bolt"):
        return known.across_flats_min, known.across_flats, known.source
    try:
        if f.stock == "bar":
            least, source = (
                bar_across_flats_min(f.across_flats_nominal),
                "h11 of drawn bars, EN 10278 (from memory)",
            )
        else:
            least, source = across_flats_min(f.across_flats_nominal, "A"), "ISO 4759-1, product grade A"
    except ContactFEError as error:
        raise _none(error.message) from error
    return least, f.across_flats_nominal, source


def _strength(case: CaseInput) -> Limits:
    known = grade_row(case.fastener)
    if known is None:
        raise _none("the case names no grade", 'write grade = "8.8", or low and high')
    if known.yield_upper is None:
        raise _none(f"{known.source} gives no upper end for {known.name}")
    return known.yield_min, known.yield_upper, f"{known.source}, upper end {known.upper_source}"


def friction_limits(table: Mapping[str, Any]) -> Limits:
    """Limits of the friction class that "class" names or that "nominal" alone lies in.

    Raises ContactFEError for an unknown class, one without an upper limit, or a value in several classes.
    """
    classes = friction_classes()
    names = [entry.name for entry in classes]
    wanted = table.get("class")
    if wanted is not None:
        found = [entry for entry in classes if entry.name == str(wanted).strip().upper()]
        if not found:
            raise ContactFEError(
                f'"{wanted}" is no friction class',
                hint=nearest(str(wanted).upper(), names) or f"classes of VDI 2230: {', '.join(names)}",
                slug="friction-class",
            )
        return _of_class(found[0])
    nominal = table.get("nominal")
    if nominal is None:
        raise _none("no class is named", f'write class = "B"; classes of VDI 2230: {", ".join(names)}')
    value = float(nominal)
    inside = [entry for entry in classes if entry.low <= value <= (entry.high or float("inf"))]
    if len(inside) != 1:
        held = " and ".join(f"{e.name} ({e.low:g} to {e.high or 'no limit'})" for e in inside) or "none"
        raise _none(f"{value:g} lies in class {held}", 'name one: class = "B"')
    return _of_class(inside[0])


def _of_class(entry: FrictionClass) -> Limits:
    if entry.high is None:
        raise _none(f"class {entry.name} has no upper limit")
    return entry.low, entry.high, f"{entry.source}, class {entry.name}"


def _none(why: str, hint: str = "write low and high, or mean and sd") -> ContactFEError:
    return ContactFEError(f'limits = "standard" says nothing here: {why}', hint=hint, slug="no-limits")
