"""Which wrench for this hex: the best profile over two swept inputs, its margin to the second, and where that is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from contactfe.report.reader_units import reader
from contactfe.report.rows import (
    PROFILE,
    STRENGTHS,
    Row,
    Swept,
    band_of,
    row_words,
    torque_of,
    value_of,
    value_words,
)
from contactfe.report.style import CAUTION, COLOURS, INK, blank, foot, heading, styled
from contactfe.report.words import PROFILES

TIE = 0.05  # of the torque of the second: a smaller lead is no order (two meshes and a friction differ by as much)


@dataclass(frozen=True)
class Best:
    """The best profile at one place of the map: its lead over the second (share), None where there is no second;
    whether the order is `certain`.
    """

    profile: str
    torque_Nm: float
    lead: float | None
    certain: bool


@styled
def best_map(rows: Sequence[Row], swept: Sequence[Swept], across: Swept) -> Figure | None:
    """Return the map over `across` and a second swept input, a strength if there is one; of further inputs the first
    value is taken. None where fewer than two inputs beside the profile are swept.
    """
    others = [item for item in swept if item.path not in (PROFILE, across.path)]
    if not others or not any(item.path == PROFILE for item in swept):
        return None
    second = min(others, key=lambda item: item.path not in STRENGTHS)
    held = [item for item in others if item.path != second.path]
    chosen = [row for row in rows if all(value_of(row, item.path) == item.values[0] for item in held)]
    found = best_of(chosen, across, second)
    if not found:
        return None
    figure = blank(7.6, 2.6 + 0.62 * len(second.values))
    height = figure.get_figheight()
    ax = figure.add_axes((0.15, 1.3 / height, 0.83, 1 - 2.05 / height))
    draw_map(ax, found, across, second)
    words = row_words(chosen[0], [item.path for item in held])
    below = f"best profile, and its lead over the second; hatched: order not certain{f'; {words}' if words else ''}"
    heading(figure, "Which wrench for this hex", below)
    foot(figure, CAUTION)
    return figure


def best_of(rows: Sequence[Row], across: Swept, second: Swept) -> dict[tuple[Any, Any], Best]:
    """Return the best profile by the values of two inputs; places where none grips are left out."""
    places: dict[tuple[Any, Any], list[Row]] = {}
    for row in rows:
        if torque_of(row):
            places.setdefault((value_of(row, across.path), value_of(row, second.path)), []).append(row)
    return {place: _best(own) for place, own in places.items()}


def _best(rows: Sequence[Row]) -> Best:
    ordered = sorted(rows, key=lambda row: -(torque_of(row) or 0.0))
    first, torque = ordered[0], torque_of(ordered[0]) or 0.0
    profile = str(value_of(first, PROFILE))
    if len(ordered) < 2:
        return Best(profile, torque, None, True)
    lead = torque / (torque_of(ordered[1]) or torque) - 1.0
    bands = band_of(first), band_of(ordered[1])
    apart = bands[0] is None or bands[1] is None or bands[0][1] > bands[1][2]
    return Best(profile, torque, lead, lead >= TIE and apart)


def draw_map(ax: Axes, found: dict[tuple[Any, Any], Best], across: Swept, second: Swept) -> Axes:
    """Draw the map on given axes and return them."""
    names = list(PROFILES)
    for (x, y), best in found.items():
        at = across.values.index(x), second.values.index(y)
        colour = COLOURS[names.index(best.profile) % len(COLOURS)] if best.profile in names else "#888888"
        hatch = None if best.certain else "////"
        ax.add_patch(
            Rectangle(
                (at[0] - 0.5, at[1] - 0.5), 1, 1, fc=colour, ec="white", lw=1.5, alpha=0.55, hatch=hatch
            )
        )
        lead = "only one" if best.lead is None else f"+{100 * best.lead:.0f} %"
        text = f"{_short(best.profile)}\n{_rounded(best.torque_Nm)}\n{lead}"
        ax.text(*at, text, ha="center", va="center", fontsize=7.5, color=INK, linespacing=1.15)
    for axis, item in ((ax.xaxis, across), (ax.yaxis, second)):
        axis.set_ticks(range(len(item.values)), [_tick(item, v) for v in item.values])
    ax.set_xlim(-0.5, len(across.values) - 0.5)
    ax.set_ylim(-0.5, len(second.values) - 0.5)
    ax.set_xlabel(across.axis)
    ax.set_ylabel(second.axis)
    ax.tick_params(length=0)
    for side in ("left", "bottom"):
        ax.spines[side].set_visible(False)
    used = [name for name in names if any(best.profile == name for best in found.values())]
    handles = [Patch(fc=COLOURS[names.index(n) % len(COLOURS)], alpha=0.55, label=PROFILES[n]) for n in used]
    figure = ax.get_figure(root=True)
    assert figure is not None
    drop = -0.55 / (figure.get_figheight() * ax.get_position().height)
    ax.legend(handles=handles, loc="upper left", ncols=3, bbox_to_anchor=(0.0, drop), borderaxespad=0.0)
    return ax


def _rounded(torque_Nm: float) -> str:
    factor, unit = reader().scale("N·m")
    return f"{torque_Nm / factor:.0f} {unit}"


def _tick(item: Swept, value: Any) -> str:
    """A value on an axis: a number alone, for its unit stands on the axis; a word as it is called."""
    return f"{value:.4g}" if item.numeric else value_words(item.path, value)


def _short(profile: str) -> str:
    return {"ring-six-relieved": "relieved", "outline": "drawn"}.get(profile, profile.removeprefix("ring-"))
