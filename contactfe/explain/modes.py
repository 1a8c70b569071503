"""Everything that may give first, each with its own torque: the grip, the wrench, the fastener."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from contactfe.contact import ContactSolution
from contactfe.errors import ContactFEError
from contactfe.explain.alone import GripAlone, grip_alone
from contactfe.explain.ligaments import WrenchLimits, section_path, wrench_limits
from contactfe.strength import twist_off
from contactfe.turn import CaseRecord, spread_mm

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

    ``kind`` names it; ``opening_share``: what the giving of the wrench takes of the torque that a rigid one would
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


@dataclass(frozen=True)
class EffectiveSlip:
    """The torque (N m) that the pair really reaches on the curve, and the head's rotation there (deg).

    ``capped``: the wrench gives way before the grip is lost. ``cautions``: what has to be said beside the number.
    """

    torque_Nm: float
    rotation_deg: float
    capped: bool
    cautions: tuple[str, ...]


def failure_modes(record: CaseRecord) -> Modes:
    """Torque and margin of every mode of a solved case; solves its curve twice more on the same bodies.

    Raises:
        ContactFEError: the wrench has no section, or one cannot be found in its mesh.
    """
    wrench = wrench_limits(record)
    if wrench is None or record.estimate.slip_torque_Nm is None:
        return Modes((), None, (), None, None)
    grip = grip_loss(record, grip_alone(record.built))
    found = [*_grip_modes(grip), *_wrench_modes(wrench, grip.slip_torque_Nm), *_fastener_modes(record)]
    ends = [m for m in found if m.ends and m.torque_Nm is not None]
    lowest = min(ends, key=lambda m: m.torque_Nm or math.inf)
    base = lowest.torque_Nm or math.inf
    ordered = sorted(found, key=lambda m: (not m.ends, math.inf if m.torque_Nm is None else m.torque_Nm))
    judged = tuple(_with_margin(m, base) for m in ordered)
    governing = next(m for m in judged if m.key == lowest.key)
    ties = tuple(
        m for m in judged if m.ends and m.key != lowest.key and m.margin is not None and m.margin <= TIE
    )
    return Modes(judged, governing, ties, grip, wrench)


def grip_loss(record: CaseRecord, alone: GripAlone) -> Grip:
    """How the grip is lost at slip, from the curve and the two curves with one mechanism switched off."""
    torque = record.estimate.slip_torque_Nm or 0.0
    state = slip_state(record)
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


def slip_state(record: CaseRecord) -> ContactSolution:
    """The contact state of the curve's point that is nearest to slip."""
    at = math.radians(record.estimate.slip_rotation_deg or 0.0)
    return record.curve.solutions[int(np.argmin(np.abs(record.curve.rotation - at)))]


def is_open(record: CaseRecord) -> bool:
    """Whether the head has a mouth or a slot: its opening belongs to the outer loop of the outline."""
    names = {piece.name for piece in record.built.pair.wrench.loops[0]}
    return bool(names & {"flank", "ridge", "root"})


def effective_slip(record: CaseRecord, limits: WrenchLimits | None) -> EffectiveSlip | None:
    """What the pair reaches: the slip torque, or less where the wrench gives way; None if it turns freely."""
    if limits is None:
        return None
    return _effective(record, limits.section_Nm, limits.collapse_Nm, limits.ligaments[0].place)


def _effective(record: CaseRecord, section: float, collapse: float, place: str) -> EffectiveSlip | None:
    """The same from the torques (N m) of the first section and of giving way, and the place of the worst section."""
    e = record.estimate
    if e.slip_torque_Nm is None or e.slip_rotation_deg is None:
        return None
    cautions = []
    torque, rotation, capped = e.slip_torque_Nm, e.slip_rotation_deg, collapse < e.slip_torque_Nm
    if capped:
        top = int(np.argmax(record.curve.torque)) + 1
        rising = np.maximum.accumulate(record.curve.torque[:top])
        torque = collapse
        rotation = math.degrees(float(np.interp(torque, rising, record.curve.rotation[:top])))
        cautions.append(
            f"the wrench gives way at about {torque:.4g} N m, before the grip is lost at {e.slip_torque_Nm:.4g} N m: "
            "the curve ends there"
        )
    elif section < e.slip_torque_Nm:
        cautions.append(
            f"a section of the wrench ({place}) yields through at about {section:.4g} N m, before slip at "
            f"{e.slip_torque_Nm:.4g} N m: the wrench is bent for good, and then gives more than reckoned here"
        )
    return EffectiveSlip(torque, rotation, capped, tuple(cautions))


