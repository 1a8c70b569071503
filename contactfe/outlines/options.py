"""What the user states about a drawing, and what a drawing that gives no outline is told by."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from contactfe.errors import InputError, Problem
from contactfe.outlines.chain import Fault
from contactfe.profile import Piece

FIT, SNAP = 0.001, 0.01
"""Defaults in mm: how far a fitted arc may lie from its curve, and how wide a gap is closed."""


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


def place_of(where: str) -> tuple[float, float] | None:
    """The place (mm) that a text tells, None where it tells none."""
    match = re.search(r"\(([-0-9.]+), ([-0-9.]+)\)", where)
    return (float(match[1]), float(match[2])) if match else None
