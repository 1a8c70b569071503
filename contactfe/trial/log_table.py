"""The samples of a torque log as arrays: which columns, which units, read in pieces so that long logs fit."""

from __future__ import annotations

import csv
import io
import itertools
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.trial.columns import split_heading, torque_factor
from contactfe.trial.dialect import Dialect, cells_of, is_stamp, judge, number_pattern
from contactfe.trial.text import lines_of, refused

Array = NDArray[np.float64]

ROWS_AT_A_TIME = 50_000
BYTES_AT_A_TIME = 32_000_000
LEAST_SAMPLES = 20
# Words of headings in small letters; common practice of loggers in English, German, French and Spanish.
_WORDS = {
    "torque": ("torque", "moment", "drehmoment", "couple", "par", "md", "m", "t_nm", "trq"),
    "angle": (
        "angle",
        "rotation",
        "twist",
        "winkel",
        "drehwinkel",
        "ángulo",
        "angulo",
        "phi",
        "theta",
        "deg",
    ),
    "time": (
        "time",
        "zeit",
        "temps",
        "tiempo",
        "timestamp",
        "elapsed",
        "t",
        "date_time",
        "datetime",
        "clock",
    ),
}
_ANGLES = {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0, "grad": 1.0, "rad": 180.0 / np.pi, "rev": 360.0,
           "turns": 360.0, "turn": 360.0, "mrad": 0.18 / np.pi}  # fmt: skip
_TIMES = {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, eq=False)
class LogTable:
    """The samples of a log: ``torque`` (n,) N m, ``angle`` (n,) deg and ``time`` (n,) s or None; read-only, nan where
    a cell is missing. ``columns`` says which columns they are, ``damaged`` how many rows were cut short or hold text."""

    source: str
    dialect: Dialect
    torque: Array
    angle: Array | None
    time: Array | None
    columns: tuple[str, ...]
    damaged: int

    def __post_init__(self) -> None:
        for array in (self.torque, self.angle, self.time):
            if array is not None:
                array.setflags(write=False)


@dataclass(frozen=True)
class Wanted:
    """What the user says about the columns: names or numbers from 1, and the unit of torque. None: found by itself."""

    torque: str | None = None
    angle: str | None = None
    time: str | None = None
    unit: str | None = None


def read_table(path: Path, wanted: Wanted = Wanted()) -> LogTable:
    """The samples of a log file.

    Raises:
        InputError: it cannot be read, the column of torque or its unit is not found, or it is too short.
    """
    dialect = judge(path)
    chosen, problems = _choose(dialect, wanted)
    factors = {key: _factor(dialect, key, k, wanted, problems) for key, k in chosen.items()}
    if problems:
        raise InputError(problems, source=str(path))
    columns, damaged = _samples(path, dialect, list(chosen.values()))
    read = {
        key: column * factors[key] if np.isfinite(column).any() else None
        for key, column in zip(chosen, columns, strict=True)
    }
    torque = read["torque"]
    if torque is None or np.isfinite(torque).sum() < LEAST_SAMPLES:
        count = 0 if torque is None else int(np.isfinite(torque).sum())
        raise refused(path, f"holds {count} samples of torque", f"at least {LEAST_SAMPLES} are needed")
    told = tuple(f"{key}: {_title(dialect, k)}" for key, k in chosen.items())
    return LogTable(str(path), dialect, torque, read.get("angle"), read.get("time"), told, damaged)


def _title(dialect: Dialect, k: int) -> str:
    name = dialect.headings[k]
    return f'column {k + 1} "{name}"' if name else f"column {k + 1}"


