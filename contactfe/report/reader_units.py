"""Units of the reader: answers are kept in SI; a reader may see torque in lbf ft, lengths in inches, stress in ksi.

The one place that converts. Pages and figures read the reader's units from here: `with reading("inch"):` around
whatever draws or fills a page, as `decimal.localcontext` does for digits. Files of answers stay SI all the same.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

from contactfe.report.words import LBF_FT, LEAST_FT, length, number

Units = Literal["si", "inch"]

INCH = 25.4  # mm; exact
KSI = 6.894757293168361  # MPa; exact: 0.45359237 kg, 9.80665 m/s2 over the square of 0.0254 m, times 1000
LBF = 4.4482216152605  # N; exact
_FACTORS = {
    "mm": (INCH, "in"),
    "µm": (INCH, "mil"),  # a thousandth of an inch
    "MPa": (KSI, "ksi"),
    "N": (LBF, "lbf"),
    "MPa per N·m": (KSI / LBF_FT, "ksi per lbf·ft"),
    "µm per N·m": (INCH / LBF_FT, "mil per lbf·ft"),
}
_BETWEEN = r" to about | to | and |,? (?:and )?bending |/"
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_QUANTITY = re.compile(
    rf"(?<![\w.])(?P<first>{_NUMBER})(?:(?P<between>{_BETWEEN})(?P<second>{_NUMBER}))? "
    r"(?P<unit>N m|N·m|MPa per N m|MPa|GPa|mm|um|µm)(?! per|·|²|\w)"
)
"""A number, or two, with a unit that a reader in inches does not use."""


_POINT = re.compile(r"\((-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?)\) mm")


@dataclass(frozen=True)
class Reader:
    """Who reads: in which units, and whether all torques of a table are so `small` that they stand in lbf in (None: no
    table, each torque by itself).
    """

    units: Units = "si"
    small: bool | None = None

    def scale(self, unit: str) -> tuple[float, str]:
        """Return what an SI value is divided by, and the unit it then has: (6.894..., "ksi") for "MPa"."""
        if self.units == "si":
            return 1.0, unit
        feet = (LBF_FT / 12.0, "lbf·in") if self.small else (LBF_FT, "lbf·ft")
        if unit == "N·m":
            return feet
        if unit.endswith(" per N·m"):
            factor, name = _FACTORS[unit.removesuffix(" per N·m")]
            return factor / feet[0], f"{name} per {feet[1]}"
        return _FACTORS.get(unit, (1.0, unit))

    def number(self, value: float, unit: str) -> str:
        """Return a value as text without its unit, in the unit that `scale` names."""
        factor, name = self.scale(unit)
        return _inches(value / factor) if name == "in" else number(value / factor)


_SI = Reader()
_CURRENT: ContextVar[Reader] = ContextVar("reader", default=_SI)


def reader() -> Reader:
    """Return who reads what is drawn or written now."""
    return _CURRENT.get()


@contextmanager
def reading(units: Units, torques_Nm: Iterable[float] = ()) -> Iterator[Reader]:
    """Draw and write for a reader in these units inside the block; tables and sentences about these torques (N m) take one
    unit: lbf in where all of them stay below 20 lbf ft.
    """
    largest = max(torques_Nm, default=0.0)
    small = None if largest <= 0.0 else largest < LEAST_FT * LBF_FT
    mark = _CURRENT.set(Reader(units, small))
    try:
        yield _CURRENT.get()
    finally:
        _CURRENT.reset(mark)


def shown(value: float, unit: str, units: Units | None = None) -> tuple[str, str]:
    """Return a value as text with its unit for a reader: 66.0 N·m is ("48.7", "lbf·ft"); below 20 lbf ft in lbf in.

    Units that are the same for every reader, as degrees, stay. Without `units` for the current reader.
    """
    units = units or reader().units
    small = unit == "N·m" and abs(value) / LBF_FT < LEAST_FT
    told = Reader(units, small)
    return told.number(value, unit), told.scale(unit)[1]


def text_of(value: float, unit: str, units: Units | None = None) -> str:
    """Return a value with its unit in one text: "48.7 lbf·ft"."""
    return " ".join(shown(value, unit, units))


def torque(value: float) -> str:
    """Return a torque (N m) without its unit, in that of the reader's table."""
    return reader().number(value, "N·m")


def torque_unit() -> str:
    """Return the unit of the torques of the reader's table."""
    return reader().scale("N·m")[1]


def made_length(value: float) -> str:
    """Return a length (mm) without its unit, as a workshop makes it: to a hundredth of a mm, or a thousandth of an inch."""
    factor = reader().scale("mm")[0]
    return f"{value / factor:.2f}" if factor == 1.0 else f"{value / factor:.3f}"


def bare_length(value: float) -> str:
    """Return a length (mm) without its unit, as a drawing shows it: at most two decimals in mm, three in inches."""
    return length(value) if reader().units == "si" else _inches(value / INCH)


def length_text(value: float) -> str:
    """Return a length (mm) with its unit, as a drawing shows it."""
    return f"{bare_length(value)} {reader().scale('mm')[1]}"


def both(torque_Nm: float, units: Units | None = None) -> str:
    """Return a torque in both units, that of the reader first: "66.0 N·m (48.7 lbf·ft)"."""
    metric, inch = (text_of(torque_Nm, "N·m", one) for one in ("si", "inch"))
    return f"{inch} ({metric})" if (units or reader().units) == "inch" else f"{metric} ({inch})"


def in_words(text: str, units: Units | None = None) -> str:
    """Return a sentence with every quantity in it in the reader's units: "12.5 mm" is "0.492 in" for one in inches.

    Sentences of the layers below state SI; a number keeps about the digits that it has there.
    """
    if (units or reader().units) == "si":
        return text
    return _QUANTITY.sub(_reworded, _POINT.sub(_moved, text))


def _moved(found: re.Match[str]) -> str:
    x, y = (f"{float(one) / INCH:.3f}" for one in found.groups())
    return f"({x}, {y}) in"


def _reworded(found: re.Match[str]) -> str:
    unit = {"N m": "N·m", "um": "µm", "GPa": "MPa"}.get(found["unit"], found["unit"])
    times = 1e3 if found["unit"] == "GPa" else 1.0
    values = [times * float(one) for one in (found["first"], found["second"]) if one]
    small = reader().small
    if small is None:
        small = max(map(abs, values)) < LEAST_FT * LBF_FT
    factor, name = Reader("inch", small).scale(unit)
    sources = [one for one in (found["first"], found["second"]) if one is not None]
    texts = [
        _inches(value / factor) if name == "in" else _digits(source, value / factor)
        for source, value in zip(sources, values, strict=True)
    ]
    plain = name if found["unit"] == "N·m" else name.replace("·", " ")
    return f"{(found['between'] or '').join(texts)} {plain}"


def _inches(value: float) -> str:
    """A length in inches to a thousandth, as drawings in inches state it; smaller ones with two digits."""
    return f"{value:.3f}" if abs(value) >= 0.01 or value == 0 else f"{value:.2g}"


def _digits(source: str, value: float) -> str:
    """A number with at least three digits, more where its source has more, and the sign the source shows."""
    digits = max(3, len(source.lstrip("+-0.").replace(".", "")))
    text = f"{value:#.{digits}g}".rstrip(".") if 1e-4 < abs(value) < 10**digits else f"{value:.0f}"
    return f"+{text}" if source.startswith("+") and value >= 0 else text
