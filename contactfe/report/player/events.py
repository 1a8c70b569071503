"""What happens on the way, for the marks on the player's slider: each with its torque and the head's rotation."""

from __future__ import annotations

import math
from dataclasses import dataclass

from contactfe.case import CaseRecord
from contactfe.report.words import ENDS


@dataclass(frozen=True)
class Event:
    """One event: key, what happens in a few words, torque (N m), rotation of the head (deg), whether it ends the pull."""

    key: str
    words: str
    torque_Nm: float
    rotation_deg: float
    ends: bool = False


def events_of(record: CaseRecord) -> tuple[Event, ...]:
    """First contact, first crush, permanent set of the wrench, slip onset, and every limit on the curve, in order of
    rotation. Empty when the wrench turns freely.
    """
    curve, e = record.curve, record.estimate
    if e.turns_freely or not curve.solutions:
        return ()
    found = [*_on_points(record)]
    sections = record.sections
    if sections is not None and sections.section_Nm < record.torque_Nm:
        at = math.degrees(curve.rotation_at(sections.section_Nm))
        words = f"a section of the wrench yields through ({sections.worst_place})"
        found.append(Event("wrench-section", words, sections.section_Nm, at))
    if e.onset_torque_Nm is not None and e.onset_rotation_deg is not None:
        found.append(Event("onset", "slip onset", e.onset_torque_Nm, e.onset_rotation_deg))
    for limit in record.limits:
        if limit.torque_Nm is not None and limit.rotation_deg is not None:
            ends = limit.kind == record.ended_by
            words = f"{ENDS[limit.kind].event}{': this ends the pull' if ends else ''}"
            found.append(Event(limit.kind, words, limit.torque_Nm, limit.rotation_deg, ends))
    return tuple(sorted(found, key=lambda event: (event.rotation_deg, event.torque_Nm)))


def _on_points(record: CaseRecord) -> list[Event]:
    """First contact, where the free play ends, and the first point of the curve at which an edge is crushed."""
    crush = next((i for i, s in enumerate(record.curve.solutions) if s.capped.any()), None)
    found = [_at(record, 0, "first-contact", "first contact: the free play ends")]
    if crush is not None:
        found.append(_at(record, crush, "crush-begins", "crushing begins at the edges"))
    return found


def _at(record: CaseRecord, k: int, key: str, words: str) -> Event:
    return Event(key, words, float(record.curve.torque[k]), math.degrees(record.curve.rotation[k]))
