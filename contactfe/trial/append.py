"""Writing readings into a readings file that is there: rows that wait for a torque are filled in, others added."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.files import write_whole
from contactfe.trial.columns import BY_NAME, COLUMNS, read_cell, torque_factor
from contactfe.trial.log_read import LogReading
from contactfe.trial.read import Sheet, read_readings, read_sheet

FREE = tuple(column.name for column in COLUMNS if column.name not in ("torque", "happened"))


def read_row(text: str) -> dict[str, str]:
    """What a row says beside torque and ending, from "design=ring A, rounding=20 %, pull=3".

    Raises:
        InputError: with every problem of it.
    """
    found: dict[str, str] = {}
    problems = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not value:
            problems.append(Problem("--row", f'"{part}" is not NAME=VALUE', 'write "design=ring A, pull=3"'))
        elif name not in FREE:
            problems.append(
                Problem("--row", f"unknown column {name}", nearest(name, FREE) or f"known: {', '.join(FREE)}")
            )
        else:
            try:
                read_cell(BY_NAME[name], value, "", False)
                found[name] = value
            except ContactFEError as error:
                problems.append(Problem(f"--row, {name}", error.message, error.hint))
    if "design" not in found and not problems:
        problems.append(Problem("--row", "names no design", 'write "design=ring A, pull=3"'))
    if problems:
        raise InputError(problems)
    return found


def append_logs(path: Path, logs: Sequence[LogReading], row: Mapping[str, str]) -> int:
    """Write the readings of logs into a readings file, all or none; returns how many filled a row that was waiting.

    The pull numbers go up from that of `row`, where it has one. The note names the log.

    Raises:
        InputError: the file has problems before or after; then it is as it was.
        ContactFEError: it cannot be written.
    """
    sheet = read_sheet(path)
    text = path.read_text(encoding=sheet.encoding)
    lines = text.splitlines(keepends=True)
    end = "\r\n" if lines and lines[0].endswith("\r\n") else "\n"
    if lines and not lines[-1].endswith(("\n", "\r")):
        lines[-1] += end
    missing = [name for name in row if name not in sheet.headings]
    if missing:
        told = f"{path.name} has no column {', '.join(missing)}"
        raise InputError(
            [Problem("--row", told, "add it to the headings, or leave it out")], source=str(path)
        )
    waiting = {n: cells for n, cells in sheet.rows if not cells[sheet.headings.index("torque")]}
    filled = 0
    for k, log in enumerate(logs):
        own = dict(row)
        if "pull" in own:
            own["pull"] = str(int(own["pull"]) + k)
        target = next((n for n, cells in waiting.items() if _same(sheet, cells, own)), None)
        if target is None:
            lines.append(_line(sheet, _cells(sheet, own, log), end))
        else:
            lines[target - 1] = _line(sheet, _cells(sheet, own, log, waiting.pop(target)), end)
            filled += 1

    def write(part: Path) -> None:
        part.write_text("".join(lines), encoding=sheet.encoding, newline="")
        try:
            read_readings(part)
        except InputError as error:
            raise InputError(error.problems, source=f"{path} with the new rows") from error

    write_whole(path, write)
    return filled


def _same(sheet: Sheet, cells: Sequence[str], own: Mapping[str, str]) -> bool:
    """Whether a waiting row is the one that is meant: equal in everything that is said, its pull number among it."""
    at = dict(zip(sheet.headings, zip(cells, sheet.units, strict=True), strict=True))
    if "pull" not in own:
        return False
    for name, value in own.items():
        if name == "note":
            continue
        cell, unit = at[name]
        column = BY_NAME[name]
        try:
            if read_cell(column, value, "", False) != read_cell(column, cell, unit, sheet.comma):
                return False
        except ContactFEError:
            return False
    return True


def _cells(
    sheet: Sheet, own: Mapping[str, str], log: LogReading, before: Sequence[str] | None = None
) -> list[str]:
    cells = dict(zip(sheet.headings, before or [""] * len(sheet.headings), strict=True))
    units = dict(zip(sheet.headings, sheet.units, strict=True))
    if before is None:
        for name, value in own.items():
            cells[name] = _in_unit(name, value, units[name])
    unit = units["torque"] or "N*m"
    number = f"{log.peak.torque_Nm / torque_factor(unit):.5g}"
    cells["torque"] = number if units["torque"] else f"{number} {unit}"
    if sheet.comma:
        cells["torque"] = cells["torque"].replace(".", ",")
    if "happened" in cells:
        cells["happened"] = log.ending
    if "note" in cells and not cells["note"]:
        cells["note"] = f"log {Path(log.source).name}"
    return [cells[name] for name in sheet.headings]


def _in_unit(name: str, value: str, unit: str) -> str:
    """A value of a row as the column wants it: the unit stands in the cell where it is not the heading's."""
    bare, _, own = value.rpartition(" ")
    return bare if unit and own == unit else value


def _line(sheet: Sheet, cells: Sequence[str], end: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=sheet.delimiter, lineterminator=end).writerow(cells)
    return out.getvalue()
