"""Standards as data: hexagon sizes, wrench openings, strength grades, twist-off torques, head dimensions.

Every table is a CSV file of this package whose header names its source and says how it was obtained.
"""

from .design import DesignNumber, design_number, design_numbers, design_table
from .grades import (
    FrictionClass,
    Grade,
    NoGradeRow,
    UnknownGrade,
    friction_classes,
    grade,
    grade_names,
)
from .hardness import (
    TOOL_YIELD_SHARE,
    BadHardness,
    Hardness,
    hardness_hv,
    parse_hardness,
    tensile_from_hrc,
    tensile_from_hv,
    yield_from_hv,
)
from .head_rules import DefaultDim, OutsideSize, ring_outside
from .heads import DIMENSIONS, Dimension, HeadChamfer, head_chamfer, head_defaults
from .openings import OpeningLimits, opening_limits
from .profiles import PROFILES, Profile, UnknownProfile, meant_profile, profile
from .sizes import (
    ACROSS_CORNERS_SHARP,
    HexSize,
    UnknownSize,
    across_corners_min,
    across_flats_min,
    bar_across_flats_min,
    height_limits,
    it_tolerance,
    size,
    sizes,
    wrenching_height_min,
)
from .threads import Thread, thread
from .torques import twist_off_torque, wrench_test_torque_fit

__all__ = [
    "ACROSS_CORNERS_SHARP",
    "DIMENSIONS",
    "PROFILES",
    "TOOL_YIELD_SHARE",
    "BadHardness",
    "DefaultDim",
    "DesignNumber",
    "Dimension",
    "FrictionClass",
    "Grade",
    "Hardness",
    "HeadChamfer",
    "HexSize",
    "NoGradeRow",
    "OpeningLimits",
    "OutsideSize",
    "Profile",
    "Thread",
    "UnknownGrade",
    "UnknownProfile",
    "UnknownSize",
    "across_corners_min",
    "across_flats_min",
    "bar_across_flats_min",
    "design_number",
    "design_numbers",
    "design_table",
    "friction_classes",
    "grade",
    "grade_names",
    "hardness_hv",
    "head_chamfer",
    "head_defaults",
    "height_limits",
    "it_tolerance",
    "meant_profile",
    "opening_limits",
    "parse_hardness",
    "profile",
    "ring_outside",
    "size",
    "sizes",
    "tensile_from_hrc",
    "tensile_from_hv",
    "thread",
    "twist_off_torque",
    "wrench_test_torque_fit",
    "wrenching_height_min",
    "yield_from_hv",
]
