"""The whole explanation of one case: what governs, by what margin, the chain that led there, and what would help."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from contactfe.explain.chain import Step, chain_of_events, secant_stiffness, stored_energy
from contactfe.explain.levers import Lever, levers
from contactfe.explain.modes import EffectiveSlip, Modes, effective_slip, failure_modes
from contactfe.explain.shares import Comparison
from contactfe.turn import CaseRecord


@dataclass(frozen=True, eq=False)
class Explanation:
    """Why a case lets go. When the wrench turns freely, ``effective`` is None, modes, steps and levers are empty."""

    record: CaseRecord
    modes: Modes
    effective: EffectiveSlip | None
    steps: tuple[Step, ...]
    levers: tuple[Lever, ...]
    stiffness_Nm_per_rad: float | None
    stored_energy_J: float | None

    @property
    def fracture_risk(self) -> bool:
        """Whether a section of the wrench yields through before slip: a hard wrench may crack there instead."""
        slip, limits = self.record.estimate.slip_torque_Nm, self.modes.wrench
        return slip is not None and limits is not None and limits.section_Nm < slip

    def best(self, count: int = 3) -> tuple[Lever, ...]:
        """The inputs of a user's choice that raise the torque most."""
        return tuple(lever for lever in self.levers if lever.choice and lever.gain_Nm > 0)[:count]

    def cautions(self) -> list[str]:
        """What the reader has to keep in mind; the energy that is let go, and the general caution last."""
        found = [*(self.effective.cautions if self.effective else ())]
        energy, stiffness = self.stored_energy_J, self.stiffness_Nm_per_rad
        if energy is not None and stiffness is not None:
            found.append(
                f"stored energy at slip: up to {energy:.2g} J in head and hex alone (T^2/2k with the secant stiffness "
                f"k = {stiffness:.0f} N m per rad; part of it goes into crushing); handle, extension and rig store "
                "more, and what is stored is released at once"
            )
        return [*found, *self.record.cautions()]

    def to_dict(self, version: str) -> dict[str, Any]:
        """Everything as plain values."""
        e, modes = self.record.estimate, self.modes
        return {
            "name": self.record.built.case.name,
            "turns_freely": e.turns_freely,
            "slip_torque_Nm": e.slip_torque_Nm,
            "effective": asdict(self.effective) if self.effective else None,
            "governing": modes.governing.key if modes.governing else None,
            "ties": [mode.key for mode in modes.ties],
            "modes": [asdict(mode) for mode in modes.modes],
            "grip": asdict(modes.grip) if modes.grip else None,
            "wrench": asdict(modes.wrench) if modes.wrench else None,
            "fracture_risk": self.fracture_risk,
            "steps": [asdict(step) for step in self.steps],
            "levers": [asdict(lever) for lever in self.levers],
            "stiffness_Nm_per_rad": self.stiffness_Nm_per_rad,
            "stored_energy_J": self.stored_energy_J,
            "cautions": self.cautions(),
            "version": version,
        }


def explain(record: CaseRecord) -> Explanation:
    """Explain a solved case: its modes, the chain of events, and the inputs that would have helped.

    Raises:
        ContactFEError: the wrench has no section, or one cannot be found in its mesh.

    Example:
        >>> from contactfe import parse_case, solve_case
        >>> from contactfe.explain import explain
        >>> case = parse_case({"format": 1, "name": "demo", "fastener": {"size": "M10", "grade": "8.8", "stock": "bar"},
        ...                    "wrench": {"profile": "open-end"}})
        >>> explain(solve_case(case)).modes.governing.key
        'opening'
    """
    modes = failure_modes(record)
    effective = effective_slip(record, modes.wrench)
    return Explanation(
        record=record,
        modes=modes,
        effective=effective,
        steps=chain_of_events(record, modes),
        levers=levers(record, effective is not None and effective.capped),
        stiffness_Nm_per_rad=secant_stiffness(record),
        stored_energy_J=stored_energy(record),
    )


def comparison_dict(comparison: Comparison) -> dict[str, Any]:
    """A comparison as plain values."""
    return asdict(comparison) | {"difference_Nm": comparison.difference_Nm}
