"""What may end a pull: the grip is lost, the wrench reaches its plastic limit, the bolt or the bar twists off."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.strength import SectionPath, Tangent, TwistOff, near_one, section_path
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


def wrench_limit(
    built: BuiltPair, curve: TorqueCurve, before: SectionPath | None = None, tangents: Iterable[Tangent] = ()
) -> WrenchLimit:
    """The sections of the wrench's head along a curve that grips, `before` a state was added; see `section_path`."""
    try:
        return WrenchLimit(section_path(built, curve, before, tangents))
    except ContactFEError as error:
        return WrenchLimit(None, error.message)


def wrench_followed(
    built: BuiltPair, curve: TorqueCurve, slip_Nm: float, before: SectionPath | None = None
) -> tuple[TorqueCurve, WrenchLimit]:
    """The curve with a state solved where the wrench ends the pull, and the sections along it.

    Between the points of the march the use of a section is not proportional to the torque: read off them alone, the
    torque delivered went with the first step's size. `before`: the sections along the curve before a state was added.
    """
    found = wrench_limit(built, curve, before)
    for _ in range(FOLLOWED):
        if found.sections is None or _ends_at(found, slip_Nm) is None:
            break
        torque, use = found.sections.known_use()
        if np.abs(use - 1.0).min() <= CLOSE_ENOUGH:
            break
        curve = with_state(built, curve, state_near_torque(built, curve, near_one(torque, use)))
        found = wrench_limit(built, curve, found.sections)
    return curve, found


def wrench_ends_at(built: BuiltPair, curve: TorqueCurve, slip_Nm: float) -> float | None:
    """Torque (N m) at which the wrench ends the pull; None where the grip is lost first or its strength is not known.

    The limit load of a ring is looked for only where one of its sections yields through before slip.
    """
    return _ends_at(wrench_followed(built, curve, slip_Nm)[1], slip_Nm)


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
