"""A calibration file: constants of the model as they were fitted to measurements, which a case names by its file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import InputError, Problem, nearest
from .fields import FORMAT, field_of
from .reading import read_toml
from .schema import Checked

CALIBRATED = ("contact.constraint_factor", "contact.friction")
"""Constants that a calibration may hold."""
_ABOUT = ("format", "study", "readings", "readings_used", "error_before_percent", "error_after_percent")
_SIGMA = "model_sigma"
MOST_SIGMA = 1.0  # a factor of 3.6 each way in eight of ten readings


@dataclass(frozen=True)
class Constant:
    """One fitted constant: dotted path, value and its 95 % interval."""

    path: str
    value: float
    low: float
    high: float


def read_calibration(path: Path) -> tuple[Constant, ...]:
    """The constants of a calibration file. Raises InputError with every problem of it."""
    raw = read_toml(path)
    problems: list[Problem] = []
    if raw.get("format") != FORMAT:
        problems.append(Problem("format", "is not that of a calibration", f"write format = {FORMAT}"))
    found = []
    for key, table in raw.items():
        if key in CALIBRATED:
            constant = _constant(key, table)
            if constant is None:
                problems.append(
                    Problem(
                        f'["{key}"]',
                        "is not value, low and high in order",
                        "as compare --calibrate writes it",
                    )
                )
            else:
                found.append(constant)
        elif key == _SIGMA:
            if _sigma(table) is None:
                hint = f"the standard deviation of the logarithm, above 0 and up to {MOST_SIGMA:g}"
                problems.append(Problem(_SIGMA, f"{table!r} is not a scatter", hint))
        elif key not in _ABOUT:
            known = ", ".join(CALIBRATED)
            problems.append(
                Problem(str(key), "cannot be calibrated", nearest(str(key), CALIBRATED) or f"known: {known}")
            )
    if not found and not problems:
        problems.append(Problem("", "holds no constant", "write it by compare --calibrate"))
    if problems:
        raise InputError(problems, source=str(path), slug="calibration")
    return tuple(found)


def _constant(path: str, table: Any) -> Constant | None:
    field = field_of(path)
    if field is None or not isinstance(table, Mapping) or set(table) != {"value", "low", "high"}:
        return None
    numbers = [table[key] for key in ("low", "value", "high")]
    if any(isinstance(n, bool) or not isinstance(n, int | float) or not math.isfinite(n) for n in numbers):
        return None
    low, value, high = map(float, numbers)
    return Constant(path, value, low, high) if field.low <= low <= value <= high <= field.high else None


def constants_of(raw: Mapping[str, Any], folder: Path | None) -> dict[str, Constant]:
    """The calibrated constants that a raw case names and does not write itself, by dotted path."""
    name = raw.get("calibration")
    if not isinstance(name, str):
        return {}
    contact = raw.get("contact", {})
    own = contact if isinstance(contact, Mapping) else {}
    found = read_calibration((folder or Path()) / name)
    return {c.path: c for c in found if c.path.partition(".")[2] not in own}


def calibrated_sigma(raw: Mapping[str, Any], folder: Path | None) -> tuple[float, str] | None:
    """Sigma of the model's own error from the calibration that a raw case names, and the name of its file.

    None where there is no calibration, where it holds none, or where the case writes one of its constants itself: what
    the readings scatter about is then another model.
    """
    name = raw.get("calibration")
    if not isinstance(name, str):
        return None
    path = (folder or Path()) / name
    if len(constants_of(raw, folder)) < len(read_calibration(path)):
        return None
    sigma = _sigma(read_toml(path).get(_SIGMA))
    return None if sigma is None else (sigma, Path(name).name)


def _sigma(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 < value <= MOST_SIGMA:
        return None
    return float(value)


def calibrated(checked: Checked, folder: Path | None) -> tuple[Checked, dict[str, str], list[str]]:
    """The keys of a case with the constants of its calibration put in, their origins, and cautions that name it.

    What the case writes itself stays.
    """
    name = checked.values.get("calibration")
    if name is None:
        return checked, {}, []
    try:
        found = read_calibration((folder or Path()) / name)
    except InputError as error:
        problems = [Problem(f"calibration, {error.where}", p.message, p.hint) for p in error.problems]
        bad = frozenset([*checked.bad, "calibration"])
        return replace(checked, bad=bad, problems=(*checked.problems, *problems)), {}, []
    values, origins, cautions = dict(checked.values), {}, []
    for constant in found:
        label = constant.path.partition(".")[2].replace("_", " ")
        told = f"{constant.value:.4g} (95 %: {constant.low:.4g} to {constant.high:.4g}), calibration {Path(name).name}"
        if constant.path in values or constant.path in checked.bad:
            cautions.append(f"{label}: written in the case, so that {told} is not used")
            continue
        values[constant.path] = constant.value
        origins[constant.path] = f"calibration {Path(name).name}"
        cautions.append(f"{label} {told}")
    return replace(checked, values=values), origins, cautions
