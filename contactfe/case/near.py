"""The two limits of a pair near a solved one on the same bodies: where the grip is lost, and where the wrench gives way.

What a band needs of each of its samples. The top of the curve is looked for where that of the known pair lies
(`contactfe.turn.top`), the state at which the wrench gives way where the use of its sections, in proportion to that at
the top, leads to expect it. Both are solved and audited states of the sample's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from contactfe.case.course import KnownUse, gives_way
from contactfe.case.limits import wrench_followed, wrench_limit
from contactfe.case.record import CaseRecord
from contactfe.errors import NotConverged
from contactfe.inputs import CaseInput
from contactfe.strength import SectionPath
from contactfe.turn import (
    BuiltPair,
    KnownTop,
    TorqueCurve,
    curve_top,
    has_top,
    known_top,
    peak,
    torque_curve,
    turns_farther,
)

# Times the slip torque: another shape of the same sample may bring a limit that is no higher below it.
NEAR = 1.25
# Times the slip torque: a wrench whose first section yields through above it is not near to one that gives way.
FAR = 1.6
EARLY = 1.25  # use of the wrench at the top above which it gives way long before: the top is not looked for,
BEFORE = math.radians(1.0)  # if it does so that much before the known one


@dataclass(frozen=True, eq=False)
class KnownPair:
    """A solved pair and its curve, and how its wrench is used on the way to the top: None where its strength is not known,
    or so large that none of the pairs near to it comes to the limit of the wrench."""

    built: BuiltPair
    curve: TorqueCurve
    course: KnownUse | None

    def shift(self, case: CaseInput) -> float:
        """By how much (rad) a case of another opening turns farther."""
        return turns_farther(case, self.built.case.wrench.opening)

    @cached_property
    def top(self) -> KnownTop | None:
        """The top of the curve with the shape about it, as far as that is needed."""
        return known_top(self.built, self.curve)


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
    if not has_top(curve):
        return None
    if sections is None or sections.section_Nm > FAR * sections.torque[-1]:
        return KnownPair(built, curve, None)
    assert curve.free_play is not None
    course = KnownUse(
        sections.rotation,
        sections.torque,
        sections.use(),
        curve.solutions,
        curve.free_play,
        built.case.wrench.yield_strength,
        tuple(sections.tangents),
    )
    return KnownPair(built, curve, course)


def limits_near(built: BuiltPair, known: KnownPair | None, judged: bool = True) -> tuple[float, float | None]:
    """Torques N m at which the grip is lost (0: the wrench turns freely; inf: long after the wrench has given way) and at
    which the wrench gives way.

    The latter beyond slip in proportion to the loads at slip; None where even its first section yields through above
    NEAR times the slip torque, or its strength is not known. ``known``: a pair with the same fastener and a wrench like
    the own one. Without ``judged`` the strength of the wrench is not looked at.

    Raises:
        NotConverged: the top of the curve is not found.
    """
    if known is None:
        return _limits(built, judged)
    early = _early(built, known) if judged else None
    if early is not None:
        return math.inf, early
    top = None if known.top is None else curve_top(built, known.top)
    if top is None:
        return _limits(built, judged)
    curve, slip = top
    if not judged:
        return slip, None
    tangents = () if known.course is None else known.course.tangents
    curve = _highest_alone(curve)
    sections = wrench_limit(built, curve, None, tangents).sections
    if sections is None or sections.section_Nm >= NEAR * slip:
        return slip, None
    if sections.use_at_top() <= 1.0:
        return slip, sections.limit_Nm()
    shift = known.shift(built.case)
    found = None if known.course is None else gives_way(built, known.course, shift, (curve, sections))
    return _limits(built, judged) if found is None else (slip, found[0])


def _early(built: BuiltPair, known: KnownPair) -> float | None:
    """Torque N m at which the wrench gives way, where that is long before the grip is lost."""
    if known.course is None or min(known.course.use[-1], known.course.expected_use(built)) < EARLY:
        return None
    shift = known.shift(built.case)
    found = gives_way(built, known.course, shift)
    # On the falling branch it would not be the first.
    return None if found is None or found[1] > known.course.rotation[-1] + shift - BEFORE else found[0]


def _highest_alone(curve: TorqueCurve) -> TorqueCurve:
    """The curve with its highest state alone: what the wrench is looked at there."""
    i = int(np.argmax(curve.torque))
    return replace(
        curve,
        rotation=curve.rotation[i : i + 1].copy(),
        torque=curve.torque[i : i + 1].copy(),
        solutions=(curve.solutions[i],),
    )


def _limits(built: BuiltPair, judged: bool) -> tuple[float, float | None]:
    """The same by the whole curve."""
    curve = torque_curve(built)
    if curve.free_play is None:
        return 0.0, None
    slip = peak(curve)[1]
    sections = wrench_limit(built, curve).sections if judged else None
    if sections is None or sections.section_Nm >= NEAR * slip:
        return slip, None
    found = wrench_followed(built, curve, slip, sections)[1].sections
    return slip, None if found is None else found.limit_Nm()
