"""The pair at the end of the pull, and at slip: where the fastener stands in the wrench, stresses, pressures."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.transforms import Affine2D
from matplotlib.tri import Triangulation
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.profile import ProfilePair, profile_pair
from contactfe.report.case_words import header, headline
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import text_of
from contactfe.report.state import BodyState, SlipState, end_state, slip_state, true_opening
from contactfe.report.style import (
    CAUTION,
    CRUSHED,
    GREY,
    INK,
    SOFT,
    TINT,
    axis_mark,
    blank,
    foot,
    heading,
    outline_patch,
    styled,
)
from contactfe.turn import load_share

Array = NDArray[np.float64]

MAP = "cividis"
BAR = 0.11  # of the width across flats: length of a pressure bar at the cap
DEFORMED = "#CC79A7"
CHORD = 1 / 200  # of the width across flats: chords of drawn arcs
_PARTS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])  # four straight triangles of a six-node one


def pair_makers(record: CaseRecord) -> dict[str, Callable[[], Figure]]:
    """Return what draws the pair where the pull ends, by the name "pair", and, where that is not slip, "pair-at-slip"."""
    found: dict[str, Callable[[], Figure]] = {"pair": lambda: pair_figure(record)}
    if record.ended_by not in ("grip", "turns-freely"):
        found["pair-at-slip"] = lambda: pair_figure(
            record, state=slip_state(record), title=_slip_title(record)
        )
    return found


@styled
def pair_figure(
    record: CaseRecord, magnification: float | None = None, state: SlipState | None = None, title: str = ""
) -> Figure:
    """Return the figure of both bodies at the end of the pull; when the wrench turns freely, as they stand, square.

    With a `magnification` the deformed outlines are drawn over the undeformed bodies, displacements
    magnified by it. A `state` other than that at the end brings its own `title`.
    """
    state = state or end_state(record)
    case = record.built.case
    figure = blank(8.4, 7.4)
    ax = figure.add_axes((0.08, 0.115, 0.74, 0.775))
    scale = draw_pair(record, ax, magnification, state)
    if scale is not None:
        _colour_bar(record, figure, scale)
    title = title or headline(record)
    words = f"{header(record)}; the wrench turns {case.load.direction}"
    heading(figure, f"{case.name}: {title}", words)
    foot(figure, CAUTION)
    return figure


def _slip_title(record: CaseRecord) -> str:
    return f"at slip, {text_of(record.estimate.slip_torque_Nm or 0.0, 'N·m')}, beyond the end of the pull"


@styled
def draw_pair(
    record: CaseRecord, ax: Axes, magnification: float | None = None, state: SlipState | None = None
) -> ScalarMappable | None:
    """Draw the pair on given axes (mm on both) and return the colour scale of the stresses, None without
    load.
    """
    state = state or end_state(record)
    case = record.built.case
    pair = profile_pair(case)
    s = case.fastener.across_flats
    place = Affine2D().rotate(state.turn).translate(*state.shift)
    _bodies(ax, pair, place, loaded=state.solution is not None)
    scale = None
    if state.solution is not None:
        factor = case.wrench.opening / record.built.pair.opening
        scale = ScalarMappable(Normalize(0.0, _scale_end(record, state)), MAP)
        _stresses(ax, state.wrench, true_opening(record.built), scale)
        _stresses(ax, state.fastener, state.fastener.nodes, scale)
        _shares(ax, record, state)
        _pressures(ax, state, BAR * s, factor)
    if magnification is not None:
        for body in (state.fastener, state.wrench):
            _deformed(ax, body, magnification)
    _frame(ax, state, magnification, s)
    _legend(ax, state, magnification)
    return scale


def _bodies(ax: Axes, pair: ProfilePair, place: Affine2D, loaded: bool) -> None:
    """Both outlines as they are exactly, the fastener at its place."""
    chord = CHORD * pair.across_flats
    bodies = ((pair.wrench, Affine2D(), GREY, 1), (pair.fastener, place, GREY if loaded else TINT, 2))
    for outline, at, colour, order in bodies:
        ax.add_patch(
            outline_patch(
                outline, chord, facecolor=colour, edgecolor="none", zorder=order, transform=at + ax.transData
            )
        )
        ax.add_patch(
            outline_patch(
                outline, chord, facecolor="none", edgecolor=INK, lw=0.9, zorder=5, transform=at + ax.transData
            )
        )


def _scale_end(record: CaseRecord, state: SlipState) -> float:
    """End of the colour scale, MPa: the yield strength of the harder body, or the largest stress if that is
    less.

    Above yield the stresses of a linear model say no more than that.
    """
    case = record.built.case
    harder = max(case.fastener.yield_strength, case.wrench.yield_strength)
    largest = max(float(state.fastener.mises.max()), float(state.wrench.mises.max()))
    step = 10.0 ** math.floor(math.log10(largest))
    return min(harder, math.ceil(largest / step) * step)


def _stresses(ax: Axes, body: BodyState, nodes: Array, scale: ScalarMappable) -> None:
    triangles = body.mesh.cells[:, _PARTS].reshape(-1, 3)
    drawn = Triangulation(nodes[:, 0], nodes[:, 1], triangles)
    shown = ax.tripcolor(drawn, body.mises, shading="gouraud", rasterized=True, zorder=3)
    shown.set(cmap=scale.cmap, norm=scale.norm)


def _pressures(ax: Axes, state: SlipState, longest: float, factor: float) -> None:
    """Bars on the wrench's side of the contact, as long as the pressure is high; crushed ones coloured."""
    solution = state.solution
    if solution is None:
        return
    problem = solution.problem
    tangent = np.column_stack([-problem.normal[:, 1], problem.normal[:, 0]])
    middle, half = problem.centre * factor, 0.5 * problem.length[:, None] * tangent
    end = -longest * (solution.pressure / solution.law.cap)[:, None] * problem.normal
    bars = np.stack([middle - half, middle + half, middle + half + end, middle - half + end], axis=1)
    on = solution.pressure > 1e-6 * solution.law.cap
    # The ink lies below all fills, so that it shows only round the bars that stand side by side.
    ax.add_collection(
        PolyCollection(list(bars[on]), facecolors=INK, edgecolors=INK, linewidths=1.6, zorder=6)
    )
    for chosen, colour in ((on & ~solution.capped, "white"), (on & solution.capped, CRUSHED)):
        ax.add_collection(
            PolyCollection(
                list(bars[chosen]), facecolors=colour, edgecolors=colour, linewidths=0.2, zorder=6.1
            )
        )


