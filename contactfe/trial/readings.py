"""Readings of destructive torque tests: what was pulled, at which torque it ended, and what ended it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Ending = Literal[
    "slipped", "wrench broke", "wrench bent", "bolt twisted off", "sensor out of range", "stopped"
]
ENDINGS: tuple[Ending, ...] = get_args(Ending)
"""What may have happened at the end of a pull. All but the first leave the torque as "at least"."""


@dataclass(frozen=True, order=True)
class Condition:
    """What a wrench was pulled on. Lengths mm, stress MPa, `rounding` 0 to 1; None where nothing is said.

    A yield strength beside a grade is a measurement of the bar and no condition of its own.
    """

    size: str | None = None
    across_flats_mm: float | None = None
    grade: str | None = None
    yield_MPa: float | None = None
    rounding: float | None = None
    engaged_depth_mm: float | None = None

    def words(self) -> str:
        """The condition in one line: "M10, 8.8, 20 % rounded"."""
        parts = [self.size] if self.size else []
        parts += [f"{self.across_flats_mm:g} mm"] if self.across_flats_mm is not None else []
        parts += [self.grade] if self.grade else []
        parts += [f"yield {self.yield_MPa:g} MPa"] if self.yield_MPa is not None else []
        parts += [f"{100 * self.rounding:.4g} % rounded"] if self.rounding is not None else []
        parts += [f"{self.engaged_depth_mm:g} mm deep"] if self.engaged_depth_mm is not None else []
        return ", ".join(parts)

    def sort_key(self) -> tuple[tuple[bool, float | str], ...]:
        """To order conditions by size, grade and rounding, whatever is missing."""
        values = (
            self.size,
            self.across_flats_mm,
            self.grade,
            self.yield_MPa,
            self.rounding,
            self.engaged_depth_mm,
        )
        return tuple((v is not None, v if v is not None else 0.0) for v in values)


@dataclass(frozen=True)
class Reading:
    """One pull. `torque_Nm` is the largest torque; `measured_yield_MPa` that of its bar, None where not measured.

    `line` is its line in the file, `pull` its number within design and condition (None: not numbered), `bar` the
    bar of stock that its specimen was cut from.
    """

    design: str
    condition: Condition
    torque_Nm: float
    ending: Ending = "slipped"
    pull: int | None = None
    bar: str = ""
    measured_yield_MPa: float | None = None
    note: str = ""
    line: int = 0

    @property
    def at_least(self) -> bool:
        """Whether the wrench would have held more: something else than slip ended the pull."""
        return self.ending != "slipped"


@dataclass(frozen=True)
class Readings:
    """All readings of a file, in its order. `pending` are the lines of rows that nobody has filled in yet."""

    title: str
    readings: tuple[Reading, ...]
    pending: tuple[int, ...] = ()
    source: str = ""
    notes: tuple[str, ...] = ()

    def designs(self) -> tuple[str, ...]:
        """The designs in the order in which they first appear."""
        return tuple(dict.fromkeys(r.design for r in self.readings))

    def conditions(self) -> tuple[Condition, ...]:
        """The conditions, in order of size, grade and rounding."""
        return tuple(sorted({r.condition for r in self.readings}, key=Condition.sort_key))
