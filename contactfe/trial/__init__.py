"""The bench side: readings of destructive torque tests, torque logs, scores, plans, comparison with the estimate."""

from contactfe.trial.read import read_readings, readings_template
from contactfe.trial.readings import ENDINGS, Condition, Reading, Readings

__all__ = [
    "ENDINGS",
    "Condition",
    "Reading",
    "Readings",
    "read_readings",
    "readings_template",
]