def judged(record: CaseRecord) -> CaseRecord:
    """The record with the torque that the pair really reaches, and a caution where the wrench gives way first.

    Cheap enough for every case of a study: some solves on the wrench as it is held, and the limit load of a ring only
    where one of its sections yields through before slip. A head whose sections cannot be found has no torque that it
    reaches, and a caution that says so.
    """
    slip = record.estimate.slip_torque_Nm
    try:
        path = section_path(record)
    except ContactFEError as error:
        note = f"whether the wrench gives way before slip could not be told: {error.message}"
        return replace(record, notes=(note,))
    if path is None or slip is None:
        return record
    section = path.section_Nm
    found = _effective(record, section, path.collapse_Nm() if section < slip else section, path.worst_place)
    if found is None:
        return record
    return replace(
        record,
        reached=(found.torque_Nm, found.rotation_deg),
        wrench_use=path.use_at_slip,
        notes=found.cautions,
    )


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
        else f"; the giving of the wrench takes {100 * grip.opening_share:.0f} % of the grip"
    )
    deep = f"{grip.crush_depth_um:.0f} um deep{share}"
    crushed = f"{100 * grip.capped_share:.0f} % of the gripped surface is crushed, {deep}"
    spread = f"{grip.opening_um:.0f} um at slip{share}"
    alone = (
        "crushing alone, if the wrench were rigid",
        "the giving of the wrench alone, if nothing were crushed",
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


def _wrench_modes(limits: WrenchLimits, slip: float) -> list[Mode]:
    spot, worst = limits.hot_spot, limits.ligaments[0]
    beyond = "; beyond slip, in proportion" if limits.section_Nm > slip else ""
    section = (
        f"{worst.place}, {worst.height_mm:.3g} mm: membrane {worst.membrane_MPa:.0f}, bending "
        f"{worst.bending_MPa:.0f} MPa at slip"
    )
    found = [
        Mode(
            "wrench-first-yield",
            "wrench begins to yield at its hottest point",
            limits.first_yield_Nm,
            False,
            f"{spot.place} at ({spot.x_mm:.1f}, {spot.y_mm:.1f}) mm; local, and shallow",
        ),
        Mode(
            "wrench-section",
            "a section of the wrench yields through",
            limits.section_Nm,
            not limits.redundant,
            section + beyond,
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
            Mode(
                "wrench-collapse",
                "the ring gives way",
                limits.collapse_Nm,
                True,
                "enough sections have yielded through"
                + ("; beyond slip, in proportion" if limits.collapse_Nm > slip else ""),
            )
        )
    return found


def _fastener_modes(record: CaseRecord) -> list[Mode]:
    held = twist_off(record.built.case.fastener)
    if held is None or (held.kind == "bar" and held.torque_Nm is None):
        return []
    if held.kind == "bolt":
        return [
            Mode(
                "bolt-twist-off", "the bolt's shank twists off", held.torque_Nm, True, held.note, held.band_Nm
            )
        ]
    return [
        Mode(
            "fastener-first-yield",
            "the bar begins to yield in torsion",
            held.first_yield_Nm,
            False,
            f"{held.section}, at mid-flat",
        ),
        Mode(
            "fastener-torsion",
            "the bar yields through in torsion",
            held.torque_Nm,
            True,
            held.section,
            held.band_Nm,
        ),
    ]


def _with_margin(mode: Mode, base: float) -> Mode:
    if mode.torque_Nm is None:
        return mode
    return Mode(
        mode.key, mode.name, mode.torque_Nm, mode.ends, mode.note, mode.band_Nm, mode.torque_Nm / base - 1.0
    )
