"""The torque-rotation curve as a figure."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from contactfe.case import CaseRecord
from contactfe.report.style import CAUTION, COLOURS, GREY, INK, SOFT, blank, foot, styled
from contactfe.report.words import case_words, length, number
from contactfe.turn import bearing_depth, smooth_through


@styled
def curve_figure(record: CaseRecord) -> Figure:
    """Return the figure of torque (N m, over the engaged depth) against rotation (deg)."""
    figure = blank(7.6, 5.0)
    ax = figure.add_axes((0.095, 0.165, 0.875, 0.69))
    draw_curve(record, ax)
    case = record.built.case
    figure.text(0.012, 0.965, case.name, fontsize=12, fontweight="bold", ha="left", va="top")
    figure.text(0.012, 0.912, case_words(case), fontsize=8.5, color=SOFT, ha="left", va="top")
    foot(figure, CAUTION)
    return figure


@styled
def draw_curve(record: CaseRecord, ax: Axes) -> None:
    """Draw the curve on given axes: free play shaded, onset and slip marked with their values."""
    depth = bearing_depth(record.built.case)
    ax.set_xlabel("rotation of the wrench's head (deg)")
    ax.set_ylabel(f"torque over {length(depth)} mm engaged depth (N·m)")
    ax.grid(True)
    e = record.estimate
    if e.turns_freely or e.slip_torque_Nm is None:
        _draw_free(ax)
        return
    rotation = np.degrees(record.curve.rotation)
    play = e.free_play_deg or 0.0
    top = max(e.slip_torque_Nm, float(record.curve.torque.max()))
    smooth = smooth_through(rotation, record.curve.torque)
    if smooth is not None:  # as the onset is read off it; the solved points as dots
        along = np.linspace(smooth.x[0], smooth.x[-1], 400)
        ax.plot([0.0, play, *along], [0.0, 0.0, *smooth(along)], color=COLOURS[0], zorder=3)
    ax.plot(rotation, record.curve.torque, ".", color=COLOURS[0], ms=5, zorder=3)
    ax.axvspan(0.0, play, color=GREY, lw=0)
    right = 1.04 * float(rotation.max())
    ax.set_xlim(0.0, right)
    ax.set_ylim(0.0, 1.22 * top if top > 0 else 1.0)
    _mark_onset(ax, e.onset_rotation_deg, e.onset_torque_Nm)
    _mark_slip(ax, e.slip_rotation_deg, e.slip_torque_Nm, right)
    band = Patch(color=GREY, label=f"free play {number(play)}° each way")
    ax.legend(handles=[band], loc="lower right", frameon=True, framealpha=1.0, edgecolor="none")


def _draw_free(ax: Axes) -> None:
    ax.plot([0.0, 30.0], [0.0, 0.0], color=COLOURS[0], zorder=3, clip_on=False)
    ax.set_xlim(0.0, 30.0)
    ax.set_ylim(0.0, 1.0)
    ax.set_yticks([0.0])
    ax.text(15.0, 0.55, "turns freely", fontsize=17, fontweight="bold", ha="center", va="center")
    ax.text(
        15.0, 0.45, "the opening passes over the corners: no torque at any rotation", ha="center", va="center"
    )


def _mark_onset(ax: Axes, rotation: float | None, torque: float | None) -> None:
    if rotation is None or torque is None or not math.isfinite(torque):
        return
    ax.plot([rotation], [torque], "s", color=COLOURS[5], ms=7, zorder=5)
    ax.annotate(
        f"onset {number(torque)} N·m\nat {number(rotation)}°",
        (rotation, torque),
        xytext=(11, -5),
        textcoords="offset points",
        ha="left",
        va="top",
        color=INK,
    )


def _mark_slip(ax: Axes, rotation: float | None, torque: float | None, right: float) -> None:
    if rotation is None or torque is None:
        return
    ax.plot([rotation, rotation, 0.0], [0.0, torque, torque], color=SOFT, lw=0.8, ls=(0, (4, 3)), zorder=2)
    ax.plot([rotation], [torque], "o", color=COLOURS[0], ms=9, mec="white", zorder=5)
    side = "right" if rotation > 0.6 * right else "center" if rotation > 0.25 * right else "left"
    ax.annotate(
        f"slip {number(torque)} N·m at {number(rotation)}°",
        (rotation, torque),
        xytext=(0, 11),
        textcoords="offset points",
        ha=side,
        va="bottom",
        fontsize=11,
        fontweight="bold",
    )
