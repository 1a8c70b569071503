"""The top of a curve, looked for where that of a curve nearly like it lies: two or three states instead of a march.

Samples of a band have the fastener and, but for its opening, the wrench of a pair that is solved, and differ in friction,
strengths and depth. Their curves have nearly the same shape about the top; only how high it is and where it lies
differ. Two states beside the expected place tell both where the top is flat, three where it is not. States are added
until the top lies between them. Every state is solved and audited like those of a march; the parts of the curve far
from the top are left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contactfe.contact import ContactSolution
from contactfe.errors import NotConverged
from contactfe.inputs import CaseInput
from contactfe.profile import half_flat
from contactfe.turn.build import BuiltPair
from contactfe.turn.curve import TorqueCurve, audited, solve_at
from contactfe.turn.engagement import bearing_depth
from contactfe.turn.marks import peak

Array = NDArray[np.float64]

BESIDE = math.radians(0.3)  # from the expected top to the two states
BEYOND = math.radians(0.1)  # past the last of them: as far as the top may lie
FLAT = 1.004  # times the torque of the lower of two: where the top is no higher, these are enough
ENDS = 0.996  # of the highest of three: where the two others are no lower, these are enough
GOOD = 2e-3  # of the torque: by how much three of them may lie off the shape
CLOSE = math.radians(0.12)  # nor are states laid closer than this
REACH = math.radians(1.3)  # of the known shape to either side of its top
SPACING = math.radians(0.45)  # of the states that tell it, at most
MOST_STATES = 6  # a top that is not found by so many is looked for by a march
STEP = math.radians(1.2)  # of them at most
RIVAL = 0.85  # of the top: another hump of the known curve as high as that may be the top of the next one
PLACES = 201  # of a top that are tried
# How much farther the wrench turns to the top, as a share of the way there, for a cap that is as much higher, and for a
# friction that is higher by one: means over the six profiles, new and worn. They only say where the top is looked for.
BY_CAP, BY_FRICTION = 0.2, 0.8
GRID = math.radians(0.15)


@dataclass(frozen=True, eq=False)
class KnownTop:
    """The top of a solved curve: its highest state, the states about it, the end of the free play (rad) and the opening
    (mm).

    ``rotation`` (k,) rad of the ``states`` from that of the highest ``state``, and ``share`` (k,) of the largest torque.
    """

    state: ContactSolution
    states: tuple[ContactSolution, ...]
    rotation: Array
    share: Array
    free_play: float
    opening: float

    def expected(self, built: BuiltPair) -> float:
        """Rotation (rad) at which the state nearest to the top of another pair is looked for."""
        law, own = built.law, self.state.law
        more = BY_CAP * (law.cap / own.cap - 1.0) + BY_FRICTION * (law.friction - own.friction)
        more *= self.state.rotation - self.free_play
        # On a grid, so that pairs that differ in their laws alone meet the same gaps.
        return self.state.rotation + turns_farther(built.case, self.opening) + GRID * round(more / GRID)

    def through(self, points: Sequence[ContactSolution]) -> _Found | None:
        """The top of a curve of this shape through states beside it; None where it lies beyond the shape that is known."""
        rotation, torque = (np.array([getattr(p, name) for p in points]) for name in ("rotation", "torque"))
        first, last = rotation[-1] - self.rotation[-1], rotation[0] - self.rotation[0]
        if torque.min() <= 0.0 or first >= last:
            return None
        places = np.linspace(first, last, PLACES)
        shape = PchipInterpolator(self.rotation, self.share)
        tops = np.log(torque) - np.log(shape(rotation - places[:, None]))
        best = int(np.argmin(np.var(tops, axis=1)))
        at, own = float(places[best]), tops[best]
        nearest = int(np.argmin(np.abs(rotation - at)))
        return _Found(at, math.exp(own[nearest]), float(np.ptp(own)))


@dataclass(frozen=True)
class _Found:
    """Rotation (rad) of the state nearest to a top, its torque (N mm per mm of depth), and by which share of it the states
    that it was found through lie off the shape."""

    rotation: float
    torque: float
    off: float


def turns_farther(case: CaseInput, opening: float) -> float:
    """By how much (rad) a case turns farther than one of another opening (mm): until the ends of its flats have come half
    the difference nearer."""
    return 0.5 * (case.wrench.opening - opening) / half_flat(case.fastener.across_flats, 0.0)


def has_top(curve: TorqueCurve) -> bool:
    """Whether a curve has a top near which those of others lie: not where it turns freely, its torque was still rising at
    its end, or another hump is nearly as high."""
    return curve.free_play is not None and curve.peak_inside and not _rivals(curve.torque.tolist())


def known_top(built: BuiltPair, curve: TorqueCurve) -> KnownTop | None:
    """The top of a solved curve, with states added where the shape about it is not known closely enough.

    None where it has none (`has_top`), or that shape is not found.
    """
    if curve.free_play is None or not has_top(curve):
        return None
    top = curve.solutions[int(np.argmax(curve.torque))]
    points = [p for p in curve.solutions if abs(p.rotation - top.rotation) <= 2.0 * REACH]
    try:
        points = _filled(built, points, top)
    except NotConverged:
        return None
    near = [p for p in points if abs(p.rotation - top.rotation) <= REACH and p.torque > 0.0]
    if near[0] is top or near[-1] is top:
        return None
    rotation, torque = (np.array([getattr(p, name) for p in near]) for name in ("rotation", "torque"))
    most = PchipInterpolator(rotation, torque)(np.linspace(rotation[0], rotation[-1], PLACES)).max()
    own, opening = rotation - top.rotation, built.case.wrench.opening
    return KnownTop(top, tuple(near), own, torque / most, curve.free_play, opening)


def _filled(built: BuiltPair, points: list[ContactSolution], top: ContactSolution) -> list[ContactSolution]:
    """The points with others between those of the shape that lie farther apart than SPACING."""
    i = 0
    while i < len(points) - 1:
        low, high = points[i], points[i + 1]
        outside = high.rotation <= top.rotation - REACH or low.rotation >= top.rotation + REACH
        if outside or high.rotation - low.rotation <= SPACING:
            i += 1
        else:
            points.insert(i + 1, solve_at(built, 0.5 * (low.rotation + high.rotation), low))
    return points


def _rivals(torque: list[float]) -> bool:
    """Whether a curve comes to RIVAL of its largest torque more than once."""
    high = [own >= RIVAL * max(torque) for own in torque]
    return sum(now and not before for before, now in zip([False, *high], high, strict=False)) > 1


def curve_top(built: BuiltPair, known: KnownTop) -> tuple[TorqueCurve, float] | None:
    """States beside the top of a curve near a known one, and its largest torque (N m); None where the top is not found
    near there, and a march has to look for it.

    The free play of the curve is not worked out: it is that of the known one and what the other opening adds.

    Raises:
        ContactFEError: as `torque_curve`.
    """
    try:
        found = _beside(built, known)
        if found is None:
            return None
        points, torque = found
        curve = audited(built, points, known.free_play + turns_farther(built.case, known.opening))
        if torque is None:
            return curve, peak(curve)[1]
    except NotConverged:  # a march comes from the other side
        return None
    return curve, torque * bearing_depth(built.case) / 1e3


def _beside(built: BuiltPair, known: KnownTop) -> tuple[list[ContactSolution], float | None] | None:
    """Solved states about the top of a curve, and its torque (N mm per mm of depth), None where they tell it without the
    known shape; None where there are no such within reach.

    Raises:
        NotConverged: there is no solution.
    """
    at = known.expected(built)
    start = known.states[int(np.argmin(np.abs(known.rotation + BESIDE)))]
    points = [solve_from(built, at - BESIDE, start)]
    points.append(solve_at(built, at + BESIDE, points[0]))
    while True:
        near = _highest(points)
        if _close_by(near):
            return points, None
        found = known.through(near)
        if found is not None and _settled(near, found):
            return points, found.torque
        at = _next(near, found)
        if len(points) == MOST_STATES or at <= 0.0:
            return None
        nearest = min(points, key=lambda p: abs(p.rotation - at))
        points = sorted([*points, solve_at(built, at, nearest)], key=lambda p: p.rotation)


def _highest(points: list[ContactSolution]) -> list[ContactSolution]:
    """The state of the largest torque with its neighbours on both sides; where it is the last one, the last three."""
    top = max(range(len(points)), key=lambda i: points[i].torque)
    first = min(max(top - 1, 0), max(len(points) - 3, 0))
    return points[first : first + 3]


def _close_by(near: list[ContactSolution]) -> bool:
    """Whether the highest of three states lies between two that are hardly lower."""
    torque = [p.torque for p in near]
    return len(near) == 3 and torque[1] == max(torque) and min(torque) >= ENDS * torque[1]


def _settled(near: list[ContactSolution], found: _Found) -> bool:
    """Whether states tell the top of a known shape: two that are hardly lower than it, or three that lie on the shape."""
    beside = near[0].rotation - BEYOND <= found.rotation <= near[-1].rotation + BEYOND
    if len(near) < 3:
        return beside and found.torque <= FLAT * min(p.torque for p in near)
    return beside and found.off <= GOOD


def _next(near: list[ContactSolution], found: _Found | None) -> float:
    """Rotation (rad) of the next state: at the top that was found, or beside it where a state is there already; uphill where
    none was found."""
    first, last = near[0].rotation, near[-1].rotation
    if found is None:
        return last + STEP if near[-1].torque > near[0].torque else first - STEP
    if not first <= found.rotation <= last:
        sign = 1.0 if found.rotation > last else -1.0
        return min(max(found.rotation + sign * BESIDE, first - STEP), last + STEP)
    nearest = min(near, key=lambda p: abs(p.rotation - found.rotation)).rotation
    if abs(nearest - found.rotation) > CLOSE:
        return found.rotation
    # Into the wider of the intervals beside it, or beyond the last one.
    inside = [p.rotation for p in near]
    below = max((r for r in inside if r < nearest), default=nearest - 2.0 * BESIDE)
    above = min((r for r in inside if r > nearest), default=nearest + 2.0 * BESIDE)
    return 0.5 * (nearest + (above if above - nearest > nearest - below else below))


def solve_from(built: BuiltPair, rotation: float, known: ContactSolution) -> ContactSolution:
    """Solve one rotation (rad), started from a state of another pair with the same fastener and a wrench like its own.

    Raises:
        NotConverged: there is no solution.
    """
    # Crushed cells start at the cap of their own law, and the wrench where it stands in the known state.
    pressure = known.pressure * (built.law.cap / known.law.cap)
    start = replace(known, pressure=pressure, drift=np.zeros(2))
    return solve_at(built, rotation, start)
