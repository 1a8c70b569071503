"""Pictures of drawings that are read in: the outline with its names, or the pieces with their faults marked."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from contactfe.outlines import DrawingFaults, ImportedOutline
from contactfe.profile import Piece
from contactfe.report.style import COLOURS, CRUSHED, GREY, INK, SOFT, blank, foot, outline_patch, styled

WIDTH, HEIGHT = 8.6, 7.0  # inches
_LOOK = {
    "flank": COLOURS[0],
    "ridge": COLOURS[1],
    "root": COLOURS[2],
    "throat": COLOURS[3],
    "tip": COLOURS[5],
    "slot": COLOURS[4],
    "handle-end": COLOURS[7],
}


@styled
def imported_figure(found: ImportedOutline, title: str) -> Figure:
    """Return the outline about its axis, every kind of piece in its own colour, thick where it may bear."""
    figure, ax = _sheet(title)
    ax.add_patch(outline_patch(found.outline, found.width / 200, facecolor=GREY, edgecolor="none", zorder=1))
    names: list[str] = []
    for piece in found.outline.pieces:
        kind = piece.name.split("-")[0] if found.body == "fastener" else piece.name
        colour = _LOOK.get(kind, COLOURS[0] if kind == "flat" else INK)
        width = 2.6 if kind in _LOOK or kind == "flat" else 1.0
        ax.plot(*_line(piece).T, color=colour, lw=width, solid_capstyle="butt", zorder=3)
        if kind not in names:
            names.append(kind)
    ax.plot(0, 0, marker="+", ms=14, color=SOFT, zorder=4)
    handles = [
        Line2D(
            [],
            [],
            color=_LOOK.get(n, COLOURS[0] if n == "flat" else INK),
            lw=2.6 if n in _LOOK else 1.0,
            label=n,
        )
        for n in names
    ]
    ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.0, 1.0))
    what = "opening" if found.body == "wrench" else "across flats"
    foot(figure, f"Lengths in mm about the fastener's axis (+). {what}: {found.width:.4g} mm.")
    return figure


@styled
def faults_figure(faults: DrawingFaults, title: str) -> Figure:
    """Return the pieces of a drawing that gives no outline, with a numbered mark at every fault that has a place."""
    figure, ax = _sheet(title)
    for piece in faults.pieces:
        ax.plot(*_line(piece).T, color=INK, lw=0.9, zorder=2)
    for number, (x, y) in enumerate(faults.places, start=1):
        ax.plot(x, y, marker="o", ms=15, mfc="none", mec=CRUSHED, mew=1.8, zorder=4)
        ax.annotate(
            str(number),
            (x, y),
            xytext=(9, 9),
            textcoords="offset points",
            color=CRUSHED,
            fontweight="bold",
            zorder=5,
        )
    ax.autoscale_view()
    told = [str(p) for p in faults.problems]
    if told:
        figure.text(0.012, 0.938, told[0][:110], fontsize=8.5, color=SOFT, ha="left", va="top")
    foot(figure, "Lengths in mm. Numbers: the problems with a place, in the order of the message.")
    return figure


def _sheet(title: str) -> tuple[Figure, Axes]:
    figure = blank(WIDTH, HEIGHT)
    ax = figure.add_axes((0.08, 0.1, 0.74, 0.8))
    ax.set_aspect("equal", adjustable="datalim")
    ax.set_xlabel("x (mm)")
    ax.set_ylabel("y (mm)")
    figure.text(0.012, 0.975, title, fontsize=12, fontweight="bold", ha="left", va="top")
    return figure, ax


def _line(piece: Piece) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return piece.points(np.linspace(0.0, 1.0, 33 if piece.is_arc else 2))
