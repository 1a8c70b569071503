"""The complete record of one case: torque delivered, what ends it, every limit with its margin."""

from contactfe.case.columns import ANSWERS, AnswerColumn
from contactfe.case.limits import EndedBy, Limit, LimitKind, wrench_ends_at
from contactfe.case.pulls import NOT_PILED, Pull, PullSeries, Worn, least_worn, solve_pulls, wear_at
from contactfe.case.record import SAFETY, CaseRecord, Held, record_of, solve_case

__all__ = [
    "ANSWERS",
    "NOT_PILED",
    "SAFETY",
    "AnswerColumn",
    "CaseRecord",
    "EndedBy",
    "Held",
    "Limit",
    "LimitKind",
    "Pull",
    "PullSeries",
    "Worn",
    "least_worn",
    "record_of",
    "solve_case",
    "solve_pulls",
    "wear_at",
    "wrench_ends_at",
]
