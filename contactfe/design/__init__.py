"""Designing heads: many candidates tried on one duty mix, and a search for the best numbers of one family."""

from contactfe.design.gain import GainBand
from contactfe.design.optimum import Optimum, Value, best_of_box
from contactfe.design.plan import Candidate, Condition, ScreenPlan, load_screen, parse_screen
from contactfe.design.screen import CandidateResult, Screening, pareto, screening
from contactfe.design.shape import Found, Sensed, search_shape
from contactfe.design.shape_plan import SearchPlan, load_search, parse_search
from contactfe.design.templates import screen_template, search_template

__all__ = [
    "Candidate",
    "CandidateResult",
    "Condition",
    "Found",
    "GainBand",
    "Optimum",
    "ScreenPlan",
    "Screening",
    "SearchPlan",
    "Sensed",
    "Value",
    "best_of_box",
    "load_screen",
    "load_search",
    "pareto",
    "parse_screen",
    "parse_search",
    "screen_template",
    "screening",
    "search_shape",
    "search_template",
]
