"""From a study file to its cases: every combination of the grid times every sampled point, in order."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.inputs import FORMAT, TABLES, CaseInput, field_of, parse_case, read_toml, read_value
from contactfe.study.axes import Axis, read_axes, repeated, told_value
from contactfe.study.identity import case_id

if TYPE_CHECKING:
    from contactfe.study.scatter import BandSettings, CaseBand
    from contactfe.turn import Side

KEYS = ("format", "name", "units", "calibration", "base", "sweep", "sample", "band")
_WHOLE = ("calibration",)  # keys above the tables that go into every case
PROFILE = "wrench.profile"
OPENING = "wrench.opening"
UNITS = ("si", "inch")
MOST_CASES = 100_000
MOST_TOLD = 20  # problems of combinations that one message lists

SAMPLE_SHARE = 0.15  # of a plain case's time: a sample, looked for near it


@dataclass(frozen=True)
class PlannedCase:
    """One row of the study: place in the plan (from 0), address, name, varied values, the case, its band where
    something scatters in it, and which body its wrench is: "openings" where samples share one mesh."""

    index: int
    case_id: str
    name: str
    values: tuple[float | int | str, ...]
    case: CaseInput
    band: CaseBand | None = None
    wrench: Side = "wrench"

    @property
    def curves(self) -> int:
        """How many curves have to be solved: those of its pulls, and the samples of its band."""
        return self.case.load.pulls + (self.band.curves if self.band is not None else 0)

    @property
    def worth(self) -> float:
        """How many plain cases take about as long as this one."""
        return self.case.load.pulls + SAMPLE_SHARE * (self.band.curves if self.band is not None else 0)


@dataclass(frozen=True)
class StudyPlan:
    """All cases of a study in plan order; ``varied`` are the dotted paths of the inputs that vary, ``go_together`` those
    of them that vary together with the profile. ``band`` says how the cases scatter, None where nothing does. ``units``:
    those of the reader, "si" or "inch"; the table of results is SI in any case."""

    name: str
    varied: tuple[str, ...]
    cases: tuple[PlannedCase, ...]
    band: BandSettings | None = None
    go_together: tuple[str, ...] = ()
    units: Literal["si", "inch"] = "si"

    @cached_property
    def further_pulls(self) -> bool:
        """Whether a case asks for more than one pull on the same corners."""
        return any(case.case.load.pulls > 1 for case in self.cases)


def load_plan(path: str | Path) -> StudyPlan:
    """Read a study file.

    Raises:
        InputError: every problem of the file, of every value and of every combination.
    """
    file = Path(path)
    return parse_plan(read_toml(file), str(path), folder=file.parent, name=file.stem)


def parse_plan(
    raw: Mapping[str, Any], source: str = "study", *, folder: Path | None = None, name: str = "study"
) -> StudyPlan:
    """The plan of raw study tables. `source` heads the messages, `name` stands in for an absent name.

    Raises:
        InputError: with every problem.

    Example:
        >>> from contactfe.study import parse_plan
        >>> base = {"fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}
        >>> friction = {"from": 0.1, "to": 0.2, "step": 0.05}
        >>> plan = parse_plan({"format": 1, "base": base, "sweep": {"contact.friction": friction}})
        >>> [case.values for case in plan.cases]
        [(0.1,), (0.15,), (0.2,)]
    """
    problems, stop = _top(raw)
    if stop:
        raise InputError(problems, source=source)
    axes, bad = read_axes(raw.get("sweep", {}))
    problems += bad
    if "sample" in raw:
        from contactfe.study.samples import read_samples  # brings scipy.stats, which takes a while to import

        axis, bad = read_samples(raw["sample"])
        problems += bad
        if axis is not None:
            axes.append(axis)
            problems += repeated([p for a in axes for p in a.paths], "[sample]") if not problems else []
    if not axes and not problems:
        problems.append(Problem("[sweep]", "nothing is varied", '"fastener.rounding" = ["0 %", "20 %"]'))
    total = 1
    for axis in axes:
        total *= max(1, len(axis.points))
    if total > MOST_CASES:
        problems.append(
            Problem("[sweep]", f"the study has {total} cases", f"at most {MOST_CASES}; shorten the lists")
        )
    base = raw.get("base", {})
    if isinstance(base, Mapping):
        base = {**base, **{key: raw[key] for key in _WHOLE if key in raw}}
    settings, bad = _band(raw, axes, total)
    problems += bad
    name = _name(raw.get("name", name), problems)
    units = _units(raw.get("units", "si"), problems)
    if problems:
        if isinstance(base, Mapping):
            # Tables at the top by mistake are read all the same: nothing in them is to be called missing.
            strays = {key: raw[key] for key in TABLES if key in raw}
            problems += _base_problems({**strays, **base}, axes, folder)
        raise InputError(problems, source=source)
    return replace(_combine(base, axes, (name, settings), (source, folder)), units=units)


def _band(
    raw: Mapping[str, Any], axes: Sequence[Axis], cases: int
) -> tuple[BandSettings | None, list[Problem]]:
    """The settings of the bands of a study, None where nothing scatters, and what is wrong with them."""
    base = raw.get("base", {})
    tables = (
        [part for part in base.values() if isinstance(part, Mapping)] if isinstance(base, Mapping) else []
    )
    values = [value for part in tables for value in part.values()]
    values += [value for axis in axes for point in axis.points for value in point]
    if "band" not in raw and not any(isinstance(value, Mapping) for value in values):
        return None, []
    from contactfe.study.scatter import MOST_CURVES, read_band, scattering  # takes a while to import

    settings, problems = read_band(raw.get("band"), scattering(base if tables else {}, axes))
    if settings is not None and cases * settings.grid.n > MOST_CURVES:
        told = f"{cases} cases of {settings.grid.n} samples are {cases * settings.grid.n} curves"
        hint = f"at most {MOST_CURVES}; take fewer samples or shorten the lists"
        problems.append(Problem("[band] samples", told, hint))
    return settings, problems


def _top(raw: Mapping[str, Any]) -> tuple[list[Problem], bool]:
    """Problems of the top of the file, and whether reading has to end there."""
    problems = []
    given = raw.get("format")
    if isinstance(given, bool) or not isinstance(given, int) or given < 1:
        told = "missing" if given is None else f"{given!r} is not a format of this file"
        return [Problem("format", told, f"write format = {FORMAT} at the top")], True
    if given > FORMAT:
        return [
            Problem("format", f"{given} is newer than this version reads", "install a later version")
        ], True
    for key in raw:
        if key in TABLES:
            problems.append(Problem(f"[{key}]", "stands at the top of a study", f"write [base.{key}]"))
        elif key not in KEYS:
            problems.append(
                Problem(str(key), "unknown key", nearest(str(key), KEYS) or f"known: {', '.join(KEYS)}")
            )
    base = raw.get("base", {})
    if not isinstance(base, Mapping):
        problems.append(Problem("[base]", "is not a table", "write [base.fastener], [base.wrench] and so on"))
    else:
        for key in base:
            if key not in TABLES:
                hint = (
                    "it stands at the top of the file"
                    if key in ("format", "name")
                    else nearest(str(key), TABLES) or f"known: {', '.join(TABLES)}"
                )
                problems.append(Problem(f"[base] {key}", "unknown key", hint))
    return problems, False


def _name(raw: Any, problems: list[Problem]) -> str:
    field = field_of("name")
    assert field is not None
    try:
        name = str(read_value(field, raw))
        if len(name) > 60:
            raise ContactFEError(
                "is longer than 60 characters",
                hint="the number of the case is written behind it",
                slug="name",
            )
    except ContactFEError as error:
        problems.append(Problem("name", error.message, error.hint))
        return "study"
    return name


def _units(given: Any, problems: list[Problem]) -> Literal["si", "inch"]:
    if given not in UNITS:
        problems.append(Problem("units", f"{given!r} is not known", 'write "si" or "inch" (lbf ft, in, ksi)'))
    return "inch" if given == "inch" else "si"


def _base_problems(base: Mapping[str, Any], axes: Sequence[Axis], folder: Path | None) -> list[Problem]:
    """Problems of the base alone, with the first good value of every axis put in."""
    varied = {path for axis in axes for path in axis.paths}
    points = [(axis.paths, axis.points[0]) for axis in axes if axis.points]
    raw = _with(base, points)
    try:
        if _has_tables(raw):
            from contactfe.uncertainty import split_case

            split_case(raw, folder=folder)
        else:
            parse_case(raw, folder=folder)
    except InputError as error:
        # What a bad varied value leaves missing has been told already.
        known = {where for path in varied if (where := _where(path))}
        return [
            _placed(p, frozenset())
            for p in error.problems
            if p.where not in known and not p.where.startswith("[base]")
        ]
    return []


def _has_tables(raw: Mapping[str, Any]) -> bool:
    """Whether a key of a raw case holds a table where a value stands otherwise: a distribution."""
    parts = [raw[name] for name in TABLES if isinstance(raw.get(name), Mapping)]
    return any(isinstance(value, Mapping) for part in parts for value in part.values())


def _where(path: str) -> str:
    field = field_of(path)
    return field.where if field else ""


def _with(
    base: Mapping[str, Any], points: Sequence[tuple[tuple[str, ...], tuple[Any, ...]]]
) -> dict[str, Any]:
    """The raw case with the values of the points set."""
    raw: dict[str, Any] = {
        "format": FORMAT,
        **{k: copy.copy(v) for k, v in base.items() if k in (*TABLES, *_WHOLE)},
    }
    for paths, values in points:
        for path, value in zip(paths, values, strict=True):
            table, _, key = path.partition(".")
            part = raw.setdefault(table, {})
            if isinstance(part, dict):
                part[key] = value
    return raw


def _placed(problem: Problem, varied: frozenset[str]) -> Problem:
    """A problem of a case as one of the study: "[fastener] size" is [base.fastener] size, or a key of
    [sweep]."""
    if not problem.where.startswith("["):
        return problem
    table, _, key = problem.where[1:].partition("]")
    path = f"{table}.{key.partition(',')[0].strip()}"
    place = f"[sweep] {table}.{key.strip()}" if path in varied else f"[base.{table}]{key}"
    return replace(problem, where=place)


def _combine(
    base: Mapping[str, Any],
    axes: Sequence[Axis],
    how: tuple[str, BandSettings | None],
    place: tuple[str, Path | None],
) -> StudyPlan:
    (name, settings), (source, folder) = how, place
    paths = [path for axis in axes for path in axis.paths]
    total = 1
    for axis in axes:
        total *= len(axis.points)
    digits = len(str(total))
    cases: list[PlannedCase] = []
    found: dict[Problem, list[int]] = {}
    points = list(_grid(axes))
    # Sampled openings are as many as the samples: they share a mesh, as the samples of a band do.
    wrench: Side = "openings" if any(axis.sampled and OPENING in axis.paths for axis in axes) else "wrench"
    for index, point in enumerate(points):
        pairs = [(axis.paths, values) for axis, values in zip(axes, point, strict=True)]
        own = f"{name}-{index + 1:0{digits}d}"
        try:
            case, band = _case(_with(base, pairs), own, settings, folder)
        except InputError as error:
            for problem in error.problems:
                found.setdefault(_placed(problem, frozenset(paths)), []).append(index)
            continue
        flat = [v for values in point for v in values]
        told = tuple(told_value(p, v) for p, v in zip(paths, flat, strict=True))
        address = case_id(case, band=None if band is None else band.key(), wrench=wrench)
        cases.append(PlannedCase(index, address, own, told, case, band, wrench))
    if found:
        raise InputError(_told(found, points, paths), source=source)
    together = next((axis.paths for axis in axes if PROFILE in axis.paths), ())
    return StudyPlan(name, tuple(paths), tuple(cases), settings, together)


def _case(
    raw: Mapping[str, Any], name: str, settings: BandSettings | None, folder: Path | None
) -> tuple[CaseInput, CaseBand | None]:
    """The plain case of raw tables, and its band where something scatters in it."""
    if settings is None:
        return parse_case(raw, folder=folder, name=name), None
    from contactfe.study.scatter import case_band
    from contactfe.uncertainty import split_case

    uncertain = split_case(raw, folder=folder, name=name)
    return uncertain.case, case_band(settings, uncertain)


def _grid(axes: Sequence[Axis]) -> Iterator[tuple[tuple[Any, ...], ...]]:
    return itertools.product(*(axis.points for axis in axes))


def _told(
    found: Mapping[Problem, list[int]], points: Sequence[tuple[tuple[Any, ...], ...]], paths: Sequence[str]
) -> list[Problem]:
    """Problems of combinations, each with how many cases it is in and the first of them."""
    problems = []
    for problem, where in list(found.items())[:MOST_TOLD]:
        if len(where) == len(points):
            problems.append(problem)
            continue
        flat = [v for values in points[where[0]] for v in values]
        first = ", ".join(f"{p} = {told_value(p, v)}" for p, v in zip(paths, flat, strict=True))
        problems.append(
            replace(
                problem, message=f"{problem.message} (in {len(where)} of {len(points)} cases, first: {first})"
            )
        )
    left = len(found) - len(problems)
    if left:
        problems.append(Problem("", f"and {left} more like these"))
    return problems
