"""What `contactfe turn --pulls N` says and writes: a table of the pulls, one sentence, one figure."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from contactfe.cli.output import number, say, say_table, say_wrapped, tell
from contactfe.errors import ContactFEError

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


def write_pulls(series: PullSeries, out: Path, kind: str) -> None:
    """Write pulls.json and the figure of a series into a folder; a figure that cannot be drawn is named on stderr."""
    from contactfe.files import write_text
    from contactfe.report import pulls_figure, save

    write_text(out / "pulls.json", json.dumps(series.to_dict(), indent=1, ensure_ascii=False) + "\n")
    tell(f"written: {out / 'pulls.json'}")
    try:
        save(pulls_figure(series), out / f"pulls.{kind}")
    except (ContactFEError, ValueError) as error:
        tell(f"not drawn: pulls.{kind} ({error})")
        return
    tell(f"written: {out / f'pulls.{kind}'}")
