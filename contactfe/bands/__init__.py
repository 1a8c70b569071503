"""Bands: what scatters in a case, the band of its slip torque, probabilities, and what matters most."""

from contactfe.bands.band import SAMPLES, Band, OneAtATime, band, bands_at, scattered_by_rule
from contactfe.bands.chances import Chance, chance_of
from contactfe.bands.compare import Comparison, Crossover, Duel, Sampling, compare, crossover
from contactfe.bands.distributions import Distribution, label_of
from contactfe.bands.grid import GridPoints
from contactfe.bands.read import UncertainCase, distribution_problems, may_scatter, split_case
from contactfe.bands.sensitivity import InputShare, Sensitivity, sensitivity
from contactfe.bands.typical import BY_RULE, typical_scatter
from contactfe.bands.words import (
    band_record,
    band_words,
    column_values,
    comparison_record,
    comparison_words,
    crossover_record,
    crossover_words,
    statements,
)

__all__ = [
    "BY_RULE",
    "SAMPLES",
    "Band",
    "Chance",
    "Comparison",
    "Crossover",
    "Distribution",
    "Duel",
    "GridPoints",
    "InputShare",
    "OneAtATime",
    "Sampling",
    "Sensitivity",
    "UncertainCase",
    "band",
    "band_record",
    "band_words",
    "bands_at",
    "chance_of",
    "column_values",
    "compare",
    "comparison_record",
    "comparison_words",
    "crossover",
    "crossover_record",
    "crossover_words",
    "distribution_problems",
    "label_of",
    "may_scatter",
    "scattered_by_rule",
    "sensitivity",
    "split_case",
    "statements",
    "typical_scatter",
]
