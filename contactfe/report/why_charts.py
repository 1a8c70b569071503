"""Charts of an explanation: the modes side by side, and the shares of a difference as steps."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from contactfe.explain import Comparison, Explanation, Mode, largest_first
from contactfe.report.case_words import header
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import in_words, text_of
from contactfe.report.style import CAUTION, COLOURS, INK, SOFT, blank, foot, heading, styled


@styled
def modes_figure(found: Explanation) -> Figure:
    """Return the figure of all modes as bars of torque (N m): what ends it full, what leaves marks hatched."""
    modes = [
        mode for mode in found.modes.modes if mode.torque_Nm is not None and mode.key != "wrench-fracture"
    ]
    figure = blank(9.0, 1.9 + 0.42 * len(modes))
    ax = figure.add_axes((0.36, 0.75 / figure.get_figheight(), 0.6, 1 - 1.5 / figure.get_figheight()))
    delivered = found.record.torque_Nm
    single = [1.3 * (m.torque_Nm or 0.0) for m in modes if m.ends]
    banded = [
        1.5 * m.band_Nm[1] for m in modes if m.ends and m.band_Nm is not None
    ]  # room for both ends in words
    end = max(1.3 * delivered, *single, *banded)
    for row, mode in enumerate(modes):
        _bar(ax, row, mode, end, found)
    ax.axvline(delivered, color=INK, lw=1.0, ls=(0, (4, 3)), zorder=1)
    ax.text(
        delivered, -0.75, f"delivered {text_of(delivered, 'N·m')}", ha="center", va="bottom", fontsize=8.5
    )
    ax.set_xlim(0.0, end)
    ax.set_ylim(len(modes) - 0.4, -0.75)
    ax.set_yticks(range(len(modes)), [mode.name for mode in modes])
    ax.tick_params(axis="y", length=0)
    show_unit(ax.xaxis, "torque", "N·m", end)
    heading(figure, found.record.built.case.name, header(found.record))
    foot(figure, "full: ends it; hatched: leaves marks, or would hold alone. " + CAUTION)
    return figure


def _bar(ax: Axes, row: int, mode: Mode, end: float, found: Explanation) -> None:
    torque = mode.torque_Nm or 0.0
    governing = found.modes.governing is not None and mode.key == found.modes.governing.key
    colour = COLOURS[5] if governing else COLOURS[0] if mode.ends else "white"
    look: dict[str, Any] = (
        {"color": colour} if mode.ends else {"facecolor": "white", "edgecolor": SOFT, "hatch": "///"}
    )
    ax.barh(row, min(torque, end), height=0.6, zorder=2, lw=0.8, **look)
    text = text_of(torque, "N·m")
    if mode.band_Nm is not None:
        low, high = mode.band_Nm
        ax.barh(
            row,
            min(high, end) - low,
            left=low,
            height=0.6,
            zorder=2,
            facecolor="white",
            edgecolor=colour,
            lw=1.2,
        )
        text, torque = f"{text_of(low, 'N·m')} to {text_of(high, 'N·m')}", high
    if governing:
        text += ", ends the pull"
    over = torque > 0.86 * end
    if torque > end:
        text += ", off the scale"
    box: dict[str, Any] = {
        "boxstyle": "round,pad=0.15",
        "facecolor": "white",
        "alpha": 0.9,
        "edgecolor": "none",
    }
    at = min(torque, end) + (-0.01 if over else 0.01) * end
    ax.text(at, row, text, ha="right" if over else "left", va="center", fontsize=8.5, zorder=3, bbox=box)


@styled
def shares_figure(comparison: Comparison) -> Figure:
    """Return the figure of a difference as steps from the torque of one case to that of the other (N m)."""
    shares = largest_first(comparison.shares)
    figure = blank(9.0, 2.1 + 0.42 * len(shares))
    ax = figure.add_axes((0.33, 0.75 / figure.get_figheight(), 0.63, 1 - 1.25 / figure.get_figheight()))
    one, other = comparison.torques_Nm
    at = one
    rows = [comparison.names[0], *(share.words for share in shares), comparison.names[1]]
    ax.barh(0, one, height=0.6, color=SOFT, zorder=2)
    for row, share in enumerate(shares, start=1):
        colour = COLOURS[0] if share.torque_Nm > 0 else COLOURS[5]
        ax.barh(row, share.torque_Nm, left=at, height=0.6, color=colour, zorder=2)
        ax.plot([at, at], [row - 1, row], color=SOFT, lw=0.8, zorder=1)
        at += share.torque_Nm
    ax.plot([at, at], [len(shares), len(shares) + 1], color=SOFT, lw=0.8, zorder=1)
    ax.barh(len(shares) + 1, other, height=0.6, color=SOFT, zorder=2)
    steps = np.cumsum([one, *(s.torque_Nm for s in shares)])
    end = 1.2 * max(one, other, *steps) or 1.0
    values = [
        text_of(one, "N·m"),
        *(in_words(f"{s.torque_Nm:+.1f} N·m") for s in shares),
        text_of(other, "N·m"),
    ]
    ends = [one, *np.maximum(steps[1:], steps[:-1]), other]
    for row, (text, x) in enumerate(zip(values, ends, strict=True)):
        ax.text(x + 0.01 * end, row, text, ha="left", va="center", fontsize=8.5)
    ax.set_xlim(0.0, end)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_yticks(range(len(rows)), rows)
    ax.tick_params(axis="y", length=0)
    show_unit(ax.xaxis, "torque delivered", "N·m", end)
    ax.legend(
        handles=[Patch(color=COLOURS[0], label="raises"), Patch(color=COLOURS[5], label="lowers")],
        loc="lower right", frameon=True, edgecolor="none",
    )  # fmt: skip
    top = figure.get_figheight()
    title = f"From {comparison.names[0]} to {comparison.names[1]}: {in_words(f'{comparison.difference_Nm:+.4g} N·m')}"
    figure.text(0.012, 1 - 0.1 / top, title, fontsize=12, fontweight="bold", ha="left", va="top")
    foot(figure, CAUTION)
    return figure
