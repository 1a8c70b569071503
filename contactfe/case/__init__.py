"""The complete record of one case: torque delivered, what ends it, every limit with its margin."""

from contactfe.case.columns import ANSWERS, AnswerColumn
from contactfe.case.ends import ENDS, End, counted_ends
from contactfe.case.limits import EndedBy, Limit, LimitKind, wrench_ends_at
from contactfe.case.near import KnownPair, known_from, known_pair, limits_near
from contactfe.case.pulls import (
    NOT_PILED,
    Pull,
    PullSeries,
    Worn,
    least_worn,
    read_wear,
    solve_pulls,
    wear_at,
    wear_curve,
)
from contactfe.case.record import SAFETY, CaseRecord, Held, record_of, solve_case

__all__ = [
    "ANSWERS",
    "ENDS",
    "NOT_PILED",
    "SAFETY",
    "AnswerColumn",
    "CaseRecord",
    "End",
    "EndedBy",
    "Held",
    "KnownPair",
    "Limit",
    "LimitKind",
    "Pull",
    "PullSeries",
    "Worn",
    "counted_ends",
    "known_from",
    "known_pair",
    "least_worn",
    "limits_near",
    "read_wear",
    "record_of",
    "solve_case",
    "solve_pulls",
    "wear_at",
    "wear_curve",
    "wrench_ends_at",
]
