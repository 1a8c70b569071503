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

from .errors import ContactFEError

Kind = Literal["length", "stress", "angle", "fraction", "torque"]

_PLAIN = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
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
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        raise ContactFEError(f'"{text}" is not a number', hint="write 16, 0.5 or 1-1/2", slug="number")
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
    factor, found = _factor(unit)
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


def is_inch(text: Any) -> bool:
    """Return whether a length was written in inches, which decides the standard its wrench opening
    follows."""
    return isinstance(text, str) and re.search(r"[\d\s](in|inch|inches)$", text.strip()) is not None


def _split(text: Any, info: _KindInfo) -> tuple[str, str, re.Match[str]]:
    """Split text into number and unit; raise with the right example when one of them is missing."""
    first, second = info.examples
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        shown = str(text).lower() if isinstance(text, bool) else f"a {type(text).__name__}"
        raise ContactFEError(
            f"{shown} is not {info.noun}", hint=f'write "{first}" or "{second}"', slug="unit"
        )
    stripped = str(text).strip()
    match = _NUMBER.match(stripped)
    if match is None:
        raise ContactFEError(
            f'"{stripped}" is not {info.noun}', hint=f'write "{first}" or "{second}"', slug="unit"
        )
    unit = stripped[match.end() :].strip()
    if not unit:
        raise ContactFEError(f"{stripped} has no unit", hint=_with_unit(stripped, match, info), slug="unit")
    if unit.startswith(","):
        raise ContactFEError(
            f'"{stripped}" has a decimal comma', hint=f'write a point, such as "{first}"', slug="number"
        )
    if _UNIT.fullmatch(unit) is None:
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
