"""Counts, angles and edges of meshes as a table for a reader, the same on the console and on the page of a case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from contactfe.mesh import SectionMesh
from contactfe.report.reader_units import reader

_ROWS = (
    ("triangles", "triangles", ""),
    ("nodes", "nodes", ""),
    ("boundary_sides", "sides on the outline", ""),
    ("smallest_angle_deg", "smallest angle", "deg"),
    ("shortest_edge_mm", "shortest edge", "mm"),
    ("longest_edge_mm", "longest edge", "mm"),
)


def mesh_table(meshes: Mapping[str, SectionMesh]) -> list[tuple[str, ...]]:
    """Return rows of a label with its unit, in the units of the reader, and one value of each mesh as text."""
    found = [asdict(mesh.quality()) for mesh in meshes.values()]
    rows = []
    for key, label, unit in _ROWS:
        factor, name = reader().scale(unit)
        head = f"{label} ({name})" if name else label
        rows.append((head, *(_text(quality[key], factor) for quality in found)))
    return rows


def _text(value: float, factor: float) -> str:
    return str(value) if isinstance(value, int) else f"{value / factor:.3g}"
