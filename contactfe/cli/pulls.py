"""What `contactfe turn --pulls N` says: a table of the pulls, and what it comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from contactfe.cli.output import number, say, say_table, say_wrapped, told

if TYPE_CHECKING:
    from contactfe.case import PullSeries


def say_pulls(series: PullSeries) -> None:
    """Print the pulls of a series on stdout."""
    from contactfe.case import NOT_PILED
    from contactfe.report.reader_units import reader

    torque, flat = (reader().scale(unit)[1] for unit in ("N·m", "mm"))
    heads = ("pull", f"torque {torque}", "left %", "ended by", "rounded as % before", f"flat {flat} before")

    say(f"pulls on the same corners ({len(series.pulls)})")
    say_table(
        [
            (
                str(row["pull"]),
                reader().number(row["torque_Nm"], "N·m"),
                number(100.0 * row["left"], 3),
                row["ended_by"].replace("-", " "),
                number(100.0 * row["rounding_before"], 3),
                reader().number(row["flat_before_mm"], "mm"),
            )
            for row in series.rows()
        ],
        heads,
    )
    for text in series.sentences():
        say_wrapped(told(text))
    say_wrapped(NOT_PILED)
