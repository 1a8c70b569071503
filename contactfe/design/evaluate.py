"""What a head is worth on the duty of a search: its cases, solved once and stored, its score, and room under the limits.

The score is the weighted mean over the duty of the torque over that of the start. Cases are addressed and stored as
those of a study, so that a search that was stopped finds again what it has asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.case import record_of
from contactfe.design.optimum import Value
from contactfe.design.plan import ScreenPlan
from contactfe.design.shape_plan import SearchPlan
from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput
from contactfe.outlines import envelope
from contactfe.parallel import Executor, run_all
from contactfe.profile import TOUCHING, profile_pair
from contactfe.study import Outcome, StudyStore, case_id
from contactfe.turn import Bodies, torque_curve

Array = NDArray[np.float64]
FINER = 0.85  # of the mesh's edges: the best head is solved once more on it, to see the numerical noise
KEPT = 16  # bodies that a worker remembers: those of the fasteners are the same for every head


class Evaluator:
    """Solves heads on the duty, all that are asked for at once, and values them.

    `heads` counts those that were valued, `solved` and `reused` their cases.
    """

    def __init__(self, plan: SearchPlan, store: StudyStore, executor: Executor) -> None:
        self.plan, self.store, self.executor = plan, store, executor
        self.workers = max(1, executor.room())
        self.heads = self.solved = self.reused = 0
        self.weights: Array = np.array([c.weight for c in plan.conditions])
        self.reference: Array = np.ones(len(plan.conditions))

    def start(self) -> Value:
        """Solve the start, whose torques are the measure of all others.

        Raises:
            ContactFEError: it has no answer somewhere on the duty.
        """
        self.heads += 1
        (outcomes,) = self._outcomes([_cases(self.plan.start)])
        lost = next((o for o in outcomes if o.answers is None), None)
        torque = [float((o.answers or {}).get("torque_Nm") or 0.0) for o in outcomes]
        if lost is not None or max(torque) <= 0.0:
            reason = lost.reason if lost is not None else "it turns freely on the whole duty"
            raise ContactFEError(
                f"the start has no answer: {reason}", where="[base.wrench]", hint="start from another head"
            )
        self.reference = np.array([t if t > 0 else max(torque) for t in torque])
        return self._value(self.plan.start, outcomes)

    def values(self, points: Sequence[Array]) -> list[Value]:
        """The values of points of the unit box; a head that cannot be built has the score 0 and violates every limit."""
        plans = [self._screened(self.plan.wrench(point)) for point in points]
        self.heads += len(points)
        outcomes = iter(self._outcomes([_cases(plan) for plan in plans if plan is not None]))
        return [self._nothing() if plan is None else self._value(plan, next(outcomes)) for plan in plans]

    def noise(self, head: Mapping[str, str], score: float) -> float:
        """How much the score of a head changes on a finer mesh, over the score."""
        plan = self._screened(head)
        if plan is None or score <= 0.0:
            return 0.0
        (outcomes,) = self._outcomes([[_finer(case) for case in _cases(plan)]])
        return abs(self._value(plan, outcomes).score / score - 1.0)

    def score(self, torque: Array) -> Array:
        """Scores (...) of torques (conditions, ...) N m."""
        relative = torque / self.reference.reshape(-1, *[1] * (torque.ndim - 1))
        return np.asarray(np.tensordot(self.weights, relative, axes=1) / self.weights.sum())

    def _screened(self, head: Mapping[str, str]) -> ScreenPlan | None:
        try:
            return self.plan.screen({"head": head})
        except ContactFEError:
            return None

    def _outcomes(self, heads: Sequence[Sequence[CaseInput]]) -> list[list[Outcome]]:
        """Outcomes of the cases of each head, from the store where it has them.

        A worker takes all cases of a head, which share the wrench's mesh, unless workers would be idle.
        """
        addresses = [[case_id(case) for case in cases] for cases in heads]
        found: dict[str, Outcome] = {}
        calls: list[dict[str, CaseInput]] = []
        for own, cases in zip(addresses, heads, strict=True):
            missing: dict[str, CaseInput] = {}
            for address, case in zip(own, cases, strict=True):
                known = self.store.load(address)
                if known is not None and (known.answers is not None or known.lasting):
                    found[address] = known
                    self.reused += 1
                else:
                    missing[address] = case
            if missing:
                calls.append(missing)
        if len(calls) < self.workers:
            calls = [{address: case} for missing in calls for address, case in missing.items()]

        def take(number: int, outcomes: Sequence[Outcome]) -> None:
            for address, outcome in zip(calls[number], outcomes, strict=True):
                self.store.save(address, outcome)
                found[address] = outcome
                self.solved += 1

        run_all(self.executor, [partial(solve_cases, tuple(missing.values())) for missing in calls], take)
        return [[found[address] for address in own] for own in addresses]

    def _nothing(self) -> Value:
        return Value(0.0, tuple(-1.0 for _ in self.plan.limits))

    def _value(self, plan: ScreenPlan, outcomes: Sequence[Outcome]) -> Value:
        if any(o.answers is None for o in outcomes):
            return self._nothing()
        answers = [o.answers or {} for o in outcomes]
        score = float(self.score(np.array([float(a["torque_Nm"] or 0.0) for a in answers])))
        if not self.plan.limits:
            return Value(score)
        try:
            facts = _facts(plan.study.cases[0].case, answers)
        except ContactFEError:
            return self._nothing()
        return Value(score, tuple(_slack(key, limit, facts[key]) for key, limit in self.plan.limits.items()))


def solve_cases(cases: Sequence[CaseInput]) -> list[Outcome]:
    """What a worker does: some cases, whatever one of them meets becoming its reason."""
    return [_solved(case) for case in cases]


def _solved(case: CaseInput) -> Outcome:
    try:
        built = _bodies().build(case)
        answers = record_of(built, torque_curve(built)).answers()
    except ContactFEError as error:
        return Outcome("failed", " ".join(str(error).split()))
    except (ArithmeticError, ValueError) as error:
        return Outcome("failed", f"unexpected {type(error).__name__}: {error}", lasting=False)
    return Outcome("turns freely" if answers["turns_freely"] else "ok", "", dict(answers))


@lru_cache(maxsize=1)
def _bodies() -> Bodies:
    """The bodies of this process."""
    return Bodies(most=KEPT)


def _finer(case: CaseInput) -> CaseInput:
    return replace(case, mesh=replace(case.mesh, edge_at_contact=FINER * case.mesh.edge_at_contact))


def _cases(plan: ScreenPlan) -> list[CaseInput]:
    return [planned.case for planned in plan.study.cases]


def _facts(case: CaseInput, answers: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """What the limits speak of, the worst of the duty; the shape is that of the first condition."""
    wrench = profile_pair(case).wrench
    head = envelope(wrench, case.wrench.thickness)
    margins = [
        a["wrench_torque_Nm"] / a["slip_torque_Nm"] - 1
        for a in answers
        if a["wrench_torque_Nm"] and a["slip_torque_Nm"]
    ]
    spread = [abs(a["jaw_spread_um_per_Nm"]) for a in answers if a["jaw_spread_um_per_Nm"] is not None]
    return {
        "wrench_margin": min(margins, default=math.inf),
        "outside_radius": head.outside_radius,
        "mass_g": head.mass,
        "jaw_spread_um_per_Nm": max(spread, default=0.0),
        "smallest_radius": min(
            (p.radius for p in wrench.pieces if p.is_arc and p.name in TOUCHING), default=math.inf
        ),
    }


def _slack(key: str, limit: float, value: float) -> float:
    """Room that a limit leaves, over the limit (over 1 for a margin, which may be 0); negative where it is violated."""
    if key == "wrench_margin":
        return min(value - limit, 1.0)
    room = value - limit if key == "smallest_radius" else limit - value
    return min(room / max(abs(limit), 1e-9), 1.0)
