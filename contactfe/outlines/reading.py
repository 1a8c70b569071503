"""From a drawing to an outline that can be meshed and turned, with everything that was found and done on the way."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from contactfe.errors import GeometryError, InputError, Problem
from contactfe.outlines.chain import Chained, Fault, Gap, chain
from contactfe.outlines.cutting import cut_handle
from contactfe.outlines.drawing import UNITS, Drawing, fault
from contactfe.outlines.dxf import read_dxf
from contactfe.outlines.fit import fit_points
from contactfe.outlines.measure import loop_area, loop_centroid
from contactfe.outlines.naming import named_fastener, named_wrench, renamed
from contactfe.outlines.opening import axis_of, mouth_of, straightened
from contactfe.outlines.points import read_points
from contactfe.outlines.strokes import Line
from contactfe.outlines.svg import read_svg
from contactfe.profile import (
    Outline,
    OutlineFile,
    Piece,
    crossings,
    drawing_problems,
    filleted_loop,
    read_outline_file,
)

SUFFIXES = (".dxf", ".svg", ".csv", ".txt", ".toml")
FIT, SNAP = 0.001, 0.01
"""Defaults in mm: how far a fitted arc may lie from its curve, and how wide a gap is closed."""
MOST_PIECES = 4000
SMALLEST, WIDEST = 2.0, 500.0
"""Widths (mm) of a drawing between which a head can be."""


@dataclass(frozen=True)
class ImportOptions:
    """What the user states about a drawing; lengths mm, places in mm of the drawing as it is printed.

    `unit` is one of UNITS, `names` maps a place to the name of the piece nearest to it, `edge_radius` rounds sharp
    edges that bear, `cut` is where the handle is cut off, from the axis.
    """

    body: str = "wrench"
    unit: str | None = None
    layers: tuple[str, ...] = ()
    axis: tuple[float, float] | None = None
    names: tuple[tuple[tuple[float, float], str], ...] = ()
    fit: float = FIT
    snap: float = SNAP
    smooth: bool = False
    edge_radius: float = 0.0
    cut: float = 0.0


@dataclass(frozen=True)
class ImportedOutline:
    """An outline about the fastener's axis, ready to be written, and what was found and done.

    `first_flat` (rad), `width` across flats (mm) and `flats` are those of the opening or of the fastener. `unit` is
    the drawing's, `stated` who says so. `axis` is the place of the axis in the drawing (mm) and `turned` the angle
    (rad) by which the drawing was then turned. `notes` are sentences.
    """

    outline: Outline
    body: str
    first_flat: float
    flats: int
    width: float
    unit: str
    stated: str
    axis: tuple[float, float] = (0.0, 0.0)
    turned: float = 0.0
    gaps: tuple[Gap, ...] = ()
    notes: tuple[str, ...] = ()
    layers: Mapping[str, int] = field(default_factory=dict)


class DrawingFaults(InputError):
    """A drawing that gives no outline: its problems, their places where they have one, and its pieces (mm)."""

    default_slug = "drawing"

    def __init__(
        self, problems: Sequence[Problem], pieces: Sequence[Piece] = (), *, source: str = ""
    ) -> None:
        super().__init__(problems, source=source)
        self.pieces = tuple(pieces)

    @property
    def places(self) -> list[tuple[float, float]]:
        """Places (mm) of the problems that have one."""
        return [p.at for p in self.problems if isinstance(p, Fault) and p.at is not None]


def import_outline(path: Path, options: ImportOptions = ImportOptions()) -> ImportedOutline:
    """The outline of a DXF, SVG, CSV or TOML file.

    Raises:
        InputError: the file cannot be read, states no unit while none is given.
        DrawingFaults: its lines give no outline: open, crossing, too small or large, without a handle, too sharp.
    """
    if path.suffix.lower() == ".toml":
        return _own(path, options)
    pieces, drawing = _pieces(path, options)
    scale, unit, stated = _unit(path, drawing, options)
    pieces = [_scaled(p, scale) for p in pieces]
    _check_size(path, pieces, unit)
    chained = chain(pieces, options.snap)
    if chained.faults:
        raise DrawingFaults(chained.faults, pieces, source=str(path))
    loops = _nested(chained, pieces, path)
    work = _Assembly(path, loops, options)
    outline, first_flat, width, flats = work.assembled()
    notes = [*_notes(drawing, chained, options), *work.notes]
    return ImportedOutline(
        outline, options.body, first_flat, flats, width, unit, stated, work.axis, work.turned,
        tuple(chained.gaps), tuple(notes), drawing.layers,
    )  # fmt: skip


@lru_cache(maxsize=64)
def _read_once(path: str, body: str, version: tuple[int, int]) -> OutlineFile:
    found = import_outline(Path(path), ImportOptions(body=body))
    return OutlineFile(found.outline, body, found.first_flat, found.flats if body == "fastener" else 0)


def read_drawing(path: Path, body: str) -> OutlineFile:
    """A drawing that a case names, read with the defaults. Raises InputError as `import_outline` does."""
    try:
        stat = path.stat()
    except OSError as error:
        raise fault(str(path), "", f"cannot be read: {error.strerror}", "check the path") from error
    return _read_once(str(path), body, (stat.st_mtime_ns, stat.st_size))


def _own(path: Path, options: ImportOptions) -> ImportedOutline:
    """Our own format: read and judged as it is."""
    drawn = read_outline_file(path, options.body)
    width = _opening_width(drawn, options.body)
    return ImportedOutline(
        drawn.outline, options.body, drawn.first_flat, drawn.flats, width, "mm", "the file"
    )


def _opening_width(drawn: OutlineFile, body: str) -> float:
    from contactfe.profile import across_flats_of, opening_of

    return (
        across_flats_of(drawn.outline)
        if body == "fastener"
        else opening_of(drawn.outline, drawn.first_flat, 6)
    )


def _pieces(path: Path, options: ImportOptions) -> tuple[list[Piece], Drawing]:
    """The pieces of a file in its own unit, fitted within the tolerance as far as the unit is known."""
    kind = path.suffix.lower()
    readers: dict[str, Callable[[Path, tuple[str, ...]], Drawing]] = {".dxf": read_dxf, ".svg": read_svg}
    if kind in (".csv", ".txt"):
        loops, drawing = read_points(path)
        scale, _, _ = _unit(path, drawing, options)
        pieces = [p for loop in loops for p in fit_points(loop, options.fit / scale, True)]
    elif kind in readers:
        drawing = readers[kind](path, options.layers)
        scale, _, _ = _unit(path, drawing, options)
        if options.smooth:
            pieces = _smoothed(drawing, options.fit / scale, options.snap / scale)
        else:
            pieces = [p for stroke in drawing.strokes for p in stroke.pieces(options.fit / scale)]
    else:
        raise fault(
            str(path),
            "",
            f'"{path.suffix}" is not a kind of drawing read here',
            f"known: {', '.join(SUFFIXES)}",
        )
    if len(pieces) > MOST_PIECES:
        hint = "allow arcs to lie farther from the curve: --fit; or name the layer of the outline: --layer"
        if kind in readers and not options.smooth:
            hint = "fit its short lines by arcs: --smooth; or name the layer of the outline: --layer"
        raise fault(str(path), "", f"gives {len(pieces):,} pieces, more than {MOST_PIECES:,}", hint)
    return pieces, drawing


def _smoothed(drawing: Drawing, tolerance: float, snap: float) -> list[Piece]:
    """Loops that consist of straight strokes fitted as if their corners were points of smooth curves."""
    straight = [p for s in drawing.strokes if isinstance(s, Line) for p in s.pieces(tolerance)]
    others = [p for s in drawing.strokes if not isinstance(s, Line) for p in s.pieces(tolerance)]
    chained = chain(straight, min(snap, 1e-6)) if straight else Chained()
    if chained.faults:
        return [*straight, *others]
    return [
        *others,
        *(
            p
            for loop in chained.loops
            for p in fit_points(np.array([q.start for q in loop]), tolerance, True)
        ),
    ]


def _unit(path: Path, drawing: Drawing, options: ImportOptions) -> tuple[float, str, str]:
    """Millimetres in the drawing's unit, its name and who states it. Raises InputError where nobody does."""
    given = options.unit
    if path.suffix.lower() == ".svg" and drawing.unit and given not in (None, drawing.unit):
        raise fault(
            str(path),
            "--unit",
            f"the file states its size: {drawing.stated}",
            "leave --unit out, or change the file",
        )
    unit = given or drawing.unit
    if unit is None:
        raise fault(
            str(path),
            "",
            "does not state its unit",
            "state it: contactfe import FILE --unit mm, or in; a case then names the outline that is written",
        )
    if given is None:
        return UNITS[unit], unit, drawing.stated
    other = f"; the file says {drawing.unit} ({drawing.stated})" if drawing.unit not in (None, unit) else ""
    return UNITS[unit], unit, f"--unit{other}"


