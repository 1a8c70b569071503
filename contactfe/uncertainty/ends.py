"""What ends the pull in every sample: the grip, the wrench, or the bolt or bar that is held below the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from contactfe.case import EndedBy
from contactfe.inputs import CaseInput
from contactfe.strength import TwistOff, twist_off

Array = NDArray[np.float64]

CAUSES: tuple[EndedBy, ...] = ("grip", "wrench", "bolt", "bar", "turns-freely")


@dataclass(frozen=True, eq=False)
class Ends:
    """Torques N m (n,) at which n samples end. Arrays are read-only.

    `grip_Nm`: the grip is lost; 0 where the wrench turns freely, nan where no curve was found. `wrench_Nm`: the wrench
    gives way, inf where that is far above the grip. `held_Nm`: what is held below the head, a "bolt" or a "bar"
    (`held`), twists off; None where that is not known, and `unknown` says why.
    """

    grip_Nm: Array
    wrench_Nm: Array
    held_Nm: Array | None
    held: Literal["bolt", "bar"] | None
    unknown: str = ""

    def __post_init__(self) -> None:
        for array in (self.grip_Nm, self.wrench_Nm, self.held_Nm):
            if array is not None:
                array.setflags(write=False)

    @cached_property
    def _limits(self) -> Array:
        held = np.full(len(self.grip_Nm), np.inf) if self.held_Nm is None else self.held_Nm
        return np.stack([self.grip_Nm, self.wrench_Nm, held])

    @cached_property
    def torque_Nm(self) -> Array:
        """Torque that each sample delivers (n,): its lowest limit; 0 where it turns freely, nan without an answer."""
        found = np.asarray(self._limits.min(axis=0))  # nan where one is
        found.setflags(write=False)
        return found

    @cached_property
    def ended_by(self) -> tuple[EndedBy | None, ...]:
        """What ends each sample (n); None without an answer."""
        kinds: list[EndedBy] = ["grip", "wrench", self.held or "bar"]
        first = np.argmin(np.where(np.isnan(self._limits), -np.inf, self._limits), axis=0)
        return tuple(
            None if np.isnan(torque) else "turns-freely" if torque <= 0.0 else kinds[k]
            for torque, k in zip(self.torque_Nm, first, strict=True)
        )

    def count(self, *causes: EndedBy) -> int:
        """How many samples end by one of some causes."""
        return sum(self.ended_by.count(cause) for cause in causes)

    def rows(self, which: slice) -> Ends:
        """Some of the samples."""
        held = None if self.held_Nm is None else self.held_Nm[which].copy()
        return Ends(self.grip_Nm[which].copy(), self.wrench_Nm[which].copy(), held, self.held, self.unknown)


def ends_of(torques: Array, cases: Sequence[CaseInput], strong: Array | None) -> Ends:
    """The ends of some cases from the torques (n, 2) at which grip and wrench end them.

    `strong` (n,) tells how far up its band of strength what is held lies, from 0 to 1; None: at its least strength,
    which counts for the plain case.
    """
    found = [twist_off(case.fastener) for case in cases]
    grip, wrench = torques[:, 0].copy(), torques[:, 1].copy()
    first = found[0]
    if first is None:
        return Ends(grip, wrench, None, None, "what is held below the head has no torsion rule")
    if any(one is None or one.torque_Nm is None for one in found):
        return Ends(grip, wrench, None, None, first.note)
    held = [
        _held(one, 0.0 if strong is None else float(strong[k]))
        for k, one in enumerate(found)
        if one is not None
    ]
    return Ends(grip, wrench, np.array(held), first.kind)


def _held(one: TwistOff, strong: float) -> float:
    assert one.torque_Nm is not None
    if one.band_Nm is None:
        return one.torque_Nm
    low, high = one.band_Nm
    return low + strong * (high - low)
