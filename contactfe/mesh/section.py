"""The mesh of one body's cross-section: six-node triangles whose boundary sides lie on the exact outline."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from contactfe.mesh.shapes import NODES, slopes
from contactfe.profile import Outline

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class BoundarySides:
    """The sides of the mesh on the outline, loop after loop in running order (material on the left).

    ``nodes`` (b, 3): start, middle and end node. ``piece`` (b,): which piece of the outline. ``span`` (b, 2):
    from which to which fraction of the piece's length the side runs; the middle node lies half-way.
    """

    nodes: Index
    piece: Index
    span: Array


@dataclass(frozen=True)
class MeshQuality:
    """What a reader needs to judge a mesh: angles in degrees, lengths in mm."""

    triangles: int
    nodes: int
    smallest_angle_deg: float
    shortest_edge_mm: float
    longest_edge_mm: float
    boundary_sides: int


@dataclass(frozen=True, eq=False)
class SectionMesh:
    """Nodes (n, 2) in mm; cells (m, 6): three corners, then the middles of sides 01, 12, 20."""

    nodes: Array
    cells: Index
    boundary: BoundarySides
    outline: Outline

    def __post_init__(self) -> None:
        for holder in (self, self.boundary):
            for f in fields(holder):
                value = getattr(holder, f.name)
                if isinstance(value, np.ndarray):
                    value.setflags(write=False)

    def sides_named(self, *names: str) -> Index:
        """Numbers of the boundary sides whose piece of the outline carries one of these names, (k,)."""
        pieces = self.outline.pieces
        wanted = np.array([p.name in names for p in pieces])
        return np.flatnonzero(wanted[self.boundary.piece])

    def quality(self) -> MeshQuality:
        """Smallest angle, edge lengths and counts."""
        p = self.nodes[self.cells[:, :3]]
        sides = np.linalg.norm(p - np.roll(p, -1, axis=1), axis=2)
        angles = corner_angles(p)
        return MeshQuality(
            triangles=len(self.cells),
            nodes=len(self.nodes),
            smallest_angle_deg=float(np.degrees(angles.min())),
            shortest_edge_mm=float(sides.min()),
            longest_edge_mm=float(sides.max()),
            boundary_sides=len(self.boundary.piece),
        )

    def area(self) -> float:
        """Area of the curved section, mm2 (six-point rule per triangle: exact for these sides)."""
        return float(_jacobians(self.nodes, self.cells).sum() / 6.0)


def corner_angles(p: Array) -> Array:
    """Angles of triangles p (m, 3, 2), rad, as (m, 3)."""
    out = np.empty(p.shape[:2])
    for k in range(3):
        a, b = p[:, (k + 1) % 3] - p[:, k], p[:, (k + 2) % 3] - p[:, k]
        cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        out[:, k] = np.arctan2(np.abs(cross), np.einsum("ij,ij->i", a, b))
    return out


def _jacobians(nodes: Array, cells: Index) -> Array:
    """Jacobian determinants of the six-node map at the three mid-side points of the reference triangle, (m, 3).

    The determinant is a quadratic polynomial of the reference coordinates, for which the mid-side rule is exact.
    """
    x = nodes[cells]  # (m, 6, 2)
    out = np.empty((len(cells), 3))
    for q, (dr, ds) in enumerate(np.moveaxis(slopes(NODES[3:]), 1, 0)):
        xr, xs = np.einsum("j,mjk->mk", dr, x), np.einsum("j,mjk->mk", ds, x)
        out[:, q] = xr[:, 0] * xs[:, 1] - xr[:, 1] * xs[:, 0]
    return out


def least_jacobian(nodes: Array, cells: Index) -> float:
    """Smallest mid-side Jacobian over twice the straight triangle's area: 1 for straight sides, > 0 if valid."""
    p = nodes[cells[:, :3]]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    double = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return float((_jacobians(nodes, cells) / double[:, None]).min()) if math.isfinite(double.sum()) else -1.0
