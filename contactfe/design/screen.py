"""What a screening says of each candidate: its score on the duty, the odds of being best, and what it costs.

The score is the weighted mean over the conditions of the torque over the mean of all candidates in that condition, so
that a large size does not outweigh a small one. All candidates meet the same samples of what scatters, and the odds
are counted sample by sample.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.design.plan import Candidate, Condition, ScreenPlan
from contactfe.errors import ContactFEError
from contactfe.outlines import Envelope, engagement, envelope
from contactfe.profile import profile_pair
from contactfe.study import PlannedCase, StudyStore, samples_of

Array = NDArray[np.float64]
Row = Mapping[str, Any]


@dataclass(frozen=True)
class CandidateResult:
    """One candidate over the duty. Torques are relative to the mean of all candidates, None where a case has no answer.

    `score` with `low` and `high` (10 and 90 % of the samples), `best_share` the share of samples in which it is best
    (ties shared), `loss` the share of torque lost to rounding, `least_margin` of the wrench over the grip,
    `crushed_length_mm` and `crush_depth_um` at the working torque and `spread_um_per_Nm`, all three the worst of the
    duty, `short` the conditions in which the working torque is not reached. `swing_deg` and `envelope` are those of
    the first condition. `front`: no other candidate is better in every objective.
    """

    name: str
    score: float | None
    low: float | None
    high: float | None
    best_share: float
    torque_Nm: tuple[float | None, ...]
    loss: float | None
    least_margin: float | None
    crushed_length_mm: float | None
    crush_depth_um: float | None
    spread_um_per_Nm: float | None
    short: tuple[str, ...]
    swing_deg: float | None
    envelope: Envelope | None
    problem: str = ""
    front: bool = False


ENOUGH = 0.9
"""Share of the samples that have to have an answer in every condition for a candidate to have a score."""
OBJECTIVES: dict[str, tuple[str, int]] = {
    "score": ("torque on the duty, over the mean of all", -1),
    "outside_radius_mm": ("largest outside radius (mm)", 1),
    "mass_g": ("mass of the head (g)", 1),
    "swing_deg": ("swing to re-engage (deg)", 1),
    "crush_depth_um": ("deepest crush at the working torque (um)", 1),
}
"""What is traded off: the name in tables, words, and +1 where less is better."""


@dataclass(frozen=True)
class Screening:
    """All candidates, the highest score first, and how many samples the odds rest on (1: plain cases only).

    In `thinned` of the cases a part of the samples follows from a polynomial, with leave-one-out errors of up to
    `fit_error` of the torque.
    """

    plan: ScreenPlan
    results: tuple[CandidateResult, ...]
    samples: int
    thinned: int = 0
    fit_error: float = 0.0

    def columns(self) -> list[dict[str, Any]]:
        """The table: one row for each candidate; names carry their unit."""
        return [_columns(rank, r, self.plan) for rank, r in enumerate(self.results, start=1)]


def screening(plan: ScreenPlan, rows: Sequence[Row], store: StudyStore) -> Screening:
    """Judge the candidates from the rows of a finished study and the records in its store."""
    count = len(plan.conditions)
    torques, works, errors = [], [], []
    for k, case in enumerate(plan.study.cases):
        outcome = store.load(case.case_id)
        record = outcome.record if outcome is not None else None
        torques.append(torque_samples(rows[k], record))
        works.append(_at_work(record, plan.working_Nm))
        band = (record or {}).get("band")
        if band is not None and band["solved_samples"] < len(band["torque_Nm"]):
            errors.append(float(band["fit_error"]))
    samples = max((len(t) for t in torques), default=1)
    table = np.array([_spread(t, samples) for t in torques]).reshape(len(plan.candidates), count, samples)
    scores = _scores(table, np.array([c.weight for c in plan.conditions]))
    share = _best(scores)
    results = []
    for i, candidate in enumerate(plan.candidates):
        own = slice(i * count, (i + 1) * count)
        results.append(
            _result(
                candidate,
                plan,
                (rows[own], works[own], plan.study.cases[i * count]),
                (scores[i], float(share[i])),
            )
        )
    front = pareto(np.array([_objectives(r) for r in results]))
    done = [_on_front(r, bool(f)) for r, f in zip(results, front, strict=True)]
    done.sort(key=lambda r: (r.score is None, -(r.score or 0.0)))
    return Screening(plan, tuple(done), samples, len(errors), max(errors, default=0.0))


def pareto(values: Array) -> NDArray[np.bool_]:
    """Which rows (n, m), less being better in every column, are beaten by no other row; rows with nan never are."""
    good: NDArray[np.bool_] = np.array([bool(np.isfinite(row).all()) for row in values], dtype=bool)
    front = good.copy()
    for i in np.flatnonzero(good):
        others = values[good]
        better = (others <= values[i]).all(axis=1) & (others < values[i]).any(axis=1)
        front[i] = not better.any()
    return front


def _on_front(r: CandidateResult, front: bool) -> CandidateResult:
    return replace(r, front=front)


def _spread(torque: Array, samples: int) -> Array:
    """Torques of all samples (n,): the same in each where the case does not scatter."""
    fits = len(torque) in (1, samples)
    return np.broadcast_to(torque, samples) if fits else np.full(samples, math.nan)


def torque_samples(row: Row, record: Mapping[str, Any] | None) -> Array:
    """Torques (n,) N m that the samples of a case deliver, of a case without a band that of the plain case."""
    if row["status"] == "failed":
        return np.array([math.nan])
    found = samples_of(dict(record) if record is not None else None)
    if found is None:
        value = row["torque_Nm"]
        return np.array([0.0 if value is None else float(value)])
    return found


def _at_work(record: Mapping[str, Any] | None, working: float | None) -> tuple[float, float] | None:
    """Crushed length (mm) and depth (um) where the curve first reaches the working torque; None where it does not."""
    curve = (record or {}).get("curve")
    if working is None or not curve or not curve["torque_Nm"]:
        return None
    torque = np.array(curve["torque_Nm"])
    top = int(torque.argmax()) + 1
    rising = np.maximum.accumulate(torque[:top])
    if rising[-1] < working:
        return None
    length, depth = (
        np.interp(working, rising, np.array(curve[key])[:top])
        for key in ("crushed_length_mm", "crush_depth_um")
    )
    return float(length), float(depth)


def _scores(table: Array, weights: Array) -> Array:
    """Scores (candidates, samples) of torques (candidates, conditions, samples)."""
    mean = np.nanmean(np.where(np.isfinite(table), table, np.nan), axis=(0, 2))
    mean = np.where(mean > 0, mean, 1.0)
    relative = table / mean[None, :, None]
    return np.asarray((relative * weights[None, :, None]).sum(axis=1) / weights.sum())


def _best(scores: Array) -> Array:
    """Share of the samples (n,) in which each candidate is best; equal ones share."""
    known = np.where(np.isfinite(scores), scores, -np.inf)
    top = known == known.max(axis=0)
    top &= np.isfinite(known)
    return np.asarray((top / np.maximum(top.sum(axis=0), 1)).mean(axis=1))


def _result(
    candidate: Candidate,
    plan: ScreenPlan,
    found: tuple[Sequence[Row], Sequence[tuple[float, float] | None], PlannedCase],
    score: tuple[Array, float],
) -> CandidateResult:
    rows, works, first = found
    values, best = score
    torque = tuple(None if r["status"] == "failed" else float(r["torque_Nm"] or 0.0) for r in rows)
    known = values[np.isfinite(values)]
    enough = len(known) >= ENOUGH * len(values)
    short = tuple(
        c.name
        for c, t in zip(plan.conditions, torque, strict=True)
        if plan.working_Nm is not None and (t or 0.0) < plan.working_Nm
    )
    crush = [w for w in works if w is not None]
    complete = len(crush) == len(works)
    spread = [abs(float(r["jaw_spread_um_per_Nm"])) for r in rows if r["jaw_spread_um_per_Nm"] is not None]
    swing, head, problem = _geometry(first)
    reasons = [str(r["reason"]) for r in rows if r["status"] == "failed"]
    return CandidateResult(
        name=candidate.name,
        score=float(np.median(known)) if enough else None,
        low=float(np.quantile(known, 0.1)) if enough else None,
        high=float(np.quantile(known, 0.9)) if enough else None,
        best_share=best,
        torque_Nm=torque,
        loss=_loss(plan.conditions, torque),
        least_margin=_least_margin(rows),
        crushed_length_mm=max(w[0] for w in crush) if crush and complete else None,
        crush_depth_um=max(w[1] for w in crush) if crush and complete else None,
        spread_um_per_Nm=max(spread, default=None),
        short=short,
        swing_deg=swing,
        envelope=head,
        problem="; ".join([*reasons[:1], *([problem] if problem else [])]),
    )


def _least_margin(rows: Sequence[Row]) -> float | None:
    """The least of wrench limit over grip, less one."""
    known = [
        float(r["wrench_torque_Nm"]) / float(r["slip_torque_Nm"]) - 1.0
        for r in rows
        if r["wrench_torque_Nm"] is not None and r["slip_torque_Nm"]
    ]
    return min(known, default=None)


def _loss(conditions: Sequence[Condition], torque: Sequence[float | None]) -> float | None:
    """Weighted mean share of the torque that worn conditions lose against the unworn one of the same fastener."""
    new = {c.unworn: t for c, t in zip(conditions, torque, strict=True) if not c.worn and t}
    pairs = [
        (c.weight, 1.0 - t / reference)
        for c, t in zip(conditions, torque, strict=True)
        if c.worn and t is not None and (reference := new.get(c.unworn))
    ]
    total = sum(w for w, _ in pairs)
    return sum(w * loss for w, loss in pairs) / total if pairs else None


def _geometry(case: PlannedCase) -> tuple[float | None, Envelope | None, str]:
    """Swing (deg) and envelope of the head in a case, and why they are not known."""
    try:
        pair = profile_pair(case.case)
        head = envelope(pair.wrench, case.case.wrench.thickness)
        fit = engagement(pair.wrench, pair.fastener, pair.first_flat, pair.handle_direction, pair.sense)
        return math.degrees(fit.swing), head, ""
    except ContactFEError as error:
        return None, None, error.message


def _objectives(r: CandidateResult) -> list[float]:
    """The values of OBJECTIVES, less being better. What no case tells (no working torque) does not decide."""
    radius, mass = (r.envelope.outside_radius, r.envelope.mass) if r.envelope else (math.nan, math.nan)
    crush = math.inf if r.short else r.crush_depth_um if r.crush_depth_um is not None else 0.0
    score = math.nan if r.score is None else -r.score
    return [
        score,
        radius,
        mass,
        math.nan if r.swing_deg is None else round(r.swing_deg, 3),
        1e9 if math.isinf(crush) else crush,
    ]


def _columns(rank: int, r: CandidateResult, plan: ScreenPlan) -> dict[str, Any]:
    head = r.envelope
    return {
        "rank": rank if r.score is not None else None,
        "candidate": r.name,
        "score": r.score,
        "score_p10": r.low,
        "score_p90": r.high,
        "best_share": r.best_share,
        "pareto": r.front,
        "loss_to_rounding": r.loss,
        "least_margin_of_wrench": r.least_margin,
        "crushed_length_at_work_mm": r.crushed_length_mm,
        "crush_depth_um": r.crush_depth_um,
        "short_of_working_torque": "; ".join(r.short),
        "jaw_spread_um_per_Nm": r.spread_um_per_Nm,
        "swing_deg": r.swing_deg,
        "outside_radius_mm": head.outside_radius if head else None,
        "least_wall_mm": head.wall if head else None,
        "thickness_mm": head.thickness if head else None,
        "mass_g": head.mass if head else None,
        **{f"torque_Nm: {c.name}": t for c, t in zip(plan.conditions, r.torque_Nm, strict=True)},
        "problem": r.problem,
    }
