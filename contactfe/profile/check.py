"""Judges an outline before it is meshed: closed, simple, oriented, and with a wall everywhere."""

from __future__ import annotations

import math
import re

import numpy as np
from shapely.geometry import LinearRing, Polygon
from shapely.validation import explain_validity

from contactfe.errors import GeometryError
from contactfe.profile.curves import Outline

TOUCHING = frozenset({"flank", "ridge", "root", "throat", "tip", "slot"})
"""Names of a wrench's pieces that may touch the fastener."""


def as_polygon(outline: Outline, chord: float) -> Polygon:
    """The outline as a shapely polygon whose arcs are cut into chords of at most ``chord`` mm."""
    rings = outline.polygon(chord)
    return Polygon(rings[0], rings[1:])


def check_outline(outline: Outline, body: str) -> None:
    """Refuse an outline that no mesh could be made of.

    Raises:
        GeometryError: a loop is open, crosses itself or another one, or runs the wrong way round.
    """
    size = max(math.hypot(*p.start) for p in outline.pieces)
    for loop in outline.loops:
        for before, after in zip((loop[-1], *loop[:-1]), loop, strict=True):
            miss = math.dist(before.end, after.start)
            if miss > 1e-9 * size:
                raise GeometryError(
                    f"the outline of the {body} does not close: {miss:.3g} mm between "
                    f"{before.name} and {after.name}",
                    where=f"near ({after.start[0]:.2f}, {after.start[1]:.2f}) mm",
                    hint="let every piece start where the one before ends",
                    slug="outline-open",
                )
    polygon = as_polygon(outline, size / 100)
    if not polygon.is_valid:
        at = re.search(r"\[(\S+) (\S+)\]", explain_validity(polygon))
        raise GeometryError(
            f"the outline of the {body} crosses itself",
            where=f"near ({float(at[1]):.2f}, {float(at[2]):.2f}) mm" if at else f"outline of the {body}",
            hint="check the dimensions that meet there: a wall may have vanished (make the outside larger)",
            slug="outline-crosses-itself",
        )
    turns = [True] + [False] * (len(outline.loops) - 1)
    for ring, ccw in zip(outline.polygon(size / 100), turns, strict=True):
        if LinearRing(np.vstack([ring, ring[:1]])).is_ccw != ccw:
            raise GeometryError(
                f"a loop of the {body} runs the wrong way round",
                where=f"outline of the {body}",
                hint="outer loops run anticlockwise, holes clockwise",
                slug="outline-orientation",
            )
