"""What two cases may differ in, one factor after another, and cases that take some factors from one and some from the
other.

Lengths of shape are taken relative to the nominal width across flats, so that a change of size alone leaves the shape.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from contactfe.inputs import CaseInput, WrenchInput

CLOSE = 1e-9
ANGLES = frozenset({"offset_angle", "relief_angle", "lobe_angle"})
BEARING = frozenset(
    {
        "root_radius",
        "ridge_radius",
        "edge_radius",
        "bearing_reach",
        "relief_angle",
        "lobe_angle",
        "slot_width",
        "jaw_reach",
        "jaw_depth",
    }
)
"""Dimensions of a head that shape where it bears; the others shape how much it gives."""

Traits = Mapping[str, Any]


@dataclass(frozen=True)
class Factor:
    """One thing that two cases may differ in: its key, what it is called, and its values in a case."""

    key: str
    words: str
    traits: Callable[[CaseInput], Traits]


def _size(c: CaseInput) -> Traits:
    return {"s": c.fastener.across_flats_nominal}


def _clearance(c: CaseInput) -> Traits:
    s = c.fastener.across_flats_nominal
    return {"opening": c.wrench.opening / s, "left": c.fastener.across_flats / s}


def _corner(c: CaseInput) -> Traits:
    f = c.fastener
    return {
        "rounding": f.rounding,
        "worn_side": f.worn_side if f.rounding > 0 else "both",
        "corner": f.corner_radius / f.across_flats_nominal,
    }


def _shape(c: CaseInput) -> Traits:
    f = c.fastener
    return {"shape": f.shape, "outline": f.outline, "core": f.core_radius / f.across_flats_nominal}


def _held(c: CaseInput) -> Traits:
    """Of a bolt the thread and grade that its shank has; a bar has the section and strength of its head."""
    f = c.fastener
    if f.stock != "bolt":
        return {"stock": f.stock, "size": None, "grade": None}
    return {"stock": f.stock, "size": f.size, "grade": f.grade}


def _profile(c: CaseInput) -> Traits:
    return {
        "profile": c.wrench.profile,
        "points": c.wrench.points,
        "outline": c.wrench.outline,
        **_dims(c, bearing=True),
    }


def _head(c: CaseInput) -> Traits:
    return _dims(c, bearing=False)


def _dims(c: CaseInput, bearing: bool) -> dict[str, float]:
    s = c.fastener.across_flats_nominal
    return {n: v if n in ANGLES else v / s for n, v in c.wrench.dims_items if (n in BEARING) == bearing}


FACTORS: tuple[Factor, ...] = (
    Factor("size", "size", _size),
    Factor("profile", "profile of the opening", _profile),
    Factor("head", "outside of the head", _head),
    Factor("clearance", "clearance", _clearance),
    Factor("corner", "wear and radius of the corners", _corner),
    Factor("shape", "shape of the fastener", _shape),
    Factor("thickness", "thickness of the head", lambda c: {"thickness": c.wrench.thickness}),
    Factor(
        "depth",
        "engaged depth and chamfers",
        lambda c: {
            "depth": c.fastener.engaged_depth,
            "chamfer": c.fastener.chamfer_angle,
            "lead_in": c.wrench.lead_in,
        },
    ),
    Factor(
        "yield",
        "yield strengths",
        lambda c: {"fastener": c.fastener.yield_strength, "wrench": c.wrench.yield_strength},
    ),
    Factor("held", "what is held below the head", _held),
    Factor("friction", "friction", lambda c: {"friction": c.contact.friction}),
    Factor(
        "elastic",
        "elastic constants",
        lambda c: {
            "ef": c.fastener.elastic_modulus,
            "nf": c.fastener.poisson,
            "ew": c.wrench.elastic_modulus,
            "nw": c.wrench.poisson,
            "plane": c.contact.plane,
        },
    ),
    Factor(
        "hand", "how the wrench is pulled", lambda c: {"arm": c.load.lever_arm, "direction": c.load.direction}
    ),
    Factor("cap", "constraint factor of the model", lambda c: {"factor": c.contact.constraint_factor}),
    Factor(
        "mesh",
        "mesh",
        lambda c: {
            "fine": c.mesh.edge_at_contact / c.fastener.across_flats,
            "coarse": c.mesh.edge_max / c.fastener.across_flats,
            "growth": c.mesh.growth,
        },
    ),
)


def changed(one: CaseInput, other: CaseInput) -> tuple[Factor, ...]:
    """The factors in which two cases differ. Heads of two profiles have other dimensions: they go with the profile."""
    different = tuple(f for f in FACTORS if not _same(f.traits(one), f.traits(other)))
    if _drawn(one, other) and math.isclose(_clearance(one)["left"], _clearance(other)["left"], rel_tol=CLOSE):
        different = tuple(f for f in different if f.key != "clearance")
    if _merged(one, other):
        different = tuple(f for f in different if f.key != "head")
    return different


def mixed(one: CaseInput, other: CaseInput, switched: frozenset[str]) -> CaseInput:
    """The first case with the switched factors (by key) taken from the second."""
    if _merged(one, other):
        switched = switched - {"head"} | ({"head"} if "profile" in switched else frozenset())

    def of(key: str) -> CaseInput:
        return other if key in switched else one

    t = {f.key: f.traits(of(f.key)) for f in FACTORS}
    s = t["size"]["s"]
    width = _at_width(of("clearance"), of("clearance").fastener.across_flats, s)
    opening_of = of("profile" if _drawn(one, other) else "clearance")  # a drawn opening comes with its file
    fastener = replace(
        of("shape").fastener,
        size=t["held"]["size"],
        grade=t["held"]["grade"],
        stock=t["held"]["stock"],
        across_flats_nominal=s,
        across_flats=width,
        engaged_depth=t["depth"]["depth"],
        yield_strength=t["yield"]["fastener"],
        rounding=t["corner"]["rounding"],
        worn_side=t["corner"]["worn_side"],
        corner_radius=_at_width(of("corner"), of("corner").fastener.corner_radius, s),
        core_radius=_at_width(of("shape"), of("shape").fastener.core_radius, s),
        chamfer_angle=t["depth"]["chamfer"],
        elastic_modulus=t["elastic"]["ef"],
        poisson=t["elastic"]["nf"],
    )
    wrench = _mixed_wrench(
        (of("profile"), of("head")), t, _at_width(opening_of, opening_of.wrench.opening, s)
    )
    contact = replace(
        one.contact,
        friction=t["friction"]["friction"],
        constraint_factor=t["cap"]["factor"],
        plane=t["elastic"]["plane"],
    )
    own = of("mesh").fastener.across_flats
    mesh = replace(
        one.mesh,
        edge_at_contact=_in_proportion(of("mesh").mesh.edge_at_contact, own, width),
        edge_max=_in_proportion(of("mesh").mesh.edge_max, own, width),
        growth=t["mesh"]["growth"],
    )
    return replace(
        one,
        name="",
        cautions=(),
        fastener=fastener,
        wrench=wrench,
        contact=contact,
        load=of("hand").load,
        mesh=mesh,
    )


def _in_proportion(value: float, own: float, wanted: float) -> float:
    """A length that goes with a width (mm), at another width; at its own one it stays as it is, to the last bit."""
    return value if own == wanted else value / own * wanted


def _at_width(case: CaseInput, value: float, s: float) -> float:
    """A length (mm) of a case at another nominal width across flats s (mm)."""
    return _in_proportion(value, case.fastener.across_flats_nominal, s)


def _mixed_wrench(
    heads: tuple[CaseInput, CaseInput], t: Mapping[str, Mapping[str, Any]], opening: float
) -> WrenchInput:
    """The wrench of the case that gives the profile, the outside of its head from the second one of ``heads``, with the
    traits ``t`` of every factor and an opening (mm)."""
    named, s = heads[0], t["size"]["s"]

    def dimension(name: str) -> float:
        case = heads[0] if name in BEARING else heads[1]
        value = case.wrench.dims[name]
        return value if name in ANGLES else _at_width(case, value, s)

    return replace(
        named.wrench,
        opening=opening,
        thickness=t["thickness"]["thickness"],
        yield_strength=t["yield"]["wrench"],
        lead_in=t["depth"]["lead_in"],
        elastic_modulus=t["elastic"]["ew"],
        poisson=t["elastic"]["nw"],
        dims_items=tuple((n, dimension(n)) for n, _ in named.wrench.dims_items),
    )


def _merged(one: CaseInput, other: CaseInput) -> bool:
    """Whether the outside of the head cannot be taken from one and its opening from the other."""
    return one.wrench.profile != other.wrench.profile or _drawn(one, other)


def _drawn(one: CaseInput, other: CaseInput) -> bool:
    """Whether one of the two wrenches is drawn."""
    return "outline" in (one.wrench.profile, other.wrench.profile)


def _same(one: Traits, other: Traits) -> bool:
    if one.keys() != other.keys():
        return False
    return all(_equal(one[k], other[k]) for k in one)


def _equal(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= CLOSE * max(abs(a), abs(b), 1.0)
    return bool(a == b)
