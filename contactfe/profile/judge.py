"""Judges an outline that somebody drew: where it crosses itself, what is missing, what is too sharp."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely.validation import explain_validity

from contactfe.errors import Problem
from contactfe.profile.check import TOUCHING, as_polygon
from contactfe.profile.curves import Outline, Piece

CHORD_TURN = math.radians(2)
MOST_CROSSINGS = 3
SHARP = math.radians(10)
"""Change of direction from which a junction of two pieces is an edge."""
BEARING = TOUCHING - {"slot"}


def drawing_problems(outline: Outline, body: str) -> list[Problem]:
    """Everything that keeps an oriented outline from being meshed and turned; empty when it is good."""
    found = list(crossings(outline))
    if found:
        return found
    size = max(math.hypot(*p.start) for p in outline.pieces)
    polygon = as_polygon(outline, size / 200)
    if not polygon.is_valid:
        return [
            Problem(
                "[[loop]]",
                f"the loops do not fit into each other: {explain_validity(polygon)}",
                "holes lie inside",
            )
        ]
    found += _at_axis(polygon, body)
    found += _sharp_edges(outline, body)
    if body == "wrench":
        found += _wrench_parts(outline)
    return found


def crossings(outline: Outline) -> Iterator[Problem]:
    """Places where two pieces of the outline meet that do not follow each other, or meet twice."""
    pieces = outline.pieces
    chords = [shapely.LineString(p.points(np.linspace(0, 1, _chords(p) + 1))) for p in pieces]
    near = _neighbours(outline)
    size = max(math.hypot(*p.start) for p in pieces)
    first, second = shapely.STRtree(chords).query(chords, predicate="intersects")
    count = 0
    for i, j in sorted(zip(first.tolist(), second.tolist(), strict=True)):
        if i >= j:
            continue
        met = shapely.intersection(chords[i], chords[j])
        for joint in near.get((i, j), ()):
            met = met.difference(shapely.Point(joint).buffer(1e-6 * size))
        if met.is_empty:
            continue
        at = met.representative_point()
        yield Problem(
            f"near ({at.x:.3f}, {at.y:.3f}) mm",
            f"the outline crosses itself: {_called(outline, i)} and {_called(outline, j)} meet there",
            "move one of the two, or take out what overlaps",
        )
        count += 1
        if count == MOST_CROSSINGS:
            return


def _chords(p: Piece) -> int:
    return max(1, math.ceil(abs(p.turn) / CHORD_TURN)) if p.is_arc else 1


def _neighbours(outline: Outline) -> dict[tuple[int, int], list[tuple[float, float]]]:
    """The joint or joints of each two pieces that follow each other, by their numbers."""
    found: dict[tuple[int, int], list[tuple[float, float]]] = {}
    first = 0
    for loop in outline.loops:
        for k, piece in enumerate(loop):
            pair = sorted((first + k, first + (k + 1) % len(loop)))
            found.setdefault((pair[0], pair[1]), []).append(piece.end)
        first += len(loop)
    return found


def _called(outline: Outline, number: int) -> str:
    """A piece by its name and where it begins: its number in the file may have moved by rounding."""
    p = outline.pieces[number]
    return f"{p.name or 'the piece'} from ({p.start[0]:.3f}, {p.start[1]:.3f})"


def _at_axis(polygon: shapely.Polygon, body: str) -> list[Problem]:
    axis = shapely.Point(0.0, 0.0)
    if body == "wrench" and polygon.buffer(1e-9).contains(axis):
        return [
            Problem("[[loop]]", "the axis (0, 0) lies inside the wrench", "draw the opening around (0, 0)")
        ]
    if body == "fastener" and not polygon.contains(axis):
        return [
            Problem(
                "[[loop]]", "the axis (0, 0) lies outside the fastener", "draw the fastener around (0, 0)"
            )
        ]
    return []


def _sharp_edges(outline: Outline, body: str) -> Iterator[Problem]:
    """Protruding edges that would bear without a radius: the pressure on them grows with every finer mesh."""
    for loop in outline.loops:
        for before, after in zip((loop[-1], *loop[:-1]), loop, strict=True):
            if body == "wrench" and not {before.name, after.name} & BEARING:
                continue
            a, b = before.tangents(np.ones(1))[0], after.tangents(np.zeros(1))[0]
            if math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)) > SHARP:
                yield Problem(
                    f"near ({after.start[0]:.3f}, {after.start[1]:.3f}) mm",
                    f"a sharp edge protrudes between {before.name} and {after.name}: no finite pressure",
                    "give the later of the two a rounding, such as round = { radius = 0.2 }",
                )


def _wrench_parts(outline: Outline) -> Iterator[Problem]:
    names = outline.names()
    if "handle-end" not in names:
        yield Problem(
            "[[loop]]",
            "has no handle-end for the load to act on",
            'name the edge that ends the handle "handle-end"',
        )
    elif any(p.is_arc for p in outline.pieces if p.name == "handle-end"):
        yield Problem("[[loop]]", "its handle-end is not straight", "end the handle with a line")
    if not names & BEARING:
        yield Problem(
            "[[loop]]", "nothing in it may touch the fastener", f"name its edges {', '.join(sorted(BEARING))}"
        )
    sides = {p.points(np.array([0.5]))[0, 1] > 0 for p in outline.pieces if p.name == "tip"}
    if len(sides) == 1:
        yield Problem(
            "[[loop]]",
            "all its tips lie on one side of the x axis",
            "draw the mouth along x, with a tip above and one below",
        )
