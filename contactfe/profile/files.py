"""Outlines from and to TOML files, so that any head can be turned and the built-in ones changed by hand.

A file holds closed loops of lines and arcs as numbers in one unit:

    format = 1
    outline = "wrench"         # or "fastener"
    unit = "mm"                # or "in"
    first_flat = "0 deg"       # where a flat of the fastener looks when it enters squarely

    [[loop]]                   # one loop is the outside, every other one a hole
    piece = [
      { name = "flank", line = [[8.1, -4.6], [8.1, 4.6]] },
      { name = "root", arc = { from = [8.1, 4.6], to = [8, 4.7], centre = [8, 4.6], turn = "clockwise" } },
      { name = "flank", line = [[8, 4.7], [0, 9.3]], round = { radius = 0.3, name = "ridge" } },
    ]

Pieces follow each other; `round` rounds the corner at which its piece begins. The axis of the fastener is
(0, 0). The core of a fastener is not drawn: the case's core_radius sets it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from contactfe.errors import ContactFEError, GeometryError, InputError, Problem, nearest
from contactfe.files import write_text
from contactfe.inputs import FastenerInput, WrenchInput, read_toml
from contactfe.profile.check import as_polygon
from contactfe.profile.curves import Outline, Piece, arc, filleted_loop
from contactfe.profile.drawing import Draft, LoopReader
from contactfe.profile.judge import drawing_problems
from contactfe.units import parse_quantity

OUTLINE_FORMAT = 1
UNITS = {"mm": 1.0, "in": 25.4}
SNAP = 1e-4
"""Of the outline's size: ends closer than this are joined, wider gaps are an error."""
DECIMALS = 6
"""Digits behind the point of written coordinates: a nanometre."""


@dataclass(frozen=True)
class OutlineFile:
    """What an outline file says: lengths in mm, oriented with the material on the left, the outside first.

    ``first_flat`` is the direction (rad) in which a flat of the fastener looks when it enters squarely;
    ``flats`` the number of flats that share the load (a fastener's; 0 for a wrench).
    """

    outline: Outline
    body: str
    first_flat: float
    flats: int


DrawingReader = Callable[[Path, str], OutlineFile]


def read_outline(path: str | Path, body: str) -> Outline:
    """The outline in a file of a "wrench" or a "fastener", lengths in mm.

    Raises:
        InputError: every problem of the file: not readable, not TOML, another format, unknown keys or names,
            a loop that does not close, pieces that cross, a sharp edge that bears, no handle-end, no flats.
    """
    return read_outline_file(path, body).outline


def read_outline_file(path: str | Path, body: str) -> OutlineFile:
    """The outline of a file and what stands above its loops. Raises InputError as `read_outline` does."""
    if Path(path).suffix.lower() in DRAWINGS:
        if not _drawing_readers:
            import_module(DRAWING_PACKAGE)
        return _drawing_readers[0](Path(path), body)
    return parse_outline(read_toml(path), body, str(path))


DRAWINGS = (".dxf", ".svg")
"""Endings of drawings that a case may name in place of an outline file."""
DRAWING_PACKAGE = "contactfe.outlines"
"""Lies above this package and registers its reader when it is imported, which happens when one is first needed."""
_drawing_readers: list[DrawingReader] = []


def register_drawings(reader: DrawingReader) -> None:
    """Let `reader` (path, body) -> OutlineFile read the drawings that cases name."""
    _drawing_readers[:] = [reader]


def parse_outline(raw: Mapping[str, Any], body: str, source: str = "outline") -> OutlineFile:
    """The outline in the raw tables of a file; `source` heads the messages.

    Raises:
        InputError: as `read_outline` does, but for the reading.
    """
    reader = _FileReader(raw, body)
    drawn = reader.read()
    if drawn is None:
        raise InputError(reader.problems, source=source, slug="outline")
    return drawn


def drawn_fastener(fastener: FastenerInput) -> OutlineFile:
    """The outline a fastener names, turned so that a flat looks along +x, with its core as a hole.

    Raises:
        InputError: from the file.
        GeometryError: the file measures another width across flats than the case says.
    """
    found = read_outline_file(fastener.outline or "", "fastener")
    width = across_flats_of(found.outline)
    if not 0.75 < width / fastener.across_flats < 1.25:
        raise GeometryError(
            f"the outline measures {width:.4g} mm across flats, the case says {fastener.across_flats:.4g} mm",
            where=f"[fastener] outline: {fastener.outline}",
            hint="check the unit of the file, or the case's size or across_flats",
            slug="outline-size",
        )
    r = fastener.core_radius
    core = (arc((0, 0), r, math.tau, math.pi, "core"), arc((0, 0), r, math.pi, 0.0, "core"))
    turned = found.outline.rotated(-found.first_flat)
    return OutlineFile(Outline((*turned.loops, core)), "fastener", 0.0, found.flats)


def drawn_wrench(wrench: WrenchInput) -> OutlineFile:
    """The outline a wrench names. Raises InputError from the file."""
    return read_outline_file(wrench.outline or "", "wrench")


