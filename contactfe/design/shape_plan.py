"""A search file: one family, the numbers that may move, the duty, and the limits that a head has to keep.

format = 1
name = "relief of a six-point ring"
[base.wrench]
profile = "ring-six-relieved"
[numbers]
bearing_reach = {}                                # the range of the design table
relief_angle = { low = "5 deg", high = "30 deg" }
[limits]
outside_radius = "14 mm"       # at most; also mass_g, jaw_spread_um_per_Nm; at least: wrench_margin, smallest_radius
[[condition]]
name = "worn"
size = "M10"
grade = "8.8"
rounding = "40 %"
[search]
evaluations = 200
seed = 1
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.design.plan import Condition, ScreenPlan, parse_screen
from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.inputs import FORMAT, read_toml
from contactfe.standards import DesignNumber, design_number
from contactfe.units import format_quantity, parse_quantity

KEYS = ("format", "name", "base", "numbers", "limits", "condition", "search", "band")
LIMITS = {
    "wrench_margin": "number",
    "outside_radius": "length",
    "mass_g": "number",
    "jaw_spread_um_per_Nm": "number",
    "smallest_radius": "length",
}
EVALUATIONS, SEED = 200, 1
MOST_EVALUATIONS = 2000


@dataclass(frozen=True)
class Moving:
    """A number that moves between two bounds (mm, rad)."""

    number: DesignNumber
    low: float
    high: float

    def text(self, share: float) -> str:
        """The value at a share of the range, as the case file writes it."""
        value = self.low + share * (self.high - self.low)
        if self.kind == "angle":
            return f"{math.degrees(value):.6g} deg"
        return format_quantity(float(f"{value:.7g}"), self.kind)

    @property
    def kind(self) -> Any:
        """Kind of quantity."""
        return self.number.kind

    def share(self, value: float) -> float:
        """Where in its range a value lies, held within it."""
        return float(np.clip((value - self.low) / (self.high - self.low), 0.0, 1.0))


@dataclass(frozen=True)
class SearchPlan:
    """What to search: the raw tables of a screening that the heads are put into, the numbers, the limits (internal
    units), evaluations and seed. `start` is the screening of the family's own numbers."""

    name: str
    raw: Mapping[str, Any]
    moving: tuple[Moving, ...]
    limits: Mapping[str, float]
    evaluations: int
    seed: int
    start: ScreenPlan
    folder: Path | None

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """The parts of the duty."""
        return self.start.conditions

    def wrench(self, point: NDArray[np.float64]) -> dict[str, str]:
        """The keys of [wrench] at a point (d,) of the unit box."""
        return {m.number.name: m.text(float(u)) for m, u in zip(self.moving, point, strict=True)}

    def screen(self, heads: Mapping[str, Mapping[str, Any]], band: bool = False) -> ScreenPlan:
        """The screening of heads by name; with its band where the file has one."""
        tables = {
            k: v
            for k, v in self.raw.items()
            if k in ("format", "base", "condition", *(("band",) if band else ()))
        }
        entries = [{"name": name, **keys} for name, keys in heads.items()]
        return parse_screen({**tables, "candidate": entries}, folder=self.folder, name=self.name)


def load_search(path: Path) -> SearchPlan:
    """Read a search file. Raises InputError with every problem."""
    return parse_search(read_toml(path), str(path), folder=path.parent, name=path.stem)


def parse_search(
    raw: Mapping[str, Any], source: str = "search", *, folder: Path | None = None, name: str = "search"
) -> SearchPlan:
    """The plan of the raw tables of a search file. Raises InputError with every problem."""
    problems = [
        Problem(str(key), "unknown key", nearest(str(key), KEYS) or f"known: {', '.join(KEYS)}")
        for key in raw
        if key not in KEYS
    ]
    tables = {k: v for k, v in raw.items() if k in ("format", "base", "condition")}
    start = None
    try:
        start = parse_screen({**tables, "candidate": [{"name": "start"}]}, folder=folder, name=name)
    except InputError as error:
        problems += error.problems
    limits = _limits(raw.get("limits", {}), problems)
    settings = _settings(raw.get("search", {}), problems)
    moving = _moving(raw.get("numbers"), start, problems) if start is not None else []
    if problems or start is None:
        raise InputError(problems, source=source)
    title = str(raw.get("name", name))[:60]
    return SearchPlan(title, {"format": FORMAT, **raw}, tuple(moving), limits, *settings, start, folder)


def _moving(table: Any, start: ScreenPlan, problems: list[Problem]) -> list[Moving]:
    if not isinstance(table, Mapping) or not table:
        problems.append(Problem("[numbers]", "missing", "write [numbers] and below it bearing_reach = {}"))
        return []
    case = start.study.cases[0].case
    found = []
    for key, entry in table.items():
        where = f"[numbers] {key}"
        try:
            number = design_number(case.wrench.profile, key)
        except ContactFEError as error:
            problems.append(Problem(where, error.message, error.hint))
            continue
        if number.kind == "integer":
            problems.append(
                Problem(where, "is a whole number, which does not move smoothly", "screen both instead")
            )
            continue
        low, high = number.bounds(case.fastener.across_flats_nominal)
        if not isinstance(entry, Mapping) or any(k not in ("low", "high") for k in entry):
            problems.append(Problem(where, "is not a range", 'write {} or { low = "2 mm", high = "3 mm" }'))
            continue
        try:
            low = parse_quantity(entry["low"], number.kind) if "low" in entry else low
            high = parse_quantity(entry["high"], number.kind) if "high" in entry else high
        except ContactFEError as error:
            problems.append(Problem(where, error.message, error.hint))
            continue
        if low >= high:
            problems.append(Problem(where, "ends before it begins", "let low be below high"))
            continue
        found.append(Moving(number, low, high))
    return found


def _limits(table: Any, problems: list[Problem]) -> dict[str, float]:
    found: dict[str, float] = {}
    if not isinstance(table, Mapping):
        problems.append(Problem("[limits]", "is not a table", "write [limits] on a line of its own"))
        return found
    for key, value in table.items():
        if key not in LIMITS:
            problems.append(
                Problem(f"[limits] {key}", "unknown", nearest(key, LIMITS) or f"known: {', '.join(LIMITS)}")
            )
        elif LIMITS[key] == "length":
            try:
                found[key] = parse_quantity(value, "length")
            except ContactFEError as error:
                problems.append(Problem(f"[limits] {key}", error.message, error.hint))
        elif isinstance(value, bool) or not isinstance(value, int | float):
            problems.append(Problem(f"[limits] {key}", f"{value!r} is not a number", f"write {key} = 0.2"))
        else:
            found[key] = float(value)
    return found


def _settings(table: Any, problems: list[Problem]) -> tuple[int, int]:
    table = table if isinstance(table, Mapping) else {}
    found = []
    for key, usual, least, most in (
        ("evaluations", EVALUATIONS, 12, MOST_EVALUATIONS),
        ("seed", SEED, 0, 2**31),
    ):
        value = table.get(key, usual)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            problems.append(
                Problem(f"[search] {key}", f"{value!r} is out of range", f"write {least} to {most}")
            )
            value = usual
        found.append(value)
    return found[0], found[1]
