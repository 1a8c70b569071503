"""Bands: what scatters in a case, the band of its slip torque, probabilities, and what matters most."""

from contactfe.bands.band import SAMPLES, Band, OneAtATime, band
from contactfe.bands.chances import Chance
from contactfe.bands.compare import Comparison, Crossover, Sampling, compare, crossover
from contactfe.bands.distributions import Distribution, label_of
from contactfe.bands.read import UncertainCase, split_case
from contactfe.bands.sensitivity import InputShare, Sensitivity, sensitivity
from contactfe.bands.typical import typical_scatter
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
    "SAMPLES",
    "Band",
    "Chance",
    "Comparison",
    "Crossover",
    "Distribution",
    "InputShare",
    "OneAtATime",
    "Sampling",
    "Sensitivity",
    "UncertainCase",
    "band",
    "band_record",
    "band_words",
    "column_values",
    "compare",
    "comparison_record",
    "comparison_words",
    "crossover",
    "crossover_record",
    "crossover_words",
    "label_of",
    "sensitivity",
    "split_case",
    "statements",
    "typical_scatter",
]
