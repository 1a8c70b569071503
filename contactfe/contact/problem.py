"""The contact problem of one rotation: a flexibility per pressure cell, gaps, and the balance of the wrench.

    gap = g + (C_nn + mu C_nt) p - B_n^T a        p: pressure of each cell, MPa; a: free motion of the wrench, mm
    B p = 0,  B = B_n + mu B_t                    the wrench floats: no net force but the handle's

Gaps are integrated over the cell (mm2 per unit depth), so the normal part C_nn is symmetric.

The wrench's displacements are taken in the frame of its head: the rotation of the head by the bending of its handle
is part of the rotation that the problem is set up at, and the linear displacement that stands for it is taken out
again; where the head has moved from the axis the pairing is made for (``stand``). Otherwise a handle that bends would
turn the gaps through a large angle and bring them back along tangents.

Partial contact. Where a flank leans over a flat, the gap varies over a cell, and the cell is crushed and carries the
cap only over the part that overlaps: mean pressure and mean gap follow a straight line, from nothing when the mean
gap is half its range D to the cap when it is minus half of it. That is one more flexibility on the diagonal, D over
the cap, and a gap that is smaller by D/2; without it whole cells let go at once, and the torque goes in steps of a
cell. Where the material yields elastically by as much as the gap varies, the surfaces come to lie on each other and
the cell as a whole decides: D is reduced by D2 / (D2 + d2), d being what the cell gives under the cap.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dsymv
from scipy.sparse import csr_matrix

from contactfe.contact.cells import CellForces, cell_forces
from contactfe.contact.search import Pairing, turned
from contactfe.contact.solver import BoundedProblem
from contactfe.elastic import Flexibility
from contactfe.errors import BeyondReach
from contactfe.mesh import SectionMesh, side_shapes, side_slopes

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# The measures of a wrench that tell how far its head turns, and where to it carries the point at the axis.
HEAD_ROTATION, HEAD_PLACE = "head_rotation", ("head_x", "head_y")


@dataclass(frozen=True, eq=False)
class ContactProblem:
    """Cells (c of them): their fastener node, wrench group, length (mm) and weighted gap.

    ``fastener``/``wrench``: nodal forces on each body per unit pressure. ``arm_n``/``arm_t`` (c,): moment about the
    axis per unit pressure on the fastener, from normal and friction traction. ``balance_n``/``balance_t`` (2, c).
    ``spread`` (c,): range of the gap over each cell, mm. ``softness``: by how much a cell gives under its own pressure
    more than its surroundings, per MPa and mm of its length. ``flexibilities``: of fastener and wrench, (2k, 2k) each.
    ``head_rotation`` (2k,): rotation of the wrench's head (rad) per nodal force on it. ``stand`` (2,) mm: how far from
    the fastener's axis the wrench stands, in its frame, before it moves; arms are about the axis, ``centre`` is not.
    """

    node: Index
    group: Index
    length: Array
    centre: Array
    normal: Array
    gap: Array
    spread: Array
    softness: float
    balance_n: Array
    balance_t: Array
    arm_n: Array
    arm_t: Array
    fastener: CellForces
    wrench: CellForces
    force_n: Array
    force_t: Array
    flexibilities: tuple[Array, Array]
    head_rotation: Array
    stand: Array

    def partial(self, cap: float | Array) -> Array:
        """Range of the gap over which a cell is partly in contact, integrated over the cell, (c,) mm2 per mm."""
        own = self.softness * self.length * cap
        return np.asarray(self.length * self.spread**3 / np.maximum(self.spread**2 + own**2, 1e-300))

    def bounded(self, friction: float, cap: float | Array, force: Array | None = None) -> BoundedProblem:
        """The problem for the solver under friction and a cap (MPa, one or (c,)), with a net force (2,) or none."""
        caps = np.broadcast_to(np.asarray(cap, dtype=float), self.gap.shape)
        partial = self.partial(caps)
        return BoundedProblem(
            matrix=Operator(self, friction, partial / caps),
            gap=self.gap - 0.5 * partial,
            balance=self.balance_n + friction * self.balance_t,
            balance_n=self.balance_n,
            cap=caps,
            force=np.zeros(len(self.balance_n)) if force is None else force,
        )

    def nodal_forces(self, pressure: Array, friction: float) -> tuple[Array, Array]:
        """Forces (2k,) in N/mm on the flexibility's nodes of fastener (its own frame) and wrench."""
        return self.fastener.forces(pressure, friction), self.wrench.forces(pressure, friction)


