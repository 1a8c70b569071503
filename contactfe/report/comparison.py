"""Known answers as pictures and as one page: computed points over the exact line, and the table of all checks."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from contactfe.report.page import picture, render
from contactfe.report.style import COLOURS, INK, blank, styled
from contactfe.verify import GROUPS, Check, Comparison, Report

TITLES = {
    "elastic": "Elastic bodies",
    "contact": "Contact",
    "saturation": "Contact with a pressure cap",
    "limits": "Limits",
    "geometry": "Geometry",
    "independent": "Against independent codes",
    "trade": "Rules of the trade",
}


@styled
def comparison_figure(curve: Comparison) -> Figure:
    """Return the figure of one comparison: computed points over the exact line."""
    figure = blank(5.6, 3.9)
    ax = figure.add_axes((0.125, 0.145, 0.85, 0.745))
    draw_comparison(curve, ax)
    figure.text(0.012, 0.975, curve.title, fontsize=10.5, fontweight="bold", ha="left", va="top")
    return figure


@styled
def draw_comparison(curve: Comparison, ax: Axes) -> None:
    """Draw one comparison on given axes."""
    ax.plot(*curve.line, color=INK, lw=1.4, zorder=2, label="exact")
    ax.plot(*curve.points, "o", color=COLOURS[0], mfc="none", ms=4.0, mew=1.0, zorder=3, label="computed")
    ax.set_xlabel(curve.x_label)
    ax.set_ylabel(curve.y_label)
    ax.grid(True)
    # At a sharp edge the exact pressure has no end; the line stops short of it, and so does the axis.
    ax.set_ylim(0.0, 1.12 * float(curve.line[1].max()))
    ax.legend(loc="best", frameon=True, framealpha=1.0, edgecolor="none")


def comparison_page(report: Report, version: str, quick: bool) -> str:
    """Return the page of a verification as HTML text; nothing in it is fetched from anywhere."""
    checks = report.checks
    groups = [
        {"title": TITLES[group], "checks": [_row(c) for c in checks if c.group == group]}
        for group in GROUPS
        if any(c.group == group for c in checks)
    ]
    figures = [
        picture(
            comparison_figure(curve),
            f"comparison-{number}",
            (
                f"{curve.title}: points computed, line exact.",
                f"Chart. {curve.title}: {curve.y_label} over {curve.x_label}, computed points and exact line.",
            ),
        )
        for number, curve in enumerate(report.curves, start=1)
    ]
    missed, outside = len(report.missed), len(report.outside)
    known = f", {outside} outside the model's reach" if outside else ""
    met = f"{len(checks) - outside} checks met{known}"
    return render(
        "verify.html",
        title="Known answers",
        headline=met if not missed else f"{missed} of {len(checks)} checks missed or changed{known}",
        scope="The quick set." if quick else "All cases.",
        groups=groups,
        figures=figures,
        version=version,
        model="Every case runs through the stages that turning a wrench runs through.",
    )


def _row(check: Check) -> dict[str, str]:
    return {
        "name": check.name,
        "computed": check.computed_text(),
        "expected": check.expected_text(),
        "difference": check.difference_text(),
        "tolerance": check.tolerance_text(),
        "origin": check.origin,
        "source": check.source,
        "note": check.note,
        "outcome": check.state,
    }
