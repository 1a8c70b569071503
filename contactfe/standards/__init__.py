"""Standards as data: hexagon sizes, wrench openings, strength grades, twist-off torques, head dimensions.

Every table is a CSV file of this package whose header names its source and says how it was obtained.
"""

from .grades import (
    FrictionClass,
    Grade,
    friction_classes,
    grade,
    grade_names,
    hardness_hv,
    tensile_from_hrc,
)
from .heads import (
    DIMENSIONS,
    PROFILES,
    DefaultDim,
    Dimension,
    HeadChamfer,
    OutsideSize,
    head_chamfer,
    head_defaults,
    ring_outside,
)
from .openings import OpeningLimits, opening_limits
from .sizes import (
    ACROSS_CORNERS_SHARP,
    HexSize,
    across_corners_min,
    across_flats_min,
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
    "DefaultDim",
    "Dimension",
    "FrictionClass",
    "Grade",
    "HeadChamfer",
    "HexSize",
    "OpeningLimits",
    "OutsideSize",
    "Thread",
    "across_corners_min",
    "across_flats_min",
    "friction_classes",
    "grade",
    "grade_names",
    "hardness_hv",
    "head_chamfer",
    "head_defaults",
    "height_limits",
    "it_tolerance",
    "opening_limits",
    "ring_outside",
    "size",
    "sizes",
    "tensile_from_hrc",
    "thread",
    "twist_off_torque",
    "wrench_test_torque_fit",
    "wrenching_height_min",
]
