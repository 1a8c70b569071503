"""`contactfe why`: what ends a pull, the sequence of events that led there, what would help, and what differs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from contactfe import __version__
from contactfe.cli.checks import checked_case, folder_problems
from contactfe.cli.head import say_head
from contactfe.cli.output import UNITS, Shown, said_first, say, say_json, say_table, say_wrapped, tell, told

if TYPE_CHECKING:
    from contactfe.explain import Comparison, Explanation
    from contactfe.inputs import CaseInput

Picture = Literal["png", "svg", "pdf"]


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "why",
        help="Explain a case: what ends the pull, by what margin, the sequence of events, and what would raise the torque.",
    )
    def why(
        case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case.")],
        against: Annotated[
            Path | None,
            typer.Option(
                "--against",
                metavar="OTHER.toml",
                help="Split the difference to another case into shares of what differs.",
            ),
        ] = None,
        out: Annotated[
            Path | None,
            typer.Option("--out", metavar="DIR", help="Write JSON, figures and fields into this folder."),
        ] = None,
        calibration: Annotated[
            Path | None,
            typer.Option("--calibration", metavar="FILE", help="Constants that compare --calibrate wrote."),
        ] = None,
        pulls: Annotated[
            int | None,
            typer.Option(
                "--pulls",
                metavar="N",
                min=1,
                max=20,
                help="Pulls on the same corners; in the file [load] pulls.",
            ),
        ] = None,
        rotation: Annotated[
            float | None,
            typer.Option(
                "--rotation",
                metavar="DEG",
                help="Rotation of figure and fields, deg from square. Default: where the pull ends.",
            ),
        ] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
        kind: Annotated[Picture, typer.Option("--format", help="Of the pictures that --out writes.")] = "png",
        units: Annotated[Shown, UNITS] = "si",
    ) -> None:
        if rotation is not None and out is None:
            raise typer.BadParameter("it has no use without --out", param_hint="--rotation")
        problems = folder_problems(out) if out is not None else ()
        _, checked = checked_case(case, problems, calibration)
        if pulls is not None:
            checked = replace(checked, load=replace(checked.load, pulls=pulls))
        other = checked_case(against, (), calibration)[1] if against is not None else None
        found, comparison = _work(checked, other)
        with said_first():
            if as_json:
                say_json(_record(found, comparison))
            else:
                from contactfe.report import reading

                with reading(units, [found.record.torque_Nm]):
                    _say(found, comparison)
        if out is not None:
            from contactfe.report import check_drawn, write_why_folder

            written = write_why_folder(found, comparison, out, rotation, kind, units)
            tell(f"written: {out} ({', '.join(path.name for path in written.paths)})")
            check_drawn(written.failures, str(out))


def _work(case: CaseInput, other: CaseInput | None) -> tuple[Explanation, Comparison | None]:
    from contactfe.case import solve_case
    from contactfe.explain import compare, explain

    found = explain(solve_case(case))
    return found, None if other is None else compare(case, other, _progress())


def _progress() -> Callable[[int, int], None]:
    def told(done: int, total: int) -> None:
        if done == total or done % 4 == 0:
            tell(f"compared: {done} of {total} cases between the two")

    return told


def _record(found: Explanation, comparison: Comparison | None) -> dict[str, Any]:
    from contactfe.explain import comparison_dict

    record = found.to_dict(__version__)
    return record if comparison is None else record | {"against": comparison_dict(comparison)}


def _say(found: Explanation, comparison: Comparison | None) -> None:
    from contactfe.report import why_words as words

    say_head(found.record)
    for line in words.governs(found):
        say_wrapped(told(line), "  ")
    if found.modes.modes:
        say()
        say("what leaves marks without ending the pull, or would hold alone")
        say_table(words.mode_rows(found.modes, ends=False))
        say()
        say("sequence of events")
        say_table(
            [
                (*words.torque_cells(s.torque_Nm), f"{s.rotation_deg:.2f}", "deg", told(s.words))
                for s in found.events
            ]
        )
        say()
        say(f"what would raise the {words.raised(found)} most")
        for line in words.helps(found):
            say_wrapped(told(line))
        if others := words.shapes(found):
            say("and what the maker of the wrench could do")
            for line in others:
                say_wrapped(told(line))
    _say_further(words.further(found))
    if comparison is not None:
        _say_difference(comparison)
    say()
    say("cautions")
    for caution in found.cautions():
        say_wrapped(told(caution))


def _say_further(sentences: list[str]) -> None:
    if sentences:
        say()
        say("the next pull on the same corners")
        for line in sentences:
            say_wrapped(told(line), "  ")


def _say_difference(comparison: Comparison) -> None:
    from contactfe.report import why_words as words

    say()
    say("what makes the difference")
    first, *last = words.difference(comparison)
    say_wrapped(told(first), "  ")
    say_table([tuple(map(told, row)) for row in words.share_rows(comparison)])
    for line in last:
        say_wrapped(told(line), "  ")
