"""`contactfe mesh`: the two meshes of a case, their quality, and the outlines they were made of."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.checks import checked_case, folder_problems
from contactfe.cli.output import Shown, say, say_json, say_table, tell

if TYPE_CHECKING:
    from contactfe.inputs import CaseInput
    from contactfe.mesh import SectionMesh


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("mesh", help="Mesh both bodies: VTU and Gmsh files, quality, outlines.")
    def mesh(
        case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case.")],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Folder of the files. Default: CASE-mesh in this folder."
            ),
        ] = None,
        as_json: Annotated[bool, typer.Option("--json", help="Print the quality as JSON on stdout.")] = False,
        units: Annotated[
            Shown,
            typer.Option("--units", help="Units of the table: si, or inch. Files and JSON stay SI."),
        ] = "si",
    ) -> None:
        folder = out or Path(f"{case.stem}-mesh")
        _, checked = checked_case(case, folder_problems(folder))
        meshes = _meshes(checked)
        names = _write(checked, meshes, folder)
        tell(f"written: {folder} ({', '.join(names)})")
        if as_json:
            say_json({name: asdict(body.quality()) for name, body in meshes.items()})
        else:
            from contactfe.report import mesh_table, reading

            with reading(units):
                rows = mesh_table(meshes)
            say(checked.name)
            say_table(rows, ("", *meshes))


def _meshes(case: CaseInput) -> dict[str, SectionMesh]:
    """Return the meshes that `contactfe turn` would use."""
    from contactfe.mesh import mesh_fastener, mesh_outline, wrench_sizes
    from contactfe.profile import profile_pair

    pair = profile_pair(case)
    return {
        "fastener": mesh_fastener(pair, case.mesh)[0],
        "wrench": mesh_outline(pair.wrench, wrench_sizes(pair, case.mesh)),
    }


def _write(case: CaseInput, meshes: dict[str, SectionMesh], folder: Path) -> list[str]:
    from contactfe.mesh import write_mesh
    from contactfe.profile import profile_pair, write_outline

    folder.mkdir(exist_ok=True)
    names = [f"{body}{ending}" for body in meshes for ending in (".vtu", ".msh")]
    for name in names:
        write_mesh(meshes[name.split(".")[0]], folder / name)
    pair = profile_pair(case)
    for body, outline in (("fastener", pair.fastener), ("wrench", pair.wrench)):
        names.append(f"{body}-outline.toml")
        write_outline(folder / names[-1], outline, body, first_flat=pair.first_flat, flats=pair.flats)
    return names
