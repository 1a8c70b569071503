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
[band]                         # what the gain is over these samples of what scatters
samples = 32
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
from contactfe.inputs import FORMAT, CaseInput, read_toml
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
        return self.told(self.low + share * (self.high - self.low))

    def told(self, value: float) -> str:
        """A value (mm, rad) as the case file writes it."""
        if self.kind == "angle":
            return f"{math.degrees(value):.6g} deg"
        return format_quantity(float(f"{value:.7g}"), self.kind)

    @property
    def kind(self) -> Any:
        """Kind of quantity."""
        return self.number.kind

    def share(self, value: float) -> float:
        """Where in its range a value lies: from 0 to 1, beyond that where it lies outside."""
        share = (value - self.low) / (self.high - self.low)
        return float(np.clip(share, 0.0, 1.0)) if abs(share - 0.5) < 0.5 + 1e-9 else share


@dataclass(frozen=True)
class SearchPlan:
    """What to search: the raw tables of a screening that the heads are put into, the numbers, the limits (internal
    units), evaluations and seed. `start` is the screening of the file's own head, whose numbers are `start_values` (mm,
    rad). `banded`: the gain is asked for over samples of what scatters."""

    name: str
    raw: Mapping[str, Any]
    moving: tuple[Moving, ...]
    limits: Mapping[str, float]
    evaluations: int
    seed: int
    start: ScreenPlan
    start_values: tuple[float, ...]
    banded: bool
    folder: Path | None

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """The parts of the duty."""
        return self.start.conditions

    def wrench(self, point: NDArray[np.float64]) -> dict[str, str]:
        """The keys of [wrench] at a point (d,) of the unit box."""
        return {m.number.name: m.text(float(u)) for m, u in zip(self.moving, point, strict=True)}

    def start_point(self) -> NDArray[np.float64] | None:
        """The start as a point (d,) of the unit box; None where it lies outside."""
        point = np.array([m.share(value) for m, value in zip(self.moving, self.start_values, strict=True)])
        return point if ((point >= 0.0) & (point <= 1.0)).all() else None

    def start_numbers(self) -> dict[str, str]:
        """The moving numbers of the start, as keys of [wrench]."""
        return {m.number.name: m.told(value) for m, value in zip(self.moving, self.start_values, strict=True)}

    def screen(self, heads: Mapping[str, Mapping[str, Any]], band: bool = False) -> ScreenPlan:
        """The screening of heads by name: of their nominal cases, or with the band of the file."""
        kept = ("format", "base", "condition", "band")
        tables = {k: v for k, v in self.raw.items() if k in kept}
        entries = [{"name": name, **keys} for name, keys in heads.items()]
        return parse_screen(
            {**tables, "candidate": entries}, folder=self.folder, name=self.name, plain=not band
        )


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
    tables = {k: v for k, v in raw.items() if k in ("format", "base", "condition", "band")}
    tables["candidate"] = [{"name": "start"}]
    start, banded = None, False
    try:
        banded = parse_screen(tables, folder=folder, name=name).study.band is not None
        start = parse_screen(tables, folder=folder, name=name, plain=True)
    except InputError as error:
        problems += error.problems
    limits = _limits(raw.get("limits", {}), problems)
    settings = _settings(raw.get("search", {}), problems)
    moving = _moving(raw, start, problems) if start is not None else []
    if problems or start is None:
        raise InputError(problems, source=source)
    title = str(raw.get("name", name))[:60]
    values = tuple(_value(m, start.study.cases[0].case) for m in moving)
    return SearchPlan(
        title, {"format": FORMAT, **raw}, tuple(moving), limits, *settings, start, values, banded, folder
    )


def _value(m: Moving, case: CaseInput) -> float:
    """The value of a moving number in a case, mm or rad."""
    own = {"thickness": case.wrench.thickness, "opening": case.wrench.opening}
    return own[m.number.name] if m.number.name in own else case.wrench.dims[m.number.name]


def _moving(raw: Mapping[str, Any], start: ScreenPlan, problems: list[Problem]) -> list[Moving]:
    table = raw.get("numbers")
    if not isinstance(table, Mapping) or not table:
        problems.append(Problem("[numbers]", "missing", "write [numbers] and below it bearing_reach = {}"))
        return []
    case = start.study.cases[0].case
    widths = {one.case.fastener.across_flats_nominal for one in start.study.cases}
    scattered = raw.get("base", {}).get("wrench", {})
    found = []
    for key, entry in table.items():
        try:
            found.append(
                _one_moving(key, entry, case, len(widths) > 1, isinstance(scattered.get(key), Mapping))
            )
        except ContactFEError as error:
            problems.append(Problem(f"[numbers] {key}", error.message, error.hint))
    return found


def _one_moving(key: str, entry: Any, case: CaseInput, widths: bool, scatters: bool) -> Moving:
    """A number and its range; `widths`: the duty has heads of several. Raises ContactFEError."""
    number = design_number(case.wrench.profile, key)
    if number.kind == "integer":
        raise ContactFEError("is a whole number, which does not move smoothly", hint="screen both instead")
    if scatters:
        hint = f"give {key} one value in [base.wrench], or leave it out here"
        raise ContactFEError("moves and scatters", hint=hint)
    if number.kind == "length" and widths:
        raise ContactFEError(
            "is one length for heads of several widths", hint="search for one width at a time"
        )
    low, high = number.bounds(case.fastener.across_flats_nominal)
    if not isinstance(entry, Mapping) or any(k not in ("low", "high") for k in entry):
        raise ContactFEError("is not a range", hint='write {} or { low = "2 mm", high = "3 mm" }')
    low = parse_quantity(entry["low"], number.kind) if "low" in entry else low
    high = parse_quantity(entry["high"], number.kind) if "high" in entry else high
    if low >= high:
        raise ContactFEError("ends before it begins", hint="let low be below high")
    return Moving(number, low, high)


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
