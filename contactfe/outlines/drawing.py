"""What a reader of drawings hands on, and the bounds that every file is held to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from contactfe.errors import InputError, Problem
from contactfe.files import open_regular
from contactfe.outlines.strokes import Stroke

MOST_BYTES = 20_000_000
MOST_STROKES = 60_000
MOST_DEPTH = 16
"""Of blocks in blocks and groups in groups."""
LARGEST = 1e7
"""Largest coordinate in the unit of the drawing: beyond it the file is broken."""
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "px": 25.4 / 96.0, "pt": 25.4 / 72.0}
"""Millimetres in each unit that a drawing can be in; px and pt as CSS Values and Units defines them."""


@dataclass(frozen=True, eq=False)
class Drawing:
    """A file's strokes in its own unit, x right and y up.

    `unit` is the unit that the file states, None when it states none; `stated` says where it does. `layers` counts
    the strokes of each layer, `passed_over` what the file holds beside lines and curves, by kind.
    """

    strokes: tuple[Stroke, ...]
    unit: str | None
    stated: str
    layers: dict[str, int] = field(default_factory=dict)
    passed_over: dict[str, int] = field(default_factory=dict)


class Collector:
    """Gathers strokes within the bounds. `source` heads messages; problems end the reading at once."""

    def __init__(self, source: str, wanted: Sequence[str] = ()) -> None:
        self.source, self.wanted = source, tuple(wanted)
        self.strokes: list[Stroke] = []
        self.layers: Counter[str] = Counter()
        self.passed_over: Counter[str] = Counter()

    def add(self, strokes: Iterable[Stroke], layer: str) -> None:
        """Take strokes of a layer, unless other layers are wanted.

        Raises:
            InputError: too many strokes, or a number that is not finite or far too large.
        """
        for stroke in strokes:
            values = stroke.values()
            if not np.all(np.isfinite(values)) or np.abs(values).max() > LARGEST:
                raise fault(
                    self.source,
                    f"layer {layer}" if layer else "",
                    "has a coordinate that is not a number, or is larger than 1e7",
                    "save the drawing anew, or draw it nearer to the origin",
                )
            self.layers[layer] += 1
            if not self.wanted or layer in self.wanted:
                self.strokes.append(stroke)
            if sum(self.layers.values()) > MOST_STROKES:
                raise too_many(self.source)

    def drawing(self, unit: str | None, stated: str) -> Drawing:
        """What was gathered.

        Raises:
            InputError: a wanted layer is not there, or there is nothing to read.
        """
        missing = [name for name in self.wanted if name not in self.layers]
        if missing:
            known = ", ".join(f'"{name}"' for name in sorted(self.layers)) or "none"
            raise fault(
                self.source, "--layer", f'no lines on layer "{missing[0]}"', f"layers with lines: {known}"
            )
        if not self.strokes:
            held = ", ".join(f"{count} {kind}" for kind, count in self.passed_over.items())
            raise fault(
                self.source,
                "",
                "holds no lines, arcs or curves" + (f", only {held}" if held else ""),
                "draw the outline as lines, arcs, polylines, circles, ellipses or splines",
            )
        return Drawing(tuple(self.strokes), unit, stated, dict(self.layers), dict(self.passed_over))


def fault(source: str, where: str, message: str, hint: str = "") -> InputError:
    """One problem of a drawing as the error to raise."""
    return InputError([Problem(where, message, hint)], source=source, slug="drawing")


def too_many(source: str) -> InputError:
    """The error of a file that holds more than an outline ever does."""
    return fault(
        source,
        "",
        f"holds more than {MOST_STROKES:,} lines and curves",
        "keep the outline of one head only",
    )


def read_bytes(path: Path) -> bytes:
    """The content of a file of at most MOST_BYTES. Raises InputError when it cannot be read or is larger."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise fault(
                str(path),
                "",
                f"is {size / 1e6:.0f} MB large, more than {MOST_BYTES / 1e6:.0f} MB",
                "keep the outline of one head only",
            )
        with open_regular(path) as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise fault(
            str(path),
            "",
            f"cannot be read: {error.strerror}",
            "check the path and the permissions of the file",
        ) from error
    if not data.strip():
        raise fault(str(path), "", "is empty", "save the drawing anew")
    return data
