"""Both bodies at slip in one frame: where they stand, how they are deformed, what they carry.

The frame is that of the undeformed wrench head: the part of the wrench's displacement that is a motion of
the whole head (bending of the handle's stub, floating) is taken out of the wrench and given to the
fastener's place, so that drawing both at their places, or moving their nodes by their displacements, shows
them as they press on each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from contactfe.case import CaseRecord
from contactfe.contact import ContactSolution
from contactfe.elastic import von_mises
from contactfe.mesh import SectionMesh
from contactfe.turn import BuiltPair, fastener_state, head_circle, state_at, wrench_state

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class BodyState:
    """One body: `nodes` (n, 2) mm where it stands undeformed, `displacement` (n, 2) mm, `stress` (n, 4) MPa
    (sxx, syy, sxy, szz), `crush` (n,) mm of crush depth at the nodes of its boundary, 0 elsewhere.
    """

    mesh: SectionMesh
    nodes: Array
    displacement: Array
    stress: Array
    crush: Array

    def __post_init__(self) -> None:
        for array in (self.nodes, self.displacement, self.stress, self.crush):
            array.setflags(write=False)

    @property
    def mises(self) -> Array:
        """Von Mises stress at the nodes (n,), MPa."""
        return von_mises(self.stress)

    def deformed(self, magnification: float) -> Array:
        """Nodes (n, 2) moved by the magnified displacement, mm."""
        return np.asarray(self.nodes + magnification * self.displacement)


@dataclass(frozen=True, eq=False)
class SlipState:
    """Fastener and wrench at slip. `turn` (rad) and `shift` (2,) mm place the fastener: turned about its
    axis by `turn`, anticlockwise positive, then shifted. `solution` is None when the wrench turns freely.
    """

    fastener: BodyState
    wrench: BodyState
    turn: float
    shift: Array
    solution: ContactSolution | None


def slip_state(record: CaseRecord) -> SlipState:
    """Return the state at slip: that of the solved point nearest to it; unloaded and square when the wrench turns
    freely.
    """
    return pair_state(record.built, slip_solution(record))


def end_state(record: CaseRecord) -> SlipState:
    """Return the state at the end that really comes, which is slip where the grip is the first limit."""
    return pair_state(record.built, end_solution(record))


def pair_state(built: BuiltPair, solution: ContactSolution | None) -> SlipState:
    """Return both bodies at one solved rotation; unloaded and square without a solution that presses."""
    if solution is None or not solution.pressure.any():
        return SlipState(_unloaded(built.fastener.mesh), _unloaded(built.wrench.mesh), 0.0, np.zeros(2), None)
    u, stress = wrench_state(built, solution)
    mesh = built.wrench.mesh
    move = head_move(built, solution, u)
    wrench = BodyState(mesh, mesh.nodes, move.left(mesh.nodes, u), stress, _wrench_crush(built, solution))
    return SlipState(_placed(built, solution, move.turn, move.shift), wrench, move.turn, move.shift, solution)


@dataclass(frozen=True)
class HeadMove:
    """Where the fastener stands in the frame of the wrench's head (`turn` rad, `shift` (2,) mm, as in `SlipState`), and
    the motion of the whole head that is taken out of the wrench's displacements: (2,) mm and rad.
    """

    turn: float
    shift: Array
    motion: Array
    spin: float

    def left(self, nodes: Array, u: Array) -> Array:
        """Displacements (n, 2) mm of nodes (n, 2) less the motion of the whole head."""
        return np.asarray(u - self.motion - self.spin * np.column_stack([-nodes[:, 1], nodes[:, 0]]))


def head_move(built: BuiltPair, solution: ContactSolution, u: Array) -> HeadMove:
    """Return the motion of the whole head in a wrench's displacements (n, 2) mm, and the fastener's place that follows."""
    motion, spin = _head_motion(built, u)
    moved, swing = _wrench_float(built, solution)
    turn = -built.pair.sense * solution.rotation - swing
    return HeadMove(turn, -(solution.problem.stand + motion + moved), motion, spin)


def slip_solution(record: CaseRecord) -> ContactSolution | None:
    """Return the solved point of the curve nearest to the rotation at slip, None when the wrench turns
    freely.
    """
    at = record.estimate.slip_rotation_deg
    if at is None or not record.curve.solutions:
        return None
    return record.curve.solutions[int(np.argmin(np.abs(np.degrees(record.curve.rotation) - at)))]


def end_solution(record: CaseRecord) -> ContactSolution | None:
    """Return the state at which the pull ends, solved at its own rotation where slip is not what ends it; None when the
    wrench turns freely.
    """
    if record.ended_by == "grip" or record.rotation_deg is None:
        return slip_solution(record)
    return state_at(record.built, record.curve, record.rotation_deg)


def true_opening(built: BuiltPair) -> Array:
    """Return the wrench's nodes (n, 2) mm with the opening at its true width: one mesh stands for openings a little
    apart.
    """
    mesh, factor = built.wrench.mesh, built.case.wrench.opening / built.pair.opening
    nodes, boundary = mesh.nodes, mesh.boundary
    names = np.array([p.name in ("outside", "blend", "handle-end") for p in mesh.outline.pieces])
    outside = names[boundary.piece]
    away_in = cKDTree(nodes[np.unique(boundary.nodes[~outside])]).query(nodes)[0]
    away_out = cKDTree(nodes[np.unique(boundary.nodes[outside])]).query(nodes)[0]
    share = away_out / np.maximum(away_in + away_out, 1e-12)
    return np.asarray(nodes * (1.0 + (factor - 1.0) * share[:, None]))


def rotated(vectors: Array, angle: float) -> Array:
    """Return vectors (n, 2) turned anticlockwise by an angle (rad)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(vectors @ np.array([[c, s], [-s, c]]))


