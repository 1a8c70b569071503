"""The same contact problem the ordinary way: the whole two-body finite-element system, at every rotation
anew.

    K_f u_f            - F_f p = 0        fastener, core clamped
    K_w u_w + M l      - F_w p = 0        wrench, carried at its handle: M^T u_w = 0
    W u_w - t                  = 0        rotation of its head, in whose frame gaps are taken
    N_f^T u_f + N_w^T u_w + A t - B_n^T a + g = gap of each cell: 0 where the pressure is free
                                            (g and a diagonal for partial contact as in the reduced problem)
    B p = 0                               the wrench floats

Same meshes, same gaps, same bounds on the pressure, same answer; but no flexibility is known beforehand:
stiffness is assembled at every rotation, and the sparse system is factorised in every round of the search
for the free cells. It is here to measure what the reduced method gains, and to check it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import bmat, csc_matrix, csr_matrix, diags, eye
from scipy.sparse.linalg import SuperLU, splu

from contactfe.contact import ContactProblem
from contactfe.elastic import edge_motions, stiffness
from contactfe.errors import NotConverged
from contactfe.turn import BuiltPair, bearing_depth, fastener_material, head_rotation_weights, wrench_material

Array = NDArray[np.float64]
Index = NDArray[np.int64]

NEWTON_ROUNDS = 12
INTERIOR_ROUNDS = 60
GROUND = 1e-11  # holds the free motion where no flank opposes it
CLOSE = 1e-10


@dataclass(frozen=True, eq=False)
class FullState:
    """Pressures in shares of the cap by (group, node), torque in N mm per mm, and factorisations."""

    pressure: Array
    keys: list[tuple[int, int]]
    torque: float
    factorisations: int


class FullSystem:
    """The two bodies of a built pair, each with its mesh; everything else is made anew at every rotation."""

    def __init__(self, built: BuiltPair) -> None:
        self.built = built

    def solve(self, problem: ContactProblem, before: FullState | None = None) -> FullState:
        """Solve with the cells and gaps of a rotation, from the state of a neighbouring one when given.

        Raises:
            NotConverged: no round ends in a state that fulfils all contact conditions.
        """
        built = self.built
        keys = list(zip(problem.group.tolist(), problem.node.tolist(), strict=True))
        if not (problem.bounded(built.law.friction, built.law.caps(problem)).gap < 0).any():
            return FullState(np.zeros(len(keys)), keys, 0.0, 0)
        system = _Rotation(built, problem)
        known = dict(zip(before.keys, before.pressure, strict=True)) if before is not None else {}
        start = np.array([known.get(key, 0.0) for key in keys])
        found = system.newton(_state(start)) if start.any() else None
        if found is None:
            near = system.interior()
            found = system.newton(_state(near)) if near is not None else None
            found = near if found is None else found
        if found is None:
            raise NotConverged(
                "the full system found no state that fulfils the contact conditions",
                slug="contact-not-converged",
            )
        law = built.law
        arm = problem.arm_n + law.friction * problem.arm_t
        return FullState(found, keys, built.pair.sense * float(arm @ found) * law.cap, system.factorisations)


def _state(p: Array) -> Index:
    """-1 open, 0 free, 1 capped."""
    return np.where(p <= 0, -1, np.where(p >= 1, 1, 0)).astype(np.int64)


class _Rotation:
    """The sparse system of one rotation; pressures in shares of the cap, gaps over a typical gap."""

    def __init__(self, built: BuiltPair, problem: ContactProblem) -> None:
        law, case = built.law, built.case
        self.factorisations = 0
        mesh_f, mesh_w = built.fastener.mesh, built.wrench.mesh
        nodes_f, nodes_w = built.fastener.flexibility.nodes, built.wrench.flexibility.nodes
        core = np.unique(mesh_f.boundary.nodes[mesh_f.sides_named("core")])
        free = np.ones(2 * len(mesh_f.nodes), dtype=bool)
        free[2 * core] = free[2 * core + 1] = False
        depth = bearing_depth(case)
        k_f = (stiffness(mesh_f, fastener_material(case)) * (case.fastener.engaged_depth / depth))[free][
            :, free
        ]
        k_w = stiffness(mesh_w, wrench_material(case)) * (case.wrench.thickness / depth)
        held = csc_matrix(edge_motions(mesh_w, mesh_w.sides_named("handle-end")))
        # The modulus is the unit of stiffness, a typical gap that of displacements.
        self._unit = law.cap / case.wrench.elastic_modulus * case.fastener.across_flats
        scale = case.wrench.elastic_modulus
        zero, one = csc_matrix((3, 3)), csc_matrix([[-1.0]])
        turns = csr_matrix(head_rotation_weights(case, mesh_w))
        body = bmat(
            [
                [k_f / scale, None, None, None],
                [None, k_w / scale, held, None],
                [None, held.T, zero, None],
                [None, turns, None, one],
            ],
            format="csc",
        )
        force = law.cap / (scale * self._unit)
        mu, fastener, wrench = law.friction, problem.fastener, problem.wrench
        lift_f, lift_w = _onto(nodes_f, len(mesh_f.nodes))[free], _onto(nodes_w, len(mesh_w.nodes))
        none, arms = csr_matrix((4, len(problem.gap))), csr_matrix(problem.arm_n)
        self._body = body
        self._load = (
            bmat(
                [
                    [lift_f @ fastener.rows(fastener.loads(mu)).T],
                    [lift_w @ wrench.rows(wrench.loads(mu)).T],
                    [none],
                ],
                format="csc",
            )
            * force
        )
        self._reads = bmat(
            [
                [lift_f @ fastener.rows(fastener.normal).T],
                [lift_w @ wrench.rows(wrench.normal).T],
                [none[:3]],
                [arms],
            ],
            format="csc",
        ).T.tocsr()
        partial = problem.partial(law.caps(problem))
        self._partial = partial / self._unit
        self._gap = (problem.gap - 0.5 * partial) / self._unit
        self._balance_n = problem.balance_n
        self._balance = problem.balance_n + mu * problem.balance_t

    def _factor(self, cells: Index, diagonal: Array) -> SuperLU:
        """The whole system with the pressures of some cells as unknowns and a diagonal in their rows."""
        self.factorisations += 1
        rows = self._reads[cells]
        matrix = bmat(
            [
                [self._body, None, -self._load[:, cells]],
                [None, GROUND * eye(len(self._balance)), csr_matrix(self._balance[:, cells])],
                [rows, csr_matrix(-self._balance_n[:, cells].T), diags(diagonal + self._partial[cells])],
            ],
            format="csc",
        )
        return splu(matrix)

    def _residual_gap(self, u: Array, a: Array, p: Array) -> Array:
        return np.asarray(self._gap + self._reads @ u - self._balance_n.T @ a + self._partial * p)

    def newton(self, state: Index) -> Array | None:
        """Pressures from a first guess of the sets; None when it cycles."""
        seen: set[bytes] = set()
        n, m = self._body.shape[0], len(self._balance)
        for _ in range(NEWTON_ROUNDS):
            if state.tobytes() in seen:
                return None
            seen.add(state.tobytes())
            free = np.flatnonzero(state == 0)
            p = (state == 1).astype(float)
            if len(free) < m:
                return None
            rhs = np.concatenate([self._load @ p, -self._balance @ p, -self._gap[free]])
            x = self._factor(free, np.zeros(len(free))).solve(rhs)
            p[free] = x[n + m :]
            gap = self._residual_gap(x[:n], x[n : n + m], p)
            if self._fulfilled(state, p, gap):
                return np.asarray(np.clip(p, 0.0, 1.0), dtype=float)
            state = np.where(
                state == 0,
                np.where(p < -CLOSE, -1, np.where(p > 1 + CLOSE, 1, 0)),
                np.where(state < 0, np.where(gap < -CLOSE, 0, -1), np.where(gap > CLOSE, 0, 1)),
            )
        return None

    @staticmethod
    def _fulfilled(state: Index, p: Array, gap: Array) -> bool:
        inside = (p >= -CLOSE) & (p <= 1 + CLOSE)
        side = ((state <= 0) | (gap <= CLOSE)) & ((state >= 0) | (gap >= -CLOSE))
        return bool((inside & side).all())

    def interior(self) -> Array | None:
        """Pressures by a primal-dual interior-point method; None when it does not converge."""
        n, m, c = self._body.shape[0], len(self._balance), len(self._gap)
        u, a, p = np.zeros(n), np.zeros(m), np.full(c, 0.5)
        scale = max(1.0, float(np.abs(self._gap).max()))
        z = np.full((2, c), scale)
        cells = np.arange(c)
        for _ in range(INTERIOR_ROUNDS):
            v = 1.0 - p
            dual = self._residual_gap(u, a, p) - z[0] + z[1]
            forces = self._body @ u - self._load @ p
            primal = self._balance @ p + GROUND * a
            mean = float(z[0] @ p + z[1] @ v) / (2 * c)
            if mean < 1e-13 * scale and np.abs(dual).max() < 1e-10 * scale:
                found: Array = np.where(z[0] > p, 0.0, np.where(z[1] > v, 1.0, p))
                return found
            factor = self._factor(cells, z[0] / p + z[1] / v)
            sigma, second = 0.0, np.zeros((2, c))
            for corrector in (False, True):
                low = (sigma * mean - second[0]) / p - z[0]
                high = (sigma * mean - second[1]) / v - z[1]
                step = factor.solve(np.concatenate([-forces, -primal, -dual + low - high]))
                dp = step[n + m :]
                dz = np.vstack([low - z[0] / p * dp, high + z[1] / v * dp])
                along = min(_longest(p, dp), _longest(v, -dp), _longest(z.ravel(), dz.ravel()))
                if not corrector:
                    after = (z[0] + along * dz[0]) @ (p + along * dp) + (z[1] + along * dz[1]) @ (
                        v - along * dp
                    )
                    sigma = min(1.0, (float(after) / (2 * c * mean)) ** 3)
                    second = np.vstack([dp * dz[0], -dp * dz[1]])
            size = min(1.0, 0.995 * along)
            u, a, p, z = u + size * step[:n], a + size * step[n : n + m], p + size * dp, z + size * dz
        return None


def _onto(nodes: Index, count: int) -> csr_matrix:
    """Map (2 count, 2k) from the unknowns of some nodes to those of all nodes."""
    rows = np.column_stack([2 * nodes, 2 * nodes + 1]).ravel()
    return csr_matrix((np.ones(len(rows)), (rows, np.arange(len(rows)))), shape=(2 * count, len(rows)))


def _longest(x: Array, dx: Array) -> float:
    falling = dx < 0
    return min(1.0, float((-x[falling] / dx[falling]).min(initial=1e30)))
