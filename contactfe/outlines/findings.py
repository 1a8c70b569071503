"""What is to be said about an imported outline, measured on its exact lines and arcs."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from contactfe.errors import GeometryError
from contactfe.outlines.measure import fold, loop_area, mirror_axis, outline_area
from contactfe.outlines.reading import ImportedOutline
from contactfe.outlines.swing import Engagement, engagement
from contactfe.profile import Outline, Piece

PASSED = frozenset({"outside", "blend"})


@dataclass(frozen=True)
class LoopFinding:
    """One loop: what it is, its pieces, arcs, smallest radius (mm, 0 for none), area (mm2), perimeter (mm), how the
    file's loop runs in the outline, its fold about the axis and a mirror axis (rad, None for none)."""

    what: str
    pieces: int
    arcs: int
    smallest_radius: float
    area: float
    perimeter: float
    turn: str
    fold: int
    mirror: float | None


@dataclass(frozen=True)
class Findings:
    """The measures of an outline: size over all (mm), area of the material (mm2), loops, how many pieces have each
    name, the angle of the handle (rad, None for a fastener), and the fit on a fastener where one was named."""

    size: tuple[float, float]
    area: float
    loops: tuple[LoopFinding, ...]
    names: dict[str, int]
    handle: float | None
    fit: Engagement | None
    fit_problem: str = ""


def findings(found: ImportedOutline, fastener: Outline | None = None) -> Findings:
    """Measure an imported outline; a `fastener` with a flat towards +x is tried in a wrench's opening."""
    outline = found.outline
    points = np.vstack(outline.polygon(0.2))
    width, height = np.ptp(points, axis=0).tolist()
    handle = handle_angle(outline) if found.body == "wrench" else None
    fit, problem = None, ""
    if fastener is not None and handle is not None:
        try:
            fit = engagement(outline, fastener.rotated(found.first_flat), found.first_flat, handle)
        except GeometryError as error:
            problem = error.message
    return Findings(
        (width, height),
        outline_area(outline),
        tuple(_loop(loop, number) for number, loop in enumerate(outline.loops)),
        dict(Counter(p.name for p in outline.pieces)),
        handle,
        fit,
        problem,
    )


def handle_angle(outline: Outline) -> float | None:
    """Direction (rad) in which the handle's end looks; None without one."""
    ends = [p for p in outline.pieces if p.name == "handle-end"]
    if not ends:
        return None
    normal = sum((p.normals(np.array([0.5]))[0] * p.length for p in ends), np.zeros(2))
    return math.atan2(normal[1], normal[0]) % math.tau


def _loop(loop: tuple[Piece, ...], number: int) -> LoopFinding:
    arcs = [p for p in loop if p.is_arc]
    area = loop_area(loop)
    bears = any(p.name not in PASSED | {"handle-end"} for p in loop)
    what = "outside" if number == 0 else "opening" if bears else "hole"
    return LoopFinding(
        what,
        len(loop),
        len(arcs),
        min((p.radius for p in arcs), default=0.0),
        abs(area),
        sum(p.length for p in loop),
        "anticlockwise" if area > 0 else "clockwise",
        fold(loop),
        mirror_axis(loop),
    )
