"""From a drawing to an outline that can be meshed and turned, with everything that was found and done on the way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from contactfe.errors import Problem
from contactfe.outlines.assembly import Assembly
from contactfe.outlines.chain import Chained, Fault, Gap, chain
from contactfe.outlines.drawing import UNITS, Drawing, fault
from contactfe.outlines.dxf import read_dxf
from contactfe.outlines.fit import fit_points
from contactfe.outlines.measure import loop_area
from contactfe.outlines.options import DrawingFaults, ImportOptions, place_of
from contactfe.outlines.points import read_points
from contactfe.outlines.strokes import Line
from contactfe.outlines.svg import read_svg
from contactfe.profile import Outline, OutlineFile, Piece, crossings, read_outline_file

SUFFIXES = (".dxf", ".svg", ".csv", ".txt", ".toml")
MOST_PIECES = 4000
SMALLEST, WIDEST = 2.0, 500.0
"""Widths (mm) of a drawing between which a head can be."""
_NOTHING_STATED = ImportOptions()


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


def import_outline(path: Path, options: ImportOptions = _NOTHING_STATED) -> ImportedOutline:
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
    work = Assembly(path, loops, options)
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
        problems.append(Fault(problem.where, problem.message, problem.hint, place_of(problem.where)))
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
