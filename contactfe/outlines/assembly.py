"""Loops of a drawing put about the fastener's axis, turned, cut and rounded as asked for, named and judged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from contactfe.errors import GeometryError, Problem
from contactfe.outlines.chain import Fault
from contactfe.outlines.cutting import cut_handle
from contactfe.outlines.measure import loop_area, loop_centroid
from contactfe.outlines.naming import named_fastener, named_wrench, renamed
from contactfe.outlines.opening import axis_of, mouth_of, straightened
from contactfe.outlines.options import DrawingFaults, ImportOptions, place_of
from contactfe.profile import Outline, Piece, drawing_problems, filleted_loop


class Assembly:
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
        at = place_of(problem.where)
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