class Operator:
    """The flexibility of a contact problem under a friction coefficient, known by its products and columns.

    ``own`` (c,): what the pressure of each cell adds to its own gap besides, mm2 per MPa.
    """

    def __init__(self, problem: ContactProblem, friction: float, own: Array | float = 0.0) -> None:
        self._own = np.broadcast_to(np.asarray(own, dtype=float), problem.gap.shape)
        self._bodies = [
            (cells, cells.loads(friction), flex)
            for cells, flex in zip((problem.fastener, problem.wrench), problem.flexibilities, strict=True)
        ]
        # What turns the head is taken out: it would move the flanks by the arms of their normals about the axis.
        self._turned = problem.arm_n
        wrench, loads, _ = self._bodies[1]
        self._turn = wrench.summed(loads * problem.head_rotation[wrench.dofs])

    def apply(self, p: Array) -> Array:
        """Weighted gap changes (c,) under pressures (c,)."""
        # The matrices are symmetric, and larger than what a processor keeps at hand: one half of each is read.
        elastic = sum(
            body.measured(dsymv(1.0, flex.T, body.gathered(loads, p))) for body, loads, flex in self._bodies
        )
        return np.asarray(self._own * p + self._turned * (self._turn @ p) + elastic)

    def columns(self, cells: Index) -> Array:
        """Weighted gap changes (c, k) under unit pressures on some cells (k,)."""
        found = np.asarray(
            sum(
                measure @ np.ascontiguousarray((load[cells] @ flex).T) for measure, load, flex in self._sparse
            )
        )
        found += self._turned[:, None] * self._turn[cells]
        found[cells, np.arange(len(cells))] += self._own[cells]
        return found

    @cached_property
    def _sparse(self) -> list[tuple[csr_matrix, csr_matrix, Array]]:
        return [(body.rows(body.normal), body.rows(loads), flex) for body, loads, flex in self._bodies]

    def diagonal(self, cells: Index) -> Array:
        """Weighted gap changes (k,) of some cells (k,) under unit pressure on themselves."""
        found = self._own[cells] + self._turned[cells] * self._turn[cells]
        for body, loads, flex in self._bodies:
            for i, cell in enumerate(cells):
                own = slice(body.first[cell], body.first[cell + 1])
                dofs = body.dofs[own]
                found[i] += body.normal[own] @ flex[np.ix_(dofs, dofs)] @ loads[own]
        return found


@dataclass(frozen=True)
class Handle:
    """How the wrench is held: the direction of the handle (rad), and the hand's lever arm in mm (None: pure couple)."""

    direction: float
    lever_arm: float | None
    sense: int

    def axes(self) -> Array:
        """Unit vectors along the handle and along the hand's push, as rows (2, 2)."""
        along = np.array([np.cos(self.direction), np.sin(self.direction)])
        return np.array([along, self.sense * np.array([-along[1], along[0]])])


