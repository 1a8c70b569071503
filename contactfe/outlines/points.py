"""Outlines from CSV files of points: two columns x and y, a blank line between loops, the unit in the header."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from contactfe.outlines.drawing import UNITS, Drawing, fault, read_bytes
from contactfe.outlines.strokes import Array

MOST_POINTS = 200_000
_SPLIT = re.compile(r"\s*[,;\t]\s*|\s+")
_UNIT = re.compile(r"(?:[\[(_ ])(mm|cm|m|in|ft)(?:[\])]|\b)")


def read_points(path: Path) -> tuple[list[Array], Drawing]:
    """The loops of a CSV file as points (n, 2) in its unit, and the empty drawing that tells the unit.

    Columns are parted by commas, semicolons, tabs or blanks; the first line may name them, with a unit such as
    "x_mm,y_mm" or "x (in)". A point that repeats the first one closes its loop.

    Raises:
        InputError: a line that is not two finite numbers, fewer than three points, too many.
    """
    data = read_bytes(path)
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise fault(
            str(path), "", f"is not UTF-8 text (byte {error.start})", "save it as UTF-8 text"
        ) from error
    unit, first = _header(lines)
    loops: list[list[tuple[float, float]]] = [[]]
    count = 0
    for number, text in enumerate(lines[first:], start=first + 1):
        if not text.strip():
            if loops[-1]:
                loops.append([])
            continue
        if text.lstrip().startswith("#"):
            continue
        loops[-1].append(_point(text, number, str(path)))
        count += 1
        if count > MOST_POINTS:
            raise fault(str(path), "", f"holds more than {MOST_POINTS:,} points", "keep one head only")
    closed = [_closed(np.array(loop)) for loop in loops if loop]
    if not closed or min(map(len, closed)) < 3:
        raise fault(str(path), "", "has a loop of fewer than three points", "write one point x,y on a line")
    return closed, Drawing((), unit, "the header" if unit else "")


def _header(lines: list[str]) -> tuple[str | None, int]:
    """The unit that the first line states, and the number of lines before the points."""
    for number, text in enumerate(lines[:20]):
        if not text.strip() or text.lstrip().startswith("#"):
            continue
        if re.search(r"[a-zA-Z]", re.sub(r"[0-9.][eE][+-]?[0-9]|nan|inf", "", text)):
            match = _UNIT.search(text)
            return (match[1] if match and match[1] in UNITS else None), number + 1
        break
    return None, 0


def _point(text: str, number: int, source: str) -> tuple[float, float]:
    cells = [cell for cell in _SPLIT.split(text.strip()) if cell]
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        values = []
    if len(values) != 2 or not all(math.isfinite(v) and abs(v) < 1e7 for v in values):
        raise fault(
            source, f"line {number}", f'"{text.strip()[:40]}" is not a point', "write two numbers: 8.08,-2.25"
        )
    return values[0], values[1]


def _closed(p: Array) -> Array:
    """The points of a loop without the one that repeats the first."""
    size = float(np.ptp(p, axis=0).max())
    return p[:-1] if len(p) > 1 and float(np.hypot(*(p[-1] - p[0]))) <= 1e-6 * size else p
