"""`contactfe draw`: the pair of a case with its dimensions; nothing is solved."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.checks import checked_case, file_problems
from contactfe.cli.output import Shown, say

if TYPE_CHECKING:
    from contactfe.inputs import CaseInput


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("draw", help="Draw the fastener in the wrench, with dimensions.")
    def draw(
        case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case.")],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE", help="Picture, .png, .svg or .pdf. Default: CASE.png in this folder."
            ),
        ] = None,
        dxf: Annotated[
            Path | None,
            typer.Option(
                "--dxf", metavar="FILE", help="Also write both outlines as DXF, a layer for each body."
            ),
        ] = None,
        svg: Annotated[
            Path | None,
            typer.Option(
                "--svg", metavar="FILE", help="Also write both outlines as SVG at true size, in groups."
            ),
        ] = None,
        units: Annotated[
            Shown,
            typer.Option(
                "--units", help="Units of the dimensions: si, or inch. DXF and SVG outlines stay in mm."
            ),
        ] = "si",
    ) -> None:
        picture = out or Path(f"{case.stem}.png")
        problems = file_problems(picture, (".png", ".svg", ".pdf"))
        problems += file_problems(dxf, (".dxf",), "--dxf") if dxf else []
        problems += file_problems(svg, (".svg",), "--svg") if svg else []
        _, checked = checked_case(case, problems)
        _export(checked, dxf, svg)
        from contactfe.profile import profile_pair
        from contactfe.report import drawing_figure, reading, save

        if checked.wrench.family.drawn:  # the file holds the opening: show what it measures
            opening = profile_pair(checked).opening
            checked = replace(checked, wrench=replace(checked.wrench, opening=opening))
        with reading(units):
            save(drawing_figure(checked), picture)
        say(f"written: {picture}")


def _export(case: CaseInput, dxf: Path | None, svg: Path | None) -> None:
    """Write the outlines of the pair for other programs, the fastener as it stands in the opening."""
    if dxf is None and svg is None:
        return
    from contactfe.outlines import write_dxf, write_svg
    from contactfe.profile import Outline, profile_pair

    pair = profile_pair(case)
    bodies = {"wrench": pair.wrench, "fastener": Outline(pair.fastener.loops[:1])}
    for file, write in ((dxf, write_dxf), (svg, write_svg)):
        if file is not None:
            write(file, bodies)
            say(f"written: {file} (wrench and fastener, mm)")
