"""Plane linear elasticity on a section mesh: stiffness, and stresses from displacements. The only user of skfem."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from skfem import Basis, BilinearForm, ElementTriP2, ElementVector, MeshTri1, MeshTri2
from skfem.helpers import ddot, sym_grad, trace

from contactfe.errors import ContactFEError
from contactfe.mesh import NODES, SectionMesh, slopes

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True)
class PlaneMaterial:
    """Elastic constants: ``modulus`` in MPa, ``poisson``, and ``plane`` = "stress" or "strain"."""

    modulus: float
    poisson: float
    plane: str = "stress"

    @property
    def shear(self) -> float:
        """Shear modulus, MPa."""
        return self.modulus / (2 * (1 + self.poisson))

    @property
    def lame(self) -> float:
        """First Lame constant of the plane problem, MPa (plane stress: 2 G lambda / (lambda + 2 G))."""
        e, nu = self.modulus, self.poisson
        if self.plane == "strain":
            return e * nu / ((1 + nu) * (1 - 2 * nu))
        if self.plane == "stress":
            return e * nu / (1 - nu**2)
        raise ContactFEError(
            f"unknown plane state {self.plane!r}",
            where="[contact] plane",
            hint='use "stress" or "strain"',
            slug="plane",
        )


def _mesh(mesh: SectionMesh) -> MeshTri2:
    corners = int(mesh.cells[:, :3].max()) + 1
    straight = MeshTri1(
        np.ascontiguousarray(mesh.nodes[:corners].T), np.ascontiguousarray(mesh.cells[:, :3].T), sort_t=False
    )
    curved = MeshTri2.from_mesh(straight)
    places = np.array(curved.doflocs)
    edge_dofs = curved.dofs.facet_dofs[0, curved.t2f]  # sides 01, 12, 02 of each triangle
    for k in range(3):
        places[:, edge_dofs[k]] = mesh.nodes[mesh.cells[:, 3 + k]].T
    return MeshTri2(places, curved.t, sort_t=False)


def _basis(mesh: SectionMesh) -> tuple[Basis, Index]:
    """The vector basis, and the skfem number of each of our unknowns (2 node + component)."""
    basis = Basis(_mesh(mesh), ElementVector(ElementTriP2()), intorder=4)
    ours = np.empty(2 * len(mesh.nodes), dtype=np.int64)
    for component in range(2):
        ours[2 * mesh.cells[:, :3].ravel() + component] = basis.nodal_dofs[
            component, mesh.cells[:, :3].ravel()
        ]
        facets = basis.mesh.t2f.T
        ours[2 * mesh.cells[:, 3:].ravel() + component] = basis.facet_dofs[component, facets.ravel()]
    return basis, ours


def stiffness(mesh: SectionMesh, material: PlaneMaterial) -> csc_matrix:
    """Stiffness per unit depth, (2n, 2n), in N/mm per mm; unknown 2 i + c is component c of node i."""
    shear, lame = material.shear, material.lame

    def form(u: Any, v: Any, _: Any) -> Any:
        e, d = sym_grad(u), sym_grad(v)
        return 2 * shear * ddot(e, d) + lame * trace(e) * trace(d)

    basis, ours = _basis(mesh)
    return csc_matrix(BilinearForm(form).assemble(basis).tocsr()[ours][:, ours])


def element_stresses(mesh: SectionMesh, material: PlaneMaterial, displacement: Array) -> Array:
    """Stresses at the six nodes of every cell, (m, 6, 4): sxx, syy, sxy, szz in MPa, from displacements (n, 2)."""
    x, u = mesh.nodes[mesh.cells], displacement[mesh.cells]
    out = np.empty((len(mesh.cells), 6, 4))
    for node, d in enumerate(np.moveaxis(slopes(NODES), 1, 0)):
        jac = np.einsum("aj,mjk->mak", d, x)
        grad = np.linalg.solve(jac, np.einsum("aj,mjc->mac", d, u))  # (m, k, c): du_c / dx_k
        strain = grad[:, 0, 0], grad[:, 1, 1], 0.5 * (grad[:, 0, 1] + grad[:, 1, 0])
        out[:, node, 0], out[:, node, 1], out[:, node, 2] = _stresses(material, *strain)
        out[:, node, 3] = (
            material.poisson * (out[:, node, 0] + out[:, node, 1]) if material.plane == "strain" else 0.0
        )
    return out


def stress_operator(mesh: SectionMesh, material: PlaneMaterial, cells: Index) -> Array:
    """What unit displacements of their nodes do to the stresses of some cells (m, 6): sxx, syy and sxy in MPa per mm,
    (3, m, 6, 6, 2) by component, node where, node that moves, and its direction."""
    x = mesh.nodes[cells]
    out = np.empty((3, len(cells), 6, 6, 2))
    for node, d in enumerate(np.moveaxis(slopes(NODES), 1, 0)):
        gx, gy = np.moveaxis(np.linalg.solve(np.einsum("aj,mjk->mak", d, x), d[None]), 1, 0)
        none = np.zeros_like(gx)
        out[:, :, node, :, 0] = _stresses(material, gx, none, 0.5 * gy)
        out[:, :, node, :, 1] = _stresses(material, none, gy, 0.5 * gx)
    return out


def _stresses(material: PlaneMaterial, exx: Array, eyy: Array, exy: Array) -> tuple[Array, Array, Array]:
    """Sxx, syy and sxy in MPa by Hooke's law."""
    volume = material.lame * (exx + eyy)
    return 2 * material.shear * exx + volume, 2 * material.shear * eyy + volume, 2 * material.shear * exy


def nodal_stresses(mesh: SectionMesh, material: PlaneMaterial, displacement: Array) -> Array:
    """Stresses averaged over the cells that share a node, (n, 4): sxx, syy, sxy, szz in MPa."""
    values = element_stresses(mesh, material, displacement)
    total, count = np.zeros((len(mesh.nodes), 4)), np.zeros(len(mesh.nodes))
    np.add.at(total, mesh.cells, values)
    np.add.at(count, mesh.cells, 1.0)
    return np.asarray(total / count[:, None])


def von_mises(stress: Array) -> Array:
    """Von Mises stress of (..., 4) sxx, syy, sxy, szz."""
    sx, sy, sxy, sz = np.moveaxis(stress, -1, 0)
    return np.asarray(np.sqrt(0.5 * ((sx - sy) ** 2 + (sy - sz) ** 2 + (sz - sx) ** 2) + 3 * sxy**2))
