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
from contactfe.profile.wrenches import wrench_outline

__all__ = [
    "TOUCHING",
    "Outline",
    "OutlineFile",
    "Piece",
    "ProfilePair",
    "across_corners",
    "arc",
    "as_polygon",
    "check_outline",
    "fastener_outline",
    "filleted_loop",
    "half_flat",
    "line",
    "outline_text",
    "parse_outline",
    "profile_pair",
    "read_outline",
    "read_outline_file",
    "turned_diameter",
    "wrench_outline",
    "write_outline",
]