def across_flats_of(outline: Outline) -> float:
    """Twice the mean distance of a fastener's flats from its axis, mm."""
    flats = [p for p in outline.pieces if p.name.startswith("flat")]
    reach = [abs(p.start[0] * p.end[1] - p.start[1] * p.end[0]) / math.dist(p.start, p.end) for p in flats]
    return 2.0 * sum(reach) / len(reach)


def write_outline(
    path: str | Path, outline: Outline, body: str, *, first_flat: float = 0.0, flats: int = 6, title: str = ""
) -> None:
    """Write an outline in mm as a file that `read_outline` reads; the core of a fastener is left out.

    `first_flat` is the direction (rad) in which a flat of the fastener looks when it enters squarely, `flats`
    how many share the load; `title` heads the file.

    Raises:
        ContactFEError: the file cannot be written.
    """
    file = Path(path)
    write_text(file, outline_text(outline, body, first_flat=first_flat, flats=flats, title=title))


def outline_text(
    outline: Outline, body: str, *, first_flat: float = 0.0, flats: int = 6, title: str = ""
) -> str:
    """The text of an outline file, lengths in mm."""
    lines = [
        f"# {' '.join(title.split()) or f'Outline of a {body}.'}",
        "# Coordinates are numbers in the unit below; the fastener's axis is (0, 0). Change them by hand,",
        "# or draw your own: round = { radius = 0.3 } in a piece rounds the corner where it begins.",
        f"format = {OUTLINE_FORMAT}",
        f'outline = "{body}"',
        'unit = "mm"',
        f'first_flat = "{_shown(math.degrees(first_flat))} deg"    # where a flat looks, the fastener square',
    ]
    if body == "fastener":
        lines.append(f"flats = {flats}    # flats that share the load")
    for loop in outline.loops:
        if loop[0].name == "core":
            continue
        lines += ["", "[[loop]]", "piece = ["]
        lines += [f'  {{ name = "{p.name}", {_curve_text(p)} }},' for p in _halves(loop)]
        lines.append("]")
    return "\n".join(lines) + "\n"


def _halves(loop: tuple[Piece, ...]) -> list[Piece]:
    """The pieces of a loop; an arc of a whole circle, whose ends would coincide, as two."""
    out: list[Piece] = []
    for p in loop:
        if p.is_arc and abs(p.turn) > math.tau - 1e-6:
            start = math.atan2(p.start[1] - p.centre[1], p.start[0] - p.centre[0])
            middle = start + p.turn / 2
            out += [
                arc(p.centre, p.radius, start, middle, p.name),
                arc(p.centre, p.radius, middle, start + p.turn, p.name),
            ]
        else:
            out.append(p)
    return out


def _curve_text(p: Piece) -> str:
    if not p.is_arc:
        return f"line = [{_point(p.start)}, {_point(p.end)}]"
    turn = "anticlockwise" if p.turn > 0 else "clockwise"
    ends = f"from = {_point(p.start)}, to = {_point(p.end)}"
    return f'arc = {{ {ends}, centre = {_point(p.centre)}, turn = "{turn}" }}'


def _point(p: tuple[float, float]) -> str:
    return f"[{_shown(p[0])}, {_shown(p[1])}]"


def _shown(value: float) -> str:
    text = f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


_KEYS = ("format", "outline", "unit", "first_flat", "flats", "loop")


