"""`contactfe sweep`: a study from its file to tables and figures, in a folder a second run goes on from."""

from __future__ import annotations

from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, folder_problems, read_case
from contactfe.cli.output import Shown, said_first, say, say_json, say_table, say_wrapped, tell, tell_page
from contactfe.cli.progress import StudyProgress
from contactfe.errors import InputError

if TYPE_CHECKING:
    from contactfe.parallel import Executor
    from contactfe.report import Attempts
    from contactfe.study import Forecast, StudyDone, StudyPlan, StudyStore


DEMO_SAMPLES = 32
KEPT_MB = 50  # of bodies, the latest used ones, that stay in the folder of a study
SOME_FAILED = 3
_MOST_TABLES = 12
_MOST_REASONS = 8


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "sweep", help="Run a study: every combination of the inputs it varies, and pick up where a run ended."
    )
    def sweep(
        study: Annotated[
            Path | None,
            typer.Argument(metavar="STUDY.toml", help="The study; `contactfe init sweep` writes one."),
        ] = None,
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Folder of the results. Default: NAME-results in this folder."
            ),
        ] = None,
        calibration: Annotated[
            Path | None,
            typer.Option("--calibration", metavar="FILE", help="Constants that compare --calibrate wrote."),
        ] = None,
        workers: Annotated[
            int | None,
            typer.Option(
                "--workers", metavar="N", min=1, max=61, help="Worker processes. Default: one per core."
            ),
        ] = None,
        cluster: Annotated[
            str | None,
            typer.Option(
                "--cluster",
                metavar="ADDRESS",
                help="Run on the workers of a dask scheduler, tcp://host:port; local starts some here.",
            ),
        ] = None,
        demo: Annotated[
            bool, typer.Option("--demo", help="Run the study that comes with the package.")
        ] = False,
        dry_run: Annotated[
            bool, typer.Option("--dry-run", help="Only say how many cases, how long, how much memory.")
        ] = False,
        keep_bodies: Annotated[
            bool,
            typer.Option(
                "--keep-bodies",
                help=f"Keep all meshed bodies for later runs; without it at most {KEPT_MB} MB of them stay.",
            ),
        ] = False,
        units: Annotated[
            Shown | None,
            typer.Option(
                "--units",
                help="Units of tables, figures and page: si, or inch (lbf ft, in, ksi); in the file units. "
                "results.csv and JSON stay SI.",
            ),
        ] = None,
        quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only results.")] = False,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        if (study is None) == (not demo):
            raise typer.BadParameter("name a study file, or write --demo")
        plan = _plan(study, out, calibration)
        plan = plan if units is None else replace(plan, units=units)
        folder = out or Path(f"{plan.name}-results")
        count = workers or cores()
        if dry_run:
            _dry_run(plan, folder, count, as_json)
            return
        from contactfe.study import StudyStore

        store = StudyStore(folder)
        done = _run(plan, store, (cluster, count), quiet)
        if not keep_bodies:
            store.bodies.trim(KEPT_MB * 1e6)
        if demo and not as_json:
            _say_demo_band(count)
        _finish(plan, folder, done, as_json, quiet)
        if done.failed:
            raise typer.Exit(SOME_FAILED)


def _plan(study: Path | None, out: Path | None, calibration: Path | None = None) -> StudyPlan:
    """Read the study; problems of the folder stand behind those of the file in one message."""
    from contactfe.study import DEMO, parse_plan

    problems = folder_problems(out) if out is not None else []
    try:
        if study is None:
            import tomllib

            raw = tomllib.loads(DEMO)
            if calibration is not None:
                raw["calibration"] = str(calibration.resolve())
            plan = parse_plan(raw, "demo")
        else:
            raw = read_case(study, calibration)
            plan = parse_plan(raw, str(study), folder=study.parent, name=study.stem)
    except InputError as error:
        raise InputError([*error.problems, *problems], source=error.where, slug=error.slug) from error
    problems = problems or folder_problems(out or Path(f"{plan.name}-results"))
    if problems:
        raise InputError(problems, source=str(study or "demo"))
    return plan


def _dry_run(plan: StudyPlan, folder: Path, workers: int, as_json: bool) -> None:
    from dataclasses import asdict

    from contactfe.study import StudyStore, forecast, speed_here

    # Opening the store makes its folder, and a dry run leaves nothing behind.
    store = StudyStore(folder) if (folder / "plan.json").exists() else None
    seen = forecast(plan, workers, store)
    if seen.to_solve and not seen.measured:
        seen = forecast(plan, workers, store, speed_here(plan))
    if as_json:
        say_json({"study": plan.name, "workers": workers, **asdict(seen), "meshes": seen.meshes})
    else:
        _say_forecast(plan, seen, workers)


