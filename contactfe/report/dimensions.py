"""Dimension lines: what is measured on a pair, and where its lines and labels go so that none meets another.

Every dimension has a row (above or below) or a column (to the right) of its own; rows are a fixed number of
inches apart, whatever the size of the fastener.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from matplotlib.axes import Axes
from numpy.typing import NDArray
from shapely.ops import nearest_points

from contactfe.inputs import CaseInput
from contactfe.profile import Outline, ProfilePair
from contactfe.report.reader_units import bare_length
from contactfe.report.style import INK, SOFT

Array = NDArray[np.float64]
Point = tuple[float, float]

ROW = 0.36  # inches between dimension lines
FIRST = 0.3  # inches from the wrench to the first one
EDGE = 0.12  # inches of margin
INNER = ("root", "ridge", "flank", "throat")  # pieces of an opening


@dataclass(frozen=True)
class Dimension:
    """A distance between two places on the pair (mm), and the side of the drawing on which its line stands.

    On "inside" the line runs from place to place, its label along its second half.
    """

    label: str
    start: Point
    end: Point
    side: Literal["top", "bottom", "right", "inside"]

    @property
    def value(self) -> float:
        """The distance along the dimension line, mm."""
        if self.side == "inside":
            return math.dist(self.start, self.end)
        axis = 1 if self.side == "right" else 0
        return abs(self.end[axis] - self.start[axis])

    @property
    def text(self) -> str:
        """Label and value."""
        return f"{self.label} {bare_length(self.value)}"


def across_corners(case: CaseInput, pair: ProfilePair, fastener: Outline) -> float:
    """Return the width of a placed fastener over two opposite corners, as worn as they are (mm).

    Measured along the line through the corners of the unworn shape; a square stands with them on its
    diagonals.
    """
    upright = fastener.rotated(
        -pair.first_flat
    )  # a flat towards +x, so corners of a hexagon stand at the top
    if case.fastener.shape == "square":
        upright = upright.rotated(math.pi / 4)
    points = np.vstack(upright.polygon(1e-3 * pair.across_flats))
    return float(np.ptp(points[:, 1]))


def dimensions_of(case: CaseInput, pair: ProfilePair) -> list[Dimension]:
    """Return the dimensions that are drawn, those next to the pair first on each side."""
    if case.wrench.family.drawn:
        return _of_drawn(pair)
    return _of_ring(case, pair) if case.wrench.family.is_ring else _of_open_end(case, pair)


def _of_drawn(pair: ProfilePair) -> list[Dimension]:
    """A drawn wrench: the flats where they look along an axis, and the width of the whole head."""
    s, opening = pair.across_flats, pair.opening
    points = np.vstack(pair.wrench.polygon(s / 200))
    x, low, high = 0.9 * points[:, 0].max(), points[:, 1].min(), points[:, 1].max()
    found = []
    if abs(math.sin(pair.first_flat)) < 1e-9:
        found += [
            Dimension("across flats s", (-s / 2, 0.0), (s / 2, 0.0), "top"),
            Dimension("opening S", (-opening / 2, 0.0), (opening / 2, 0.0), "bottom"),
        ]
    elif abs(math.cos(pair.first_flat)) < 1e-9:
        found += [
            Dimension("across flats s", (0.0, -s / 2), (0.0, s / 2), "right"),
            Dimension("opening S", (x, -opening / 2), (x, opening / 2), "right"),
        ]
    return [*found, Dimension("whole width", (0.0, low), (0.0, high), "right")]


def _of_ring(case: CaseInput, pair: ProfilePair) -> list[Dimension]:
    """Flats of opening and fastener face the x axis; every corner or point of the fastener may stand on the
    y axis.
    """
    s, opening, dims = pair.across_flats, pair.opening, case.wrench.dims
    radius = dims["outside_diameter"] / 2
    high = across_corners(case, pair, pair.fastener)
    at = s / 2 * math.tan(math.pi / 12)  # where twelve-point flanks lie on the flat as well
    found = [
        Dimension("across flats s", (-s / 2, at), (s / 2, at), "top"),
        Dimension("opening S", (-opening / 2, -at), (opening / 2, -at), "bottom"),
    ]
    if "slot_width" in dims:
        half = dims["slot_width"] / 2
        x = 0.9 * radius
        found.append(Dimension("slot", (x, -half), (x, half), "right"))
    found.append(Dimension(_corner_label(case, high), (0.0, -high / 2), (0.0, high / 2), "right"))
    found.append(Dimension("outside diameter", (0.0, -radius), (0.0, radius), "right"))
    return found


def _of_open_end(case: CaseInput, pair: ProfilePair) -> list[Dimension]:
    """Jaws stand above and below the x axis, the mouth opens to the right."""
    s, opening, dims = pair.across_flats, pair.opening, case.wrench.dims
    wide, reach, centre = across_corners(case, pair, pair.fastener), dims["jaw_reach"], dims["head_centre"]
    half, diagonal = dims["head_width"] / 2, wide / math.sqrt(8.0)
    over = Dimension(_corner_label(case, wide), (-wide / 2, 0.0), (wide / 2, 0.0), "top")
    if case.fastener.shape == "square":
        over = Dimension(over.label, (-diagonal, diagonal), (diagonal, -diagonal), "inside")
    return [
        over,
        Dimension("jaw reach", (0.0, 0.0), (reach, -opening / 2), "bottom"),
        Dimension("throat depth", (-dims["throat_depth"], 0.0), (0.0, 0.0), "bottom"),
        Dimension("across flats s", (0.0, -s / 2), (0.0, s / 2), "right"),
        Dimension("opening S", (reach, -opening / 2), (reach, opening / 2), "right"),
        Dimension("head width", (centre, -half), (centre, half), "right"),
    ]


def _corner_label(case: CaseInput, width: float) -> str:
    if case.fastener.shape == "outline":
        return "fastener over all"
    return "across corners e" if width > 1.0001 * case.fastener.across_flats else "turned round"


def wall_of(case: CaseInput, pair: ProfilePair) -> tuple[float, Point, Point]:
    """Return the least wall between the opening and the outside (mm), and the two ends of that line.

    Of a ring it lies over a corner of the opening, of an open or a drawn end behind the fastener's axis, on the side of
    the handle: ahead of it the way out leads through the mouth. The ends lie in the upper half, clear of the handle,
    where there are any.
    """
    outside, points = _outside(pair), _inside(pair)
    if not case.wrench.family.is_ring:
        back = np.array([math.cos(pair.handle_direction), math.sin(pair.handle_direction)])
        points = _chosen(points, points @ back >= 0)
        points = _chosen(points, points[:, 1] > 0)
        outside = _behind(outside, back, 100 * pair.across_flats)
    else:
        angle = np.degrees(np.arctan2(points[:, 1], points[:, 0]))
        points = _chosen(points, (angle > 85) & (angle < 135))
    walls = shapely.distance(outside, shapely.points(points))
    # Several corners are alike: the leftmost is nearest to the label.
    alike = points[walls <= walls.min() + 1e-4 * pair.across_flats]
    q = alike[int(np.argmin(alike[:, 0]))]
    end = nearest_points(outside, shapely.Point(q))[0]
    return float(walls.min()), (float(q[0]), float(q[1])), (float(end.x), float(end.y))


def _outside(pair: ProfilePair) -> shapely.MultiLineString:
    """The outer edges of the wrench; where no piece is named so, all that is neither opening nor the end of the handle."""
    chord = pair.across_flats / 400
    named = [p for p in pair.wrench.pieces if p.name in ("outside", "blend")]
    outer = named or [p for p in pair.wrench.pieces if p.name not in (*INNER, "handle-end")]
    return shapely.MultiLineString(
        [p.points(np.linspace(0.0, 1.0, 2 + math.ceil(p.length / chord))) for p in outer]
    )


def _inside(pair: ProfilePair) -> Array:
    """Points (n, 2) of the opening's edge."""
    inner = [p for p in pair.wrench.pieces if p.name in INNER] or list(pair.wrench.pieces)
    return np.vstack([p.points(np.linspace(0.0, 1.0, 81)) for p in inner])


