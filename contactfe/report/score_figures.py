"""Figures of a scoreboard: means with intervals for each condition, and the designs over all."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from contactfe.report.reader_axis import show_unit
from contactfe.report.reader_units import in_words, torque
from contactfe.report.style import COLOURS, INK, MARKERS, SOFT, blank, foot, styled
from contactfe.trial import Entry, Score


@styled
def means_figure(found: Score) -> Figure:
    """Return the figure of mean torque (N m) with 95 % intervals, one row for each condition and design."""
    conditions = found.conditions()
    rows = sum(len(found.of(c)) for c in conditions) + len(conditions)
    figure = blank(8.6, 1.5 + 0.27 * rows)
    height = figure.get_size_inches()[1]
    ax = figure.add_axes((0.3, 0.75 / height, 0.66, 1.0 - 1.45 / height))
    designs = _designs(found)
    y, ticks, names = 0.0, [], []
    for condition in conditions:
        ax.text(
            -0.005,
            y,
            in_words(condition.words()),
            transform=ax.get_yaxis_transform(),
            ha="right",
            va="center",
            fontweight="bold",
            fontsize=8.5,
        )
        y += 1.0
        for entry in found.of(condition):
            _entry(ax, entry, y, designs.index(entry.design))
            ticks.append(y)
            names.append(entry.design)
            y += 1.0
    ax.set_yticks(ticks, names, fontsize=8.5)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(y - 0.3, -0.7)
    ends = [max(e.high_Nm or 0.0, e.mean_Nm or 0.0, e.at_least_Nm or 0.0) for e in found.entries]
    ax.set_xlim(0.0, 1.3 * max(ends))
    ax.grid(True, axis="x")
    show_unit(ax.xaxis, "largest torque, geometric mean and 95 % interval", "N·m")
    _title(figure, found, f"{found.readings} readings; scatter {_percent(found.scatter)}")
    foot(
        figure, "Filled: mean; hollow with an arrow: at least, for something else than slip ended every pull."
    )
    return figure


def _entry(ax: Axes, entry: Entry, y: float, k: int) -> None:
    colour, marker = COLOURS[k % len(COLOURS)], MARKERS[k % len(MARKERS)]
    if entry.mean_Nm is None:
        at = entry.at_least_Nm or 0.0
        ax.plot([at], [y], marker, color=colour, mfc="white", ms=7, zorder=4)
        ax.annotate("", (1.12 * at, y), (at, y), arrowprops={"arrowstyle": "->", "color": colour}, zorder=3)
        ax.text(1.13 * at, y, f"at least {torque(at)}", va="center", fontsize=8)
        return
    if entry.low_Nm is not None and entry.high_Nm is not None:
        ax.plot([entry.low_Nm, entry.high_Nm], [y, y], color=colour, lw=2.2, zorder=3)
    ax.plot([entry.mean_Nm], [y], marker, color=colour, ms=7, mec="white", zorder=4)
    end = entry.high_Nm or entry.mean_Nm
    share = f"  {torque(entry.mean_Nm)}" + (
        "" if entry.of_best is None else f" ({100 * entry.of_best:.0f} %)"
    )
    ax.text(end, y, share + (" tie" if entry.ties else ""), va="center", fontsize=8, color=INK)


@styled
def standings_figure(found: Score) -> Figure:
    """Return the figure of the average share of the best (%) of each design, over the common and over all
    conditions."""
    figure = blank(8.6, 1.6 + 0.42 * len(found.standings))
    height = figure.get_size_inches()[1]
    ax = figure.add_axes((0.3, 0.75 / height, 0.66, 1.0 - 1.5 / height))
    designs = _designs(found)
    for i, standing in enumerate(found.standings):
        k = designs.index(standing.design)
        if standing.common is not None:
            ax.barh(i - 0.17, 100 * standing.common, 0.3, color=COLOURS[k % len(COLOURS)], zorder=3)
            ax.text(
                100 * standing.common + 1,
                i - 0.17,
                f"{100 * standing.common:.1f} %",
                va="center",
                fontsize=8.5,
            )
        if standing.own is not None:
            ax.barh(
                i + 0.17,
                100 * standing.own,
                0.22,
                facecolor="none",
                edgecolor=COLOURS[k % len(COLOURS)],
                zorder=3,
            )
            told = f"{100 * standing.own:.1f} % of {standing.conditions} conditions"
            ax.text(100 * standing.own + 1, i + 0.17, told, va="center", fontsize=7.5, color=SOFT)
    ax.set_yticks(range(len(found.standings)), [f"{s.place}  {s.design}" for s in found.standings])
    ax.invert_yaxis()
    ax.set_xlim(0, 128)
    ax.set_xticks(range(0, 101, 20))
    ax.grid(True, axis="x")
    ax.set_xlabel("average share of the best of the condition (%)")
    _title(
        figure,
        found,
        f"filled: over {len(found.common)} conditions that all have; hollow: over all of its own",
    )
    foot(figure, "Per cent of the largest geometric mean of each condition.")
    return figure


def _designs(found: Score) -> list[str]:
    return sorted({entry.design for entry in found.entries})


def _title(figure: Figure, found: Score, below: str) -> None:
    height = figure.get_size_inches()[1]
    figure.text(0.012, 1.0 - 0.16 / height, found.title, fontsize=12, fontweight="bold", ha="left", va="top")
    figure.text(0.012, 1.0 - 0.42 / height, below, fontsize=8.5, color=SOFT, ha="left", va="top")


def _percent(value: float | None) -> str:
    return "not known" if value is None else f"{100 * value:.1f} %"
