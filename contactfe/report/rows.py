"""Rows of a results table made ready for figures and pages: what was swept, values to plot."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from contactfe.errors import ContactFEError
from contactfe.inputs import field_of
from contactfe.report.reader_units import reader
from contactfe.report.words import PROFILES, grade_words
from contactfe.standards import grade, size
from contactfe.study import FIRST_TO_GO, label, mark
from contactfe.units import KINDS, parse_number, parse_quantity

Row = Mapping[str, Any]
Outcome = Literal["holds", "free", "failed"]

PROFILE, ROUNDING = "wrench.profile", "fastener.rounding"
STRENGTHS = ("fastener.grade", "fastener.yield_strength")
_TRUE = ("true", "yes", "1")


@dataclass(frozen=True)
class Swept:
    """One swept input: its dotted `path`, what it is called, its unit, and its values in order."""

    path: str
    label: str
    unit: str
    values: tuple[Any, ...]

    @property
    def numeric(self) -> bool:
        """Whether every value is a number."""
        return all(isinstance(v, float) for v in self.values)

    @property
    def axis(self) -> str:
        """The label with its unit, for an axis or a column."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


def end_of(row: Row) -> str:
    """Return what ends the pull of a row ("grip", "wrench", "bolt", "bar", "turns-freely"), "failed" without an answer.

    A table without that column, as an older one, says only whether the grip is lost.
    """
    if str(row.get("turns_freely")).strip().lower() in _TRUE:
        return "turns-freely"
    if _delivered(row) is None:
        return "failed"
    return str(row.get("ended_by") or "grip")


def outcome(row: Row) -> Outcome:
    """Return what became of a case: it delivers a torque, turns freely, or has no answer."""
    end = end_of(row)
    return "failed" if end == "failed" else "free" if end == "turns-freely" else "holds"


def _delivered(row: Row) -> float | None:
    torque = answer(row, "torque_Nm")
    return answer(row, "slip_torque_Nm") if torque is None else torque


def answer(row: Row, key: str) -> float | None:
    """Return a number of a row, None where it is absent, empty or not finite."""
    raw = row.get(key)
    if raw is None or isinstance(raw, bool) or not str(raw).strip():
        return None
    try:
        value = float(raw)
    except (TypeError, ValueError):
        return None
    return value if math.isfinite(value) else None


def band_of(row: Row) -> tuple[float, float, float] | None:
    """Return median, 10 % and 90 % of the torque (N m) of a row that has a band, None for another."""
    for prefix in ("torque", "slip_torque"):  # the second in older tables
        found = [answer(row, f"{prefix}_{name}_Nm") for name in ("median", "p10", "p90")]
        if None not in found:
            return tuple(found)  # type: ignore[return-value]
    return None


def torque_of(row: Row) -> float | None:
    """Return the torque (N m) that stands for a row: the median of its band, else what the pair delivers.

    0 where the wrench turns freely, None without an answer.
    """
    band = band_of(row)
    if band is not None:
        return band[0]
    return 0.0 if outcome(row) == "free" else _delivered(row)


def value_of(row: Row, path: str) -> Any:
    """Return a swept input as a number in the unit its axis shows, or as text where it is a word.

    Text with a unit is read; a bare number of a quantity is taken in internal units (a share of 0.2 is 20 %).
    """
    raw, field = row.get(path), field_of(path)
    if raw is None or field is None or isinstance(raw, bool):
        return "" if raw is None else str(raw)
    if field.kind in KINDS:
        factor = KINDS[field.kind].shown_factor * reader().scale(_si_unit(path))[0]
        if isinstance(raw, int | float):
            return _tidy(float(raw) / factor)
        return _read(str(raw), lambda text: parse_quantity(text, field.kind) / factor)
    if field.kind in ("number", "integer"):
        return float(raw) if isinstance(raw, int | float) else _read(str(raw), parse_number)
    return str(raw).strip()


