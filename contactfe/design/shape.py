"""The search for the best numbers of a family: every head a stored set of cases, the answer with its doubts.

The score is the weighted mean over the duty of the torque over that of the start. Cases are those of a study: the same
addresses and the same store, so that a search that was stopped finds again what it has asked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.case import solve_case
from contactfe.design.optimum import Value, best_of_box
from contactfe.design.plan import ScreenPlan
from contactfe.design.shape_plan import SearchPlan
from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput
from contactfe.outlines import envelope
from contactfe.parallel import Executor, run_all
from contactfe.profile import TOUCHING, profile_pair
from contactfe.study import Outcome, StudyStore

Array = NDArray[np.float64]
STEP = 0.05
"""Of a number's range: how far each is moved from the best head to see what it matters."""
FINER = 0.85  # of the mesh's edges: the best head is solved once more on it, to see the numerical noise
NOISE_FLOOR = 0.003
"""Of the torque: what two meshes of one shape differ by, as measured for the built-in heads."""
FAILED_SCORE = 0.0


@dataclass(frozen=True)
class Sensed:
    """What moving one number of the best head by STEP of its range does to the score, down and up (None at a bound)."""

    name: str
    step: str
    down: float | None
    up: float | None


@dataclass(frozen=True)
class Found:
    """The outcome of a search: the numbers of the best head as text, its score over the start's (1), whether it keeps
    the limits, the numerical noise, the ends of the local searches, and how many heads and cases were evaluated."""

    plan: SearchPlan
    best: dict[str, str]
    score: float
    allowed: bool
    start_score: float
    start_allowed: bool
    noise: float
    ends: tuple[float, ...]
    sensed: tuple[Sensed, ...]
    heads: int
    cases: int
    reused: int

    @property
    def gain(self) -> float:
        """Torque over that of the start, less one."""
        return self.score / self.start_score - 1.0

    @property
    def stands_out(self) -> bool:
        """Whether the gain is larger than what the numerics leave open."""
        return self.gain > 2.0 * self.noise

    def words(self) -> str:
        """The answer with its doubts in sentences."""
        told = ", ".join(f"{key} = {value}" for key, value in self.best.items())
        if not self.allowed:
            head = f"No head that was tried keeps all limits; the nearest is {told}."
        elif not self.start_allowed:
            head = f"The start does not keep the limits; the best head that does: {told} ({100 * self.gain:+.1f} % torque)."
        elif self.stands_out:
            head = f"Found: {told}; {100 * self.gain:.1f} % more torque on this duty than the start."
        else:
            head = f"No gain: the best head found ({told}) differs by {100 * self.gain:+.1f} %, within the numerical noise."
        return (
            f"{head} Noise {100 * self.noise:.1f} %; {self.heads} heads, {self.cases} cases ({self.reused} known before). "
            f"{self._optima()}"
        )

    def _optima(self) -> str:
        """How many of the local searches agree, in a sentence."""
        if not self.ends:
            return "Too few evaluations for local searches: this is the best of the sampled points."
        near = sum(end > self.score - max(0.01 * abs(self.score), self.noise) for end in self.ends)
        seen = (
            "one optimum, as far as this search sees"
            if near == len(self.ends)
            else "there are other local optima"
        )
        return f"{near} of {len(self.ends)} local searches end within 1 % of it: {seen}."


def search_shape(plan: SearchPlan, store: StudyStore, executor: Executor) -> Found:
    """Run a search, going on from what the store knows.

    Raises:
        ContactFEError: the start has no answer, or the store cannot be written.
    """
    work = _Evaluator(plan, store, executor)
    start = work.start()
    found = best_of_box(work.values, len(plan.moving), plan.evaluations, plan.seed)
    sensed = _sensed(plan, work, found.point, found.value.score)
    noise = max(NOISE_FLOOR, work.noise(plan.wrench(found.point), found.value.score))
    return Found(
        plan,
        plan.wrench(found.point),
        found.value.score,
        found.value.allowed,
        start.score,
        start.allowed,
        noise,
        tuple(value.score for _, value in found.ends),
        sensed,
        work.heads,
        work.solved + work.reused,
        work.reused,
    )


def _sensed(plan: SearchPlan, work: _Evaluator, point: Array, best: float) -> tuple[Sensed, ...]:
    moves: list[tuple[int, float, Array]] = []
    for k in range(len(point)):
        for side in (-STEP, STEP):
            if 0.0 <= point[k] + side <= 1.0:
                there = point.copy()
                there[k] += side
                moves.append((k, side, there))
    values = work.values([there for _, _, there in moves])
    change = {(k, side): v.score / best - 1.0 for (k, side, _), v in zip(moves, values, strict=True)}
    found = []
    for k, m in enumerate(plan.moving):
        length = STEP * (m.high - m.low)
        step = f"{math.degrees(length):.3g} deg" if m.kind == "angle" else f"{length:.3g} mm"
        found.append(Sensed(m.number.name, step, change.get((k, -STEP)), change.get((k, STEP))))
    return tuple(found)


