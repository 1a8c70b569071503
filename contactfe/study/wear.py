"""Further pulls in a study: what each case leaves of the corners, and which wrench wears them least at one torque."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from contactfe.case import CaseRecord, read_wear, solve_pulls, wear_curve
from contactfe.errors import GeometryError, NotConverged
from contactfe.standards import profile
from contactfe.study.plan import PROFILE, StudyPlan

Row = dict[str, Any]

SERIES = (
    "pulls_done",
    "second_pull_torque_Nm",
    "left_after_slip",
    "rounding_after_slip",
    "last_pull_torque_Nm",
)
SAME = ("same_torque_Nm", "rounding_at_same_torque")
PULLS = (*SERIES, *SAME)
"""Columns of a study whose cases ask for further pulls: of the case's own series, and against the other wrenches."""


def solve_wear(record: CaseRecord) -> tuple[dict[str, Any], dict[str, Any]]:
    """Columns and record of the further pulls of a solved case; a series that cannot be solved costs no answer of the
    first pull, and its reason is among the cautions."""
    case = record.built.case
    try:
        series = solve_pulls(case, case.load.pulls, record)
        told = series.to_dict() | {"wear": [list(point) for point in wear_curve(record)]}
    except (GeometryError, NotConverged) as error:
        return {"cautions": f"further pulls: {' '.join(str(error).split())}"}, {}
    return series.answers(), told


def with_wear(
    plan: StudyPlan, rows: Sequence[Row], record_of: Callable[[str], Mapping[str, Any] | None]
) -> list[Row]:
    """Rows with what each wrench leaves of the corners at one torque: the lowest that any of those delivers that are
    equal in everything else that varies. `record_of` gives the record of a case by its address.

    Where the wrench turns freely, or a pull has no wear, both columns stay empty.
    """
    if not plan.further_pulls:
        return list(rows)
    groups: dict[tuple[Any, ...], list[tuple[int, list[list[float]]]]] = {}
    equal = _equal(plan)
    for k, row in enumerate(rows):
        points = ((record_of(row["case_id"]) or {}).get("pulls") or {}).get("wear") or []
        if points and row.get("torque_Nm"):
            groups.setdefault(tuple(row[path] for path in equal), []).append((k, points))
    found = [dict(row) for row in rows]
    for group in groups.values():
        torque = min(float(found[k]["torque_Nm"]) for k, _ in group)
        for k, points in group:
            found[k] |= dict(zip(SAME, (torque, read_wear(points, torque)), strict=True))
    return found


def _equal(plan: StudyPlan) -> list[str]:
    """What is equal in all wrenches that are looked at together."""
    apart = {PROFILE, *(path for path in plan.go_together if path.startswith("wrench."))}
    return [path for path in plan.varied if path not in apart]


def wear_words(rows: Iterable[Mapping[str, Any]]) -> str:
    """Say which profile ruins the hex least at one torque; "" where no two profiles were asked for further pulls."""
    groups: dict[float, dict[str, float]] = {}
    for row in rows:
        torque, left = (row.get(key) for key in SAME)
        if torque not in (None, "") and left not in (None, "") and row.get(PROFILE):
            groups.setdefault(float(torque), {})[str(row[PROFILE])] = float(left)
    full = {torque: found for torque, found in groups.items() if len(found) > 1}
    if not full:
        return ""
    torque, found = next(iter(full.items()))
    best, worst = min(found, key=lambda name: found[name]), max(found, key=lambda name: found[name])
    text = (
        f"at the same torque, {torque:.3g} N m, the {profile(best).words} wears the fastener least, as a rounding of "
        f"{100 * found[best]:.1f} %, and the {profile(worst).words} most, {100 * found[worst]:.1f} %"
    )
    if len(full) == 1:
        return text
    count = Counter(min(own, key=lambda name: own[name]) for own in full.values())
    told = ", ".join(f"{profile(name).words} in {n}" for name, n in count.most_common())
    return f"{text}; least of {len(full)} conditions: {told}"
