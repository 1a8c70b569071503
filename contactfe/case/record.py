"""The complete answer to one case: the torque that the pair delivers, what ends it, and every limit with its margin."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

from contactfe.case.columns import NAMES
from contactfe.case.limits import EndedBy, Limit, LimitKind, limits_of, wrench_followed
from contactfe.inputs import CaseInput, to_dict
from contactfe.strength import SectionPath, TwistOff, twist_off
from contactfe.turn import (
    BuiltPair,
    SlipEstimate,
    TorqueCurve,
    build_pair,
    crush_of,
    slip_estimate,
    torque_curve,
)

SAFETY = (
    "Destructive tests store energy and can throw fragments: full guard, eye and face protection, nobody in line with "
    "the handle. This is an estimate, not a rating of any tool; local codes and licensed practice decide."
)
Held = Literal["bolt", "solid bar", "nut"]


@dataclass(frozen=True, eq=False)
class CaseRecord:
    """A solved case, always complete: `record_of` and `solve_case` make it.

    ``limits``: everything that may end the pull, the lowest first, those that are not known last; empty when the wrench
    turns freely. ``ended_by``: the first of them. ``sections``: those of the wrench's head on the way up to slip, None
    where they are not known. ``shank``: what is held below the head, None where no torsion rule fits.
    """

    built: BuiltPair
    curve: TorqueCurve
    estimate: SlipEstimate
    limits: tuple[Limit, ...]
    ended_by: EndedBy
    sections: SectionPath | None
    shank: TwistOff | None

    def __post_init__(self) -> None:
        lowest = self.limits[0].kind if self.limits else "turns-freely"
        known = [limit.torque_Nm for limit in self.limits if limit.torque_Nm is not None]
        if self.estimate.turns_freely == bool(self.limits) or self.ended_by != lowest:
            raise ValueError(f"a record ended by {self.ended_by!r} needs that limit first; got {lowest!r}")
        if self.limits and (self.limits[0].torque_Nm is None or known != sorted(known)):
            raise ValueError("the limits of a record go from the lowest torque up, unknown ones last")

    @property
    def torque_Nm(self) -> float:
        """What the pair delivers, N m: the lowest of its limits, 0 when the wrench turns freely."""
        return (self.limits[0].torque_Nm or 0.0) if self.limits else 0.0

    @property
    def rotation_deg(self) -> float | None:
        """Rotation of the head at that torque, deg from square; None when the wrench turns freely."""
        return self.limits[0].rotation_deg if self.limits else None

    @property
    def next_limit(self) -> Limit | None:
        """What would end the pull next; None where nothing else is known."""
        return next((limit for limit in self.limits[1:] if limit.torque_Nm is not None), None)

    @property
    def margin(self) -> float | None:
        """Torque of the next limit over the torque delivered, less one."""
        following = self.next_limit
        return (
            None
            if following is None or not following.torque_Nm
            else following.torque_Nm / self.torque_Nm - 1.0
        )

    def limit(self, kind: LimitKind) -> Limit | None:
        """The limit of a kind; None where it does not apply."""
        return next((limit for limit in self.limits if limit.kind == kind), None)

    @property
    def held(self) -> Held:
        """What is held below the head: a bolt's shank, a solid bar of the full section, or a nut on its thread."""
        fastener = self.built.case.fastener
        if fastener.size is not None and fastener.size.endswith(" nut"):
            return "nut"
        return "bolt" if fastener.stock == "bolt" else "solid bar"

    def answers(self) -> dict[str, Any]:
        """The answers by the names of `contactfe.case.ANSWERS`; None where there is none."""
        e, early, following = self.estimate, self.estimate.early, self.next_limit
        wrench, shank = self.limit("wrench"), self.limit("bolt") or self.limit("bar")
        low, high = (shank.band_Nm if shank else None) or (None, None)
        found = {
            "turns_freely": e.turns_freely,
            "torque_Nm": self.torque_Nm,
            "ended_by": self.ended_by,
            "rotation_deg": self.rotation_deg,
            "slip_torque_Nm": e.slip_torque_Nm,
            "slip_rotation_deg": e.slip_rotation_deg,
            "wrench_torque_Nm": wrench.torque_Nm if wrench else None,
            "twist_off_torque_Nm": shank.torque_Nm if shank else None,
            "twist_off_low_Nm": low,
            "twist_off_high_Nm": high,
            "next_limit": following.kind if following else None,
            "margin": self.margin,
            "onset_torque_Nm": e.onset_torque_Nm,
            "onset_rotation_deg": e.onset_rotation_deg,
            "free_play_deg": e.free_play_deg,
            "jaw_spread_um_per_Nm": early.spread if early else None,
            "flank_pressure_MPa_per_Nm": early.pressure if early else None,
            "flank_stress_MPa_per_Nm": early.stress if early else None,
            "crushed_length_mm": e.crushed_length_mm,
            "crush_depth_um": e.crush_depth_um,
            "wrench_utilisation_at_slip": self.sections.utilisation_at_slip if self.sections else None,
        }
        return {name: found[name] for name in NAMES}

    def cautions(self) -> list[str]:
        """What the reader has to keep in mind, the general caution last."""
        return [*self.own_cautions(), SAFETY]

    def own_cautions(self) -> list[str]:
        """The cautions of this very case, without the general one."""
        return [
            *self._end_cautions(),
            *_to_measure(self.built.case),
            *self.built.case.cautions,
            *self.estimate.cautions,
        ]

    def _end_cautions(self) -> list[str]:
        slip = self.estimate.slip_torque_Nm
        if slip is None:
            return []
        found = []
        if self.ended_by == "wrench":
            found.append(
                f"the wrench gives way at about {self.torque_Nm:.4g} N m, before the grip is lost at {slip:.4g} N m"
            )
        elif self.ended_by in ("bolt", "bar"):
            what = (
                "the bolt's shank twists off"
                if self.ended_by == "bolt"
                else "the bar yields through in torsion"
            )
            found.append(
                f"{what} at about {self.torque_Nm:.4g} N m, before the grip is lost at {slip:.4g} N m"
            )
        wrench = self.limit("wrench")
        if wrench is not None and wrench.torque_Nm is None:
            found.append(f"whether the wrench gives way before slip could not be told: {wrench.note}")
        shank = self.limit("bolt") or self.limit("bar")
        if shank is not None and shank.torque_Nm is None:
            found.append(f"whether the {shank.kind} twists off before slip is not known: {shank.note}")
        sections = self.sections
        if sections is not None and self.ended_by != "wrench" and sections.section_Nm < self.torque_Nm:
            found.append(
                f"a section of the wrench ({sections.worst_place}) yields through at about {sections.section_Nm:.4g} "
                f"N m, before the pull ends at {self.torque_Nm:.4g} N m: the wrench keeps a permanent set"
            )
        return found

    def to_dict(self, version: str) -> dict[str, Any]:
        """Everything about the case as plain values."""
        early = self.estimate.early
        return {
            "name": self.built.case.name,
            "held": self.held,
            **self.answers(),
            "limits": [asdict(limit) for limit in self.limits],
            "load_share": list(self.estimate.load_share),
            "early": asdict(early) if early else None,
            "curve": {
                "rotation_deg": [math.degrees(r) for r in self.curve.rotation.tolist()],
                "torque_Nm": self.curve.torque.tolist(),
                "crushed_length_mm": [crush_of(s)[0] for s in self.curve.solutions],
                "crush_depth_um": [crush_of(s)[1] for s in self.curve.solutions],
            },
            "mesh": {
                "fastener": asdict(self.built.fastener.mesh.quality()),
                "wrench": asdict(self.built.wrench.mesh.quality()),
            },
            "audit": asdict(self.curve.audit) | {"passed": self.curve.audit.passed()},
            "cautions": self.cautions(),
            "inputs": to_dict(self.built.case),
            "rules": dict(self.built.case.wrench.rules),
            "version": version,
        }


