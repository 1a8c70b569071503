"""What `contactfe sweep` says about the bands of a study: odds of every case, and profiles against each other."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from contactfe.cli.output import say, say_table, say_wrapped

if TYPE_CHECKING:
    from contactfe.study import StudyDone, StudyPlan

MOST_LINES = 24


def say_bands(plan: StudyPlan, done: StudyDone) -> None:
    """Print the odds of the cases, which input moves them most, and the odds between profiles."""
    assert plan.band is not None
    from contactfe.report.reader_units import in_words
    from contactfe.report.words import console

    rows = [row for row in done.rows if row["band_samples"] is not None]
    say()
    say(f"bands: {console(in_words(plan.band.words()))}")
    _say_cases(plan, rows)
    _say_leading(rows)
    _say_pairs(plan, done)


def _say_cases(plan: StudyPlan, rows: list[dict[str, Any]]) -> None:
    """The odds of every case, or where they lie when there are many cases."""
    from contactfe.report.reader_units import in_words
    from contactfe.report.words import console

    assert plan.band is not None
    columns = {
        "turns_freely_share": "turns freely",
        "wrench_first_share": "wrench gives way first",
        "twist_off_first_share": "bolt or bar twists off first",
    }
    if plan.band.below_Nm is not None:
        columns = {
            "ends_below_target_share": console(in_words(f"ends below {plan.band.below_Nm:.4g} N m"))
        } | columns
    columns = {key: words for key, words in columns.items() if any(row[key] is not None for row in rows)}
    if len(rows) > MOST_LINES:
        for key, words in columns.items():
            shares = [row[key] for row in rows if row[key] is not None]
            say_wrapped(f"{words}: {_percent(min(shares))} to {_percent(max(shares))} in a case")
        return
    lines = [
        (
            ", ".join(str(row[path]) for path in plan.varied),
            *(_odds(row, key) for key in columns),
            _leading(row),
        )
        for row in rows
    ]
    say_table(lines, ("case", *columns.values(), "moved most by"))
    say_wrapped("in brackets the interval that the number of samples leaves open (95 %)")
    say_wrapped(
        "bands and what ends below a torque hold the model's own error; what ends a sample is told without it"
    )


def _say_leading(rows: list[dict[str, Any]]) -> None:
    from contactfe.uncertainty import label_of

    count = Counter(row["leading_input"] for row in rows if row["leading_input"] is not None)
    if count:
        parts = [f"{label_of(path)} in {n} of {len(rows)} cases" for path, n in count.most_common()]
        say_wrapped(f"the band is made most by: {', '.join(parts)}")


def _say_pairs(plan: StudyPlan, done: StudyDone) -> None:
    """Profiles against each other; the ones that the samples leave most open when there are many pairs."""
    if not done.odds:
        return
    from contactfe.uncertainty import COMMON

    say("which delivers more, on the same samples")
    say_wrapped(COMMON)
    shown = list(done.odds)
    if len(shown) > MOST_LINES:
        shown = sorted(shown, key=lambda row: abs(row["share_first_beats_second"] - 0.5))[:MOST_LINES]
    equal = [path for path in plan.varied if path in done.odds[0]]
    lines = []
    for row in shown:
        share, low, high = (100.0 * row[f"share_{key}"] for key in ("first_beats_second", "low", "high"))
        words = f"{share:.0f} % ({low:.0f} to {high:.0f} %)"
        held = ", ".join(str(row[path]) for path in equal)
        lines.append((f"{row['first']} over {row['second']}", held, words))
    say_table(lines)
    if len(done.odds) > len(shown):
        say_wrapped(f"the {len(shown)} closest of {len(done.odds)} pairs; all of them are in odds.csv")


def _leading(row: dict[str, Any]) -> str:
    from contactfe.uncertainty import label_of

    if row["leading_input"] is None:
        return "-"
    return (
        f"{label_of(row['leading_input'])} ({_percent(row['leading_input_share'])} of the inputs' variance)"
    )


def _odds(row: dict[str, Any], key: str) -> str:
    from contactfe.uncertainty import chance_of

    return "-" if row[key] is None else chance_of(row[key], int(row["band_samples"])).words()


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"
