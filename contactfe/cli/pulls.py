"""What `contactfe turn --pulls N` says: a table of the pulls, and what it comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from contactfe.cli.output import number, say, say_table, say_wrapped

if TYPE_CHECKING:
    from contactfe.case import PullSeries

_HEADER = ("pull", "torque N·m", "left %", "ended by", "rounded as % before", "flat mm before")


def say_pulls(series: PullSeries) -> None:
    """Print the pulls of a series on stdout."""
    from contactfe.case import NOT_PILED

    say(f"pulls on the same corners ({len(series.pulls)})")
    say_table(
        [
            (
                str(row["pull"]),
                number(row["torque_Nm"]),
                number(100.0 * row["left"], 3),
                row["ended_by"].replace("-", " "),
                number(100.0 * row["rounding_before"], 3),
                number(row["flat_before_mm"], 3),
            )
            for row in series.rows()
        ],
        _HEADER,
    )
    for text in series.sentences():
        say_wrapped(text)
    say_wrapped(NOT_PILED)
