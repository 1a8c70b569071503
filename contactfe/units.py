"""Text with a unit in, a float in internal units out, and back.

Internal units are N, mm, MPa and rad; a torque is N*mm and a fraction is a plain number (0.2 for "20 %").
The unit library is imported on first use only, because reading `--help` should not pay for it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from .errors import ContactFEError, shown

MM_PER_INCH = 25.4

Kind = Literal["length", "stress", "angle", "fraction", "torque"]

_PLAIN = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_LONGEST = 200  # characters of a number or quantity; nothing that long is one
_NUMBER = re.compile(
    rf"(?P<sign>[+-]?)(?:(?:(?P<whole>[0-9]+)[- ])?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)|(?P<plain>{_PLAIN}))"
)
# Only whole products of powers reach the unit library, whose own parser fails oddly on "mm*" or "mm)".
_ATOM = r"[A-Za-zµμ]+(?:(?:\^|\*\*)-?[1-9])?"
_UNIT = re.compile(rf"{_ATOM}(?:\s*[*/·]\s*{_ATOM})*|%|°")


@dataclass(frozen=True)
class _KindInfo:
    noun: str
    internal: str
    shown: str
    shown_factor: float
    usual: tuple[str, ...]
    examples: tuple[str, str]


# shown_factor is exact, so that writing a quantity needs no unit library.
KINDS: dict[Kind, _KindInfo] = {
    "length": _KindInfo("a length", "mm", "mm", 1.0, ("mm", "cm", "m", "in", "ft"), ("16 mm", "1/2 in")),
    "stress": _KindInfo(
        "a stress", "MPa", "MPa", 1.0, ("MPa", "GPa", "N/mm^2", "ksi", "psi"), ("640 MPa", "92 ksi")
    ),
    "angle": _KindInfo("an angle", "rad", "deg", math.pi / 180.0, ("deg", "rad"), ("15 deg", "0.26 rad")),
    "fraction": _KindInfo("a share in percent", "dimensionless", "%", 0.01, ("%",), ("20 %", "0.4 %")),
    "torque": _KindInfo(
        "a torque", "N*mm", "N*m", 1000.0, ("N*m", "N*mm", "lbf*in", "lbf*ft"), ("66 N*m", "300 lbf*in")
    ),
}


def parse_number(text: str) -> float:
    """Return the number written as "16", "-0.5", "1e3", "5/16", "1-1/2" or "1 1/2".

    Raises ContactFEError (slug "number") when the text is anything else or not finite.
    """
    match = _NUMBER.fullmatch(text.strip()) if len(text) <= _LONGEST else None
    if match is None:
        raise ContactFEError(f'"{shown(text)}" is not a number', hint="write 16, 0.5 or 1-1/2", slug="number")
    return _value(match, text)


def parse_quantity(text: Any, kind: Kind) -> float:
    """Return the quantity `text` ("16 mm", "5/16 in", "92 ksi", "40 %", "15 deg") in internal units.

    `kind` is the kind that is expected here. Raises ContactFEError (slug "unit" or "number") whose hint shows
    how to write the quantity: for a bare number, an unknown unit, a unit of another kind, or text that is no
    quantity.
    """
    info = KINDS[kind]
    number, unit, match = _split(text, info)
    value = _value(match, number)
    factor, found = (
        (_torque_factor(unit), kind) if kind == "torque" and _torque_factor(unit) else _factor(unit)
    )
    if found is None:
        raise ContactFEError(
            f'"{text}" has an unknown unit "{unit}"',
            hint=f"usual units here: {', '.join(info.usual)}",
            slug="unit",
        )
    if found != kind:
        what = "is of another kind:" if found == "other" else f"is {KINDS[found].noun}, but"
        raise ContactFEError(
            f'"{text}" {what} {info.noun} is expected',
            hint=f'write "{info.examples[0]}" or "{info.examples[1]}"',
            slug="unit",
        )
    result = tidy(value * factor) if kind == "length" else value * factor
    if not math.isfinite(result):
        raise ContactFEError(
            f'"{text}" is too large', hint=f'write {info.noun} such as "{info.examples[0]}"', slug="number"
        )
    return result


def format_quantity(value: float, kind: Kind) -> str:
    """Return `value` (internal units) as text with a unit, 12 significant digits: "16 mm", "15 deg", "20 %",
    "66 N*m".

    Reading the text back with `parse_quantity` gives the value to a relative 1e-11.
    """
    info = KINDS[kind]
    return f"{value / info.shown_factor:.12g} {info.shown}"


def format_length(value: float) -> str:
    """Return a length in mm as text with its unit."""
    return format_quantity(value, "length")


def tidy(value: float) -> float:
    """Return `value` rounded to 15 digits, so that 1-1/2 in is 38.1 mm and not 38.099999999999994 mm."""
    return float(f"{value:.15g}")


def whole_text(value: Any) -> str:
    """Return a value as text without spaces around it; whole numbers of hundreds of digits in words."""
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 4 * _LONGEST:
        return f"a whole number of more than {_LONGEST} digits"
    return str(value).strip()


def is_inch(text: Any) -> bool:
    """Return whether a length was written in inches, which decides the standard its wrench opening
    follows."""
    return isinstance(text, str) and re.search(r"[\d\s](in|inch|inches)$", text.strip()) is not None


# Torque is written in many ways, "ft-lb", "N m", "kgf*cm", in either order: a force and a length in one of each's names.
_FORCE = {
    **dict.fromkeys(("n", "newton", "newtons"), 1.0),
    "dan": 10.0,
    "kn": 1e3,
    **dict.fromkeys(("lb", "lbs", "lbf", "pound", "pounds"), 4.4482216152605),
    **dict.fromkeys(("oz", "ozf", "ounce", "ounces"), 4.4482216152605 / 16.0),
    **dict.fromkeys(("kgf", "kg", "kp"), 9.80665),
}
_LENGTH = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1000.0),
    "cm": 10.0,
    "mm": 1.0,
    **dict.fromkeys(("in", "inch", "inches"), MM_PER_INCH),
    **dict.fromkeys(("ft", "foot", "feet"), 12.0 * MM_PER_INCH),
}
_TORQUE_JOIN = re.compile(r"[\s*·⋅.×-]+")


@lru_cache(maxsize=256)
def _torque_factor(unit: str) -> float:
    """Return N mm per unit of a torque in any usual spelling, 0.0 where it is none: "N m", "Nm", "ft-lb", "kgf*m"."""
    words = [word for word in _TORQUE_JOIN.split(unit.strip().casefold()) if word]
    if len(words) == 1:
        whole = words[0]
        words = next(
            ([whole[:i], whole[i:]] for i in range(1, len(whole)) if _product(whole[:i], whole[i:])), words
        )
    return tidy(_product(*words)) if len(words) == 2 else 0.0


def _product(first: str, second: str) -> float:
    """Return force times length in N mm for two words in either order, 0.0 where they are not these."""
    forwards = _FORCE.get(first, 0.0) * _LENGTH.get(second, 0.0)
    return forwards or _LENGTH.get(first, 0.0) * _FORCE.get(second, 0.0)


def _split(text: Any, info: _KindInfo) -> tuple[str, str, re.Match[str]]:
    """Split text into number and unit; raise with the right example when one of them is missing."""
    first, second = info.examples
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        what = str(text).lower() if isinstance(text, bool) else f"a {type(text).__name__}"
        raise ContactFEError(f"{what} is not {info.noun}", hint=f'write "{first}" or "{second}"', slug="unit")
    stripped = whole_text(text)
    if len(stripped) > _LONGEST:
        raise ContactFEError(
            f'"{shown(stripped)}" is not {info.noun}', hint=f'write "{first}" or "{second}"', slug="unit"
        )
    match = _NUMBER.match(stripped)
    if match is None:
        raise ContactFEError(
            f'"{stripped}" is not {info.noun}', hint=f'write "{first}" or "{second}"', slug="unit"
        )
    unit = stripped[match.end() :].strip().replace("²", "^2").replace("mm2", "mm^2")
    if not unit:
        raise ContactFEError(f"{stripped} has no unit", hint=_with_unit(stripped, match, info), slug="unit")
    if unit.startswith(","):
        raise ContactFEError(
            f'"{stripped}" has a decimal comma', hint=f'write a point, such as "{first}"', slug="number"
        )
    if _UNIT.fullmatch(unit) is None and not (info is KINDS["torque"] and _torque_factor(unit)):
        raise ContactFEError(
            f'"{stripped}" is not {info.noun}', hint=f'write "{first}" or "{second}"', slug="unit"
        )
    return match.group(), unit, match


def _with_unit(number: str, match: re.Match[str], info: _KindInfo) -> str:
    """Return how the bare number should have been written."""
    if info.shown == "%":
        value = _value(match, number)
        percent = value * 100.0 if abs(value) <= 1.0 else value
        return f'write "{percent:.6g} %"'
    if info is KINDS["length"] and "/" in number:
        return f'write "{number} in"'  # a fraction is never of millimetres
    return f'write "{number} {info.shown}" or "{info.examples[1]}"'


def _value(match: re.Match[str], text: str) -> float:
    """Return the value of a matched number."""
    if match["plain"] is not None:
        size = float(match["plain"])
    elif float(match["bottom"]) == 0.0:
        raise ContactFEError(f'"{text}" divides by zero', hint="write 16, 0.5 or 1-1/2", slug="number")
    else:
        size = float(match["whole"] or 0) + float(match["top"]) / float(match["bottom"])
    if not math.isfinite(size):
        raise ContactFEError(f'"{text}" is too large', hint="write 16, 0.5 or 1-1/2", slug="number")
    return -size if match["sign"] == "-" else size


@lru_cache(maxsize=1)
def _registry() -> Any:
    """Return the one unit registry of the process."""
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=256)
def _factor(unit: str) -> tuple[float, Kind | Literal["other"] | None]:
    """Return (factor to internal units, kind) of a unit.

    The kind is None for an unknown unit and "other" for a known one of no kind used here. Root units, not
    dimensions, are compared: degree and percent have the same (no) dimension but are not the same kind.
    """
    import pint

    registry = _registry()
    try:
        root = registry.Quantity(1.0, registry.parse_units(unit)).to_root_units()
        for kind, info in KINDS.items():
            internal = registry.Quantity(1.0, info.internal)
            if root.units == internal.to_root_units().units:
                factor = float(root.to(internal.units).magnitude)
                # The registry chains its factors: 1 GPa comes out as 1000.0000000000001 MPa.
                return (factor if kind == "angle" else tidy(factor)), kind
    except (pint.errors.PintError, ValueError, TypeError, AttributeError, SyntaxError):
        return 1.0, None
    return 1.0, "other"
