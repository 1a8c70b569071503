"""`contactfe score`: the scoreboard of a readings file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe import __version__
from contactfe.cli.checks import folder_problems
from contactfe.cli.output import (
    UNITS,
    Shown,
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
    from contactfe.trial import Score


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "score", help="The scoreboard of readings: means, per cent of the best, ranks and how sure they are."
    )
    def score(
        readings: Annotated[
            Path, typer.Argument(metavar="READINGS.csv", help="`contactfe init readings` writes one.")
        ],
        seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same ranks.", min=0)] = 1,
        out: Annotated[
            Path | None, typer.Option("--out", metavar="DIR", help="Write CSV, JSON, page and figures here.")
        ] = None,
        units: Annotated[Shown, UNITS] = "si",
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        problems = folder_problems(out) if out is not None else []
        if problems:
            raise InputError(problems)
        from contactfe import trial
        from contactfe.report import reading

        found = trial.score(trial.read_readings(readings), seed)
        with reading(units, [e.mean_Nm or e.at_least_Nm or 0.0 for e in found.entries]):
            if out is not None:
                _write(found, out)
            if as_json:
                say_json(found.to_dict())
            else:
                _say(found)


def _write(found: Score, out: Path) -> None:
    """Tables first, then page and figures."""
    from contactfe.files import make_folder, write_text
    from contactfe.report import means_figure, save, score_page, standings_figure

    make_folder(out)
    write_text(out / "score.csv", _csv(found))
    write_text(out / "score.json", json.dumps(found.to_dict(), indent=1) + "\n")
    figures = (means_figure(found), standings_figure(found))
    score_page(found, __version__, figures).write(out / "score.html")
    for name, figure in zip(("means", "standing"), figures, strict=True):
        save(figure, out / f"{name}.png")
        save(figure, out / f"{name}.svg")
    tell(f"written: {out}")


_COLUMNS = ("readings", "at_least", "mean_Nm", "low_Nm", "high_Nm", "at_least_Nm", "plain_mean_Nm", "of_best",
            "of_best_low", "of_best_high", "ties", "rank", "rank_low", "rank_high", "beats_next")  # fmt: skip


def _csv(found: Score) -> str:
    from contactfe.files import csv_text

    rows = ((e.condition.words(), e.design, *(getattr(e, c) for c in _COLUMNS)) for e in found.entries)
    return csv_text(("condition", "design", *_COLUMNS), rows)


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f}"


def _say(found: Score) -> None:
    say(f"{found.title}: {found.readings} readings, scatter {_share(found.scatter)} % of the torque")
    say()
    for condition in found.conditions():
        say(told(condition.words()))
        rows = []
        for e in found.of(condition):
            at_least = f"at least {torque(e.at_least_Nm)}" if e.mean_Nm is None else torque(e.mean_Nm)
            sure = "-" if e.beats_next is None else f"{100 * e.beats_next:.0f}"
            ranks = "-" if e.rank is None else str(e.rank)
            if e.rank_low is not None and e.rank_low != e.rank_high:
                ranks += f" ({e.rank_low} to {e.rank_high})"
            rows.append((e.design, str(e.readings), str(e.at_least or "-"), at_least, torque(e.low_Nm), torque(e.high_Nm),
                         _share(e.of_best), ranks, "tie" if e.ties else "", sure))  # fmt: skip
        heads = (
            "design",
            "pulls",
            "at least",
            f"mean {torque_unit()}",
            "95 % from",
            "to",
            "% of best",
            "rank",
            "",
            "% ahead of next",
        )
        say_table(rows, heads)
    say()
    say(
        f"share of the best over what all designs have (conditions: {len(found.common)}), and over all of their own"
    )
    overall = [
        (str(s.place), s.design, _share(s.common), _share(s.own), str(s.conditions),
         "-" if s.ahead_of_next is None else f"{100 * s.ahead_of_next:.0f}")
        for s in found.standings
    ]  # fmt: skip
    say_table(overall, ("place", "design", "% of best", "all", "conditions", "% ahead of next"))
    if found.losses:
        say()
        say("loss from rounding")
        say_table(
            [(x.design, told(x.condition.words()), f"{100 * x.change:+.1f}", "%") for x in found.losses]
        )
    for note in found.notes:
        say_wrapped(told(note))