def _to_measure(case: CaseInput) -> list[str]:
    """What decides the torque of an open head and is a default here (own runs on M10 8.8: thickness of 0.8 and 1.2 of the
    default moves an open end by -14 and +5 %, a flare-nut wrench by -17 and +16 %)."""
    if not case.wrench.family.is_open or case.stated("wrench.thickness"):
        return []
    return [
        f"the head's thickness, {case.wrench.thickness:.3g} mm, is a default: a fifth less takes some 15 % off the torque of an "
        "open head, which can change its rank; measure it"
    ]


def record_of(built: BuiltPair, curve: TorqueCurve) -> CaseRecord:
    """The complete record of a solved curve.

    Raises:
        NotConverged: the state at a small torque, or the limit load of the ring, is not found.
    """
    estimate, shank = slip_estimate(built, curve), twist_off(built.case.fastener)
    if estimate.slip_torque_Nm is None:
        return CaseRecord(built, curve, estimate, (), "turns-freely", None, shank)
    curve, wrench = wrench_followed(built, curve, estimate.slip_torque_Nm)
    limits = limits_of(curve, estimate, wrench, shank)
    return CaseRecord(built, curve, estimate, limits, limits[0].kind, wrench.sections, shank)


def solve_case(case: CaseInput) -> CaseRecord:
    """All stages of one case.

    Raises:
        GeometryError: the outlines or meshes cannot be built.
        NotConverged: a rotation has no solution that passes its audit.

    Example:
        >>> from contactfe import parse_case, solve_case
        >>> case = parse_case({"format": 1, "name": "demo", "fastener": {"size": "M10", "grade": "8.8"},
        ...                    "wrench": {"profile": "open-end"}})
        >>> record = solve_case(case)
        >>> record.ended_by, record.torque_Nm == min(limit.torque_Nm for limit in record.limits)
        ('grip', True)
    """
    built = build_pair(case)
    return record_of(built, torque_curve(built))