def _read(text: str, reader: Any) -> Any:
    try:
        return _tidy(float(reader(text)))
    except ContactFEError:
        return text.strip()


def _tidy(value: float) -> float:
    return float(f"{value:.12g}")


def swept_inputs(rows: Sequence[Row]) -> tuple[Swept, ...]:
    """Return the inputs of which the rows hold more than one value, in the order of the columns."""
    paths = dict.fromkeys(key for row in rows for key in row if "." in key and field_of(key) is not None)
    found = []
    for path in paths:
        values = tuple(sorted({value_of(row, path) for row in rows} - {""}, key=lambda v: _order(path, v)))
        if len(values) > 1:
            found.append(Swept(path, _label(path), _unit(path), values))
    return tuple(found)


def strength_of(row: Row) -> float:
    """Return the yield strength that a row states, MPa: its own, else the least of its grade, else 0."""
    own = value_of(row, "fastener.yield_strength")
    if isinstance(own, float):
        return own * reader().scale("MPa")[0]
    return _grade_yield(str(value_of(row, "fastener.grade")))


def value_words(path: str, value: Any) -> str:
    """Return one value of a swept input as a legend or a table names it."""
    if isinstance(value, float):
        unit = _unit(path)
        return f"{value:.4g} {unit}".strip() if reader().units == "inch" else f"{value:g} {unit}".strip()
    if path == PROFILE:
        return PROFILES.get(value, value)
    return grade_words(str(value)) if path == "fastener.grade" else str(value)


def row_words(row: Row, paths: Sequence[str]) -> str:
    """Return the values of some inputs of a row in one line."""
    parts = []
    for path in paths:
        text = value_words(path, value_of(row, path))
        parts.append(text if path in (PROFILE, "fastener.grade") else f"{_label(path)} {text}")
    return ", ".join(parts)


def mark_of(row: Row) -> str:
    """Return the mark behind the torque of a row whose pull does not end by slip, else nothing."""
    return mark(row)


def ends_before_slip(row: Row) -> bool:
    """Return whether wrench, bolt or bar ends the pull of a row before the grip is lost."""
    return mark_of(row) in FIRST_TO_GO


def torque_words(row: Row) -> str:
    """Return the torque of a row as a table shows it, with its mark: "212.0*", or of a band "212.0 (180.1 to 241.3)"."""
    band = band_of(row)
    if band is not None:
        middle, low, high = (reader().number(value, "N·m") for value in band)
        return f"{middle} ({low} to {high}){mark_of(row)}"
    state = outcome(row)
    if state == "holds":
        return reader().number(torque_of(row) or 0.0, "N·m") + mark_of(row)
    return "turns freely" if state == "free" else "no answer"


def _label(path: str) -> str:
    return "rounding of the corners" if path == ROUNDING else label(path)


def _unit(path: str) -> str:
    return reader().scale(_si_unit(path))[1]


def _si_unit(path: str) -> str:
    field = field_of(path)
    if field is None or field.kind not in KINDS:
        return ""
    shown = KINDS[field.kind].shown
    return "N·m" if shown == "N*m" else shown


def _order(path: str, value: Any) -> tuple[int, float, str]:
    """Numbers by size, grades by strength, thread sizes by diameter, profiles in the fixed order, other
    words by name.
    """
    if isinstance(value, float):
        return 0, value, ""
    if path == "fastener.grade":
        return 1, _grade_yield(str(value)), str(value)
    if path == "fastener.size":
        return 1, _diameter(str(value)), str(value)
    names = list(PROFILES)
    return 2, float(names.index(value)) if path == PROFILE and value in names else 0.0, str(value)


def _grade_yield(name: str) -> float:
    try:
        return grade(name).yield_min
    except ContactFEError:
        return 0.0


def _diameter(name: str) -> float:
    try:
        return size(name).diameter
    except ContactFEError:
        return 0.0
