"""Worn outlines: what is left of a fastener after its corners were pressed in, from the surfaces that pressed them.

Every corner wears alike: the surfaces found at all corners are laid over one sector, from the middle of a flat to the
middle of the next, and the smallest distance from the axis at each angle is what is left. The outline is then built
again from what stays of its own pieces and from straight pieces where it is worn, with the usual small radii.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import brentq

from contactfe.errors import GeometryError
from contactfe.profile.check import check_outline
from contactfe.profile.curves import Outline, Piece, filleted_loop, line
from contactfe.profile.fasteners import LEAST_EDGE, half_flat, turned_diameter

Array = NDArray[np.float64]
Index = NDArray[np.int64]

RAYS = 2400  # of one sector: 0.025 degrees of a hexagon
WORN = 1e-4  # of the width across flats: less is not told from the flat
FIT = 4e-4  # of the width: how far the straight pieces may be off the worn surface
SHORTEST = 0.012  # of the width: a straight piece, one element of the default mesh
BLUNT = math.radians(2.0)  # junctions that turn less are left as they are
FITTED = 0.45  # of its neighbours' length: what a rounding may take


@dataclass(frozen=True, eq=False)
class Sector:
    """Distance from the axis (RAYS + 1,) in mm over one sector, from the middle of a flat anticlockwise to the next."""

    radius: Array
    pitch: float
    first_flat: float

    def __post_init__(self) -> None:
        self.radius.setflags(write=False)

    @property
    def angles(self) -> Array:
        """Angles from the middle of the flat, rad."""
        return np.linspace(0.0, self.pitch, RAYS + 1)

    def ray(self, number: int) -> float:
        """Angle (rad) of a ray, from the x axis."""
        return self.first_flat + self.pitch / RAYS * number

    def area(self) -> float:
        """Area of the whole section, mm2: of the polygon through its points."""
        r = self.radius
        pieces = round(math.tau / self.pitch)
        return float(pieces * 0.5 * math.sin(self.pitch / RAYS) * (r[1:] @ r[:-1]))

    def worn_by(self, runs: Iterable[Array]) -> Sector:
        """What is left after surfaces, polylines (k, 2) in the fastener's own frame, were pressed into it."""
        radius = self.radius.copy()
        for run in runs:
            angle = np.unwrap(np.arctan2(run[:, 1], run[:, 0])) - self.first_flat
            shift = np.floor(0.5 * (angle.min() + angle.max()) / self.pitch) * self.pitch
            _lower(radius, run, angle - shift, (shift + self.first_flat, self.pitch))
        return Sector(radius, self.pitch, self.first_flat)

    def lowered(self, floor: Array) -> Sector:
        """What is left when the distance may nowhere be more than ``floor`` (RAYS + 1,) mm."""
        return Sector(np.minimum(self.radius, floor), self.pitch, self.first_flat)

    def points(self, sector: int = 0) -> Array:
        """The outline of one sector as points (RAYS + 1, 2), mm."""
        at = self.first_flat + sector * self.pitch + self.angles
        return np.asarray(self.radius[:, None] * np.column_stack([np.cos(at), np.sin(at)]))

    def polygon(self) -> shapely.Polygon:
        """The whole outline."""
        count = round(math.tau / self.pitch)
        return shapely.Polygon(np.vstack([self.points(k)[:-1] for k in range(count)]))


def _lower(radius: Array, points: Array, angles: Array, frame: tuple[float, float]) -> None:
    """Lower the distances on the rays that a polyline (k, 2) crosses, in place; where it turns back it is left out."""
    shift, pitch = frame
    ahead = np.concatenate([[True], np.diff(np.maximum.accumulate(angles)) > 0])
    points, angles = points[ahead], angles[ahead]
    i = max(math.ceil(angles[0] / pitch * RAYS - 1e-9), 0)
    j = min(math.floor(angles[-1] / pitch * RAYS + 1e-9), RAYS)
    if j < i or len(points) < 2:
        return
    at = pitch / RAYS * np.arange(i, j + 1)
    k = np.clip(np.searchsorted(angles, at, side="right") - 1, 0, len(points) - 2)
    p, d = points[k], points[k + 1] - points[k]
    across = np.cos(at + shift) * d[:, 1] - np.sin(at + shift) * d[:, 0]
    crossed = (p[:, 0] * d[:, 1] - p[:, 1] * d[:, 0]) / np.where(across > 1e-12, across, np.nan)
    radius[i : j + 1] = np.fmin(radius[i : j + 1], crossed)


