"""Values of nodal fields at any points of a mesh of six-node triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from contactfe.errors import ContactFEError
from contactfe.mesh.section import SectionMesh
from contactfe.mesh.shapes import shapes, slopes

Array = NDArray[np.float64]
Index = NDArray[np.int64]

NEAR = 24  # cells, by the distance of their middles, among which the one that holds a point is sought
# Of a cell: how far outside its straight triangle a point may lie; coarse curved sides bulge less.
OUTSIDE = 0.3
STEPS = 5


def values_at(mesh: SectionMesh, points: Array) -> csr_matrix:
    """Sparse map (k, n) from nodal values to values at points (k, 2) mm, by the six shape functions of their cells.

    Points on curved sides, which lie a little outside the straight triangles, are found as well.

    Raises:
        ContactFEError: a point lies outside the mesh.
    """
    cell, local = _holders(mesh, points)
    x = mesh.nodes[mesh.cells[cell]]
    for _ in range(STEPS):
        miss = points - np.einsum("kj,kjc->kc", shapes(local), x)
        jacobian = np.einsum("akj,kjc->kca", slopes(local), x)
        local = local + np.linalg.solve(jacobian, miss[:, :, None])[:, :, 0]
    rows = np.repeat(np.arange(len(points)), 6)
    values = shapes(local).ravel()
    return csr_matrix((values, (rows, mesh.cells[cell].ravel())), shape=(len(points), len(mesh.nodes)))


def _holders(mesh: SectionMesh, points: Array) -> tuple[Index, Array]:
    """The cell of each point (k,), and its coordinates (k, 2) in the straight triangle."""
    corners = mesh.nodes[mesh.cells[:, :3]]
    near = min(NEAR, len(corners))
    candidates = cKDTree(corners.mean(axis=1)).query(points, k=near)[1].reshape(len(points), near)
    p = corners[candidates]
    a, b, c = p[:, :, 1] - p[:, :, 0], p[:, :, 2] - p[:, :, 0], points[:, None] - p[:, :, 0]
    area = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    r = (c[..., 0] * b[..., 1] - c[..., 1] * b[..., 0]) / area
    s = (a[..., 0] * c[..., 1] - a[..., 1] * c[..., 0]) / area
    inside = np.minimum(np.minimum(r, s), 1.0 - r - s)
    best = inside.argmax(axis=1)
    row = np.arange(len(points))
    if len(points) and float(inside[row, best].min()) < -OUTSIDE:
        x, y = points[int(inside[row, best].argmin())]
        raise ContactFEError(f"({x:.3f}, {y:.3f}) mm lies outside the mesh", slug="outside-mesh")
    return candidates[row, best], np.column_stack([r[row, best], s[row, best]])
