"""The bench side: readings of destructive torque tests, torque logs, scores, plans, comparison with the estimate."""

from contactfe.trial.append import append_logs, read_row
from contactfe.trial.calibrate import Calibration, Fit, calibrate
from contactfe.trial.compare import Compared, ComparedStudy, Explanation, compare
from contactfe.trial.fit_constant import CONSTANTS, CalibratedStudy, calibrate_study, calibration_text
from contactfe.trial.log_read import UNITS, LogReading, Place, read_log
from contactfe.trial.plan import Plan, PlannedPull, Prediction, Specimen, lay_out, make_plan, readings_of
from contactfe.trial.read import read_readings, readings_template
from contactfe.trial.readings import ENDINGS, Condition, Reading, Readings
from contactfe.trial.score import Entry, Loss, Score, Standing, score
from contactfe.trial.sizes import specimens
from contactfe.trial.study import PlanSettings, TrialCase, TrialStudy, load_study

__all__ = [
    "CONSTANTS",
    "ENDINGS",
    "UNITS",
    "CalibratedStudy",
    "Calibration",
    "Compared",
    "ComparedStudy",
    "Condition",
    "Entry",
    "Explanation",
    "Fit",
    "LogReading",
    "Loss",
    "Place",
    "Plan",
    "PlanSettings",
    "PlannedPull",
    "Prediction",
    "Reading",
    "Readings",
    "Score",
    "Specimen",
    "Standing",
    "TrialCase",
    "TrialStudy",
    "append_logs",
    "calibrate",
    "calibrate_study",
    "calibration_text",
    "compare",
    "lay_out",
    "load_study",
    "make_plan",
    "read_log",
    "read_readings",
    "read_row",
    "readings_of",
    "readings_template",
    "score",
    "specimens",
]
