"""One elastic body held somewhere: factorised once, asked many times.

Two ways of holding: ``clamped`` nodes (the fastener's core), and ``carried`` (the wrench: its handle's end takes
whatever force and couple statics demands, spread over that edge; the mean motion of the edge is zero). The second
leaves the body free to bend everywhere else, and is symmetric: displacement and reaction are measured alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotri
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import SuperLU, splu

from contactfe.elastic.plane import PlaneMaterial, stiffness
from contactfe.errors import ContactFEError
from contactfe.mesh import SectionMesh

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Flexibility:
    """Response of chosen boundary nodes to forces at the same nodes, per unit depth.

    ``nodes`` (k,) node numbers; ``matrix`` (2k, 2k) mm per N/mm, symmetric; ``observed`` maps the name of a linear
    measure of the displacement field to its row (2k,) of values per unit force.
    """

    nodes: Index
    matrix: Array
    observed: Mapping[str, Array]

    def __post_init__(self) -> None:
        for a in (self.nodes, self.matrix, *self.observed.values()):
            a.setflags(write=False)

    def scaled(self, factor: float) -> Flexibility:
        """Everything but the node numbers multiplied by a factor."""
        observed = {name: row * factor for name, row in self.observed.items()}
        return Flexibility(self.nodes, self.matrix * factor, observed)


class HeldBody:
    """A meshed body with its support, factorised."""

    def __init__(
        self,
        mesh: SectionMesh,
        material: PlaneMaterial,
        *,
        clamped: Index | None = None,
        carried: Index | None = None,
        thickness: float = 1.0,
    ) -> None:
        """Factorise.

        Args:
            clamped: nodes that cannot move.
            carried: numbers of the boundary sides on which force and couple are taken.
            thickness: depth of this body over the unit depth that forces refer to.

        Raises:
            ContactFEError: the body is not held.
        """
        if (clamped is None) == (carried is None):
            raise ContactFEError(
                "a body is held by clamped nodes or carried by sides, one of them", slug="not-held"
            )
        self.mesh, self.material, self.thickness = mesh, material, thickness
        self._matrix = stiffness(mesh, material) * thickness
        n = 2 * len(mesh.nodes)
        self._modes = np.zeros((n, 0))
        free = np.ones(n, dtype=bool)
        matrix = self._matrix
        if clamped is not None:
            if len(clamped) == 0:
                raise ContactFEError("no node of the body is clamped: it can still move", slug="not-held")
            free[2 * clamped] = free[2 * clamped + 1] = False
        else:
            assert carried is not None
            self._modes = edge_motions(mesh, carried)
            # Grounding the edge's mean motion makes the matrix definite; its effect is projected out again below.
            scale = material.modulus * thickness
            modes = csc_matrix(self._modes)
            matrix = csc_matrix(matrix + scale * (modes @ modes.T))
        self._free = np.flatnonzero(free)
        self._system = csc_matrix(matrix[self._free][:, self._free])
        self._lu = _factorised(self._system, "MMD_AT_PLUS_A")
        self._held = (
            self._lu.solve(np.ascontiguousarray(self._modes[self._free])) if self._modes.shape[1] else None
        )

    def displacements(self, forces: Array) -> Array:
        """Displacements (2n, q) in mm under nodal forces (2n, q) in N/mm."""
        forces = np.asarray(forces, dtype=float)
        f = forces[self._free]
        u = self._lu.solve(np.ascontiguousarray(f))
        if self._held is not None:
            modes = self._modes[self._free]
            u = u - self._held @ np.linalg.solve(modes.T @ self._held, self._held.T @ f)
        out = np.zeros_like(forces)
        out[self._free] = u
        return out

    def reactions(self, displacement: Array, forces: Array) -> Array:
        """What the support adds, as nodal forces (2n,) in N/mm: stiffness times displacement less the loads."""
        return np.asarray(self._matrix @ displacement - forces)

    def flexibility(self, nodes: Index, observe: Mapping[str, Array] | None = None) -> Flexibility:
        """Flexibility of boundary nodes (k,) that can move, and rows of the linear measures given as weights (2n,).

        Raises:
            ContactFEError: the stiffness is not definite.
        """
        dofs = np.column_stack([2 * nodes, 2 * nodes + 1]).ravel()
        matrix = self._inverse_block(dofs)
        names = list(observe or {})
        rows: dict[str, Array] = {}
        if observe:
            answer = self.displacements(np.column_stack([observe[name] for name in names]))[dofs]
            rows = {name: np.ascontiguousarray(answer[:, i]) for i, name in enumerate(names)}
        return Flexibility(nodes=np.array(nodes), matrix=0.5 * (matrix + matrix.T), observed=rows)

    def _inverse_block(self, dofs: Index) -> Array:
        """Displacements of some unknowns (k,) under unit forces on them, (k, k).

        The stiffness seen from them alone is small enough to be inverted in full. (As many solves of the whole body take
        five times as long.)
        """
        upper = self._condensed(dofs)
        if not len(upper):
            return np.zeros((0, 0))
        found, info = dpotri(upper, lower=0)
        if info != 0:
            raise ContactFEError("the stiffness of a body is not definite", slug="not-held")
        found = np.triu(found) + np.triu(found, 1).T
        if self._held is not None:
            modes, held = self._modes[self._free], self._held[np.searchsorted(self._free, dofs)]
            found = found - held @ np.linalg.solve(modes.T @ self._held, held.T)
        return np.asarray(found)

    def condensed(self, nodes: Index) -> Array:
        """Stiffness (2k, 2k) seen from some nodes (k,) of a clamped body, N/mm per mm: everything else follows them.

        Raises:
            ContactFEError: a node is clamped or named twice, or the stiffness is not definite.
        """
        upper = self._condensed(np.column_stack([2 * nodes, 2 * nodes + 1]).ravel())
        return np.asarray(upper.T @ upper)

    def _condensed(self, dofs: Index) -> Array:
        """Upper Cholesky factor (k, k) of the stiffness seen from some unknowns (k,).

        Factorised once more with these unknowns last: what is then left of the matrix at the end, the Schur complement
        U^T D^-1 U of everything else, is the stiffness seen from them alone (static condensation).
        """
        if not len(dofs):
            return np.zeros((0, 0))
        last = np.searchsorted(self._free, dofs)
        if not np.isin(dofs, self._free).all() or len(np.unique(last)) < len(last):
            raise ContactFEError("nodes asked for are clamped, or named twice", slug="not-held")
        order = np.argsort(self._lu.perm_c)
        order = np.concatenate([order[~np.isin(order, last)], last])
        lu = _factorised(csc_matrix(self._system[order][:, order]), "NATURAL")
        if not (np.array_equal(lu.perm_r, lu.perm_c) and np.array_equal(lu.perm_c, np.arange(len(order)))):
            raise ContactFEError("the stiffness of a body is not definite", slug="not-held")
        first = len(order) - len(last)
        upper = lu.U[:, first:][first:].toarray()
        pivots = np.diag(upper)
        if pivots.min() <= 0:
            raise ContactFEError("the stiffness of a body is not definite", slug="not-held")
        return np.asarray(upper / np.sqrt(pivots)[:, None])


def _factorised(matrix: csc_matrix, order: str) -> SuperLU:
    """Factors of a definite matrix, without pivoting."""
    return splu(matrix, permc_spec=order, diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def edge_motions(mesh: SectionMesh, sides: Index) -> Array:
    """Weights (2n, 3) of the mean motion of straight sides: two translations and the rotation about their middle.

    Column 0 and 1 average the displacement over the length; column 2 is the best-fitting rotation (rad) of points
    on a straight edge. The same columns spread a unit force or couple over the edge.
    """
    triples = mesh.boundary.nodes[sides]
    ends = mesh.nodes[triples[:, [0, 2]]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    share = length[:, None] * np.array([1.0, 4.0, 1.0]) / 6.0  # Simpson: exact for quadratic functions
    total = share.sum()
    centre = np.einsum("sk,skc->c", share, mesh.nodes[triples]) / total
    arm = mesh.nodes[triples] - centre
    inertia = np.einsum("sk,skc,skc->", share, arm, arm)
    out = np.zeros((2 * len(mesh.nodes), 3))
    np.add.at(out[:, 0], 2 * triples, share / total)
    np.add.at(out[:, 1], 2 * triples + 1, share / total)
    np.add.at(out[:, 2], 2 * triples, -share * arm[:, :, 1] / inertia)
    np.add.at(out[:, 2], 2 * triples + 1, share * arm[:, :, 0] / inertia)
    return out
