"""Profiles as bars relative to the best one under the same condition."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from contactfe.report.rows import (
    PROFILE,
    ROUNDING,
    Row,
    Swept,
    band_of,
    ends_before_slip,
    row_words,
    torque_of,
    value_of,
    value_words,
)
from contactfe.report.study_finding import weakest_rows
from contactfe.report.style import CAUTION, COLOURS, INK, blank, foot, heading, styled
from contactfe.report.words import PROFILES

HATCHES = ("", "///", "...", "\\\\\\", "xxx", "++", "---")
MOST = 6  # conditions that are shown; of more, so many spread over all
SIZE = 7.0  # points; of the number on a bar
WIDEST = 2.7  # times that size: "100*" and "free" beside a neighbour's number


@styled
def relative_figure(rows: Sequence[Row], swept: Sequence[Swept], across: Swept) -> Figure | None:
    """Return the profiles at the lowest strength, in percent of the best one at the same value of `across`; None where
    nothing grips.
    """
    chosen = weakest_rows(rows, swept, across)
    if not any(torque_of(row) for row in chosen):
        return None
    figure = blank(7.6, 4.6)
    ax = figure.add_axes((0.095, 0.27, 0.885, 0.58))
    draw_relative(ax, chosen, across)
    held = [item.path for item in swept if item.path not in (PROFILE, across.path)]
    what = "rounding" if across.path == ROUNDING else across.label
    words = row_words(chosen[0], held)
    below = f"torque delivered in percent of the best one; * wrench, bolt or bar ends the pull{f'; {words}' if words else ''}"
    heading(figure, f"Each wrench against the best one at the same {what}", below)
    foot(figure, CAUTION)
    return figure


@styled
def draw_relative(ax: Axes, rows: Sequence[Row], across: Swept) -> Axes:
    """Draw rows that differ in profile and one input as groups of bars on given axes and return them.

    A group for each value of the input (of many, some of them); 100 % is the best of the group. Bands as error bars.
    """
    values = _spread(across.values)
    profiles = [name for name in PROFILES if any(value_of(row, PROFILE) == name for row in rows)]
    at = {(value_of(row, PROFILE), value_of(row, across.path)): row for row in rows}
    width = 0.84 / max(len(profiles), 1)
    best = {
        v: max((torque_of(at[p, v]) or 0.0 for p in profiles if (p, v) in at), default=0.0) for v in values
    }
    upright = _points(ax) * width / max(len(values), 1) < WIDEST * SIZE
    tops: list[float] = []
    for k, profile in enumerate(profiles):
        number = list(PROFILES).index(profile)
        look: dict[str, Any] = {
            "color": COLOURS[number % len(COLOURS)],
            "hatch": HATCHES[number % len(HATCHES)],
        }
        label: str | None = PROFILES[profile]
        for group, value in enumerate(values):
            row = at.get((profile, value))
            if row is None or torque_of(row) is None or best[value] <= 0:
                continue
            x = group + (k - 0.5 * (len(profiles) - 1)) * width
            tops.append(_bar(ax, x, width, row, (best[value] / 100.0, look | {"label": label}, upright)))
            label = None
    names = [f"{v:.4g}" if across.numeric else value_words(across.path, v) for v in values]
    ax.set_xticks(np.arange(len(values)), names)
    ax.set_xlabel(across.axis)
    ax.set_ylabel("torque (% of the best)")
    ax.set_ylim(0.0, max([100.0, *tops]) + (26.0 if upright else 12.0))
    ax.set_yticks(range(0, 101, 20))
    ax.grid(True, axis="y")
    ax.legend(loc="upper left", ncols=3, bbox_to_anchor=(0.0, -0.17), borderaxespad=0.0)
    return ax


def _points(ax: Axes) -> float:
    """The width of axes in points."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    return 72.0 * figure.get_figwidth() * ax.get_position().width


def _bar(ax: Axes, x: float, width: float, row: Row, how: tuple[float, dict[str, Any], bool]) -> float:
    """Draw one bar, torque over a unit, with its band and its number, which stands upright where bars are narrow.
    Returns how high bar and band reach."""
    unit, look, upright = how
    tall, band = (torque_of(row) or 0.0) / unit, band_of(row)
    ax.bar(x, tall, 0.94 * width, edgecolor="white", lw=0.4, zorder=2, **look)
    top = tall
    if band is not None:
        low, high = ((band[0] - band[1]) / unit, (band[2] - band[0]) / unit)
        ax.errorbar(
            x, tall, yerr=([low], [high]), fmt="none", ecolor=INK, elinewidth=1.0, capsize=2, zorder=4
        )
        top += high
    text = ("free" if torque_of(row) == 0.0 else f"{tall:.0f}") + ("*" if ends_before_slip(row) else "")
    turn = 90.0 if upright else 0.0
    ax.text(x, top + 1.5, text, ha="center", va="bottom", rotation=turn, fontsize=SIZE, zorder=5)
    return top


def _spread(values: Sequence[Any]) -> list[Any]:
    if len(values) <= MOST:
        return list(values)
    return [values[i] for i in np.unique(np.rint(np.linspace(0, len(values) - 1, MOST)).astype(int))]