def _shares(ax: Axes, record: CaseRecord, state: SlipState) -> None:
    """The share of each flat in the load, written inside the fastener in front of the flat."""
    pair = record.built.pair
    share = () if state.solution is None else load_share(record.built, state.solution)
    for k, part in enumerate(share):
        if part < 0.005:
            continue
        angle = pair.first_flat + math.tau * k / pair.flats + state.turn
        radius = 0.405 * pair.across_flats
        box: dict[str, Any] = {
            "boxstyle": "round,pad=0.2",
            "facecolor": "white",
            "alpha": 0.85,
            "edgecolor": "none",
        }
        x, y = state.shift + radius * np.array([math.cos(angle), math.sin(angle)])
        ax.text(x, y, f"{100 * part:.0f} %", fontsize=7.5, ha="center", va="center", zorder=7, bbox=box)


def _deformed(ax: Axes, body: BodyState, magnification: float) -> None:
    lines = body.deformed(magnification)[body.mesh.boundary.nodes]
    ax.add_collection(LineCollection(list(lines), colors=DEFORMED, linewidths=1.3, zorder=8))


def _frame(ax: Axes, state: SlipState, magnification: float | None, s: float) -> None:
    """Limits that hold both bodies and their deformed outlines, room below for the legend, and the axis
    mark.
    """
    shown = np.vstack(
        [body.deformed(m) for body in (state.fastener, state.wrench) for m in (0.0, magnification or 0.0)]
    )
    (x0, y0), (x1, y1) = shown.min(axis=0), shown.max(axis=0)
    margin = 0.06 * s
    ax.set_aspect("equal")
    ax.set_xlim(x0 - margin, x1 + margin)
    ax.set_ylim(y0 - 0.36 * s, y1 + margin)
    show_unit(ax.xaxis, "x", "mm")
    show_unit(ax.yaxis, "y", "mm")
    axis_mark(ax, (x0 + 0.03 * s, y0 - 0.28 * s), 0.22 * s)
    x, y = state.shift
    ax.text(x, y, "held core", fontsize=7.5, color=SOFT, ha="center", va="center", zorder=4)


def _legend(ax: Axes, state: SlipState, magnification: float | None) -> None:
    handles: list[Patch | Line2D] = []
    if state.solution is None:
        handles = [
            Patch(facecolor=GREY, edgecolor=INK, label="wrench"),
            Patch(facecolor=TINT, edgecolor=INK, label="fastener"),
        ]
    else:
        cap = state.solution.law.cap
        handles.append(
            Patch(
                facecolor="white",
                edgecolor=INK,
                label=f"pressure on the flank (longest bar {text_of(cap, 'MPa')})",
            )
        )
        if bool(state.solution.capped.any()):
            handles.append(Patch(facecolor=CRUSHED, edgecolor=INK, label="crushed: pressure at its cap"))
    if magnification is not None:
        name = f"deformed outline, displacements × {magnification:g}"
        handles.append(Line2D([], [], color=DEFORMED, lw=1.5, label=name))
    ax.legend(handles=handles, loc="lower right", fontsize=8, borderaxespad=0.3)


def _colour_bar(record: CaseRecord, figure: Figure, scale: ScalarMappable) -> None:
    cax = figure.add_axes((0.895, 0.2, 0.022, 0.6))
    end = scale.get_clim()[1] or 1.0
    bar = figure.colorbar(scale, cax=cax, extend="max")
    show_unit(bar.ax.yaxis, "von Mises stress", "MPa")
    case = record.built.case
    for name, strength in (
        ("fastener", case.fastener.yield_strength),
        ("wrench", case.wrench.yield_strength),
    ):
        if strength < 0.999 * end:
            cax.plot([0, 1], [strength, strength], color="white", lw=1.4)
            cax.annotate(
                f"{name}\nyields",
                (0, strength),
                xytext=(-4, 0),
                textcoords="offset points",
                fontsize=7,
                ha="right",
                va="center",
            )
