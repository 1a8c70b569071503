"""The figure of an explanation: the pair as it deforms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.explain import Explanation
from contactfe.report.case_words import header
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import reader, text_of
from contactfe.report.state import BodyState, SlipState
from contactfe.report.style import (
    CAUTION,
    COLOURS,
    CRUSHED,
    GREY,
    INK,
    SOFT,
    TINT,
    axis_mark,
    blank,
    foot,
    heading,
    styled,
)
from contactfe.report.words import number
from contactfe.strength import place_of

Array = NDArray[np.float64]

SHOWN = 0.1  # of the width across flats: about how far the largest displacement is drawn
ARROW = 0.16  # of the width across flats: length of an arrow at the pressure cap
ARROW_STEP = 0.035  # of the width across flats: from one arrow to the next
APART = 0.3  # of the width across flats: between two places of highest stress
SPOTS = 3  # places of highest stress that are named on each body
LIGAMENTS = 3  # sections that are drawn
SIDES = (0.185, 0.8)  # of the figure's width: where the names of the highest stresses end and begin
LABEL = 0.085  # of the figure's height: three lines of text
LOWEST = 0.2  # of the figure's height: no such name lies lower


@dataclass(frozen=True)
class Spot:
    """A place of highest stress: place (2,) mm in the figure, von Mises stress (MPa) and where it is."""

    at: tuple[float, float]
    value: float
    place: str


@dataclass(frozen=True, eq=False)
class Shown:
    """The state that is drawn, with the rotation of the head (deg) and the torque (N m) there."""

    state: SlipState
    rotation_deg: float
    torque_Nm: float


@styled
def deformed_figure(found: Explanation, shown: Shown) -> Figure:
    """Return the figure of the deformed pair: magnified outlines, pressures as arrows, highest stresses, worst sections."""
    record, state = found.record, shown.state
    figure = blank(11.4, 7.6)
    ax = figure.add_axes((0.25, 0.17, 0.52, 0.73))
    s = record.built.case.fastener.across_flats
    magnification = _magnification(state, s)
    for body, colour in ((state.wrench, GREY), (state.fastener, TINT)):
        _undeformed(ax, body, colour)
        _outline(ax, body.deformed(magnification), body)
    _arrows(ax, state, s)
    _sections(ax, found, state)
    _limits(ax, state, magnification, s)
    _name_spots(ax, state, s)
    _captions(figure, record, shown, magnification)
    _legend(figure)
    return figure


def _magnification(state: SlipState, s: float) -> float:
    """A round number that shows the largest displacement of the head about `SHOWN` of the width across flats long."""
    near = np.linalg.norm(state.wrench.nodes, axis=1) < 1.3 * s
    largest = max(
        float(np.linalg.norm(state.wrench.displacement[near], axis=1).max()),
        float(np.linalg.norm(state.fastener.displacement, axis=1).max()),
    )
    wanted = SHOWN * s / largest
    step = 10.0 ** math.floor(math.log10(wanted))
    return max(k * step for k in (1.0, 2.0, 5.0) if k * step <= wanted)


def _undeformed(ax: Axes, body: BodyState, colour: str) -> None:
    for ring in _rings(body, body.nodes):
        ax.fill(*ring.T, facecolor=colour, edgecolor="none", zorder=1)
        colour = "white"  # further loops are holes
    for ring in _rings(body, body.nodes):
        ax.plot(*np.vstack([ring, ring[:1]]).T, color=SOFT, lw=0.7, ls=(0, (3, 2)), zorder=2)


def _rings(body: BodyState, nodes: Array) -> list[Array]:
    """The loops of the mesh's boundary as polygons through its nodes."""
    mesh = body.mesh
    first, out = 0, []
    for loop in mesh.outline.loops:
        sides = (mesh.boundary.piece >= first) & (mesh.boundary.piece < first + len(loop))
        out.append(nodes[mesh.boundary.nodes[sides][:, :2].ravel()])
        first += len(loop)
    return out


def _outline(ax: Axes, nodes: Array, body: BodyState) -> None:
    lines = nodes[body.mesh.boundary.nodes]
    ax.add_collection(LineCollection(list(lines), colors=INK, linewidths=1.3, zorder=4))


def _arrows(ax: Axes, state: SlipState, s: float) -> None:
    """Pressure on the wrench's flanks: arrows as long as the pressure, those at the cap in their own colour."""
    solution = state.solution
    if solution is None:
        return
    problem, cap = solution.problem, solution.law.cap
    along = np.round(np.arctan2(problem.normal[:, 1], problem.normal[:, 0]), 2)
    tangent = np.column_stack([-problem.normal[:, 1], problem.normal[:, 0]])
    place = np.floor(np.einsum("ci,ci->c", problem.centre, tangent) / (ARROW_STEP * s))
    key = np.column_stack([along, place])
    _, group = np.unique(key, axis=0, return_inverse=True)
    for k in range(group.max() + 1):
        on = group.ravel() == k
        weight = problem.length[on]
        pressure = float(weight @ solution.pressure[on] / weight.sum())
        if pressure < 0.05 * cap:
            continue
        at, normal = weight @ problem.centre[on] / weight.sum(), problem.normal[on][0]
        crushed = float(weight @ solution.capped[on]) > 0.9 * weight.sum()
        look = {"arrowstyle": "-|>", "lw": 1.1, "mutation_scale": 7, "shrinkA": 0, "shrinkB": 0}
        ax.annotate(
            "", at, at + ARROW * s * pressure / cap * normal, zorder=5,
            arrowprops=look | {"color": CRUSHED if crushed else COLOURS[0]},
        )  # fmt: skip