def _say_forecast(plan: StudyPlan, seen: Forecast, workers: int) -> None:
    source = (
        "from times measured on this machine"
        if seen.measured
        else "for one core of about 2023; yours may differ by a factor of two"
    )
    rows = [
        ("cases", str(seen.cases), f"{seen.to_solve} to solve"),
        *_curves(plan, seen),
        ("distinct meshes", str(seen.meshes), f"{seen.fasteners} fasteners, {seen.wrenches} wrenches"),
        ("factorisations", str(seen.to_build), "one for each mesh that is not stored yet"),
        ("time", duration(seen.seconds), f"with {workers} worker{'s' if workers > 1 else ''}; {source}"),
        ("memory", f"{seen.memory_MB:.0f} MB", "of all processes"),
        ("disk", f"{seen.disk_MB:.0f} MB", f"at most, in the folder bodies; {KEPT_MB} MB of it stay"),
    ]
    if seen.impossible:
        rows.append(("cannot be built", str(seen.impossible), "cases; each becomes a row that says why"))
    say(plan.name)
    say_table(rows)


def _curves(plan: StudyPlan, seen: Forecast) -> list[tuple[str, str, str]]:
    """The line of a dry run that counts samples, where cases have bands."""
    if plan.band is None:
        return []
    banded = sum(case.band is not None for case in plan.cases)
    how = f"{banded} cases with a band of {plan.band.grid.n} samples, seed {plan.band.grid.seed}"
    if any(case.band is not None and case.band.curves < plan.band.grid.n for case in plan.cases):
        how += "; more where a polynomial through those is not good enough"
    return [("curves", str(seen.curves), f"to solve; {how}")]


def _run(plan: StudyPlan, store: StudyStore, where: tuple[str | None, int], quiet: bool) -> StudyDone:
    from contactfe.study import CaseDone, CaseFailed, StudyDone, run_study

    progress = StudyProgress(len(plan.cases), quiet)
    done: StudyDone | None = None
    try:
        with progress, closing(run_study(plan, store, _executor(store, where))) as events:
            for event in events:
                if isinstance(event, StudyDone):
                    done = event
                elif isinstance(event, CaseDone | CaseFailed):
                    progress.case(failed=isinstance(event, CaseFailed), reused=event.reused)
    except KeyboardInterrupt:
        kept = len(store.rows(plan))
        tell(
            f"{kept} of {len(plan.cases)} cases are kept in {store.folder}: the same command goes on from there"
        )
        raise
    assert done is not None  # the last event of every run that raises nothing
    return done


def _say_demo_band(workers: int) -> None:
    """One case of the demo with its band, and which input to measure first."""
    import tomllib

    from contactfe.cli.band import band_of, say_band
    from contactfe.study import DEMO_BAND

    raw = tomllib.loads(DEMO_BAND)
    found = band_of(raw, Path(), DEMO_SAMPLES, 1, workers)
    say(raw["name"])
    say_band(found)
    say()


def _executor(store: StudyStore, where: tuple[str | None, int]) -> Executor:
    from contactfe.parallel import DaskCluster, LocalProcesses
    from contactfe.study import solver_revision

    address, workers = where
    if address is None:
        return LocalProcesses(workers)
    return DaskCluster(address, workers, store.folder, solver_revision)


def _finish(plan: StudyPlan, folder: Path, done: StudyDone, as_json: bool, quiet: bool) -> None:
    """The answers, then figures and page; a picture that fails is an error only after everything else is there."""
    from contactfe.report import Attempts, check_drawn, reading
    from contactfe.study import delivered_torque

    inch = _inch_table(plan, done)
    with said_first():
        if as_json:
            say_json(_as_json(plan, folder, done))
        else:
            with reading(plan.units, (delivered_torque(row) or 0.0 for row in done.rows)):
                _say_answers(plan, done)
            if inch is not None:
                say(f"in inches: {inch}")
    attempts = Attempts()
    figures, page = _draw(plan, folder, done, attempts)
    if figures and not quiet:
        tell(f"figures: {', '.join(str(path) for path in figures)}")
    if page is not None and not quiet:
        tell_page(page)
    check_drawn(attempts.failures, str(folder))


def _inch_table(plan: StudyPlan, done: StudyDone) -> Path | None:
    """Write the second table for a reader in inches; one that an earlier run left goes with another reader."""
    from contactfe.files import remove, write_text
    from contactfe.report import INCH_TABLE, inch_table

    path = done.tables.csv.with_name(INCH_TABLE)
    if plan.units == "si":
        remove(path)
        return None
    write_text(path, inch_table(done.tables.csv.read_text(encoding="utf-8")))
    return path


def _draw(
    plan: StudyPlan, folder: Path, done: StudyDone, attempts: Attempts
) -> tuple[list[Path], Path | None]:
    """Write the figures and the page; returns where they are."""
    from contactfe.files import write_text
    from contactfe.report import study_figures, study_page

    figures = attempts.draw("figures", lambda: study_figures(done.rows, folder, plan.units)) or []
    meta = {"name": plan.name, "units": plan.units} | (
        {} if plan.band is None else {"band": plan.band.words()}
    )
    table = done.tables.csv.read_text(encoding="utf-8")
    text = attempts.draw(
        "study.html", lambda: study_page(done.rows, meta, __version__, odds=done.odds, csv=table)
    )
    if text is None:
        return figures, None
    write_text(folder / "study.html", text)
    return figures, folder / "study.html"


