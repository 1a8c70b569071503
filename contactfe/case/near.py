"""The two limits of a pair near a solved one on the same bodies: where the grip is lost, and where the wrench gives way.

What a band needs of each of its samples. The top of the curve is looked for where that of the known pair lies
(`contactfe.turn.top`), the state at which the wrench gives way where the use of its sections, in proportion to that at
the top, leads to expect it. Both are solved and audited states of the sample's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contactfe.case.limits import FOLLOWED, wrench_followed, wrench_limit
from contactfe.case.record import CaseRecord
from contactfe.errors import NotConverged
from contactfe.strength import SectionPath, Tangent
from contactfe.strength import reached as reached_first
from contactfe.turn import (
    BuiltPair,
    KnownTop,
    TorqueCurve,
    curve_top,
    known_top,
    peak,
    solve_from,
    torque_curve,
    with_state,
)

Array = NDArray[np.float64]

# Between 1 and the use of a state from which the known course tells where the wrench gives way: below FLAT times the top,
# and above.
CLOSE, CLOSER, FLAT = 0.02, 3e-3, 0.95
# Times the slip torque: another shape of the same sample may bring a limit that is no higher below it.
NEAR = 1.25
# Times the slip torque: a wrench whose first section yields through above it is not near to one that gives way.
FAR = 1.6
FINE = 400  # places at which a course is looked at


@dataclass(frozen=True, eq=False)
class KnownPair:
    """The curve of a pair with its top, and how its wrench is used on the way there: None where its strength is not known,
    or so large that none of the pairs near to it comes to the limit of the wrench."""

    curve: TorqueCurve
    top: KnownTop
    course: KnownUse | None


@dataclass(frozen=True, eq=False)
class KnownUse:
    """Utilisation (k,) of a wrench at rotations (k,) rad and torques (k,) N m, the top last, and the tangents to the limits
    of a ring's sections that it took."""

    rotation: Array
    torque: Array
    use: Array
    tangents: tuple[Tangent, ...]


def known_pair(built: BuiltPair) -> KnownPair | None:
    """Solve a pair near which others are going to be looked at; None where it has no top that others would be near to."""
    try:
        curve = torque_curve(built)
    except NotConverged:
        return None
    if curve.free_play is None:
        return None
    curve, wrench = wrench_followed(built, curve, peak(curve)[1])
    return _known(built, curve, wrench.sections)


def known_from(record: CaseRecord) -> KnownPair | None:
    """The same from a record, as `known_pair` of its pair would give it."""
    return None if record.curve.free_play is None else _known(record.built, record.curve, record.sections)


def _known(built: BuiltPair, curve: TorqueCurve, sections: SectionPath | None) -> KnownPair | None:
    top = known_top(built, curve)
    if top is None:
        return None
    if sections is None or sections.section_Nm > FAR * sections.torque[-1]:
        return KnownPair(curve, top, None)
    use = sections.use()
    return KnownPair(curve, top, KnownUse(sections.rotation, sections.torque, use, tuple(sections.tangents)))


def limits_near(built: BuiltPair, known: KnownPair | None, judged: bool = True) -> tuple[float, float | None]:
    """Torques N m at which the grip is lost (0: the wrench turns freely) and at which the wrench gives way.

    The latter beyond slip in proportion to the loads at slip; None where even its first section yields through above
    NEAR times the slip torque, or its strength is not known. ``known``: a pair on the same bodies. Without ``judged`` the
    strength of the wrench is not looked at.

    Raises:
        NotConverged: the top of the curve is not found.
    """
    curve = curve_top(built, None if known is None else known.top)
    if curve.free_play is None:
        return 0.0, None
    slip = peak(curve)[1]
    if not judged:
        return slip, None
    course = None if known is None else known.course
    tangents = () if course is None else course.tangents
    sections = wrench_limit(built, curve, None, tangents).sections
    if sections is None or sections.section_Nm >= NEAR * slip:
        return slip, None
    if sections.use_at_top() <= 1.0 or known is None:
        found = wrench_followed(built, curve, slip, sections)[1].sections
        return slip, None if found is None else found.limit_Nm()
    limit = _followed(built, curve, sections, known)
    return limits_near(built, None) if limit is None else (slip, limit)


def _followed(built: BuiltPair, curve: TorqueCurve, own: SectionPath, known: KnownPair) -> float | None:
    """The torque (N m) at which the wrench gives way, before the top; None where that is not found.

    Looked for where the use of the known pair, times its proportion to the own use at the states that are solved, leads
    to expect it; once a state is close, the line through it and the next one tells.
    """
    if known.course is None:
        return None
    shift, top = known.top.shift(built.case), own.use_at_top()
    use = _Course(known.course.rotation + shift, known.course.use, own.rotation[-1:], np.array([top]))
    # Over the torque its course is nearly the same for all.
    torques = known.course.torque * (own.torque[-1] / known.course.torque[-1])
    carried = _Course(torques, known.course.use, own.torque[-1:], np.array([top]))
    state = None
    for _ in range(FOLLOWED):
        at = use.first_one()
        if state is None:
            state = min(known.curve.solutions, key=lambda s: abs(s.rotation + shift - at))
        try:
            state = solve_from(built, at, state)
            curve = with_state(built, curve, state)
        except NotConverged:  # a march comes from the other side
            return None
        found = wrench_limit(built, curve, own).sections
        reached = None if found is None else found.at(state.rotation)
        if found is None or reached is None:
            return None
        own, use, carried = found, use.through(at, reached[1]), carried.through(*reached)
        off = abs(reached[1] - 1.0)
        if reached[0] < FLAT * own.torque[-1] and off <= CLOSE:
            return carried.first_one()
        if off <= CLOSER:  # where the curve is flat the torque does not tell the use
            return reached[0]
    return None


@dataclass(frozen=True, eq=False)
class _Course:
    """The use of a wrench over rotation or torque: that of the known pair, (k,) at its places, times the proportion between
    the two at the places that are solved (m,), where it has its own values. Straight in logarithms."""

    places: Array
    known: Array
    solved: Array
    values: Array

    def __call__(self, at: Array) -> Array:
        x, solved = np.log(at), np.log(self.solved)
        known = PchipInterpolator(np.log(self.places), np.log(self.known))
        share = np.log(self.values) - known(solved)
        return np.asarray(np.exp(known(x) + np.interp(x, solved, share)))

    def through(self, at: float, value: float) -> _Course:
        """The same with one more place solved."""
        place = int(np.searchsorted(self.solved, at))
        return replace(
            self, solved=np.insert(self.solved, place, at), values=np.insert(self.values, place, value)
        )

    def first_one(self) -> float:
        """The place at which it is one."""
        at = np.linspace(self.places[0], self.solved[-1], FINE)
        return reached_first(at, self(at))
