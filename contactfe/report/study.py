"""Figures of a study: torque of every case, one figure per profile, and the profiles against each
other.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import Units, reader, reading
from contactfe.report.rows import (
    PROFILE,
    ROUNDING,
    STRENGTHS,
    Row,
    Swept,
    band_of,
    ends_before_slip,
    outcome,
    row_words,
    strength_of,
    swept_inputs,
    torque_of,
    value_of,
    value_words,
)
from contactfe.report.study_finding import finding_of, weakest_rows
from contactfe.report.study_map import best_map
from contactfe.report.study_relative import relative_figure
from contactfe.report.style import CAUTION, COLOURS, INK, LINES, MARKERS, SOFT, blank, foot, save, styled
from contactfe.report.words import PROFILES

Lines = dict[str, list[Row]]
ALL = "all cases"
SHADED = 3  # lines whose bands are drawn as areas; more would hide each other
APART = 0.012  # of the axis: how far error bars of several lines stand from each other
CIRCLE: dict[str, Any] = {"ls": "none", "marker": "o", "color": INK, "mfc": "none", "mew": 1.1, "ms": 12}


def study_figures(rows: Sequence[Row], folder: Path, units: Units = "si") -> list[Path]:
    """Write all figures of a study into a folder that exists and return their paths.

    Rows hold the names of the results table and the swept inputs by dotted path; see `study_charts`.

    Raises:
        ContactFEError: a file cannot be written.
    """
    paths = []
    for name, figure in study_charts(rows, units).items():
        path = folder / f"{name}.png"
        save(figure, path)
        paths.append(path)
    return paths


def study_charts(rows: Sequence[Row], units: Units | None = None) -> dict[str, Figure]:
    """Return the figures of a study by name: "torque-PROFILE" for each profile, "comparison", "best-wrench"
    and "relative".

    The torque delivered stands against the rounding, or against
    the first swept number where no rounding was swept, or against the first swept words; one line for each
    combination of the other inputs. Cases that turn freely stand at zero. Cases with a band stand at their median,
    with the band from 10 to 90 %. The comparison takes the lowest strength and the first value of every other input
    but the profile. Without `units` for the current reader.
    """
    with reading(units or reader().units, (torque_of(row) or 0.0 for row in rows)):
        return _charts(rows)


def _charts(rows: Sequence[Row]) -> dict[str, Figure]:
    swept = swept_inputs(rows)
    across = horizontal(swept)
    if across is not None and across.path == PROFILE:
        return {"torque": torque_chart(rows, across, "Torque delivered by profile")}
    figures: dict[str, Figure] = {}
    for profile in _profiles(rows):
        own = [row for row in rows if str(value_of(row, PROFILE)) == profile]
        name = f"torque-{profile}" if profile else "torque"
        figures[name] = torque_chart(own, across, _title(profile))
    if across is not None and any(item.path == PROFILE for item in swept):
        chart = comparison_chart(rows, swept, across)
        if chart is not None:
            figures["comparison"] = chart
        chart = best_map(rows, swept, across)
        if chart is not None:
            figures["best-wrench"] = chart
        chart = relative_figure(rows, swept, across)
        if chart is not None:
            figures["relative"] = chart
    return figures


@styled
def torque_chart(rows: Sequence[Row], across: Swept | None, title: str) -> Figure:
    """Return the torque delivered (N m) against one swept input, one line per combination of the others."""
    others = [item.path for item in swept_inputs(rows) if across is None or item.path != across.path]
    lines: Lines = {}
    for row in sorted(rows, key=lambda r: (strength_of(r), row_words(r, others))):
        lines.setdefault(row_words(row, others) or ALL, []).append(row)
    figure, ax = _sheet(title, len(lines) + 1)
    _draw_lines(ax, lines, across, 1.0)
    show_unit(ax.yaxis, "torque delivered", "N·m")
    _legend(ax, lines)
    _note_failures(figure, rows)
    return figure


@styled
def comparison_chart(rows: Sequence[Row], swept: Sequence[Swept], across: Swept) -> Figure | None:
    """Return all profiles at the lowest strength, slip torque over that of the best one at the first value
    of `across`.

    None when no profile grips there, so that there is nothing to refer to.
    """
    fixed = [item for item in swept if item.path not in (PROFILE, across.path)]
    chosen = weakest_rows(rows, swept, across)
    start = [torque_of(row) or 0.0 for row in chosen if value_of(row, across.path) == across.values[0]]
    best = max(start, default=0.0)
    if best <= 0:
        return None
    lines: Lines = {}
    looks = [_look_of(profile, k) for k, profile in enumerate(_profiles(chosen))]
    for profile in _profiles(chosen):
        lines[PROFILES.get(profile, profile)] = [row for row in chosen if value_of(row, PROFILE) == profile]
    what = row_words(chosen[0], [item.path for item in fixed])
    found = finding_of(chosen, across)
    title = found or "Profiles compared"
    figure, ax = _sheet(f"{title}{f' ({what})' if what else ''}", len(lines) + 1)
    _draw_lines(ax, lines, across, best / 100.0, looks)
    factor, unit = reader().scale("N·m")
    new = (
        "new"
        if across.path == ROUNDING and across.values[0] == 0.0
        else value_words(across.path, across.values[0])
    )
    ax.set_ylabel(f"torque (% of the best, {new}: {best / factor:.0f} {unit})")
    _legend(ax, lines, looks)
    _note_failures(figure, chosen)
    return figure


def horizontal(swept: Sequence[Swept]) -> Swept | None:
    """Return the input on the x axis: rounding, else the first number (a strength last), else the first
    words (the profile last); None where nothing was swept.
    """

    def rank(item: Swept) -> int:
        if item.path == ROUNDING:
            return 0
        if item.numeric:
            return 2 if item.path in STRENGTHS else 1
        return 4 if item.path == PROFILE else 3

    return min(swept, key=rank, default=None)


def _profiles(rows: Sequence[Row]) -> list[str]:
    """The profiles of the rows in the fixed order; unknown ones behind, "" where a row has none."""
    present = list(dict.fromkeys(str(value_of(row, PROFILE)) for row in rows))
    known = list(PROFILES)
    return sorted(present, key=lambda p: known.index(p) if p in known else len(known))


def _height(row: Row, unit: float) -> float:
    """Torque over a unit, 0 where the wrench turns freely, nan without an answer: it breaks the line."""
    torque = torque_of(row)
    return math.nan if torque is None else torque / unit


def _free(row: Row) -> bool:
    """Whether a row stands at zero because the wrench turns freely, of a band in half of the samples or more."""
    return torque_of(row) == 0.0


def _title(profile: str) -> str:
    name = PROFILES.get(profile, profile)
    return f"{name[:1].upper()}{name[1:]}: torque delivered" if name else "Torque delivered of all cases"


def _sheet(title: str, entries: int) -> tuple[Figure, Axes]:
    """A figure with one pair of axes and room below for a legend of some entries in two columns."""
    rows = math.ceil(entries / 2)
    below, height = 0.95 + 0.2 * rows, 4.5 + 0.2 * rows
    figure = blank(7.6, height)
    lines = textwrap.wrap(title, 62)
    top = 0.28 + 0.19 * len(lines)
    ax = figure.add_axes((0.095, below / height, 0.885, 1.0 - (below + top) / height))
    figure.text(
        0.012, 1 - 0.1 / height, "\n".join(lines), fontsize=12, fontweight="bold", ha="left", va="top"
    )
    foot(figure, CAUTION)
    ax.grid(True)
    return figure, ax


def _draw_lines(ax: Axes, lines: Lines, across: Swept | None, unit: float, looks: Sequence[int] = ()) -> None:
    """Draw every line, torques over a unit; filled markers, hollow ones for free ones, a circle
    round those whose pull ends before slip. Each line has its number among `looks`, else its place."""
    _draw_bands(ax, lines, across, unit, looks)
    for k, rows in enumerate(lines.values()):
        look = _look(looks[k] if looks else k)
        points = sorted((_place(row, across), _height(row, unit), _free(row)) for row in rows)
        if across is not None and across.numeric:
            x, y = [p[0] for p in points], [p[1] for p in points]
            ax.plot(x, y, ls=look["ls"], color=look["color"], zorder=3, clip_on=False)
        for free in (False, True):
            x, y = [p[0] for p in points if p[2] == free], [p[1] for p in points if p[2] == free]
            marker = {**look, "ls": "none", "mfc": "white" if free else look["color"], "mew": 1.4, "ms": 7}
            ax.plot(x, y, zorder=4, clip_on=False, **marker)
        weak = [(_place(row, across), _height(row, unit)) for row in rows if ends_before_slip(row)]
        if weak:
            ax.plot([p[0] for p in weak], [p[1] for p in weak], zorder=5, clip_on=False, **CIRCLE)
    heights = [_height(row, unit) for rows in lines.values() for row in rows]
    heights += [band[2] / unit for rows in lines.values() for row in rows if (band := band_of(row))]
    top = max((h for h in heights if not math.isnan(h)), default=0.0)
    ax.set_ylim(0.0, 1.08 * top if top > 0 else 1.0)
    ax.set_xlabel(across.axis if across is not None else "case")
    if across is None:
        ax.set_xticks([])
    elif not across.numeric:
        words = [textwrap.fill(value_words(across.path, v), 13) for v in across.values]
        ax.set_xticks(range(len(words)), words, fontsize=8 if len(words) < 7 else 6.5)
        ax.set_xlim(-0.5, len(words) - 0.5)


def _draw_bands(ax: Axes, lines: Lines, across: Swept | None, unit: float, looks: Sequence[int] = ()) -> None:
    """Draw the 10 to 90 % bands: areas along a number where few lines are, else error bars."""
    numeric = across is not None and across.numeric and len(across.values) > 1
    reach = across.values[-1] - across.values[0] if across is not None and numeric else float(len(lines) > 0)
    for k, rows in enumerate(lines.values()):
        look = _look(looks[k] if looks else k)
        points = sorted((_place(row, across), *band) for row in rows if (band := band_of(row)))
        if not points:
            continue
        x, middle, low, high = ([p[i] / (unit if i else 1.0) for p in points] for i in range(4))
        if numeric and len(lines) <= SHADED and len(points) > 1:
            ax.fill_between(x, low, high, color=look["color"], alpha=0.2, lw=0, zorder=2)
            continue
        # Side by side, so that no bar hides another one; the markers stay where they belong.
        shift = APART * reach * (k - 0.5 * (len(lines) - 1))
        below = [m - v for m, v in zip(middle, low, strict=True)]
        above = [v - m for m, v in zip(middle, high, strict=True)]
        bars: dict[str, Any] = {"ecolor": look["color"], "elinewidth": 1.2, "capsize": 2.5}
        at = [v + shift for v in x]
        ax.errorbar(at, middle, yerr=(below, above), fmt="none", zorder=3, clip_on=False, **bars)


def _place(row: Row, across: Swept | None) -> float:
    """Where a row stands along x, nan where it does not say."""
    if across is None:
        return 0.0
    value = value_of(row, across.path)
    if value not in across.values:
        return math.nan
    return float(value) if across.numeric else float(across.values.index(value))


def _look(k: int) -> dict[str, Any]:
    return {
        "color": COLOURS[k % len(COLOURS)],
        "marker": MARKERS[k % len(MARKERS)],
        "ls": LINES[(k // len(COLOURS) + k) % len(LINES)],
    }


def _look_of(profile: str, k: int) -> int:
    """The number of a profile's look, the same in all figures of a study; a strange one takes its place `k`."""
    return list(PROFILES).index(profile) if profile in PROFILES else k