def sector_of(outline: Outline, flats: int, first_flat: float) -> Sector:
    """One sector of a fastener whose sectors are all alike, read off its outer loop.

    Raises:
        GeometryError: the sectors of the outline differ.
    """
    pitch = math.tau / flats
    size = max(math.hypot(*p.start) for p in outline.loops[0])
    ring = Outline(outline.loops[:1]).polygon(2e-3 * size)[0]
    closed = np.vstack([ring, ring[:1]])
    found = []
    for turn in (0.0, pitch):
        blank = Sector(np.full(RAYS + 1, 10.0 * size), pitch, first_flat)
        c, s = math.cos(turn), math.sin(turn)
        turned = closed @ np.array([[c, -s], [s, c]])
        angle = np.unwrap(np.arctan2(turned[:, 1], turned[:, 0])) - first_flat
        angle -= math.tau * np.floor(angle[0] / math.tau)
        radius = blank.radius.copy()
        for wrap in (0.0, -math.tau):
            _lower(radius, turned, angle + wrap, (first_flat, pitch))
        found.append(radius)
    if not np.allclose(found[0], found[1], atol=1e-3 * size):
        raise GeometryError(
            "the corners of the fastener are not alike, so their wear cannot be followed",
            where="[fastener] outline",
            hint="ask for one pull only",
            slug="corners-differ",
        )
    return Sector(found[0], pitch, first_flat)


def worn_outline(
    outline: Outline, before: Sector, after: Sector, across_flats: float, corner_radius: float
) -> Outline:
    """The outline with its corners worn from one sector to another.

    Raises:
        GeometryError: nothing that a mesh could be made of is left.
    """
    worn = np.flatnonzero(after.radius < before.radius - WORN * across_flats)
    if not len(worn):
        return outline
    least, loop = SHORTEST * across_flats, outline.loops[0]
    low = _stretched(loop, before, max(int(worn[0]) - 1, 0), -1, least)
    high = _stretched(loop, before, min(int(worn[-1]) + 1, RAYS), +1, least)
    chain = _chain(after.points()[low : high + 1], FIT * across_flats, least)
    sectors = round(math.tau / before.pitch)
    cuts = [_cut(loop, before.ray(i) + k * before.pitch) for k in range(sectors) for i in (low, high)]
    pieces: list[Piece] = []
    names: list[str] = []
    for k in range(sectors):
        c, s = math.cos(k * before.pitch), math.sin(k * before.pitch)
        points = chain @ np.array([[c, s], [-s, c]])
        points[0], points[-1] = cuts[2 * k][2], cuts[2 * k + 1][2]
        own = [line(a, b, f"worn-{k + 1}") for a, b in itertools.pairwise(points)]
        kept = _between(loop, cuts[2 * k + 1], cuts[(2 * k + 2) % len(cuts)])
        pieces += own + kept
        names += [f"worn-{k + 1}"] * (len(own) + min(len(kept), 1)) + [p.name for p in kept[1:]]
    radii = _radii(pieces, across_flats, corner_radius)
    found = Outline((filleted_loop(pieces, radii, names), *outline.loops[1:]))
    check_outline(found, "worn fastener")
    return found


def _stretched(loop: tuple[Piece, ...], sector: Sector, ray: int, step: int, least: float) -> int:
    """The ray at which the worn stretch ends, moved on so that no piece shorter than ``least`` mm is kept beside it."""
    for _ in range(len(loop)):
        number, u, _ = _cut(loop, sector.ray(ray))
        piece = loop[number]
        if piece.length * (1.0 - u if step > 0 else u) >= least or not 0 < ray < RAYS:
            return ray
        end = np.array(piece.end if step > 0 else piece.start)
        angle = math.atan2(end[1], end[0]) - sector.first_flat
        place = (angle % math.tau) / sector.pitch * RAYS
        ray = min(math.floor(place) + 1, RAYS) if step > 0 else max(math.ceil(place) - 1, 0)
    return ray


