"""A resolved case as plain text values with units, for JSON. Equal cases give equal records."""

from __future__ import annotations

from typing import Any

from ..standards import DIMENSIONS
from ..units import Kind, format_length, format_quantity
from .fields import FORMAT
from .model import CaseInput, FastenerInput, WrenchInput


def to_dict(case: CaseInput) -> dict[str, Any]:
    """Return the whole case, every default filled in, as nested plain values in a fixed order.

    Quantities are text with a unit, numbers without a unit stay numbers. Keys are those of the case file,
    except that both widths appear ("across_flats_nominal" and, after undersize, "across_flats") and that the
    corner is a radius ("corner_radius"). Rules and cautions are words about the case, not part of it.
    """
    contact, load, mesh = case.contact, case.load, case.mesh
    return {
        "format": FORMAT,
        "name": case.name,
        "fastener": _fastener(case.fastener),
        "wrench": _wrench(case.wrench),
        "contact": {
            "friction": contact.friction,
            "constraint_factor": contact.constraint_factor,
            "plane": contact.plane,
        },
        "load": {
            "lever_arm": "none" if load.lever_arm is None else format_length(load.lever_arm),
            "direction": load.direction,
            "pulls": load.pulls,
        },
        "mesh": {
            "edge_at_contact": format_length(mesh.edge_at_contact),
            "edge_max": format_length(mesh.edge_max),
            "growth": mesh.growth,
        },
    }


def _fastener(fastener: FastenerInput) -> dict[str, Any]:
    return {
        "shape": fastener.shape,
        "size": fastener.size,
        "across_flats_nominal": format_length(fastener.across_flats_nominal),
        "across_flats": format_length(fastener.across_flats),
        "engaged_depth": format_length(fastener.engaged_depth),
        "grade": fastener.grade,
        "yield_strength": format_quantity(fastener.yield_strength, "stress"),
        "tensile_strength": _tensile(fastener),
        "rounding": format_quantity(fastener.rounding, "fraction"),
        "worn_side": fastener.worn_side,
        "corner_radius": format_length(fastener.corner_radius),
        "elastic_modulus": format_quantity(fastener.elastic_modulus, "stress"),
        "poisson_ratio": fastener.poisson,
        "core_radius": format_length(fastener.core_radius),
        "outline": fastener.outline,
        "stock": fastener.stock,
        "chamfer_angle": _or_none(fastener.chamfer_angle, "angle"),
    }


def _wrench(wrench: WrenchInput) -> dict[str, Any]:
    record: dict[str, Any] = {
        "profile": wrench.profile,
        "opening": format_length(wrench.opening),
        "points": wrench.points,
        "thickness": format_length(wrench.thickness),
        "yield_strength": format_quantity(wrench.yield_strength, "stress"),
        "elastic_modulus": format_quantity(wrench.elastic_modulus, "stress"),
        "poisson_ratio": wrench.poisson,
        "outline": wrench.outline,
        "lead_in": _or_none(wrench.lead_in, "length"),
    }
    record.update({name: format_quantity(value, DIMENSIONS[name].kind) for name, value in wrench.dims_items})
    return record


def _tensile(fastener: FastenerInput) -> str | None:
    ratio = fastener.tensile_ratio
    return None if ratio is None else format_quantity(ratio * fastener.yield_strength, "stress")


def _or_none(value: float, kind: Kind) -> str:
    return format_quantity(value, kind) if value > 0.0 else "none"
