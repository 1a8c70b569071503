"""Integrals over the curved cells of a mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from contactfe.mesh import SectionMesh
from contactfe.verify.bodies import Array

_INNER, _OUTER = (
    0.101286507323456,
    0.470142064105115,
)  # Radon's seven points of the fifth degree on a triangle
POINTS = np.array(
    [
        [1 / 3, 1 / 3],
        [_INNER, _INNER],
        [1 - 2 * _INNER, _INNER],
        [_INNER, 1 - 2 * _INNER],
        [_OUTER, _OUTER],
        [1 - 2 * _OUTER, _OUTER],
        [_OUTER, 1 - 2 * _OUTER],
    ]
)
WEIGHTS = np.array([0.225, *[0.125939180544827] * 3, *[0.132394152788506] * 3]) / 2


@dataclass(frozen=True, eq=False)
class CellQuadrature:
    """Shape functions (g, 6) of the quadrature points, their places (m g, 2) mm and weights (m g,) mm2."""

    shape: Array
    places: Array
    weights: Array

    def values(self, mesh: SectionMesh, nodal: Array) -> Array:
        """Values (m g, k) of a field given at all nodes (n, k)."""
        return self.cell_values(nodal[mesh.cells])

    def cell_values(self, nodal: Array) -> Array:
        """Values (m g, k) of a field given at the six nodes of every cell (m, 6, k)."""
        return np.asarray(np.einsum("gk,mkc->mgc", self.shape, nodal).reshape(-1, nodal.shape[-1]))


def cell_quadrature(mesh: SectionMesh) -> CellQuadrature:
    """Seven points in every cell, exact to the fifth degree in the cell's own coordinates."""
    r, s = POINTS.T
    lam = 1 - r - s
    shape = np.column_stack(
        [lam * (2 * lam - 1), r * (2 * r - 1), s * (2 * s - 1), 4 * lam * r, 4 * r * s, 4 * s * lam]
    )
    slope_r = np.column_stack([1 - 4 * lam, 4 * r - 1, 0 * r, 4 * (lam - r), 4 * s, -4 * s])
    slope_s = np.column_stack([1 - 4 * lam, 0 * r, 4 * s - 1, -4 * r, 4 * r, 4 * (lam - s)])
    nodes = mesh.nodes[mesh.cells]
    xr, xs = (np.einsum("gk,mkc->mgc", d, nodes) for d in (slope_r, slope_s))
    weight = (xr[..., 0] * xs[..., 1] - xr[..., 1] * xs[..., 0]) * WEIGHTS
    return CellQuadrature(shape, np.einsum("gk,mkc->mgc", shape, nodes).reshape(-1, 2), weight.ravel())
