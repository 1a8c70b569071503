"""Figures, drawings, pages and files of cases and studies; the only layer that draws or fills templates."""

from contactfe.report.curve import curve_figure, draw_curve
from contactfe.report.drawing import drawing_figure, table_rows
from contactfe.report.files import FILES, fields, write_case_folder
from contactfe.report.log_figure import log_figure
from contactfe.report.pages import case_page
from contactfe.report.pair import draw_pair, pair_figure
from contactfe.report.score_figures import means_figure, standings_figure
from contactfe.report.state import BodyState, SlipState, slip_state
from contactfe.report.study import study_charts, study_figures
from contactfe.report.study_pages import study_page
from contactfe.report.style import save
from contactfe.report.trial_pages import score_page

__all__ = [
    "FILES",
    "BodyState",
    "SlipState",
    "case_page",
    "curve_figure",
    "draw_curve",
    "draw_pair",
    "drawing_figure",
    "fields",
    "log_figure",
    "means_figure",
    "pair_figure",
    "save",
    "score_page",
    "slip_state",
    "standings_figure",
    "study_charts",
    "study_figures",
    "study_page",
    "table_rows",
    "write_case_folder",
]
