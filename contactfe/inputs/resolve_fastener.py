"""The fastener of a case: width, wear, corner, depth, and what is held below the head."""

from __future__ import annotations

import math

from ..materials import elastic_source, material
from ..standards import HexSize, head_chamfer, size
from ..units import format_length
from .model import FastenerInput
from .resolver import Resolver
from .strength import fastener_strength

SHARP_RADIUS = 0.01
"""Corner radius of a "sharp" corner over across flats: a perfectly sharp edge has no finite elastic
pressure."""
MINIMUM_RADIUS_CAP = 0.08
"""Largest corner radius of a "minimum" corner over across flats: e_min = 1.13 s_min of ISO 4759-1 gives
0.0798."""
CORNERS = {"hex": 2.0 / math.sqrt(3.0), "double-hex": 2.0 / math.sqrt(3.0), "square": math.sqrt(2.0)}
"""Across corners over across flats of the sharp shape (plane geometry)."""
_SMALLEST_RADIUS = 0.002
# Largest corner radius over across flats that still leaves a flat on each side, by shape (plane geometry with
# margin).
_LARGEST_RADIUS = {"hex": 0.45, "square": 0.45, "double-hex": 0.24}
_NOMINAL = (
    "nominal, which is the largest: tolerances of heads (ISO 4759-1) and of drawn bars (h) are all minus"
)


def resolve_fastener(work: Resolver) -> FastenerInput | None:
    """Put the fastener together; None when something it cannot do without is missing or wrong."""
    shape = work.get("fastener.shape") if work.usable("fastener.shape") else "hex"
    known = size(work.values["fastener.size"]) if "fastener.size" in work.values else None
    nominal = _nominal_width(work, known, shape)
    depth = _depth(work, known, nominal)
    strength = fastener_strength(work, known, nominal)
    _check_outline_shape(work, shape)
    outline = work.outline("fastener.outline")
    if nominal is None:
        return None
    width = nominal - _undersize(work, nominal)
    core = _core(work, width)
    elastic = material(strength.material, 0.0)
    why = f"{strength.material}; {elastic_source(strength.material)}"
    modulus = work.default("fastener.elastic_modulus", lambda: elastic.elastic_modulus, why)
    poisson = work.default("fastener.poisson_ratio", lambda: elastic.poisson, why)
    corner = _corner_radius(work, known, shape, width)
    # Zeros stand in for values whose own problem is already recorded: they let the wrench be checked as well.
    return FastenerInput(
        shape,
        known.name if known else None,
        work.get("fastener.grade"),
        nominal,
        width,
        depth or 0.0,
        strength.value or 0.0,
        _rounding(work, shape, width),
        corner,
        work.get("fastener.worn_side"),
        modulus or 0.0,
        poisson or 0.0,
        core or 0.0,
        outline,
        work.get("fastener.stock") or "bar",
        _chamfer_angle(work, known),
        strength.tensile_ratio,
        known.inch if known else work.inch,
    )


def _nominal_width(work: Resolver, known: HexSize | None, shape: str) -> float | None:
    if work.given("fastener.size") and work.given("fastener.across_flats"):
        if "fastener" not in work.bad:
            work.problem("fastener.across_flats", "stands beside size", "keep one of the two")
        return None
    if known is not None:
        if shape in ("square", "double-hex"):
            work.problem(
                "fastener.size",
                f"the sizes are hexagons, but the shape is {shape}",
                "give across_flats and engaged_depth instead",
            )
        work.origins["fastener.across_flats"] = f"{known.name}, {known.source}: {_NOMINAL}"
        return known.across_flats
    if "fastener.across_flats" in work.values:
        return float(work.values["fastener.across_flats"])
    if work.usable("fastener.size", "fastener.across_flats"):
        work.problem("fastener.size", "missing", 'write size = "M10", or across_flats and engaged_depth')
    return None


def _depth(work: Resolver, known: HexSize | None, nominal: float | None) -> float | None:
    """Return the engaged depth (mm), None when it has a problem."""
    why = f"nominal height of {known.name}, {known.source}" if known else ""
    depth = work.default("fastener.engaged_depth", lambda: known.height if known else None, why)
    if depth is None and nominal is not None and known is None and work.usable("fastener.engaged_depth"):
        work.problem(
            "fastener.engaged_depth", "missing", 'across_flats needs it; write engaged_depth = "6.4 mm"'
        )
    if known is not None and depth is not None and depth > known.height_max + 1e-9:
        work.cautions.append(
            f"[fastener] engaged_depth: {format_length(depth)} is more than the largest "
            f"height of {known.name}, {format_length(known.height_max)}"
        )
    return depth


def _undersize(work: Resolver, nominal: float) -> float:
    undersize = float(work.get("fastener.undersize")) if work.usable("fastener.undersize") else 0.0
    if undersize > 0.25 * nominal:
        work.problem(
            "fastener.undersize",
            f"{format_length(undersize)} is above a quarter of the width",
            f"write less than {format_length(0.25 * nominal)}",
        )
    return undersize


def _core(work: Resolver, width: float) -> float | None:
    why = "0.35 x across flats: stock goes on beyond the grip, a shank is about that thick"
    core = work.default("fastener.core_radius", lambda: 0.35 * width, why)
    if core is not None and not 0.05 * width <= core <= 0.45 * width:
        work.problem(
            "fastener.core_radius",
            f"{format_length(core)} is outside the head",
            f"write {format_length(0.05 * width)} to {format_length(0.45 * width)}",
        )
    return core


