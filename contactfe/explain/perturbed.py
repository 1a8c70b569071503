"""Torques of cases that differ a little from a solved one, from the states of its curve.

Near the top of the curve each state is solved again for the changed case, started from the state that is known; places
of the curve that lie below are looked at only where the strength of the wrench needs them. What a body of another shape
gives is not worked out for every node of its boundary: the displacement under the forces of the state is enough, and
the two are brought together in a few rounds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.contact import HEAD_ROTATION, ContactProblem, ContactSolution, solve_problem
from contactfe.elastic import HeldBody
from contactfe.errors import NotConverged
from contactfe.explain.limiting import delivered
from contactfe.inputs import CaseInput
from contactfe.mesh import SectionMesh
from contactfe.strength import loading_path
from contactfe.turn import (
    BodyModel,
    BuiltPair,
    TorqueCurve,
    bearing_depth,
    contact_law,
    head_rotation_weights,
    hold_wrench,
    in_contact,
)

Array = NDArray[np.float64]

NEAR = 0.9  # of the largest torque: from where on states are solved again
ROUNDS = 8  # of bringing forces and displacements together, at most
STILL = 2e-4  # of the torque: what a round may still change at the end

Problem = Callable[[ContactSolution], ContactProblem]


@dataclass(frozen=True, eq=False)
class Perturbed:
    """A solved record, and the torques that cases a little different from it deliver.

    ``judged``: the limit of the wrench is looked at too; left out where it is too far above to be met.
    """

    record: CaseRecord
    judged: bool

    def changed(self, case: CaseInput) -> float | None:
        """Torque (N m) of a case with the same bodies and opening, other strengths, friction, depth or thickness.

        None where the top of its curve does not lie among the states of the known one.

        Raises:
            NotConverged: a state has no solution.
        """
        built = self.record.built
        fastener, wrench = in_contact(case, built.fastener, built.wrench)
        bodies = (fastener.flexibility.matrix, wrench.flexibility.matrix)
        turn = wrench.flexibility.observed[HEAD_ROTATION]

        def problem(state: ContactSolution) -> ContactProblem:
            return replace(state.full, flexibilities=bodies, head_rotation=turn)

        changed = replace(built, case=case, law=contact_law(case))
        return self._torque(changed, [self._solved(changed, s, problem(s)) for s in self._states()])

    def reshaped(self, case: CaseInput, mesh: SectionMesh, problem: Problem | None = None) -> float | None:
        """Torque (N m) of a case with a wrench of another shape, meshed with the cells and nodes of the known one.

        Args:
            problem: contact at a known state's rotation where the opening has another shape; None: it has not.

        Raises:
            NotConverged: a state has no solution, or forces and displacements do not come together.
        """
        built = self.record.built
        changed = replace(built, case=case, wrench=BodyModel(mesh, built.wrench.flexibility))
        states = self._states()
        problems = [s.full if problem is None else problem(s) for s in states]
        given = _Given(built, hold_wrench(case, mesh), head_rotation_weights(case, mesh))
        now, before = states, np.zeros(len(states))
        for _ in range(ROUNDS):
            shifts = given.shifts(problems, now)
            shifted = [replace(p, gap=p.gap + d) for p, d in zip(problems, shifts, strict=True)]
            now = [self._solved(changed, s, p) for s, p in zip(now, shifted, strict=True)]
            torque = np.array([s.torque for s in now])
            if np.abs(torque - before).max() <= STILL * torque.max():
                return self._torque(changed, now)
            before = torque
        raise NotConverged(
            "forces and displacements of the changed wrench did not come together", slug="rounds"
        )

    def _states(self) -> list[ContactSolution]:
        curve = self.record.curve
        chosen = {id(s): s for s in loading_path(curve)[1]} if self.judged else {}
        near = curve.torque >= NEAR * curve.torque.max()
        # The run that belongs to the top.
        top = int(np.argmax(curve.torque))
        first = top - int(np.argmin(near[top::-1])) + 1 if not near[: top + 1].all() else 0
        last = top + int(np.argmin(near[top:])) if not near[top:].all() else len(near)
        chosen |= {id(s): s for s in curve.solutions[first:last]}
        return [s for s in curve.solutions if id(s) in chosen]

    def _solved(self, built: BuiltPair, state: ContactSolution, problem: ContactProblem) -> ContactSolution:
        handle = built.rig.handle
        # Crushed cells start at the cap of their own law.
        start = replace(state, pressure=state.pressure * (built.law.cap / state.law.cap))
        try:
            return solve_problem(problem, state.rotation, built.law, handle, start)
        except NotConverged:
            return solve_problem(problem, state.rotation, built.law, handle)

    def _torque(self, built: BuiltPair, solved: list[ContactSolution]) -> float | None:
        known = self.record.curve
        place = {s.rotation: at for s, at in zip(known.solutions, known.rotation.tolist(), strict=True)}
        torque = np.array([s.torque for s in solved]) * bearing_depth(built.case) / 1e3
        top = int(np.argmax(torque))
        if top in (0, len(solved) - 1):
            return None
        curve = TorqueCurve(
            np.array([place[s.rotation] for s in solved]),
            torque,
            tuple(solved),
            known.free_play,
            events=known.events,
        )
        return delivered(built, curve, self.judged, follow=False)


class _Given:
    """What a wrench of another shape gives more than the known one, at the forces of some states."""

    def __init__(self, built: BuiltPair, body: HeldBody, turns: Array) -> None:
        flex = built.wrench.flexibility
        nodes = flex.nodes
        self._matrix, self._turn, self._body, self._turns = (
            flex.matrix,
            flex.observed[HEAD_ROTATION],
            body,
            turns,
        )
        self._unknowns = np.column_stack([2 * nodes, 2 * nodes + 1]).ravel()
        self._share = bearing_depth(built.case) / built.case.wrench.thickness

    def shifts(self, problems: list[ContactProblem], states: list[ContactSolution]) -> list[Array]:
        """Changes of the weighted gaps (c,) of problems under the pressures of states at the same rotations."""
        forces = np.column_stack([s.problem.nodal_forces(s.pressure, s.law.friction)[1] for s in states])
        load = np.zeros((2 * len(self._body.mesh.nodes), len(states)))
        load[self._unknowns] = forces
        moved = self._share * self._body.displacements(load)
        more = moved[self._unknowns] - self._share * (self._matrix @ forces)
        # Of the head, which is taken out as in the problem.
        turned = self._turns @ moved - self._share * (self._turn @ forces)
        return [p.wrench.measured(more[:, k]) + p.arm_n * turned[k] for k, p in enumerate(problems)]
