"""The [sweep] table: lists, ranges with a step, and lists that go together."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from contactfe.errors import ContactFEError, InputError, Problem
from contactfe.inputs import Field, field_of, read_value, set_path
from contactfe.units import KINDS, format_quantity, parse_number

TOGETHER = "together"
RANGE_KEYS = ("from", "to", "step")
MOST_STEPS = 10_000
_UNIT_SUFFIX = re.compile(r"\s*([^\d\s.+\-/eE][^\d]*)$")


@dataclass(frozen=True)
class Axis:
    """One direction of the grid: dotted paths, and the raw values that they take together at each point; ``sampled``
    where these were drawn."""

    paths: tuple[str, ...]
    points: tuple[tuple[Any, ...], ...]
    sampled: bool = False


def told_value(path: str, raw: Any) -> float | int | str:
    """A varied value as it stands in the tables: as it was written, "20 %" or "tight"; a number where no
    unit belongs.

    Raises:
        ContactFEError: the value does not fit the key.
    """
    field = field_of(path)
    if field is None:
        raise ContactFEError(f"no such key in a case: {path}", slug="unknown-path")
    if isinstance(raw, Mapping):
        from contactfe.study.scatter import told_distribution

        return told_distribution(raw)
    value = read_value(field, raw)
    if field.kind in ("number", "integer"):
        return value if isinstance(value, int) else float(value)
    return str(raw).strip() if field.kind in KINDS else str(value)


def read_axes(sweep: Any) -> tuple[list[Axis], list[Problem]]:
    """The axes of a [sweep] table, and every problem in it. Values with a problem are left out."""
    if not isinstance(sweep, Mapping):
        return [], [Problem("[sweep]", "is not a table", "write [sweep] on a line of its own, keys below it")]
    axes: list[Axis] = []
    problems: list[Problem] = []
    for key, raw in sweep.items():
        if key == TOGETHER:
            found, bad = _together(raw)
            axes += found
        else:
            values, bad = _values(f"[sweep] {key}", key, raw)
            axes.append(Axis((key,), tuple((v,) for v in values)))
        problems += bad
    problems += repeated([p for axis in axes for p in axis.paths], "[sweep]")
    return axes, problems


def repeated(paths: list[str], where: str) -> list[Problem]:
    """A problem for every path that stands more than once."""
    twice = sorted({p for p in paths if paths.count(p) > 1})
    return [Problem(f"{where} {p}", "is varied in two places", "keep one of them") for p in twice]


def known_path(path: str, where: str) -> tuple[Field | None, list[Problem]]:
    """The field of a path that a study may vary, or the problem with it."""
    field = field_of(path)
    if field is not None and field.table:
        return field, []
    if field is not None:
        return None, [
            Problem(where, f"{path} cannot be varied", "vary keys of the tables, such as fastener.rounding")
        ]
    try:
        set_path({}, path, None)  # knows which key was probably meant
    except InputError as error:
        return None, [Problem(where, p.message, p.hint) for p in error.problems]
    return None, []


def _together(raw: Any) -> tuple[list[Axis], list[Problem]]:
    groups = raw if isinstance(raw, list) else [raw]
    axes: list[Axis] = []
    problems: list[Problem] = []
    for number, group in enumerate(groups, 1):
        where = f"[[sweep.together]] {number}"
        if not isinstance(group, Mapping) or not group:
            problems.append(
                Problem(where, "is not a table with lists", "write the keys that go together below it")
            )
            continue
        columns = []
        for key, values in group.items():
            read, bad = _values(f"{where}, {key}", key, values)
            problems += bad
            columns.append(read if not bad else [])
        if not all(columns):
            continue
        lengths = {key: len(column) for key, column in zip(group, columns, strict=True)}
        if len(set(lengths.values())) > 1:
            told = ", ".join(f"{key} has {n}" for key, n in lengths.items())
            problems.append(
                Problem(
                    where, f"lists of different lengths: {told}", "lists that go together are equally long"
                )
            )
            continue
        axes.append(Axis(tuple(group), tuple(zip(*columns, strict=True))))
    return axes, problems


def _values(where: str, path: str, raw: Any) -> tuple[list[Any], list[Problem]]:
    """The good values of one key and the problems of the others."""
    field, problems = known_path(path, where)
    if field is None:
        return [], problems
    if isinstance(raw, Mapping):
        values, problems = _range(where, field, raw)
        if problems:
            return [], problems
        places = [where] * len(values)
    elif isinstance(raw, list):
        values, places = raw, [f"{where}, item {i}" for i in range(1, len(raw) + 1)]
    else:
        return [], [Problem(where, "is one value", f"write a list, or set it in [base.{field.table}]")]
    if not values:
        return [], [Problem(where, "is an empty list", "write at least one value, or remove the key")]
    good: list[Any] = []
    seen: dict[Any, int] = {}
    for number, (item, place) in enumerate(zip(values, places, strict=True), 1):
        value, bad = _read(field, item, place)
        if bad:
            problems += bad
            continue
        if value in seen:
            problems.append(Problem(place, f"repeats item {seen[value]}", "remove one of them"))
            continue
        seen[value] = number
        good.append(item)
    return good, problems


def _read(field: Field, item: Any, place: str) -> tuple[Any, list[Problem]]:
    """What tells one value of an axis from another, and what is wrong with it."""
    if isinstance(item, Mapping):
        from contactfe.uncertainty import distribution_numbers, may_scatter  # takes a while to import

        if may_scatter(field):
            told = tuple(sorted((str(k), str(v)) for k, v in item.items()))
            return told, distribution_numbers(field, item, place)[1]
    try:
        return read_value(field, item), []
    except ContactFEError as error:
        return None, [Problem(place, error.message, error.hint)]


def _range(where: str, field: Field, raw: Mapping[str, Any]) -> tuple[list[Any], list[Problem]]:
    """The values of { from, to, step }, written like `from`."""
    example = f'write {{ from = "{field.example}", to = ..., step = ... }}'
    problems = [
        Problem(where, f"unknown key {key}", "a range has from, to and step")
        for key in raw
        if key not in RANGE_KEYS
    ]
    problems += [Problem(where, f"the range has no {key}", example) for key in RANGE_KEYS if key not in raw]
    if field.kind not in KINDS and field.kind not in ("number", "integer"):
        problems.append(Problem(where, "a range needs numbers", "write a list of the words"))
    if problems:
        return [], problems
    unit = _shared_unit([raw[key] for key in RANGE_KEYS])
    numbers = []
    for key in RANGE_KEYS:
        try:
            numbers.append(_number(raw[key], field, unit))
        except ContactFEError as error:
            problems.append(Problem(f"{where}, {key}", error.message, error.hint))
    if problems:
        return [], problems
    first, last, step = numbers
    if step <= 0 or last < first:
        return [], [Problem(where, "the range does not go upward", "write from below to, and a step above 0")]
    steps = (last - first) / step + 1e-9  # infinite for a step near zero
    if not steps < MOST_STEPS:
        return [], [Problem(where, f"the range has more than {MOST_STEPS} values", "write a larger step")]
    count = int(steps) + 1
    return [_written(first + i * step, field, unit) for i in range(count)], []


def _shared_unit(texts: list[Any]) -> str | None:
    """The unit that all three texts end with, None when they differ or have none."""
    found = {m.group(1) if isinstance(t, str) and (m := _UNIT_SUFFIX.search(t)) else "" for t in texts}
    return found.pop() or None if len(found) == 1 else None


def _number(raw: Any, field: Field, unit: str | None) -> float:
    """The number of a range's bound: in its own unit when all share one, else in internal units."""
    # The step is a difference: it may lie outside the bounds of the key, so only its unit is read.
    free = Field(field.table, field.name, field.kind, field.doc, field.example, float("-inf"))
    value = float(read_value(free, raw))
    return parse_number(_UNIT_SUFFIX.sub("", str(raw).strip())) if unit is not None else value


def _written(value: float, field: Field, unit: str | None) -> Any:
    if field.kind == "integer":
        return round(value)
    if field.kind == "number":
        return float(f"{value:.12g}")
    if unit is not None:
        return f"{value:.12g} {unit}"
    return format_quantity(value, field.kind)  # type: ignore[arg-type]
