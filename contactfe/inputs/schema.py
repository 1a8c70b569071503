"""Reading every key of a case file by the field list, and what is wrong with each.

Every value is a quantity, a size or a word with a reader of its own, and all messages are ours; a validation library
had nothing left to do here but to collect them, at the price of its import."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..errors import ContactFEError, Problem, nearest, shown
from ..units import is_inch, whole_text
from .fields import FIELDS, FORMAT, TABLES, field_of, fields_of
from .values import read_value


@dataclass(frozen=True)
class Checked:
    """What the keys of a case say, one by one.

    `values` holds the good keys by dotted path, `bad` the paths that have a problem (also the key a misspelt
    one was meant to be, so that it is not called missing as well), `problems` what they are. `inch` says
    whether the width across flats was written in inches.
    """

    values: Mapping[str, Any]
    bad: frozenset[str]
    problems: tuple[Problem, ...]
    inch: bool = False


def check_keys(raw: Mapping[str, Any]) -> Checked:
    """Read every key of a raw case; never stops at the first problem. What keys mean together is not looked
    at."""
    problem = _format_problem(raw)
    if problem is not None:
        return Checked({}, frozenset(["format"]), (problem,))
    values: dict[str, Any] = {}
    bad: set[str] = set()
    problems: list[Problem] = []
    for key, part in raw.items():
        if key in TABLES:
            if isinstance(part, Mapping):
                for name, value in part.items():
                    _read(f"{key}.{name}", value, values, bad, problems)
            else:
                bad.add(key)
                problems.append(
                    Problem(
                        f"[{key}]", "is not a table", f"write [{key}] on a line of its own, keys below it"
                    )
                )
        else:
            _read(str(key), part, values, bad, problems)
    fastener = raw.get("fastener")
    inch = isinstance(fastener, Mapping) and is_inch(fastener.get("across_flats"))
    return Checked(values, frozenset(bad), tuple(problems), inch)


def _read(path: str, raw: Any, values: dict[str, Any], bad: set[str], problems: list[Problem]) -> None:
    """Read one key into `values`, or record what is wrong with it."""
    table, _, name = path.rpartition(".")
    field = field_of(path)
    if field is None:
        bad.update(_meant((table, name) if table else (name,)))
        where = f"[{table}] {shown(name)}" if table else shown(name)
        problems.append(_unknown_key(where, (table, name) if table else (name,)))
        return
    try:
        values[path] = read_value(field, raw)
    except ContactFEError as error:
        bad.add(path)
        problems.append(Problem(field.where, error.message, error.hint))


def _format_problem(raw: Mapping[str, Any]) -> Problem | None:
    """Return what is wrong with the format number; a file of another format is not read any further."""
    if "format" not in raw:
        return Problem("format", "missing", f"write format = {FORMAT} at the top")
    given = raw["format"]
    if isinstance(given, bool) or not isinstance(given, int):
        return Problem(
            "format",
            f"{shown(repr(given) if not isinstance(given, int) else given)} is not a whole number",
            f"write format = {FORMAT}",
        )
    if given > FORMAT:
        return Problem(
            "format",
            f"{whole_text(given)} is newer than this version reads",
            f"install a later version, or write the file in format {FORMAT}",
        )
    if given < FORMAT:
        return Problem(
            "format", f"{whole_text(given)} is not a format of this file", f"write format = {FORMAT}"
        )
    return None


def _unknown_key(where: str, place: tuple[str, ...]) -> Problem:
    name = place[-1]
    table = place[0] if len(place) == 2 else ""
    known = [entry.name for entry in fields_of(table)] + (list(TABLES) if not table else [])
    homes = [entry.table for entry in FIELDS if entry.name == name]
    if homes:
        home = f"[{homes[0]}]" if homes[0] else "the top of the file, above every table"
        return Problem(where, "unknown key", f"{name} belongs to {home}")
    return Problem(where, "unknown key", nearest(name, known) or f"known: {', '.join(known)}")


def _meant(place: tuple[str, ...]) -> list[str]:
    """Return the dotted path of a bad key, and of the known key it was probably meant to be."""
    path = ".".join(place)
    if field_of(path) is not None or path in TABLES:
        return [path]
    names = TABLES if len(place) == 1 else tuple(entry.name for entry in fields_of(place[0]))
    close = difflib.get_close_matches(place[-1], names, n=1, cutoff=0.6)
    return [path, *(".".join([*place[:-1], name]) for name in close)]