def _scaled(p: Piece, factor: float) -> Piece:
    return p if factor == 1.0 else Outline(((p,),)).scaled(factor).loops[0][0]


def _check_size(path: Path, pieces: Sequence[Piece], unit: str) -> None:
    points = np.array([q for p in pieces for q in (p.start, p.end)]).reshape(-1, 2)
    size = float(np.ptp(points, axis=0).max()) if len(points) else 0.0
    if not SMALLEST < size < WIDEST:
        raise DrawingFaults(
            [
                Problem(
                    "",
                    f"measures {size:.6g} mm ({size / 25.4:.4g} in) over all, read in {unit}: no wrench or fastener",
                    "check --unit, or keep the outline of one head only",
                )
            ],
            source=str(path),
        )


def _nested(chained: Chained, pieces: Sequence[Piece], path: Path) -> list[list[Piece]]:
    """The outside anticlockwise and its holes clockwise. Raises DrawingFaults for loops beside or within others."""
    loops = sorted(chained.loops, key=lambda loop: -abs(loop_area(loop)))
    turned = []
    for k, loop in enumerate(loops):
        right_way = (loop_area(loop) > 0) == (k == 0)
        turned.append(loop if right_way else [p.reversed() for p in reversed(loop)])
    problems: list[Problem] = []
    for problem in crossings(Outline(tuple(tuple(loop) for loop in turned))):
        problems.append(Fault(problem.where, problem.message, problem.hint, _place(problem.where)))
    if not problems:
        problems += _misplaced(turned)
    if problems:
        raise DrawingFaults(problems, pieces, source=str(path))
    return turned


