"""Exact plane curves: straight and circular pieces, closed loops and the outline of one body.

Loops run with the material on their left: outer loops anticlockwise, holes clockwise. The outward normal of a
piece is therefore always on its right. Lengths are in mm, angles in rad.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import GeometryError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """One straight piece (``radius == 0``) or circular arc between two points.

    ``turn`` is the signed angle swept by an arc: positive when it runs anticlockwise about ``centre``.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    name: str
    centre: tuple[float, float] = (0.0, 0.0)
    radius: float = 0.0
    turn: float = 0.0

    @property
    def is_arc(self) -> bool:
        return self.radius > 0.0

    @property
    def length(self) -> float:
        """Length in mm."""
        if self.is_arc:
            return self.radius * abs(self.turn)
        return math.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    def points(self, u: Array) -> Array:
        """Points at the fractions ``u`` (n,) of the length, as (n, 2) in mm."""
        u = np.asarray(u, dtype=float)
        if not self.is_arc:
            a, b = np.array(self.start), np.array(self.end)
            return np.asarray(a + u[:, None] * (b - a))
        angle = math.atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0]) + u * self.turn
        return np.array(self.centre) + self.radius * np.column_stack([np.cos(angle), np.sin(angle)])

    def tangents(self, u: Array) -> Array:
        """Unit tangents in running direction at the fractions ``u``, as (n, 2)."""
        u = np.asarray(u, dtype=float)
        if not self.is_arc:
            d = np.array([self.end[0] - self.start[0], self.end[1] - self.start[1]]) / self.length
            return np.tile(d, (u.size, 1))
        angle = math.atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0]) + u * self.turn
        sign = math.copysign(1.0, self.turn)
        return sign * np.column_stack([-np.sin(angle), np.cos(angle)])

    def normals(self, u: Array) -> Array:
        """Unit normals pointing out of the material (right of the running direction), as (n, 2)."""
        t = self.tangents(u)
        return np.column_stack([t[:, 1], -t[:, 0]])

    def reversed(self) -> Piece:
        """The same piece run backwards."""
        return Piece(self.end, self.start, self.name, self.centre, self.radius, -self.turn)


Point = Sequence[float] | Array


def line(start: Point, end: Point, name: str) -> Piece:
    """A straight piece."""
    return Piece((float(start[0]), float(start[1])), (float(end[0]), float(end[1])), name)


def arc(centre: Point, radius: float, from_angle: float, to_angle: float, name: str) -> Piece:
    """A circular piece from one angle to another; anticlockwise when ``to_angle > from_angle``."""
    cx, cy = float(centre[0]), float(centre[1])
    start = (cx + radius * math.cos(from_angle), cy + radius * math.sin(from_angle))
    end = (cx + radius * math.cos(to_angle), cy + radius * math.sin(to_angle))
    return Piece(start, end, name, (cx, cy), float(radius), float(to_angle - from_angle))