def _choose(dialect: Dialect, wanted: Wanted) -> tuple[dict[str, int], list[Problem]]:
    """Numbers (from 0) of the columns of torque, angle and time."""
    chosen: dict[str, int] = {}
    problems: list[Problem] = []
    for key in ("torque", "angle", "time"):
        asked = getattr(wanted, key)
        if asked is not None:
            k = _named(dialect, asked)
            if k is None:
                names = ", ".join(_title(dialect, i) for i in range(dialect.width))
                hint = nearest(asked, dialect.headings) or f"there are: {names}"
                problems.append(Problem(f"--{key}", f'there is no column "{asked}"', hint))
            else:
                chosen[key] = k
            continue
        fits = [k for k in range(dialect.width) if k not in chosen.values() and _fits(dialect, key, k)]
        if fits:
            chosen[key] = fits[0]
        if len(fits) > 1 and key == "torque":
            names = ", ".join(_title(dialect, k) for k in fits)
            problems.append(
                Problem("--torque", f"{len(fits)} columns may be the torque: {names}", "name one")
            )
    if "torque" not in chosen and not problems:
        names = ", ".join(_title(dialect, k) for k in range(dialect.width))
        problems.append(
            Problem("", f"no column is named a torque: {names}", "name it: --torque COLUMN or its number")
        )
    return chosen, problems


def _named(dialect: Dialect, asked: str) -> int | None:
    names = [" ".join(name.lower().split()) for name in dialect.headings]
    plain = " ".join(asked.lower().split())
    if plain in names:
        return names.index(plain)
    bare = [split_heading(name)[0] for name in names]
    if plain.replace(" ", "_") in bare:
        return bare.index(plain.replace(" ", "_"))
    if asked.isdigit() and 1 <= int(asked) <= dialect.width:
        return int(asked) - 1
    return None


def _fits(dialect: Dialect, key: str, k: int) -> bool:
    """Whether a heading, or its unit alone, says torque, angle or time."""
    name, unit = split_heading(dialect.headings[k])
    words = re.split(r"[_\W]+", name)
    if name in _WORDS[key] or any(word in _WORDS[key] and len(word) > 2 for word in words):
        return True
    unit = (unit or dialect.units[k].strip("()[] ")).lower()
    if key == "torque":
        try:
            return bool(unit) and torque_factor(unit) > 0
        except ContactFEError:
            return False
    return unit in ("deg", "°", "degrees") if key == "angle" else False


def _factor(dialect: Dialect, key: str, k: int, wanted: Wanted, problems: list[Problem]) -> float:
    """What a column is multiplied by to be in N m, deg or s."""
    name, unit = split_heading(dialect.headings[k])
    unit = unit or dialect.units[k].strip("()[] ")
    if not unit and "_" in name:  # torque_Nm, angle_deg
        unit = dialect.headings[k].rpartition("_")[2]
    if key == "torque":
        unit = wanted.unit or unit
        if not unit:
            problems.append(Problem("--unit", "nothing tells the unit of torque", "name it: --unit N*m"))
            return 1.0
        try:
            return torque_factor(unit)
        except ContactFEError as error:
            where = "--unit" if wanted.unit else _title(dialect, k)
            problems.append(Problem(where, error.message, error.hint))
            return 1.0
    known = _ANGLES if key == "angle" else _TIMES
    return known.get(unit.lower(), 1.0) if unit else 1.0


def _samples(path: Path, dialect: Dialect, columns: Sequence[int]) -> tuple[list[Array], int]:
    """The chosen columns (n,) each, and how many rows are damaged."""
    quick = _quick(path, dialect, columns)
    if quick is not None:
        return quick, 0
    lines = itertools.islice(lines_of(path, dialect.encoding), dialect.start, None)
    rows = iter(cells_of(lines, dialect.delimiter))
    parts: list[list[Array]] = [[] for _ in columns]
    damaged = 0
    readers = [_reader(dialect) for _ in columns]
    while True:
        try:
            piece = [row for row in itertools.islice(rows, ROWS_AT_A_TIME) if row]
        except csv.Error as error:
            raise refused(path, f"is not CSV: {error}", "check the quotation marks") from error
        if not piece:
            break
        short = 0
        for part, k, read in zip(parts, columns, readers, strict=True):
            cells, cut = _column(piece, k, dialect.paired)
            short = max(short, cut)
            values = read(cells)
            part.append(values)
        damaged += max(short, int(np.isnan(np.array([part[-1] for part in parts])).any(axis=0).sum()))
    return [np.concatenate(part) if part else np.empty(0) for part in parts], damaged


