"""Figures of bands: how the torque delivered scatters, what each input moves, two cases compared, and where they cross."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from contactfe.inputs import field_of
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import in_words, reader, text_of
from contactfe.report.style import CAUTION, COLOURS, GREY, INK, LINES, MARKERS, SOFT, blank, foot, styled
from contactfe.uncertainty import Band, Comparison, Crossover, comparison_words, label_of, probability_below
from contactfe.units import KINDS

Array = NDArray[np.float64]

TWIST = COLOURS[5]


def band_figures(
    found: Band,
    comparison: Comparison | None = None,
    crossover: Crossover | None = None,
    target_Nm: float | None = None,
) -> dict[str, Figure]:
    """Return every figure there is to draw, by the name of its file."""
    figures = {"band": band_figure(found, target_Nm)}
    if found.one_at_a_time:
        figures["one-at-a-time"] = tornado_figure(found)
    if comparison is not None:
        figures["comparison"] = comparison_figure(comparison)
    if crossover is not None:
        figures["crossover"] = crossover_figure(crossover)
    return figures


@styled
def band_figure(found: Band, target_Nm: float | None = None) -> Figure:
    """Return the share of pulls that end below a torque, with median and 10 to 90 % band, and that of the samples alone.

    A target torque and the band in which the bolt twists off are drawn where they are known.
    """
    figure, ax = _sheet(f"{found.name}: {found.samples} samples", below=1.35)
    draw_band(found, ax)
    if target_Nm is not None:
        ax.axvline(target_Nm, color=INK, lw=1.0, ls=LINES[1])
        ax.text(
            target_Nm,
            1.02,
            f"target {text_of(target_Nm, 'N·m')}",
            ha="center",
            va="bottom",
            fontsize=8,
            color=INK,
        )
    held = found.ends.held_Nm
    if held is not None:
        low, high = float(held.min()), float(held.max())
        beyond = ", beyond the axis" if low > ax.get_xlim()[1] else ""
        label = f"{found.ends.held} twists off: {_reach(low, high)}{beyond}"
        ax.axvspan(low, high, color=TWIST, alpha=0.25, lw=0, hatch="//", label=label)
    _legend_below(figure, ax, ncols=2)
    return figure


@styled
def draw_band(found: Band, ax: Axes) -> Axes:
    """Draw the cumulated share against torque on given axes and return them: of pulls with the model's own error, and of
    the samples."""
    torque = np.sort(found.torque_Nm[found.known])
    share = (np.arange(len(torque)) + 0.5) / len(torque)
    band = f"10 to 90 %: {_reach(found.low_Nm, found.high_Nm)}"
    ax.axvspan(found.low_Nm, found.high_Nm, color=GREY, lw=0, label=band)
    sigma = found.sigma[found.known]
    if sigma.any():
        ends = [found.quantile_Nm(p) for p in (0.002, 0.998)]
        at = np.linspace(0.9 * ends[0], ends[1], 200)
        pulls = [probability_below(found.torque_Nm[found.known], sigma, t) for t in at]
        ax.plot(at, pulls, color=COLOURS[0], lw=1.6, label="with the model's own error")
    ax.plot(
        torque, share, color=COLOURS[5], marker=".", ms=4, lw=0.8, ls=LINES[1], label="inputs alone: samples"
    )
    ax.axvline(found.median_Nm, color=COLOURS[0], lw=1.0, label=f"median {text_of(found.median_Nm, 'N·m')}")
    if math.isfinite(found.nominal_Nm):
        label = f"plain case {text_of(found.nominal_Nm, 'N·m')}"
        ax.axvline(found.nominal_Nm, color=COLOURS[2], lw=1.4, ls=LINES[3], label=label)
    show_unit(ax.xaxis, "torque", "N·m")
    ax.set_ylabel("share below")
    ax.set_ylim(0.0, 1.0)
    ax.set_xlim(left=0.0)
    ax.grid(True)
    return ax


@styled
def tornado_figure(found: Band) -> Figure:
    """Return what each input moves by itself, from 10 % to 90 % of its distribution, the largest on top."""
    figure = blank(7.8, 1.7 + 0.42 * max(len(found.one_at_a_time), 1))
    height = figure.get_figheight()
    draw_tornado(found, figure.add_axes((0.27, 0.72 / height, 0.70, 1.0 - 1.5 / height)))
    title = f"{found.name}: one input at a time"
    figure.text(0.012, 1.0 - 0.12 / height, title, fontsize=12, fontweight="bold", va="top")
    foot(figure, CAUTION)
    return figure


@styled
def draw_tornado(found: Band, ax: Axes) -> Axes:
    """Draw what each input moves by itself on given axes and return them."""
    items = sorted(found.one_at_a_time, key=lambda item: item.spread_Nm)
    by_path = {item.path: item for item in found.inputs}
    middle = found.median_case_Nm
    for k, item in enumerate(items):
        shown = by_path[item.path]
        bars = [
            (item.value_low, item.low_Nm, COLOURS[4], ""),
            (item.value_high, item.high_Nm, COLOURS[1], "//"),
        ]
        bars.sort(key=lambda bar: bar[1])
        for _, torque, colour, hatch in sorted(bars, key=lambda bar: -abs(bar[1] - middle)):
            ax.barh(
                k, torque - middle, left=middle, color=colour, hatch=hatch, ec="white", lw=0.0, height=0.62
            )
        # The lower one is named on the left, the higher one on the right, also when both lie on one side.
        for (value, torque, _, _), side in zip(bars, (-1, 1), strict=True):
            at = min(torque, middle) if side < 0 else max(torque, middle)
            ax.annotate(
                in_words(shown.show(value)),
                (at, k),
                xytext=(4 * side, 0),
                textcoords="offset points",
                ha="left" if side > 0 else "right",
                va="center",
                fontsize=7.5,
                color=SOFT,
            )
    ax.axvline(middle, color=INK, lw=1.0)
    ax.set_yticks(range(len(items)), [label_of(item.path) for item in items])
    label = show_unit(ax.xaxis, "torque", "N·m")
    ax.set_xlabel(f"{label}; all at their medians: {reader().number(middle, 'N·m')}")
    ends = [t for item in items for t in (item.low_Nm, item.high_Nm)] or [found.median_case_Nm]
    room = 0.22 * max(max(ends) - min(ends), 1e-3 * found.median_case_Nm)
    ax.set_xlim(min(ends) - room, max(ends) + room)
    ax.grid(True, axis="x")
    handles = [
        Patch(fc=COLOURS[4], label="input at 10 %"),
        Patch(fc=COLOURS[1], hatch="//", ec="white", label="input at 90 %"),
    ]
    ax.legend(handles=handles, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderaxespad=0.1)
    return ax


@styled
def comparison_figure(found: Comparison) -> Figure:
    """Return both torques of every sample against each other; above the line the first one delivers more."""
    figure, ax = _sheet(f"{found.first.name} against {found.second.name}", below=1.15)
    one, two = found.first.torque_Nm[found.known], found.second.torque_Nm[found.known]
    top = 1.06 * max(float(one.max()), float(two.max()), 1e-9)
    ax.plot([0.0, top], [0.0, top], color=SOFT, lw=1.0, ls=LINES[1])
    ahead = one > two
    for which, k, text in ((ahead, 0, found.first.name), (~ahead, 5, found.second.name)):
        label = f"{text} delivers more: {int(which.sum())} samples"
        ax.plot(two[which], one[which], ls="none", marker=MARKERS[k], ms=5, color=COLOURS[k], label=label)
    ax.set_xlim(0.0, top)
    ax.set_ylim(0.0, top)
    show_unit(ax.xaxis, f"torque of {found.second.name}", "N·m")
    show_unit(ax.yaxis, f"torque of {found.first.name}", "N·m")
    ax.grid(True)
    _legend_below(figure, ax)
    words = comparison_words(found)
    below = words if len(words) < 130 else words.split(";")[0]
    height = figure.get_figheight()
    figure.text(0.012, 1.0 - 0.42 / height, below, fontsize=8, color=SOFT, va="top")
    return figure


@styled
def crossover_figure(found: Crossover) -> Figure:
    """Return both bands along the swept input, and the places where the samples change their ranking."""
    figure, ax = _sheet(f"{found.names[0]} against {found.names[1]}")
    kind = _kind(found.path)
    factor = KINDS[kind].shown_factor if kind in KINDS else 1.0
    x = found.values / factor
    for k, (name, torque) in enumerate(zip(found.names, (found.first_Nm, found.second_Nm), strict=True)):
        low, middle, high = np.quantile(torque, [0.1, 0.5, 0.9], axis=0)
        colour = COLOURS[0 if k == 0 else 5]
        ax.fill_between(x, low, high, color=colour, alpha=0.18, lw=0)
        ax.plot(
            x,
            middle,
            color=colour,
            marker=MARKERS[k],
            ls=LINES[k],
            label=f"{name}: median, 10 to 90 % of samples",
        )
    place = found.place()
    if place is not None:
        middle, low, high = (v / factor for v in place)
        label = f"ranking changes in {100 * found.changes.share:.0f} % of samples"
        ax.axvspan(low, high, color=GREY, lw=0, zorder=0, label=label)
        ax.axvline(middle, color=INK, lw=1.0, ls=LINES[3])
    unit = f" ({KINDS[kind].shown})" if kind in KINDS else ""
    ax.set_xlabel(label_of(found.path) + unit)
    show_unit(ax.yaxis, "torque", "N·m")
    ax.set_ylim(bottom=0.0)
    ax.grid(True)
    ax.legend(loc="upper right", frameon=True, framealpha=1.0, edgecolor="none")
    return figure


def _reach(low: float, high: float) -> str:
    """Two torques with the unit of the reader."""
    return f"{reader().number(low, 'N·m')} to {reader().number(high, 'N·m')} {reader().scale('N·m')[1]}"


def _kind(path: str) -> Any:
    field = field_of(path)
    return field.kind if field is not None else ""


def _legend_below(figure: Figure, ax: Axes, ncols: int = 1) -> None:
    drop = -0.5 / (figure.get_figheight() * ax.get_position().height)
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, drop), ncols=ncols, borderaxespad=0.0)


def _sheet(title: str, below: float = 0.7) -> tuple[Figure, Axes]:
    """A figure with one pair of axes, and room (inches) below them."""
    height = 4.3 + below
    figure = blank(7.6, height)
    ax = figure.add_axes((0.095, below / height, 0.88, 3.6 / height))
    figure.text(0.012, 1.0 - 0.175 / height, title, fontsize=12, fontweight="bold", ha="left", va="top")
    foot(figure, CAUTION)
    return figure, ax
