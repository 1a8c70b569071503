"""The torque-rotation curve as a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from contactfe.case import ENDS, CaseRecord
from contactfe.report.case_words import header
from contactfe.report.labels import Label, place_labels
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import Reader, both, reader, text_of
from contactfe.report.style import CAUTION, COLOURS, GREY, INK, SOFT, blank, foot, heading, styled
from contactfe.report.words import LBF_FT, LEAST_FT, length, number
from contactfe.turn import bearing_depth, smooth_through

Array = NDArray[np.float64]

MARK = 6.0  # pixels round a marked point that no label covers


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
def draw_curve(record: CaseRecord, ax: Axes) -> Axes:
    """Draw the curve on given axes: full up to the torque delivered, dashed beyond; free play shaded, onset, the end of
    the pull and, where it lies beyond that, slip marked with their values. Returns the axes."""
    depth = bearing_depth(record.built.case)
    ax.set_xlabel("rotation of the wrench's head (deg)")
    ax.grid(True)
    e = record.estimate
    if e.turns_freely or e.slip_torque_Nm is None:
        _draw_free(ax)
        _scales(ax, depth, LEAST_FT * LBF_FT)
        return ax
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
    _scales(ax, depth, top)
    band = Patch(color=GREY, label=f"free play {number(play)}° each way")
    legend = ax.legend(handles=[band], loc="lower right", frameon=True, framealpha=1.0, edgecolor="none")
    labels = [*_end_label(ax, record, right), *_onset_label(ax, record), *_slip_label(ax, record, right)]
    place_labels(ax, labels, _drawn(record), [legend.get_window_extent(), *_points(ax, labels)])
    return ax


def _drawn(record: CaseRecord) -> Array:
    """Points along the drawn curve, for labels to keep away from."""
    along = np.linspace(float(record.curve.rotation.min()), float(record.curve.rotation.max()), 200)
    order = np.argsort(record.curve.rotation)
    torque = np.interp(along, record.curve.rotation[order], record.curve.torque[order])
    return np.column_stack([np.degrees(along), torque])


def _points(ax: Axes, labels: Sequence[Label]) -> list[Bbox]:
    """The marked points as boxes in pixels: no label stands on one."""
    return [
        Bbox.from_bounds(x - MARK, y - MARK, 2 * MARK, 2 * MARK)
        for x, y in (ax.transData.transform(label.at) for label in labels)
    ]


def _scales(ax: Axes, depth: float, top: float) -> None:
    """Torque on both sides: the reader's unit on the left, the other one on the right."""
    words = f"torque over {text_of(depth, 'mm') if reader().units == 'inch' else f'{length(depth)} mm'} engaged depth"
    show_unit(ax.yaxis, words, "N·m", top)
    inch = Reader("inch", top < LEAST_FT * LBF_FT)
    factor, name = inch.scale("N·m") if reader().units == "si" else (1.0, "N·m")
    other = ax.secondary_yaxis(
        "right", functions=(lambda v: np.asarray(v) / factor, lambda v: np.asarray(v) * factor)
    )
    other.set_ylabel(f"torque ({name})")


def _draw_free(ax: Axes) -> None:
    ax.plot([0.0, 30.0], [0.0, 0.0], color=COLOURS[0], zorder=3, clip_on=False)
    ax.set_xlim(0.0, 30.0)
    ax.set_ylim(0.0, 1.0)
    ax.set_yticks([0.0])
    ax.text(15.0, 0.55, "turns freely", fontsize=17, fontweight="bold", ha="center", va="center")
    ax.text(
        15.0, 0.45, "the opening passes over the corners: no torque at any rotation", ha="center", va="center"
    )


def _onset_label(ax: Axes, record: CaseRecord) -> list[Label]:
    e = record.estimate
    rotation, torque = e.onset_rotation_deg, e.onset_torque_Nm
    if rotation is None or torque is None or not math.isfinite(torque) or torque >= record.torque_Nm:
        return []
    ax.plot([rotation], [torque], "s", color=COLOURS[5], ms=7, zorder=5)
    text = f"onset {text_of(torque, 'N·m')}\nat {number(rotation)}°"
    return [Label(text, (rotation, torque), {"color": INK}, ((11, -5, "left", "top"),))]


def _end_label(ax: Axes, record: CaseRecord, right: float) -> list[Label]:
    rotation, torque = record.rotation_deg, record.torque_Nm
    if rotation is None:
        return []
    ax.plot([rotation, rotation, 0.0], [0.0, torque, torque], color=SOFT, lw=0.8, ls=(0, (4, 3)), zorder=2)
    ax.plot([rotation], [torque], "o", color=COLOURS[0], ms=9, mec="white", zorder=5)
    text = f"{ENDS[record.ended_by].event.split(':')[0]}\n{both(torque)} at {number(rotation)}°"
    side = "right" if rotation > 0.6 * right else "center" if rotation > 0.25 * right else "left"
    look = {"fontsize": 10.5, "fontweight": "bold"}
    return [Label(text, (rotation, torque), look, ((0, 9, side, "bottom"),))]


def _slip_label(ax: Axes, record: CaseRecord, right: float) -> list[Label]:
    """Slip, where the pull ends before it."""
    rotation, torque = record.estimate.slip_rotation_deg, record.estimate.slip_torque_Nm
    if record.ended_by == "grip" or rotation is None or torque is None:
        return []
    ax.plot([rotation], [torque], "o", mfc="white", mec=COLOURS[0], mew=1.6, ms=8, zorder=5)
    side = "right" if rotation > 0.5 * right else "left"
    text = f"slip would come at {text_of(torque, 'N·m')}, {number(rotation)}°"
    return [Label(text, (rotation, torque), {"color": INK}, ((0, -10, side, "top"), (0, 9, side, "bottom")))]