def _chosen(points: Array, which: NDArray[np.bool_]) -> Array:
    """Those points that are chosen, all of them where none is."""
    return points[which] if which.any() else points


def _behind(outside: shapely.MultiLineString, back: Array, far: float) -> shapely.Geometry:
    """The part of the outer edges on the side that `back` (2,) points to; all of them where none is there."""
    along = np.array([-back[1], back[0]])
    half = shapely.Polygon([far * along, -far * along, far * (back - along), far * (back + along)])
    clipped = shapely.intersection(outside, half)
    return outside if clipped.is_empty else clipped


@dataclass
class Sheet:
    """Axes with room for dimension lines round the pair: `box` holds the pair (x0, y0, x1, y1) in mm,
    `per_inch` the mm that one inch of the drawing stands for.
    """

    ax: Axes
    box: tuple[float, float, float, float]
    per_inch: float
    used: Counter[str]

    @staticmethod
    def fitted(ax: Axes, shown: Array, dims: list[Dimension], inches: tuple[float, float]) -> Sheet:
        """Set the limits of axes of a size in inches so that points (n, 2) and all dimension lines fit."""
        rows = Counter(d.side for d in dims if d.side != "inside")
        room = {side: FIRST + ROW * max(n - 1, 0) + EDGE for side, n in rows.items()}
        top, right = room.get("top", 0.0) + 0.16, room.get("right", 0.0)
        bottom = max(room.get("bottom", 0.0), 0.8)
        (x0, y0), (x1, y1) = shown.min(axis=0), shown.max(axis=0)
        per_inch = max((x1 - x0) / (inches[0] - right - EDGE), (y1 - y0) / (inches[1] - top - bottom))
        ax.set_axis_off()
        aside = 0.5 * (inches[0] * per_inch - (x1 - x0) - (right + EDGE) * per_inch)
        ax.set_xlim(x0 - aside - EDGE * per_inch, x0 - aside + (inches[0] - EDGE) * per_inch)
        middle = 0.5 * (inches[1] * per_inch - (y1 - y0) - (top + bottom) * per_inch)
        low = y0 - bottom * per_inch - middle
        ax.set_ylim(low, low + inches[1] * per_inch)
        return Sheet(ax, (float(x0), float(y0), float(x1), float(y1)), float(per_inch), Counter())

    def mark_place(self) -> Point:
        """Where the axis mark goes: below the pair, on the left, where no dimension line runs."""
        return self.box[0] + 0.05 * self.per_inch, self.box[1] - 0.72 * self.per_inch

    def draw(self, dim: Dimension) -> None:
        """Draw one dimension on the next free row or column of its side."""
        away = (FIRST + ROW * self.used[dim.side]) * self.per_inch
        self.used[dim.side] += 1
        if dim.side == "inside":
            self._arrow(dim.start, dim.end)
            x, y = (0.26 * a + 0.74 * b for a, b in zip(dim.start, dim.end, strict=True))
            slope = math.degrees(math.atan2(dim.end[1] - dim.start[1], dim.end[0] - dim.start[0]))
            self._label(dim.text, x, y, ha="center", va="center", rotation=slope)
        elif dim.side == "right":
            self._column(dim, self.box[2] + away)
        else:
            self._row(dim, self.box[3] + away if dim.side == "top" else self.box[1] - away)

    def _row(self, dim: Dimension, y: float) -> None:
        past = math.copysign(0.06 * self.per_inch, y)
        for x, start in (dim.start, dim.end):
            self.ax.plot([x, x], [start, y + past], color=SOFT, lw=0.6, zorder=4)
        a, b = sorted((dim.start[0], dim.end[0]))
        self._arrow((a, y), (b, y))
        self._label(dim.text, 0.5 * (a + b), y + 0.03 * self.per_inch, ha="center", va="bottom")

    def _column(self, dim: Dimension, x: float) -> None:
        for start, y in (dim.start, dim.end):
            self.ax.plot([start, x + 0.06 * self.per_inch], [y, y], color=SOFT, lw=0.6, zorder=4)
        a, b = sorted((dim.start[1], dim.end[1]))
        self._arrow((x, a), (x, b))
        self._label(dim.text, x - 0.03 * self.per_inch, 0.5 * (a + b), ha="right", va="center", rotation=90)

    def draw_wall(self, wall: float, start: Point, end: Point) -> None:
        """Draw the wall across itself, its label at the upper left of the pair."""
        self._arrow(start, end)
        middle = (0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1]))
        label = (self.box[0] + 0.02 * self.per_inch, self.box[3] - 0.15 * self.per_inch)
        line = {"arrowstyle": "-", "color": SOFT, "lw": 0.6, "shrinkB": 0}
        self.ax.annotate(
            f"least wall {bare_length(wall)}",
            middle,
            xytext=label,
            fontsize=8.5,
            ha="left",
            va="center",
            zorder=7,
            arrowprops=line,
        )

    def _arrow(self, a: Point, b: Point) -> None:
        """A line with heads at both ends, from outside where it is too short for heads inside."""
        reach = 0.3 * self.per_inch
        size = math.dist(a, b)
        if size == 0.0:  # nothing to measure: a wall that two pieces share, a drawn edge of no length
            return
        look: dict[str, Any] = {"color": INK, "lw": 0.8, "mutation_scale": 8, "shrinkA": 0, "shrinkB": 0}
        if size > reach:
            self.ax.annotate("", a, xytext=b, arrowprops={"arrowstyle": "<|-|>", **look}, zorder=5)
            return
        step = ((b[0] - a[0]) / size * reach, (b[1] - a[1]) / size * reach)
        for tip, sign in ((a, -1.0), (b, 1.0)):
            tail = (tip[0] + sign * step[0], tip[1] + sign * step[1])
            self.ax.annotate("", tip, xytext=tail, arrowprops={"arrowstyle": "-|>", **look}, zorder=5)

    def _label(self, text: str, x: float, y: float, **where: Any) -> None:
        box = {"boxstyle": "square,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.9}
        self.ax.text(x, y, text, fontsize=8.5, zorder=6, bbox=box, **where)
