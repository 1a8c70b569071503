"""`contactfe draw`: the pair of a case with its dimensions; nothing is solved."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from contactfe.cli.checks import checked_case, file_problems
from contactfe.cli.output import say


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("draw", help="Draw the fastener in the wrench, with dimensions.")
    def draw(
        case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case.")],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE", help="Picture, .png or .svg. Default: CASE.png in this folder."
            ),
        ] = None,
    ) -> None:
        picture = out or Path(f"{case.stem}.png")
        _, checked = checked_case(case, file_problems(picture, (".png", ".svg")))
        from contactfe.profile import profile_pair
        from contactfe.report import drawing_figure, save

        if checked.wrench.profile == "outline":  # the file holds the opening: show what it measures
            opening = profile_pair(checked).opening
            checked = replace(checked, wrench=replace(checked.wrench, opening=opening))
        save(drawing_figure(checked), picture)
        say(f"written: {picture}")
