"""The next pull: what the crush of one pull leaves of the fastener, and what the same wrench still delivers on it.

A pull ends at the top of its curve, where the grip is lost. What was crushed up to there stays: the depth at the cap is
a permanent set, by the rest both bodies spring back. The wrench is then carried on to its next engagement, where it
meets corners that were slipped on; all corners are taken to be worn alike, as deep as the worst of them. Displaced
material is not piled up beside the crush, and the wrench is as it was. A hand that feels the wrench go stops at the
top; a wrench that is carried right over the corners sweeps them off along its outline (``rounding_if_over``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from contactfe.case.limits import EndedBy
from contactfe.case.record import CaseRecord, record_of, solve_case
from contactfe.errors import GeometryError
from contactfe.inputs import CaseInput
from contactfe.profile import (
    Outline,
    Sector,
    as_polygon,
    equivalent_rounding,
    flat_left,
    sector_of,
    swept_floor,
    worn_outline,
)
from contactfe.turn import (
    BuiltPair,
    TorqueCurve,
    crushed_runs,
    relief,
    torque_curve,
    with_fastener,
)

MOST_PULLS = 20
EXPECTED = (
    0.5  # of the torque of the pull before: a lower top may be the rim of a dent, the march goes on past it
)
NOT_PILED = "material that the wrench displaces is not piled up beside the crush, and does not harden"
LOST = {
    "wrench": "the wrench gives way before the grip is lost, so there is no next pull with it",
    "bolt": "the bolt twists off before the grip is lost, so there is no next pull",
    "bar": "the bar yields through in torsion before the grip is lost, so there is no next pull",
    "turns-freely": "the wrench turns freely on what is left of the corners, so there is no next pull",
}


@dataclass(frozen=True, eq=False)
class Worn:
    """A fastener between two pulls: its outline and how far it is worn.

    ``rounding``: the rounding of corners turned down that would lack as much material, 0 to 1. ``flat_mm``: length of
    each flat that is left.
    """

    outline: Outline
    sector: Sector
    rounding: float
    flat_mm: float


@dataclass(frozen=True, eq=False)
class Pull:
    """One pull: its record, the fastener it began with, and its torque over that of the first pull."""

    record: CaseRecord
    before: Worn
    left: float

    @property
    def torque_Nm(self) -> float:
        return self.record.torque_Nm

    @property
    def ended_by(self) -> EndedBy:
        return self.record.ended_by


@dataclass(frozen=True, eq=False)
class PullSeries:
    """Pulls on the same corners, one after the other.

    ``after``: the fastener after the last pull, None where that pull did not wear it. ``stopped``: why there was no
    further pull, "" when all were done. ``rounding_if_over``: equivalent rounding after the first pull if the wrench had
    been carried right over the corners; None where the first pull did not end by losing the grip.
    """

    pulls: tuple[Pull, ...]
    after: Worn | None
    stopped: str
    rounding_if_over: float | None

    @property
    def outlines(self) -> tuple[Outline, ...]:
        """The fastener before each pull, and after the last one."""
        return tuple(w.outline for w in self.worn)

    @property
    def worn(self) -> tuple[Worn, ...]:
        """The states of the fastener before each pull, and after the last one."""
        return (*(p.before for p in self.pulls), *(() if self.after is None else (self.after,)))

    @property
    def next_left(self) -> float | None:
        """Share of the first torque that the second pull delivers; None where there was none."""
        return self.pulls[1].left if len(self.pulls) > 1 else None

    def answers(self) -> dict[str, Any]:
        """Columns for a study: torques of the second and the last pull, and what is left after one slip."""
        second = self.pulls[1] if len(self.pulls) > 1 else None
        return {
            "pulls_done": len(self.pulls),
            "second_pull_torque_Nm": second.torque_Nm if second else None,
            "left_after_slip": second.left if second else None,
            "rounding_after_slip": self.worn[1].rounding if len(self.worn) > 1 else None,
            "last_pull_torque_Nm": self.pulls[-1].torque_Nm,
        }

    def rows(self) -> list[dict[str, Any]]:
        """One row for each pull."""
        return [
            {
                "pull": k + 1,
                "torque_Nm": p.torque_Nm,
                "left": p.left,
                "ended_by": p.ended_by,
                "rounding_before": p.before.rounding,
                "flat_before_mm": p.before.flat_mm,
                "crush_depth_um": p.record.estimate.crush_depth_um,
            }
            for k, p in enumerate(self.pulls)
        ]

    def to_dict(self) -> dict[str, Any]:
        """Everything about the series as plain values."""
        return {
            "pulls": self.rows(),
            "rounding_after": None if self.after is None else self.after.rounding,
            "flat_after_mm": None if self.after is None else self.after.flat_mm,
            "rounding_if_over": self.rounding_if_over,
            "stopped": self.stopped,
            "notes": [*self.sentences(), NOT_PILED],
        }

    def sentences(self) -> list[str]:
        """What one slip does, what more turning would do, and why there was no further pull."""
        found = [self.sentence()]
        if self.rounding_if_over is not None:
            found.append(
                "worn as far as the top of the curve, where the grip is lost; carried right over the corners, the "
                f"wrench leaves them as on a hex rounded by {100 * self.rounding_if_over:.0f} %"
            )
        if self.stopped and self.stopped not in found:
            found.append(self.stopped)
        return found

    def sentence(self) -> str:
        """What one slip does, in words."""
        profile = self.pulls[0].record.built.case.wrench.family.words
        if len(self.worn) < 2:
            return self.stopped
        gone = f"as much of each corner is gone as on a hex rounded by {100 * self.worn[1].rounding:.0f} %"
        if self.next_left is None:
            return f"after one slip of the {profile} {gone}"
        if self.pulls[1].ended_by == "turns-freely":
            return f"after one slip the {profile} turns freely: {gone}"
        return f"after one slip the {profile} still delivers {100 * self.next_left:.0f} % of its first torque: {gone}"


def solve_pulls(case: CaseInput, pulls: int, first: CaseRecord | None = None) -> PullSeries:
    """Solve up to ``pulls`` pulls, one after the other on the same corners; ``first``: the record of the first if known.

    Only the fastener is meshed again for each pull. The series ends early where something else than the grip ended a
    pull, or where nothing is left to grip.

    Raises:
        GeometryError: corners that are not alike, or a worn outline that cannot be meshed.
        NotConverged: from a curve.
    """
    if not 1 <= pulls <= MOST_PULLS:
        raise ValueError(f"pulls is {pulls}, must be 1 to {MOST_PULLS}")
    record = solve_case(case) if first is None else first
    worn = _as_it_is(record.built)
    whole, done, over = worn, [Pull(record, worn, 1.0)], None
    while record.ended_by == "grip":
        after = _after(record, whole, worn, record.curve)
        if over is None:
            over = _rounding_if_over(record, whole)
        if len(done) == pulls:
            return PullSeries(tuple(done), after, "", over)
        built = with_fastener(record.built, after.outline)
        curve = torque_curve(built, EXPECTED * record.torque_Nm)
        record, worn = record_of(built, curve), after
        done.append(Pull(record, worn, record.torque_Nm / done[0].torque_Nm))
    return PullSeries(tuple(done), None, LOST[record.ended_by] if len(done) < pulls else "", over)


def wear_at(record: CaseRecord, torque: float) -> float:
    """Equivalent rounding (0 to 1) that one pull up to a torque (N m) leaves; at most that at the top of the curve.

    The curve is read at its solved points: the first that reaches the torque counts.
    """
    return read_wear(wear_curve(record), torque)


def wear_curve(record: CaseRecord) -> tuple[tuple[float, float], ...]:
    """Torque (N m) and the equivalent rounding (0 to 1) that a pull up to it leaves, at the solved points up to the top
    of the curve; where the wrench turns freely the fastener as it is, at no torque."""
    worn = _as_it_is(record.built)
    if record.estimate.turns_freely:
        return ((0.0, worn.rounding),)
    sector, found = worn.sector, []
    top = int(np.argmax(record.curve.torque))
    for torque, solution in zip(record.curve.torque[: top + 1], record.curve.solutions, strict=False):
        sector = sector.worn_by(crushed_runs(record.built, solution))
        found.append((float(torque), _rounding(record, worn, sector)))
    return tuple(found)


def read_wear(curve: Sequence[Sequence[float]], torque: float) -> float:
    """Equivalent rounding (0 to 1) at a torque (N m) of a `wear_curve`; at most that at its top."""
    return float(next((rounding for reached, rounding in curve if reached >= torque), curve[-1][1]))


def least_worn(records: Sequence[CaseRecord]) -> list[tuple[CaseRecord, float]]:
    """Records with the equivalent rounding that each leaves at the same torque, the gentlest first.

    The torque is the lowest that any of them delivers; those that turn freely are left out.
    """
    gripping = [r for r in records if not r.estimate.turns_freely]
    if not gripping:
        return []
    torque = min(r.torque_Nm for r in gripping)
    return sorted(((r, wear_at(r, torque)) for r in gripping), key=lambda pair: pair[1])


def _as_it_is(built: BuiltPair) -> Worn:
    fastener, pair = built.case.fastener, built.pair
    if fastener.shape == "outline":
        raise GeometryError(
            "the wear of a drawn fastener is not followed",
            where="[load] pulls",
            hint='ask for one pull, or use shape = "hex" with a rounding',
            slug="pulls-on-drawn",
        )
    sector = sector_of(pair.fastener, pair.flats, pair.first_flat)
    return Worn(pair.fastener, sector, fastener.rounding, flat_left(sector, fastener.across_flats))


def _after(
    record: CaseRecord, whole: Worn, before: Worn, curve: TorqueCurve, torque: float = math.inf
) -> Worn:
    """The fastener after a pull up to the top of its curve, or up to a torque (N m)."""
    top = int(np.argmax(curve.torque))
    reached = np.flatnonzero(curve.torque[: top + 1] >= torque)
    last = int(reached[0]) if len(reached) else top
    runs = (run for s in curve.solutions[: last + 1] for run in crushed_runs(record.built, s))
    fastener = record.built.case.fastener
    sector = before.sector.worn_by(runs)
    outline = worn_outline(whole.outline, whole.sector, sector, fastener.across_flats, fastener.corner_radius)
    return Worn(outline, sector, _rounding(record, whole, sector), flat_left(sector, fastener.across_flats))


def _rounding(record: CaseRecord, whole: Worn, sector: Sector) -> float:
    fastener = record.built.case.fastener
    lost = whole.sector.area() - sector.area()
    return equivalent_rounding(lost, fastener.across_flats, record.built.pair.flats, fastener.rounding)


def _rounding_if_over(record: CaseRecord, whole: Worn) -> float:
    """Equivalent rounding after the wrench was turned through the pitch of its opening, by its outline moved back by
    what gives elastically at the top of the curve."""
    built, curve = record.built, record.curve
    top = curve.solutions[int(np.argmax(curve.torque))]
    outline = built.rig.search.wrench.outline
    wrench = as_polygon(outline, 0.002 * built.pair.across_flats).buffer(-relief(top))
    pitch = math.tau / max(built.case.wrench.points, built.pair.flats)
    floor = swept_floor(wrench, whole.sector, built.pair.sense * pitch)
    return _rounding(record, whole, whole.sector.lowered(floor))