def _misplaced(loops: Sequence[Sequence[Piece]]) -> list[Problem]:
    import shapely

    areas = [shapely.Polygon(Outline((tuple(loop),)).polygon(0.5)[0]) for loop in loops]
    found: list[Problem] = []
    for k in range(1, len(loops)):
        inside = [j for j in range(k) if areas[j].contains(areas[k].representative_point())]
        at = loops[k][0].start
        where = f"near ({at[0]:.3f}, {at[1]:.3f}) mm"
        if not inside:
            found.append(
                Fault(where, "a loop lies beside the outside", "keep one head; name its layer: --layer", at)
            )
        elif len(inside) > 1:
            found.append(
                Fault(
                    where, "a loop lies within a hole", "take it out; name the outline's layer: --layer", at
                )
            )
        if len(found) >= 8:
            break
    return found


def _place(where: str) -> tuple[float, float] | None:
    import re

    match = re.search(r"\(([-0-9.]+), ([-0-9.]+)\)", where)
    return (float(match[1]), float(match[2])) if match else None


def _notes(drawing: Drawing, chained: Chained, options: ImportOptions) -> list[str]:
    notes = [f"left out: {text}" for text in chained.dropped]
    if chained.gaps:
        widest = max(chained.gaps, key=lambda gap: gap.width)
        notes.append(
            f"{len(chained.gaps)} gaps of up to {widest.width:.3g} mm closed (allowed: {options.snap:g} mm), the widest "
            f"near ({widest.at[0]:.3f}, {widest.at[1]:.3f}) mm"
        )
    passed = ", ".join(f"{count} {kind}" for kind, count in sorted(drawing.passed_over.items()))
    return [*notes, f"passed over: {passed}"] if passed else notes


