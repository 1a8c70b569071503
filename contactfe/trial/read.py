"""Reading a readings file: a TOML head, or none, a line of dashes, and rows of CSV; all problems at once."""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.trial.columns import BY_NAME, COLUMNS, CONDITION, read_cell, split_heading
from contactfe.trial.readings import Condition, Reading, Readings
from contactfe.trial.text import encoding_of, lines_of, refused

FORMAT = 1
RULE = "---"
HEAD_KEYS = ("format", "title", "every")
MOST_TOLD = 30  # problems that one message lists
DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True)
class Sheet:
    """A readings file as it stands: the lines of its head, the headings with their units, and the rows with the
    number of their line. `comma`: a comma is the decimal mark."""

    path: Path
    head: str
    delimiter: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    encoding: str
    encoding_words: str

    @property
    def comma(self) -> bool:
        """Where the delimiter is no comma, a comma in a number is the decimal mark."""
        return self.delimiter != ","


def read_readings(path: str | Path) -> Readings:
    """Read a readings file (see `readings_template` for its layout).

    Raises:
        InputError: every problem of head, headings and rows.
    """
    sheet = read_sheet(Path(path))
    problems = _heading_problems(sheet)
    if problems:  # rows cannot be read by headings that are not understood
        raise InputError(problems, source=str(path))
    title, every, notes = _head(sheet, problems)
    problems += _missing(sheet, every)
    found: list[Reading] = []
    pending: list[int] = []
    for line, cells in sheet.rows:
        reading, bad = _row(sheet, line, cells, every)
        problems += bad
        if reading is not None:
            found.append(reading)
        elif not bad:
            pending.append(line)
    problems += _repeated(found)
    if not problems and not found:
        told = "no reading is filled in yet" if pending else "holds no rows"
        problems.append(Problem("", told, "write the torque of each pull into its row"))
    if problems:
        more = len(problems) - MOST_TOLD
        told_all = problems if more <= 0 else [*problems[:MOST_TOLD], Problem("", f"and {more} more")]
        raise InputError(told_all, source=str(path))
    return Readings(title, tuple(found), tuple(pending), str(path), notes)


def read_sheet(path: Path) -> Sheet:
    """The head, headings and rows of a readings file, as text.

    Raises:
        InputError: it cannot be read, or has no headings.
    """
    encoding = encoding_of(path)
    lines = list(lines_of(path, encoding))
    rule = next((i for i, line in enumerate(lines) if line.strip().startswith(RULE)), None)
    start = 0 if rule is None else rule + 1
    while start < len(lines) and (not lines[start].strip() or lines[start].lstrip().startswith("#")):
        start += 1
    if start == len(lines):
        raise refused(path, "holds no table", "write a line of headings: design,size,grade,rounding,torque")
    delimiter = max(DELIMITERS, key=lambda mark: (_known(lines[start], mark), lines[start].count(mark)))
    try:
        table = list(_numbered(lines[start:], delimiter, start))
    except csv.Error as error:
        raise refused(path, f"is not CSV: {error}", "check the quotation marks") from error
    names, units = zip(*(split_heading(cell) for cell in table[0][1]), strict=True)
    rows = tuple((n, cells) for n, cells in table[1:] if any(cells) and not cells[0].startswith("#"))
    head = "".join(lines[: rule or 0])
    return Sheet(path, head, delimiter, tuple(names), tuple(units), rows, encoding.name, encoding.words)


def _known(line: str, delimiter: str) -> int:
    """How many known headings a line holds when it is split at a delimiter."""
    return sum(split_heading(cell.strip().strip('"'))[0] in BY_NAME for cell in line.split(delimiter))


def _numbered(lines: Sequence[str], delimiter: str, before: int) -> list[tuple[int, tuple[str, ...]]]:
    reader = csv.reader(lines, delimiter=delimiter, strict=True, skipinitialspace=True)
    return [(reader.line_num + before, tuple(cell.strip() for cell in row)) for row in reader]


def _heading_problems(sheet: Sheet) -> list[Problem]:
    problems = []
    for name in sheet.headings:
        if name not in BY_NAME:
            known = ", ".join(BY_NAME)
            told = f'"{name}"' if name else "a column without a name"
            problems.append(
                Problem(
                    "headings",
                    f"{told} is no column of readings",
                    nearest(name, BY_NAME) or f"known: {known}",
                )
            )
        elif sheet.headings.count(name) > 1:
            problems.append(Problem("headings", f"{name} stands more than once", "keep one of the columns"))
    for name, unit in zip(sheet.headings, sheet.units, strict=True):
        column = BY_NAME.get(name)
        if column is None or not unit:
            continue
        if column.kind not in ("length", "stress", "fraction", "torque"):
            problems.append(Problem("headings", f"{name} has no unit", f"write {name} alone"))
            continue
        try:
            read_cell(replace(column, low=-math.inf, high=math.inf), "1", unit, False)
        except ContactFEError as error:
            problems.append(Problem(f"headings, {name}", error.message, error.hint))
    return list(dict.fromkeys(problems))


