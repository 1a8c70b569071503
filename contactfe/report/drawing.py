"""The pair at zero rotation with its dimensions, from the exact outlines: nothing is meshed or solved."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from numpy.typing import NDArray

from contactfe.inputs import CaseInput
from contactfe.profile import Outline, ProfilePair, profile_pair, turned_diameter
from contactfe.report.dimensions import Sheet, across_corners, dimensions_of, wall_of
from contactfe.report.reader_units import in_words, length_text, reader
from contactfe.report.style import (
    CAUTION,
    COLOURS,
    GREY,
    INK,
    SOFT,
    TINT,
    axis_mark,
    blank,
    foot,
    outline_patch,
    styled,
)
from contactfe.report.words import SHAPES, case_words, profile_words
from contactfe.standards import DIMENSIONS

Array = NDArray[np.float64]

WIDTH, HEIGHT = 11.6, 7.4  # inches
SHEET = (0.1, 0.35, 7.7, 6.3)  # left, bottom, width and height of the drawing, inches
_SHOWN = ("outside_diameter", "head_width")  # stand in the table under their own headings


@styled
def drawing_figure(case: CaseInput) -> Figure:
    """Return the drawing of a case: both bodies at zero rotation, main dimensions, the others in a table.

    Raises:
        GeometryError: the outlines cannot be built.
        InputError: the file of an outline cannot be used.
    """
    pair = profile_pair(case)
    figure = blank(WIDTH, HEIGHT)
    left, bottom, width, height = SHEET
    ax = figure.add_axes((left / WIDTH, bottom / HEIGHT, width / WIDTH, height / HEIGHT))
    draw_dimensions(case, pair, ax, (width, height))
    table = figure.add_axes((8.0 / WIDTH, bottom / HEIGHT, 3.5 / WIDTH, height / HEIGHT))
    _table(table, case, pair, height)
    figure.text(0.012, 0.975, case.name, fontsize=12, fontweight="bold", ha="left", va="top")
    figure.text(0.012, 0.938, in_words(case_words(case)), fontsize=8.5, color=SOFT, ha="left", va="top")
    unworn = "Dashed: the unworn fastener. " if _is_worn(case) else ""
    foot(figure, f"Lengths in {'mm' if reader().units == 'si' else 'inches'}. {unworn}{CAUTION}")
    return figure


@styled
def draw_dimensions(case: CaseInput, pair: ProfilePair, ax: Axes, inches: tuple[float, float]) -> None:
    """Draw the pair with its main dimensions on given axes of a size in inches."""
    dims = dimensions_of(case, pair)
    chord = pair.across_flats / 200
    shown = np.vstack(
        [*pair.wrench.polygon(chord), *pair.fastener.polygon(chord), *pair.new_fastener.polygon(chord)]
    )
    sheet = Sheet.fitted(ax, shown, dims, inches)
    ax.add_patch(outline_patch(pair.wrench, chord, facecolor=GREY, edgecolor=INK, lw=1.1, zorder=1))
    ax.add_patch(
        outline_patch(_without_core(pair.fastener), chord, facecolor=TINT, edgecolor=INK, lw=1.1, zorder=2)
    )
    if _is_worn(case):
        new = _without_core(pair.new_fastener)
        ax.add_patch(
            outline_patch(
                new, chord, facecolor="none", edgecolor=COLOURS[5], lw=0.9, ls=(0, (3, 2)), zorder=3
            )
        )
    core = Circle(
        (0, 0), case.fastener.core_radius, fill=False, edgecolor=SOFT, lw=0.7, ls=(0, (1, 2)), zorder=3
    )
    ax.add_patch(core)
    ax.text(
        0, 0.17 * pair.across_flats, "held core", fontsize=7.5, color=SOFT, ha="center", va="center", zorder=3
    )
    _cross(ax, 0.06 * pair.across_flats)
    for dim in dims:
        sheet.draw(dim)
    sheet.draw_wall(*wall_of(case, pair))
    axis_mark(ax, sheet.mark_place(), sheet.per_inch * 0.42)


def _is_worn(case: CaseInput) -> bool:
    return case.fastener.rounding > 0 or case.fastener.across_flats < case.fastener.across_flats_nominal


def _without_core(outline: Outline) -> Outline:
    return Outline(outline.loops[:1])


def _cross(ax: Axes, size: float) -> None:
    """The fastener's axis."""
    ax.plot([-size, size], [0, 0], color=SOFT, lw=0.8, zorder=4)
    ax.plot([0, 0], [-size, size], color=SOFT, lw=0.8, zorder=4)


