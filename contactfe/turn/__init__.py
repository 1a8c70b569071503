"""Turning the wrench: bodies, torque-rotation curve and what it says."""

from contactfe.turn.build import (
    BodyModel,
    BuiltPair,
    assemble,
    build_pair,
    contact_law,
    fastener_body,
    wrench_body,
)
from contactfe.turn.curve import TorqueCurve, head_rotation, smooth_through, spread_mm, torque_curve
from contactfe.turn.estimate import (
    EarlyAnswer,
    SlipEstimate,
    early_answer,
    fastener_state,
    load_share,
    slip_estimate,
    wrench_state,
)
from contactfe.turn.record import CaseRecord, solve_case

__all__ = [
    "BodyModel",
    "BuiltPair",
    "CaseRecord",
    "EarlyAnswer",
    "SlipEstimate",
    "TorqueCurve",
    "assemble",
    "build_pair",
    "contact_law",
    "early_answer",
    "fastener_body",
    "fastener_state",
    "head_rotation",
    "load_share",
    "slip_estimate",
    "smooth_through",
    "solve_case",
    "spread_mm",
    "torque_curve",
    "wrench_body",
    "wrench_state",
]
