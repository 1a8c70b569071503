"""Reading the loops of an outline file: pieces as they are drawn, every problem with its place."""

from __future__ import annotations

import math
import re
import reprlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from contactfe.errors import GeometryError, Problem, nearest
from contactfe.profile.check import TOUCHING
from contactfe.profile.curves import Piece, line

WRENCH_NAMES = (*sorted(TOUCHING), "outside", "blend", "handle-end")
FASTENER_NAMES = ("flat-1", "corner-1", "valley-1", "point-1")
_FASTENER_NAME = re.compile(r"(flat|corner|valley|point)-[0-9]{1,3}")
LARGEST = 2000.0
"""Largest coordinate, mm: beyond it a unit is wrong."""
OFF_CIRCLE = 2e-4
"""Of the radius: how far the two ends of an arc may differ in their distance from its centre."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Draft:
    """One piece as drawn, mm: a line, or an arc when it has a centre. `place` names it in messages."""

    name: str
    place: str
    start: Point
    end: Point
    centre: Point | None = None
    anticlockwise: bool = True
    round_radius: float = 0.0
    round_name: str = ""

    def ending(self, end: Point) -> Draft:
        """The same piece with its end moved a little."""
        return replace(self, end=end)

    def piece(self) -> Piece:
        """The exact piece. The centre of an arc is moved onto the bisector of its ends.

        Raises:
            GeometryError: the piece has no length.
        """
        if math.dist(self.start, self.end) < 1e-9 * max(1.0, math.hypot(*self.start)):
            raise GeometryError(
                f"{self.place} has no length",
                hint="give it two different ends; write a whole circle as two halves",
                slug="outline-piece",
            )
        if self.centre is None:
            return line(self.start, self.end, self.name)
        (ax, ay), (bx, by) = self.start, self.end
        chord = math.dist(self.start, self.end)
        nx, ny = -(by - ay) / chord, (bx - ax) / chord
        middle = (0.5 * (ax + bx), 0.5 * (ay + by))
        off = (self.centre[0] - middle[0]) * nx + (self.centre[1] - middle[1]) * ny
        centre = (middle[0] + off * nx, middle[1] + off * ny)
        turn = math.atan2(by - centre[1], bx - centre[0]) - math.atan2(ay - centre[1], ax - centre[0])
        turn = turn % math.tau if self.anticlockwise else -((-turn) % math.tau)
        return Piece(self.start, self.end, self.name, centre, math.dist(self.start, centre), turn)


class LoopReader:
    """Reads the loops of a file of a body ("wrench" or "fastener") into drafts; problems go to a list."""

    def __init__(self, body: str, scale: float, problems: list[Problem]) -> None:
        self.body, self.scale, self.problems = body, scale, problems

    def loops(self, raw: Any) -> list[list[Draft]]:
        """The loops that could be read."""
        if raw is None or raw == []:
            self._problem("[[loop]]", "missing", "write [[loop]] and below it piece = [ ... ]")
            return []
        if not isinstance(raw, list) or not all(isinstance(loop, Mapping) for loop in raw):
            self._problem("loop", "is not a list of tables", "write [[loop]] on a line of its own")
            return []
        return [self._loop(loop, number) for number, loop in enumerate(raw, start=1)]

    def _problem(self, where: str, message: str, hint: str = "") -> None:
        self.problems.append(Problem(where, message, hint))

    def _unknown(self, where: str, raw: Mapping[str, Any], known: tuple[str, ...]) -> None:
        for key in raw:
            if key not in known:
                self._problem(
                    f"{where}, {key}", "unknown key", nearest(key, known) or f"known: {', '.join(known)}"
                )

    def _loop(self, raw: Mapping[str, Any], number: int) -> list[Draft]:
        place = f"[[loop]] {number}"
        self._unknown(place, raw, ("piece",))
        pieces = raw.get("piece")
        if not isinstance(pieces, list) or len(pieces) < 2:
            self._problem(
                place,
                "has no list of two or more pieces",
                "write piece = [ { name = ..., line = ... }, ... ]",
            )
            return []
        drafts = [self._piece(piece, f"{place}, piece {i}") for i, piece in enumerate(pieces, start=1)]
        return [draft for draft in drafts if draft is not None]

    def _piece(self, raw: Any, place: str) -> Draft | None:
        if not isinstance(raw, Mapping):
            self._problem(place, "is not a table", '{ name = "flank", line = [[0, 0], [1, 0]] }')
            return None
        self._unknown(place, raw, ("name", "line", "arc", "round"))
        name = self._name(raw.get("name"), place)
        radius, round_name = self._round(raw.get("round"), f"{place}, round")
        if ("line" in raw) == ("arc" in raw):
            self._problem(place, "is neither a line nor an arc, or both", "write line = ... or arc = ...")
            return None
        curve = self._line(raw["line"], place) if "line" in raw else self._arc(raw["arc"], place)
        if curve is None or name is None:
            return None
        return replace(curve, name=name, round_radius=radius, round_name=round_name)

    def _name(self, raw: Any, place: str) -> str | None:
        names = WRENCH_NAMES if self.body == "wrench" else FASTENER_NAMES
        known = f"known: {', '.join(names)}"
        if raw is None:
            self._problem(place, "has no name", known)
            return None
        if isinstance(raw, str) and (
            raw in names or (self.body == "fastener" and _FASTENER_NAME.fullmatch(raw))
        ):
            return raw
        hint = nearest(raw, names) if isinstance(raw, str) else ""
        if raw == "core":
            hint = "the core is not drawn: core_radius of the case sets it; remove its loop"
        self._problem(
            f"{place}, name", f"{reprlib.repr(raw)} is not a name of a {self.body}'s pieces", hint or known
        )
        return None

    def _round(self, raw: Any, place: str) -> tuple[float, str]:
        if raw is None:
            return 0.0, ""
        if not isinstance(raw, Mapping) or not _number(raw.get("radius")) or raw["radius"] <= 0:
            self._problem(place, "needs a radius above 0", 'write round = { radius = 0.3, name = "ridge" }')
            return 0.0, ""
        self._unknown(place, raw, ("radius", "name"))
        name = self._name(raw["name"], place) if "name" in raw else ""
        return float(raw["radius"]) * self.scale, name or ""

    def _line(self, raw: Any, place: str) -> Draft | None:
        if not isinstance(raw, list) or len(raw) != 2:
            self._problem(f"{place}, line", "is not two points", "write line = [[0, 0], [1, 0]]")
            return None
        start, end = (self._point(p, f"{place}, line") for p in raw)
        return Draft("", place, start, end) if start is not None and end is not None else None

    def _arc(self, raw: Any, place: str) -> Draft | None:
        example = 'write arc = { from = [1, 0], to = [0, 1], centre = [0, 0], turn = "anticlockwise" }'
        if not isinstance(raw, Mapping) or not {"from", "to", "centre", "turn"} <= set(raw):
            self._problem(f"{place}, arc", "does not say from, to, centre and turn", example)
            return None
        self._unknown(f"{place}, arc", raw, ("from", "to", "centre", "turn"))
        points = [self._point(raw[key], f"{place}, arc {key}") for key in ("from", "to", "centre")]
        if raw["turn"] not in ("anticlockwise", "clockwise"):
            self._problem(
                f"{place}, arc turn",
                f"{reprlib.repr(raw['turn'])} is not known here",
                'write "anticlockwise" or "clockwise"',
            )
            return None
        start, end, centre = points
        if start is None or end is None or centre is None:
            return None
        near, far = sorted((math.dist(start, centre), math.dist(end, centre)))
        if far - near > OFF_CIRCLE * far:
            self._problem(
                f"{place}, arc",
                f"its ends lie {near:.5g} and {far:.5g} mm from its centre",
                "move the centre or an end",
            )
            return None
        return Draft("", place, start, end, centre, raw["turn"] == "anticlockwise")

    def _point(self, raw: Any, place: str) -> Point | None:
        if not isinstance(raw, list) or len(raw) != 2 or not all(_number(v) for v in raw):
            self._problem(
                place,
                f"{reprlib.repr(raw)} is not a point",
                "write [x, y], two numbers in the unit of the file",
            )
            return None
        x, y = float(raw[0]) * self.scale, float(raw[1]) * self.scale
        if max(abs(x), abs(y)) > LARGEST:
            self._problem(
                place, f"({x:.6g}, {y:.6g}) mm is far outside any head", "check the unit of the file"
            )
            return None
        return x, y


def _number(raw: Any) -> bool:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return False
    return abs(raw) < 1e9  # also False for nan
