"""Figures and the page of a screening: what each candidate gives on the duty and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from contactfe.case import SAFETY
from contactfe.design import Found, Screening
from contactfe.profile import Outline, profile_pair
from contactfe.report.labels import Label, Place, place_labels
from contactfe.report.page import Page, picture
from contactfe.report.style import (
    CAUTION,
    COLOURS,
    GREY,
    INK,
    SOFT,
    TINT,
    blank,
    foot,
    heading,
    outline_patch,
    styled,
)

Array = NDArray[np.float64]

TRADES: dict[str, tuple[str, str]] = {
    "outside_radius_mm": ("outside-radius", "largest outside radius of the head (mm)"),
    "mass_g": ("mass", "mass of the head (g)"),
    "swing_deg": ("swing", "swing to re-engage (deg)"),
    "crush_depth_um": ("crush", "deepest crush at the working torque (µm)"),
    "loss_to_rounding": ("loss", "torque lost to rounding (share)"),
}
"""What each trade-off figure sets against the score: the column, the name of its file, the words of its axis."""
_TABLE = (
    ("rank", "rank", 0),
    ("candidate", "candidate", 0),
    ("score", "score", 3),
    ("score_p10", "10 %", 3),
    ("score_p90", "90 %", 3),
    ("best_share", "best in", 2),
    ("loss_to_rounding", "loss", 2),
    ("least_margin_of_wrench", "margin", 2),
    ("crush_depth_um", "crush (µm)", 3),
    ("swing_deg", "swing (deg)", 3),
    ("outside_radius_mm", "radius (mm)", 3),
    ("mass_g", "mass (g)", 3),
)
_HEADS = (
    "10 and 90 %: of the samples. Loss: share of the torque lost to rounding. Margin: limit of the wrench over that of the "
    "grip, the least of the duty. Crush: deepest at the working torque. Radius: largest of the outside."
)
"""What the heads of the table mean."""


BESIDE: tuple[Place, ...] = (
    (8, 4, "left", "bottom"),
    (-8, 4, "right", "bottom"),
    (8, -4, "left", "top"),
    (-8, -4, "right", "top"),
)
BETWEEN_MESHES = 0.003  # of the torque: by so much two meshes of one shape may differ
DOT = 5.0  # pixels round a drawn point that no label covers


@styled
def screening_figures(found: Screening) -> dict[str, Figure]:
    """Return the scores with their bands, and one figure for each trade-off that any candidate has a value for."""
    rows = found.columns()
    figures = {"scores": _scores(rows, found)}
    for column, (name, words) in TRADES.items():
        known = [r for r in rows if r["score"] is not None and r[column] is not None]
        if len({round(float(r[column]), 9) for r in known}) > 1:
            figures[name] = _trade(known, column, words)
    return figures


@styled
def search_figure(found: Found) -> Figure:
    """Return the start and the best head over each other, on the fastener of the first condition."""
    figure = blank(7.4, 6.4)
    ax = figure.add_axes((0.1, 0.12, 0.86, 0.76))
    ax.set_aspect("equal", adjustable="datalim")
    heads = (("start", found.plan.start), ("found", found.plan.screen({"found": found.best})))
    for k, (name, plan) in enumerate(heads):
        pair = profile_pair(plan.study.cases[0].case)
        if k == 0:
            head = Outline(pair.fastener.loops[:1])
            ax.add_patch(
                outline_patch(head, pair.across_flats / 200, facecolor=TINT, edgecolor=INK, lw=0.8, zorder=1)
            )
        for loop in pair.wrench.loops:
            (ring,) = Outline((loop,)).polygon(pair.across_flats / 200)
            line = np.vstack([ring, ring[:1]])
            style = ("--", SOFT) if k == 0 else ("-", COLOURS[0])
            label = name if loop is pair.wrench.loops[0] else None
            ax.plot(*line.T, ls=style[0], color=style[1], lw=1.6, label=label, zorder=2 + k)
    ax.legend(loc="upper right")
    ax.set_xlabel("x (mm)")
    ax.set_ylabel("y (mm)")
    figure.text(0.012, 0.975, found.plan.name, fontsize=12, fontweight="bold", va="top")
    told = f"{100 * found.gain:+.1f} % torque on the duty, noise {100 * found.noise:.1f} %"
    if found.band is not None:
        told += f"; {100 * found.band.low:+.1f} to {100 * found.band.high:+.1f} % in eight of ten samples"
    figure.text(0.012, 0.935, told, fontsize=9, color=SOFT, va="top")
    foot(figure, f"Fastener of the first condition. {CAUTION}")
    return figure


def screening_page(found: Screening, figures: dict[str, Figure], version: str) -> Page:
    """Return the page of a screening."""
    rows = found.columns()
    return Page(
        "screen.html",
        dict(
            title=found.plan.name,
            headline=headline(found),
            cautions=[SAFETY],
            heads=[name for _, name, _ in _TABLE],
            rows=[[_cell(row, key, digits) for key, _, digits in _TABLE] for row in rows],
            about=_HEADS,
            duty=[(c.name, f"{c.weight:g}") for c in found.plan.conditions],
            notes=notes(found),
            figures=[picture(figure, name, (_caption(name), _alt(name))) for name, figure in figures.items()],
            version=version,
        ),
    )


def headline(found: Screening) -> str:
    """Which candidate leads, and how sure that is."""
    known = [r for r in found.results if r.score is not None]
    if not known:
        return "No candidate has an answer in every condition."
    first = known[0]
    sure = (
        f"; it is best in {100 * first.best_share:.0f} % of {found.samples} samples"
        if found.samples > 1
        else ""
    )
    if len(known) == 1:
        return f"{first.name} is the only candidate with an answer in every condition."
    ahead = 100 * _lead(found)
    return f"{first.name} gives the most torque on this duty, {ahead:.1f} % more than {known[1].name}{sure}."


def _lead(found: Screening) -> float:
    """By which share the highest score is above the second; 0 where there are no two."""
    scores = [r.score for r in found.results if r.score is not None]
    return scores[0] / scores[1] - 1.0 if len(scores) > 1 and scores[1] else 0.0


def notes(found: Screening) -> list[str]:
    """What has to be said beside the table: what is not reached, what has no answer, the set without a better one."""
    front = [r.name for r in found.results if r.front]
    lines = [
        "Score: weighted mean over the conditions of the torque over the mean of all candidates there.",
        f"No other candidate is better in torque, outside radius, mass, swing and crush at once: {', '.join(front) or 'none'}.",
    ]
    told = max(BETWEEN_MESHES, found.fit_error)
    if 0.0 < _lead(found) < told:
        lines.append(
            f"The first two are {100 * _lead(found):.1f} % apart, less than the model tells ({100 * told:.2g} %): "
            "take them as equal in torque, and let the other columns decide."
        )
    if found.thinned:
        lines.append(
            f"In {found.thinned} of {len(found.plan.study.cases)} cases a part of the {found.samples} samples is solved, the "
            f"others follow from a polynomial through them (leave-one-out error up to {100 * found.fit_error:.2g} %)."
        )
    lines += [
        f"{r.name} does not reach the working torque on: {', '.join(r.short)}."
        for r in found.results
        if r.short
    ]
    lines += [f"{r.name}: {r.problem}." for r in found.results if r.problem]
    return lines


def _caption(name: str) -> str:
    words = {file: words for file, words in TRADES.values()}
    return "Torque on the duty." if name == "scores" else f"Torque on the duty against {words[name]}."


def _alt(name: str) -> str:
    return (
        "scores of all candidates with their bands"
        if name == "scores"
        else f"score against {name.replace('-', ' ')}"
    )


def _cell(row: dict[str, Any], key: str, digits: int) -> str:
    value = row[key]
    if value is None:
        return "-"
    if key in ("best_share", "loss_to_rounding", "least_margin_of_wrench"):
        return f"{100 * value:.0f} %"
    return f"{value:.{digits}g}" if isinstance(value, float) else str(value)


def _scores(rows: Sequence[dict[str, Any]], found: Screening) -> Figure:
    known = [r for r in rows if r["score"] is not None][::-1]
    figure = blank(7.4, 1.6 + 0.34 * max(1, len(known)))
    height = figure.get_figheight()
    ax = figure.add_axes((0.24, 0.95 / height, 0.6, 1 - 1.45 / height))
    for y, row in enumerate(known):
        ax.plot(
            [row["score_p10"], row["score_p90"]],
            [y, y],
            color=COLOURS[0],
            lw=5,
            alpha=0.45,
            solid_capstyle="butt",
        )
        ax.plot(row["score"], y, marker="o", color=COLOURS[0] if row["pareto"] else GREY, mec=INK, ms=7)
        if found.samples > 1:
            ax.annotate(
                f"best in {100 * row['best_share']:.0f} %",
                (1.01, y),
                xycoords=("axes fraction", "data"),
                fontsize=7.5,
                va="center",
            )
    ax.set_yticks(range(len(known)), [r["candidate"] for r in known])
    ax.set_ylim(-0.6, len(known) - 0.4)
    ax.grid(axis="x")
    ax.set_xlabel("torque on the duty (mean of all candidates = 1)")
    figure.text(0.012, 1 - 0.12 / height, found.plan.name, fontsize=12, fontweight="bold", va="top")
    bars = f"Bars: 10 to 90 % of {found.samples} samples. " if found.samples > 1 else ""
    foot(figure, f"{bars}Grey: another is better in everything.\n{CAUTION}")
    return figure


def _trade(rows: Sequence[dict[str, Any]], column: str, words: str) -> Figure:
    figure = blank(6.8, 5.1)
    ax = figure.add_axes((0.11, 0.15, 0.86, 0.7))
    labels = []
    for row in rows:
        x, y = float(row[column]), row["score"]
        ax.plot([x, x], [row["score_p10"], row["score_p90"]], color=SOFT, lw=1.2, zorder=2)
        face = COLOURS[0] if row["pareto"] else "white"
        ax.plot(x, y, marker="o", ms=8, mfc=face, mec=COLOURS[0], mew=1.4, zorder=3)
        labels.append(Label(row["candidate"], (x, y), {"fontsize": 8.5}, BESIDE))
    ax.margins(x=0.16, y=0.12)
    ax.grid(True)
    ax.set_xlabel(words)
    ax.set_ylabel("torque on the duty (mean of all = 1)")
    ax.autoscale_view()  # the limits stand before labels are placed
    points = np.array([label.at for label in labels])
    place_labels(ax, labels, points, [_dot(place) for place in ax.transData.transform(points)])
    bands = any(row["score_p10"] != row["score_p90"] for row in rows)
    below = f"filled: no other candidate is better in everything{'; lines: 10 to 90 %' if bands else ''}"
    heading(figure, f"Torque against {words.split(' (')[0]}", below)
    foot(figure, CAUTION)
    return figure


def _dot(place: Array) -> Bbox:
    """A box (pixels) round a drawn point."""
    return Bbox.from_bounds(place[0] - DOT, place[1] - DOT, 2.0 * DOT, 2.0 * DOT)
