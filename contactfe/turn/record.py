"""One case from input to record: the stages in a row, and the answer as plain values for files."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from contactfe.inputs import CaseInput, to_dict
from contactfe.turn.build import BuiltPair, build_pair
from contactfe.turn.curve import TorqueCurve, torque_curve
from contactfe.turn.estimate import SlipEstimate, slip_estimate

SAFETY = (
    "Destructive tests store energy and can throw fragments: full guard, eye and face protection, nobody in line with "
    "the handle. This is an estimate, not a rating of any tool; local codes and licensed practice decide."
)


@dataclass(frozen=True, eq=False)
class CaseRecord:
    """A solved case: the built pair, its curve and its estimate.

    ``reached`` is filled in where the strength of the wrench was looked at: the torque (N m) that the pair really
    reaches and the head's rotation there (deg), less than slip where the wrench gives way first. ``notes`` says so.
    ``wrench_use`` is the largest use of a section of the wrench at slip; one with a use of 1 yields through.
    """

    built: BuiltPair
    curve: TorqueCurve
    estimate: SlipEstimate
    reached: tuple[float, float] | None = None
    wrench_use: float | None = None
    notes: tuple[str, ...] = ()

    def answers(self) -> dict[str, Any]:
        """The numbers of the case by the names that every file uses; None where the wrench turns freely."""
        e, early = self.estimate, self.estimate.early
        return {
            "turns_freely": e.turns_freely,
            "slip_torque_Nm": e.slip_torque_Nm,
            "reached_torque_Nm": self.reached[0] if self.reached else None,
            "slip_rotation_deg": e.slip_rotation_deg,
            "onset_torque_Nm": e.onset_torque_Nm,
            "onset_rotation_deg": e.onset_rotation_deg,
            "free_play_deg": e.free_play_deg,
            "jaw_spread_um_per_Nm": early.spread if early else None,
            "flank_pressure_MPa_per_Nm": early.pressure if early else None,
            "flank_stress_MPa_per_Nm": early.stress if early else None,
            "crushed_length_mm": e.crushed_length_mm,
            "crush_depth_um": e.crush_depth_um,
            "wrench_use_at_slip": self.wrench_use,
        }

    def cautions(self) -> list[str]:
        """What the reader has to keep in mind, the general caution last."""
        return [*self.own_cautions(), SAFETY]

    def own_cautions(self) -> list[str]:
        """The cautions of this very case, without the general one."""
        return [*self.notes, *self.built.case.cautions, *self.estimate.cautions]

    def to_dict(self, version: str) -> dict[str, Any]:
        """Everything about the case as plain values."""
        early = self.estimate.early
        return {
            "name": self.built.case.name,
            **self.answers(),
            "reached_rotation_deg": self.reached[1] if self.reached else None,
            "load_share": list(self.estimate.load_share),
            "early": asdict(early) if early else None,
            "curve": {
                "rotation_deg": [math.degrees(r) for r in self.curve.rotation.tolist()],
                "torque_Nm": self.curve.torque.tolist(),
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


def solve_case(case: CaseInput) -> CaseRecord:
    """All stages of one case.

    Raises:
        GeometryError: the outlines or meshes cannot be built.
        NotConverged: a rotation has no solution that passes its audit.

    Example:
        >>> from contactfe import parse_case, solve_case
        >>> case = parse_case({"format": 1, "name": "demo", "fastener": {"size": "M10", "grade": "8.8"},
        ...                    "wrench": {"profile": "open-end"}})
        >>> round(solve_case(case).estimate.free_play_deg, 1) > 0
        True
    """
    built = build_pair(case)
    curve = torque_curve(built)
    return CaseRecord(built, curve, slip_estimate(built, curve))
