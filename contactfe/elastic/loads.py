"""Loads and supports beside those of a wrench pair: tractions on sides, and displacements given at single unknowns.

A body under loads in balance needs no support at all: carry it (`HeldBody`, ``carried``) on any of its sides; the
support then takes nothing and only fixes which rigid motion is left out.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from contactfe.elastic.plane import PlaneMaterial, stiffness
from contactfe.errors import ContactFEError
from contactfe.mesh import SectionMesh, side_shapes, side_slopes

Array = NDArray[np.float64]
Index = NDArray[np.int64]

GAUSS = 0.5 + 0.5 * np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)])
GAUSS_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0
Traction = Callable[[Array, Array], Array]


def side_loads(mesh: SectionMesh, sides: Index, traction: Traction) -> Array:
    """Nodal forces (2n,) in N/mm of a traction on boundary sides, per unit depth.

    ``traction`` takes points (q, 2) and outward unit normals (q, 2) and gives MPa as (q, 2). Three Gauss points a
    side: exact on straight sides for tractions up to the third degree.

    Raises:
        ContactFEError: no side was given.
    """
    if len(sides) == 0:
        raise ContactFEError("a traction was to act on no side at all", slug="no-sides")
    nodes = mesh.boundary.nodes[sides]
    phi, slope = side_shapes(GAUSS), side_slopes(GAUSS)
    x = np.einsum("gk,skc->sgc", phi, mesh.nodes[nodes])
    along = np.einsum("gk,skc->sgc", slope, mesh.nodes[nodes])
    length = np.linalg.norm(along, axis=2)
    normal = np.stack([along[..., 1], -along[..., 0]], axis=2) / length[..., None]
    t = traction(x.reshape(-1, 2), normal.reshape(-1, 2)).reshape(x.shape)
    share = np.einsum("sg,gk,sgc->skc", length * GAUSS_WEIGHTS, phi, t)
    out = np.zeros(2 * len(mesh.nodes))
    for c in (0, 1):
        np.add.at(out, 2 * nodes + c, share[:, :, c])
    return out


def pressed(pressure: float) -> Traction:
    """The traction of a uniform pressure (MPa), against the outward normal."""
    return lambda x, normal: -pressure * normal


def given_displacements(
    mesh: SectionMesh, material: PlaneMaterial, unknowns: Index, values: Array, forces: Array | None = None
) -> Array:
    """Displacements (2n,) in mm with the ``unknowns`` (2 node + component) held at ``values`` mm.

    Args:
        forces: nodal forces (2n,) in N/mm, or none.

    Raises:
        ContactFEError: what is held leaves a rigid motion.
    """
    _check_held(mesh, unknowns)
    n = 2 * len(mesh.nodes)
    matrix = stiffness(mesh, material)
    u = np.zeros(n)
    u[unknowns] = values
    free = np.setdiff1d(np.arange(n), unknowns)
    rest = (np.zeros(n) if forces is None else forces) - matrix @ u
    u[free] = splu(csc_matrix(matrix[free][:, free])).solve(rest[free])
    return u


def _check_held(mesh: SectionMesh, unknowns: Index) -> None:
    """Two translations and the rotation have to show in the held unknowns."""
    middle = mesh.nodes.mean(axis=0)
    size = float(np.ptp(mesh.nodes))
    motions = np.zeros((2 * len(mesh.nodes), 3))
    motions[0::2, 0] = motions[1::2, 1] = 1.0
    motions[0::2, 2], motions[1::2, 2] = (
        -(mesh.nodes - middle)[:, 1] / size,
        (mesh.nodes - middle)[:, 0] / size,
    )
    if len(unknowns) < 3 or np.linalg.matrix_rank(motions[unknowns], tol=1e-9) < 3:
        raise ContactFEError("what is held leaves the body a rigid motion", slug="not-held")


def side_unknowns(mesh: SectionMesh, component: int, *names: str) -> Index:
    """Unknowns of one component (0: x, 1: y) of all nodes on the pieces with these names."""
    return 2 * np.unique(mesh.boundary.nodes[mesh.sides_named(*names)]) + component