class _Body:
    """Interpolation from integration points to the nodes of one flexibility."""

    def __init__(self, mesh: SectionMesh, flexibility: Flexibility) -> None:
        self.mesh, self.flexibility = mesh, flexibility
        self.number = np.full(len(mesh.nodes), -1, dtype=np.int64)
        self.number[flexibility.nodes] = np.arange(len(flexibility.nodes))

    def shapes(self, side: Index, s: Array) -> tuple[Index, Array, Array, Array]:
        """Node numbers in the flexibility (q, 3), shape functions and their slopes (q, 3), nodes' places (q, 3, 2)."""
        nodes = self.mesh.boundary.nodes[side]
        return self.number[nodes], side_shapes(s), side_slopes(s), self.mesh.nodes[nodes]

    def softness(self) -> float:
        """Settlement under a unit force at a node against one an element's length away, a mean, mm per N/mm.

        What bends the whole body moves both alike, and is left out.
        """
        a, b = self.number[self.mesh.boundary.nodes[:, [0, 2]]].T
        known = (a >= 0) & (b >= 0)
        a, b = 2 * a[known], 2 * b[known]
        f = self.flexibility.matrix
        own = [f[i, i] + f[i + 1, i + 1] for i in (a, b)]
        return float(np.mean(0.25 * (own[0] + own[1]) - 0.5 * (f[a, b] + f[a + 1, b + 1]))) if len(a) else 0.0

    def cell_forces(self, cell: Index, cells: int, at: Index, shares: list[Array]) -> CellForces:
        """Forces of the cells from shares (q, 3, 2) of points on nodes (q, 3), along normal and tangent."""
        # Points come in pairs on one stretch, with the same nodes and cell: half the entries.
        normal, tangent = (share[::2] + share[1::2] for share in shares)
        size = 2 * len(self.flexibility.nodes)
        return cell_forces(cell[::2], cells, at[::2], size, (normal, tangent))


