"""The sequence of events from square to the end of the pull, each with torque and rotation."""

from __future__ import annotations

import math
from dataclasses import dataclass

from contactfe.case import ENDS, CaseRecord
from contactfe.contact import ContactSolution
from contactfe.explain.modes import Grip, Modes
from contactfe.strength import wrench_limits
from contactfe.turn import bearing_depth, first_state, head_rotation, load_share, spread_mm, state_at_torque

FIRST_GRIP = 1e-3  # of the largest torque: what counts as gripping
BEARS = 0.03  # of the normal force: from which a flat counts as gripped


@dataclass(frozen=True)
class Event:
    """One event: its key, a few words for a mark, what happens in a sentence, torque (N m), and rotation of the head from
    square (deg)."""

    key: str
    label: str
    words: str
    torque_Nm: float
    rotation_deg: float


def sequence_of_events(record: CaseRecord, modes: Modes | None = None) -> tuple[Event, ...]:
    """From free play to what ends the pull, and nothing beyond it; empty when the wrench turns freely.

    With ``modes`` the last event says how the grip is lost.
    """
    e = record.estimate
    if e.turns_freely or record.rotation_deg is None:
        return ()
    words = f"turns {e.free_play_deg:.2f} deg from square before both sides touch"
    events = [
        Event("free-play", "end of the free play", words, 0.0, e.free_play_deg or 0.0),
        *_touch_and_crush(record),
        *_patch_growth(record),
        *_marks_left(record),
    ]
    if e.onset_torque_Nm is not None and e.onset_rotation_deg is not None:
        words = "slip onset: the slope of the curve falls for good below 0.3 of its largest"
        events.append(Event("onset", "slip onset", words, e.onset_torque_Nm, e.onset_rotation_deg))
    events = [event for event in events if event.torque_Nm < record.torque_Nm]
    events.sort(key=lambda event: (event.torque_Nm, event.rotation_deg))
    label = ENDS[record.ended_by].event
    words = f"the pull ends: {label}"
    if record.ended_by == "grip" and modes is not None and modes.grip is not None:
        words = _slip_words(modes.grip)
    key = "slip" if record.ended_by == "grip" else record.ended_by
    return (*events, Event(key, label, words, record.torque_Nm, record.rotation_deg))


def _touch_and_crush(record: CaseRecord) -> list[Event]:
    """First grip and first crush, which is the same point of the curve where the corners are sharp."""
    built, curve = record.built, record.curve
    first = state_at_torque(built, curve, FIRST_GRIP * float(curve.torque.max()))
    share = load_share(built, first)
    words = f"first grip, on {sum(part >= BEARS for part in share)} of {len(share)} flats at their ends"
    crushed = first_state(built, curve, lambda s: float(s.capped.any()) - 0.5)
    if crushed is None:
        return [_event(record, first, "first-contact", ("first grip", words))]
    case, cap = built.case, crushed.law.cap
    softer = (
        "corners" if case.fastener.yield_strength <= case.wrench.yield_strength else "flanks of the wrench"
    )
    begins = f"the {softer} begin to crush: the pressure reaches its cap of {cap:.0f} MPa"
    if crushed.rotation <= first.rotation:
        return [_event(record, first, "first-contact", ("first grip; crushing begins", f"{words}; {begins}"))]
    return [
        _event(record, first, "first-contact", ("first grip", words)),
        _event(record, crushed, "crush-begins", ("crushing begins", begins)),
    ]


def _event(record: CaseRecord, state: ContactSolution, key: str, told: tuple[str, str]) -> Event:
    torque = state.torque * bearing_depth(record.built.case) / 1e3
    return Event(key, *told, torque, math.degrees(head_rotation(record.built, state)))


def _patch_growth(record: CaseRecord) -> list[Event]:
    """The state at about half of the torque delivered: how much surface bears, and how far the head has opened."""
    state = state_at_torque(record.built, record.curve, 0.5 * record.torque_Nm)
    gripped, capped = gripped_mm(state), float(state.problem.length[state.capped].sum())
    words = (
        f"{gripped:.2f} mm of the flats bear in all, {100 * capped / gripped:.0f} % of it crushed; "
        f"{_gives(record)} {1e3 * spread_mm(record.built, state):.0f} um"
    )
    return [_event(record, state, "patch-growth", ("about half of the torque", words))]


def _marks_left(record: CaseRecord) -> list[Event]:
    """What leaves marks on wrench or bar without ending the pull."""
    sections, shank, found = record.sections, record.shank, []
    if sections is not None:
        limits = wrench_limits(sections)
        words = f"the wrench begins to yield at its highest stress ({limits.highest.place}): local"
        found.append(("wrench-first-yield", "the wrench begins to yield", words, limits.first_yield_Nm))
        if limits.redundant:
            label = f"a section yields through ({limits.ligaments[0].place})"
            words = f"a section of the wrench yields through ({limits.ligaments[0].place}): permanent set"
            found.append(("wrench-section", label, words, limits.section_Nm))
    if shank is not None and shank.first_yield_Nm is not None:
        words = "the bar begins to yield in torsion at mid-flat"
        found.append(("fastener-first-yield", "the bar begins to yield", words, shank.first_yield_Nm))
    return [
        Event(key, label, words, torque, math.degrees(record.curve.rotation_at(torque)))
        for key, label, words, torque in found
        if torque < record.torque_Nm
    ]


def _slip_words(grip: Grip) -> str:
    how = {
        "opening": "the opening has spread until the corners pass",
        "ring-growth": "the ring has grown until the corners pass",
        "corner-crush": "the corners are crushed through",
    }[grip.kind]
    return (
        f"loss of grip: {how}; {grip.gripped_mm:.2f} mm still bears, {100 * grip.capped_share:.0f} % of it crushed, "
        f"{grip.crush_depth_um:.0f} um deep; {'opening' if grip.open_head else 'growth'} {grip.opening_um:.0f} um"
    )


def _gives(record: CaseRecord) -> str:
    tips = any(piece.name == "tip" for piece in record.built.pair.wrench.pieces)
    return "the mouth has opened" if tips else "the ring has grown"


def gripped_mm(state: ContactSolution) -> float:
    """Length of all surface that carries pressure, mm."""
    return float(state.problem.length[state.pressure > 1e-6 * state.law.cap].sum())


def secant_stiffness(record: CaseRecord) -> float | None:
    """Torque delivered over the rotation from the end of the free play, N m per rad; None when it turns freely."""
    e = record.estimate
    if record.rotation_deg is None:
        return None
    turned = math.radians(record.rotation_deg - (e.free_play_deg or 0.0))
    return record.torque_Nm / turned if turned > 0 else None


def stored_energy(record: CaseRecord) -> float | None:
    """Energy (J) that goes with the torque delivered: T^2 / (2 k), k the secant stiffness of head and hex."""
    k = secant_stiffness(record)
    return None if k is None else record.torque_Nm**2 / (2.0 * k)
