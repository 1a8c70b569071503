"""The sequence of events from square to the end of the pull, each with torque and rotation."""

from __future__ import annotations

import math
from dataclasses import dataclass

from contactfe.case import CaseRecord
from contactfe.contact import ContactSolution
from contactfe.explain.modes import Modes
from contactfe.turn import bearing_depth, first_state, head_rotation, load_share, spread_mm, state_at_torque

FIRST_GRIP = 1e-3  # of the largest torque: what counts as gripping
BEARS = 0.03  # of the normal force: from which a flat counts as gripped


@dataclass(frozen=True)
class Event:
    """One event: its key, what happens in plain words, torque (N m) and rotation of the head from square (deg)."""

    key: str
    words: str
    torque_Nm: float
    rotation_deg: float


def sequence_of_events(record: CaseRecord, modes: Modes) -> tuple[Event, ...]:
    """From free play to what ends the pull, and nothing beyond it; empty when the wrench turns freely."""
    e = record.estimate
    if e.turns_freely or modes.grip is None or modes.governing is None:
        return ()
    events = [
        Event(
            "free-play",
            f"turns {e.free_play_deg:.2f} deg from square before both sides touch",
            0.0,
            e.free_play_deg or 0.0,
        ),
        *_touch_and_crush(record),
        *_patch_growth(record),
        *_marks_left(record, modes),
    ]
    if e.onset_torque_Nm is not None and e.onset_rotation_deg is not None:
        words = "slip onset: the slope of the curve falls for good below 0.3 of its largest"
        events.append(Event("onset", words, e.onset_torque_Nm, e.onset_rotation_deg))
    events = [event for event in events if event.torque_Nm < record.torque_Nm]
    events.sort(key=lambda event: (event.torque_Nm, event.rotation_deg))
    key = "slip" if record.ended_by == "grip" else modes.governing.key
    words = _slip_words(modes) if record.ended_by == "grip" else f"the pull ends: {modes.governing.name}"
    return (*events, Event(key, words, record.torque_Nm, record.rotation_deg or 0.0))


def _touch_and_crush(record: CaseRecord) -> list[Event]:
    """First grip and first crush, which is the same point of the curve where the corners are sharp."""
    built, curve = record.built, record.curve
    first = state_at_torque(built, curve, FIRST_GRIP * float(curve.torque.max()))
    share = load_share(built, first)
    words = f"first grip, on {sum(part >= BEARS for part in share)} of {len(share)} flats at their ends"
    crushed = first_state(built, curve, lambda s: float(s.capped.any()) - 0.5)
    if crushed is None:
        return [_event(record, first, "first-touch", words)]
    case, cap = built.case, crushed.law.cap
    softer = (
        "corners" if case.fastener.yield_strength <= case.wrench.yield_strength else "flanks of the wrench"
    )
    begins = f"the {softer} begin to crush: the pressure reaches its cap of {cap:.0f} MPa"
    if crushed.rotation <= first.rotation:
        return [_event(record, first, "first-touch", f"{words}; {begins}")]
    return [_event(record, first, "first-touch", words), _event(record, crushed, "crush-begins", begins)]


def _event(record: CaseRecord, state: ContactSolution, key: str, words: str) -> Event:
    torque = state.torque * bearing_depth(record.built.case) / 1e3
    return Event(key, words, torque, math.degrees(head_rotation(record.built, state)))


def _patch_growth(record: CaseRecord) -> list[Event]:
    """The state at about half of the torque delivered: how much surface bears, and how far the head has opened."""
    state = state_at_torque(record.built, record.curve, 0.5 * record.torque_Nm)
    gripped, capped = gripped_mm(state), float(state.problem.length[state.capped].sum())
    words = (
        f"{gripped:.2f} mm of the flats bear in all, {100 * capped / gripped:.0f} % of it crushed; "
        f"{_gives(record)} {1e3 * spread_mm(record.built, state):.0f} um"
    )
    return [_event(record, state, "patch-growth", words)]


def _marks_left(record: CaseRecord, modes: Modes) -> list[Event]:
    """What leaves marks on wrench or bar without ending the pull."""
    limits, bar = modes.wrench, modes.find("fastener-first-yield")
    found = []
    if limits is not None:
        place = limits.highest.place
        words = f"the wrench begins to yield at its highest stress ({place}): local"
        found.append(("wrench-first-yield", limits.first_yield_Nm, words))
        if limits.redundant:
            words = f"a section of the wrench yields through ({limits.ligaments[0].place}): permanent set"
            found.append(("wrench-section", limits.section_Nm, words))
    if bar is not None and bar.torque_Nm is not None:
        found.append(
            ("fastener-first-yield", bar.torque_Nm, "the bar begins to yield in torsion at mid-flat")
        )
    return [
        Event(key, words, torque, math.degrees(record.curve.rotation_at(torque)))
        for key, torque, words in found
        if torque < record.torque_Nm
    ]


def _slip_words(modes: Modes) -> str:
    grip = modes.grip
    assert grip is not None
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
