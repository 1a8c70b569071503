"""The torque-rotation curve: rotations placed where they matter, every point solved and audited."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contactfe.contact import Audit, ContactSolution, audit
from contactfe.errors import BeyondReach, ContactFEError, NoContact, NoRest, NotConverged
from contactfe.turn.build import BuiltPair
from contactfe.turn.engagement import bearing_depth

Array = NDArray[np.float64]

FIRST_STEP = math.radians(0.15)
GROWTH = 1.6
LONGEST_STEP = math.radians(1.2)
FALL = 0.965  # of the peak: where the march ends
PAST_PEAK = math.radians(0.5)  # how far beyond it: a single cell that lets go is not the end
PLATEAU = math.radians(8)  # so far without a higher torque: there is none to come
LEAST_STEP = math.radians(0.1)  # towards the end of what can be solved
RIVALS = 0.1  # of the largest torque: a wrench that is driven by its fastener so hard does not hold it
LEAST_BEARING = 1e-3  # of the engaged depth: less is no grip
MOST_ROTATION = math.radians(32)  # beyond the free play
TOP = 0.998  # of the largest torque: where the points on both sides of it have to lie
WIDEST_AT_TOP = math.radians(0.7)  # interval beside it
MOST_UNLIKE = 2.5  # ratio of the two intervals beside it
CLOSEST = math.radians(0.05)  # nor are points laid closer than this


@dataclass(frozen=True, eq=False)
class TorqueCurve:
    """Torque against rotation, from the end of the free play on.

    ``rotation`` (n,) rad at the wrench's head from square; ``torque`` (n,) N m about the fastener's axis over the
    depth that bears; ``solutions`` the contact state at each point; ``audit`` the worst of all points. ``free_play``
    rad, or None when the wrench turns freely; then the curve is empty. A wrench that its fastener drives about as hard
    as it holds it turns freely too. ``events``: rotations (rad) of the solutions that were added because something
    happens there (`with_state`).
    """

    rotation: Array
    torque: Array
    solutions: tuple[ContactSolution, ...]
    free_play: float | None
    audit: Audit = field(default_factory=Audit)
    peak_inside: bool = True
    events: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        self.rotation.setflags(write=False)
        self.torque.setflags(write=False)

    @property
    def rising(self) -> slice:
        """The points up to the largest torque."""
        return slice(0, int(np.argmax(self.torque)) + 1)

    def nearest(self, rotation: float) -> ContactSolution:
        """The solved state nearest to a rotation (rad) of the head."""
        return self.solutions[int(np.argmin(np.abs(self.rotation - rotation)))]

    def rotation_at(self, torque: float) -> float:
        """Rotation of the head (rad) at which the rising branch first reaches a torque (N m), its end for a larger one.

        Read off the curve as it is drawn, smooth through its points: straight lines between them lie below it.
        """
        return rotation_reached(self.rotation[self.rising], self.torque[self.rising], torque)


def rotation_reached(rotation: Array, torques: Array, torque: float) -> float:
    """Rotation (rad) at which the smooth line through points (n,) of a rising branch first reaches a torque (N m); that
    of the last point for a larger torque."""
    smooth = smooth_through(rotation, torques)
    if smooth is None or torque >= torques[-1]:
        return float(rotation[-1])
    found = smooth.solve(torque, extrapolate=False)
    return float(found[0]) if len(found) else float(rotation[0])


def smooth_through(rotation: Array, torque: Array) -> PchipInterpolator | None:
    """The torque between the points of a curve (n,), without overshooting them; None for fewer than two points.

    Points at which the head has not turned farther than at one before are left out.
    """
    ahead = np.concatenate([[True], np.diff(np.maximum.accumulate(rotation)) > 0])
    return PchipInterpolator(rotation[ahead], torque[ahead]) if ahead.sum() > 1 else None


def spin_limit(built: BuiltPair) -> float:
    """Half the pitch of the opening and a little: past it, a wrench that does not press turns freely."""
    twelve = built.case.wrench.points == 12
    return math.pi / built.pair.flats * (0.5 if twelve else 1.0) + math.radians(1)


def torque_curve(built: BuiltPair, expected: float = 0.0) -> TorqueCurve:
    """March from the end of free play until the torque has fallen, then add points around the peak.

    ``expected`` (N m): a lower top is not taken for the last one before the wrench has turned 8 degrees past it. On a
    worn corner an edge scrapes over the rim of the dent that it left before it bears on its wall.

    Raises:
        NotConverged: a rotation without a solution that passes its audit.
        ContactFEError: chamfers leave nothing where the wrench bears.
    """
    play = built.rig.free_play(spin_limit(built))
    if play is None:
        return TorqueCurve(np.empty(0), np.empty(0), (), None)
    points, inside = _march(built, play, 1e3 * expected / bearing_depth(built.case))
    if not _holds(points):
        return TorqueCurve(np.empty(0), np.empty(0), (), None)
    return audited(built, _refine(built, points), play, inside)


def audited(built: BuiltPair, points: list[ContactSolution], play: float, inside: bool = True) -> TorqueCurve:
    """The curve through solved points, each of them audited.

    Raises:
        NotConverged: the audit.
        ContactFEError: chamfers leave nothing where the wrench bears.
    """
    audits = [
        audit(p, built.rig.handle, built.contact_nodes(), built.case.fastener.across_flats).check()
        for p in points
    ]
    _bears(built, max(points, key=lambda p: p.torque))
    rotation = np.array([head_rotation(built, p) for p in points])
    depth = bearing_depth(built.case)
    return TorqueCurve(
        rotation=rotation,
        torque=np.array([p.torque for p in points]) * depth / 1e3,
        solutions=tuple(points),
        free_play=play,
        audit=Audit.worst(audits),
        peak_inside=inside,
    )


def _holds(points: list[ContactSolution]) -> bool:
    """Whether the wrench holds the fastener: not where it is driven back about as hard as it ever holds.

    Near-round heads press on their wrench with hardly an arm, on one side of the middle of a flank as on the other.

    Raises:
        NoContact: all torques are zero, although the outlines overlap.
    """
    torque = np.array([p.torque for p in points])
    if not torque.any():
        raise NoContact(
            "the outlines overlap, but no pressure was found at any rotation",
            hint="build the bodies again: delete the folder of stored bodies if there is one",
        )
    return bool(-torque.min() < RIVALS * torque.max())


def _bears(built: BuiltPair, solution: ContactSolution) -> None:
    """Raises ContactFEError when the chamfers leave nothing where the wrench would bear."""
    law = built.law
    loaded = law.caps(solution.problem)[solution.pressure > 0]
    if law.engagement is not None and loaded.max(initial=0.0) < LEAST_BEARING * law.cap:
        raise ContactFEError(
            "the chamfers leave nothing of the engaged depth where the wrench bears",
            where="[fastener] engaged_depth",
            hint="engage the head deeper, or make chamfer_angle or [wrench] lead_in smaller",
            slug="no-engagement",
        )


def _march(built: BuiltPair, play: float, expected: float) -> tuple[list[ContactSolution], bool]:
    """Points from the end of the free play until the torque has fallen, and whether the largest lies among them."""
    points = [solve_at(built, play, None)]
    step, best, at_best = FIRST_STEP, 0.0, play
    while points[-1].rotation - play < MOST_ROTATION:
        try:
            points.append(solve_at(built, points[-1].rotation + step, points[-1]))
        except (BeyondReach, NoRest):
            # Past what was worked out, or where nothing holds the wrench any more: as near to that as is worth while.
            if step <= LEAST_STEP and best <= 0:
                raise
            if step <= LEAST_STEP:
                break
            step /= 2
            continue
        if points[-1].torque > best:
            best, at_best = points[-1].torque, points[-1].rotation
        beyond = points[-1].rotation - at_best
        if beyond > PLATEAU or (best >= expected and points[-1].torque < FALL * best and beyond > PAST_PEAK):
            return points, True
        step = min(step * GROWTH, LONGEST_STEP)
    return points, False


def solve_at(built: BuiltPair, rotation: float, before: ContactSolution | None) -> ContactSolution:
    """Solve one rotation (rad), from a neighbouring solution; once more from scratch where that led nowhere.

    Raises:
        NotConverged: there is no solution.
    """
    start = before if before is not None and before.pressure.any() else None
    try:
        return built.rig.solve(rotation, built.law, start)
    except NotConverged:
        if start is None:
            raise
        return built.rig.solve(rotation, built.law, None)


def _refine(built: BuiltPair, points: list[ContactSolution]) -> list[ContactSolution]:
    """Halve the intervals beside the largest torque until both are short and alike, and their ends close to it."""
    while True:
        torque = np.array([p.torque for p in points])
        top = int(np.argmax(torque))
        beside = [i for i in (top - 1, top) if 0 <= i < len(points) - 1]
        if not beside or torque[top] <= 0:
            return points
        width = {i: points[i + 1].rotation - points[i].rotation for i in beside}
        low = {i: min(torque[i], torque[i + 1]) for i in beside}
        wide = max(beside, key=lambda i: width[i])
        wanted = [i for i in beside if low[i] < TOP * torque[top] and width[i] > CLOSEST]
        if width[wide] > min(WIDEST_AT_TOP, MOST_UNLIKE * min(width.values())) and width[wide] > CLOSEST:
            wanted = [wide]
        if not wanted:
            return points
        i = min(wanted, key=lambda i: low[i])
        middle = 0.5 * (points[i].rotation + points[i + 1].rotation)
        points.insert(i + 1, solve_at(built, middle, points[i]))


def with_state(built: BuiltPair, curve: TorqueCurve, solution: ContactSolution) -> TorqueCurve:
    """The curve with one more solved and audited point, at which something happens.

    Raises:
        NotConverged: the audit.
    """
    if any(s.rotation == solution.rotation for s in curve.solutions):
        return replace(curve, events=(*curve.events, solution.rotation))
    checked = audit(
        solution, built.rig.handle, built.contact_nodes(), built.case.fastener.across_flats
    ).check()
    i = int(np.searchsorted([s.rotation for s in curve.solutions], solution.rotation))
    torque = solution.torque * bearing_depth(built.case) / 1e3
    return replace(
        curve,
        rotation=np.insert(curve.rotation, i, head_rotation(built, solution)),
        torque=np.insert(curve.torque, i, torque),
        solutions=(*curve.solutions[:i], solution, *curve.solutions[i:]),
        audit=Audit.worst([curve.audit, checked]),
        events=(*curve.events, solution.rotation),
    )


def head_rotation(built: BuiltPair, solution: ContactSolution) -> float:
    """Rotation of the head (rad) in the sense of turning: that of the solution, and what a hand on a lever gives way."""
    arm = built.case.load.lever_arm
    return solution.rotation - (float(solution.motion[1]) / arm if arm is not None else 0.0)


def spread_mm(built: BuiltPair, solution: ContactSolution) -> float:
    """Opening of the mouth, or growth across the gripped corners of a ring, mm."""
    _, force = solution.problem.nodal_forces(solution.pressure, solution.law.friction)
    return float(built.rig.flexibilities[1].observed["spread"] @ force)
