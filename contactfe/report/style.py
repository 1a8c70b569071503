"""The one look of all figures, their small common marks, and how they are saved.

Figures are built on `matplotlib.figure.Figure`, never through a window: nothing shows, nothing is global.
"""

from __future__ import annotations

import base64
import functools
import io
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, PathPatch
from matplotlib.path import Path as DrawnPath

from contactfe.errors import ContactFEError
from contactfe.files import write_bytes
from contactfe.profile import Outline

COLOURS = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#D55E00", "#F0E442", "#000000")
"""Okabe and Ito's series, told apart also with impaired colour vision (Okabe, Ito 2008)."""
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
LINES = ("-", "--", "-.", ":")

INK, SOFT, GREY, TINT = "#1b1f24", "#5b6570", "#dfe3e8", "#f6dfae"
CRUSHED = "#D55E00"
RESOLUTION = 160  # dots per inch of PNG files and of colour maps inside SVG
FORMATS = ("png", "svg", "pdf")
CAUTION = "Estimate from a two-dimensional section: not a rating of any tool."

_HOUSE: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # comes with matplotlib: the same letters on every machine
    "font.size": 9.0,
    "axes.titlesize": 11.0,
    "axes.labelsize": 9.5,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": "#e3e6ea",
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "lines.linewidth": 1.8,
    "svg.hashsalt": "contactfe",
    "svg.fonttype": "path",
    "figure.dpi": 100.0,
}

_P = ParamSpec("_P")
_T = TypeVar("_T")


def styled(draw: Callable[_P, _T]) -> Callable[_P, _T]:
    """Decorate a function so that it draws in the house style, whatever the user's matplotlib settings."""

    @functools.wraps(draw)
    def run(*args: _P.args, **kwargs: _P.kwargs) -> _T:
        with matplotlib.style.context(["default", _HOUSE]):
            return draw(*args, **kwargs)

    return run


def blank(width: float, height: float) -> Figure:
    """Return an empty figure of a size in inches that can draw itself without a display."""
    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


@styled
def as_bytes(figure: Figure, kind: str) -> bytes:
    """Return the figure as the bytes of a "png", "svg" or "pdf" file: the same figure gives the same bytes."""
    buffer = io.BytesIO()
    metadata: dict[str, None] = {
        "png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None, "Producer": None},
    }[kind]  # fmt: skip
    figure.savefig(buffer, format=kind, dpi=RESOLUTION, metadata=metadata)
    return buffer.getvalue()


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG, SVG or PDF, as the path ends; beside first, then renamed.

    Raises:
        ContactFEError: another ending, or the file cannot be written.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        raise ContactFEError(
            f"figures are written as .png, .svg or .pdf, not {path.suffix or 'without ending'}",
            where=str(path),
            hint="let the name end in .png, .svg or .pdf",
            slug="figure-format",
        )
    write_bytes(path, as_bytes(figure, kind))


def data_uri(content: bytes, kind: str) -> str:
    """Return bytes as a data: address, kind such as "image/png"."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def outline_patch(outline: Outline, chord: float, **look: Any) -> PathPatch:
    """Return a filled patch of an outline with its holes, arcs cut into chords of at most `chord` mm."""
    points, codes = [], []
    for ring in outline.polygon(chord):
        points.append(np.vstack([ring, ring[:1]]))
        codes += [DrawnPath.MOVETO, *[DrawnPath.LINETO] * (len(ring) - 1), DrawnPath.CLOSEPOLY]
    return PathPatch(DrawnPath(np.vstack(points), codes), **look)


def axis_mark(ax: Axes, at: tuple[float, float], size: float) -> None:
    """Draw x to the right, y up and the positive sense of rotation at a place in data units."""
    x, y = at
    look: dict[str, Any] = {
        "color": SOFT,
        "lw": 1.0,
        "mutation_scale": 7,
        "shrinkA": 0,
        "shrinkB": 0,
        "zorder": 6,
    }
    ax.add_patch(FancyArrowPatch((x, y), (x + size, y), arrowstyle="-|>", **look))
    ax.add_patch(FancyArrowPatch((x, y), (x, y + size), arrowstyle="-|>", **look))
    turn = "arc3,rad=0.45"
    start, end = (x + 0.62 * size, y + 0.16 * size), (x + 0.16 * size, y + 0.62 * size)
    ax.add_patch(FancyArrowPatch(start, end, arrowstyle="-|>", connectionstyle=turn, **look))
    text: dict[str, Any] = {"color": SOFT, "fontsize": 8, "zorder": 6}
    ax.text(x + 1.12 * size, y, "x", ha="left", va="center", **text)
    ax.text(x, y + 1.1 * size, "y", ha="center", va="bottom", **text)
    ax.text(x + 0.55 * size, y + 0.5 * size, "+", ha="left", va="bottom", **text)


def heading(figure: Figure, title: str, below: str) -> None:
    """Write a title and a smaller line under it at the top of a figure; what does not fit goes onto a second line."""
    width, height = figure.get_size_inches()
    figure.text(0.012, 1 - 0.16 / height, title, fontsize=12, fontweight="bold", ha="left", va="top")
    text = textwrap.fill(below, int(15.2 * width))  # letters of 8 points: about 15 to the inch
    figure.text(0.012, 1 - 0.42 / height, text, fontsize=8, color=SOFT, ha="left", va="top")


def foot(figure: Figure, text: str) -> None:
    """Write the small note at the foot of a figure."""
    figure.text(0.012, 0.012, text, fontsize=7.5, color=SOFT, ha="left", va="bottom")
