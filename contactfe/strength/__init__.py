"""What the wrench, the bolt or the bar carries: sections, stress resultants, plastic limits, torsion."""

from contactfe.strength.cuts import Cuts, head_cuts
from contactfe.strength.operator import HeadSections, head_sections
from contactfe.strength.plastic_limit import Tangent, ring_utilisation
from contactfe.strength.sections import Resultants, resultants, utilisation
from contactfe.strength.torsion import TwistOff, twist_off
from contactfe.strength.wrench import (
    HighestStress,
    Ligament,
    SectionPath,
    WrenchLimits,
    loading_path,
    near_one,
    place_of,
    reached,
    section_path,
    wrench_limits,
)

__all__ = [
    "Cuts",
    "HeadSections",
    "HighestStress",
    "Ligament",
    "Resultants",
    "SectionPath",
    "Tangent",
    "TwistOff",
    "WrenchLimits",
    "head_cuts",
    "head_sections",
    "loading_path",
    "near_one",
    "place_of",
    "reached",
    "resultants",
    "ring_utilisation",
    "section_path",
    "twist_off",
    "utilisation",
    "wrench_limits",
]
