"""Why it let go: competing modes with their torques, the chain of events, what would have helped, and comparisons."""

from contactfe.explain.alone import GripAlone, grip_alone
from contactfe.explain.chain import Step, chain_of_events, secant_stiffness, stored_energy
from contactfe.explain.cuts import Cuts, head_cuts
from contactfe.explain.levers import Lever, levers
from contactfe.explain.ligaments import Ligament, WrenchLimits, wrench_limits
from contactfe.explain.modes import EffectiveSlip, Grip, Mode, Modes, effective_slip, failure_modes, judged
from contactfe.explain.probe import probe
from contactfe.explain.sections import Resultants, resultants, utilisation
from contactfe.explain.shares import Comparison, Share, compare
from contactfe.explain.states import (
    BodyStates,
    FlankPressure,
    fastener_states,
    flank_pressures,
    state_at,
    wrench_states,
)
from contactfe.explain.why import Explanation, comparison_dict, explain

__all__ = [
    "BodyStates",
    "Comparison",
    "Cuts",
    "EffectiveSlip",
    "Explanation",
    "FlankPressure",
    "Grip",
    "GripAlone",
    "Lever",
    "Ligament",
    "Mode",
    "Modes",
    "Resultants",
    "Share",
    "Step",
    "WrenchLimits",
    "chain_of_events",
    "compare",
    "comparison_dict",
    "effective_slip",
    "explain",
    "failure_modes",
    "fastener_states",
    "flank_pressures",
    "grip_alone",
    "head_cuts",
    "judged",
    "levers",
    "probe",
    "resultants",
    "secant_stiffness",
    "state_at",
    "stored_energy",
    "utilisation",
    "wrench_limits",
    "wrench_states",
]