def _sections(ax: Axes, found: Explanation, state: SlipState) -> None:
    limits = found.modes.wrench
    if limits is None or state.solution is None:
        return
    for one in limits.ligaments[:LIGAMENTS]:
        (x0, y0), (x1, y1) = one.inner_mm, one.outer_mm
        ax.plot([x0, x1], [y0, y1], color=COLOURS[2], lw=2.2, zorder=5, solid_capstyle="butt")


def highests(body: BodyState, s: float) -> list[Spot]:
    """The places of highest stress of a body, well apart, the highest first."""
    found: list[Spot] = []
    for node in np.argsort(-body.mises)[:4000]:
        at = body.nodes[node]
        if all(np.hypot(at[0] - spot.at[0], at[1] - spot.at[1]) > APART * s for spot in found):
            place = place_of(body.mesh, int(node))
            found.append(Spot((float(at[0]), float(at[1])), float(body.mises[node]), place))
        if len(found) == SPOTS:
            break
    return found


def _name_spots(ax: Axes, state: SlipState, s: float) -> None:
    """Value and place of the places of highest stress at the two sides of the figure, with a line to each."""
    if state.solution is None:
        return
    spots = [(spot, "wrench") for spot in highests(state.wrench, s)]
    spots += [(spot, "fastener") for spot in highests(state.fastener, s)[:1]]
    figure = ax.get_figure(root=True)
    assert figure is not None
    ax.apply_aspect()
    to_figure = ax.transData + figure.transFigure.inverted()
    for side in (-1, 1):
        own = [(spot, body) for spot, body in spots if (spot.at[0] >= 0) == (side > 0)]
        own.sort(key=lambda item: -item[0].at[1])
        heights = _apart([float(to_figure.transform(spot.at)[1]) for spot, _ in own])
        x = SIDES[0] if side < 0 else SIDES[1]
        for y, (spot, body) in zip(heights, own, strict=True):
            text = f"{text_of(spot.value, 'MPa')}\n{body}: {spot.place}\n{_place(spot.at)}"
            ax.annotate(
                text, spot.at, xytext=(x, y), textcoords="figure fraction", fontsize=8, zorder=7,
                ha="right" if side < 0 else "left", va="center",
                arrowprops={"arrowstyle": "-", "color": COLOURS[3], "lw": 0.9, "shrinkA": 2, "shrinkB": 0},
            )  # fmt: skip
            ax.plot(*spot.at, marker="o", ms=6, mfc="none", mec=COLOURS[3], mew=1.6, zorder=6)


def _apart(heights: Sequence[float]) -> list[float]:
    """Heights that fall, moved down until no text meets the one above it, then up where they leave the figure."""
    found: list[float] = []
    for height in heights:
        found.append(min(height, found[-1] - LABEL) if found else height)
    lift = max(LOWEST - found[-1], 0.0) if found else 0.0
    return [height + lift for height in found]


def _place(at: tuple[float, float]) -> str:
    factor, unit = reader().scale("mm")
    digits = 1 if factor == 1.0 else 3
    return f"({at[0] / factor:.{digits}f}, {at[1] / factor:.{digits}f}) {unit}"


def _limits(ax: Axes, state: SlipState, magnification: float, s: float) -> None:
    shown = np.vstack(
        [body.deformed(m) for body in (state.fastener, state.wrench) for m in (0.0, magnification)]
    )
    (x0, y0), (x1, y1) = shown.min(axis=0), shown.max(axis=0)
    x0 = max(x0, -1.5 * s)  # the handle's stub says nothing here
    margin = 0.05 * s
    ax.set_xlim(x0 - margin, x1 + margin)
    ax.set_ylim(y0 - 0.16 * s, y1 + margin)
    ax.set_aspect("equal")
    show_unit(ax.xaxis, "x", "mm")
    show_unit(ax.yaxis, "y", "mm")
    ax.yaxis.label.set(
        rotation=0, ha="right", va="bottom"
    )  # above the ticks, clear of the lines to the names
    ax.yaxis.set_label_coords(0.0, 1.01)
    ax.tick_params(labelsize=8)
    axis_mark(ax, (x1 - 0.2 * s, y0 - 0.1 * s), 0.13 * s)


def _captions(figure: Figure, record: CaseRecord, shown: Shown, magnification: float) -> None:
    title = (
        f"{record.built.case.name}: at {text_of(shown.torque_Nm, 'N·m')} and {number(shown.rotation_deg)}°"
    )
    words = f"{header(record)}; displacements × {magnification:g}; stresses of a linear model"
    heading(figure, title, words)
    foot(figure, CAUTION)


def _legend(figure: Figure) -> None:
    handles = [
        Line2D([], [], color=INK, lw=1.3, label="deformed"),
        Line2D([], [], color=SOFT, lw=0.7, ls=(0, (3, 2)), label="undeformed"),
        Line2D([], [], color=COLOURS[0], marker=">", lw=1.1, label="pressure on the flanks"),
        Line2D([], [], color=CRUSHED, marker=">", lw=1.1, label="at the cap: crushed"),
        Line2D([], [], color=COLOURS[2], lw=2.2, label="sections of highest utilisation at slip"),
        Line2D([], [], color=COLOURS[3], marker="o", mfc="none", lw=0, label="highest stress, von Mises"),
    ]
    figure.legend(
        handles=handles, loc="lower center", bbox_to_anchor=(0.51, 0.035), ncols=3, columnspacing=1.6
    )
