"""Outlines of fastener and wrench: exact lines and arcs with named pieces, no mesh."""

from contactfe.profile.check import TOUCHING, as_polygon, check_outline
from contactfe.profile.curves import Outline, Piece, arc, filleted_loop, line
from contactfe.profile.fasteners import across_corners, fastener_outline, half_flat, turned_diameter
from contactfe.profile.files import (
    OutlineFile,
    outline_text,
    parse_outline,
    read_outline,
    read_outline_file,
    write_outline,
)
from contactfe.profile.pair import ProfilePair, profile_pair
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
    "TOUCHING",
    "Outline",
    "OutlineFile",
    "Piece",
    "ProfilePair",
    "Sector",
    "across_corners",
    "arc",
    "as_polygon",
    "check_outline",
    "equivalent_rounding",
    "fastener_outline",
    "filleted_loop",
    "flat_left",
    "half_flat",
    "line",
    "outline_text",
    "parse_outline",
    "profile_pair",
    "read_outline",
    "read_outline_file",
    "sector_of",
    "swept_floor",
    "turned_diameter",
    "worn_outline",
    "wrench_outline",
    "write_outline",
]
