"""Figures of a comparison: estimate against measurement, and the profile of a calibrated constant."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from contactfe.report.reader_axis import show_unit
from contactfe.report.style import CAUTION, COLOURS, GREY, MARKERS, SOFT, blank, foot, styled
from contactfe.report.words import number
from contactfe.trial import Calibration, ComparedStudy


@styled
def parity_figure(found: ComparedStudy) -> Figure:
    """Return the figure of estimated over measured torque (N m): bands of the estimate upwards, of the mean of the
    readings across."""
    figure = blank(6.4, 6.2)
    ax = figure.add_axes((0.12, 0.13, 0.84, 0.74))
    designs = list(dict.fromkeys(c.design for c in found.cases))
    top = 1.15 * max(max(c.high_Nm, max(c.readings), c.measured_Nm) for c in found.cases)
    line = np.array([0.0, top])
    ax.fill_between(line, 0.9 * line, 1.1 * line, color=GREY, lw=0, label="within 10 %")
    ax.plot(line, line, color=SOFT, lw=1.0)
    for k, design in enumerate(designs):
        colour, marker = COLOURS[k % len(COLOURS)], MARKERS[k % len(MARKERS)]
        for i, c in enumerate(c for c in found.cases if c.design == design):
            reach = np.exp(2.0 * c.u_data)
            ax.plot([c.measured_Nm] * 2, [c.low_Nm, c.high_Nm], color=colour, lw=1.4, zorder=3)
            ax.plot(
                [c.measured_Nm / reach, c.measured_Nm * reach],
                [c.estimate_Nm] * 2,
                color=colour,
                lw=1.4,
                zorder=3,
            )
            ax.plot([c.measured_Nm], [c.estimate_Nm], marker, color=colour, mec="white", ms=8, zorder=4, ls="",
                    label=design if i == 0 else None)  # fmt: skip
    ax.set_xlim(0.0, top)
    ax.set_ylim(0.0, top)
    show_unit(ax.xaxis, "measured torque: geometric mean, two standard errors", "N·m")
    show_unit(ax.yaxis, "estimated torque: plain case, eight of ten pulls", "N·m")
    ax.grid(True)
    ax.legend(loc="upper left")
    figure.text(0.012, 0.972, found.name, fontsize=12, fontweight="bold", va="top")
    figure.text(
        0.012, 0.928, f"bias {100 * found.bias:+.1f} %{_named(found)}", fontsize=8.5, color=SOFT, va="top"
    )
    foot(figure, CAUTION)
    return figure


def _named(found: ComparedStudy) -> str:
    return f"; {found.calibration}" if found.calibration else ""


@styled
def profile_figure(found: Calibration) -> Figure:
    """Return the figure of the sum of squared errors over its least value, against each constant."""
    figure = blank(5.6 * len(found.fits), 4.2)
    for k, (fit, profile) in enumerate(zip(found.fits, found.profiles, strict=True)):
        ax = figure.add_axes(((k + 0.13) / len(found.fits), 0.16, 0.8 / len(found.fits), 0.68))
        ax.axvspan(
            fit.low, fit.high, color=GREY, lw=0, label=f"95 %: {number(fit.low)} to {number(fit.high)}"
        )
        ax.plot(profile[:, 0], profile[:, 1], color=COLOURS[0])
        ax.axvline(fit.value, color=COLOURS[5], lw=1.2, label=f"fitted {number(fit.value)}")
        ax.axvline(fit.before, color=SOFT, lw=1.2, ls="--", label=f"before {number(fit.before)}")
        ax.set_ylim(0.9, min(6.0, float(profile[:, 1].max())))
        inside = profile[profile[:, 1] < 6.0, 0]
        ax.set_xlim(0.98 * min(float(inside.min()), fit.before), 1.02 * max(float(inside.max()), fit.before))
        ax.set_xlabel(fit.path.partition(".")[2].replace("_", " ") + " (-)")
        ax.set_ylabel("squared errors over their least sum (-)")
        ax.grid(True)
        ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, fontsize=8, frameon=False)
    figure.text(0.012, 0.96, f"{found.readings} readings", fontsize=12, fontweight="bold", va="top")
    return figure
