"""Why a pull ends where it does: modes, sequence of events, parameter effects, and shares of a difference."""

from contactfe.explain.effects import ParameterEffect, effects
from contactfe.explain.limiting import LimitingCases, limiting_cases
from contactfe.explain.modes import Grip, Mode, Modes, failure_modes
from contactfe.explain.sequence import Event, secant_stiffness, sequence_of_events, stored_energy
from contactfe.explain.shares import Comparison, Share, compare, largest_first
from contactfe.explain.why import Explanation, comparison_dict, explain

__all__ = [
    "Comparison",
    "Event",
    "Explanation",
    "Grip",
    "LimitingCases",
    "Mode",
    "Modes",
    "ParameterEffect",
    "Share",
    "compare",
    "comparison_dict",
    "effects",
    "explain",
    "failure_modes",
    "largest_first",
    "limiting_cases",
    "secant_stiffness",
    "sequence_of_events",
    "stored_energy",
]