def _quick(path: Path, dialect: Dialect, columns: Sequence[int]) -> list[Array] | None:
    """The chosen columns by numpy's own reader, several times as fast; None where a cell needs a closer look."""
    if dialect.paired or dialect.encoding.name == "utf-16":
        return None
    delimiter = None if dialect.delimiter == " " else dialect.delimiter
    parts: list[Array] = []
    with path.open("rb") as file:
        for _ in range(dialect.start):
            file.readline()
        while piece := file.readlines(BYTES_AT_A_TIME):
            block = b"".join(piece)
            if dialect.decimal == ",":
                if b"." in block:
                    return None
                block = block.replace(b",", b".")
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")  # a last piece of blank lines only
                    part = np.loadtxt(
                        io.BytesIO(block), delimiter=delimiter, usecols=columns, comments=None, ndmin=2
                    )
            except ValueError:
                return None
            parts.append(part.reshape(-1, len(columns)))
    table = np.concatenate(parts) if parts else np.empty((0, len(columns)))
    return [np.ascontiguousarray(table[:, k]) for k in range(len(columns))]


def _column(rows: Sequence[Sequence[str]], k: int, paired: bool) -> tuple[list[str], int]:
    """One column of rows, and how many rows are too short for it."""
    if paired:
        full = [row for row in rows if len(row) > 2 * k + 1]
        own = [f"{row[2 * k]},{row[2 * k + 1]}" if len(row) > 2 * k + 1 else "" for row in rows]
        return own, len(rows) - len(full)
    try:
        return [row[k] for row in rows], 0
    except IndexError:
        return [row[k] if k < len(row) else "" for row in rows], sum(k >= len(row) for row in rows)


def _reader(dialect: Dialect) -> Callable[[Sequence[str]], Array]:
    """A function from cells to numbers; nan for what is none. Time stamps become seconds from the first one."""
    pattern = number_pattern(dialect.decimal)
    first: list[datetime] = []

    def one(cell: str) -> float:
        cell = cell.strip()
        match = pattern.fullmatch(cell)
        if match is None:
            return _seconds(cell, first) if is_stamp(cell) else np.nan
        if match["thousands"]:
            other = "," if dialect.decimal == "." else "."
            cell = re.sub(rf"[{other}'  ]", "", cell)
        return float(cell.replace(dialect.decimal, "."))

    def read(cells: Sequence[str]) -> Array:
        plain: Iterable[str] = cells
        if dialect.decimal == ",":
            plain = "\n".join(cells).replace(",", ".").split("\n")
        try:
            if dialect.decimal == "," and any("." in cell for cell in cells[:200]):
                raise ValueError  # thousands marks
            return np.fromiter(map(float, plain), float, len(cells))
        except ValueError:
            return np.fromiter(map(one, cells), float, len(cells))

    return read


_STAMPS = ("%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%d %H:%M:%S", "%Y/%m/%d %H:%M:%S.%f", "%Y/%m/%d %H:%M:%S",
           "%d.%m.%Y %H:%M:%S.%f", "%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M:%S.%f", "%d/%m/%Y %H:%M:%S",
           "%H:%M:%S.%f", "%H:%M:%S", "%I:%M:%S %p", "%I:%M:%S.%f %p", "%H:%M")  # fmt: skip


def _seconds(cell: str, first: list[datetime]) -> float:
    """A time stamp as seconds after the first one that was read; nan for a date alone."""
    text = cell.replace("T", " ").removesuffix("Z").replace(",", ".").strip()
    head, _, tail = text.rpartition(".")
    if head.count(":") and len(tail) > 6:  # Python reads microseconds at most
        text = f"{head}.{tail[:6]}"
    try:  # quick, for most files
        found: datetime | None = datetime.fromisoformat(text)
    except ValueError:
        found = _by_form(text)
    if found is None:
        return float("nan")
    if not first:
        first.append(found)
    return (found - first[0]).total_seconds()


def _by_form(text: str) -> datetime | None:
    if ":" not in text:
        return None
    clock = text.split(":")
    if (
        len(clock) == 3
        and clock[0].isdigit()
        and clock[1].isdigit()
        and clock[2].replace(".", "", 1).isdigit()
    ):
        days, hours = divmod(int(clock[0]), 24)
        return datetime(1900, 1, 1 + days, hours, int(clock[1])) + timedelta(seconds=float(clock[2]))
    for form in _STAMPS:
        try:
            return datetime.strptime(text, form)
        except ValueError:
            continue
    return None
