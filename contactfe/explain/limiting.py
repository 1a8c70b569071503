"""The same pair with one of the two mechanisms switched off: the giving of the wrench, or crushing.

Both re-use the bodies: a stiffer wrench has the same flexibility times a small number, a harder surface another cap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from contactfe.case import KnownPair, limits_near, wrench_ends_at
from contactfe.errors import NotConverged
from contactfe.inputs import CaseInput
from contactfe.mesh import SectionMesh
from contactfe.strength import twist_off
from contactfe.turn import BodyModel, BuiltPair, TorqueCurve, assemble, peak, scaled, torque_curve

STIFF = 1e-3  # of the wrench's flexibility: rigid for our purpose
HARD = 200.0  # times the yield strength: a cap that only the very edge of a corner reaches


@dataclass(frozen=True)
class LimitingCases:
    """Slip torques (N m) of the same pair: with a rigid wrench, so that only crushing loses the grip, and without
    crushing, so that only the giving of the wrench does; None where no such torque was found."""

    rigid_Nm: float | None
    uncrushed_Nm: float | None


def limiting_cases(built: BuiltPair) -> LimitingCases:
    """Solve both curves on the bodies that are there."""
    harder = replace(built.case.contact, constraint_factor=HARD)
    return LimitingCases(
        rigid_Nm=peak_torque(reassembled(built, built.case, STIFF)),
        uncrushed_Nm=peak_torque(reassembled(built, replace(built.case, contact=harder))),
    )


def reassembled(
    built: BuiltPair, case: CaseInput, wrench: float = 1.0, mesh: SectionMesh | None = None
) -> BuiltPair:
    """The pair of another case on the same bodies, the wrench's flexibility multiplied by a factor.

    ``mesh``: that of the wrench moved to another shape, with the same nodes; its flexibility is left as it is.
    """
    body = scaled(built.wrench, wrench)
    return assemble(
        case, built.pair, built.fastener, body if mesh is None else BodyModel(mesh, body.flexibility)
    )


def peak_torque(built: BuiltPair) -> float | None:
    """Slip torque (N m), 0 when the wrench turns freely, None when the curve has no top or cannot be solved."""
    try:
        curve = torque_curve(built)
    except NotConverged:
        return None
    return top_of(curve)


def top_of(curve: TorqueCurve) -> float | None:
    """Largest torque of a curve (N m), 0 when the wrench turns freely, None when it was still not falling."""
    if curve.free_play is None:
        return 0.0
    return peak(curve)[1] if curve.peak_inside else None


def delivered(built: BuiltPair, curve: TorqueCurve, judged: bool = True) -> float | None:
    """Torque (N m) that a pair delivers on a curve, the lowest of its limits; None when the curve has no top.

    Without ``judged`` the strength of the wrench is not looked at.
    """
    top = top_of(curve)
    if not top:
        return top
    wrench = wrench_ends_at(built, curve, top) if judged else None
    shank = twist_off(built.case.fastener)
    limits = (top, wrench, shank.torque_Nm if shank else None)
    return min(limit for limit in limits if limit is not None)


def delivered_near(built: BuiltPair, known: KnownPair | None, judged: bool = True) -> float:
    """The same near a known pair on the same bodies, or on some that differ little; 0 when the wrench turns freely.

    Raises:
        NotConverged: the top of the curve is not found.
    """
    grip, wrench = limits_near(built, known, judged)
    shank = twist_off(built.case.fastener)
    limits = (grip, wrench, shank.torque_Nm if shank and grip else None)
    return min(limit for limit in limits if limit is not None)
