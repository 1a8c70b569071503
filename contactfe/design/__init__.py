"""Designing heads: many candidates tried on one duty mix, and a search for the best numbers of one family."""

from contactfe.design.plan import Candidate, Condition, ScreenPlan, load_screen, parse_screen
from contactfe.design.screen import CandidateResult, Screening, pareto, screening

__all__ = [
    "Candidate",
    "CandidateResult",
    "Condition",
    "ScreenPlan",
    "Screening",
    "load_screen",
    "pareto",
    "parse_screen",
    "screening",
]
