"""Whether the wrench stands what a band says: how many samples it gives way in before the grip is lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from contactfe.bands.jobs import Job
from contactfe.case import wrench_ends_at
from contactfe.turn import BuiltPair, TorqueCurve, peak


def gives_way_at(built: BuiltPair, curve: TorqueCurve) -> float | None:
    """Torque N m at which the wrench gives way before the grip is lost; None where it does not."""
    if curve.free_play is None:
        return None
    return wrench_ends_at(built, curve, peak(curve)[1])


def wrench_cautions(plain: Job, samples: Sequence[Job], weak: Mapping[Job, float]) -> list[str]:
    """What to say beside a band where wrenches give way first: `weak` holds their jobs with the torques N m."""
    found = []
    if plain in weak:
        found.append(
            f"in the plain case the wrench gives way at about {weak[plain]:.4g} N m, before the grip is lost: the "
            "band is that of the grip"
        )
    torques = [weak[job] for job in samples if job in weak]
    if torques:
        found.append(
            f"in {len(torques)} of {len(samples)} samples the wrench gives way before the grip is lost, at "
            f"{min(torques):.4g} to {max(torques):.4g} N m: their slip torques are out of its reach"
        )
    return found
