"""The chain of events from square to slip, in the order in which they come, each with torque and rotation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from contactfe.contact import ContactSolution
from contactfe.explain.modes import Modes
from contactfe.turn import CaseRecord, load_share, spread_mm

BEARS = 0.03  # of the normal force: from which a flat counts as gripped


@dataclass(frozen=True)
class Step:
    """One event: its key, what happens in plain words, torque (N m) and rotation of the head from square (deg)."""

    key: str
    words: str
    torque_Nm: float
    rotation_deg: float


def chain_of_events(record: CaseRecord, modes: Modes) -> tuple[Step, ...]:
    """From free play to slip; empty when the wrench turns freely."""
    e = record.estimate
    if e.turns_freely or e.slip_torque_Nm is None or modes.grip is None:
        return ()
    steps = [
        Step(
            "free-play",
            f"turns {e.free_play_deg:.2f} deg from square before both sides touch",
            0.0,
            e.free_play_deg or 0.0,
        ),
        *_touch_and_crush(record),
        *_patch_growth(record),
        *_wrench_steps(record, modes),
    ]
    if e.onset_torque_Nm is not None and e.onset_rotation_deg is not None:
        words = "the grip begins to give for good: the curve bends over"
        steps.append(Step("onset", words, e.onset_torque_Nm, e.onset_rotation_deg))
    steps.sort(key=lambda step: (step.torque_Nm, step.rotation_deg))
    steps.append(Step("slip", _slip_words(modes), e.slip_torque_Nm, e.slip_rotation_deg or 0.0))
    return tuple(steps)


def _touch_and_crush(record: CaseRecord) -> list[Step]:
    """First grip and first crush, which is the same point of the curve where the corners are sharp."""
    curve = record.curve
    k = int(np.argmax(curve.torque > 1e-3 * curve.torque.max()))
    share = load_share(record.built, curve.solutions[k])
    words = f"first grip, on {sum(part >= BEARS for part in share)} of {len(share)} flats at their ends"
    crushed = next((i for i, s in enumerate(curve.solutions) if s.capped.any()), None)
    if crushed is None:
        return [_step(record, k, "first-touch", words)]
    case, cap = record.built.case, curve.solutions[crushed].law.cap
    softer = (
        "corners" if case.fastener.yield_strength <= case.wrench.yield_strength else "flanks of the wrench"
    )
    begins = f"the {softer} begin to crush: the pressure reaches its cap of {cap:.0f} MPa"
    if crushed <= k:
        return [_step(record, k, "first-touch", f"{words}; {begins}")]
    return [_step(record, k, "first-touch", words), _step(record, crushed, "crush-begins", begins)]


def _step(record: CaseRecord, k: int, key: str, words: str) -> Step:
    return Step(key, words, float(record.curve.torque[k]), math.degrees(record.curve.rotation[k]))


def _patch_growth(record: CaseRecord) -> list[Step]:
    """The state at about half of the slip torque: how much surface bears, and how far the head has opened."""
    curve = record.curve
    top = int(np.argmax(curve.torque))
    k = int(np.argmin(np.abs(curve.torque[: top + 1] - 0.5 * curve.torque[top])))
    state = curve.solutions[k]
    gripped, capped = gripped_mm(state), float(state.problem.length[state.capped].sum())
    words = (
        f"the patch has grown to {gripped:.2f} mm on all flats together, {100 * capped / gripped:.0f} % of it "
        f"crushed; {_gives(record)} {1e3 * spread_mm(record.built, state):.0f} um"
    )
    return [_step(record, k, "patch-growth", words)]


def _wrench_steps(record: CaseRecord, modes: Modes) -> list[Step]:
    limits = modes.wrench
    slip = record.estimate.slip_torque_Nm or 0.0
    if limits is None:
        return []
    found = [
        (
            "wrench-first-yield",
            limits.first_yield_Nm,
            f"the wrench begins to yield at its hottest point ({limits.hot_spot.place}): local",
        )
    ]
    if limits.redundant:
        found.append(
            (
                "wrench-section",
                limits.section_Nm,
                f"a section yields through ({limits.ligaments[0].place}): permanent set",
            )
        )
        found.append(
            (
                "wrench-collapse",
                limits.collapse_Nm,
                "so many sections have yielded through that the ring gives way",
            )
        )
    else:
        found.append(
            (
                "wrench-section",
                limits.section_Nm,
                f"a section yields through ({limits.ligaments[0].place}): the head gives way",
            )
        )
    return [
        Step(key, words, torque, rotation_at(record, torque)) for key, torque, words in found if torque < slip
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


def rotation_at(record: CaseRecord, torque: float) -> float:
    """Rotation of the head (deg) at which the rising curve reaches a torque (N m)."""
    curve = record.curve
    top = int(np.argmax(curve.torque)) + 1
    rising = np.maximum.accumulate(curve.torque[:top])
    return math.degrees(float(np.interp(torque, rising, curve.rotation[:top])))


def secant_stiffness(record: CaseRecord) -> float | None:
    """Torque at slip over the rotation from the end of the free play, N m per rad; None when there is no slip."""
    e = record.estimate
    if e.slip_torque_Nm is None or e.slip_rotation_deg is None:
        return None
    turned = math.radians(e.slip_rotation_deg - (e.free_play_deg or 0.0))
    return e.slip_torque_Nm / turned if turned > 0 else None


def stored_energy(record: CaseRecord) -> float | None:
    """Energy (J) that goes with the torque at slip: T^2 / (2 k), k the secant stiffness of head and hex."""
    k = secant_stiffness(record)
    torque = record.estimate.slip_torque_Nm
    return None if k is None or torque is None else torque**2 / (2.0 * k)
