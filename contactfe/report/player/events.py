"""The marks on the player's slider: the sequence of events that `why` tells, and the limits that lie beyond the end."""

from __future__ import annotations

from dataclasses import dataclass

from contactfe.case import ENDS, CaseRecord
from contactfe.explain import sequence_of_events


@dataclass(frozen=True)
class Event:
    """One event: key, what happens in a few words, torque (N m), rotation of the head (deg), whether it ends the pull."""

    key: str
    words: str
    torque_Nm: float
    rotation_deg: float
    ends: bool = False


def events_of(record: CaseRecord) -> tuple[Event, ...]:
    """The events up to the end of the pull, and every other limit on the curve. Empty when the wrench turns freely."""
    told = sequence_of_events(record)
    if not told:
        return ()
    found = [Event(event.key, event.label, event.torque_Nm, event.rotation_deg) for event in told[:-1]]
    last = told[-1]
    found.append(
        Event(last.key, f"{last.label}: this ends the pull", last.torque_Nm, last.rotation_deg, True)
    )
    for limit in record.limits[1:]:
        if limit.torque_Nm is not None and limit.rotation_deg is not None:
            found.append(Event(limit.kind, ENDS[limit.kind].event, limit.torque_Nm, limit.rotation_deg))
    return tuple(found)