def crush_depths(solution: ContactSolution) -> Array:
    """Return the crush depth of every pressure cell (c,), mm: the overlap left where the cap is reached."""
    return np.where(solution.capped, np.maximum(-solution.gap, 0.0), 0.0)


def _unloaded(mesh: SectionMesh) -> BodyState:
    n = len(mesh.nodes)
    return BodyState(mesh, mesh.nodes, np.zeros((n, 2)), np.zeros((n, 4)), np.zeros(n))


def _placed(built: BuiltPair, solution: ContactSolution, turn: float, shift: Array) -> BodyState:
    """The fastener in the frame of the wrench's head: nodes, displacements and stresses turned with it."""
    mesh = built.fastener.mesh
    u, stress = fastener_state(built, solution)
    crush = np.zeros(len(mesh.nodes))
    if built.case.fastener.yield_strength <= built.case.wrench.yield_strength:
        np.maximum.at(crush, solution.problem.node, crush_depths(solution))
    return BodyState(
        mesh, rotated(mesh.nodes, turn) + shift, rotated(u, turn), _turned_stress(stress, turn), crush
    )


def _turned_stress(stress: Array, angle: float) -> Array:
    """Components (n, 4) of the stress of a body turned by an angle, in axes that stay (Mohr's circle)."""
    mean, half = 0.5 * (stress[:, 0] + stress[:, 1]), 0.5 * (stress[:, 0] - stress[:, 1])
    c, s = np.cos(2 * angle), np.sin(2 * angle)
    along, shear = half * c - stress[:, 2] * s, half * s + stress[:, 2] * c
    return np.column_stack([mean + along, mean - along, shear, stress[:, 3]])


def _head_motion(built: BuiltPair, u: Array) -> tuple[Array, float]:
    """Least-squares translation (2,) mm and rotation (rad, about the axis) of the head without its handle."""
    nodes = built.wrench.mesh.nodes
    radius, centre = head_circle(built.case, built.wrench.mesh)
    inside = np.hypot(*(nodes - centre).T) < radius
    x, v = nodes[inside], u[inside]
    n = len(x)
    system = np.zeros((2 * n, 3))
    system[:n, 0] = system[n:, 1] = 1.0
    system[:n, 2], system[n:, 2] = -x[:, 1], x[:, 0]
    found = np.linalg.lstsq(system, v.T.ravel(), rcond=None)[0]
    return found[:2], float(found[2])


def _wrench_float(built: BuiltPair, solution: ContactSolution) -> tuple[Array, float]:
    """How far the floating wrench has moved, (2,) mm, and turned with it (rad): a hand on a lever also
    swings it.
    """
    handle = built.rig.handle
    if handle.lever_arm is None:
        return solution.motion, 0.0
    return solution.motion @ handle.axes(), -handle.sense * float(solution.motion[1]) / handle.lever_arm


def _wrench_crush(built: BuiltPair, solution: ContactSolution) -> Array:
    """Crush depth at the wrench's boundary nodes, mm, where the wrench is the softer body: of the cells
    within reach.
    """
    mesh = built.wrench.mesh
    crush = np.zeros(len(mesh.nodes))
    depth = crush_depths(solution)
    if built.case.wrench.yield_strength > built.case.fastener.yield_strength or not depth.any():
        return crush
    at = built.wrench.flexibility.nodes
    away = np.linalg.norm(mesh.nodes[at][:, None] - solution.problem.centre[None], axis=2)
    near = (away <= 0.6 * solution.problem.length) | (away == away.min(axis=0))
    crush[at] = np.where(near, depth, 0.0).max(axis=1)
    return crush