@dataclass(frozen=True)
class Outline:
    """The outline of one body: closed loops of pieces, the first one outside, the others holes."""

    loops: tuple[tuple[Piece, ...], ...]

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All pieces, loop after loop."""
        return tuple(p for loop in self.loops for p in loop)

    def names(self) -> frozenset[str]:
        """The names of all pieces."""
        return frozenset(p.name for p in self.pieces)

    def polygon(self, chord: float) -> list[Array]:
        """Each loop as a polygon whose arcs are cut into chords of at most ``chord`` mm: a list of (n, 2)."""
        rings = []
        for loop in self.loops:
            parts = []
            for piece in loop:
                n = 1
                if piece.is_arc:
                    n = max(2, math.ceil(piece.length / chord), math.ceil(abs(piece.turn) / math.radians(6)))
                parts.append(piece.points(np.arange(n) / n))
            rings.append(np.vstack(parts))
        return rings

    def mirrored(self) -> Outline:
        """The outline reflected in the x axis (still with the material on the left)."""
        return Outline(tuple(tuple(_mirror(p).reversed() for p in reversed(loop)) for loop in self.loops))

    def rotated(self, angle: float) -> Outline:
        """The outline turned anticlockwise about the origin by ``angle`` rad."""
        return Outline(tuple(tuple(_rotate(p, angle) for p in loop) for loop in self.loops))

    def scaled(self, factor: float) -> Outline:
        """The outline with every length multiplied by ``factor``."""

        def scale(p: Piece) -> Piece:
            def f(q: tuple[float, float]) -> tuple[float, float]:
                return (q[0] * factor, q[1] * factor)

            return Piece(f(p.start), f(p.end), p.name, f(p.centre), p.radius * factor, p.turn)

        return Outline(tuple(tuple(scale(p) for p in loop) for loop in self.loops))


def _mirror(p: Piece) -> Piece:
    return Piece(
        (p.start[0], -p.start[1]),
        (p.end[0], -p.end[1]),
        p.name,
        (p.centre[0], -p.centre[1]),
        p.radius,
        -p.turn,
    )


def _rotate(p: Piece, angle: float) -> Piece:
    c, s = math.cos(angle), math.sin(angle)

    def turn(q: tuple[float, float]) -> tuple[float, float]:
        return (c * q[0] - s * q[1], s * q[0] + c * q[1])

    return Piece(turn(p.start), turn(p.end), p.name, turn(p.centre), p.radius, p.turn)


def filleted_loop(
    pieces: Sequence[Piece], radii: Sequence[float], names: Sequence[str] | None = None
) -> tuple[Piece, ...]:
    """Join pieces into a closed loop, rounding the junction at the START of piece ``i`` with ``radii[i]``.

    The pieces must follow each other exactly. A radius of 0 leaves the junction as it is; so does a junction
    that is already smooth. ``names[i]`` names the fillet (default: the name of piece ``i``).

    Raises:
        GeometryError: a fillet does not fit on its neighbours.
    """
    n = len(pieces)
    fillets: list[Piece | None] = [None] * n
    starts: list[tuple[float, float]] = [p.start for p in pieces]
    ends: list[tuple[float, float]] = [p.end for p in pieces]
    for i in range(n):
        before, after = pieces[i - 1], pieces[i]
        if radii[i] <= 0.0 or _corner_angle(before, after) < 1e-6:
            continue
        name = names[i] if names is not None else after.name
        fillet = _fillet(before, after, radii[i], name)
        fillets[i] = fillet
        ends[i - 1], starts[i] = fillet.start, fillet.end
    loop: list[Piece] = []
    for i, piece in enumerate(pieces):
        fillet_i = fillets[i]
        if fillet_i is not None:
            loop.append(fillet_i)
        trimmed = _trim(piece, starts[i], ends[i])
        if trimmed is not None:
            loop.append(trimmed)
    return tuple(loop)


def _corner_angle(before: Piece, after: Piece) -> float:
    t0, t1 = before.tangents(np.array([1.0]))[0], after.tangents(np.array([0.0]))[0]
    return abs(math.atan2(t0[0] * t1[1] - t0[1] * t1[0], float(t0 @ t1)))


def _fillet(before: Piece, after: Piece, radius: float, name: str) -> Piece:
    t0, t1 = before.tangents(np.array([1.0]))[0], after.tangents(np.array([0.0]))[0]
    side = math.copysign(1.0, t0[0] * t1[1] - t0[1] * t1[0])  # +1: the loop turns left, centre on the left
    corner = np.array(after.start)
    centre = _meet(_offset(before, side * radius), _offset(after, side * radius), corner)
    if centre is None:
        raise GeometryError(
            f"a fillet of radius {radius:.3f} mm does not fit at the junction of {before.name} and {after.name}",
            where=f"near ({corner[0]:.2f}, {corner[1]:.2f}) mm",
            hint="make the radius smaller or the neighbouring pieces longer",
            slug="fillet-does-not-fit",
        )
    a, b = _foot(before, centre), _foot(after, centre)
    turn = math.remainder(
        math.atan2(b[1] - centre[1], b[0] - centre[0]) - math.atan2(a[1] - centre[1], a[0] - centre[0]),
        math.tau,
    )
    if turn * side < 0:
        turn += side * math.tau
    return Piece(a, b, name, (float(centre[0]), float(centre[1])), radius, turn)


def _offset(p: Piece, distance: float) -> Piece | None:
    """The piece shifted to its left by ``distance``; None for an arc that shrinks to nothing."""
    if p.is_arc:
        r = (
            p.radius - math.copysign(1.0, p.turn) * distance
        )  # the left of an anticlockwise arc is its centre's side
        return Piece(p.start, p.end, p.name, p.centre, r, p.turn) if r > 0 else None
    t = p.tangents(np.array([0.0]))[0]
    dx, dy = -t[1] * distance, t[0] * distance
    return Piece((p.start[0] + dx, p.start[1] + dy), (p.end[0] + dx, p.end[1] + dy), p.name)


def _meet(a: Piece | None, b: Piece | None, near: Array) -> Array | None:
    """The crossing of two (extended) pieces that is nearest to a point, or None."""
    if a is None or b is None:
        return None
    if not a.is_arc and not b.is_arc:
        p, d = np.array(a.start), np.array(a.end) - np.array(a.start)
        q, e = np.array(b.start), np.array(b.end) - np.array(b.start)
        det = d[0] * e[1] - d[1] * e[0]
        if abs(det) < 1e-14 * np.linalg.norm(d) * np.linalg.norm(e):
            return None
        w = q - p
        return np.asarray(p + d * (w[0] * e[1] - w[1] * e[0]) / det)
    if a.is_arc and b.is_arc:
        found = _circles_cross(np.array(a.centre), a.radius, np.array(b.centre), b.radius)
    else:
        straight, round_ = (b, a) if a.is_arc else (a, b)
        found = _line_circle_cross(straight, np.array(round_.centre), round_.radius)
    return min(found, key=lambda c: float(np.hypot(*(c - near)))) if found else None


def _line_circle_cross(straight: Piece, centre: Array, radius: float) -> list[Array]:
    d = straight.tangents(np.array([0.0]))[0]
    p = np.array(straight.start)
    foot = p + d * float((centre - p) @ d)
    gap2 = radius**2 - float((foot - centre) @ (foot - centre))
    if gap2 < 0:
        return []
    return [foot + d * math.sqrt(gap2), foot - d * math.sqrt(gap2)]


def _circles_cross(c0: Array, r0: float, c1: Array, r1: float) -> list[Array]:
    d = float(np.hypot(*(c1 - c0)))
    if d == 0.0 or d > r0 + r1 or d < abs(r0 - r1):
        return []
    x = (d**2 + r0**2 - r1**2) / (2 * d)
    h = math.sqrt(max(r0**2 - x**2, 0.0))
    e = (c1 - c0) / d
    return [c0 + e * x + h * np.array([-e[1], e[0]]), c0 + e * x - h * np.array([-e[1], e[0]])]


def _foot(p: Piece, q: Array) -> tuple[float, float]:
    if p.is_arc:
        c = np.array(p.centre)
        f = c + p.radius * (q - c) / float(np.hypot(*(q - c)))
    else:
        t = p.tangents(np.array([0.0]))[0]
        f = np.array(p.start) + t * float((q - np.array(p.start)) @ t)
    return (float(f[0]), float(f[1]))


def _fraction(p: Piece, q: tuple[float, float]) -> float:
    """Where along the piece a point on it lies, as a fraction of its length."""
    if not p.is_arc:
        t = p.tangents(np.array([0.0]))[0]
        return float(((q[0] - p.start[0]) * t[0] + (q[1] - p.start[1]) * t[1]) / p.length)
    a0 = math.atan2(p.start[1] - p.centre[1], p.start[0] - p.centre[0])
    a = math.atan2(q[1] - p.centre[1], q[0] - p.centre[0])
    # Measured from the middle of the arc, so that a full circle is not cut at the wrong place.
    return 0.5 + math.remainder(a - a0 - 0.5 * p.turn, math.tau) / p.turn


def _trim(p: Piece, start: tuple[float, float], end: tuple[float, float]) -> Piece | None:
    u0 = 0.0 if start == p.start else _fraction(p, start)
    u1 = 1.0 if end == p.end else _fraction(p, end)
    if u0 < -1e-9 or u1 > 1 + 1e-9 or u1 < u0 - 1e-9:
        raise GeometryError(
            f"the roundings at the two ends of {p.name} overlap",
            where=f"near ({p.start[0]:.2f}, {p.start[1]:.2f}) mm, piece of {p.length:.3f} mm",
            hint="make the radius smaller or the piece longer",
            slug="fillet-does-not-fit",
        )
    if (u1 - u0) * p.length < 1e-9 * max(p.length, p.radius):
        return None
    return Piece(start, end, p.name, p.centre, p.radius, p.turn * (u1 - u0))
