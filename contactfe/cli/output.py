"""What the commands print: aligned tables and JSON on stdout, talk on stderr; never in colour."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Literal

import typer

WIDTH = 110
Shown = Literal["si", "inch"]
UNITS = typer.Option("--units", help="Units shown: si, or inch (lbf ft, in, ksi). JSON stays SI.")


def say(text: str = "") -> None:
    """Print a result on stdout."""
    typer.echo(text)


def tell(text: str) -> None:
    """Print talk (progress, places of files, errors) on stderr; where that is full or closed, nobody is told."""
    with suppress(OSError):
        typer.echo(text, err=True)


def tell_page(path: Path) -> None:
    """Name a page on stderr; in a terminal as a path that can be clicked (OSC 8)."""
    name = str(path)
    if sys.stderr.isatty() and os.environ.get("TERM", "dumb") != "dumb":
        name = f"\x1b]8;;{path.resolve().as_uri()}\x1b\\{name}\x1b]8;;\x1b\\"
    tell(f"page: {name}")


def drop_output() -> None:
    """Nothing is left to be said, nor to be flushed at Python's end."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def flush() -> None:
    """Let what was said reach its reader. Raises OSError when it cannot."""
    if sys.stdout is not None:  # None where the caller has closed it
        sys.stdout.flush()


@contextmanager
def said_first() -> Iterator[None]:
    """Print inside; when the reader of our output has gone, the rest of it is dropped, and what follows is still done."""
    try:
        yield
    except BrokenPipeError:
        drop_output()


def say_json(value: Any) -> None:
    """Print plain values as JSON on stdout. Numbers that are not finite become null: JSON has no others."""
    say(json.dumps(_finite(value), indent=1, allow_nan=False))


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value


def say_table(rows: Sequence[Sequence[str]], header: Sequence[str] = (), indent: int = 2) -> None:
    """Print rows of cells in columns; columns of numbers are aligned to the right."""
    if not rows:
        return
    lines = [list(header), *map(list, rows)] if header else [list(row) for row in rows]
    count = max(len(line) for line in lines)
    for line in lines:
        line += [""] * (count - len(line))
    widths = [max(len(line[k]) for line in lines) for k in range(count)]
    right = [all(_is_number(row[k]) for row in rows if k < len(row)) for k in range(count)]
    for line in lines:
        cells = [
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(line, widths, right, strict=True)
        ]
        say((" " * indent + "  ".join(cells)).rstrip())


def say_wrapped(text: str, bullet: str = "  - ") -> None:
    """Print a sentence in lines of at most WIDTH characters behind a bullet."""
    say(
        textwrap.fill(
            text, WIDTH, initial_indent=bullet, subsequent_indent=" " * len(bullet), break_long_words=False
        )
    )


def told(text: str) -> str:
    """Return a sentence in the units of the reader, spelt as the console does."""
    from contactfe.report import console, in_words

    return console(in_words(text)).replace("µm", "um")


def number(value: float | None, digits: int = 4) -> str:
    """Return a number with `digits` significant digits, "-" for none."""
    if value is None:
        return "-"
    if value == 0.0 or 1e-3 <= abs(value) < 1e5:
        text = f"{value:#.{digits}g}"
        return text.rstrip(".") if "e" not in text else f"{value:.0f}"
    return f"{value:.{digits - 1}e}"


def torque(value: float | None, digits: int = 4) -> str:
    """Return a torque (N m) in the unit of the reader, see `torque_unit`; "-" for none."""
    from contactfe.report import reader

    return number(None if value is None else value / reader().scale("N·m")[0], digits)


def torque_unit() -> str:
    """Return the unit of torques for the reader, spelt as the console does."""
    from contactfe.report import console, reader

    return console(reader().scale("N·m")[1])


def length_unit() -> str:
    """Return the unit of lengths for the reader: "mm" or "in"."""
    from contactfe.report import reader

    return reader().scale("mm")[1]


def _is_number(text: str) -> bool:
    text = text.rstrip("*#+ ")  # marks that point to a note below
    return text in ("", "-") or text.replace(".", "", 1).replace("-", "").isdigit()