def _rounding(work: Resolver, shape: str, width: float) -> float:
    """Return the rounding (0 to 1): as given, or r = (e - d) / (e - s) from the width d measured across corners."""
    path = "fastener.across_corners"
    rounding = float(work.get("fastener.rounding")) if work.usable("fastener.rounding") else 0.0
    if path not in work.values or shape not in CORNERS:
        return rounding
    if work.given("fastener.rounding"):
        work.problem(path, "stands beside rounding", "keep one of the two")
        return rounding
    if work.values.get("fastener.worn_side") == "driven":
        work.problem(path, "does not tell wear of one side of each corner", "give rounding instead")
        return rounding
    measured, sharp = float(work.values[path]), CORNERS[shape] * width
    if not width <= measured <= sharp * (1.0 + 1e-9):
        what = "more than sharp corners have" if measured > sharp else "less than the width across flats"
        work.problem(
            path,
            f"{format_length(measured)} is {what} ({format_length(width)} across flats)",
            f"write {width:.5g} mm to {sharp:.5g} mm",
        )
        return rounding
    found = min(max((sharp - measured) / (sharp - width), 0.0), 1.0)
    work.origins["fastener.rounding"] = (
        f"from across_corners {format_length(measured)}: (e - d)/(e - s) with e = {sharp:.5g} mm, s = {width:.5g} mm"
    )
    return found


def _chamfer_angle(work: Resolver, known: HexSize | None) -> float:
    """Return the angle of the head's chamfer (rad), 0 where there is none.

    The largest angle of the standard takes most off the engaged depth.
    """
    choice = work.get("fastener.chamfer_angle") if work.usable("fastener.chamfer_angle") else "none"
    if choice == "standard":
        bar = known is None or (known.item == "head" and work.values.get("fastener.stock") == "bar")
        return 0.0 if known is None or bar else head_chamfer(known.item).angle_high
    return 0.0 if choice == "none" else float(choice)


def _corner_radius(work: Resolver, known: HexSize | None, shape: str, width: float) -> float:
    """Return the radius of the unworn corner (mm)."""
    choice = work.get("fastener.corner") if work.usable("fastener.corner") else "sharp"
    sharp = SHARP_RADIUS * width
    if not work.given("fastener.corner"):
        work.origins["fastener.corner"] = "default: sharp, 0.01 x across flats"
    if choice == "sharp":
        return sharp
    if choice == "minimum":
        cap = MINIMUM_RADIUS_CAP * width
        if known is None or shape != "hex":
            return cap
        # A fillet of radius r takes r (2/sqrt(3) - 1) off each corner of a hexagon.
        loss = (2.0 / math.sqrt(3.0) * width - known.across_corners_min) / 2.0
        return min(cap, max(sharp, loss / (2.0 / math.sqrt(3.0) - 1.0)))
    radius = float(choice)
    low, high = _SMALLEST_RADIUS * width, _LARGEST_RADIUS.get(shape, 0.45) * width
    if radius < low - 1e-12:
        work.problem(
            "fastener.corner",
            f"{format_length(radius)} has no finite elastic pressure",
            f'write "sharp" for {format_length(sharp)}, or {format_length(low)} or more',
        )
    elif radius > high:
        work.problem(
            "fastener.corner",
            f"{format_length(radius)} leaves no flat",
            f"write less than {format_length(high)}; wear is written as rounding",
        )
    return radius


def _check_outline_shape(work: Resolver, shape: str) -> None:
    if shape == "outline":
        if not work.given("fastener.outline"):
            work.problem(
                "fastener.outline", "missing", 'shape = "outline" needs the file: outline = "head.toml"'
            )
        for key in ("rounding", "across_corners", "corner", "undersize", "worn_side"):
            if f"fastener.{key}" in work.values:
                work.problem(
                    f"fastener.{key}",
                    "does not apply to an outline",
                    "draw it in the outline, remove the key",
                )
    elif work.given("fastener.outline") and work.usable("fastener.shape"):
        work.problem(
            "fastener.outline", f'has no use with shape = "{shape}"', 'write shape = "outline" or remove it'
        )


def size_words(fastener: FastenerInput) -> str:
    """Return thread size and width across flats of a fastener, which are easily taken for each other.

    "M10 thread, 16 mm across flats"; "7/16 in thread, 5/8 in (15.88 mm) across flats"; without a size the width alone.
    """
    width = _width_words(fastener)
    if fastener.size is None:
        return f"{width} across flats"
    name = fastener.size.removesuffix(" nut")
    return f"{name} {'nut' if name != fastener.size else 'thread'}, {width} across flats"


def held_words(fastener: FastenerInput) -> str:
    """Return what is held below the head: "solid bar" or "bolt"."""
    return "bolt" if fastener.stock == "bolt" else "solid bar"


def _width_words(fastener: FastenerInput) -> str:
    nominal = fastener.across_flats_nominal
    if not fastener.inch:
        return f"{nominal:.5g} mm"
    sixteenths = nominal / 25.4 * 16.0
    if abs(sixteenths - round(sixteenths)) > 1e-6:
        return f"{nominal / 25.4:.4g} in ({nominal:.4g} mm)"
    whole, rest = divmod(round(sixteenths), 16)
    common = math.gcd(rest, 16)
    fraction = f"{rest // common}/{16 // common}" if rest else ""
    return (
        f"{'-'.join(part for part in (str(whole) if whole else '', fraction) if part)} in ({nominal:.4g} mm)"
    )