def _say_answers(plan: StudyPlan, done: StudyDone) -> None:
    from contactfe.report import console, in_words
    from contactfe.study import headline, measure_first

    say(f"{plan.name}: {console(in_words(headline(done.rows))) or 'no case has an answer'}")
    say(f"held below the head: {' or '.join(_held(plan))}")
    _say_tables(plan, done)
    if words := measure_first(done.rows):
        say_wrapped(words)
    if plan.band is not None:
        from contactfe.cli.sweep_bands import say_bands

        say_bands(plan, done)
    say()
    found = f", {done.reused} were known from before" if done.reused else ""
    say(
        f"{len(done.rows)} cases: {done.solved} solved{found}, {done.failed} failed; {duration(done.seconds)}"
    )
    _say_failures(done)
    say(f"table:   {done.tables.csv}")
    if done.tables.odds is not None:
        say(f"odds:    {done.tables.odds}")


def _held(plan: StudyPlan) -> list[str]:
    """What is held below the heads of a study, each once."""
    fasteners = [case.case.fastener for case in plan.cases]
    kinds = [
        "nut" if (f.size or "").endswith(" nut") else "bolt" if f.stock == "bolt" else "solid bar"
        for f in fasteners
    ]
    return list(dict.fromkeys(kinds))


def _as_json(plan: StudyPlan, folder: Path, done: StudyDone) -> dict[str, Any]:
    from contactfe.study import headline

    return {
        "study": plan.name,
        "folder": str(folder),
        "cases": len(done.rows),
        "solved": done.solved,
        "reused": done.reused,
        "turn_freely": done.turn_freely,
        "headline": headline(done.rows),
        "failed": done.failed,
        "seconds": round(done.seconds, 3),
        "table": str(done.tables.csv),
        "parquet": str(done.tables.parquet) if done.tables.parquet else None,
        "rows": list(done.rows),
        **({} if plan.band is None else {"band": plan.band.told(), "odds": list(done.odds)}),
    }


def _say_tables(plan: StudyPlan, done: StudyDone) -> None:
    from contactfe.report import console, reader
    from contactfe.study import pivots

    per, unit = reader().scale("N·m")
    tables = pivots(plan.varied, done.rows, per)
    if len(tables) > _MOST_TABLES or any(len(t.columns) > _MOST_TABLES for t in tables):
        _say_spread(done)
        return
    for table in tables:
        held = f", {table.title}" if table.title else ""
        across = f" by {table.column_name}" if table.column_name else ""
        what = "" if plan.band is None else ", median (10 to 90 %)"
        say(f"torque in {console(unit)}{what}{held}: {table.row_name}{across}")
        say_table(
            [(name, *cells) for name, cells in zip(table.rows, table.cells, strict=True)],
            ("", *table.columns),
        )
    for note in dict.fromkeys(note for table in tables for note in table.notes):
        say_wrapped(note, "  ")


def _say_spread(done: StudyDone) -> None:
    """Too many values for a table: the least, the middle and the most of the torque delivered."""
    from contactfe.report import console, reader
    from contactfe.study import delivered_torque, mark, mark_words

    torque = sorted(
        (value, row["name"], mark(row)) for row in done.rows if (value := delivered_torque(row)) is not None
    )
    if not torque:
        say("no case has a torque")
        return
    picked = (("least", torque[0]), ("middle", torque[len(torque) // 2]), ("most", torque[-1]))
    per, unit = reader().scale("N·m")
    say(f"torque in {console(unit)}")
    say_table([(what, f"{value / per:.4g}{sign}", name) for what, (value, name, sign) in picked])
    for sign, count in Counter(sign for _, _, sign in torque if sign).items():
        say_wrapped(f"{count} of {len(done.rows)} cases {mark_words([sign])[0]}", "  ")


def _say_failures(done: StudyDone) -> None:
    from contactfe.report import console, in_words

    reasons: dict[str, list[str]] = {}
    for row in done.rows:
        if row["status"] == "failed":
            reasons.setdefault(console(in_words(row["reason"])), []).append(row["name"])
    for reason, names in list(reasons.items())[:_MOST_REASONS]:
        say(f"failed:  {names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''}: {reason}")
    if len(reasons) > _MOST_REASONS:
        say(f"failed:  {len(reasons) - _MOST_REASONS} more reasons are in the table")


def duration(seconds: float) -> str:
    """Return a time as people say it."""
    if seconds < 90:
        return f"{seconds:.0f} s" if seconds >= 10 else f"{seconds:.1f} s"
    return f"{seconds / 60:.1f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
