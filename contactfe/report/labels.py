"""Labels beside points of a figure, placed so that they meet neither each other nor, where it can be helped, the curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = tuple[float, float, str, str]

AROUND: tuple[Place, ...] = (
    (0, 9, "center", "bottom"),
    (0, 9, "right", "bottom"),
    (0, 9, "left", "bottom"),
    (11, -5, "left", "top"),
    (0, -10, "right", "top"),
    (0, -10, "left", "top"),
    (-11, 0, "right", "center"),
    (11, 0, "left", "center"),
    (0, -26, "center", "top"),
    (0, -44, "center", "top"),
    (0, -44, "right", "top"),
    (-30, -26, "right", "top"),
    (30, -26, "left", "top"),
    (0, 34, "right", "bottom"),
    (-40, 34, "right", "bottom"),
)
"""Where a label may stand beside its point: offset in points of type, horizontal and vertical alignment."""
OVER_LABEL, OUTSIDE, OVER_CURVE = 1e6, 1e5, 1.0  # what a place costs; each place costs its number beside


@dataclass(frozen=True)
class Label:
    """A text that belongs to a point (x, y in data units), its look, and the places it likes best."""

    text: str
    at: tuple[float, float]
    look: dict[str, Any] = field(default_factory=dict)
    first: tuple[Place, ...] = ()


def place_labels(ax: Axes, labels: Sequence[Label], curve: Array, taken: Sequence[Bbox] = ()) -> None:
    """Write labels on axes whose limits are set, one after the other, each at its cheapest place.

    ``curve``: points (n, 2) in data units that a label should not cover; ``taken``: boxes in pixels that it must not.
    """
    boxes, dots = list(taken), ax.transData.transform(curve)
    for label in labels:
        note = ax.annotate(label.text, label.at, xytext=(0, 0), textcoords="offset points", **label.look)
        costs = []
        for number, place in enumerate((*label.first, *AROUND)):
            _move(note, place)
            costs.append((_cost(ax, note.get_window_extent(), boxes, dots) + number, place))
        _move(note, min(costs, key=lambda cost: cost[0])[1])
        boxes.append(note.get_window_extent())


def _move(note: Any, place: Place) -> None:
    x, y, across, up = place
    note.set_position((x, y))
    note.set(ha=across, va=up)


def _cost(ax: Axes, box: Bbox, boxes: Sequence[Bbox], dots: Array) -> float:
    inside = ax.bbox
    beyond = max(inside.x0 - box.x0, box.x1 - inside.x1, inside.y0 - box.y0, box.y1 - inside.y1, 0.0)
    covered = (dots[:, 0] > box.x0) & (dots[:, 0] < box.x1) & (dots[:, 1] > box.y0) & (dots[:, 1] < box.y1)
    over = sum(box.overlaps(other) for other in boxes)
    return OVER_LABEL * over + (OUTSIDE if beyond > 0 else 0.0) + OVER_CURVE * float(covered.sum())
