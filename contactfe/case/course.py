"""The state at which a wrench gives way, looked for where the course of a known pair leads to expect it.

Along the way to the top of two pairs that are nearly alike, what belongs to a use of the wrench, as a share of that at
the top, hardly differs: neither how far it has turned there, nor the torque. A state or two tell the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contactfe.case.limits import FOLLOWED, wrench_limit
from contactfe.contact import ContactSolution
from contactfe.errors import NotConverged
from contactfe.strength import SectionPath, Tangent
from contactfe.turn import BuiltPair, TorqueCurve, audited, solve_from, with_state

Array = NDArray[np.float64]

CLOSE = 0.03  # between 1 and the use of a state from which the known course tells where the wrench gives way


@dataclass(frozen=True, eq=False)
class KnownUse:
    """Utilisation (k,) of a wrench of a yield strength (MPa) at rotations (k,) rad and torques (k,) N m, the top last; the
    contact states near which others are looked for, the end of the free play (rad), and the tangents to the limits of a
    ring's sections that it took."""

    rotation: Array
    torque: Array
    use: Array
    states: tuple[ContactSolution, ...]
    free_play: float
    yield_strength: float
    tangents: tuple[Tangent, ...]

    def expected_use(self, built: BuiltPair) -> float:
        """About the use of the wrench of another pair at its top: loads go with the cap."""
        cap = built.law.cap / self.states[0].law.cap
        return float(self.use[-1] * cap * self.yield_strength / built.case.wrench.yield_strength)


def gives_way(
    built: BuiltPair,
    known: KnownUse,
    shift: float,
    top: tuple[TorqueCurve, SectionPath] | None = None,
) -> tuple[float, float] | None:
    """Torque (N m) and rotation (rad) at which the wrench of a pair gives way before its top; None where that is not found.

    ``shift``: by how much (rad) it turns farther than the known pair. ``top``: a curve of the highest state alone, where it
    is solved, and the sections of the wrench there.
    """
    curve, own = (None, None) if top is None else top
    use = known.expected_use(built) if own is None else own.use_at_top()
    turned, carried = _courses(known, shift)
    if own is not None:
        turned, carried = turned.through(1.0, own.rotation[-1]), carried.through(1.0, own.torque[-1])
    state: ContactSolution | None = None
    for _ in range(FOLLOWED):
        at = turned(1.0 / use)
        start = _nearest(known.states, at - shift) if state is None else state
        try:
            state = solve_from(built, at, start)
            curve = (
                audited(built, [state], known.free_play + shift)
                if curve is None
                else with_state(built, curve, state)
            )
        except NotConverged:
            return None
        own = wrench_limit(built, curve, own, known.tangents).sections
        reached = None if own is None else own.at(state.rotation)
        if reached is None or min(reached) <= 0.0:
            return None
        torque, used = reached
        turned, carried = turned.through(used / use, at), carried.through(used / use, torque)
        if abs(used - 1.0) <= CLOSE:
            return carried(1.0 / use), at
    return None


def _nearest(states: Sequence[ContactSolution], rotation: float) -> ContactSolution:
    return min(states, key=lambda s: abs(s.rotation - rotation))


def _courses(known: KnownUse, shift: float) -> tuple[_Course, _Course]:
    """Rotation (rad) and torque (N m) over the use of the wrench as a share of that at the top."""
    rising = np.concatenate([[True], np.diff(np.maximum.accumulate(known.use)) > 0])
    shares = known.use[rising] / known.use[-1]
    turned = np.maximum(known.rotation[rising] + shift, known.rotation[0] / 2)  # to stay above zero
    return _Course(shares, turned), _Course(shares, known.torque[rising])


@dataclass(frozen=True, eq=False)
class _Course:
    """What belongs to a use of the wrench: (k,) of the known pair at shares (k,) of its use at the top, times the
    proportion that the nearest two of the shares lead to that are solved (m,). Straight in logarithms."""

    shares: Array
    known: Array
    solved: tuple[tuple[float, float], ...] = ()

    def through(self, share: float, own: float) -> _Course:
        """The same with one more share solved."""
        return replace(self, solved=(*self.solved, (share, float(own))))

    def __call__(self, share: float) -> float:
        """The value at a share, from 0 to 1."""
        known = PchipInterpolator(np.log(self.shares), np.log(self.known))
        at = math.log(min(max(share, self.shares[0]), self.shares[-1]))
        if not self.solved:
            return math.exp(float(known(at)))
        nearest = sorted(self.solved, key=lambda one: abs(math.log(one[0]) - at))[:2]
        places, own = np.log(np.array(nearest)).T
        more = own - known(np.clip(places, known.x[0], known.x[-1]))
        slope = (more[-1] - more[0]) / (places[-1] - places[0]) if np.ptp(places) else 0.0
        return math.exp(float(known(at) + more[0] + slope * (at - places[0])))