def _chain(points: Array, fit: float, least: float) -> Array:
    """Few points (m, 2) within about ``fit`` mm of a polyline (k, 2), no two closer than ``least`` mm."""
    found = list(np.asarray(shapely.LineString(points).simplify(fit).coords))
    while len(found) > 3:
        steps = np.linalg.norm(np.diff(found, axis=0), axis=1)
        k = int(np.argmin(steps))
        if steps[k] >= least:
            break
        if k == 0 or k == len(steps) - 1:  # the ends stay where they are
            del found[1 if k == 0 else -2]
            continue
        found[k : k + 2] = [_joined(found[k - 1], found[k], found[k + 1], found[k + 2])]
    return np.array(found)


def _joined(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Where the stretches ab and cd meet if they are made longer by less than bc; the middle of bc otherwise."""
    p, q = b - a, c - d
    across = p[0] * q[1] - p[1] * q[0]
    gap = c - b
    if abs(across) > 1e-9 * float(np.hypot(*p) * np.hypot(*q)):
        t = (gap[0] * q[1] - gap[1] * q[0]) / across
        met = b + t * p
        if max(np.hypot(*(met - b)), np.hypot(*(met - c))) <= float(np.hypot(*gap)):
            return np.asarray(met)
    return np.asarray(0.5 * (b + c))


def _cut(loop: tuple[Piece, ...], angle: float) -> tuple[int, float, Array]:
    """Piece, fraction and point (2,) where a ray from the axis leaves a loop."""
    ray = np.array([math.cos(angle), math.sin(angle)])
    for number, piece in enumerate(loop):
        ends = np.array([piece.start, piece.end])
        side = ray[0] * ends[:, 1] - ray[1] * ends[:, 0]
        if not (side[0] <= 1e-12 < side[1] + 2e-12 and (ends @ ray).max() > 0):
            continue
        if piece.is_arc:
            u = float(brentq(lambda u, p=piece: _side(p, u, ray), -1e-9, 1 + 1e-9))
        else:
            u = float(-side[0] / (side[1] - side[0]))
        u = min(max(u, 0.0), 1.0)
        return number, u, piece.points(np.array([u]))[0]
    raise GeometryError("a ray from the axis does not leave the fastener", where="outline", slug="no-ray")


def _side(piece: Piece, u: float, ray: Array) -> float:
    x = piece.points(np.array([u]))[0]
    return float(ray[0] * x[1] - ray[1] * x[0])


def _between(
    loop: tuple[Piece, ...], start: tuple[int, float, Array], end: tuple[int, float, Array]
) -> list[Piece]:
    """The pieces of a closed loop from one place to another, along its direction."""
    number, found, u = start[0], [], start[1]
    while True:
        piece = loop[number]
        last = number == end[0] and end[1] >= u
        v = end[1] if last else 1.0
        if v - u > 1e-9:
            a, b = piece.points(np.array([u, v]))
            if u == 0.0:
                a = np.array(piece.start)
            if v == 1.0:
                b = np.array(piece.end)
            found.append(
                Piece(
                    (float(a[0]), float(a[1])),
                    (float(b[0]), float(b[1])),
                    piece.name,
                    piece.centre,
                    piece.radius,
                    piece.turn * (v - u),
                )
            )
        if last:
            return found
        number, u = (number + 1) % len(loop), 0.0


def _radii(pieces: list[Piece], across_flats: float, corner_radius: float) -> list[float]:
    """Roundings of the junctions at the start of each piece: of protruding ones, as large as their blunt angle needs."""
    radii = []
    for before, after in zip([pieces[-1], *pieces[:-1]], pieces, strict=True):
        a, b = before.tangents(np.ones(1))[0], after.tangents(np.zeros(1))[0]
        turn = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
        if turn < BLUNT:
            radii.append(0.0)
            continue
        room = FITTED * min(before.length, after.length) / math.tan(turn / 2)
        room = min([room, *(0.5 * p.radius for p in (before, after) if p.is_arc)])
        radii.append(min(max(corner_radius, LEAST_EDGE * across_flats / turn), room))
    return radii


def equivalent_rounding(lost: float, across_flats: float, sides: int, rounding: float = 0.0) -> float:
    """The rounding whose turned-down corners lack as much material as worn ones do; 1 when more is gone.

    Args:
        lost: area (mm2) that all corners together have lost since the fastener had the rounding ``rounding``.
    """
    target = _turned_area(across_flats, rounding, sides) - max(lost, 0.0)

    def excess(r: float) -> float:
        return _turned_area(across_flats, r, sides) - target

    return 1.0 if excess(1.0) >= 0.0 else float(brentq(excess, rounding, 1.0, xtol=1e-9))


def _turned_area(s: float, rounding: float, sides: int) -> float:
    """Area (mm2) of a polygon of ``sides`` whose corners are turned down: 2n triangles and n sectors."""
    f, radius = half_flat(s, rounding, sides), turned_diameter(s, rounding, sides) / 2
    rest = math.tau / sides - 2 * math.atan2(f, s / 2)
    return sides * (s / 2 * f + radius**2 * max(rest, 0.0) / 2)


def flat_left(sector: Sector, across_flats: float) -> float:
    """Length (mm) of flat that is left, on both sides of its middle."""
    off = np.minimum(sector.angles, sector.pitch - sector.angles)
    on = sector.radius * np.cos(off) > across_flats / 2 * (1 - 4 * WORN)
    reach, first = sector.radius * np.sin(off), sector.angles < sector.pitch / 2
    return float(sum(reach[side & on].max(initial=0.0) for side in (first, ~first)))


def swept_floor(wrench: shapely.Polygon, sector: Sector, turn: float) -> Array:
    """Distance from the axis (RAYS + 1,) that a wrench leaves which is turned from square through ``turn`` rad.

    Args:
        wrench: its outline as a polygon, in its own frame; below zero ``turn`` is clockwise.
    """
    count = RAYS * round(math.tau / sector.pitch)
    step = math.tau / count
    at = sector.first_flat + step * np.arange(count)
    ray = np.column_stack([np.cos(at), np.sin(at)])
    own = np.full(count, np.inf)
    for ring in (wrench.exterior, *wrench.interiors):
        x = np.asarray(ring.coords)
        for p, q in itertools.pairwise(x):
            if min(np.hypot(*p), np.hypot(*q)) > 1.5 * sector.radius.max():
                continue
            near = _rays_between(p, q, sector.first_flat, step) % count
            u, d = ray[near], q - p
            across = u[:, 0] * d[1] - u[:, 1] * d[0]
            side = u[:, 0] * np.array([p[1], q[1]])[:, None] - u[:, 1] * np.array([p[0], q[0]])[:, None]
            hit = (side[0] * side[1] <= 0) & (np.abs(across) > 1e-12)
            r = (p[0] * d[1] - p[1] * d[0]) / across[hit]
            own[near[hit]] = np.fmin(own[near[hit]], np.where(r > 0, r, np.inf))
    steps = max(1, math.ceil(abs(turn) / math.tau * count))
    least = own.copy()
    done = 1
    while done < steps + 1:  # the least over a window, by windows that double
        more = min(done, steps + 1 - done)
        least = np.minimum(least, np.roll(least, int(math.copysign(more, turn))))
        done += more
    folded = least.reshape(-1, RAYS).min(axis=0)
    return np.append(folded, folded[0])


def _rays_between(p: Array, q: Array, first: float, step: float) -> Index:
    """Numbers of the rays that lie between two points (2,) as seen from the axis, and one more on either side."""
    start = math.atan2(p[1], p[0]) - first
    sweep = (math.atan2(q[1], q[0]) - first - start + math.pi) % math.tau - math.pi
    low, high = sorted((start, start + sweep))
    return np.arange(math.floor(low / step) - 1, math.ceil(high / step) + 2)
