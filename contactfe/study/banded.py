"""The band of one case of a study, solved in a worker on the bodies of the study; and pairs of cases on equal samples."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe import __version__
from contactfe.case import CaseRecord
from contactfe.inputs import CaseInput
from contactfe.study.plan import PROFILE, PlannedCase, StudyPlan
from contactfe.study.scatter import CaseBand
from contactfe.turn import Bodies, BodyModel, Side, body_keys
from contactfe.uncertainty import (
    MODEL,
    Duel,
    Job,
    answer_on,
    band_record,
    bands_at,
    in_order,
    sensitivity,
)

Array = NDArray[np.float64]
Row = dict[str, Any]

ODDS = (
    "share_first_beats_second",
    "share_low",
    "share_high",
    "ties",
    "samples",
    "ratio_median",
    "ratio_p10",
    "ratio_p90",
)


def solve_band(
    task: CaseBand, plain: CaseRecord, bodies: Bodies, kept: frozenset[str]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The band's columns of the table, and its record with every sample; `plain` is its plain case, solved. Bodies
    that are `kept` are shared with other cases.

    Raises:
        GeometryError: a body cannot be built.
        ContactFEError: no sample has an answer.
    """
    solve = partial(_torques, plain, bodies, kept)
    found = bands_at([(task.uncertain, task.by_rule, task.points)], task.seed, solve, alone=False)[0]
    found = replace(found, nominal_Nm=plain.torque_Nm, nominal_ended_by=plain.ended_by)
    shares = sensitivity(found)
    leading = shares.shares[0] if shares.degree > 0 else None
    answers = {
        **found.columns(),
        "leading_input": None if leading is None else leading.path,
        "leading_input_share": None if leading is None else leading.first,
        "model_share": next((group.first for group in shares.groups if group.name == MODEL), None),
        "band_samples": found.samples,
    }
    return answers, band_record(found, __version__, shares)


def _torques(plain: CaseRecord, bodies: Bodies, kept: frozenset[str], jobs: Sequence[Job]) -> Array:
    """Torques (n, 2) N m at which grip and wrench end jobs, each solved once."""

    def find(shape: CaseInput, side: Side) -> BodyModel:
        return bodies.body(shape, side, keep=getattr(body_keys(shape), side) in kept)

    found = {job: answer_on(job, find, plain) for job in in_order(jobs)}
    return np.array([found[job] for job in jobs], dtype=float).reshape(-1, 2)


def samples_of(record: dict[str, Any] | None) -> Array | None:
    """Torques (n,) N m that the samples in the record of a case deliver, nan where one has none; None without a band."""
    band = (record or {}).get("band")
    if band is None:
        return None
    return np.array([math.nan if t is None else t for t in band["torque_Nm"]], dtype=float)


def odds_columns(plan: StudyPlan) -> tuple[str, ...]:
    """Columns of the table of pairs: both profiles and cases, what is equal in both, and the odds."""
    equal = tuple(path for path in plan.varied if path not in _apart(plan))
    return ("first", "second", "first_case", "second_case", *equal, *ODDS)


def odds_rows(plan: StudyPlan, torques: Iterable[tuple[PlannedCase, Array | None]]) -> list[Row]:
    """Every pair of cases of two profiles that are equal in everything else that varies: the odds that the first one
    delivers more, sample by sample, without the model's own error: most of it is common to both."""
    apart = _apart(plan)
    if not apart:
        return []
    groups: dict[tuple[Any, ...], list[tuple[PlannedCase, Array]]] = {}
    for case, torque in torques:
        if torque is not None:
            own = dict(zip(plan.varied, case.values, strict=True))
            key = tuple(value for path, value in own.items() if path not in apart)
            groups.setdefault(key, []).append((case, torque))
    equal = [path for path in plan.varied if path not in apart]
    rows = []
    for values, group in groups.items():
        for (one, a), (two, b) in combinations(group, 2):
            profiles = [case.case.wrench.profile for case in (one, two)]
            duel = Duel(a, b)
            if duel.known.any():
                heads = dict(zip(("first", "second"), profiles, strict=True))
                names = {"first_case": one.name, "second_case": two.name}
                rows.append({**heads, **names, **dict(zip(equal, values, strict=True)), **_odds(duel)})
    return rows


def _apart(plan: StudyPlan) -> tuple[str, ...]:
    """What may differ between the two of a pair: the profile, and what of the wrench varies together with it."""
    if plan.band is None or PROFILE not in plan.varied:
        return ()
    return tuple(path for path in plan.go_together if path.startswith("wrench."))


def _odds(duel: Duel) -> Row:
    odds = duel.first_beats_second()
    ratios = (value if math.isfinite(value) else None for value in duel.ratio())
    numbers = (odds.share, odds.low, odds.high, duel.ties(), odds.count, *ratios)
    return dict(zip(ODDS, numbers, strict=True))
