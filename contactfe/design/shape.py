"""The search for the best numbers of a family: the best head, its gain over the start, and how far both can be trusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.design.evaluate import Evaluator
from contactfe.design.gain import GainBand, NoGainBand, gain_band
from contactfe.design.optimum import best_of_box
from contactfe.design.shape_plan import SearchPlan
from contactfe.parallel import Executor
from contactfe.study import StudyStore

Array = NDArray[np.float64]
STEP = 0.05
"""Of a number's range: how far each is moved from the best head to see what it matters."""
NOISE_FLOOR = 0.003
"""Of the torque: what two meshes of one shape differ by, as measured for the built-in heads."""


@dataclass(frozen=True)
class Sensed:
    """What moving one number of the best head by STEP of its range does to the score, down and up; None where no head is:
    beyond a bound, or where it cannot be built."""

    name: str
    step: str
    down: float | None
    up: float | None


@dataclass(frozen=True)
class Found:
    """The outcome of a search: the numbers of the best head as text, its score over the start's (1), whether it keeps
    the limits, the numerical noise, the ends of the local searches, how many heads and cases were evaluated, and the
    gain over samples of what scatters where the file asks for it and there is one; `no_band` says why it has none."""

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
    band: GainBand | None = None
    no_band: str = ""

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
        band = f"The gain has no band: {self.no_band}. " if self.no_band else ""
        band = band if self.band is None else f"{self.band.words()} "
        return (
            f"{self._head()} {band}Noise {100 * self.noise:.1f} %; {self.heads} heads, {self.cases} cases "
            f"({self.reused} known before). {self._optima()}"
        )

    def _head(self) -> str:
        """What was found, in a sentence."""
        told = ", ".join(f"{key} = {value}" for key, value in self.best.items())
        if not self.allowed:
            return f"No head that was tried keeps all limits; the nearest is {told}."
        if not self.start_allowed:
            return f"The start does not keep the limits; the best head that does: {told} ({100 * self.gain:+.1f} % torque)."
        if self.stands_out:
            return f"Found: {told}; {100 * self.gain:.1f} % more torque on this duty than the start."
        if self.gain < -2.0 * self.noise:
            return f"No gain: the best head within these ranges ({told}) holds {-100 * self.gain:.1f} % less than the start."
        if self.best == self.plan.start_numbers():
            return f"No gain: no head that was tried holds more than the start ({told})."
        return f"No gain: the best head found ({told}) differs by {100 * self.gain:+.1f} %, within the numerical noise."

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

    def told(self) -> dict[str, Any]:
        """Everything as plain values."""
        return {
            "name": self.plan.name,
            "start": self.plan.start_numbers(),
            "best": self.best,
            "gain": self.gain,
            "gain_band": None if self.band is None else self.band.told(),
            "keeps_limits": self.allowed,
            "stands_out": self.stands_out,
            "noise": self.noise,
            "ends_of_local_searches": list(self.ends),
            "sensitivity": [
                {"number": s.name, "step": s.step, "down": s.down, "up": s.up} for s in self.sensed
            ],
            "heads": self.heads,
            "cases": self.cases,
            "known_before": self.reused,
            "words": self.words(),
        }


def search_shape(plan: SearchPlan, store: StudyStore, executor: Executor) -> Found:
    """Run a search, going on from what the store knows. The executor may be closed at the end.

    The start is one of the heads where its numbers lie within their ranges, so that the best is then never below it.

    Raises:
        ContactFEError: the start has no answer, or the store cannot be written.
    """
    work = Evaluator(plan, store, executor)
    start, point = work.start(), plan.start_point()
    known = [] if point is None else [(point, start)]
    found = best_of_box(work.values, len(plan.moving), plan.evaluations, plan.seed, known)
    best, score = plan.wrench(found.point), found.value.score
    sensed = _sensed(plan, work, found.point, score)
    noise = max(NOISE_FLOOR, work.noise(best, score))
    moved = point is None or not np.array_equal(found.point, point)
    band, no_band = None, ""
    if plan.banded and moved:
        try:
            band = gain_band(plan, best, work.score, store, executor)
        except NoGainBand as error:
            no_band = error.message
    return Found(
        plan,
        best if moved else plan.start_numbers(),
        score,
        found.value.allowed,
        start.score,
        start.allowed,
        noise,
        tuple(value.score for _, value in found.ends),
        sensed,
        work.heads,
        work.solved + work.reused,
        work.reused,
        band,
        no_band,
    )


def _sensed(plan: SearchPlan, work: Evaluator, point: Array, best: float) -> tuple[Sensed, ...]:
    moves: list[tuple[int, float, Array]] = []
    for k in range(len(point)):
        for side in (-STEP, STEP):
            if 0.0 <= point[k] + side <= 1.0:
                there = point.copy()
                there[k] += side
                moves.append((k, side, there))
    values = work.values([there for _, _, there in moves])
    change = {
        (k, side): v.score / best - 1.0
        for (k, side, _), v in zip(moves, values, strict=True)
        if v.score > 0.0 and best > 0.0
    }
    found = []
    for k, m in enumerate(plan.moving):
        length = STEP * (m.high - m.low)
        step = f"{math.degrees(length):.3g} deg" if m.kind == "angle" else f"{length:.3g} mm"
        found.append(Sensed(m.number.name, step, change.get((k, -STEP)), change.get((k, STEP))))
    return tuple(found)
