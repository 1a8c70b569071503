"""The bench side: readings of destructive torque tests, torque logs, scores, plans, comparison with the estimate."""

from contactfe.trial.append import append_logs, read_row
from contactfe.trial.log_read import UNITS, LogReading, Place, read_log
from contactfe.trial.read import read_readings, readings_template
from contactfe.trial.readings import ENDINGS, Condition, Reading, Readings
from contactfe.trial.score import Entry, Loss, Score, Standing, score

__all__ = [
    "ENDINGS",
    "UNITS",
    "Condition",
    "Entry",
    "LogReading",
    "Loss",
    "Place",
    "Reading",
    "Readings",
    "Score",
    "Standing",
    "append_logs",
    "read_log",
    "read_readings",
    "read_row",
    "readings_template",
    "score",
]
