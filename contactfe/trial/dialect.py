"""How a log of another program is laid out: delimiter, decimal mark, preamble, headings and units, found by scoring.

Every pair of delimiter and decimal mark is tried on the first part of the file; the pair under which most rows are
numbers throughout, and equally wide, is taken.
"""

from __future__ import annotations

import csv
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from contactfe.trial.text import Encoding, encoding_of, lines_of, refused

JUDGED_LINES = 400
DELIMITERS = ("\t", ";", ",", "|", " ")  # a blank stands for any run of blanks
DECIMALS = (".", ",")
_NAMES = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "blanks"}
_STAMP = re.compile(
    r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4})?[ T]?(?:\d{1,2}:\d{2}(?::\d{2}(?:[.,:]\d+)?)?(?: ?[AaPp][Mm])?)?Z?"
)
_UNIT = re.compile(r"[(\[]?\s*[A-Za-zµμ°%·⋅.*/^²\-\s]{0,12}\s*[)\]]?")


@dataclass(frozen=True)
class Dialect:
    """The layout of a log. `start` is the number of lines before the first row, `width` the number of columns;
    `headings` and `units` (each `width` long, empty texts where there are none) belong to the columns. `paired`:
    the comma is both delimiter and decimal mark, and two cells make one number."""

    encoding: Encoding
    delimiter: str
    decimal: str
    start: int
    width: int
    headings: tuple[str, ...]
    units: tuple[str, ...]
    paired: bool = False

    def words(self) -> str:
        """What was found, in one line."""
        mark = "comma" if self.decimal == "," else "point"
        named = "headings" if any(self.headings) else "no headings"
        named += ", a row of units" if any(self.units) else ""
        return (
            f"{self.encoding.words}; delimiter: {_NAMES[self.delimiter]}, decimal mark: {mark}"
            f"{' (the same comma)' if self.paired else ''}; {named}; rows from line {self.start + 1}"
        )


def number_pattern(decimal: str) -> re.Pattern[str]:
    """What a number looks like: plain, with an exponent, or with thousands marks."""
    d = re.escape(decimal)
    other = "," if decimal == "." else "."
    plain = rf"(?:\d+(?:{d}\d*)?|{d}\d+)(?:[eE][+-]?\d+)?"
    grouped = rf"\d{{1,3}}(?P<thousands>(?:[{other}'  ]\d{{3}})+)(?:{d}\d*)?"
    return re.compile(rf"[+-]?(?:{plain}|{grouped})")


_PATTERNS = {decimal: number_pattern(decimal) for decimal in DECIMALS}


def is_stamp(cell: str) -> bool:
    """Whether a cell is a date, a time of day, or both."""
    return (
        len(cell) > 3
        and (":" in cell or cell.count("-") + cell.count("/") + cell.count(".") == 2)
        and (_STAMP.fullmatch(cell) is not None)
    )


def cells_of(lines: Iterator[str] | Sequence[str], delimiter: str) -> Iterator[list[str]]:
    """Rows of cells, not stripped."""
    if delimiter == " ":
        return (line.split() for line in lines)
    return csv.reader(lines, delimiter=delimiter, skipinitialspace=True)


def judge(path: Path) -> Dialect:
    """The dialect of a log.

    Raises:
        InputError: it cannot be read, or holds no columns of numbers.
    """
    encoding = encoding_of(path)
    lines = list(itertools.islice(lines_of(path, encoding), JUDGED_LINES))
    best, score = (",", "."), (0.0, 0)
    for delimiter in DELIMITERS:
        for decimal in DECIMALS:
            own = _score(lines, delimiter, decimal)
            if own > score:
                best, score = (delimiter, decimal), own
    if score[0] < 2:
        raise refused(
            path,
            f"holds no columns of numbers in its first {len(lines)} lines",
            "export the log as a table: one row for each sample, delimited by comma, semicolon, tab or blanks",
        )
    return _layout(lines, encoding, *best)


def _rows(lines: Sequence[str], delimiter: str) -> list[list[str]]:
    """Rows of stripped cells, one for every line; what is not CSV is no row."""
    found = []
    for line in lines:
        try:
            row = next(iter(cells_of([line], delimiter)), [])
        except csv.Error:
            row = []
        cells = [cell.strip() for cell in row]
        while cells and not cells[-1]:  # many loggers end every line with a delimiter
            cells.pop()
        found.append(cells)
    return found


