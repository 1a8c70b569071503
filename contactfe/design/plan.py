"""A screening file: candidates, the duty mix they are tried on, and what scatters; every pair of them is one case.

format = 1
name = "which ring to build"
[base.contact]
friction = { low = 0.10, high = 0.20 }
[duty]
working_torque = "40 N*m"
[[candidate]]
name = "willow"
profile = "ring-six-relieved"
bearing_reach = "3.4 mm"
[[candidate]]
name = "alder"
outline = "alder.dxf"
thickness = "11 mm"
[[condition]]
name = "M10 8.8, worn"
weight = 2
size = "M10"
grade = "8.8"
rounding = "40 %"
[band]
samples = 32
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.inputs import FORMAT, TABLES, fields_of, read_toml
from contactfe.study import Listed, StudyPlan, listed_plan
from contactfe.units import parse_quantity

COLUMNS = ("candidate", "condition")
KEYS = ("format", "name", "base", "duty", "candidate", "condition", "band")
MOST_CASES = 20_000


@dataclass(frozen=True)
class Candidate:
    """A head to try: its name and the keys of its [wrench]."""

    name: str
    wrench: Mapping[str, Any]


@dataclass(frozen=True)
class Condition:
    """A part of the duty: its name, its weight, and the keys of its [fastener]."""

    name: str
    weight: float
    fastener: Mapping[str, Any]

    @property
    def unworn(self) -> tuple[tuple[str, str], ...]:
        """What the condition is beside its wear, to find the unworn one that belongs to it."""
        return tuple(
            sorted((k, str(v)) for k, v in self.fastener.items() if k not in ("rounding", "worn_side"))
        )

    @property
    def worn(self) -> bool:
        """Whether its corners are rounded."""
        return str(self.fastener.get("rounding", "0 %")).strip().rstrip("%").strip() not in ("0", "0.0")


@dataclass(frozen=True)
class ScreenPlan:
    """Candidates on conditions, the working torque (N m, None without one), and the plan of the cases, candidate after
    candidate."""

    name: str
    candidates: tuple[Candidate, ...]
    conditions: tuple[Condition, ...]
    working_Nm: float | None
    study: StudyPlan


def load_screen(path: Path) -> ScreenPlan:
    """Read a screening file. Raises InputError with every problem."""
    return parse_screen(read_toml(path), str(path), folder=path.parent, name=path.stem)


def parse_screen(
    raw: Mapping[str, Any],
    source: str = "screen",
    *,
    folder: Path | None = None,
    name: str = "screen",
    plain: bool = False,
) -> ScreenPlan:
    """The plan of the raw tables of a screening file, with `plain` of its nominal cases alone, whatever scatters.

    Raises InputError with every problem.
    """
    problems: list[Problem] = []
    if raw.get("format") != FORMAT:
        problems.append(Problem("format", "missing or unknown", f"write format = {FORMAT} at the top"))
    for key in raw:
        if key not in KEYS:
            problems.append(
                Problem(str(key), "unknown key", nearest(str(key), KEYS) or f"known: {', '.join(KEYS)}")
            )
    base = raw.get("base", {})
    if not isinstance(base, Mapping) or any(
        k not in TABLES or not isinstance(v, Mapping) for k, v in base.items()
    ):
        problems.append(
            Problem(
                "[base]",
                "is not made of tables of a case",
                f"write [base.contact]; known: {', '.join(TABLES)}",
            )
        )
        base = {}
    candidates = [_candidate(entry, where, problems) for where, entry in _entries(raw, "candidate", problems)]
    conditions = [_condition(entry, where, problems) for where, entry in _entries(raw, "condition", problems)]
    working = _working(raw.get("duty", {}), problems)
    for kind, names in (
        ("candidate", [c.name for c in candidates]),
        ("condition", [c.name for c in conditions]),
    ):
        for twice in sorted({n for n in names if names.count(n) > 1}):
            problems.append(
                Problem(f"[[{kind}]]", f'"{twice}" is there twice', "give each a name of its own")
            )
    if len(candidates) * len(conditions) > MOST_CASES:
        problems.append(
            Problem("", f"gives {len(candidates) * len(conditions)} cases", f"at most {MOST_CASES}")
        )
    if problems:
        raise InputError(problems, source=source)
    title = str(raw.get("name", name))[:60]
    own = _nominal if plain else _case
    try:
        cases = [
            Listed((one.name, duty.name), own(base, one, duty)) for one in candidates for duty in conditions
        ]
        study = listed_plan(title, COLUMNS, cases, None if plain else raw.get("band"), folder)
    except InputError as error:
        raise InputError(error.problems, source=source) from error
    return ScreenPlan(title, tuple(candidates), tuple(conditions), working, study)


def _case(base: Mapping[str, Any], one: Candidate, duty: Condition) -> dict[str, Any]:
    tables = {name: dict(part) for name, part in base.items()}
    tables["wrench"] = {**tables.get("wrench", {}), **one.wrench}
    tables["fastener"] = {**tables.get("fastener", {}), **duty.fastener}
    return {"format": FORMAT, **tables}


def _nominal(base: Mapping[str, Any], one: Candidate, duty: Condition) -> dict[str, Any]:
    """The case with the nominal value of whatever scatters."""
    raw = _case(base, one, duty)
    if not any(isinstance(v, Mapping) for k in TABLES if k in raw for v in raw[k].values()):
        return raw
    from contactfe.uncertainty import split_case  # takes a while to import

    return dict(split_case(raw).base)


def _entries(
    raw: Mapping[str, Any], kind: str, problems: list[Problem]
) -> Sequence[tuple[str, Mapping[str, Any]]]:
    found = raw.get(kind)
    if not isinstance(found, list) or not found or not all(isinstance(e, Mapping) for e in found):
        problems.append(Problem(f"[[{kind}]]", "missing", f'write [[{kind}]] and below it name = "..."'))
        return []
    out = []
    for number, entry in enumerate(found, start=1):
        where = f"[[{kind}]] {number}"
        if not isinstance(entry.get("name"), str) or not entry["name"].strip():
            problems.append(Problem(where, "has no name", 'write name = "..."'))
        else:
            out.append((where, entry))
    return out


def _candidate(entry: Mapping[str, Any], where: str, problems: list[Problem]) -> Candidate:
    wrench = {k: v for k, v in entry.items() if k != "name"}
    if "outline" in wrench:
        wrench.setdefault("profile", "outline")
    _known(wrench, "wrench", where, problems)
    return Candidate(entry["name"].strip(), wrench)


def _condition(entry: Mapping[str, Any], where: str, problems: list[Problem]) -> Condition:
    weight = entry.get("weight", 1)
    if isinstance(weight, bool) or not isinstance(weight, int | float) or not 0 < weight < 1e6:
        problems.append(
            Problem(f"{where} weight", f"{weight!r} is not a weight", "write a number above 0: weight = 2")
        )
        weight = 1
    fastener = {k: v for k, v in entry.items() if k not in ("name", "weight")}
    _known(fastener, "fastener", where, problems)
    return Condition(entry["name"].strip(), float(weight), fastener)


def _known(keys: Mapping[str, Any], table: str, where: str, problems: list[Problem]) -> None:
    names = [field.name for field in fields_of(table)]
    for key in keys:
        if key not in names:
            problems.append(
                Problem(f"{where} {key}", f"is no key of [{table}]", nearest(key, names) or "remove it")
            )


def _working(duty: Any, problems: list[Problem]) -> float | None:
    if not isinstance(duty, Mapping) or any(key != "working_torque" for key in duty):
        problems.append(
            Problem("[duty]", "holds something else than working_torque", 'write working_torque = "40 N*m"')
        )
        return None
    if "working_torque" not in duty:
        return None
    try:
        return parse_quantity(duty["working_torque"], "torque") / 1e3
    except ContactFEError as error:
        problems.append(Problem("[duty] working_torque", error.message, error.hint))
        return None
