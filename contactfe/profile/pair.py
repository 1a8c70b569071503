"""A fastener and a wrench head placed together: what the mesher and the contact search work on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from contactfe.errors import GeometryError
from contactfe.inputs import CaseInput
from contactfe.profile.check import check_outline
from contactfe.profile.curves import Outline
from contactfe.profile.fasteners import fastener_outline
from contactfe.profile.wrenches import wrench_outline


@dataclass(frozen=True)
class ProfilePair:
    """The two outlines in the wrench's frame.

    ``fastener`` is already turned so that it enters the opening squarely. ``sense`` is +1 when the wrench turns
    anticlockwise against the fastener, -1 when clockwise. ``new_fastener`` is the unworn fastener of the same size,
    which tells where on the wrench contact is to be expected, whatever the wear. ``handle_direction`` is the angle from the axis to the
    handle, rad. ``flats`` is the number of flats that share the load, ``first_flat`` the angle of the first one.
    """

    fastener: Outline
    wrench: Outline
    new_fastener: Outline
    sense: int
    handle_direction: float
    flats: int
    first_flat: float
    across_flats: float
    opening: float


def profile_pair(case: CaseInput) -> ProfilePair:
    """Build and check the outlines of a case.

    Raises:
        GeometryError: an outline cannot be built, crosses itself, or leaves no wall.
    """
    fastener = fastener_outline(case.fastener)
    wrench = wrench_outline(case.wrench)
    # Open jaws stand above and below the axis; a flat of the fastener has to face them.
    first = math.pi / 2 if case.wrench.profile == "open-end" else 0.0
    fastener = fastener.rotated(first)
    new = replace(case.fastener, rounding=0.0, across_flats=case.fastener.across_flats_nominal)
    check_outline(fastener, "fastener")
    check_outline(wrench, "wrench")
    if not wrench.names() & {"handle-end"}:
        raise GeometryError("the wrench has no handle end for the load to act on", where="[wrench]", slug="no-handle")
    return ProfilePair(
        fastener=fastener,
        wrench=wrench,
        new_fastener=fastener_outline(new).rotated(first),
        sense=-1 if case.load.direction == "clockwise" else 1,
        handle_direction=math.pi + case.wrench.dims["offset_angle"],
        flats=4 if case.fastener.shape == "square" else 6,
        first_flat=first,
        across_flats=case.fastener.across_flats,
        opening=case.wrench.opening,
    )
