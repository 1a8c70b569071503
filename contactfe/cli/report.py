"""`contactfe report`: pages built again from stored results, or one page that compares several folders."""

from __future__ import annotations

import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from contactfe import __version__
from contactfe.cli.checks import file_problems
from contactfe.cli.output import Shown, say, tell_page
from contactfe.errors import InputError


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "report",
        help="Build the page of stored results again, without solving; several folders give one page that compares them.",
    )
    def report(
        folders: Annotated[
            list[Path],
            typer.Argument(
                metavar="DIR...", help="Folders that `turn --out`, `band --out` or `sweep` wrote."
            ),
        ],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out",
                metavar="FILE",
                help="The page. Default: where it was; of several, comparison.html in the first.",
            ),
        ] = None,
        units: Annotated[
            Shown | None,
            typer.Option(
                "--units",
                help="Units of the page: si, or inch (lbf ft, in, ksi). Default: those of the stored results.",
            ),
        ] = None,
        show: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    ) -> None:
        problems = file_problems(out, (".html",)) if out is not None else []
        if problems:
            raise InputError(problems, source="report")
        from contactfe.report import rebuilt

        page = rebuilt(folders, __version__, out, units)
        say(f"written: {page}")
        tell_page(page)
        if show:
            webbrowser.open(page.resolve().as_uri())
