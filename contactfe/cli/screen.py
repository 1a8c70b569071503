"""`contactfe screen`: many candidates on one duty mix; a study with the same store, resuming and workers."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, folder_problems
from contactfe.cli.output import say, say_json, say_table, say_wrapped, tell
from contactfe.cli.progress import StudyProgress
from contactfe.errors import ContactFEError, InputError

if TYPE_CHECKING:
    from contactfe.design import Screening, ScreenPlan
    from contactfe.parallel import Executor
    from contactfe.study import StudyStore

SOME_FAILED = 3
KEPT_MB = 50


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "screen", help="Try many candidate heads on one duty mix: ranks, odds of being best, trade-offs."
    )
    def screen(
        study: Annotated[Path, typer.Argument(metavar="STUDY.toml", help="Candidates and conditions.")],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Folder of the results. Default: NAME-screen in this folder."
            ),
        ] = None,
        workers: Annotated[
            int | None, typer.Option("--workers", metavar="N", min=1, max=61, help="Default: one per core.")
        ] = None,
        cluster: Annotated[
            str | None,
            typer.Option(
                "--cluster", metavar="ADDRESS", help="Workers of a dask scheduler, tcp://host:port."
            ),
        ] = None,
        quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only results.")] = False,
        as_json: Annotated[bool, typer.Option("--json", help="Print the table as JSON on stdout.")] = False,
    ) -> None:
        from contactfe.design import load_screen

        plan = load_screen(study)
        folder = out or Path(f"{study.stem}-screen")
        problems = folder_problems(folder)
        if problems:
            raise InputError(problems, source=str(study))
        found, failed = screened(plan, folder, (cluster, workers or cores()), quiet)
        if as_json:
            say_json(found.columns())
        else:
            _say(found)
        tell(f"written: {folder} ({', '.join(_write(found, folder))})")
        if failed:
            raise typer.Exit(SOME_FAILED)


def screened(
    plan: ScreenPlan, folder: Path, where: tuple[str | None, int], quiet: bool
) -> tuple[Screening, int]:
    """Solve what a folder does not hold yet and judge the candidates; also how many cases have no answer."""
    from contactfe.design import screening
    from contactfe.study import CaseDone, CaseFailed, StudyDone, StudyStore, run_study

    store = StudyStore(folder)
    progress = StudyProgress(len(plan.study.cases), quiet)
    done: StudyDone | None = None
    try:
        with progress, closing(run_study(plan.study, store, executor_of(store, where))) as events:
            for event in events:
                if isinstance(event, StudyDone):
                    done = event
                elif isinstance(event, CaseDone | CaseFailed):
                    progress.case(failed=isinstance(event, CaseFailed), reused=event.reused)
    except KeyboardInterrupt:
        tell(f"what is solved is kept in {folder}: the same command goes on from there")
        raise
    assert done is not None  # the last event of every run that raises nothing
    store.bodies.trim(KEPT_MB * 1e6)
    return screening(plan, done.rows, store), done.failed


def executor_of(store: StudyStore, where: tuple[str | None, int]) -> Executor:
    """The workers of a run: of a scheduler, or of this machine."""
    from contactfe.cli.sweep import _executor

    return _executor(store, where)


def _write(found: Screening, folder: Path) -> list[str]:
    """Table, figures and page; answers first, and a figure that fails costs none of them."""
    from contactfe.files import csv_text, write_text

    rows = found.columns()
    write_text(folder / "screen.csv", csv_text(list(rows[0]), [list(row.values()) for row in rows]))
    names = ["screen.csv"]
    try:
        from contactfe.report import save, screening_figures, screening_page

        figures = screening_figures(found)
        for name, figure in figures.items():
            save(figure, folder / f"{name}.png")
            names.append(f"{name}.png")
        screening_page(found, figures, __version__).write(folder / "screen.html")
        names.append("screen.html")
    except (ContactFEError, ValueError, ArithmeticError) as error:
        tell(f"no figures: {error}")
    return names


def _say(found: Screening) -> None:
    from contactfe.report import headline, notes

    say(found.plan.name)
    say_wrapped(headline(found), "  ")
    header = (
        "rank",
        "candidate",
        "score",
        "10 %",
        "90 %",
        "best in",
        "loss",
        "margin",
        "crush um",
        "swing",
        "R mm",
        "mass g",
    )
    say_table([_row(row) for row in found.columns()], header)
    for line in notes(found):
        say_wrapped(line)


def _row(row: dict[str, Any]) -> tuple[str, ...]:
    def shown(key: str, digits: int = 3) -> str:
        return "-" if row[key] is None else f"{row[key]:#.{digits}g}".rstrip(".")

    def share(key: str) -> str:
        return "-" if row[key] is None else f"{100 * row[key]:.0f} %"

    return (
        "-" if row["rank"] is None else str(row["rank"]),
        row["candidate"],
        shown("score"),
        shown("score_p10"),
        shown("score_p90"),
        share("best_share"),
        share("loss_to_rounding"),
        share("least_margin_of_wrench"),
        shown("crush_depth_um"),
        shown("swing_deg"),
        shown("outside_radius_mm", 4),
        shown("mass_g"),
    )
