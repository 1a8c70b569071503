"""`contactfe plan`: the pulls of a study in an order that wastes no specimen and no tool."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, folder_problems
from contactfe.cli.output import (
    UNITS,
    Shown,
    length_unit,
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
from contactfe.errors import InputError

if TYPE_CHECKING:
    from contactfe.trial import Plan


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "plan", help="Plan destructive pulls: order, sensors, energy, specimens, a sheet to fill in."
    )
    def plan(
        study: Annotated[
            Path, typer.Argument(metavar="STUDY.toml", help="A study, with [designs] and [plan] if you like.")
        ],
        samples: Annotated[
            int, typer.Option("--samples", "-n", metavar="N", help="Samples of each band, a power of two.")
        ] = 16,
        workers: Annotated[
            int | None, typer.Option("--workers", metavar="N", min=1, max=61, help="Worker processes.")
        ] = None,
        out: Annotated[
            Path | None, typer.Option("--out", metavar="DIR", help="Write page, JSON and readings file here.")
        ] = None,
        quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only results.")] = False,
        units: Annotated[Shown | None, UNITS] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        problems = folder_problems(out) if out is not None else []
        if problems:
            raise InputError(problems)
        from contactfe import trial

        programme = trial.load_study(study)
        found = trial.make_plan(programme, samples, workers or cores(), None if quiet else tell)
        from contactfe.report import reading

        with reading(units or programme.units, [pull.stop_Nm for pull in found.pulls]):
            if out is not None:
                _write(found, out)
            if as_json:
                say_json(found.to_dict())
            else:
                _say(found)


def _write(found: Plan, out: Path) -> None:
    from contactfe.files import make_folder, write_text
    from contactfe.report import plan_page
    from contactfe.trial import readings_of

    make_folder(out)
    write_text(out / "plan.json", json.dumps(found.to_dict(), indent=1) + "\n")
    write_text(out / "readings.csv", readings_of(found))
    plan_page(found, __version__).write(out / "plan.html")
    tell(f"written: {out}")


def _say(found: Plan) -> None:
    from contactfe.report import made_length

    say(f"{found.name}: {len(found.pulls)} pulls")
    rows = [
        (str(p.place), p.design, told(p.condition.words()), str(p.pull), p.bar, torque(p.expected_Nm),
         f"{float(torque(p.sensor_Nm)):g}",
         f"{100 * p.sensor_use:.0f}", torque(p.stop_Nm), number(p.energy_J, 3), told("; ".join(p.warnings)))
        for p in found.pulls
    ]  # fmt: skip
    unit = torque_unit()
    heads = (
        "no.", "design", "condition", "pull", "bar", unit, f"sensor {unit}", "%", f"stop {unit}", "J", "beware"
    )  # fmt: skip
    say_table(rows, heads)
    say()
    say(f"specimens: across flats and corners turned down to, {length_unit()}")
    say_table(
        [
            (told(s.condition.words()), str(s.count), made_length(s.across_flats_mm),
             "not turned" if s.diameter_mm is None else f"{made_length(s.diameter_mm)} +- {made_length(s.tolerance_mm or 0.0)}")
            for s in found.specimens
        ]
    )  # fmt: skip
    two, best = found.sizes
    say_wrapped(
        f"to resolve {100 * found.difference:.3g} % at a scatter of {100 * found.scatter:.3g} %: {two} of each for two "
        f"designs, {best} for the best against all others"
    )
    for note in (*found.notes, *found.cautions):
        say_wrapped(told(note))
