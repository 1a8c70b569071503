"""How strong the two bodies are: from a yield strength, a grade, or a hardness, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import ContactFEError
from ..materials import WRENCH_YIELD, WRENCH_YIELD_SOURCE
from ..standards import (
    TOOL_YIELD_SHARE,
    Grade,
    HexSize,
    grade,
    parse_hardness,
    size,
    tensile_from_hv,
    yield_from_hv,
)
from ..units import format_quantity
from .model import FastenerInput
from .resolver import Resolver

_YIELD, _HARDNESS, _GRADE = "fastener.yield_strength", "fastener.hardness", "fastener.grade"


@dataclass(frozen=True)
class Strength:
    """Yield strength of the fastener (MPa, None when it has a problem), the material of its elastic constants, and
    tensile over yield strength (None where nothing tells it)."""

    value: float | None
    material: str = "steel"
    tensile_ratio: float | None = None


def fastener_strength(work: Resolver, known: HexSize | None, width: float | None) -> Strength:
    """Return the strength of the fastener. A yield strength counts before a hardness, a hardness before the grade,
    which then still tells the material and the ratio of tensile to yield strength. `width` is nominal across flats."""
    _check_pairs(work)
    found = _grade(work, known, width)
    if found is None and work.given(_GRADE):
        return Strength(None)
    given, hardness = work.values.get(_YIELD), work.values.get(_HARDNESS)
    if given is not None:
        strength = _by_yield(work, given, found)
    elif hardness is not None:
        strength = _by_hardness(work, hardness, found)
    elif found is not None:
        strength = _by_grade(work, found)
    else:
        if not any(work.given(path) for path in (_GRADE, _YIELD, _HARDNESS)):
            work.problem(_GRADE, "missing", 'write grade = "8.8" or yield_strength = "640 MPa"')
        return Strength(None)
    return _with_tensile(work, strength)


def wrench_strength(work: Resolver) -> float:
    """Return the yield strength of the wrench (MPa): as given, by its hardness, or the default."""
    path, hardness = "wrench.yield_strength", work.values.get("wrench.hardness")
    if work.given(path) and hardness is not None:
        work.problem("wrench.hardness", "stands beside yield_strength", "keep one of the two")
    if work.given(path):
        return float(work.values.get(path, WRENCH_YIELD))
    if hardness is None:
        work.origins[path] = f"default: {WRENCH_YIELD_SOURCE}"
        return WRENCH_YIELD
    tensile = tensile_from_hv(parse_hardness(hardness).hv)
    work.origins[path] = (
        f"{hardness}: {TOOL_YIELD_SHARE:g} of a tensile strength of {tensile:.0f} MPa (ASTM E140, A370; quenched and "
        "tempered steel)"
    )
    return TOOL_YIELD_SHARE * tensile


def grade_row(fastener: FastenerInput) -> Grade | None:
    """Return the row of the fastener's grade for its thread, or for its width where the grade is that of a bar steel.

    None without a grade. Raises ContactFEError where the grade has no row for it.
    """
    if fastener.grade is None:
        return None
    known = size(fastener.size) if fastener.size else None
    return _row(fastener.grade, known, fastener.across_flats_nominal)


def _row(name: str, known: HexSize | None, width: float | None) -> Grade:
    found = grade(name)
    section = width if found.product == "bar" else known.diameter if known else None
    return found if section is None else grade(name, section)


def _check_pairs(work: Resolver) -> None:
    """Record keys that contradict each other or have no use."""
    if _YIELD in work.values and _HARDNESS in work.values:
        work.problem(_HARDNESS, "stands beside yield_strength", "keep one of the two")
    if "fastener.yield" in work.values:
        other = next((key for key in (_YIELD, _HARDNESS) if work.given(key)), None)
        if other is not None:
            name = other.partition(".")[2]
            work.problem(
                "fastener.yield", f"has no use beside {name}", "it chooses a strength of the grade; remove it"
            )
        elif not work.given(_GRADE):
            work.problem("fastener.yield", "needs a grade", 'write grade = "8.8" beside it')


def _grade(work: Resolver, known: HexSize | None, width: float | None) -> Grade | None:
    name = work.values.get(_GRADE)
    if name is None:
        return None
    try:
        return grade(name) if work.values.get(_YIELD) is not None else _row(name, known, width)
    except ContactFEError as error:
        work.problem(_GRADE, error.message, error.hint)
        return None


def _by_yield(work: Resolver, given: float, found: Grade | None) -> Strength:
    if found is None:
        return Strength(given)
    if abs(given - found.yield_min) > 1e-9:
        work.cautions.append(
            f"[fastener] yield_strength: {format_quantity(given, 'stress')} replaces the least of "
            f"grade {found.name}, {format_quantity(found.yield_min, 'stress')}"
        )
    return Strength(given, found.material, found.tensile_min / found.yield_min)


def _by_hardness(work: Resolver, hardness: str, found: Grade | None) -> Strength:
    if found is not None and found.material != "steel":
        work.problem(
            _HARDNESS,
            f"says nothing about {found.name}: the conversion is for steel",
            "give yield_strength instead",
        )
        return Strength(None, found.material)
    hv = parse_hardness(hardness).hv
    tensile = tensile_from_hv(hv)
    if found is not None:
        ratio = found.tensile_min / found.yield_min
        value = tensile / ratio
        how = f"in the ratio of the least values of {found.name}"
    else:
        value = yield_from_hv(hv)
        ratio = tensile / value
        how = "2.876 HV - 90.7 (Pavlina & Van Tyne 2008, from memory), +-15 %"
    work.origins[_YIELD] = (
        f"{hardness} = {hv:.0f} HV: tensile strength {tensile:.0f} MPa (ASTM E140, A370; below 248 HV 3.2 MPa per HV), "
        f"yield {how}"
    )
    return Strength(value, "steel", ratio)


def _by_grade(work: Resolver, found: Grade) -> Strength:
    ratio = found.tensile_min / found.yield_min
    if work.get("fastener.yield") == "typical":
        typical = found.yield_typical
        if typical is None:
            work.problem(
                "fastener.yield", f"no typical value is known for {found.name}", 'write yield = "least"'
            )
            return Strength(None, found.material)
        work.origins[_YIELD] = typical[1]
        return Strength(typical[0], found.material, ratio)
    work.origins[_YIELD] = f"least of {found.name}, {found.source}"
    return Strength(found.yield_min, found.material, ratio)


def _with_tensile(work: Resolver, strength: Strength) -> Strength:
    """Take a tensile strength that is given in place of the grade's ratio."""
    path = "fastener.tensile_strength"
    given = work.values.get(path)
    if given is None or strength.value is None:
        if strength.tensile_ratio is not None:
            work.origins[path] = "in proportion to the yield strength"
        return strength
    if given < strength.value * (1.0 - 1e-9):
        least = format_quantity(strength.value, "stress")
        work.problem(
            path, f"{format_quantity(given, 'stress')} is below the yield strength, {least}", "swap them?"
        )
        return strength
    return Strength(strength.value, strength.material, given / strength.value)
