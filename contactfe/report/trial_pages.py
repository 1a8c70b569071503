"""Pages of the bench side: tables with a headline, notes and figures, from one small template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from contactfe.report.page import Page, Picture, picture
from contactfe.report.reader_units import in_words, torque, torque_unit
from contactfe.report.score_figures import means_figure, standings_figure
from contactfe.report.words import as_sentence
from contactfe.trial import Score


@dataclass(frozen=True)
class PageTable:
    """A table of text; `right` are the columns that hold numbers."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    note: str = ""


def score_page(found: Score, version: str, figures: Sequence[Figure] | None = None) -> Page:
    """Return the page of a scoreboard."""
    means, standings = figures or (means_figure(found), standings_figure(found))
    first = found.standings[0]
    share = first.common if found.common else first.own
    headline = f"{first.design} leads" + (
        "" if share is None else f": {100 * share:.1f} % of the best on average"
    )
    return Page(
        "trial.html",
        dict(
            title=found.title,
            sub=f"{found.readings} readings, {len(found.standings)} designs, {len(found.conditions())} conditions",
            headline=headline,
            cautions=[as_sentence(in_words(note)) for note in found.notes],
            figures=_pictures(means, standings),
            tables=[_standings(found), _entries(found), *([_losses(found)] if found.losses else [])],
            version=version,
            foot=[
                "Means are geometric; one lognormal scatter for all, readings that are only at least by their likelihood; "
                f"intervals 95 % by profile likelihood; ranks from {seeded(found)}.",
            ],
        ),
    )


def seeded(found: Score) -> str:
    """How the ranks were drawn."""
    return f"a parametric bootstrap, seed {found.seed}"


def _pictures(means: Figure, standings: Figure) -> list[Picture]:
    bars = ("Average share of the best.", "Bars of the average share of the best of each design.")
    dots = (
        "Means with 95 % intervals; in brackets the share of the best.",
        "Mean torque with its interval for every design in every condition.",
    )
    return [picture(standings, "standing", bars), picture(means, "means", dots)]


def percent(value: float | None, digits: int = 1) -> str:
    """A share as text, "-" for none."""
    return "-" if value is None else f"{100 * value:.{digits}f} %"


def _standings(found: Score) -> PageTable:
    rows = tuple(
        (
            str(s.place),
            s.design,
            percent(s.common),
            percent(s.own),
            str(s.conditions),
            percent(s.ahead_of_next, 0),
            ", ".join(c.words() for c in s.missing) or "-",
        )
        for s in found.standings
    )
    heads = (
        "place",
        "design",
        "common conditions",
        "all of its own",
        "conditions",
        "ahead of the next",
        "without",
    )
    return PageTable(
        "Standing", heads, rows, frozenset({0, 2, 3, 4, 5}), f"{len(found.common)} common conditions"
    )


def _entries(found: Score) -> PageTable:
    rows = []
    for e in found.entries:
        mean = f"at least {torque(e.at_least_Nm or 0.0)}" if e.mean_Nm is None else torque(e.mean_Nm)
        interval = (
            "-" if e.low_Nm is None or e.high_Nm is None else f"{torque(e.low_Nm)} to {torque(e.high_Nm)}"
        )
        ranks = "-" if e.rank is None else str(e.rank)
        if e.rank_low is not None and e.rank_low != e.rank_high:
            ranks += f" ({e.rank_low} to {e.rank_high})"
        counted = str(e.readings) + (f", {e.at_least} at least" if e.at_least else "")
        rows.append(
            (
                in_words(e.condition.words()),
                e.design,
                counted,
                mean,
                interval,
                percent(e.of_best),
                ranks + (" tie" if e.ties else ""),
            )
        )
    heads = (
        "condition",
        "design",
        "readings",
        f"mean ({torque_unit()})",
        "95 % interval",
        "of the best",
        "rank",
    )
    return PageTable(
        "Conditions", heads, tuple(rows), frozenset({3, 4, 5}), "tie: cannot be told from the best at 95 %"
    )


def _losses(found: Score) -> PageTable:
    rows = tuple(
        (
            loss.design,
            in_words(loss.condition.words()),
            in_words(loss.against.words()),
            f"{100 * loss.change:+.1f} %",
        )
        for loss in found.losses
    )
    return PageTable("Loss from rounding", ("design", "condition", "against", "change"), rows, frozenset({3}))
