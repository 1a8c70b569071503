"""`contactfe verify`: the known answers on this machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.checks import folder_problems
from contactfe.cli.output import say, say_json, say_table, tell
from contactfe.errors import InputError

if TYPE_CHECKING:
    from contactfe.verify import Check, Report

FAILED = 4
_COLUMNS = ("case", "computed", "expected", "difference", "tolerance", "", "origin")


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "verify",
        help="Run cases with known answers; exit code 4 when one is missed or a known miss has changed.",
    )
    def verify(
        quick: Annotated[bool, typer.Option("--quick", help="Only the fast cases: under a minute.")] = False,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Write comparison plots and one page into this folder."
            ),
        ] = None,
    ) -> None:
        problems = folder_problems(out) if out is not None else []
        if problems:
            raise InputError(problems, source="verify")
        from threadpoolctl import threadpool_limits

        from contactfe import __version__
        from contactfe.verify import CASES, run_cases, select

        with threadpool_limits(1):
            report = run_cases(
                select(CASES.cases, quick), lambda done: tell(f"{done.case.name}: {done.seconds:.1f} s")
            )
        if as_json:
            say_json(report.to_dict(__version__) | {"quick": quick})
        else:
            _say_report(report)
        if out is not None:
            _write(report, out, quick)
        if report.missed:
            raise typer.Exit(FAILED)


def _say_report(report: Report) -> None:
    sources: dict[str, int] = {}
    rows = []
    for check in report.checks:
        mark = sources.setdefault(check.source, len(sources) + 1)
        rows.append(_cells(check, mark))
    say_table(rows, _COLUMNS)
    say()
    say("Sources")
    for source, mark in sources.items():
        say(f"  [{mark}] {source}")
    notes = [c for c in report.checks if c.note]
    if notes:
        say()
        say("Notes")
        for check in notes:
            say(f"  {check.name}: {check.note}")
    say()
    outside, missed = len(report.outside), len(report.missed)
    say(
        f"{len(report.checks)} checks: {len(report.checks) - outside - missed} met, {outside} outside the model's reach "
        f"(known), {missed} missed or changed; {report.seconds:.0f} s"
    )


def _cells(check: Check, mark: int) -> list[str]:
    return [
        check.name,
        check.computed_text(),
        check.expected_text(),
        check.difference_text(),
        check.tolerance_text(),
        "" if check.state == "met" else check.state if check.sound else check.state.upper(),
        f"{check.origin} [{mark}]",
    ]


def _write(report: Report, folder: Path, quick: bool) -> None:
    from contactfe import __version__
    from contactfe.files import write_text
    from contactfe.report import comparison_figure, comparison_page, save

    folder.mkdir(exist_ok=True)
    for curve in report.curves:
        save(comparison_figure(curve), folder / f"{_file_name(curve.title)}.png")
    write_text(folder / "verify.html", comparison_page(report, __version__, quick))
    tell(f"written: {folder / 'verify.html'} and {len(report.curves)} plots")


def _file_name(title: str) -> str:
    words = "".join(c if c.isalnum() else " " for c in title.lower()).split()
    return "-".join(words)