def _head(sheet: Sheet, problems: list[Problem]) -> tuple[str, dict[str, Any], tuple[str, ...]]:
    """Title, the values that hold for every row, and the comments of the head."""
    notes = tuple(line.lstrip("# ").strip() for line in sheet.head.splitlines() if line.startswith("#"))
    try:
        raw = tomllib.loads(sheet.head)
    except ValueError as error:
        problems.append(Problem("head", f"is not TOML: {error}", 'a line is key = "value" or [every]'))
        return sheet.path.stem, {}, notes
    for key in raw:
        if key not in HEAD_KEYS:
            problems.append(
                Problem(
                    f"head, {key}", "unknown key", nearest(key, HEAD_KEYS) or f"known: {', '.join(HEAD_KEYS)}"
                )
            )
    if raw.get("format", FORMAT) != FORMAT:
        problems.append(
            Problem("head, format", f"{raw['format']!r} is not read here", f"write format = {FORMAT}")
        )
    table = raw.get("every", {})
    if not isinstance(table, Mapping):
        problems.append(Problem("head, every", "is not a table", "write [every] on a line of its own"))
        table = {}
    every = {}
    for key, value in table.items():
        where = f"head, [every] {key}"
        if key not in CONDITION:
            problems.append(
                Problem(where, "does not hold for every row", f"these may: {', '.join(CONDITION)}")
            )
        elif key in sheet.headings:
            problems.append(Problem(where, "is a column as well", "keep one of the two"))
        else:
            try:
                every[key] = read_cell(BY_NAME[key], str(value), "", False)
            except ContactFEError as error:
                problems.append(Problem(where, error.message, error.hint))
    return str(raw.get("title", sheet.path.stem)), every, notes


def _missing(sheet: Sheet, every: Mapping[str, Any]) -> list[Problem]:
    """The headings that a file cannot do without."""
    problems = [
        Problem("headings", f"there is no column {name}", f"add {name} to the line of headings")
        for name in ("design", "torque")
        if name not in sheet.headings
    ]
    if not every and not set(sheet.headings) & set(CONDITION):
        problems.append(
            Problem("headings", "nothing tells the condition", f"add one of {', '.join(CONDITION)}")
        )
    return problems


def _row(
    sheet: Sheet, line: int, cells: tuple[str, ...], every: Mapping[str, Any]
) -> tuple[Reading | None, list[Problem]]:
    """The reading of a row; neither reading nor problem for one that is not filled in."""
    where = f"line {line}"
    if len(cells) != len(sheet.headings):
        hint = (
            "write numbers with a comma in quotation marks" if sheet.delimiter == "," else "count the columns"
        )
        return None, [Problem(where, f"has {len(cells)} cells, not {len(sheet.headings)}", hint)]
    values, problems = dict(every), []
    for name, unit, cell in zip(sheet.headings, sheet.units, cells, strict=True):
        column = BY_NAME.get(name)
        if column is None or not cell:
            continue
        try:
            values[name] = read_cell(column, cell, unit, sheet.comma)
        except ContactFEError as error:
            problems.append(Problem(f"{where}, {name}", error.message, error.hint))
    given = {name for name, cell in zip(sheet.headings, cells, strict=True) if cell}
    if "torque" not in given and "torque" in sheet.headings and not problems:
        if "happened" in given:
            problems.append(Problem(f"{where}, torque", "is missing", "write the largest torque of the pull"))
        return None, problems
    if "design" not in given and "design" in sheet.headings:
        problems.append(Problem(f"{where}, design", "is missing", "name the wrench's design"))
    if not any(name in values for name in CONDITION) and not problems:
        problems.append(Problem(where, "tells no condition", f"fill in one of {', '.join(CONDITION)}"))
    if problems or "design" not in values or "torque" not in values:
        return None, problems
    return _reading(values, line), []


def _reading(values: Mapping[str, Any], line: int) -> Reading:
    measured = values.get("yield_strength") if "grade" in values else None
    condition = Condition(
        values.get("size"),
        values.get("across_flats") if "size" not in values else None,
        values.get("grade"),
        values.get("yield_strength") if measured is None else None,
        values.get("rounding"),
        values.get("engaged_depth"),
    )
    return Reading(
        values["design"],
        condition,
        values["torque"],
        values.get("happened", "slipped"),
        values.get("pull"),
        values.get("bar", ""),
        measured,
        values.get("note", ""),
        line,
    )


def _repeated(found: Sequence[Reading]) -> list[Problem]:
    """Pulls that stand twice."""
    first: dict[tuple[Any, ...], int] = {}
    problems = []
    for reading in found:
        key = (reading.design, reading.condition, reading.pull)
        if reading.pull is not None and first.setdefault(key, reading.line) != reading.line:
            told = f"pull {reading.pull} of {reading.design} on {reading.condition.words()} stands in line {first[key]} too"
            problems.append(
                Problem(f"line {reading.line}, pull", told, "number the pulls, or remove one row")
            )
    return problems


def readings_template() -> str:
    """A commented starting file for readings."""
    lines = [
        "# Readings of destructive torque tests. Above the line of dashes TOML, below it CSV (or CSV alone).",
        "# Delimiter: comma, semicolon or tab; with the last two a comma in a number is the decimal mark.",
        "# Units stand in the headings, or behind a number. Only design, torque and one column of the condition",
        "# (size, across_flats, grade, yield_strength, rounding, engaged_depth) are needed. Columns:",
        *(f"#   {column.name}: {column.doc}" for column in COLUMNS),
        "# What may have happened: slipped, wrench broke, wrench bent, bolt twisted off, sensor out of range,",
        "# stopped. With all but slipped the torque counts as at least that much. A row without a torque is one",
        "# that nobody has filled in yet. The three rows are examples, not measurements.",
        f"format = {FORMAT}",
        'title = "my pulls"',
        "[every]    # what holds for all rows",
        'size = "M10"',
        'grade = "8.8"',
        RULE,
        "design,rounding (%),pull,torque (N*m),happened,bar,note",
        "ring A,20,1,101.5,slipped,A,",
        "ring A,20,2,99.0,slipped,B,",
        "open end B,20,1,61.0,wrench bent,A,stays open by 0.3 mm",
    ]
    return "\n".join(lines) + "\n"
