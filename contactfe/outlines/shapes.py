"""The strokes of one SVG shape in its own coordinates: path, line, polyline, polygon, rect, circle, ellipse."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping

import numpy as np
from fontTools.svgLib.path.parser import parse_path

from contactfe.outlines.strokes import Array, Bezier, Conic, Line, Stroke, circle

Point = tuple[float, float]
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_CLEAN = re.compile(r"[\s,0-9eE.+-]*")
_PLAIN = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(?:px)?\s*")
_PATH = re.compile(r"[\s,0-9eE.+\-MmZzLlHhVvCcSsQqTtAa]*")


class NotAShape(Exception):
    """What cannot be read about a shape, in words."""


def strokes_of(name: str, attributes: Mapping[str, str]) -> list[Stroke]:
    """The strokes of a shape by the name of its element. Raises NotAShape."""
    found = SHAPES[name](attributes)
    if not all(np.all(np.isfinite(s.values())) for s in found):
        raise NotAShape("has a coordinate that is not a number")
    return found


def _value(attributes: Mapping[str, str], key: str, default: float = 0.0) -> float:
    text = attributes.get(key)
    if text is None:
        return default
    match = _PLAIN.fullmatch(text)
    if match is None or not math.isfinite(float(match[1])):
        raise NotAShape(f'{key}="{text[:30]}" is not a number of the drawing\'s units')
    return float(match[1])


def _path(attributes: Mapping[str, str]) -> list[Stroke]:
    text = attributes.get("d", "")
    if _PATH.fullmatch(text) is None:
        raise NotAShape("its path holds what is not a path command")
    pen = _Pen()
    try:
        parse_path(text, pen)
    except NotAShape:
        raise
    except (ValueError, TypeError, IndexError, ArithmeticError) as error:
        raise NotAShape(f"its path cannot be read: {' '.join(str(error).split())[:80]}") from error
    return pen.strokes


class _Pen:
    """Takes the calls of the path parser; arcs come as SVG writes them."""

    def __init__(self) -> None:
        self.strokes: list[Stroke] = []
        self.at: Array = np.zeros(2)

    def moveTo(self, point: Point) -> None:
        self.at = np.array(point, dtype=float)

    def lineTo(self, point: Point) -> None:
        end = np.array(point, dtype=float)
        self.strokes.append(Line(self.at, end))
        self.at = end

    def curveTo(self, *points: Point) -> None:
        control = np.vstack([self.at, np.array(points, dtype=float)])
        self.strokes.append(Bezier(control))
        self.at = control[-1]

    qCurveTo = curveTo

    def arcTo(self, rx: float, ry: float, rotation: float, large: bool, sweep: bool, end: Point) -> None:
        to = np.array(end, dtype=float)
        self.strokes += _svg_arc(
            self.at, to, (float(rx), float(ry), float(rotation)), (bool(large), bool(sweep))
        )
        self.at = to

    def closePath(self) -> None:
        """The parser draws the closing line itself."""

    def endPath(self) -> None:
        """An open path: its ends are joined, or not, with all others."""


def _svg_arc(
    start: Array, end: Array, shape: tuple[float, float, float], flags: tuple[bool, bool]
) -> list[Stroke]:
    """An arc from its end points: centre and angles by SVG 1.1, F.6.5; radii too small are enlarged (F.6.6)."""
    rx, ry, rotation = abs(shape[0]), abs(shape[1]), math.radians(shape[2])
    if not all(map(math.isfinite, (*start, *end, *shape))):
        raise NotAShape("has a coordinate that is not a number")
    if np.all(start == end):
        return []
    if rx == 0.0 or ry == 0.0:
        return [Line(start, end)]
    c, s = math.cos(rotation), math.sin(rotation)
    turn = np.array([[c, s], [-s, c]])
    half = turn @ (start - end) / 2.0
    grow = math.hypot(half[0] / rx, half[1] / ry)
    if grow > 1.0:
        rx, ry = rx * grow, ry * grow
    x, y = half[0] / rx, half[1] / ry
    inside = max(0.0, 1.0 / (x * x + y * y) - 1.0)
    side = math.sqrt(inside) * (1.0 if flags[0] != flags[1] else -1.0)
    local = side * np.array([y, -x])
    centre = turn.T @ (local * np.array([rx, ry])) + (start + end) / 2.0
    begin = math.atan2(y - local[1], x - local[0])
    sweep = (math.atan2(-y - local[1], -x - local[0]) - begin) % math.tau
    if not flags[1]:
        sweep -= math.tau
    u, v = rx * turn.T @ np.array([1.0, 0.0]), ry * turn.T @ np.array([0.0, 1.0])
    return [Conic(centre, u, v, begin, begin + sweep)]


def _points(attributes: Mapping[str, str]) -> Array:
    text = attributes.get("points", "")
    values = [float(v) for v in _NUMBER.findall(text)]
    if _CLEAN.fullmatch(text) is None or len(values) % 2:
        raise NotAShape("its points are not pairs of numbers")
    return np.array(values).reshape(-1, 2)


def _polyline(attributes: Mapping[str, str]) -> list[Stroke]:
    p = _points(attributes)
    return [Line(a, b) for a, b in itertools.pairwise(p)]


def _polygon(attributes: Mapping[str, str]) -> list[Stroke]:
    p = _points(attributes)
    return [Line(a, b) for a, b in zip(p, np.roll(p, -1, axis=0), strict=True)]


def _line(attributes: Mapping[str, str]) -> list[Stroke]:
    x1, y1, x2, y2 = (_value(attributes, key) for key in ("x1", "y1", "x2", "y2"))
    return [Line(np.array([x1, y1]), np.array([x2, y2]))]


def _circle(attributes: Mapping[str, str]) -> list[Stroke]:
    radius = _value(attributes, "r")
    if radius <= 0.0:
        raise NotAShape(f"its radius is {radius:g}")
    return circle((_value(attributes, "cx"), _value(attributes, "cy")), radius)


def _ellipse(attributes: Mapping[str, str]) -> list[Stroke]:
    rx, ry = _value(attributes, "rx"), _value(attributes, "ry")
    if rx <= 0.0 or ry <= 0.0:
        raise NotAShape("one of its radii is not above 0")
    centre = np.array([_value(attributes, "cx"), _value(attributes, "cy")])
    u, v = np.array([rx, 0.0]), np.array([0.0, ry])
    return [Conic(centre, u, v, 0.0, math.pi), Conic(centre, u, v, math.pi, math.tau)]


def _rect(attributes: Mapping[str, str]) -> list[Stroke]:
    """A rectangle, its corners rounded where it has rx or ry (SVG 1.1, 9.2)."""
    x, y, w, h = (_value(attributes, key) for key in ("x", "y", "width", "height"))
    if w <= 0.0 or h <= 0.0:
        raise NotAShape("its width or height is not above 0")
    rx, ry = _value(attributes, "rx", -1.0), _value(attributes, "ry", -1.0)
    rx, ry = (ry if rx < 0 else rx), (rx if ry < 0 else ry)
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    corners = [(x + w, y, -0.5), (x + w, y + h, 0.0), (x, y + h, 0.5), (x, y, 1.0)]
    found: list[Stroke] = []
    last = np.array([x + rx, y])
    for cx, cy, quarter in corners:
        centre = np.array([cx + (rx if cx == x else -rx), cy + (ry if cy == y else -ry)])
        begin = quarter * math.pi
        corner = Conic(centre, np.array([rx, 0.0]), np.array([0.0, ry]), begin, begin + math.pi / 2)
        first = centre + np.array([rx * math.cos(begin), ry * math.sin(begin)])
        found.append(Line(last, first))
        if rx > 0 and ry > 0:
            found.append(corner)
        last = centre + np.array([rx * math.cos(begin + math.pi / 2), ry * math.sin(begin + math.pi / 2)])
    return found


SHAPES: dict[str, Callable[[Mapping[str, str]], list[Stroke]]] = {
    "path": _path,
    "line": _line,
    "polyline": _polyline,
    "polygon": _polygon,
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
}
