"""Figures, drawings, pages and files of cases and studies; the only layer that draws or fills templates."""

from contactfe.report.attempts import Attempts, check_drawn
from contactfe.report.band_figures import band_figure, band_figures, draw_band, draw_tornado, tornado_figure
from contactfe.report.band_files import band_answers_record, write_band_folder
from contactfe.report.band_page import BandAnswers
from contactfe.report.case_more import CaseMore
from contactfe.report.case_page import case_figures, case_page
from contactfe.report.comparison import comparison_figure, comparison_page
from contactfe.report.curve import curve_figure, draw_curve
from contactfe.report.drawing import drawing_figure, table_rows
from contactfe.report.files import Written, fields, write_case_folder
from contactfe.report.flanks import draw_flanks, flanks_figure
from contactfe.report.imported import faults_figure, imported_figure
from contactfe.report.inch_table import INCH_TABLE, inch_table
from contactfe.report.log_figure import log_figure
from contactfe.report.mesh_table import mesh_table
from contactfe.report.pair import draw_pair, pair_figure
from contactfe.report.parity import parity_figure, profile_figure
from contactfe.report.plan_page import plan_page
from contactfe.report.player import player_view, stage_of
from contactfe.report.pulls_figure import draw_corner, draw_pulls, pulls_figure
from contactfe.report.reader_units import Units, in_words, made_length, reader, reading, shown
from contactfe.report.readings_page import readings_page
from contactfe.report.rebuild import rebuilt
from contactfe.report.score_figures import means_figure, standings_figure
from contactfe.report.screening import headline, notes, screening_figures, screening_page, search_figure
from contactfe.report.state import BodyState, SlipState, end_state, slip_state
from contactfe.report.study import study_charts, study_figures
from contactfe.report.study_map import draw_map
from contactfe.report.study_pages import study_page
from contactfe.report.study_relative import draw_relative, relative_figure
from contactfe.report.style import FORMATS, save
from contactfe.report.trial_pages import score_page
from contactfe.report.why_files import write_why_folder
from contactfe.report.words import console, number

__all__ = [
    "FORMATS",
    "INCH_TABLE",
    "Attempts",
    "BandAnswers",
    "BodyState",
    "CaseMore",
    "SlipState",
    "Units",
    "Written",
    "band_answers_record",
    "band_figure",
    "band_figures",
    "case_figures",
    "case_page",
    "check_drawn",
    "comparison_figure",
    "comparison_page",
    "console",
    "curve_figure",
    "draw_band",
    "draw_corner",
    "draw_curve",
    "draw_flanks",
    "draw_map",
    "draw_pair",
    "draw_pulls",
    "draw_relative",
    "draw_tornado",
    "drawing_figure",
    "end_state",
    "faults_figure",
    "fields",
    "flanks_figure",
    "headline",
    "imported_figure",
    "in_words",
    "inch_table",
    "log_figure",
    "made_length",
    "means_figure",
    "mesh_table",
    "notes",
    "number",
    "pair_figure",
    "parity_figure",
    "plan_page",
    "player_view",
    "profile_figure",
    "pulls_figure",
    "reader",
    "reading",
    "readings_page",
    "rebuilt",
    "relative_figure",
    "save",
    "score_page",
    "screening_figures",
    "screening_page",
    "search_figure",
    "shown",
    "slip_state",
    "stage_of",
    "standings_figure",
    "study_charts",
    "study_figures",
    "study_page",
    "table_rows",
    "tornado_figure",
    "write_band_folder",
    "write_case_folder",
    "write_why_folder",
]