def _row_kind(cells: Sequence[str], decimal: str) -> tuple[bool, bool]:
    """Whether a row holds nothing but numbers and time stamps, at least one number, and whether it needs thousands
    marks to be that."""
    numbers, grouped = 0, False
    for cell in cells:
        match = _PATTERNS[decimal].fullmatch(cell)
        if match is not None:
            numbers += 1
            grouped |= match["thousands"] is not None
        elif cell and not is_stamp(cell):
            return False, False
    return numbers > 0, grouped


def _score(lines: Sequence[str], delimiter: str, decimal: str) -> tuple[float, int]:
    """How many numeric rows of equal width a pair gives, those with thousands marks for a little less, and the
    width. A single column counts for less than several."""
    widths: Counter[int] = Counter()
    marks = 0
    for cells in _rows(lines, delimiter):
        numeric, grouped = _row_kind(cells, decimal)
        if numeric:
            widths[len(cells)] += 1
            marks += grouped
    if not widths:
        return 0.0, 0
    width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
    return (count - 0.25 * min(marks, count)) * (0.5 if width == 1 else 1.0), width


def _layout(lines: Sequence[str], encoding: Encoding, delimiter: str, decimal: str) -> Dialect:
    rows = _rows(lines, delimiter)
    numeric = [_row_kind(cells, decimal)[0] for cells in rows]
    widths = Counter(len(cells) for cells, ok in zip(rows, numeric, strict=True) if ok)
    width = widths.most_common(1)[0][0]
    start = next(i for i, ok in enumerate(numeric) if ok and len(rows[i]) == width)
    above = [i for i in range(start) if any(rows[i])]
    headings, units = _names(rows, lines, above, width, delimiter)
    paired = False
    if delimiter == "," and decimal == "." and not headings and width % 2 == 0:
        # "0,5,12,3" below two headings: the comma is both.
        headings, units = _names(rows, lines, above, width // 2, delimiter)
        whole = all(
            cell.lstrip("+-").isdigit() for row, ok in zip(rows, numeric, strict=True) if ok for cell in row
        )
        paired = bool(headings) and whole
    if paired:
        decimal, width = ",", width // 2
    elif len(headings) != width:
        headings, units = (), ()
    empty = ("",) * width
    return Dialect(encoding, delimiter, decimal, start, width, headings or empty, units or empty, paired)


def _names(
    rows: Sequence[Sequence[str]], lines: Sequence[str], above: Sequence[int], width: int, delimiter: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Headings and units among the lines above the first row; empty where there are none of this width."""

    def cells(i: int) -> tuple[str, ...]:
        own = list(rows[i])
        if own and own[0][:1] in ("#", "%", "'"):
            own[0] = own[0][1:].strip()
            own = own[1:] if not own[0] else own
        if delimiter == " " and len(own) != width:  # names may hold single blanks
            own = [part.strip() for part in re.split(r"\s{2,}|\t", lines[i].strip("#% \r\n"))]
        return tuple(own)

    if not above:
        return (), ()
    last = cells(above[-1])
    if len(above) > 1 and len(last) <= width and _are_units(last):
        before = cells(above[-2])
        if len(before) == width and not _are_units(before):
            return before, last + ("",) * (width - len(last))
    return (last, ()) if len(last) == width else ((), ())


def _are_units(cells: Sequence[str]) -> bool:
    """Whether a row holds units: all in brackets, or all as short as units are and at least one that is known."""
    known = {"s", "ms", "sec", "min", "deg", "°", "rad", "nm", "n.m", "n·m", "n m", "n*m", "lbf*ft", "mm", "kn", "n",
             "mpa", "ft-lb", "lbf ft", "in-lb", "lbf in", "hh:mm:ss", "degree", "degrees"}  # fmt: skip
    filled = [cell for cell in cells if cell]
    if not filled or any(_UNIT.fullmatch(cell) is None for cell in filled):
        return False
    bare = [cell.strip("()[] ").lower() for cell in filled]
    return all(cell[0] in "([" for cell in filled) or sum(cell in known for cell in bare) > len(bare) / 2
