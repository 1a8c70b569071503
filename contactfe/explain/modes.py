"""Everything that may end the pull or leave marks before, each with its own torque: the grip, the wrench, the fastener."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.case import CaseRecord
from contactfe.explain.limiting import LimitingCases, limiting_cases
from contactfe.strength import WrenchLimits, wrench_limits
from contactfe.turn import spread_mm

OPENING_SHARE = 0.25
"""Share of a rigid wrench's torque that the giving of the wrench must take for a loss of grip to be called after it;
the mouth must then also have spread by no less than the corners are crushed deep. Otherwise crushing names it
(engineering judgement; both numbers are always stated)."""
TIE = 0.05  # of the lowest torque: modes this near are named with it

GripKind = Literal["corner-crush", "opening", "ring-growth"]
ModeKey = Literal[
    "corner-crush",
    "opening",
    "ring-growth",
    "wrench-first-yield",
    "wrench-section",
    "wrench-collapse",
    "wrench-fracture",
    "fastener-first-yield",
    "fastener-torsion",
    "bolt-twist-off",
]


@dataclass(frozen=True)
class Mode:
    """One way to give. ``torque_Nm`` None: not known, ``note`` says why. ``band_Nm``: where a range is known.

    ``ends``: past this torque the pair delivers no more. The others leave marks, or name what the mechanism that does
    not govern the loss of grip would hold alone. ``margin``: torque over that of the governing mode, less one.
    """

    key: ModeKey
    name: str
    torque_Nm: float | None
    ends: bool
    note: str
    band_Nm: tuple[float, float] | None = None
    margin: float | None = None


@dataclass(frozen=True)
class Grip:
    """How the grip is lost.

    ``kind`` names it; ``opening_share``: what the spreading of the wrench takes of the torque that a rigid one would
    hold. ``open_head``: with a mouth or a slot. At slip: ``gripped_mm`` all surface that bears, ``capped_share`` of
    it crushed, ``crush_depth_um`` its depth, ``opening_um`` of mouth or slot, or growth of the ring across the
    gripped corners.
    """

    kind: GripKind
    open_head: bool
    slip_torque_Nm: float
    rigid_Nm: float | None
    uncrushed_Nm: float | None
    opening_share: float | None
    gripped_mm: float
    capped_share: float
    crush_depth_um: float
    opening_um: float


@dataclass(frozen=True)
class Modes:
    """All modes, the lowest that ends first; the governing one and those within 5 % of it. A wrench that turns freely
    has no modes of grip or wrench; ``governing`` is then None."""

    modes: tuple[Mode, ...]
    governing: Mode | None
    ties: tuple[Mode, ...]
    grip: Grip | None
    wrench: WrenchLimits | None

    def find(self, key: ModeKey) -> Mode | None:
        """The mode of a key, None where it does not apply."""
        return next((mode for mode in self.modes if mode.key == key), None)


def failure_modes(record: CaseRecord) -> Modes:
    """Torque and margin of every mode of a solved case; solves its curve twice more on the same bodies.

    The mode that governs is the one that ends the record, at the record's torque.
    """
    if record.ended_by == "turns-freely":
        return Modes((), None, (), None, None)
    wrench = wrench_limits(record.sections) if record.sections else None
    grip = grip_loss(record, limiting_cases(record.built))
    found = [*_grip_modes(grip), *_wrench_modes(record, wrench), *_fastener_modes(record)]
    ordered = sorted(found, key=lambda m: (not m.ends, math.inf if m.torque_Nm is None else m.torque_Nm))
    judged = tuple(_with_margin(m, record.torque_Nm) for m in ordered)
    key = _governing_key(record, grip)
    governing = next(m for m in judged if m.key == key)
    ties = tuple(m for m in judged if m.ends and m.key != key and m.margin is not None and m.margin <= TIE)
    return Modes(judged, governing, ties, grip, wrench)


def _governing_key(record: CaseRecord, grip: Grip) -> ModeKey:
    """The mode of what ends the record."""
    if record.ended_by == "wrench":
        return "wrench-collapse" if record.sections and record.sections.is_ring else "wrench-section"
    if record.ended_by == "grip":
        return grip.kind
    return "bolt-twist-off" if record.ended_by == "bolt" else "fastener-torsion"


def grip_loss(record: CaseRecord, alone: LimitingCases) -> Grip:
    """How the grip is lost at slip, from the curve and the two curves with one mechanism switched off."""
    torque = record.estimate.slip_torque_Nm or 0.0
    state = record.curve.nearest(math.radians(record.estimate.slip_rotation_deg or 0.0))
    share = None if not alone.rigid_Nm else max(0.0, 1.0 - torque / alone.rigid_Nm)
    opening = 1e3 * spread_mm(record.built, state)
    giving: GripKind = "opening" if is_open(record) else "ring-growth"
    length = state.problem.length
    gripped = state.pressure > 1e-6 * state.law.caps(state.problem)
    depth = 1e3 * float(np.max(-state.gap[state.capped], initial=0.0))
    by_wrench = share is not None and share >= OPENING_SHARE and opening >= depth
    return Grip(
        kind=giving if by_wrench else "corner-crush",
        open_head=giving == "opening",
        slip_torque_Nm=torque,
        rigid_Nm=alone.rigid_Nm,
        uncrushed_Nm=alone.uncrushed_Nm,
        opening_share=share,
        gripped_mm=float(length[gripped].sum()),
        capped_share=float(length[state.capped].sum() / max(length[gripped].sum(), 1e-300)),
        crush_depth_um=depth,
        opening_um=opening,
    )


def is_open(record: CaseRecord) -> bool:
    """Whether the head has a mouth or a slot: its opening belongs to the outer loop of the outline."""
    names = {piece.name for piece in record.built.pair.wrench.loops[0]}
    return bool(names & {"flank", "ridge", "root"})


def _grip_modes(grip: Grip) -> list[Mode]:
    """The loss of grip under the name of what governs it, and the other mechanism with what it would take alone."""
    own, crushes = grip.slip_torque_Nm, grip.kind == "corner-crush"
    giving: GripKind = "opening" if grip.open_head else "ring-growth"
    name = (
        "the opening spreads until the corners pass"
        if grip.open_head
        else "the ring grows until the corners pass"
    )
    share = (
        ""
        if grip.opening_share is None
        else f"; the spreading of the wrench takes {100 * grip.opening_share:.0f} % of the grip"
    )
    deep = f"{grip.crush_depth_um:.0f} um deep{share}"
    crushed = f"{100 * grip.capped_share:.0f} % of the gripped surface is crushed, {deep}"
    spread = f"{grip.opening_um:.0f} um at slip{share}"
    alone = (
        "crushing alone, if the wrench were rigid",
        "the spreading of the wrench alone, if nothing were crushed",
    )
    return [
        Mode(
            "corner-crush",
            "the corners are crushed through",
            own if crushes else grip.rigid_Nm,
            crushes,
            crushed if crushes else alone[0],
        ),
        Mode(
            giving, name, grip.uncrushed_Nm if crushes else own, not crushes, alone[1] if crushes else spread
        ),
    ]


def _wrench_modes(record: CaseRecord, limits: WrenchLimits | None) -> list[Mode]:
    own = record.limit("wrench")
    assert own is not None
    if limits is None:
        return [Mode("wrench-section", "a section of the wrench yields through", None, True, own.note)]
    spot, worst, slip = limits.highest, limits.ligaments[0], limits.slip_torque_Nm
    beyond = "; beyond slip, in proportion to the loads at slip"
    section = (
        f"{worst.place}, {worst.height_mm:.3g} mm: membrane {worst.membrane_MPa:.0f}, bending "
        f"{worst.bending_MPa:.0f} MPa at slip"
    ) + (beyond if limits.section_Nm > slip else "")
    found = [
        Mode(
            "wrench-first-yield",
            "the wrench begins to yield at its highest stress",
            limits.first_yield_Nm,
            False,
            f"{spot.place} at ({spot.x_mm:.1f}, {spot.y_mm:.1f}) mm; local, and shallow",
        ),
        Mode(
            "wrench-section",
            "a section of the wrench yields through",
            limits.section_Nm,
            not limits.redundant,
            section,
        ),
        Mode(
            "wrench-fracture",
            "a hard wrench may crack instead of bending",
            limits.section_Nm,
            False,
            "from the torque at which a section yields through; forging laps and hard jaws break earlier",
        ),
    ]
    if limits.redundant:
        found.append(
            Mode("wrench-collapse", "the ring reaches its plastic limit", own.torque_Nm, True, own.note)
        )
    return found


def _fastener_modes(record: CaseRecord) -> list[Mode]:
    shank, limit = record.shank, record.limit("bolt") or record.limit("bar")
    if shank is None or limit is None or (shank.kind == "bar" and limit.torque_Nm is None):
        return []
    if shank.kind == "bolt":
        name = "the bolt's shank twists off"
        return [Mode("bolt-twist-off", name, limit.torque_Nm, True, limit.note, limit.band_Nm)]
    return [
        Mode(
            "fastener-first-yield",
            "the bar begins to yield in torsion",
            shank.first_yield_Nm,
            False,
            f"{shank.note}, at mid-flat",
        ),
        Mode(
            "fastener-torsion",
            "the bar yields through in torsion",
            limit.torque_Nm,
            True,
            limit.note,
            limit.band_Nm,
        ),
    ]


def _with_margin(mode: Mode, base: float) -> Mode:
    if mode.torque_Nm is None:
        return mode
    return Mode(
        mode.key, mode.name, mode.torque_Nm, mode.ends, mode.note, mode.band_Nm, mode.torque_Nm / base - 1.0
    )
