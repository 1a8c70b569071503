"""Outlines of fastener and wrench: exact lines and arcs with named pieces, no mesh."""

from contactfe.profile.check import TOUCHING, as_polygon, check_outline
from contactfe.profile.curves import Outline, Piece, arc, filleted_loop, line
from contactfe.profile.drawing import FASTENER_NAMES, WRENCH_NAMES
from contactfe.profile.fasteners import across_corners, fastener_outline, half_flat, turned_diameter
from contactfe.profile.files import (
    OutlineFile,
    across_flats_of,
    outline_text,
    parse_outline,
    read_outline,
    read_outline_file,
    register_drawings,
    write_outline,
)
from contactfe.profile.judge import crossings, drawing_problems
from contactfe.profile.pair import ProfilePair, opening_of, profile_pair
from contactfe.profile.worn import (
    Sector,
    equivalent_rounding,
    flat_left,
    sector_of,
    swept_floor,
    worn_outline,
)
from contactfe.profile.wrenches import wrench_outline

__all__ = [
    "FASTENER_NAMES",
    "TOUCHING",
    "WRENCH_NAMES",
    "Outline",
    "OutlineFile",
    "Piece",
    "ProfilePair",
    "Sector",
    "across_corners",
    "across_flats_of",
    "arc",
    "as_polygon",
    "check_outline",
    "crossings",
    "drawing_problems",
    "equivalent_rounding",
    "fastener_outline",
    "filleted_loop",
    "flat_left",
    "half_flat",
    "line",
    "opening_of",
    "outline_text",
    "parse_outline",
    "profile_pair",
    "read_outline",
    "read_outline_file",
    "register_drawings",
    "sector_of",
    "swept_floor",
    "turned_diameter",
    "worn_outline",
    "wrench_outline",
    "write_outline",
]
