"""The top of a curve, looked for where that of a curve nearly like it lies: a few states instead of a march.

Samples of a band stand on the same bodies and differ in friction, strengths, depth and opening. Where the top of one
curve lies is known then but for a little: a state is solved there and one on either side, and steps are taken until
the highest is not the last. Every state is solved and audited like those of a march, and is the same at the same
rotation; the parts of the curve far from the top are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from contactfe.contact import ContactSolution
from contactfe.errors import NotConverged
from contactfe.inputs import CaseInput
from contactfe.profile import half_flat
from contactfe.turn.build import BuiltPair
from contactfe.turn.curve import GROWTH, TorqueCurve, audited, refine, solve_at, torque_curve

STEP = math.radians(0.5)  # to either side of the expected top
ENDS = 0.996  # of the top: where the states on both sides of it have to lie
FARTHEST = 6  # steps from there: a top that lies farther off is looked for by a march
RIVAL = 0.85  # of the top: another hump of the known curve as high as that may be the top of the next one


@dataclass(frozen=True, eq=False)
class KnownTop:
    """Where the top of a curve lies: the state nearest to it, the end of the free play (rad) and the opening (mm)."""

    state: ContactSolution
    free_play: float
    opening: float

    def shift(self, case: CaseInput) -> float:
        """By how much (rad) a case of another opening turns farther: until the ends of its flats have come half the
        difference nearer."""
        return 0.5 * (case.wrench.opening - self.opening) / half_flat(case.fastener.across_flats, 0.0)


def known_top(built: BuiltPair, curve: TorqueCurve) -> KnownTop | None:
    """The top of a solved curve; None where it turns freely, has no top or another hump nearly as high."""
    if curve.free_play is None or not curve.peak_inside or _rivals(curve.torque.tolist()):
        return None
    state = curve.solutions[int(np.argmax(curve.torque))]
    return KnownTop(state, curve.free_play, built.case.wrench.opening)


def _rivals(torque: list[float]) -> bool:
    """Whether a curve comes to RIVAL of its largest torque more than once."""
    high = [own >= RIVAL * max(torque) for own in torque]
    return sum(now and not before for before, now in zip([False, *high], high, strict=False)) > 1


def curve_top(built: BuiltPair, known: KnownTop | None) -> TorqueCurve:
    """The states around the top of a curve near a known one; the whole curve where the top is not found there.

    Of the former the free play is not worked out: it is that of the known one and what the other opening adds.

    Raises:
        NotConverged, ContactFEError: as `torque_curve`.
    """
    near = None if known is None else _near(built, known)
    return torque_curve(built) if near is None else near


def _near(built: BuiltPair, known: KnownTop) -> TorqueCurve | None:
    shift = known.shift(built.case)
    try:
        points = _around(built, known.state, known.state.rotation + shift)
        if points is None:
            return None
        return audited(built, refine(built, points, ENDS), known.free_play + shift)
    except NotConverged:  # a march comes from the other side
        return None


def _around(built: BuiltPair, known: ContactSolution, rotation: float) -> list[ContactSolution] | None:
    """States about a rotation (rad), among which the highest is not the last on either side; None where there are no such
    within reach.

    Raises:
        NotConverged: there is no solution.
    """
    points = [solve_from(built, rotation, known)]
    for step in STEP * GROWTH ** np.maximum(np.arange(FARTHEST) - 1, 0):
        top = int(np.argmax([p.torque for p in points]))
        if points[top].torque <= 0.0 or points[0].rotation <= step:
            return None
        if top == 0:
            points.insert(0, solve_at(built, points[0].rotation - step, points[0]))
        elif top == len(points) - 1:
            points.append(solve_at(built, points[-1].rotation + step, points[-1]))
        else:
            return points
    return None


def solve_from(built: BuiltPair, rotation: float, known: ContactSolution) -> ContactSolution:
    """Solve one rotation (rad), started from a state of another pair on the same bodies.

    Raises:
        NotConverged: there is no solution.
    """
    # Crushed cells start at the cap of their own law, and the wrench where it stands in the known state.
    pressure = known.pressure * (built.law.cap / known.law.cap)
    start = replace(known, pressure=pressure, drift=np.zeros(2))
    return solve_at(built, rotation, start)