def _answers(case: CaseInput) -> Outcome:
    """What a worker does: one case, whatever it meets becoming the reason."""
    try:
        answers = solve_case(case).answers()
    except ContactFEError as error:
        return Outcome("failed", " ".join(str(error).split()))
    return Outcome("turns_freely" if answers["turns_freely"] else "ok", "", dict(answers))


class _Evaluator:
    """Solves the duty for heads, all at once, and gives them their values."""

    def __init__(self, plan: SearchPlan, store: StudyStore, executor: Executor) -> None:
        self.plan, self.store, self.executor = plan, store, executor
        self.heads = self.solved = self.reused = 0
        self.reference: Array = np.ones(len(plan.conditions))

    def start(self) -> Value:
        """Solve the start, whose torques are the measure of all others.

        Raises:
            ContactFEError: it has no answer somewhere on the duty.
        """
        outcomes = self._solved(self.plan.start)
        lost = next((o for o in outcomes if o.answers is None), None)
        torque = [float((o.answers or {}).get("torque_Nm") or 0.0) for o in outcomes]
        if lost is not None or max(torque) <= 0.0:
            reason = lost.reason if lost is not None else "it turns freely on the whole duty"
            raise ContactFEError(
                f"the start has no answer: {reason}", where="[base.wrench]", hint="start from another head"
            )
        self.reference = np.array([t if t > 0 else max(torque) for t in torque])
        return self._value(self.plan.start, outcomes, 0)

    def values(self, points: Sequence[Array]) -> list[Value]:
        """The values of points of the unit box; a head that cannot be built has the score 0 and violates every limit."""
        return self.of_heads([self.plan.wrench(point) for point in points])

    def of_heads(self, heads: Sequence[dict[str, str]]) -> list[Value]:
        """The values of heads given by keys of [wrench]."""
        plans: list[ScreenPlan | None] = []
        for keys in heads:
            try:
                plans.append(self.plan.screen({"head": keys}))
            except ContactFEError:
                plans.append(None)
        known = [p for p in plans if p is not None]
        cases = [case for p in known for case in p.study.cases]
        outcomes = self._outcomes([(c.case_id, c.case) for c in cases])
        self.heads += len(heads)
        found, at = [], 0
        for p in plans:
            if p is None:
                found.append(self._nothing())
                continue
            count = len(p.study.cases)
            found.append(self._value(p, outcomes[at : at + count], 0))
            at += count
        return found

    def noise(self, head: dict[str, str], score: float) -> float:
        """How much the score of a head changes on a finer mesh, over the score."""
        try:
            plan = self.plan.screen({"head": head})
        except ContactFEError:
            return 0.0
        finer = []
        for c in plan.study.cases:
            mesh = replace(c.case.mesh, edge_at_contact=FINER * c.case.mesh.edge_at_contact)
            finer.append(replace(c.case, mesh=mesh))
        from contactfe.study import case_id

        outcomes = self._outcomes([(case_id(case), case) for case in finer])
        other = self._value(plan, outcomes, 0).score
        return abs(other / score - 1.0) if score > 0 else 0.0

    def _solved(self, plan: ScreenPlan) -> list[Outcome]:
        self.heads += 1
        return self._outcomes([(c.case_id, c.case) for c in plan.study.cases])

    def _outcomes(self, cases: Sequence[tuple[str, CaseInput]]) -> list[Outcome]:
        """Outcomes in order, from the store where it has them."""
        found: dict[str, Outcome] = {}
        missing: dict[str, CaseInput] = {}
        for address, case in cases:
            known = self.store.load(address)
            if known is not None and (known.answers is not None or known.lasting):
                found[address] = known
                self.reused += 1
            else:
                missing[address] = case
        addresses = list(missing)

        def take(number: int, outcome: Outcome) -> None:
            self.store.save(addresses[number], outcome)
            found[addresses[number]] = outcome
            self.solved += 1

        run_all(self.executor, [partial(_answers, missing[address]) for address in addresses], take)
        return [found[address] for address, _ in cases]

    def _nothing(self) -> Value:
        return Value(FAILED_SCORE, tuple(-1.0 for _ in self.plan.limits))

    def _value(self, plan: ScreenPlan, outcomes: Sequence[Outcome], first: int) -> Value:
        if any(o.answers is None for o in outcomes):
            return self._nothing()
        answers = [o.answers or {} for o in outcomes]
        weights = np.array([c.weight for c in self.plan.conditions])
        torque = np.array([float(a["torque_Nm"] or 0.0) for a in answers])
        score = float((weights * torque / self.reference).sum() / weights.sum())
        if not self.plan.limits:
            return Value(score)
        try:
            facts = _facts(plan.study.cases[first].case, answers)
        except ContactFEError:
            return self._nothing()
        return Value(score, tuple(_slack(key, limit, facts[key]) for key, limit in self.plan.limits.items()))


def _facts(case: CaseInput, answers: Sequence[dict[str, Any]]) -> dict[str, float]:
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