class _Assembly:
    """Puts loops about the axis, names their pieces and judges them; `axis`, `turned` and `notes` tell what was done."""

    def __init__(self, path: Path, loops: Sequence[Sequence[Piece]], options: ImportOptions) -> None:
        self.path, self.options = path, options
        self.raw = Outline(tuple(tuple(loop) for loop in loops))
        self.axis, self.turned = (0.0, 0.0), 0.0
        self.notes: list[str] = []
        self.faults: list[Fault] = []

    def assembled(self) -> tuple[Outline, float, float, int]:
        """Outline, first flat (rad), width (mm) and flats. Raises DrawingFaults."""
        outline = self._about_axis()
        if self.options.body == "fastener":
            if len(outline.loops) > 1:
                self.notes.append("the fastener's holes are left out: the case sets the core that is held")
            named, first, width, flats = named_fastener(outline, self.faults)
        else:
            named, first, width = self._wrench(outline)
            flats = 6
        self._raise_faults(named)
        problems = drawing_problems(named, self.options.body)
        if problems:
            self._raise([self._told(p) for p in problems])
        return named, first, width, flats

    def _wrench(self, outline: Outline) -> tuple[Outline, float, float]:
        mouth = mouth_of(outline)
        if mouth is not None:
            self.turned = -straightened(outline, mouth)
            if abs(math.remainder(self.turned, math.tau)) > 1e-12:
                outline = outline.rotated(self.turned)
            mouth = mouth_of(outline)
        if self.options.cut:
            outline = cut_handle(outline, self.options.cut, self.faults)
            self._raise_faults(outline)
        if self.options.edge_radius:
            outline = self._rounded(outline)
        named, first, width = named_wrench(outline, mouth, self.faults)
        wanted = {self._here(place): name for place, name in self.options.names}
        if wanted:
            if "handle-end" in wanted.values():
                self.faults = [f for f in self.faults if "end of a handle" not in f.message]
            named = renamed(named, wanted, self.faults)
        return named, first, width

    def _about_axis(self) -> Outline:
        loops = self.raw.loops
        if self.options.axis is not None:
            found: tuple[float, float] | None = self.options.axis
        elif self.options.body == "fastener":
            centre = loop_centroid(loops[0])
            found = (0.0, 0.0) if math.hypot(*centre) < 0.02 * math.sqrt(abs(loop_area(loops[0]))) else centre
        else:
            found = axis_of(loops)
        if found is None:
            self._raise(
                [
                    Problem(
                        "",
                        "the fastener's axis cannot be told",
                        'state it in mm of the drawing: --axis "X,Y"',
                    )
                ]
            )
        assert found is not None
        self.axis = found
        if found != (0.0, 0.0):
            if self.options.axis is None:
                self.notes.append(
                    f"the axis was taken at ({found[0]:.4f}, {found[1]:.4f}) mm of the drawing, the middle of its opening"
                )
            return Outline(tuple(tuple(_shifted(p, found) for p in loop) for loop in loops))
        return self.raw

    def _rounded(self, outline: Outline) -> Outline:
        """Every sharp edge of the material rounded by the edge radius."""
        loops = []
        for loop in outline.loops:
            radii = [
                self.options.edge_radius if _protrudes(before, after) else 0.0
                for before, after in zip((loop[-1], *loop[:-1]), loop, strict=True)
            ]
            try:
                loops.append(filleted_loop(loop, radii) if any(radii) else loop)
            except GeometryError as error:
                self._raise([Problem(f"--edge-radius, {error.where}", error.message, error.hint)])
        return Outline(tuple(loops))

    def _here(self, place: tuple[float, float]) -> tuple[float, float]:
        """A place of the drawing about the axis, turned as the outline is."""
        x, y = place[0] - self.axis[0], place[1] - self.axis[1]
        c, s = math.cos(self.turned), math.sin(self.turned)
        return c * x - s * y, s * x + c * y

    def _told(self, problem: Problem) -> Problem:
        """A problem with its place as the written outline and the picture have it."""
        at = _place(problem.where)
        hint = problem.hint
        if "sharp edge" in problem.message:
            hint = "draw a rounding there, or round all sharp edges: --edge-radius '0.3 mm'"
        return Fault(problem.where, problem.message, hint, at)

    def _raise_faults(self, outline: Outline) -> None:
        if self.faults:
            raise DrawingFaults(self.faults, outline.pieces, source=str(self.path))

    def _raise(self, problems: Sequence[Problem]) -> None:
        raise DrawingFaults(problems, self.raw.pieces if not self.turned else (), source=str(self.path))


def _protrudes(before: Piece, after: Piece) -> bool:
    a, b = before.tangents(np.ones(1))[0], after.tangents(np.zeros(1))[0]
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b)) > math.radians(10)


def _shifted(p: Piece, by: tuple[float, float]) -> Piece:
    def f(q: tuple[float, float]) -> tuple[float, float]:
        return q[0] - by[0], q[1] - by[1]

    return Piece(f(p.start), f(p.end), p.name, f(p.centre), p.radius, p.turn)
