"""The figure of a torque log: the samples, the smooth curve, and every event marked with its value."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import torque, torque_unit
from contactfe.report.style import COLOURS, GREY, SOFT, blank, foot, styled
from contactfe.report.words import number
from contactfe.trial import UNITS, LogReading, Place

_AXES = {"angle": "angle from the start of the log (deg)", "time": "time (s)", "sample": "sample"}


@styled
def log_figure(found: LogReading) -> Figure:
    """Return the figure of torque (N m, offset taken off) against angle, time or sample."""
    figure = blank(8.6, 5.2)
    ax = figure.add_axes((0.085, 0.155, 0.66, 0.72))
    _draw(found, ax)
    figure.text(0.012, 0.965, Path(found.source).name, fontsize=12, fontweight="bold", ha="left", va="top")
    figure.text(0.012, 0.912, f"{found.ending}; {found.samples} samples", fontsize=8.5, color=SOFT, va="top")
    foot(figure, f"{found.layout}.\nZero: {found.zero}.")
    return figure


def _draw(found: LogReading, ax: Axes) -> None:
    start = float(found.trace.rotation[0])
    unit = UNITS[found.over]
    ax.plot(found.trace.rotation - start, found.trace.torque, color=GREY, lw=0.9, zorder=1, label="samples")
    ax.plot(
        found.curve.rotation - start, found.curve.torque, color=COLOURS[0], zorder=3, label="smooth curve"
    )
    ax.axvspan(
        0.0,
        found.free_play,
        color=COLOURS[4],
        alpha=0.18,
        lw=0,
        label=f"before first touch\n{number(found.free_play)} {unit}",
    )
    if found.slope_Nm is not None:
        _line(found, ax, start)
    marks: list[tuple[str, Place | None, str, str]] = [
        ("first deviation", found.deviation, "D", COLOURS[2]),
        ("onset", found.onset, "s", COLOURS[5]),
        ("peak", found.peak, "o", COLOURS[0]),
        ("drop", found.drop, "v", COLOURS[3]),
        *(("grips again", place, "^", COLOURS[1]) for place in found.again[:6]),
    ]
    for name, place, marker, colour in marks:
        if place is not None:
            label = f"{name} {torque(place.torque_Nm)} {torque_unit()}\nat {number(place.at - start)} {unit}"
            ax.plot(
                [place.at - start],
                [place.torque_Nm],
                marker,
                color=colour,
                ms=7,
                mec="white",
                zorder=5,
                ls="",
                label=label,
            )
    if found.set_at is not None:
        at = found.touch_at + found.set_at - start
        ax.plot(
            [at],
            [0.0],
            "P",
            color="black",
            ms=8,
            mec="white",
            zorder=5,
            ls="",
            label=f"permanent set\n{number(found.set_at)} {unit}",
        )
    if found.clipped:
        ax.axhline(found.largest_Nm, color=COLOURS[5], lw=1.0, ls=":", label="end of the sensor")
    top = 1.12 * max(float(found.trace.torque.max()), found.peak.torque_Nm)
    ax.set_ylim(min(-0.04 * top, 1.05 * float(found.trace.torque.min())), top)
    ax.set_xlabel(_AXES[found.over])
    show_unit(ax.yaxis, "torque, zero taken off", "N·m")
    ax.grid(True)
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=8, borderaxespad=0.0)


def _line(found: LogReading, ax: Axes, start: float) -> None:
    """The elastic slope, drawn through the middle of the stretch that it was fitted to."""
    assert found.slope_Nm is not None
    middle = 0.25 * found.peak.torque_Nm
    rising = found.curve.torque[: int(np.argmax(found.curve.torque)) + 1]
    at = float(found.curve.rotation[int(np.argmax(rising >= middle))])
    reach = np.array([0.0, found.onset.torque_Nm])
    label = (
        f"elastic slope\n{torque(found.slope_Nm)} {torque_unit()} per {UNITS[found.over].removesuffix('s')}"
    )
    ax.plot(
        at - start + (reach - middle) / found.slope_Nm,
        reach,
        color=SOFT,
        lw=1.0,
        ls="--",
        zorder=2,
        label=label,
    )
