"""Reading the CSV tables of this package. Header lines that start with # name the source of each table."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


@cache
def rows(file: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a table of this package as text, by column name."""
    lines = [line for line in _text(file).splitlines() if line and not line.startswith("#")]
    return tuple(dict(row) for row in csv.DictReader(lines))


@cache
def notes(file: str) -> str:
    """Return the header of a table: its source, its units, and how the values were obtained."""
    lines = [line[1:].strip() for line in _text(file).splitlines() if line.startswith("#")]
    return " ".join(lines)


def number(text: str) -> float | None:
    """Return a cell as a number, None when it is empty."""
    return float(text) if text else None


def _text(file: str) -> str:
    return resources.files(__package__).joinpath(file).read_text(encoding="utf-8")
