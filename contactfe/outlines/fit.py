"""Smooth curves as chains of circular arcs and lines that keep the tangent: pairs of arcs (biarcs), halved until
they lie within a tolerance.

Two arcs that meet with one tangent and carry given tangents at both ends exist for almost every pair of ends; the
one used here has tangent legs of equal length d with d^2 (2 - 2 t0.t1) + 2 d v.(t0 + t1) - v.v = 0, v the chord
(plane geometry of tangent legs).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from contactfe.profile import Piece, line

Array = NDArray[np.float64]
CORNER = math.radians(15)
"""Change of direction at a point of a polyline from which it is a corner and not a sample of a smooth curve."""
STRAIGHT = 1e-7  # rad: an arc that turns less is a line
LEAST_POINTS = 3  # inner points that have to lie near a biarc before it is believed


def fit_smooth(points: Array, tangents: Array, tolerance: float) -> list[Piece]:
    """Arcs and lines within `tolerance` (mm) of the points (n, 2) of a smooth curve with tangents (n, 2) there.

    Joints lie on the curve with its tangent, so that neighbours go on smoothly, from one span to the next too.
    """
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.any(np.diff(points, axis=0) != 0.0, axis=1)
    p, t = points[keep], tangents[keep]
    if len(p) < 2:
        return []
    length = np.hypot(*t.T)
    flat = length < 1e-12 * max(float(length.max()), 1e-300)
    t = t / np.where(flat, 1.0, length)[:, None]
    for i in np.flatnonzero(flat).tolist():  # a cusp or a standstill: the direction of the chord there
        chord = p[min(i + 1, len(p) - 1)] - p[max(i - 1, 0)]
        t[i] = chord / max(float(np.hypot(*chord)), 1e-300)
    found: list[Piece] = []
    waiting = [(0, len(p) - 1)]
    while waiting:
        first, last = waiting.pop()
        pair = _biarc(p[first], t[first], p[last], t[last])
        if last - first <= 1:
            found += pair or [line(p[first], p[last], "")]
            continue
        inner = p[first + 1 : last]
        if pair and last - first > LEAST_POINTS and _distance(pair, inner) <= tolerance:
            found += pair
        else:
            middle = (first + last) // 2
            waiting += [(middle, last), (first, middle)]
    return found


def fit_points(points: Array, tolerance: float, closed: bool) -> list[Piece]:
    """Arcs and lines through a chain of points (n, 2): corners stay, what turns little by little becomes smooth.

    A stretch between two corners without points in it is a line.
    """
    p = np.vstack([points, points[:1]]) if closed else points
    p = p[np.concatenate([[True], np.any(np.diff(p, axis=0) != 0.0, axis=1)])]
    if len(p) < 2:
        return []
    step = np.diff(p, axis=0)
    angle = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs(np.remainder(np.diff(angle) + math.pi, math.tau) - math.pi)
    corners = [0, *(np.flatnonzero(turn > CORNER) + 1).tolist(), len(p) - 1]
    found: list[Piece] = []
    for a, b in itertools.pairwise(corners):
        run = p[a : b + 1]
        if len(run) == 2:
            found.append(line(run[0], run[1], ""))
        else:
            found += fit_smooth(run, _tangents(run), tolerance)
    return found


def _tangents(p: Array) -> Array:
    """Tangents (n, 2) at the points of a run, of the circle through each point and its two neighbours."""
    h = np.diff(p, axis=0)
    length = np.hypot(*h.T)[:, None]
    d = h / length
    inner = (d[:-1] * length[1:] + d[1:] * length[:-1]) / (length[:-1] + length[1:])
    inner /= np.hypot(*inner.T)[:, None]
    # At an end the circle's tangent mirrors the neighbour's at the chord.
    first = 2.0 * d[0] * float(d[0] @ inner[0]) - inner[0]
    last = 2.0 * d[-1] * float(d[-1] @ inner[-1]) - inner[-1]
    return np.vstack([first, inner, last])


def _biarc(p0: Array, t0: Array, p1: Array, t1: Array) -> list[Piece] | None:
    """One or two pieces from p0 along t0 to p1 along t1; None where no such pair goes forward."""
    v = p1 - p0
    chord = float(np.hypot(*v))
    if chord == 0.0:
        return None
    bend = max(abs(float(v[0] * t[1] - v[1] * t[0])) for t in (t0, t1)) / chord
    if bend < STRAIGHT and float(v @ t0) > 0 and float(v @ t1) > 0:
        return [line(p0, p1, "")]
    a, b, c = 2.0 * (1.0 - float(t0 @ t1)), 2.0 * float(v @ (t0 + t1)), -float(v @ v)
    if a < 1e-9:  # nearly parallel tangents; squares would lose their digits
        if b <= 0:
            return None
        d = -c / b
        d -= (a * d * d + b * d + c) / (2 * a * d + b)
    else:
        d = (
            -2.0 * c / (b + math.sqrt(b * b - 4.0 * a * c))
            if b > 0
            else ((-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a))
        )
    if not 0.0 < d < 4.0 * chord:
        return None
    joint = 0.5 * (p0 + d * t0 + p1 - d * t1)
    one, two = _arc_along(p0, t0, joint), _arc_back(joint, p1, t1)
    return [one, two] if one is not None and two is not None else None


def _arc_along(start: Array, tangent: Array, end: Array) -> Piece | None:
    """The arc (or line) from `start` with its tangent to `end`; None when it would turn by half a circle or more."""
    v = end - start
    chord = float(np.hypot(*v))
    if chord == 0.0:
        return None
    half = math.atan2(float(tangent[0] * v[1] - tangent[1] * v[0]), float(tangent @ v))
    if abs(half) >= math.pi / 2:
        return None
    if abs(half) < STRAIGHT:
        return line(start, end, "")
    radius = chord / (2.0 * math.sin(half))  # signed: positive when it runs anticlockwise
    centre = start + radius * np.array([-tangent[1], tangent[0]])
    return Piece(
        (float(start[0]), float(start[1])),
        (float(end[0]), float(end[1])),
        "",
        (float(centre[0]), float(centre[1])),
        abs(radius),
        2.0 * half,
    )


def _arc_back(start: Array, end: Array, tangent: Array) -> Piece | None:
    """The arc (or line) from `start` to `end`, where it has the tangent."""
    found = _arc_along(end, -tangent, start)
    return found.reversed() if found is not None else None


def _distance(pair: list[Piece], points: Array) -> float:
    """Largest distance (mm) of the points from the nearer of the pieces, along normals."""
    off = [
        np.abs(np.hypot(*(points - np.array(p.centre)).T) - p.radius) if p.is_arc else _from_line(p, points)
        for p in pair
    ]
    if len(pair) == 1:
        return float(off[0].max())
    # The joint parts the points: those before it belong to the first piece.
    ahead = (points - np.array(pair[0].end)) @ pair[0].tangents(np.ones(1))[0] > 0
    return float(np.where(ahead, off[1], off[0]).max())


def _from_line(p: Piece, points: Array) -> Array:
    t = p.tangents(np.zeros(1))[0]
    w = points - np.array(p.start)
    return np.asarray(np.abs(t[0] * w[:, 1] - t[1] * w[:, 0]))
