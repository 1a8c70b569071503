"""`contactfe search`: the best numbers of one family for a duty, under limits; stored, so that it goes on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.checks import cores, folder_problems
from contactfe.cli.output import say, say_json, say_table, say_wrapped, tell
from contactfe.errors import ContactFEError, InputError

if TYPE_CHECKING:
    from contactfe.design import Found


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("search", help="Search the best numbers of one family of heads for a duty, under limits.")
    def search(
        study: Annotated[
            Path, typer.Argument(metavar="STUDY.toml", help="Family, numbers, duty and limits.")
        ],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Folder of the results. Default: NAME-search in this folder."
            ),
        ] = None,
        workers: Annotated[
            int | None, typer.Option("--workers", metavar="N", min=1, max=61, help="Default: one per core.")
        ] = None,
        as_json: Annotated[bool, typer.Option("--json", help="Print the outcome as JSON on stdout.")] = False,
    ) -> None:
        from contactfe.design import load_search, search_shape
        from contactfe.parallel import LocalProcesses
        from contactfe.study import StudyStore

        plan = load_search(study)
        folder = out or Path(f"{study.stem}-search")
        problems = folder_problems(folder)
        if problems:
            raise InputError(problems, source=str(study))
        store = StudyStore(folder)
        executor = LocalProcesses(workers or cores())
        try:
            found = search_shape(plan, store, executor)
        except KeyboardInterrupt:
            tell(f"what is solved is kept in {folder}: the same command goes on from there")
            raise
        finally:
            executor.close()
        if as_json:
            say_json(found.told())
        else:
            _say(found)
        tell(f"written: {folder} ({', '.join(_write(found, folder))})")


def _write(found: Found, folder: Path) -> list[str]:
    from contactfe.files import write_text

    write_text(folder / "search.json", json.dumps(found.told(), indent=1) + "\n")
    names = ["search.json"]
    try:
        from contactfe.report import save, search_figure

        save(search_figure(found), folder / "shapes.png")
        names.append("shapes.png")
    except (ContactFEError, ValueError, ArithmeticError) as error:
        tell(f"no figure: {error}")
    return names


def _say(found: Found) -> None:
    say(found.plan.name)
    say_wrapped(found.words(), "  ")
    rows = [(s.name, s.step, _percent(s.down), _percent(s.up)) for s in found.sensed]
    say_table(rows, ("torque when this is off by", "", "less", "more"))


def _percent(value: float | None) -> str:
    return "no head there" if value is None else f"{100 * value:+.2f} %"
