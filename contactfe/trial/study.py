"""A study as a bench programme: designs with the user's own names, each in every condition of the sweep."""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.inputs import CaseInput, read_toml, set_path
from contactfe.study import parse_plan
from contactfe.trial.readings import Condition, Reading
from contactfe.units import parse_quantity

OWN = ("designs", "plan")
_PROFILE = "wrench.profile"


@dataclass(frozen=True)
class PlanSettings:
    """The [plan] table: pulls of each design in each condition (None: as many as the sample size asks for), bars of
    stock, ranges of the sensors at hand N m, the difference to resolve and the scatter expected (shares), the stiffness
    of the rig N m/rad (None: not known), the seed of the order."""

    pulls: int | None = None
    bars: tuple[str, ...] = ("A",)
    sensors_Nm: tuple[float, ...] = (20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
    difference: float = 0.10
    scatter: float = 0.05
    rig_Nm_per_rad: float | None = None
    seed: int = 1


@dataclass(frozen=True, eq=False)
class TrialCase:
    """One design in one condition: its raw tables (as `band` takes them) and the plain case."""

    design: str
    condition: Condition
    raw: Mapping[str, Any]
    case: CaseInput


@dataclass(frozen=True, eq=False)
class TrialStudy:
    """All designs in all conditions of a study file; ``units`` are those of its reader."""

    name: str
    cases: tuple[TrialCase, ...]
    settings: PlanSettings
    folder: Path
    source: str
    units: Literal["si", "inch"] = "si"

    def designs(self) -> tuple[str, ...]:
        """Names of the designs in the order of the file."""
        return tuple(dict.fromkeys(case.design for case in self.cases))

    def case_of(self, reading: Reading) -> TrialCase:
        """The case that a reading belongs to: same design, and every condition that the reading states.

        Raises:
            ContactFEError: the study has none, or several.
        """
        own = [case for case in self.cases if case.design == reading.design]
        if not own:
            hint = nearest(reading.design, self.designs()) or f"the study has {', '.join(self.designs())}"
            raise ContactFEError(f'no design "{reading.design}" in the study', hint=hint, slug="design")
        found = [case for case in own if _fits(case, reading.condition)]
        if len(found) == 1:
            return found[0]
        known = "; ".join(dict.fromkeys(case.condition.words() for case in own))
        if not found:
            told = f"the study does not know the condition {reading.condition.words()}"
            raise ContactFEError(told, hint=f"it has {known}", slug="condition")
        told = f"the condition {reading.condition.words()} fits {len(found)} cases of the study"
        raise ContactFEError(told, hint=f"state more of it: {known}", slug="condition")


def _fits(case: TrialCase, wanted: Condition) -> bool:
    f, own = case.case.fastener, case.condition
    near = {
        "across_flats_mm": (wanted.across_flats_mm, f.across_flats_nominal),
        "yield_MPa": (wanted.yield_MPa, f.yield_strength),
        "rounding": (wanted.rounding, f.rounding),
        "engaged_depth_mm": (wanted.engaged_depth_mm, f.engaged_depth),
    }
    if (wanted.size is not None and wanted.size != own.size) or (
        wanted.grade is not None and wanted.grade != own.grade
    ):
        return False
    return all(
        value is None or math.isclose(value, is_, rel_tol=5e-3, abs_tol=1e-6) for value, is_ in near.values()
    )


def condition_of(case: CaseInput) -> Condition:
    """The condition of a case, as readings state it."""
    f = case.fastener
    return Condition(
        f.size,
        None if f.size else f.across_flats_nominal,
        f.grade,
        None if f.grade else f.yield_strength,
        f.rounding,
        None if f.size else f.engaged_depth,
    )


def load_study(path: str | Path) -> TrialStudy:
    """Read a study file with its [designs] (name = wrench table; without it the profiles of the sweep are the designs)
    and its [plan].

    Raises:
        InputError: every problem of the file.
    """
    file = Path(path)
    raw = read_toml(file)
    problems: list[Problem] = []
    settings = _settings(raw.get("plan", {}), problems)
    designs = _designs(raw, problems)
    if problems:
        raise InputError(problems, source=str(path))
    cases: list[TrialCase] = []
    for name, wrench in designs.items():
        cases += _cases(raw, name, wrench, (str(path), file.parent))
    name = str(raw.get("name", file.stem))
    units: Literal["si", "inch"] = "inch" if raw.get("units") == "inch" else "si"
    return TrialStudy(name, tuple(cases), settings, file.parent, str(path), units)


def _designs(raw: Mapping[str, Any], problems: list[Problem]) -> dict[str, Mapping[str, Any]]:
    table, sweep = raw.get("designs"), raw.get("sweep", {})
    sweep = sweep if isinstance(sweep, Mapping) else {}
    if table is None:
        profiles = sweep.get(_PROFILE)
        if isinstance(profiles, list):
            return {str(profile): {"profile": profile} for profile in profiles}
        base = raw.get("base", {})
        wrench = base.get("wrench", {}) if isinstance(base, Mapping) else {}
        return {str(wrench.get("profile", "wrench")): {}}
    if not isinstance(table, Mapping) or not table or not all(isinstance(t, Mapping) for t in table.values()):
        problems.append(
            Problem(
                "[designs]",
                "is not a table of wrenches",
                'write [designs."ring A"] and profile = "ring-six" below',
            )
        )
        return {}
    problems += [
        Problem(f"[sweep] {key}", "is varied beside [designs]", "write it into the designs")
        for key in sweep
        if str(key).startswith("wrench.")
    ]
    return dict(table)


def _cases(
    raw: Mapping[str, Any], name: str, wrench: Mapping[str, Any], place: tuple[str, Path]
) -> list[TrialCase]:
    """The cases of one design."""
    source, folder = place
    own = {key: copy.deepcopy(value) for key, value in raw.items() if key not in OWN}
    base = own.setdefault("base", {})
    if isinstance(base, dict):
        base["wrench"] = {**base.get("wrench", {}), **wrench}
    own["sweep"] = {k: v for k, v in own.get("sweep", {}).items() if k != _PROFILE}
    single = not own["sweep"]
    if single:  # a study of one condition
        own["sweep"] = {
            "contact.constraint_factor": [base.get("contact", {}).get("constraint_factor", 1.155)]
        }
    try:
        plan = parse_plan(own, source, folder=folder, name=name)
    except InputError as error:
        raise InputError(
            [Problem(f"design {name}, {p.where}", p.message, p.hint) for p in error.problems], source=source
        ) from error
    found = []
    for planned in plan.cases:
        tables: dict[str, Any] = {"format": 1, **own["base"]}
        if "calibration" in own:
            tables["calibration"] = own["calibration"]
        for path, value in zip(plan.varied, planned.values, strict=True):
            if not single:
                tables = set_path(tables, path, value)
        found.append(TrialCase(name, condition_of(planned.case), tables, replace(planned.case, name=name)))
    return found


def with_measured(case: CaseInput, reading: Reading) -> CaseInput:
    """A case with the yield strength that was measured on the bar of a reading, where it was."""
    if reading.measured_yield_MPa is None:
        return case
    return replace(case, fastener=replace(case.fastener, yield_strength=reading.measured_yield_MPa))


_PLAN = {"pulls": "integer", "bars": "texts", "sensors": "torques", "difference": "fraction", "scatter": "fraction",
         "rig_stiffness": "number", "seed": "integer"}  # fmt: skip


def _settings(table: Any, problems: list[Problem]) -> PlanSettings:
    if not isinstance(table, Mapping):
        problems.append(Problem("[plan]", "is not a table", "write [plan] on a line of its own"))
        return PlanSettings()
    found: dict[str, Any] = {}
    for key, value in table.items():
        where = f"[plan] {key}"
        if key not in _PLAN:
            problems.append(
                Problem(where, "unknown key", nearest(key, _PLAN) or f"known: {', '.join(_PLAN)}")
            )
            continue
        try:
            found[key] = _value(_PLAN[key], value)
        except (ContactFEError, ValueError, TypeError) as error:
            hint = error.hint if isinstance(error, ContactFEError) else ""
            problems.append(Problem(where, f"{value!r} is no {_PLAN[key]}", hint or _EXAMPLES[_PLAN[key]]))
    return PlanSettings(
        found.get("pulls"),
        found.get("bars", ("A",)),
        found.get("sensors", PlanSettings.sensors_Nm),
        found.get("difference", 0.10),
        found.get("scatter", 0.05),
        found.get("rig_stiffness"),
        found.get("seed", 1),
    )


_EXAMPLES = {"integer": "write a whole number from 1", "texts": 'write ["A", "B"]', "torques": 'write ["100 N*m", "500 N*m"]',
             "fraction": 'write "10 %"', "number": "write N m per rad, such as 2000"}  # fmt: skip


def _value(kind: str, value: Any) -> Any:
    if kind == "integer" and (isinstance(value, bool) or not isinstance(value, int) or value < 1):
        raise ValueError
    if kind in ("texts", "torques") and (not isinstance(value, list) or not value):
        raise ValueError
    if kind == "texts":
        return tuple(str(item) for item in value)
    if kind == "torques":
        return tuple(sorted(parse_quantity(item, "torque") / 1e3 for item in value))
    if kind == "number" and (isinstance(value, bool) or not float(value) > 0):
        raise ValueError
    if kind == "fraction":
        share = parse_quantity(value, "fraction")
        if not 0 < share < 1:
            raise ValueError
        return share
    return float(value) if kind == "number" else value
