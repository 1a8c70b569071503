"""What a drawing is made of, exact as it stands in the file, and how it becomes lines and arcs.

A stroke can be moved by an affine map without loss. Straight lines and circular arcs become exact pieces; ellipses,
Bezier curves and splines are fitted by arcs and lines that keep the tangent (`contactfe.outlines.fit`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.outlines.fit import fit_smooth
from contactfe.profile import Piece, line

Array = NDArray[np.float64]
ROUND = 1e-9
"""Of the radius: how far the two half axes of an ellipse may differ for it to be a circle."""
SAMPLES = 48  # points on each span of a curve that is fitted
BEZIER_DEGREES = (2, 3)


@dataclass(frozen=True, eq=False)
class Line:
    """A straight stroke between two points (2,)."""

    start: Array
    end: Array

    def moved(self, matrix: Array, shift: Array) -> Line:
        """The stroke under x -> matrix x + shift."""
        return Line(matrix @ self.start + shift, matrix @ self.end + shift)

    def pieces(self, tolerance: float) -> list[Piece]:
        """The exact piece; nothing for a line without length."""
        return [line(self.start, self.end, "")] if np.any(self.start != self.end) else []

    def values(self) -> Array:
        """Every number of the stroke, to be checked and bounded."""
        return np.concatenate([self.start, self.end])


@dataclass(frozen=True, eq=False)
class Conic:
    """A part of an ellipse: centre + u cos t + v sin t, t from `begin` to `end` (rad); a circle when u, v are
    of one length and square to each other."""

    centre: Array
    u: Array
    v: Array
    begin: float
    end: float

    def moved(self, matrix: Array, shift: Array) -> Conic:
        """The stroke under x -> matrix x + shift."""
        return Conic(matrix @ self.centre + shift, matrix @ self.u, matrix @ self.v, self.begin, self.end)

    def pieces(self, tolerance: float) -> list[Piece]:
        """The exact arc of a circle, or arcs fitted to the ellipse."""
        a, b = float(np.hypot(*self.u)), float(np.hypot(*self.v))
        if min(a, b) <= 1e-12 * max(a, b, 1e-300) or self.begin == self.end:
            return []
        if abs(a - b) <= ROUND * a and abs(float(self.u @ self.v)) <= ROUND * a * b:
            return [self._arc(a)]
        spans = max(1, math.ceil(abs(self.end - self.begin) / (math.pi / 4)))
        t = np.linspace(self.begin, self.end, spans * SAMPLES + 1)
        c, s = np.cos(t)[:, None], np.sin(t)[:, None]
        points = self.centre + c * self.u + s * self.v
        tangents = math.copysign(1.0, self.end - self.begin) * (c * self.v - s * self.u)
        return fit_smooth(points, tangents, tolerance)

    def _arc(self, radius: float) -> Piece:
        sign = math.copysign(1.0, float(self.u[0] * self.v[1] - self.u[1] * self.v[0]))
        ends = [
            tuple((self.centre + math.cos(t) * self.u + math.sin(t) * self.v).tolist())
            for t in (self.begin, self.end)
        ]
        centre = (float(self.centre[0]), float(self.centre[1]))
        return Piece(ends[0], ends[1], "", centre, radius, sign * (self.end - self.begin))

    def values(self) -> Array:
        """Every number of the stroke, to be checked and bounded."""
        return np.concatenate([self.centre, self.u, self.v, [self.begin, self.end]])


@dataclass(frozen=True, eq=False)
class Bezier:
    """A quadratic or cubic Bezier curve by its control points (3 or 4, 2)."""

    control: Array

    def moved(self, matrix: Array, shift: Array) -> Bezier:
        """The stroke under x -> matrix x + shift."""
        return Bezier(self.control @ matrix.T + shift)

    def pieces(self, tolerance: float) -> list[Piece]:
        """Arcs and lines fitted to the curve."""
        p = self.control
        if len(p) == 3:  # raised to a cubic, exactly
            p = np.array([p[0], p[0] + 2 / 3 * (p[1] - p[0]), p[2] + 2 / 3 * (p[1] - p[2]), p[2]])
        size = float(np.ptp(p, axis=0).max())
        if size == 0.0:
            return []
        t = np.linspace(0.0, 1.0, 2 * SAMPLES + 1)[:, None]
        points = (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]
        d = np.diff(p, axis=0)
        tangents = (1 - t) ** 2 * d[0] + 2 * t * (1 - t) * d[1] + t**2 * d[2]
        # Where a handle has no length the tangent is that towards the next control point.
        for k, order in ((0, (1, 2, 3)), (-1, (2, 1, 0))):
            if np.hypot(*tangents[k]) < 1e-9 * size:
                near = next(p[i] - p[k] for i in order if np.hypot(*(p[i] - p[k])) >= 1e-9 * size)
                tangents[k] = near if k == 0 else -near
        return fit_smooth(points, tangents, tolerance)

    def values(self) -> Array:
        """Every number of the stroke, to be checked and bounded."""
        return np.asarray(self.control.ravel())


@dataclass(frozen=True, eq=False)
class Sampled:
    """A smooth curve by many points (n, 2) and its tangents there (n, 2), such as one span of a spline."""

    points: Array
    tangents: Array

    def moved(self, matrix: Array, shift: Array) -> Sampled:
        """The stroke under x -> matrix x + shift."""
        return Sampled(self.points @ matrix.T + shift, self.tangents @ matrix.T)

    def pieces(self, tolerance: float) -> list[Piece]:
        """Arcs and lines fitted to the curve."""
        if not np.any(np.ptp(self.points, axis=0)):
            return []
        return fit_smooth(self.points, self.tangents, tolerance)

    def values(self) -> Array:
        """Every number of the stroke, to be checked and bounded."""
        return np.asarray(self.points.ravel())


Stroke = Line | Conic | Bezier | Sampled


def circle(centre: Sequence[float] | Array, radius: float) -> list[Stroke]:
    """A whole circle as two halves."""
    c = np.asarray(centre, dtype=float)
    u, v = np.array([radius, 0.0]), np.array([0.0, radius])
    return [Conic(c, u, v, 0.0, math.pi), Conic(c, u, v, math.pi, math.tau)]


def bulged(start: Array, end: Array, bulge: float) -> Stroke:
    """The stroke of a polyline's bulge: the tangent of a quarter of the swept angle, positive anticlockwise.

    With chord c and swept angle a = 4 atan(bulge): radius c / (2 sin(a/2)), the centre on the bisector (geometry).
    """
    chord = end - start
    if abs(bulge) < 1e-12 or not np.any(chord):
        return Line(start, end)
    sweep = 4.0 * math.atan(bulge)
    normal = np.array([-chord[1], chord[0]])
    centre = 0.5 * (start + end) + normal * (1.0 - bulge * bulge) / (4.0 * bulge)
    u = start - centre
    v = np.array([-u[1], u[0]])
    return Conic(centre, u, v, 0.0, sweep)
