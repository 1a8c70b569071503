"""The wrench of a case: opening, dimensions by rule, and whether the fastener goes in."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ..errors import ContactFEError
from ..materials import elastic_source, material
from ..standards import DIMENSIONS, DefaultDim, Profile, head_defaults, opening_limits, profile
from ..units import format_length
from .model import GIVEN, FastenerInput, WrenchInput
from .resolve_fastener import CORNERS
from .resolver import Resolver
from .strength import wrench_strength

_LEAST_WALL = 0.05
# Lead-in of a drawn head over nominal across flats: the smaller of the families', engineering judgement.
_DRAWN_LEAD_IN = 0.02


def resolve_wrench(work: Resolver, fastener: FastenerInput | None) -> WrenchInput | None:
    """Put the wrench together; None when the fastener or the profile is not known."""
    name = work.values.get("wrench.profile")
    if name is None and not work.given("wrench.profile"):
        work.problem("wrench.profile", "missing", 'write profile = "ring-twelve"')
    if name is None:
        return None
    family = profile(name)
    points = _points(work, family)
    _check_outline(work, family)
    outline = work.outline("wrench.outline")
    if fastener is None:
        _check_dims(work, family, head_defaults(name, 10.0, 10.1))
        return None
    opening = _opening(work, family, fastener)
    if opening is None:
        return None
    defaults = head_defaults(name, fastener.across_flats_nominal, opening, fastener.shape, fastener.inch)
    _check_dims(work, family, defaults)
    dims = {key: float(work.values.get(f"wrench.{key}", entry.value)) for key, entry in defaults.items()}
    rules = {key: GIVEN if f"wrench.{key}" in work.values else entry.rule for key, entry in defaults.items()}
    thickness = _thickness(work, family, dims, rules)
    work.origins.update({f"wrench.{key}": rule for key, rule in rules.items()})
    _check_fit(work, family, points, fastener)
    _check_opening(work, family, points, (fastener, opening))
    _check_head(work, family, fastener, opening, dims)
    if thickness is not None and thickness < fastener.engaged_depth:
        work.cautions.append(
            f"[wrench] thickness: {format_length(thickness)} is less than the engaged depth, "
            f"{format_length(fastener.engaged_depth)}; a head bears on no more than its own thickness"
        )
    steel, why = material("steel", 0.0), f"steel; {elastic_source('steel')}"
    modulus = work.default("wrench.elastic_modulus", lambda: steel.elastic_modulus, why)
    poisson = work.default("wrench.poisson_ratio", lambda: steel.poisson, why)
    return WrenchInput(
        name,
        opening,
        points,
        thickness or 0.0,
        wrench_strength(work),
        modulus or 0.0,
        poisson or 0.0,
        tuple(sorted(dims.items())),
        tuple(sorted(rules.items())),
        outline,
        _lead_in(work, family, fastener),
    )


def _lead_in(work: Resolver, family: Profile, fastener: FastenerInput) -> float:
    """Return the depth of the chamfer at the mouth of the opening (mm), 0 for none."""
    choice = work.get("wrench.lead_in") if work.usable("wrench.lead_in") else "none"
    if choice == "none":
        return 0.0
    share = family.lead_in or _DRAWN_LEAD_IN
    length = share * fastener.across_flats_nominal if choice == "standard" else float(choice)
    if length > 0.5 * fastener.engaged_depth:
        work.problem(
            "wrench.lead_in",
            f"{format_length(length)} is more than half of the engaged depth",
            f"write {format_length(0.5 * fastener.engaged_depth)} or less",
        )
    return length


def _points(work: Resolver, family: Profile) -> int:
    points = work.values.get("wrench.points")
    if not family.points_choices:
        if points is not None:
            work.problem(
                "wrench.points",
                f'has no use with profile = "{family.name}"',
                "only flare-nut takes it; remove it",
            )
        work.origins["wrench.points"] = "of the profile"
        return family.points
    if points is not None and points not in family.points_choices:
        work.problem("wrench.points", f"{points} is neither 6 nor 12", "write points = 6 or points = 12")
    work.origins.setdefault("wrench.points", f"default: {family.points}")
    return int(points or family.points)


def _check_outline(work: Resolver, family: Profile) -> None:
    if family.drawn and not work.given("wrench.outline"):
        work.problem(
            "wrench.outline", "missing", 'profile = "outline" needs the file: outline = "wrench.toml"'
        )
    elif not family.drawn and work.given("wrench.outline"):
        work.problem(
            "wrench.outline",
            f'has no use with profile = "{family.name}"',
            'write profile = "outline" or remove it',
        )


def _check_dims(work: Resolver, family: Profile, defaults: Mapping[str, DefaultDim]) -> None:
    """Record every dimension that was given but that the profile does not have."""
    own = [name for name in defaults if name != "thickness"]
    for name in DIMENSIONS:
        if name not in own and f"wrench.{name}" in work.values:
            work.problem(
                f"wrench.{name}",
                f"{family.name} has no such dimension",
                f"it has: {', '.join(own)}" if own else "its file holds the whole head; remove the key",
            )


def _thickness(
    work: Resolver, family: Profile, dims: dict[str, float], rules: dict[str, str]
) -> float | None:
    """Take the thickness out of the dimensions; its rule stays."""
    given = work.values.get("wrench.thickness")
    rules["thickness"] = GIVEN if given is not None else rules.get("thickness", "")
    by_rule = dims.pop("thickness", None)
    if given is None and by_rule is None and work.usable("wrench.thickness"):
        work.problem(
            "wrench.thickness", "missing", f'profile = "{family.name}" needs it; write thickness = "11 mm"'
        )
    return given if given is not None else by_rule


def _opening(work: Resolver, family: Profile, fastener: FastenerInput) -> float | None:
    """Return the width of the opening (mm), None when it has a problem.

    An outline's file holds its opening: the nominal width stands in.
    """
    wanted = work.get("wrench.opening")
    if not work.usable("wrench.opening"):
        return None
    if family.drawn:
        work.origins["wrench.opening"] = "measured in the outline"
        if work.given("wrench.opening"):
            work.problem(
                "wrench.opening", "does not apply to an outline", "draw it in the outline, remove the key"
            )
        return fastener.across_flats_nominal
    try:
        limits = opening_limits(fastener.across_flats_nominal, fastener.inch)
    except ContactFEError as error:
        if isinstance(wanted, float):
            return wanted
        work.problem("wrench.opening", error.message, error.hint)
        return None
    if not isinstance(wanted, float):
        if not work.given("wrench.opening"):
            ends = f"{limits.lower:.2f} to {limits.upper:.2f} mm"
            work.origins["wrench.opening"] = f"default: {wanted} of {ends}, {limits.source}"
        return {"tight": limits.lower, "middle": limits.middle, "loose": limits.upper}[wanted]
    if not limits.lower - 1e-9 <= wanted <= limits.upper + 1e-9:
        work.cautions.append(
            f"[wrench] opening: {format_length(wanted)} is outside {format_length(limits.lower)} "
            f"to {format_length(limits.upper)} ({limits.source})"
        )
    return wanted


def _check_fit(work: Resolver, family: Profile, points: int, fastener: FastenerInput) -> None:
    """Record shapes that cannot enter a profile whatever the width."""
    if family.drawn or not work.usable("fastener.shape"):
        return
    if fastener.shape == "square" and not family.takes_square:
        work.problem(
            "wrench.profile", f"a square head does not enter {family.name}", 'write profile = "open-end"'
        )
    if fastener.shape == "double-hex" and points != 12:
        work.problem(
            "wrench.profile",
            f"a double-hex head does not enter {family.name} with {points or 2} sides",
            "write ring-twelve, ring-spline, or flare-nut with points = 12",
        )


def _check_opening(work: Resolver, family: Profile, points: int, pair: tuple[FastenerInput, float]) -> None:
    """Record an opening the fastener does not enter, or in which a new one spins."""
    fastener, opening = pair
    if family.drawn or fastener.shape not in CORNERS:
        return
    shown, width = format_length(opening), format_length(fastener.across_flats)
    corners = CORNERS[fastener.shape] * fastener.across_flats_nominal
    # The ridges of a twelve-point opening stand S / cos 15 deg apart (plane geometry, sharp ridges).
    most = corners * math.cos(math.pi / 12) if points == 12 else corners
    if opening < fastener.across_flats - 1e-9:
        work.problem(
            "wrench.opening",
            f"{shown} is smaller than the fastener, {width} across flats (interference)",
            f"write {width} or more, or give the fastener an undersize",
        )
    elif opening >= most:
        work.problem(
            "wrench.opening",
            f"{shown} lets a new {fastener.shape} of this size spin freely ({corners:.4g} mm across corners)",
            f"write less than {most:.4g} mm",
        )


def _check_head(
    work: Resolver, family: Profile, fastener: FastenerInput, opening: float, dims: Mapping[str, float]
) -> None:
    """Record dimensions that leave no wall, or that the opening or the fastener runs into."""
    wall = _LEAST_WALL * fastener.across_flats_nominal
    if family.is_ring:
        least = 2.0 * (opening / math.sqrt(3.0) + wall)
        if dims["outside_diameter"] < least:
            _too_small(
                work, "outside_diameter", dims["outside_diameter"], least, "leaves no wall over the corners"
            )
    if "bearing_reach" in dims:
        _too_large(work, "bearing_reach", dims["bearing_reach"], 0.28 * opening, "leaves no flank to relieve")
    if "slot_width" in dims:
        _too_large(work, "slot_width", dims["slot_width"], 0.95 * opening, "leaves no flank beside the slot")
    if "head_width" in dims:
        least = opening + 2.0 * wall
        if dims["head_width"] < least:
            _too_small(work, "head_width", dims["head_width"], least, "leaves no wall beside the jaws")
        reach = fastener.across_flats / (2.0 if fastener.shape == "square" else math.sqrt(3.0))
        if fastener.shape != "outline" and dims["throat_depth"] < reach:
            _too_small(
                work, "throat_depth", dims["throat_depth"], reach, "lets the fastener run into the throat"
            )


def _too_small(work: Resolver, name: str, value: float, least: float, why: str) -> None:
    work.problem(
        f"wrench.{name}", f"{value:.6g} mm {why}", f"write {math.ceil(least * 1000.0) / 1000.0:g} mm or more"
    )


def _too_large(work: Resolver, name: str, value: float, most: float, why: str) -> None:
    if value > most:
        work.problem(
            f"wrench.{name}",
            f"{value:.6g} mm {why}",
            f"write {math.floor(most * 1000.0) / 1000.0:g} mm or less",
        )
