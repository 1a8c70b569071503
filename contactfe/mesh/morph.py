"""The mesh of one outline moved onto another of the same pieces, so that nothing has to be meshed anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix, diags
from scipy.sparse.linalg import splu

from contactfe.errors import GeometryError
from contactfe.mesh.section import SectionMesh, least_jacobian
from contactfe.profile import Outline

Array = NDArray[np.float64]

# Of what a cell had, and of the Jacobian of one with straight sides: flatter ones are refused.
LEAST_AREA = 0.2


def moved_mesh(mesh: SectionMesh, outline: Outline) -> SectionMesh:
    """The mesh on another outline: nodes of the boundary keep their share of their piece, the others follow smoothly.

    Raises:
        GeometryError: the outline has other pieces, or cells would be turned over.
    """
    if not same_pieces(outline, mesh.outline):
        raise GeometryError("the changed outline has other pieces", slug="other-pieces")
    shift = np.zeros((len(mesh.nodes), 2))
    boundary = mesh.boundary
    for k, piece in enumerate(outline.pieces):
        on = np.flatnonzero(boundary.piece == k)
        ends = boundary.span[on]
        shares = np.column_stack([ends[:, 0], ends.mean(axis=1), ends[:, 1]]).ravel()
        nodes = boundary.nodes[on].ravel()
        shift[nodes] = piece.points(shares) - mesh.outline.pieces[k].points(shares)
    corners = int(mesh.cells[:, :3].max()) + 1
    held = np.zeros(corners, dtype=bool)
    held[boundary.nodes[:, [0, 2]]] = True
    shift[:corners][~held] = _smooth(mesh, shift[:corners], held)
    sides = mesh.cells[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    middle = mesh.cells[:, 3:].ravel()
    inside = np.ones(len(mesh.nodes), dtype=bool)
    inside[boundary.nodes] = False
    own = inside[middle]
    shift[middle[own]] = shift[sides[own]].mean(axis=1)
    found = replace(mesh, nodes=mesh.nodes + shift, outline=outline)
    shrunk = float((_areas(found) / _areas(mesh)).min())
    if not min(shrunk, least_jacobian(found.nodes, found.cells)) > LEAST_AREA:
        raise GeometryError("the changed outline would turn cells of the mesh over", slug="turned-cells")
    return found


def same_pieces(one: Outline, other: Outline) -> bool:
    """Whether two outlines consist of pieces of the same names and kinds, in the same order."""
    return [(p.name, p.is_arc) for p in one.pieces] == [(p.name, p.is_arc) for p in other.pieces]


def _areas(mesh: SectionMesh) -> Array:
    """Signed areas (m,) of the straight triangles, mm2."""
    p = mesh.nodes[mesh.cells[:, :3]]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    return np.asarray(0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))


def _smooth(mesh: SectionMesh, shift: Array, held: NDArray[np.bool_]) -> Array:
    """Shifts of the free corner nodes: each the mean of its neighbours', near ones weighted more."""
    n = len(held)
    sides = np.sort(mesh.cells[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    sides = np.unique(sides, axis=0)
    weight = 1.0 / np.linalg.norm(mesh.nodes[sides[:, 0]] - mesh.nodes[sides[:, 1]], axis=1)
    half = csc_matrix((weight, (sides[:, 0], sides[:, 1])), (n, n))
    links = half + half.T
    matrix = csc_matrix(diags(np.asarray(links.sum(axis=0)).ravel()) - links)
    inner = matrix[~held][:, ~held]
    lu = splu(
        csc_matrix(inner), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    return np.asarray(lu.solve(np.asarray(-(matrix[~held][:, held] @ shift[held]))))
