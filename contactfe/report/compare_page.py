"""One page that compares stored results: cases by their limits and curves, studies case by case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from contactfe.case import ENDS, SAFETY
from contactfe.report.page import picture, render
from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import Units, both, in_words, reader, reading
from contactfe.report.rows import Row, end_of, torque_of, value_of, value_words
from contactfe.report.style import CAUTION, COLOURS, LINES, MARKERS, SOFT, blank, foot, heading, styled
from contactfe.study import label
from contactfe.turn import smooth_through

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stored:
    """The results of one folder by its name: the record of a case, or the rows of a study."""

    name: str
    rows: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True)
class Line:
    """One line of the table: what is compared, and its cells."""

    head: tuple[str, ...]
    cells: tuple[str, ...]


def cases_page(stored: Sequence[Stored], version: str, units: Units = "si") -> str:
    """Return the page that compares solved cases: torque delivered, what ends it, and the curves over each other."""
    with reading(units, (one.rows[0]["torque_Nm"] or 0.0 for one in stored)):
        return _cases(stored, version)


def _cases(stored: Sequence[Stored], version: str) -> str:
    records = [(one.name, one.rows[0]) for one in stored]
    unit = reader().scale("N·m")[1]
    best = max(records, key=lambda item: item[1]["torque_Nm"] or 0.0)
    lines = [
        Line(
            (name,),
            (
                _number(found["torque_Nm"]),
                ENDS[found["ended_by"]].one,
                in_words(str(found["held"])),
                "none" if found["slip_torque_Nm"] is None else _number(found["slip_torque_Nm"]),
                "none" if found["margin"] is None else f"{100 * found['margin']:.0f} %",
                _against(found["torque_Nm"], best[1]["torque_Nm"], name == best[0]),
            ),
        )
        for name, found in records
    ]
    head = f"{best[0]} delivers most: {both(best[1]['torque_Nm'])}"
    if len(records) == 2 and best[1]["torque_Nm"]:
        other = next(item for item in records if item is not best)
        head += f"; {other[0]} delivers {_less(other[1]['torque_Nm'], best[1]['torque_Nm'])}"
    heads = [
        f"torque ({unit})",
        "ended by",
        "held",
        f"slip torque ({unit})",
        "margin to the next limit",
        "against the best",
    ]
    texts = (
        "Torque against rotation up to the torque delivered, dotted beyond.",
        f"Chart. {head}. The numbers stand in the table.",
    )
    figure = picture(curves_figure(records), "curves", texts, png=True)
    return _page("Cases compared", head, (["case"], heads), lines, [figure], version)


def studies_page(stored: Sequence[Stored], version: str, units: Units = "si") -> str:
    """Return the page that compares studies: the torque of every case that they have in common, by its inputs."""
    with reading(units, (torque_of(row) or 0.0 for one in stored for row in one.rows)):
        return _studies(stored, version)


def _studies(stored: Sequence[Stored], version: str) -> str:
    paths = list(dict.fromkeys(key for one in stored for row in one.rows for key in row if "." in key))
    tables = [{_key(row, paths): row for row in one.rows} for one in stored]
    common = [key for key in tables[0] if all(key in table for table in tables[1:])]
    names = [one.name for one in stored]
    lines = []
    for key in common:
        torques = [torque_of(table[key]) for table in tables]
        first = torques[0]
        cells = [_torque(table[key]) for table in tables]
        cells += [f"{100 * (t / first - 1):+.1f} %" if t is not None and first else "" for t in torques[1:]]
        lines.append(Line(tuple(value_words(p, v) for p, v in zip(paths, key, strict=True)), tuple(cells)))
    unit = reader().scale("N·m")[1]
    heads = [*(f"{name} ({unit})" for name in names), *(f"{name} against {names[0]}" for name in names[1:])]
    head = _studies_head(tables, common, names)
    texts = (
        f"Torque delivered in each case, against that of {names[0]}; on the line they are equal.",
        f"Chart. {head}. The numbers stand in the table.",
    )
    figures = [picture(pairs_figure(tables, common, names), "torques", texts, png=True)] if common else []
    return _page("Studies compared", head, ([label(path) for path in paths], heads), lines, figures, version)


def _page(
    title: str, head: str, heads: tuple[Sequence[str], Sequence[str]], lines: Any, figures: Any, version: str
) -> str:
    return render(
        "compare.html",
        script="study.js",
        title=title,
        headline=head,
        heads=heads[0],
        columns=heads[1],
        lines=lines,
        figures=figures,
        cautions=[SAFETY],
        version=version,
    )


def _against(torque_Nm: float, most_Nm: float, first: bool) -> str:
    if not most_Nm:
        return ""
    return "the best" if first else f"{100 * (torque_Nm / most_Nm - 1):+.0f} %"


def _less(torque_Nm: float, most_Nm: float) -> str:
    share = round(100 * (1 - torque_Nm / most_Nm))
    return f"{share} % less" if share else "as much"


def _number(torque_Nm: float) -> str:
    return reader().number(torque_Nm, "N·m")


def _key(row: Row, paths: Sequence[str]) -> tuple[Any, ...]:
    return tuple(value_of(row, path) for path in paths)


def _torque(row: Row) -> str:
    torque, end = torque_of(row), end_of(row)
    if torque is None:
        return "no answer"
    return "turns freely" if end == "turns-freely" else f"{_number(torque)}, {ENDS[end].one}"


def _studies_head(tables: Sequence[Mapping[Any, Row]], common: Sequence[Any], names: Sequence[str]) -> str:
    if not common:
        return "The studies have no case in common"
    ratios = [
        t / s
        for key in common
        if (s := torque_of(tables[0][key])) and (t := torque_of(tables[1][key])) is not None
    ]
    if not ratios:
        return f"{len(common)} cases in common, none with a torque in both"
    change = 100 * (median(ratios) - 1)
    return f"{names[1]} delivers {change:+.1f} % against {names[0]} in the middle one of {len(common)} common cases"


@styled
def curves_figure(records: Sequence[tuple[str, Mapping[str, Any]]]) -> Figure:
    """Return the curves of cases over each other."""
    figure = blank(7.6, 4.9)
    ax = figure.add_axes((0.095, 0.15, 0.885, 0.72))
    draw_curves(records, ax)
    heading(figure, "Torque against rotation", "up to the torque delivered, dotted beyond")
    foot(figure, CAUTION)
    return figure


def draw_curves(records: Sequence[tuple[str, Mapping[str, Any]]], ax: Axes) -> Axes:
    """Draw the curves on given axes (deg, N m) and return them."""
    for k, (name, found) in enumerate(records):
        end = found["rotation_deg"]
        if end is None:
            continue
        colour = COLOURS[k % len(COLOURS)]
        x, y = _smooth(*(np.asarray(found["curve"][key]) for key in ("rotation_deg", "torque_Nm")))
        before, after = x <= end, x >= end
        ax.plot([0.0, *x[before]], [0.0, *y[before]], color=colour, ls=LINES[k % len(LINES)], label=name)
        ax.plot(x[after], y[after], color=colour, ls=(0, (1, 1.5)), lw=1.3)
        ax.plot([end], [found["torque_Nm"]], MARKERS[k % len(MARKERS)], color=colour, ms=8)
    ax.set_xlabel("rotation of the wrench's head (deg)")
    show_unit(ax.yaxis, "torque", "N·m")
    ax.set_xlim(left=0.0)
    ax.set_ylim(bottom=0.0)
    ax.grid(True)
    ax.legend(loc="lower right", frameon=True, framealpha=1.0, edgecolor="none")
    return ax


def _smooth(x: Array, y: Array) -> tuple[Array, Array]:
    """Points (n,) along the curve through the solved points, as the page of a case draws it."""
    smooth = smooth_through(x, y)
    if smooth is None:
        return x, y
    along = np.linspace(smooth.x[0], smooth.x[-1], 400)
    return along, smooth(along)


@styled
def pairs_figure(tables: Sequence[Mapping[Any, Row]], common: Sequence[Any], names: Sequence[str]) -> Figure:
    """Return the torques of the further studies against those of the first one."""
    figure = blank(7.6, 6.6)
    ax = figure.add_axes((0.095, 0.11, 0.885, 0.8))
    first = [torque_of(tables[0][key]) for key in common]
    top = max([t for t in first if t is not None], default=1.0)
    ax.plot([0.0, 1.05 * top], [0.0, 1.05 * top], color=SOFT, lw=1.0, ls=LINES[1])
    for k, table in enumerate(tables[1:]):
        points = [
            (a, b)
            for a, key in zip(first, common, strict=True)
            if a is not None and (b := torque_of(table[key])) is not None
        ]
        ax.plot([p[0] for p in points], [p[1] for p in points], ls="none", marker=MARKERS[k % len(MARKERS)],
                color=COLOURS[k % len(COLOURS)], label=names[k + 1], alpha=0.8)  # fmt: skip
    show_unit(ax.xaxis, f"torque in {names[0]}", "N·m")
    show_unit(ax.yaxis, f"torque in {names[1] if len(names) == 2 else 'the others'}", "N·m")
    ax.grid(True)
    ax.legend(loc="upper left", frameon=True, framealpha=1.0, edgecolor="none")
    heading(figure, "Torque delivered, study against study", f"{len(common)} cases in common; dashed: equal")
    foot(figure, CAUTION)
    return figure
