"""Pulls on the same corners: one corner's outline before and after each pull, and the torque of each."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from contactfe.case import ENDS, PullSeries, Worn
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import in_words, reader
from contactfe.report.style import CAUTION, COLOURS, GREY, INK, LINES, SOFT, blank, foot, heading, styled
from contactfe.report.words import case_words

VIEW = 0.16  # of the width across flats: half the width of the enlarged corner
BELOW, ABOVE = 1.0, 0.2  # of that: how far it is shown below the tip, and above it
ORDER = (7, 0, 1, 2, 3, 5, 4)  # of the house's colours
LINES_MOST = 6  # outlines that can be told apart; of more pulls, so many spread over all
WORDS_MOST = 4  # bars with words beside each other; of more, they stand upright


@styled
def pulls_figure(series: PullSeries) -> Figure:
    """Return the figure of a series: an enlarged corner on the left, torque of each pull on the right."""
    figure = blank(9.6, 5.2)
    case = series.pulls[0].record.built.case
    heading(figure, f"{case.name}: pulls on the same corners", in_words(case_words(case)))
    draw_corner(series, figure.add_axes((0.075, 0.17, 0.44, 0.66)))
    draw_pulls(series, figure.add_axes((0.61, 0.17, 0.37, 0.66)))
    foot(figure, CAUTION + " Displaced material is not piled up.")
    return figure


@styled
def draw_corner(series: PullSeries, ax: Axes) -> None:
    """Draw the outline of one corner (mm, its axis upwards) before each pull and after the last, on given axes."""
    pair = series.pulls[0].record.built.pair
    middle = pair.first_flat + math.pi / pair.flats
    turn = math.pi / 2 - middle
    c, s = math.cos(turn), math.sin(turn)
    tip = 0.0
    for line, k in enumerate(_spread(len(series.worn))):
        worn = series.worn[k]
        points = _around(worn, middle) @ np.array([[c, s], [-s, c]])
        tip = max(tip, float(points[:, 1].max()))
        colour = COLOURS[ORDER[line]]
        if k == 0:
            ax.fill_between(points[:, 0], points[:, 1], 0.0, color=GREY, lw=0)
        ax.plot(*points.T, color=colour, ls=LINES[line % len(LINES)], lw=1.6, label=_label(series, k))
    half = VIEW * pair.across_flats
    ax.set_xlim(-half, half)
    ax.set_ylim(tip - BELOW * half, tip + ABOVE * half)
    ax.set_aspect("equal", anchor="N")
    show_unit(ax.xaxis, "across the corner", "mm")
    show_unit(ax.yaxis, "from the fastener's axis", "mm")
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.21), ncols=2, fontsize=8, borderaxespad=0.0)


def _spread(count: int) -> list[int]:
    """Numbers from 0 to count - 1, at most `LINES_MOST` of them, with the first and the last."""
    return [int(k) for k in np.unique(np.rint(np.linspace(0, count - 1, min(count, LINES_MOST))))]


def _around(worn: Worn, middle: float) -> np.ndarray:
    """Points (k, 2) of the outline within 25 degrees of a corner's direction, in order of their angle."""
    size = max(math.hypot(*p.start) for p in worn.outline.loops[0])
    parts = [p.points(np.linspace(0.0, 1.0, 24)) for p in worn.outline.loops[0]]
    points = np.vstack(parts)
    angle = np.angle(np.exp(1j * (np.arctan2(points[:, 1], points[:, 0]) - middle)))
    near = np.flatnonzero((np.abs(angle) < math.radians(25)) & (np.hypot(*points.T) > 0.5 * size))
    return np.asarray(points[near[np.argsort(angle[near], kind="stable")]])


def _label(series: PullSeries, k: int) -> str:
    if k == 0:
        return "before the first pull"
    return f"after pull {k}: as rounded by {100 * series.worn[k].rounding:.0f} %"


@styled
def draw_pulls(series: PullSeries, ax: Axes) -> None:
    """Draw the torque (N m) of each pull as a bar with its share of the first, on given axes."""
    torque = [p.torque_Nm for p in series.pulls]
    at = np.arange(1, len(torque) + 1)
    ax.bar(at, torque, width=0.6, color=COLOURS[0])
    upright = len(torque) > WORDS_MOST
    for x, p in zip(at, series.pulls, strict=True):
        told = reader().number(p.torque_Nm, "N·m")
        end = ENDS[p.ended_by].one
        words = f"{told}, {100 * p.left:.0f} %" if upright else f"{told}\n{100 * p.left:.0f} %, {end}"
        ax.annotate(
            words, (x, p.torque_Nm), xytext=(0, 3), textcoords="offset points", ha="center", va="bottom",
            fontsize=7 if upright else 8, rotation=90 if upright else 0,
        )  # fmt: skip
    ax.set_xticks(at)
    room = 0.6 if len(torque) > 1 else 1.1
    ax.set_xlim(1 - room, len(torque) + room)
    ax.set_ylim(0.0, (1.4 if upright else 1.22) * max(torque) if max(torque) > 0 else 1.0)
    ax.set_xlabel("pull; percent: of the first torque")
    show_unit(ax.yaxis, "torque", "N·m", max(torque))
    if series.stopped:
        ax.set_title(series.stopped, fontsize=8, color=SOFT, loc="left", wrap=True)
    ax.tick_params(axis="x", length=0, labelcolor=INK)