class _FileReader:
    """Reads one file; never stops at the first problem."""

    def __init__(self, raw: Mapping[str, Any], body: str) -> None:
        self.raw, self.body = raw, body
        self.problems: list[Problem] = []

    def read(self) -> OutlineFile | None:
        """The outline, or None with `problems` filled."""
        if not self._is_ours():
            return None
        for key in self.raw:
            if key not in _KEYS or (key == "flats" and self.body == "wrench"):
                known = [k for k in _KEYS if k != "flats" or self.body == "fastener"]
                self._problem(key, "unknown key", nearest(key, known) or f"known: {', '.join(known)}")
        scale = self._unit()
        first_flat = self._first_flat()
        drafts = LoopReader(self.body, scale, self.problems).loops(self.raw.get("loop"))
        flats = self._flats(drafts)
        if self.problems:
            return None
        outline = self._build(drafts)
        if outline is None:
            return None
        self.problems += drawing_problems(outline, self.body)
        return None if self.problems else OutlineFile(outline, self.body, first_flat, flats)

    def _problem(self, where: str, message: str, hint: str = "") -> None:
        self.problems.append(Problem(where, message, hint))

    def _is_ours(self) -> bool:
        """Whether the file is an outline of this format and body; another file is not read any further."""
        given = self.raw.get("format")
        other = self.raw.get("outline")
        if "fastener" in self.raw and "wrench" in self.raw:
            self._problem(
                "", "is a case file, not an outline", "name a file that begins with format, outline, unit"
            )
        elif given is None:
            self._problem("format", "missing", f"write format = {OUTLINE_FORMAT} at the top of an outline")
        elif isinstance(given, bool) or given != OUTLINE_FORMAT:
            self._problem(
                "format", f"{given!r} is not a format of an outline", f"write format = {OUTLINE_FORMAT}"
            )
        elif other is None:
            self._problem("outline", "missing", f'write outline = "{self.body}"')
        elif other != self.body:
            self._problem(
                "outline", f"{other!r}, but a {self.body} is needed here", f'write outline = "{self.body}"'
            )
        return not self.problems

    def _unit(self) -> float:
        unit = self.raw.get("unit")
        if unit is None:
            self._problem("unit", "missing", 'write unit = "mm" or unit = "in"')
        elif not isinstance(unit, str) or unit not in UNITS:
            self._problem("unit", f"{unit!r} is not known here", 'write "mm" or "in"')
        return UNITS[unit] if isinstance(unit, str) and unit in UNITS else 1.0

    def _first_flat(self) -> float:
        try:
            return parse_quantity(self.raw.get("first_flat", "0 deg"), "angle")
        except ContactFEError as error:
            self._problem("first_flat", error.message, error.hint)
            return 0.0

    def _flats(self, drafts: list[list[Draft]]) -> int:
        """How many flats of a fastener share the load: as given, or as many as have names."""
        if self.body == "wrench":
            return 0
        named = len({d.name for loop in drafts for d in loop if d.name.startswith("flat-")})
        flats = self.raw.get("flats", named)
        if "flats" in self.raw and (
            isinstance(flats, bool) or not isinstance(flats, int) or not 3 <= flats <= 12
        ):
            self._problem("flats", f"{flats!r} is not a number of flats", "write 3 to 12, such as flats = 6")
        elif named < 3 and not self.problems:
            self._problem(
                "[[loop]]",
                f"has {named} flats with names",
                'name three or more straight pieces "flat-1", "flat-2", ...',
            )
        return flats if isinstance(flats, int) else 0

    def _build(self, drafts: list[list[Draft]]) -> Outline | None:
        """Join, round and orient the loops, the largest one as the outside."""
        size = max(math.hypot(*p) for loop in drafts for d in loop for p in (d.start, d.end))
        loops: list[tuple[float, tuple[Piece, ...]]] = []
        for number, drawn in enumerate(drafts, start=1):
            joined = self._joined(drawn, SNAP * size, number)
            if joined is None:
                continue
            loop = self._rounded(joined, number)
            if loop is not None:
                area = _signed_area(loop, size / 200)
                loops.append((abs(area), loop if area > 0 else tuple(p.reversed() for p in reversed(loop))))
        if self.problems:
            return None
        loops.sort(key=lambda item: -item[0])
        outer, *holes = [loop for _, loop in loops]
        return Outline((outer, *(tuple(p.reversed() for p in reversed(hole)) for hole in holes)))

    def _joined(self, drawn: list[Draft], snap: float, number: int) -> list[Draft] | None:
        """The loop with ends that almost meet moved together; None when it does not close."""
        out, closed = [], True
        for i, draft in enumerate(drawn):
            after = drawn[(i + 1) % len(drawn)]
            miss = math.dist(draft.end, after.start)
            if miss > snap:
                closed = False
                self._problem(
                    draft.place,
                    f"loop {number} does not close: {miss:.3g} mm from the end of {draft.name} at "
                    f"({draft.end[0]:.3f}, {draft.end[1]:.3f}) mm to the start of {after.name} "
                    f"at ({after.start[0]:.3f}, {after.start[1]:.3f}) mm",
                    "let every piece start where the one before ends, the first where the last ends",
                )
            out.append(draft.ending(after.start))
        return out if closed else None

    def _rounded(self, drawn: list[Draft], number: int) -> tuple[Piece, ...] | None:
        """The pieces of a loop with the corners rounded that ask for it."""
        place = f"[[loop]] {number}"
        try:
            pieces = [d.piece() for d in drawn]
            if len(pieces) < 3 and not any(p.is_arc for p in pieces):
                self._problem(place, "encloses nothing", "draw three lines or more, or an arc")
                return None
            if not any(d.round_radius for d in drawn):
                return tuple(pieces)
            with np.errstate(all="raise"):
                return filleted_loop(
                    pieces, [d.round_radius for d in drawn], [d.round_name or d.name for d in drawn]
                )
        except GeometryError as error:
            self._problem(place, f"{error.message} {error.where}".rstrip(), error.hint)
        except FloatingPointError:  # a rounding about the centre of an arc, or at a hairpin
            self._problem(place, "its roundings do not fit", "make them smaller, or draw them as arcs")
        return None


def _signed_area(loop: tuple[Piece, ...], chord: float) -> float:
    """Area of a loop, mm2, positive when it runs anticlockwise."""
    polygon = as_polygon(Outline((loop,)), chord)
    x, y = polygon.exterior.coords.xy
    return float(0.5 * sum(x[i] * y[i + 1] - x[i + 1] * y[i] for i in range(len(x) - 1)))
