"""The audit of one contact solution: balance of both bodies, pull, overlap and complementarity."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from contactfe.contact.problem import Handle
from contactfe.contact.rig import ContactSolution
from contactfe.contact.search import turned
from contactfe.contact.solver import SLIGHT
from contactfe.errors import NotConverged

Array = NDArray[np.float64]

LIMITS = {
    "force_balance": 1e-8,
    "moment_balance": 1e-8,
    "pull": 1e-9,
    "over_cap": 1e-9,
    "overlap": 1e-6,
    "complementarity": 1e-6,
}


@dataclass(frozen=True)
class Audit:
    """Six relative numbers that are zero in an exact solution.

    ``force_balance``: nodal contact forces on the wrench against those on the fastener, and against the handle's
    force, over the sum of their magnitudes (of 1e-4 of what all cells could carry, if that is more).
    ``moment_balance``: their moments about the axis, over that sum times the width across flats.
    ``pull`` and ``over_cap``: largest pressure below zero or above the cap, over the cap. ``overlap``: deepest
    overlap in cells more than 1e-6 below the cap, beyond that of partial contact, over the width across flats.
    ``complementarity``: the solver's residual.
    """

    force_balance: float = 0.0
    moment_balance: float = 0.0
    pull: float = 0.0
    over_cap: float = 0.0
    overlap: float = 0.0
    complementarity: float = 0.0

    def passed(self) -> bool:
        """True when every number is within its limit."""
        return all(value <= LIMITS[name] for name, value in asdict(self).items())

    def check(self) -> Audit:
        """Itself, or NotConverged with the numbers that are beyond their limits."""
        broken = [
            f"{k} {v:.1e} (limit {LIMITS[k]:.0e})" for k, v in asdict(self).items() if not v <= LIMITS[k]
        ]
        if broken:
            raise NotConverged(
                "the audit of a contact solution failed: " + ", ".join(broken),
                slug="audit-failed",
                report=self,
            )
        return self

    @staticmethod
    def worst(audits: Iterable[Audit]) -> Audit:
        """The largest of each number; what is not finite counts as larger than all others."""
        audits = list(audits)
        return Audit(*(float(np.max([0.0, *(getattr(a, f.name) for a in audits)])) for f in fields(Audit)))


def audit(
    solution: ContactSolution, handle: Handle, nodes: tuple[Array, Array], across_flats: float
) -> Audit:
    """Audit one solution from its nodal forces. Values that are not finite pass no limit.

    Args:
        nodes: coordinates (k, 2) of the flexibility's nodes of fastener and wrench, each in its own frame, mm.
    """
    p = solution.pressure
    if not all(
        np.isfinite(a).all() for a in (p, solution.gap, solution.torque, solution.motion, solution.report.gap)
    ):
        return Audit(*[math.nan] * len(fields(Audit)))  # not within any limit
    if not p.any():
        open_by = solution.report.gap / solution.problem.length
        return Audit(overlap=max(0.0, -float(open_by.min(initial=0.0))) / across_flats)
    problem, mu, cap = solution.problem, solution.law.friction, solution.law.cap
    on_fastener, on_wrench = (f.reshape(-1, 2) for f in problem.nodal_forces(p, mu))
    scale = float(
        np.maximum(np.abs(p) @ problem.length, SLIGHT * solution.law.caps(problem) @ problem.length)
    )
    core = -turned(
        on_fastener.sum(axis=0), -handle.sense * solution.rotation
    )  # reaction, in the wrench's frame
    torque_f, torque_w = _moment(nodes[0], on_fastener), _moment(nodes[1] + problem.stand, on_wrench)
    hand, couple = _handle_load(solution.torque, handle)
    force = max(np.abs(on_wrench.sum(axis=0) - core).max(), np.abs(on_wrench.sum(axis=0) + hand).max())
    moment = max(abs(torque_f + torque_w), abs(torque_w + couple))
    own = scale * across_flats
    below = ~solution.capped
    return Audit(
        force_balance=float(force) / scale,
        moment_balance=float(moment) / own,
        pull=max(0.0, -float(p.min())) / cap,
        over_cap=max(0.0, float((p - solution.law.caps(problem)).max())) / cap,
        overlap=max(0.0, -float((solution.report.gap / problem.length)[below].min(initial=0.0)))
        / across_flats,
        complementarity=solution.report.residual,
    )


def _handle_load(torque: float, handle: Handle) -> tuple[Array, float]:
    """Force of the hand on the wrench (2,) and moment about the axis, for a torque in the sense of turning."""
    if handle.lever_arm is None:
        return np.zeros(2), handle.sense * torque
    push = handle.sense * np.array([-np.sin(handle.direction), np.cos(handle.direction)])
    return push * torque / handle.lever_arm, handle.sense * torque


def _moment(x: Array, force: Array) -> float:
    return float(np.sum(x[:, 0] * force[:, 1] - x[:, 1] * force[:, 0]))
