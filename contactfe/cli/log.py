"""`contactfe log`: what torque logs say, as a table, JSON and figures, and into a readings file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.checks import folder_problems
from contactfe.cli.output import (
    UNITS,
    Shown,
    number,
    say,
    say_json,
    say_table,
    say_wrapped,
    tell,
    told,
    torque,
    torque_unit,
)
from contactfe.cli.progress import StudyProgress
from contactfe.errors import ContactFEError, InputError

if TYPE_CHECKING:
    from contactfe.trial import LogReading, Place

SOME_FAILED = 3


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("log", help="What do torque logs say: free play, slope, onset, peak, drop?")
    def log(
        files: Annotated[
            list[Path], typer.Argument(metavar="FILE.csv...", help="Logs of any ordinary logger.")
        ],
        torque: Annotated[
            str | None, typer.Option("--torque", metavar="COLUMN", help="Column of torque: name or number.")
        ] = None,
        angle: Annotated[
            str | None, typer.Option("--angle", metavar="COLUMN", help="Column of angle: name or number.")
        ] = None,
        unit: Annotated[
            str | None, typer.Option("--unit", metavar="UNIT", help="Unit of torque, such as N*m or lbf*ft.")
        ] = None,
        append: Annotated[
            Path | None,
            typer.Option("--append", metavar="READINGS.csv", help="Write the peaks into a readings file."),
        ] = None,
        row: Annotated[
            str | None,
            typer.Option("--row", metavar="WHAT", help='With --append: "design=ring A, size=M10, pull=3".'),
        ] = None,
        out: Annotated[
            Path | None,
            typer.Option("--out", metavar="DIR", help="Write JSON and a figure of each log here."),
        ] = None,
        quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only results.")] = False,
        units: Annotated[Shown, UNITS] = "si",
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        if (append is None) != (row is None):
            raise typer.BadParameter(
                '--append and --row go together: --append READINGS.csv --row "design=ring A"'
            )
        problems = folder_problems(out) if out is not None else []
        if problems:
            raise InputError(problems)
        known = _row(row)
        found, bad = _read(files, (torque, angle, unit), quiet)
        if append is not None and bad:
            tell(
                f"contactfe: nothing is written into {append}: {len(bad)} of {len(files)} logs cannot be read"
            )
        elif append is not None:
            from contactfe.trial import append_logs

            filled = append_logs(append, found, known)
            tell(f"{append}: {filled} rows filled in, {len(found) - filled} added")
        from contactfe.report import reading

        with reading(units, [one.peak.torque_Nm for one in found]):
            if out is not None:
                _write(found, out)
            if as_json:
                say_json([one.to_dict() for one in found])
            else:
                _say(found)
        if bad:
            for error in bad:
                tell(f"contactfe: {error}")
            raise typer.Exit(SOME_FAILED if found else 1)


def _row(row: str | None) -> dict[str, str]:
    if row is None:
        return {}
    from contactfe.trial import read_row

    return read_row(row)


def _read(
    files: list[Path], how: tuple[str | None, str | None, str | None], quiet: bool
) -> tuple[list[LogReading], list[ContactFEError]]:
    """Readings of the logs that can be read, and the errors of the others."""
    from contactfe.trial import read_log

    found: list[LogReading] = []
    bad: list[ContactFEError] = []
    torque, angle, unit = how
    with StudyProgress(len(files), quiet or len(files) == 1, "logs") as progress:
        for file in files:
            before = len(bad)
            try:
                found.append(read_log(file, torque=torque, angle=angle, unit=unit))
            except ContactFEError as error:
                bad.append(error)
            progress.case(failed=len(bad) > before, reused=False)
    return found, bad


def _write(found: list[LogReading], out: Path) -> None:
    """JSON of all logs first, then the figures."""
    from contactfe.files import make_folder, write_text
    from contactfe.report import log_figure, save

    make_folder(out)
    write_text(out / "logs.json", json.dumps([r.to_dict() for r in found], indent=1) + "\n")
    taken: set[str] = set()
    for reading in found:
        stem, k = Path(reading.source).stem, 1
        while stem in taken:
            k += 1
            stem = f"{Path(reading.source).stem}-{k}"
        taken.add(stem)
        save(log_figure(reading), out / f"{stem}.png")
    tell(f"written: {out}")


def _say(found: list[LogReading]) -> None:
    if len(found) == 1:
        _say_one(found[0])
        return
    unit = torque_unit()
    heads = (
        "log",
        "ended",
        f"peak {unit}",
        f"onset {unit}",
        "first touch",
        f"slope {unit} per",
        "unit",
        "cautions",
    )
    rows = [
        (
            Path(r.source).name,
            r.ending,
            ("at least " if r.ending != "slipped" else "") + torque(r.peak.torque_Nm),
            torque(r.onset.torque_Nm),
            number(r.free_play, 3),
            torque(r.slope_Nm, 3),
            {"angle": "deg", "time": "s", "sample": "sample"}[r.over],
            str(len(r.cautions) or "-"),
        )
        for r in found
    ]
    if rows:
        say_table(rows, heads)
    for reading in found:
        for caution in reading.cautions:
            say_wrapped(told(f"{Path(reading.source).name}: {caution}"))


def _say_one(r: LogReading) -> None:
    unit = {"angle": "deg", "time": "s", "sample": "samples"}[r.over]
    start = r.touch_at - r.free_play

    def place(name: str, found: Place | None) -> tuple[str, str, str]:
        if found is None:
            return name, "-", ""
        return name, f"{torque(found.torque_Nm)} {torque_unit()}", f"at {number(found.at - start)} {unit}"

    at_least = "at least " if r.ending != "slipped" else ""
    say(f"{Path(r.source).name}: {r.ending}; peak {at_least}{torque(r.peak.torque_Nm)} {torque_unit()}")
    rows = [
        ("first touch", "", f"at {number(r.free_play)} {unit}"),
        ("elastic slope", f"{torque(r.slope_Nm)} {torque_unit()}", f"per {unit.removesuffix('s') or 's'}"),
        place("first deviation", r.deviation),
        place("onset", r.onset),
        place("peak", r.peak),
        ("largest sample", f"{torque(r.largest_Nm)} {torque_unit()}", ""),
        place("drop", r.drop),
        *(place("grips again", again) for again in r.again),
    ]
    if r.set_at is not None:
        rows.append(("permanent set", "", f"{number(r.set_at)} {unit}"))
    say_table(rows)
    say_wrapped(f"layout: {r.layout}; {'; '.join(r.columns)}")
    say_wrapped(f"zero: {r.zero}; noise {torque(r.noise_Nm, 2)} {torque_unit()}")
    for caution in r.cautions:
        say_wrapped(told(caution))
