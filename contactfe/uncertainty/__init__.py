"""Bands: what scatters in a case, the band of the torque it delivers, probabilities, and what matters most."""

from contactfe.uncertainty.band import (
    SAMPLES,
    Band,
    OneAtATime,
    band,
    bands_at,
    sampling_of,
    scattered_by_rule,
)
from contactfe.uncertainty.compare import Comparison, Crossover, Duel, Sampling, compare, crossover
from contactfe.uncertainty.distributions import Distribution, label_of, written
from contactfe.uncertainty.ends import CAUSES, Ends
from contactfe.uncertainty.groups import MODEL, GroupShare
from contactfe.uncertainty.jobs import Job, plan_jobs
from contactfe.uncertainty.model_error import combined_quantiles, default_sigma, probability_below
from contactfe.uncertainty.model_sigma import NO_MODEL, ModelSigma, below_target, model_sigma
from contactfe.uncertainty.probabilities import Chance, chance_of
from contactfe.uncertainty.read import UncertainCase, distribution_numbers, may_scatter, split_case
from contactfe.uncertainty.sampling import METHODS, SamplingPlan, sobol_points, unit_points
from contactfe.uncertainty.sensitivity import InputShare, Sensitivity, sensitivity
from contactfe.uncertainty.solve import answer_on, in_order, solving
from contactfe.uncertainty.thinned import solved_first
from contactfe.uncertainty.typical import BY_RULE, typical_scatter
from contactfe.uncertainty.words import (
    COMMON,
    band_record,
    band_words,
    column_values,
    comparison_record,
    comparison_words,
    crossover_record,
    crossover_words,
    ends_words,
    fit_words,
    inputs_words,
    plain_words,
    statements,
)

__all__ = [
    "BY_RULE",
    "CAUSES",
    "COMMON",
    "METHODS",
    "MODEL",
    "NO_MODEL",
    "SAMPLES",
    "Band",
    "Chance",
    "Comparison",
    "Crossover",
    "Distribution",
    "Duel",
    "Ends",
    "GroupShare",
    "InputShare",
    "Job",
    "ModelSigma",
    "OneAtATime",
    "Sampling",
    "SamplingPlan",
    "Sensitivity",
    "UncertainCase",
    "answer_on",
    "band",
    "band_record",
    "band_words",
    "bands_at",
    "below_target",
    "chance_of",
    "column_values",
    "combined_quantiles",
    "compare",
    "comparison_record",
    "comparison_words",
    "crossover",
    "crossover_record",
    "crossover_words",
    "default_sigma",
    "distribution_numbers",
    "ends_words",
    "fit_words",
    "in_order",
    "inputs_words",
    "label_of",
    "may_scatter",
    "model_sigma",
    "plain_words",
    "plan_jobs",
    "probability_below",
    "sampling_of",
    "scattered_by_rule",
    "sensitivity",
    "sobol_points",
    "solved_first",
    "solving",
    "split_case",
    "statements",
    "typical_scatter",
    "unit_points",
    "written",
]
