"""The whole explanation of one case: what governs, by what margin, the chain that led there, and what would help."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from contactfe.case import CaseRecord, PullSeries, solve_pulls
from contactfe.explain.effects import ParameterEffect, effects
from contactfe.explain.modes import Modes, failure_modes
from contactfe.explain.sequence import Event, secant_stiffness, sequence_of_events, stored_energy
from contactfe.explain.shares import Comparison


@dataclass(frozen=True, eq=False)
class Explanation:
    """Why a pull ends where it does. When the wrench turns freely, modes, events and effects are empty; `pulls` are
    those on the same corners that the case asks for beyond the first, None where it asks for none."""

    record: CaseRecord
    modes: Modes
    events: tuple[Event, ...]
    effects: tuple[ParameterEffect, ...]
    stiffness_Nm_per_rad: float | None
    stored_energy_J: float | None
    pulls: PullSeries | None = None

    @property
    def fracture_risk(self) -> bool:
        """Whether a section of the wrench yields through before the pull ends, or ends it: a hard wrench may crack there."""
        sections = self.record.sections
        return sections is not None and sections.section_Nm <= self.record.torque_Nm

    def best(self, count: int = 3) -> tuple[ParameterEffect, ...]:
        """The inputs of a user's choice that raise the torque most."""
        return tuple(effect for effect in self.effects if effect.choice and effect.gain_Nm > 0)[:count]

    def cautions(self) -> list[str]:
        """What the reader has to keep in mind; the energy that is let go, and the general caution last."""
        found = []
        energy, stiffness = self.stored_energy_J, self.stiffness_Nm_per_rad
        if energy is not None and stiffness is not None:
            found.append(
                f"stored energy at the end: up to {energy:.2g} J in head and hex alone (T^2/2k with the secant stiffness "
                f"k = {stiffness:.0f} N m per rad; part of it goes into crushing); handle, extension and rig store "
                "more, and what is stored is released at once"
            )
        return [*found, *self.record.cautions()]

    def to_dict(self, version: str) -> dict[str, Any]:
        """Everything as plain values."""
        record, modes = self.record, self.modes
        return {
            "name": record.built.case.name,
            "held": record.held,
            **record.answers(),
            "limits": [asdict(limit) for limit in record.limits],
            "governing": modes.governing.key if modes.governing else None,
            "ties": [mode.key for mode in modes.ties],
            "modes": [asdict(mode) for mode in modes.modes],
            "grip": asdict(modes.grip) if modes.grip else None,
            "wrench": asdict(modes.wrench) if modes.wrench else None,
            "fracture_risk": self.fracture_risk,
            "events": [asdict(event) for event in self.events],
            "effects": [asdict(effect) for effect in self.effects],
            "stiffness_Nm_per_rad": self.stiffness_Nm_per_rad,
            "stored_energy_J": self.stored_energy_J,
            "cautions": self.cautions(),
            **({} if self.pulls is None else {"pulls": self.pulls.to_dict()}),
            "version": version,
        }


def explain(record: CaseRecord) -> Explanation:
    """Explain a solved case: its modes, the chain of events, and the inputs that would have helped.

    Example:
        >>> from contactfe import parse_case, solve_case
        >>> from contactfe.explain import explain
        >>> case = parse_case({"format": 1, "name": "demo", "fastener": {"size": "M10", "grade": "8.8"},
        ...                    "wrench": {"profile": "open-end"}})
        >>> explain(solve_case(case)).modes.governing.key
        'opening'
    """
    modes, case = failure_modes(record), record.built.case
    return Explanation(
        record=record,
        modes=modes,
        events=sequence_of_events(record, modes),
        effects=effects(record),
        stiffness_Nm_per_rad=secant_stiffness(record),
        stored_energy_J=stored_energy(record),
        pulls=solve_pulls(case, case.load.pulls, record) if case.load.pulls > 1 else None,
    )


def comparison_dict(comparison: Comparison) -> dict[str, Any]:
    """A comparison as plain values."""
    return asdict(comparison) | {"difference_Nm": comparison.difference_Nm}
