"""Outlines of fastener and wrench: exact lines and arcs with named pieces, no mesh."""

from contactfe.profile.check import as_polygon, check_outline
from contactfe.profile.curves import Outline, Piece, arc, filleted_loop, line
from contactfe.profile.fasteners import across_corners, fastener_outline, half_flat, turned_diameter
from contactfe.profile.pair import ProfilePair, profile_pair
from contactfe.profile.wrenches import TOUCHING, wrench_outline

__all__ = [
    "TOUCHING",
    "Outline",
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
    "profile_pair",
    "turned_diameter",
    "wrench_outline",
]
