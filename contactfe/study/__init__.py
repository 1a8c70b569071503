"""Studies: a file becomes cases, cases are run by local processes or a cluster, answers become tables."""

from contactfe.study.demo import DEMO, DEMO_BAND
from contactfe.study.forecast import Forecast, Speed, forecast, speed_here
from contactfe.study.identity import case_id, solver_revision
from contactfe.study.listing import Listed, listed_plan
from contactfe.study.plan import PlannedCase, StudyPlan, load_plan, parse_plan
from contactfe.study.records import samples_of
from contactfe.study.runner import BodyDone, CaseDone, CaseFailed, CaseStarted, Event, StudyDone, run_study
from contactfe.study.store import StudyStore, Tables
from contactfe.study.tables import (
    FIRST_TO_GO,
    Pivot,
    Row,
    delivered_torque,
    headline,
    label,
    mark,
    mark_words,
    measure_first,
    pivots,
    read_rows,
)
from contactfe.study.wear import wear_words
from contactfe.study.work import Outcome

__all__ = [
    "DEMO",
    "DEMO_BAND",
    "FIRST_TO_GO",
    "BodyDone",
    "CaseDone",
    "CaseFailed",
    "CaseStarted",
    "Event",
    "Forecast",
    "Listed",
    "Outcome",
    "Pivot",
    "PlannedCase",
    "Row",
    "Speed",
    "StudyDone",
    "StudyPlan",
    "StudyStore",
    "Tables",
    "case_id",
    "delivered_torque",
    "forecast",
    "headline",
    "label",
    "listed_plan",
    "load_plan",
    "mark",
    "mark_words",
    "measure_first",
    "parse_plan",
    "pivots",
    "read_rows",
    "run_study",
    "samples_of",
    "solver_revision",
    "speed_here",
    "wear_words",
]
