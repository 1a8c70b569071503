"""Cases that several test modules solve: bodies are built once and shared, as the program does in studies."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

from contactfe.inputs import CaseInput, parse_case
from contactfe.turn import Bodies, BuiltPair, torque_curve
from contactfe.turn.curve import TorqueCurve
from contactfe.turn.estimate import SlipEstimate, slip_estimate

COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}
PROFILES = ("ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut", "open-end")


def case(
    profile: str = "ring-six", size: str = "M10", grade: str = "8.8", **tables: dict[str, Any]
) -> CaseInput:
    """A case of the given profile, size and grade; further keys by table: ``wrench={"opening": "loose"}``.

    Other heads than hexagons have no size: 16 mm across flats, as high as an M10 head.
    """
    head: dict[str, Any] = {"size": size, "grade": grade, **tables.get("fastener", {})}
    if head.get("shape", "hex") != "hex":
        del head["size"]
        head = {"across_flats": "16 mm", "engaged_depth": "6.4 mm", **head}
    return parse_case(
        {
            "format": 1,
            "name": f"{profile} on {size} {grade}".replace("/", "-"),
            "fastener": head,
            "wrench": {"profile": profile, **tables.get("wrench", {})},
            "contact": tables.get("contact", {}),
            "load": tables.get("load", {}),
            "mesh": tables.get("mesh", {}),
        }
    )


def finer(c: CaseInput, factor: float) -> CaseInput:
    """The case with every edge length of the mesh multiplied by ``factor``."""
    return replace(
        c,
        mesh=replace(
            c.mesh, edge_at_contact=c.mesh.edge_at_contact * factor, edge_max=c.mesh.edge_max * factor
        ),
    )


_bodies = Bodies(most=128)


def built(c: CaseInput) -> BuiltPair:
    """Build a case on bodies shared with all cases that differ only in what does not touch a body."""
    return _bodies.build(c)


@lru_cache(maxsize=256)
def solved(c: CaseInput) -> tuple[TorqueCurve, SlipEstimate]:
    """Curve and estimate of a case."""
    b = built(c)
    curve = torque_curve(b)
    return curve, slip_estimate(b, curve)


def slip(c: CaseInput) -> float:
    """Slip torque in N m."""
    found = solved(c)[1].slip_torque_Nm
    assert found is not None
    return found
