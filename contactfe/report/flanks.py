"""Pressure along each flat of the fastener, as a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from contactfe.case import CaseRecord
from contactfe.contact import ContactSolution
from contactfe.report.case_words import header, headline
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import length_text, text_of
from contactfe.report.state import end_solution
from contactfe.report.style import CAUTION, COLOURS, CRUSHED, SOFT, blank, foot, heading, styled
from contactfe.turn import FlankPressure, flank_pressures, load_share

HEIGHT = 0.82  # of a row: the pressure cap
WHOLE = 0.5  # of the flats: where less is pressed, only that part is shown


@styled
def flanks_figure(record: CaseRecord) -> Figure | None:
    """Return the figure of the pressure along every flat at the end of the pull; None when the wrench turns freely."""
    solution = end_solution(record)
    if solution is None or not solution.pressure.any():
        return None
    flats = record.built.pair.flats
    figure = blank(7.6, 2.3 + 0.42 * flats)
    height = figure.get_figheight()
    ax = figure.add_axes((0.15, 0.95 / height, 0.82, 1.0 - 1.95 / height))
    draw_flanks(record, ax, solution)
    heading(figure, f"{record.built.case.name}: {headline(record)}", header(record))
    long = _flat_length(record)
    low, high = ax.get_xlim()
    part = f"Shown: the pressed part of the flats, which are {length_text(long)} long. "
    foot(figure, f"{part if high - low < long else ''}{CAUTION}")
    return figure


@styled
def draw_flanks(record: CaseRecord, ax: Axes, solution: ContactSolution | None = None) -> Axes:
    """Draw the pressure along each flat on given axes and return them; one row for each flat, numbered anticlockwise.

    Along x the distance from the middle of the flat (mm, anticlockwise positive); a row is as high as the pressure cap.
    Without a `solution` at the end of the pull.

    Raises:
        ValueError: the wrench turns freely, so that nothing presses.
    """
    solution = solution or end_solution(record)
    if solution is None or not solution.pressure.any():
        raise ValueError("the wrench turns freely: no flat carries pressure")
    pair, cap = record.built.pair, solution.law.cap
    half = 0.5 * _flat_length(record)
    shares = load_share(record.built, solution)
    flanks = flank_pressures(record.built, solution)
    for row, flank in enumerate(flanks):
        base = pair.flats - 1 - row
        ax.plot([-half, half], [base, base], color=SOFT, lw=0.8, zorder=2)
        tall = HEIGHT * flank.pressure / cap
        for on, colour, hatch in (
            (flank.crush_depth <= 0.0, COLOURS[0], ""),
            (flank.crush_depth > 0.0, CRUSHED, "////"),
        ):
            look: dict[str, Any] = {
                "color": colour,
                "edgecolor": "white" if hatch else colour,
                "hatch": hatch,
                "lw": 0.0,
            }
            ax.bar(flank.place[on], tall[on], flank.length[on], bottom=base, zorder=3, **look)
    names = [f"flat {k + 1}: {100 * share:.0f} %" for k, share in enumerate(shares)]
    ax.set_yticks(np.arange(pair.flats)[::-1], names)
    ax.set_ylim(-0.15, pair.flats)
    ax.set_xlim(*_shown(flanks, half))
    ax.tick_params(axis="y", length=0)
    show_unit(ax.xaxis, "along the flat from its middle, anticlockwise", "mm")
    ax.grid(True, axis="x")
    handles = [
        Patch(fc=COLOURS[0], label=f"pressure; a full row is {text_of(cap, 'MPa')}, the cap"),
        Patch(fc=CRUSHED, ec="white", hatch="////", label="crushed: pressure at its cap"),
    ]
    ax.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.1)
    return ax


def _flat_length(record: CaseRecord) -> float:
    """Length of a flat of the unrounded fastener (mm)."""
    return record.built.case.fastener.across_flats * math.tan(math.pi / record.built.pair.flats)


def _shown(flanks: Sequence[FlankPressure], half: float) -> tuple[float, float]:
    """From where to where the flats are shown (mm): whole, or only what is pressed where that is a small part of them."""
    ends = [
        float(edge)
        for flank in flanks
        for middle, length in zip(
            flank.place[flank.pressure > 0], flank.length[flank.pressure > 0], strict=True
        )
        for edge in (middle - 0.5 * length, middle + 0.5 * length)
    ]
    low, high = min(ends), max(ends)
    if high - low > WHOLE * 2.0 * half:
        return -1.08 * half, 1.08 * half
    margin = 0.15 * (high - low)
    return low - margin, high + margin
