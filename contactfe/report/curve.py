"""The torque-rotation curve as a figure."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from contactfe.case import ENDS, CaseRecord
from contactfe.report.case_words import header
from contactfe.report.style import CAUTION, COLOURS, GREY, INK, SOFT, blank, foot, heading, styled
from contactfe.report.words import LBF_FT, imperial, length, number
from contactfe.turn import bearing_depth, smooth_through


@styled
def curve_figure(record: CaseRecord) -> Figure:
    """Return the figure of torque (N m, over the engaged depth) against rotation (deg)."""
    figure = blank(7.6, 5.0)
    ax = figure.add_axes((0.095, 0.165, 0.82, 0.69))
    draw_curve(record, ax)
    heading(figure, record.built.case.name, header(record))
    foot(figure, CAUTION)
    return figure


@styled
def draw_curve(record: CaseRecord, ax: Axes) -> None:
    """Draw the curve on given axes: full up to the torque delivered, dashed beyond; free play shaded, onset, the end of
    the pull and, where it lies beyond that, slip marked with their values."""
    depth = bearing_depth(record.built.case)
    ax.set_xlabel("rotation of the wrench's head (deg)")
    ax.set_ylabel(f"torque over {length(depth)} mm engaged depth (N·m)")
    ax.grid(True)
    inch = ax.secondary_yaxis("right", functions=(_to_inch, _from_inch))
    inch.set_ylabel("torque (lbf·ft)")
    e = record.estimate
    if e.turns_freely or e.slip_torque_Nm is None:
        _draw_free(ax)
        return
    rotation = np.degrees(record.curve.rotation)
    play = e.free_play_deg or 0.0
    top = max(e.slip_torque_Nm, float(record.curve.torque.max()))
    smooth = smooth_through(rotation, record.curve.torque)
    if smooth is not None:  # as the onset is read off it; the solved points as dots
        end = min(record.rotation_deg or 0.0, float(smooth.x[-1]))
        along = np.linspace(smooth.x[0], end, 400)
        ax.plot([0.0, play, *along], [0.0, 0.0, *smooth(along)], color=COLOURS[0], zorder=3)
        beyond = np.linspace(end, smooth.x[-1], 200)
        ax.plot(beyond, smooth(beyond), color=COLOURS[0], ls=(0, (5, 2.5)), lw=1.4, zorder=3)
    ax.plot(rotation, record.curve.torque, ".", color=COLOURS[0], ms=5, zorder=3)
    ax.axvspan(0.0, play, color=GREY, lw=0)
    right = 1.04 * float(rotation.max())
    ax.set_xlim(0.0, right)
    ax.set_ylim(0.0, 1.22 * top if top > 0 else 1.0)
    if e.onset_torque_Nm is not None and e.onset_torque_Nm < record.torque_Nm:
        _mark_onset(ax, e.onset_rotation_deg, e.onset_torque_Nm)
    _mark_end(ax, record, right)
    if record.ended_by != "grip":
        _mark_slip(ax, e.slip_rotation_deg, e.slip_torque_Nm, right)
    band = Patch(color=GREY, label=f"free play {number(play)}° each way")
    ax.legend(handles=[band], loc="lower right", frameon=True, framealpha=1.0, edgecolor="none")


def _to_inch(torque: Any) -> Any:
    return np.asarray(torque) / LBF_FT


def _from_inch(torque: Any) -> Any:
    return np.asarray(torque) * LBF_FT


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


def _mark_end(ax: Axes, record: CaseRecord, right: float) -> None:
    rotation, torque = record.rotation_deg, record.torque_Nm
    if rotation is None:
        return
    ax.plot([rotation, rotation, 0.0], [0.0, torque, torque], color=SOFT, lw=0.8, ls=(0, (4, 3)), zorder=2)
    ax.plot([rotation], [torque], "o", color=COLOURS[0], ms=9, mec="white", zorder=5)
    text = f"{ENDS[record.ended_by].event.split(':')[0]}\n{number(torque)} N·m ({imperial(torque)}) at {number(rotation)}°"
    side = "right" if rotation > 0.6 * right else "center" if rotation > 0.25 * right else "left"
    ax.annotate(
        text, (rotation, torque), xytext=(0, 9), textcoords="offset points", ha=side, va="bottom",
        fontsize=10.5, fontweight="bold",
    )  # fmt: skip


def _mark_slip(ax: Axes, rotation: float | None, torque: float | None, right: float) -> None:
    """Slip, where the pull ends before it."""
    if rotation is None or torque is None:
        return
    ax.plot([rotation], [torque], "o", mfc="white", mec=COLOURS[0], mew=1.6, ms=8, zorder=5)
    ax.annotate(
        f"slip would come at {number(torque)} N·m, {number(rotation)}°",
        (rotation, torque), xytext=(0, -10), textcoords="offset points", ha="right" if rotation > 0.5 * right else "left",
        va="top", color=INK,
    )  # fmt: skip