class ContactBuilder:
    """Turns pairings into contact problems; holds the two bodies with their flexibilities."""

    def __init__(
        self,
        fastener: SectionMesh,
        flex_fastener: Flexibility,
        wrench: SectionMesh,
        flex_wrench: Flexibility,
        handle: Handle,
    ) -> None:
        self._fastener, self._wrench = _Body(fastener, flex_fastener), _Body(wrench, flex_wrench)
        self._handle = handle
        still = np.zeros(2 * len(flex_wrench.nodes))
        self._head_rotation = flex_wrench.observed.get(HEAD_ROTATION, still)
        self._softness = self._fastener.softness() + self._wrench.softness()

    def build(self, pairing: Pairing, rotation: float, widest: float) -> ContactProblem:
        """The contact problem of the cells whose mean gap is below ``widest`` mm, at a rotation (rad)."""
        cell, first = _cells(pairing)
        length = _summed(cell, pairing.weight, len(first))
        gap = _summed(cell, pairing.weight * pairing.gap, len(first))
        known = (self._wrench.number[self._wrench.mesh.boundary.nodes[pairing.wrench_side]] >= 0).all(axis=1)
        near = (gap < widest * length) & (length > 1e-4 * np.median(length))
        unknown = _summed(cell, np.logical_not(known), len(first)) > 0
        if bool((unknown & (gap < 0)).any()):
            raise BeyondReach(
                "the fastener has turned to a part of the opening whose flexibility was not worked out",
                hint="the wrench has gone over the corners here; nothing that happens later belongs to its slip",
            )
        near &= ~unknown
        renumber = np.cumsum(near) - 1
        q = near[cell]
        cell = renumber[cell[q]]
        count = int(near.sum())
        side_w, xi, w = pairing.wrench_side[q], pairing.xi[q], pairing.weight[q]
        directions = pairing.normal[q], pairing.tangent[q]
        at_w, phi_w, _, nodes_w = self._wrench.shapes(side_w, xi)
        x = np.einsum("qj,qjc->qc", phi_w, nodes_w)
        pull = -(w[:, None] * phi_w)[:, :, None]
        wrench = self._wrench.cell_forces(cell, count, at_w, [pull * v[:, None, :] for v in directions])
        angle, arm = -self._handle.sense * rotation, x + pairing.stand
        at_f, shares = self._on_fastener(
            pairing, q, turned(arm, -angle), [turned(v, -angle) for v in directions]
        )
        fastener = self._fastener.cell_forces(cell, count, at_f, shares)
        total = [np.array([_summed(cell, w * v[:, c], count) for c in (0, 1)]) for v in directions]
        arms = [_summed(cell, w * (arm[:, 0] * v[:, 1] - arm[:, 1] * v[:, 0]), count) for v in directions]
        mean = np.column_stack([_summed(cell, w * x[:, c], count) for c in (0, 1)]) / length[near][:, None]
        balance = [self._balance(f, m) for f, m in zip(total, arms, strict=True)]
        return ContactProblem(
            node=pairing.node[first][near],
            group=pairing.group[first][near],
            length=length[near],
            centre=mean,
            normal=(total[0] / np.maximum(np.hypot(*total[0]), 1e-300)).T,
            gap=gap[near],
            softness=self._softness,
            spread=_spread(cell, w, pairing.gap[q], gap[near], length[near]),
            balance_n=balance[0],
            balance_t=balance[1],
            arm_n=arms[0],
            arm_t=arms[1],
            fastener=fastener,
            wrench=wrench,
            force_n=total[0],
            force_t=total[1],
            flexibilities=(self._fastener.flexibility.matrix, self._wrench.flexibility.matrix),
            head_rotation=self._head_rotation,
            stand=pairing.stand,
        )

    def _balance(self, force: Array, arm: Array) -> Array:
        """Rows (2, c) that vanish when the wrench is in balance, for one kind of traction."""
        if self._handle.lever_arm is None:
            return force
        rows = self._handle.axes() @ force
        rows[1] -= self._handle.sense * arm / self._handle.lever_arm
        return np.asarray(rows)

    def _on_fastener(
        self, pairing: Pairing, q: NDArray[np.bool_], x: Array, directions: list[Array]
    ) -> tuple[Index, list[Array]]:
        """Nodes and nodal forces on the fastener, in its own frame, of unit tractions along directions at points x.

        The traction acts where the wrench's surface is (x): crushed material has followed it. It is carried over to
        the fastener's undeformed boundary with the couple that this shift makes, which turns the boundary there.
        """
        at, phi, slope, nodes = self._fastener.shapes(pairing.fastener_side[q], pairing.eta[q])
        own = np.einsum("qj,qjc->qc", phi, nodes)
        along = np.einsum("qj,qjc->qc", slope, nodes)
        arm = x - own
        turn = np.column_stack([-along[:, 1], along[:, 0]]) / np.einsum("qc,qc->q", along, along)[:, None]
        w = pairing.weight[q]
        force = (w[:, None] * phi)[:, :, None]
        moment = w[:, None, None] * slope[:, :, None] * turn[:, None, :]
        return at, [
            force * v[:, None, :] + (arm[:, 0] * v[:, 1] - arm[:, 1] * v[:, 0])[:, None, None] * moment
            for v in directions
        ]


def _spread(cell: Index, weight: Array, gap: Array, summed: Array, length: Array) -> Array:
    """Range of the gap over each cell (c,), mm: that of a straight one with the same variance."""
    off = gap - (summed / length)[cell]
    return np.asarray(np.sqrt(12.0 * _summed(cell, weight * off**2, len(length)) / length))


def _summed(cell: Index, values: Array | NDArray[np.bool_], cells: int) -> Array:
    """Sums over the points of each cell, (cells,)."""
    return np.bincount(cell, values, minlength=cells).astype(float)


def _cells(pairing: Pairing) -> tuple[Index, Index]:
    """Cell number of each integration point (q,), and one point of each cell."""
    key = (
        pairing.group * (pairing.place.max(initial=0) + 1) + pairing.place
    )  # neighbours get neighbouring numbers
    _, first, cell = np.unique(key, return_index=True, return_inverse=True)
    return cell.ravel().astype(np.int64), first.astype(np.int64)
