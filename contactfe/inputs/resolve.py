"""What the keys of a case mean together: defaults filled in, and problems no key has by itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..errors import ContactFEError, Problem
from ..materials import material
from ..standards import HexSize, grade, head_chamfer, size
from ..units import format_length, format_quantity
from .fields import field_of
from .model import CaseInput, ContactInput, FastenerInput, LoadInput, MeshInput
from .resolve_wrench import resolve_wrench
from .schema import Checked
from .values import read_value

SHARP_RADIUS = 0.01
"""Corner radius of a "sharp" corner over across flats: a perfectly sharp edge has no finite elastic
pressure."""
MINIMUM_RADIUS_CAP = 0.08
"""Largest corner radius of a "minimum" corner over across flats: e_min = 1.13 s_min of ISO 4759-1 gives
0.0798."""
_SMALLEST_RADIUS = 0.002
# Largest corner radius over across flats that still leaves a flat on each side, by shape (plane geometry with
# margin).
_LARGEST_RADIUS = {"hex": 0.45, "square": 0.45, "double-hex": 0.24}


class Resolver:
    """Collects problems and cautions while the values of one case are put together.

    A value that had a problem of its own stays missing without a second message.
    """

    def __init__(self, checked: Checked, folder: Path | None) -> None:
        self.values = checked.values
        self.bad = checked.bad
        self.inch = checked.inch
        self.folder = folder
        self.problems: list[Problem] = list(checked.problems)
        self.cautions: list[str] = []

    def get(self, path: str) -> Any:
        """Return the value of a key: as given, else its fixed default, else None."""
        if path in self.values:
            return self.values[path]
        field = field_of(path)
        if field is None or field.default is None:
            return None
        return read_value(field, field.default)

    def given(self, path: str) -> bool:
        """Return whether a key was written, well or badly."""
        return path in self.values or path in self.bad or path.partition(".")[0] in self.bad

    def usable(self, *paths: str) -> bool:
        """Return whether none of these keys had a problem of its own."""
        return not any(path in self.bad or path.partition(".")[0] in self.bad for path in paths)

    def problem(self, path: str, message: str, hint: str = "") -> None:
        """Record a problem of the key at a dotted path."""
        field = field_of(path)
        self.problems.append(Problem(field.where if field else path, message, hint))

    def default(self, path: str, rule: Callable[[], float | None]) -> float | None:
        """Return the given value of a key, else what the rule says; None when it had a problem of its own."""
        if path in self.values:
            return float(self.values[path])
        return rule() if self.usable(path) else None

    def outline(self, path: str) -> str | None:
        """Return the path of an outline file, which must exist when the folder of the case is known."""
        name = self.values.get(path)
        if name is None or self.folder is None:
            return None if name is None else str(name)
        file = self.folder / name
        if not file.is_file():
            self.problem(path, f'no file "{file}"', "write the name of a file beside the case file")
        return str(file)


def resolve(
    checked: Checked, *, name: str = "case", folder: Path | None = None
) -> tuple[CaseInput | None, tuple[Problem, ...]]:
    """Return the case and no problems, or None and every problem that was found."""
    if checked.bad == frozenset(["format"]):
        return None, checked.problems
    work = Resolver(checked, folder)
    fastener = _fastener(work)
    wrench = resolve_wrench(work, fastener)
    contact = _contact(work)
    load = _load(work, fastener)
    mesh = _mesh(work, fastener)
    if work.problems or fastener is None or wrench is None or mesh is None:
        return None, tuple(work.problems)
    case = CaseInput(
        str(work.get("name") or name), fastener, wrench, contact, load, mesh, tuple(work.cautions)
    )
    return case, ()


def _fastener(work: Resolver) -> FastenerInput | None:
    """Put the fastener together; None when something it cannot do without is missing or wrong."""
    shape = work.get("fastener.shape") if work.usable("fastener.shape") else "hex"
    known = size(work.values["fastener.size"]) if "fastener.size" in work.values else None
    nominal = _nominal_width(work, known, shape)
    depth = work.default("fastener.engaged_depth", lambda: known.height if known else None)
    if depth is None and nominal is not None and known is None and work.usable("fastener.engaged_depth"):
        work.problem(
            "fastener.engaged_depth", "missing", 'across_flats needs it; write engaged_depth = "6.4 mm"'
        )
    strength, kind, ratio = _strength(work, known)
    _check_outline_shape(work, shape)
    outline = work.outline("fastener.outline")
    if nominal is None:
        return None
    undersize = work.get("fastener.undersize") if work.usable("fastener.undersize") else 0.0
    if undersize > 0.25 * nominal:
        work.problem(
            "fastener.undersize",
            f"{format_length(undersize)} is above a quarter of the width",
            f"write less than {format_length(0.25 * nominal)}",
        )
    width = nominal - undersize
    core = work.default("fastener.core_radius", lambda: 0.35 * width)
    if core is not None and not 0.05 * width <= core <= 0.45 * width:
        work.problem(
            "fastener.core_radius",
            f"{format_length(core)} is outside the head",
            f"write {format_length(0.05 * width)} to {format_length(0.45 * width)}",
        )
    elastic = material(kind, 0.0)
    modulus = work.default("fastener.elastic_modulus", lambda: elastic.elastic_modulus)
    poisson = work.default("fastener.poisson_ratio", lambda: elastic.poisson)
    corner = _corner_radius(work, known, shape, width)
    rounding = work.get("fastener.rounding") if work.usable("fastener.rounding") else 0.0
    if known is not None and depth is not None and depth > known.height_max + 1e-9:
        work.cautions.append(
            f"[fastener] engaged_depth: {format_length(depth)} is more than the largest "
            f"height of {known.name}, {format_length(known.height_max)}"
        )
    stock = work.get("fastener.stock") or ("bolt" if known and known.item == "head" else "bar")
    # Zeros stand in for values whose own problem is already recorded: they let the wrench be checked as well.
    return FastenerInput(
        shape,
        known.name if known else None,
        work.get("fastener.grade"),
        nominal,
        width,
        depth or 0.0,
        strength or 0.0,
        rounding,
        corner,
        work.get("fastener.worn_side"),
        modulus or 0.0,
        poisson or 0.0,
        core or 0.0,
        outline,
        stock,
        _chamfer_angle(work, known, stock),
        ratio,
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
        return known.across_flats
    if "fastener.across_flats" in work.values:
        return float(work.values["fastener.across_flats"])
    if work.usable("fastener.size", "fastener.across_flats"):
        work.problem("fastener.size", "missing", 'write size = "M10", or across_flats and engaged_depth')
    return None


def _strength(work: Resolver, known: HexSize | None) -> tuple[float | None, str, float | None]:
    """Return the yield strength (MPa), None when it has a problem, the material of the grade, and its tensile over
    yield strength, None without a grade."""
    strength = work.values.get("fastener.yield_strength")
    name = work.values.get("fastener.grade")
    if name is None:
        if strength is None and not (work.given("fastener.grade") or work.given("fastener.yield_strength")):
            work.problem("fastener.grade", "missing", 'write grade = "8.8" or yield_strength = "640 MPa"')
        return strength, "steel", None
    try:
        found = grade(name, known.diameter if known and strength is None else None)
    except ContactFEError as error:
        work.problem("fastener.grade", error.message, error.hint)
        return None, "steel", None
    ratio = found.tensile_min / found.yield_min
    if strength is None:
        return found.yield_min, found.material, ratio
    if abs(strength - found.yield_min) > 1e-9:
        work.cautions.append(
            f"[fastener] yield_strength: {format_quantity(strength, 'stress')} replaces the least of "
            f"grade {found.name}, {format_quantity(found.yield_min, 'stress')}"
        )
    return strength, found.material, ratio


def _chamfer_angle(work: Resolver, known: HexSize | None, stock: str) -> float:
    """Return the angle of the head's chamfer (rad), 0 where there is none.

    The largest angle of the standard takes most off the engaged depth.
    """
    choice = work.get("fastener.chamfer_angle") if work.usable("fastener.chamfer_angle") else "none"
    if choice == "standard":
        bar = known is None or (known.item, stock) == ("head", "bar")
        return 0.0 if known is None or bar else head_chamfer(known.item).angle_high
    return 0.0 if choice == "none" else float(choice)


def _corner_radius(work: Resolver, known: HexSize | None, shape: str, width: float) -> float:
    """Return the radius of the unworn corner (mm)."""
    choice = work.get("fastener.corner") if work.usable("fastener.corner") else "sharp"
    sharp = SHARP_RADIUS * width
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
        for key in ("rounding", "corner", "undersize", "worn_side"):
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


def _contact(work: Resolver) -> ContactInput:
    friction, factor = work.get("contact.friction"), work.get("contact.constraint_factor")
    if work.usable("contact.friction") and not 0.04 <= friction <= 0.40:
        work.cautions.append(
            f"[contact] friction: {friction:g} is outside 0.04 to 0.40, the classes of VDI 2230"
        )
    if (
        work.usable("contact.constraint_factor")
        and not 1.0 <= factor <= 1.4
        and work.get("contact.plane") == "stress"
    ):
        work.cautions.append(
            f"[contact] constraint_factor: {factor:g} is outside 1.0 to 1.4, usual in plane stress"
        )
    return ContactInput(friction, factor, work.get("contact.plane"))


def _load(work: Resolver, fastener: FastenerInput | None) -> LoadInput:
    arm = work.get("load.lever_arm")
    arm = None if arm == "none" else arm
    if arm is not None and fastener is not None and arm < 2.0 * fastener.across_flats_nominal:
        work.problem(
            "load.lever_arm",
            f"{format_length(arm)} is less than twice the width across flats",
            f'write {format_length(2.0 * fastener.across_flats_nominal)} or more, or "none"',
        )
    return LoadInput(arm, work.get("load.direction"))


def _mesh(work: Resolver, fastener: FastenerInput | None) -> MeshInput | None:
    if fastener is None:
        return None
    width = fastener.across_flats
    fine = work.default("mesh.edge_at_contact", lambda: 0.012 * width)
    coarse = work.default("mesh.edge_max", lambda: 0.12 * width)
    if fine is None or coarse is None:
        return None
    if fine > 0.1 * width:
        work.problem(
            "mesh.edge_at_contact",
            f"{format_length(fine)} is above a tenth of across flats",
            f"write less than {format_length(0.1 * width)}",
        )
    if not fine <= coarse <= 0.5 * width:
        work.problem(
            "mesh.edge_max",
            f"{format_length(coarse)} is below edge_at_contact or above half of across flats",
            f"write {format_length(fine)} to {format_length(0.5 * width)}",
        )
    return MeshInput(fine, coarse, work.get("mesh.growth"))
