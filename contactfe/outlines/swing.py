"""At which angles a fastener fits into an opening, and how far a handle has to swing back to re-engage.

Both follow from the outlines alone, for any opening and any fastener whose outside is seen whole from its axis: the
fastener, turned by an angle about the common axis, fits where no point of the wrench lies inside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import GeometryError
from contactfe.profile import TOUCHING, Outline

Array = NDArray[np.float64]
SPACING = 1e-3  # of the fastener's radius: distance of the points on the wrench
STEP = math.radians(0.05)  # of the angles that are tried; the ends of windows are found to 1e-6 rad
RADII = 14_400  # directions in which the fastener's radius is tabled


@dataclass(frozen=True)
class Engagement:
    """Angles at which a fastener fits into an opening, and what follows for the hand.

    `windows` are the intervals (rad) of the fastener's turn from its seat at which it fits, within one `pitch`
    (rad) of the fastener, which repeats them. `swing` (rad) is how far the handle has to go back, at the least
    favourable place, until the wrench fits anew and turns the fastener on; `swing_over` the same when the wrench is
    turned over about its handle after each stroke. Both for turning anticlockwise where `sense` is +1.
    """

    windows: tuple[tuple[float, float], ...]
    pitch: float
    sense: int
    swing: float
    swing_over: float

    @property
    def free_play(self) -> float:
        """How far the seated fastener turns before it bears on both sides, rad."""
        low, high = self.windows[0]
        return high - low


def engagement(wrench: Outline, fastener: Outline, seat: float, handle: float, sense: int = 1) -> Engagement:
    """Where a fastener fits into a wrench and the swing that follows.

    `fastener` stands as it enters squarely, one of its flats at the angle `seat` (rad); `handle` is the handle's
    direction (rad).

    Raises:
        GeometryError: the fastener does not fit in its seat, or its outside is not seen whole from its axis.
    """
    flats = len({p.name for p in fastener.pieces if p.name.startswith("flat-")}) or 6
    pitch = math.tau / (4 if flats == 4 else 6 if flats % 6 == 0 else flats)
    clear = _Clearance(wrench, fastener)
    windows = _windows(clear, pitch)
    if not windows:
        raise GeometryError(
            "the fastener does not enter the opening squarely",
            where="[wrench]",
            hint="make the opening wider, or check unit and size",
            slug="interference",
        )
    # The wrench turns anticlockwise until the fastener, seen from it, comes to the lower end of its window.
    ends = [low if sense > 0 else -high for low, high in windows]
    offset = sense * (seat - handle)  # the mirror image about the handle turns the place of a seat over
    over = [-high if sense > 0 else low for low, high in windows]
    return Engagement(
        windows,
        pitch,
        sense,
        _longest([(e, 0) for e in ends], pitch, False),
        _longest([(e + offset, 0) for e in ends] + [(e - offset, 1) for e in over], pitch, True),
    )


def _longest(ends: list[tuple[float, int]], pitch: float, alternate: bool) -> float:
    """The longest of the steps from each bearing place to the next one (of the other face, when alternating)."""
    steps = []
    for end, face in ends:
        ahead = [(other - end) % pitch for other, side in ends if not alternate or side != face]
        steps.append(min((step if step > 1e-4 else step + pitch) for step in ahead))
    return max(steps)


class _Clearance:
    """Least distance (mm, along rays from the axis) between wrench and fastener at a turn; negative: they overlap."""

    def __init__(self, wrench: Outline, fastener: Outline) -> None:
        self.beta, self.radius = _radii(fastener)
        reach = float(self.radius.max())
        parts = []
        for p in wrench.pieces:
            count = max(2, math.ceil(p.length / (SPACING * reach)))
            if p.name in TOUCHING or math.hypot(*p.start) < 1.2 * reach:
                parts.append(p.points(np.arange(count + 1) / count))
        points = np.vstack(parts)
        r = np.hypot(*points.T)
        near = r < reach
        self.r, self.alpha = r[near], np.arctan2(points[near, 1], points[near, 0])

    def __call__(self, turn: float) -> float:
        if not self.r.size:
            return math.inf
        own = np.interp(np.remainder(self.alpha - turn, math.tau), self.beta, self.radius)
        return float((self.r - own).min())


def _radii(fastener: Outline) -> tuple[Array, Array]:
    """Directions (rad, 0 to 2 pi) and the radius of a fastener's outside there (mm)."""
    loop = fastener.loops[0]
    total = sum(p.length for p in loop)
    points = np.vstack(
        [p.points(np.arange(n) / n) for p in loop for n in [max(8, math.ceil(RADII * p.length / total))]]
    )
    angle = np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
    if np.any(np.diff(angle) < -1e-9) or abs(angle[-1] - angle[0]) > math.tau:
        raise GeometryError(
            "the fastener's outside is not seen whole from its axis",
            where="[fastener]",
            slug="not-star-shaped",
        )
    angle, radius = np.remainder(angle, math.tau), np.hypot(*points.T)
    order = np.argsort(angle)
    angle, radius = angle[order], radius[order]
    beta = np.concatenate([[angle[-1] - math.tau], angle, [angle[0] + math.tau]])
    return beta, np.concatenate([radius[-1:], radius, radius[:1]])


def _windows(clear: _Clearance, pitch: float) -> tuple[tuple[float, float], ...]:
    """Intervals of the turn at which the fastener fits, the one around 0 first; none when 0 is not among them."""
    count = round(pitch / STEP)
    turns = -pitch / 2 + pitch * np.arange(count + 1) / count
    if clear(0.0) < 0:
        return ()
    free = np.array([clear(t) >= 0 for t in turns])
    if free.all():
        return ((-pitch / 2, pitch / 2),)
    start = int(np.flatnonzero(~free[:-1])[0])
    turns = turns[start] + pitch * np.arange(count + 1) / count
    free = np.roll(free[:-1], -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(int), [0]]))).reshape(-1, 2)
    found = [(_edge(clear, turns[a - 1], turns[a]), _edge(clear, turns[b], turns[b - 1])) for a, b in edges]
    seated = [(a, b) for a, b in found if a <= pitch * round((a + b) / 2 / pitch) <= b]
    if not seated:  # narrower than a step
        h = STEP
        return ((-_narrow(clear, h), _narrow(clear, -h)),) if clear(0.0) >= 0 else ()
    first = seated[0]
    back = pitch * round((first[0] + first[1]) / 2 / pitch)
    rest = [w for w in found if w != first]
    return tuple((a - back, b - back) for a, b in [first, *rest])


def _narrow(clear: _Clearance, step: float) -> float:
    return abs(_edge(clear, -step, 0.0))


def _edge(clear: _Clearance, outside: float, inside: float) -> float:
    """The turn between a place that does not fit and one that does, at which it begins to fit."""
    for _ in range(18):
        middle = 0.5 * (outside + inside)
        if clear(middle) >= 0:
            inside = middle
        else:
            outside = middle
    return inside
