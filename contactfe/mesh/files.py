"""Mesh and result files through meshio, in this module only: VTU and binary Gmsh files of second order."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import meshio
import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError
from contactfe.files import write_whole
from contactfe.mesh.section import SectionMesh

Array = NDArray[np.float64]


def write_mesh(
    mesh: SectionMesh,
    path: Path,
    point_data: Mapping[str, Array] | None = None,
    cell_data: Mapping[str, Array] | None = None,
) -> None:
    """Write one mesh; the ending chooses VTU (``.vtu``) or binary Gmsh 2.2 (``.msh``, with the edges' names)."""
    points = np.column_stack([mesh.nodes, np.zeros(len(mesh.nodes))])
    if path.suffix == ".msh":
        names = sorted(mesh.outline.names())
        number = np.array([names.index(p.name) + 2 for p in mesh.outline.pieces])
        sides = mesh.boundary.nodes[:, [0, 2, 1]]
        tags = [np.ones(len(mesh.cells), dtype=int), number[mesh.boundary.piece]]
        data = meshio.Mesh(
            points,
            [("triangle6", mesh.cells), ("line3", sides)],
            cell_data={"gmsh:physical": tags, "gmsh:geometrical": [t.copy() for t in tags]},
            field_data={"section": np.array([1, 2])} | {n: np.array([i + 2, 1]) for i, n in enumerate(names)},
        )
        _write(data, path, "gmsh22")
        return
    _write(
        meshio.Mesh(
            points,
            [("triangle6", mesh.cells)],
            point_data=dict(point_data or {}),
            cell_data={k: [v] for k, v in (cell_data or {}).items()},
        ),
        path,
        "vtu",
    )


def write_fields(path: Path, parts: list[tuple[SectionMesh, Mapping[str, Array], int]]) -> None:
    """Write several bodies with the same point fields into one VTU file; the integer is the cell field ``body``."""
    points, cells, body, first = [], [], [], 0
    for mesh, _, number in parts:
        points.append(np.column_stack([mesh.nodes, np.zeros(len(mesh.nodes))]))
        cells.append(mesh.cells + first)
        body.append(np.full(len(mesh.cells), number))
        first += len(mesh.nodes)
    fields = {name: np.concatenate([p[1][name] for p in parts]) for name in parts[0][1]}
    data = meshio.Mesh(
        np.vstack(points),
        [("triangle6", np.vstack(cells))],
        point_data=fields,
        cell_data={"body": [np.concatenate(body)]},
    )
    _write(data, path, "vtu")


def _write(data: meshio.Mesh, path: Path, file_format: str) -> None:
    """Write the file as a whole."""

    def write(part: Path) -> None:
        try:
            meshio.write(part, data, file_format=file_format)
        except SystemExit as error:  # meshio ends the process on some failures
            raise OSError(str(error)) from error

    write_whole(path, write)


def read_mesh(path: Path) -> tuple[Array, NDArray[np.int64]]:
    """Nodes (n, 2) and six-node cells (m, 6) of a file written here.

    Raises:
        ContactFEError: unreadable or foreign file.
    """
    try:
        data = meshio.read(path)
        cells = data.cells_dict["triangle6"].astype(np.int64)
    except (OSError, SystemExit, KeyError, ValueError, meshio.ReadError) as exc:
        raise ContactFEError(
            f"cannot read a mesh of six-node triangles from {path}",
            where=str(path),
            hint="give a file written by contactfe mesh",
            slug="foreign-mesh",
        ) from exc
    return np.array(data.points[:, :2]), cells
