"""Displacements and stresses of a body at many states at once: factorised once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.contact import ContactSolution
from contactfe.elastic import HeldBody, nodal_stresses, von_mises
from contactfe.errors import ContactFEError
from contactfe.mesh import SectionMesh
from contactfe.turn.build import BuiltPair, hold_fastener, hold_wrench
from contactfe.turn.curve import TorqueCurve, rotation_reached
from contactfe.turn.engagement import bearing_depth

Array = NDArray[np.float64]
Index = NDArray[np.int64]

FIRST_ROUNDS, FIRST_WITHIN, FIRST_CLOSE = 60, 1e-6, 1e-5  # solves, rad, share of the measure's range


@dataclass(frozen=True, eq=False)
class BodyStates:
    """One body at k states, in its own frame: `displacement` (k, n, 2) mm, `stress` (k, n, 4) MPa (sxx, syy, sxy,
    szz) at the nodes."""

    mesh: SectionMesh
    displacement: Array
    stress: Array

    def __post_init__(self) -> None:
        self.displacement.setflags(write=False)
        self.stress.setflags(write=False)

    @property
    def von_mises(self) -> Array:
        """Von Mises stress (k, n), MPa."""
        return von_mises(self.stress)

    @property
    def principal(self) -> Array:
        """Principal stresses in the plane (k, n, 2), MPa, the larger one first."""
        sx, sy, sxy = self.stress[..., 0], self.stress[..., 1], self.stress[..., 2]
        mean, radius = 0.5 * (sx + sy), np.hypot(0.5 * (sx - sy), sxy)
        return np.stack([mean + radius, mean - radius], axis=-1)


def wrench_states(built: BuiltPair, solutions: Sequence[ContactSolution]) -> BodyStates:
    """The wrench at some contact states; stresses refer to its own thickness."""
    body = hold_wrench(built.case, built.wrench.mesh)
    return _states(body, wrench_displacements(built, solutions))


def wrench_displacements(built: BuiltPair, solutions: Sequence[ContactSolution]) -> Array:
    """Displacements (k, n, 2) in mm of the wrench at some contact states."""
    share = bearing_depth(built.case) / built.case.wrench.thickness
    forces = [s.problem.nodal_forces(s.pressure, s.law.friction)[1] * share for s in solutions]
    return _displacements(hold_wrench(built.case, built.wrench.mesh), built.wrench.flexibility.nodes, forces)


def fastener_states(built: BuiltPair, solutions: Sequence[ContactSolution]) -> BodyStates:
    """The fastener at some contact states, in its own frame."""
    share = bearing_depth(built.case) / built.case.fastener.engaged_depth
    forces = [s.problem.nodal_forces(s.pressure, s.law.friction)[0] * share for s in solutions]
    body = hold_fastener(built.case, built.fastener.mesh)
    return _states(body, _displacements(body, built.fastener.flexibility.nodes, forces))


def _displacements(body: HeldBody, nodes: Index, forces: Sequence[Array]) -> Array:
    load = np.zeros((2 * len(body.mesh.nodes), len(forces)))
    load[np.column_stack([2 * nodes, 2 * nodes + 1]).ravel()] = np.column_stack(forces)
    return np.asarray(body.displacements(load).T.reshape(len(forces), -1, 2))


def _states(body: HeldBody, u: Array) -> BodyStates:
    return BodyStates(body.mesh, u, np.stack([nodal_stresses(body.mesh, body.material, one) for one in u]))


def wrench_state(built: BuiltPair, solution: ContactSolution) -> tuple[Array, Array]:
    """Displacements (n, 2) in mm and nodal stresses (n, 4) in MPa of the wrench at one contact state."""
    found = wrench_states(built, [solution])
    return found.displacement[0], found.stress[0]


def fastener_state(built: BuiltPair, solution: ContactSolution) -> tuple[Array, Array]:
    """Displacements (n, 2) in mm and nodal stresses (n, 4) in MPa of the fastener, in its own frame."""
    found = fastener_states(built, [solution])
    return found.displacement[0], found.stress[0]


def state_at(built: BuiltPair, curve: TorqueCurve, rotation_deg: float) -> ContactSolution:
    """The contact state at a rotation of the wrench's head (deg, from square), solved anew between the curve's points.

    Raises:
        ContactFEError: the rotation lies outside the curve, or the wrench turns freely.
        NotConverged: from the solver.
    """
    if not curve.solutions:
        raise ContactFEError("the wrench turns freely: there is no loaded state", slug="turns-freely")
    first, last = math.degrees(curve.rotation[0]), math.degrees(curve.rotation.max())
    if not first <= rotation_deg <= last:
        raise ContactFEError(
            f"the rotation {rotation_deg:g} deg lies outside the curve",
            hint=f"ask for {first:.3g} to {last:.3g} deg",
            slug="rotation-outside",
        )
    at = np.maximum.accumulate(curve.rotation)
    drive = np.array([s.rotation for s in curve.solutions])
    wanted = float(np.interp(math.radians(rotation_deg), at, drive))
    before = curve.solutions[int(np.argmin(np.abs(drive - wanted)))]
    return built.rig.solve(wanted, built.law, before if before.pressure.any() else None)


def state_at_torque(built: BuiltPair, curve: TorqueCurve, torque_Nm: float) -> ContactSolution:
    """The contact state at which the rising branch reaches a torque (N m), solved anew.

    Raises:
        ContactFEError: the torque is not below the largest of the curve, or the wrench turns freely.
        NotConverged: from the solver.
    """
    found = first_state(built, curve, lambda s: s.torque * bearing_depth(built.case) / 1e3 - torque_Nm)
    if found is None:
        raise ContactFEError(
            f"the rising branch never reaches {torque_Nm:.4g} N m",
            hint="ask for a torque below that of slip",
            slug="torque-outside",
        )
    return found


def state_near_torque(built: BuiltPair, curve: TorqueCurve, torque_Nm: float) -> ContactSolution:
    """A contact state near a torque (N m) of the rising branch: one solve, at the rotation that is read off the curve.

    Raises:
        NotConverged: from the solver.
    """
    points = curve.solutions[curve.rising]
    drive = np.array([s.rotation for s in points])
    at = rotation_reached(drive, curve.torque[curve.rising], torque_Nm)
    before = points[max(int(np.searchsorted(drive, at)) - 1, 0)]
    return built.rig.solve(at, built.law, before if before.pressure.any() else None)


def first_state(
    built: BuiltPair, curve: TorqueCurve, measure: Callable[[ContactSolution], float]
) -> ContactSolution | None:
    """The state of the rising branch at which a measure first reaches zero from below, solved anew between the points.

    None where it never does. The steps of the march have no say in the result, which is found to 1e-6 rad.

    Raises:
        NotConverged: from the solver.
    """
    points = curve.solutions[curve.rising] if len(curve.torque) else ()
    values = [measure(p) for p in points]
    after = next((i for i, value in enumerate(values) if value >= 0.0), None)
    if after is None or after == 0:
        return None if after is None else points[0]
    low, high, below, above = points[after - 1], points[after], values[after - 1], values[after]
    for turn in range(FIRST_ROUNDS):
        if high.rotation - low.rotation < FIRST_WITHIN or above <= FIRST_CLOSE * (above - values[0]):
            break
        # The secant and the middle in turn: a measure that jumps is found as well as one that runs straight.
        share = min(max(-below / (above - below), 0.02), 0.98) if turn % 2 == 0 else 0.5
        at = low.rotation + share * (high.rotation - low.rotation)
        state = built.rig.solve(at, built.law, low if low.pressure.any() else None)
        value = measure(state)
        low, high, below, above = (low, state, below, value) if value >= 0.0 else (state, high, value, above)
    return high


@dataclass(frozen=True, eq=False)
class FlankPressure:
    """Pressure along one flat of the fastener, from its middle outwards in the running sense (anticlockwise).

    ``place`` (c,) mm from the flat's middle; ``pressure`` (c,) MPa; ``crush_depth`` (c,) mm; ``length`` (c,) mm of
    each cell.
    """

    flat: int
    place: Array
    pressure: Array
    crush_depth: Array
    length: Array


def flank_pressures(built: BuiltPair, solution: ContactSolution) -> tuple[FlankPressure, ...]:
    """Pressure and crush depth along each flat of the fastener, anticlockwise from the first one."""
    pair, problem = built.pair, solution.problem
    angle = pair.sense * solution.rotation
    c, s = math.cos(angle), math.sin(angle)
    own = (problem.centre + problem.stand) @ np.array([[c, s], [-s, c]])  # in the fastener's frame
    facing = np.arctan2(-problem.normal[:, 1], -problem.normal[:, 0]) + angle - pair.first_flat
    flat = np.round(facing / (math.tau / pair.flats)).astype(int) % pair.flats
    depth = np.where(solution.capped, np.maximum(-solution.gap, 0.0), 0.0)
    found = []
    for k in range(pair.flats):
        on = flat == k
        direction = pair.first_flat + math.tau * k / pair.flats + math.pi / 2
        place = own[on] @ np.array([math.cos(direction), math.sin(direction)])
        order = np.argsort(place)
        found.append(
            FlankPressure(
                k + 1,
                *(
                    a[on][order]
                    for a in (
                        own @ np.array([math.cos(direction), math.sin(direction)]),
                        solution.pressure,
                        depth,
                        problem.length,
                    )
                ),
            )
        )
    return tuple(found)
