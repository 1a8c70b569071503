"""What may end a pull: the grip is lost, the wrench reaches its plastic limit, the bolt or the bar twists off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.strength import SectionPath, TwistOff, near_one, section_path
from contactfe.turn import BuiltPair, SlipEstimate, TorqueCurve, state_near_torque, with_state

LimitKind = Literal["grip", "wrench", "bolt", "bar"]
FOLLOWED = 6  # states that are added at most
CLOSE_ENOUGH = 1e-3  # between 1 and the utilisation of one of them

EndedBy = Literal["grip", "wrench", "bolt", "bar", "turns-freely"]


@dataclass(frozen=True)
class Limit:
    """One thing that may end the pull.

    ``torque_Nm`` is None where it is not known, and ``note`` says why. ``rotation_deg`` of the head, from square, is None
    beyond the top of the curve, which is never passed. ``band_Nm``: where a range is known.
    """

    kind: LimitKind
    torque_Nm: float | None
    rotation_deg: float | None
    band_Nm: tuple[float, float] | None
    note: str


@dataclass(frozen=True, eq=False)
class WrenchLimit:
    """The wrench along a curve: its sections, or None with the reason why its strength is not known."""

    sections: SectionPath | None
    unknown: str = ""


def wrench_limit(built: BuiltPair, curve: TorqueCurve, before: SectionPath | None = None) -> WrenchLimit:
    """The sections of the wrench's head along a curve that grips, `before` a state was added."""
    try:
        return WrenchLimit(section_path(built, curve, before))
    except ContactFEError as error:
        return WrenchLimit(None, error.message)


def wrench_followed(built: BuiltPair, curve: TorqueCurve, slip_Nm: float) -> tuple[TorqueCurve, WrenchLimit]:
    """The curve with a state solved where the wrench ends the pull, and the sections along it.

    Between the points of the march the use of a section is not proportional to the torque: read off them alone, the
    torque delivered went with the first step's size.
    """
    found = wrench_limit(built, curve)
    for _ in range(FOLLOWED):
        if found.sections is None or _ends_at(found, slip_Nm) is None:
            break
        torque, use = found.sections.known_use()
        if np.abs(use - 1.0).min() <= CLOSE_ENOUGH:
            break
        curve = with_state(built, curve, state_near_torque(built, curve, near_one(torque, use)))
        found = wrench_limit(built, curve, found.sections)
    return curve, found


def wrench_ends_at(built: BuiltPair, curve: TorqueCurve, slip_Nm: float, follow: bool = True) -> float | None:
    """Torque (N m) at which the wrench ends the pull; None where the grip is lost first or its strength is not known.

    Cheap enough for every sample of a band: the limit load of a ring is looked for only where one of its sections yields
    through before slip. Without ``follow`` no state is solved besides those of the curve.
    """
    found = wrench_followed(built, curve, slip_Nm)[1] if follow else wrench_limit(built, curve)
    return _ends_at(found, slip_Nm)


def wrench_limit_near(built: BuiltPair, curve: TorqueCurve, slip_Nm: float, within: float) -> float | None:
    """Limit of the wrench (N m), beyond slip in proportion to the loads at slip; None where even its first section yields
    through above ``within`` times the slip torque, or its strength is not known."""
    sections = wrench_followed(built, curve, slip_Nm)[1].sections
    if sections is None or sections.section_Nm >= within * slip_Nm:
        return None
    return sections.limit_Nm()


def _ends_at(wrench: WrenchLimit, slip_Nm: float) -> float | None:
    sections = wrench.sections
    if sections is None or sections.section_Nm >= slip_Nm:
        return None
    torque = sections.limit_Nm()
    return torque if torque < slip_Nm else None


def limits_of(
    curve: TorqueCurve, estimate: SlipEstimate, wrench: WrenchLimit, shank: TwistOff | None
) -> tuple[Limit, ...]:
    """The limits of a pair that grips, the lowest first, unknown ones last."""
    assert estimate.slip_torque_Nm is not None and estimate.slip_rotation_deg is not None
    slip = estimate.slip_torque_Nm

    def rotation(torque: float | None) -> float | None:
        return None if torque is None or torque > slip else math.degrees(curve.rotation_at(torque))

    found = [Limit("grip", slip, estimate.slip_rotation_deg, None, "the top of the curve")]
    torque, note = _wrench_torque(wrench, slip)
    found.append(Limit("wrench", torque, rotation(torque), None, note))
    if shank is not None:
        at = rotation(shank.torque_Nm)
        found.append(Limit(shank.kind, shank.torque_Nm, at, shank.band_Nm, shank.note))
    return tuple(sorted(found, key=lambda limit: math.inf if limit.torque_Nm is None else limit.torque_Nm))


def _wrench_torque(wrench: WrenchLimit, slip: float) -> tuple[float | None, str]:
    sections = wrench.sections
    if sections is None:
        return None, wrench.unknown
    torque = sections.limit_Nm()
    what = "plastic limit load of the ring" if sections.is_ring else f"{sections.worst_place} yields through"
    return torque, what if torque <= slip else f"{what}; beyond slip, in proportion to the loads at slip"
