"""A fastener and a wrench head placed together: what the mesher and the contact search work on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from contactfe.errors import GeometryError
from contactfe.inputs import CaseInput
from contactfe.profile.check import TOUCHING, as_polygon, check_outline
from contactfe.profile.curves import Outline
from contactfe.profile.fasteners import fastener_outline
from contactfe.profile.files import drawn_fastener, drawn_wrench
from contactfe.profile.wrenches import wrench_outline


@dataclass(frozen=True)
class ProfilePair:
    """The two outlines in the wrench's frame.

    ``fastener`` is already turned so that it enters the opening squarely. ``sense`` is +1 when the wrench
    turns anticlockwise against the fastener, -1 when clockwise. ``new_fastener`` is the unworn fastener of
    the same size, which tells where on the wrench contact is to be expected, whatever the wear.
    ``handle_direction`` is the angle of the handle, rad. ``flats`` is the number of flats that share the
    load, ``first_flat`` the angle of the first one. ``opening`` is that of the case, for a drawn wrench the
    width that `opening_of` measures.
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
        GeometryError: an outline cannot be built, crosses itself, leaves no wall, or the drawn pair overlaps.
        InputError: the file of an outline cannot be used.
    """
    drawn = drawn_wrench(case.wrench) if case.wrench.family.drawn else None
    wrench = drawn.outline if drawn else wrench_outline(case.wrench)
    # Open jaws stand above and below the axis; a flat of the fastener has to face them.
    first = drawn.first_flat if drawn else case.wrench.family.first_flat
    fastener, new, flats = _fasteners(case)
    fastener, new = fastener.rotated(first), new.rotated(first)
    check_outline(fastener, "fastener")
    check_outline(wrench, "wrench")
    if not wrench.names() & {"handle-end"}:
        raise GeometryError(
            "the wrench has no handle end for the load to act on", where="[wrench]", slug="no-handle"
        )
    opening = case.wrench.opening
    if drawn:
        opening = opening_of(wrench, first, flats)
        if opening > 2.0 * case.fastener.across_flats_nominal:
            raise GeometryError(
                f"the opening measures {opening:.4g} mm, the fastener {case.fastener.across_flats:.4g} mm",
                where=f"[wrench] outline: {case.wrench.outline}",
                hint="check the unit of the file, or the case's size or across_flats",
                slug="outline-size",
            )
    if drawn or case.fastener.shape == "outline":
        _check_entry(fastener, wrench, case.fastener.across_flats)
    return ProfilePair(
        fastener=fastener,
        wrench=wrench,
        new_fastener=new,
        sense=turning_sense(case),
        handle_direction=_handle_direction(wrench) if drawn else math.pi + case.wrench.dims["offset_angle"],
        flats=flats,
        first_flat=first,
        across_flats=case.fastener.across_flats,
        opening=opening,
    )


def turning_sense(case: CaseInput) -> int:
    """+1 for a wrench that turns anticlockwise, -1 for a clockwise one."""
    return -1 if case.load.direction == "clockwise" else 1


def _fasteners(case: CaseInput) -> tuple[Outline, Outline, int]:
    """The fastener as it is and as it was new, a flat towards +x, and how many flats share the load."""
    if case.fastener.shape == "outline":
        drawn = drawn_fastener(case.fastener)
        return drawn.outline, drawn.outline, drawn.flats
    new = replace(case.fastener, rounding=0.0, across_flats=case.fastener.across_flats_nominal)
    outline = fastener_outline(case.fastener, turning_sense(case))
    return outline, fastener_outline(new), 4 if case.fastener.shape == "square" else 6


def opening_of(wrench: Outline, first_flat: float, flats: int) -> float:
    """Width (mm) across flats of the largest regular polygon of ``flats`` sides that stands in the opening.

    Re-entrant roundings, which corners clear, are left out where there are other edges to bear on.
    """
    u = np.linspace(0.0, 1.0, 65)
    bearing = [p for p in wrench.pieces if p.name in TOUCHING - {"root", "throat", "slot"}]
    points = np.vstack([p.points(u) for p in bearing or wrench.pieces if p.name in TOUCHING])
    angles = first_flat + math.tau * np.arange(flats) / flats
    reach = points @ np.vstack([np.cos(angles), np.sin(angles)])
    return 2.0 * float(reach.max(axis=1).min())


def _handle_direction(wrench: Outline) -> float:
    """Angle (rad) of the outward normal of the handle's end."""
    ends = [p for p in wrench.pieces if p.name == "handle-end"]
    normal = sum((p.normals(np.array([0.5]))[0] * p.length for p in ends), np.zeros(2))
    return math.atan2(normal[1], normal[0]) % math.tau


def _check_entry(fastener: Outline, wrench: Outline, across_flats: float) -> None:
    """Refuse a drawn pair whose bodies overlap by more than a thousandth of the width across flats."""
    head = shapely.Polygon(as_polygon(fastener, across_flats / 100).exterior).buffer(-1e-3 * across_flats)
    overlap = head.intersection(as_polygon(wrench, across_flats / 100))
    if overlap.is_empty:
        return
    at = overlap.representative_point()
    raise GeometryError(
        "the fastener does not enter the opening: the two overlap",
        where=f"near ({at.x:.2f}, {at.y:.2f}) mm",
        hint="make the opening wider, or check unit and first_flat of the outline files",
        slug="interference",
    )