def _legend(ax: Axes, lines: Lines, looks: Sequence[int] = ()) -> None:
    rows = [row for line in lines.values() for row in line]
    handles: list[Artist] = [
        Line2D([], [], label=name, **_look(looks[k] if looks else k))
        for k, name in enumerate(lines)
        if name != ALL
    ]
    if any(band_of(row) is not None for row in rows):
        handles.append(Patch(fc=SOFT, alpha=0.3, label="median and 10 to 90 % of pulls"))
    if any(_free(row) for row in rows):
        hollow: dict[str, Any] = {"ls": "none", "marker": "o", "color": SOFT, "mfc": "white", "mew": 1.4}
        handles.append(Line2D([], [], label="hollow, at zero: turns freely", **hollow))
    if any(ends_before_slip(row) for row in rows):
        handles.append(
            Line2D([], [], label="circled: wrench, bolt or bar ends the pull before slip", **CIRCLE)
        )
    figure = ax.get_figure(root=True)
    assert figure is not None
    height = figure.get_figheight() * ax.get_position().height
    ax.legend(
        handles=handles, loc="upper left", ncols=2, bbox_to_anchor=(0.0, -0.5 / height), borderaxespad=0.0
    )


def _note_failures(figure: Figure, rows: Sequence[Row]) -> None:
    count = sum(outcome(row) == "failed" for row in rows)
    if count:
        text = f"{count} of {len(rows)} cases without an answer: left out"
        figure.text(0.985, 0.012, text, fontsize=7.5, color=SOFT, ha="right", va="bottom")