def table_rows(case: CaseInput, pair: ProfilePair) -> list[tuple[str, str]]:
    """Return every dimension as (name, value with unit); a heading has an empty value."""
    f, w = case.fastener, case.wrench
    new = across_corners(case, pair, pair.new_fastener)
    rows = [
        ("Fastener", ""),
        ("head", f"{SHAPES.get(f.shape, f.shape)}{f' {f.size}' if f.size else ''}"),
        ("yield strength", in_words(f"{f.yield_strength:.0f} MPa")),
        ("across flats, s", length_text(f.across_flats)),
        (
            "over all" if f.shape == "outline" else "across corners, e",
            length_text(across_corners(case, pair, pair.fastener)),
        ),
    ]
    if f.rounding > 0:
        side = ", driven side" if f.worn_side == "driven" else ""
        rows += [
            ("across corners when new", length_text(new)),
            ("rounding", f"{100 * f.rounding:.3g} %{side}"),
        ]
        if f.worn_side == "driven" and f.shape in ("hex", "square"):
            turned = turned_diameter(f.across_flats, f.rounding, pair.flats)
            rows.append(("driven half of each corner turned to", length_text(turned)))
    rows += [
        *([] if f.shape == "outline" else _edges(case, pair)),
        ("engaged depth", length_text(f.engaged_depth)),
        ("Wrench", ""),
        ("profile", profile_words(case)),
        ("yield strength", in_words(f"{w.yield_strength:.0f} MPa")),
        ("opening, S", length_text(pair.opening)),
        ("clearance, S − s", length_text(pair.opening - f.across_flats)),
        ("thickness", length_text(w.thickness)),
        ("least wall", length_text(wall_of(case, pair)[0])),
    ]
    unused = {"ridge_radius"} if w.profile == "flare-nut" and w.points == 6 else set()
    for name in (*_SHOWN, *(n for n in w.dims if n not in _SHOWN)):
        if name in w.dims and name not in unused:
            value = w.dims[name]
            shown = f"{math.degrees(value):.3g}°" if DIMENSIONS[name].kind == "angle" else length_text(value)
            rows.append((name.replace("_", " "), shown))
    return rows


def _edges(case: CaseInput, pair: ProfilePair) -> list[tuple[str, str]]:
    return [
        ("corner radius", length_text(case.fastener.corner_radius)),
        ("length of flat left", length_text(_flat_length(pair.fastener))),
    ]


def _flat_length(fastener: Outline) -> float:
    lengths = [p.length for p in fastener.pieces if p.name.startswith("flat")]
    return float(np.mean(lengths)) if lengths else 0.0


def _table(ax: Axes, case: CaseInput, pair: ProfilePair, height: float) -> None:
    """Write the table from the top of its axes, one row every 0.19 inch."""
    ax.set_axis_off()
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(height, 0.0)
    y = 0.1
    for name, value in table_rows(case, pair):
        if not value:
            y += 0.12
            ax.text(0.0, y, name, fontsize=9.5, fontweight="bold", ha="left", va="center")
            ax.plot([0.0, 1.0], [y + 0.1, y + 0.1], color=SOFT, lw=0.7)
            y += 0.03
        else:
            ax.text(0.0, y, name, fontsize=8.2, ha="left", va="center")
            ax.text(1.0, y, value, fontsize=8.2, ha="right", va="center")
        y += 0.187
