"""`contactfe init`: a commented starting file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Literal

import typer

from contactfe.cli.output import say
from contactfe.errors import ContactFEError, nearest
from contactfe.files import write_text

Kind = Literal["turn", "sweep", "readings", "screen", "search"]
KINDS: tuple[Kind, ...] = ("turn", "sweep", "readings", "screen", "search")
_NEXT = {kind: f"contactfe {kind}" for kind in KINDS} | {"readings": "contactfe score"}


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "init", help="Write a commented starting file for a case, a study, readings, a screening or a search."
    )
    def init(
        first: Annotated[
            str, typer.Argument(metavar="|".join(KINDS), help="What to write; one case when left out.")
        ],
        second: Annotated[str | None, typer.Argument(metavar="FILE", help="Where to write it.")] = None,
        force: Annotated[bool, typer.Option("--force", help="Replace the file if it is there.")] = False,
    ) -> None:
        kind, file = _asked(first, second)
        _write_new(file, _starting_file(kind), force)
        say(f"written: {file}")
        say(f"next:    {_NEXT[kind]} {file}")


def _starting_file(kind: Kind) -> str:
    if kind == "readings":
        from contactfe.trial import readings_template

        return readings_template()
    if kind == "screen" or kind == "search":
        from contactfe.design import screen_template, search_template

        return screen_template() if kind == "screen" else search_template()
    from contactfe.inputs import case_template

    return case_template(kind)


def _asked(first: str, second: str | None) -> tuple[Kind, Path]:
    """Return kind and file of one or two words; anything else is a usage error."""
    if second is None and first not in KINDS:
        return "turn", Path(first)
    if second is None:
        ending = ".csv" if first == "readings" else ".toml"
        raise typer.BadParameter(f"no file is named; write: contactfe init {first} my-{first}{ending}")
    if first not in KINDS:
        known = f"write one of {', '.join(KINDS)}"
        raise typer.BadParameter(f'"{first}" is no kind of file; {nearest(first, KINDS) or known}')
    return first, Path(second)


def _write_new(file: Path, text: str, force: bool) -> None:
    """Write a file that is not there yet, or replace it when forced; never half of it."""
    if not force and os.path.lexists(file):
        raise ContactFEError(
            "is there already",
            where=str(file),
            hint="name another file, or replace it with --force",
            slug="exists",
        )
    write_text(file, text)
