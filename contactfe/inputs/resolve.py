"""What the keys of a case mean together: defaults filled in, and problems no key has by itself."""

from __future__ import annotations

from pathlib import Path

from ..errors import Problem
from ..units import format_length
from .calibration import calibrated
from .model import CaseInput, ContactInput, FastenerInput, LoadInput, MeshInput
from .resolve_fastener import resolve_fastener
from .resolve_wrench import resolve_wrench
from .resolver import Resolver
from .schema import Checked


def resolve(
    checked: Checked, *, name: str = "case", folder: Path | None = None
) -> tuple[CaseInput | None, tuple[Problem, ...]]:
    """Return the case and no problems, or None and every problem that was found."""
    if checked.bad == frozenset(["format"]):
        return None, checked.problems
    checked, origins, cautions = calibrated(checked, folder)
    work = Resolver(checked, folder)
    work.origins.update(origins)
    work.cautions += cautions
    fastener = resolve_fastener(work)
    wrench = resolve_wrench(work, fastener)
    contact = _contact(work)
    load = _load(work, fastener)
    mesh = _mesh(work, fastener)
    if work.problems or fastener is None or wrench is None or mesh is None:
        return None, tuple(work.problems)
    case = CaseInput(
        str(work.get("name") or name),
        fastener,
        wrench,
        contact,
        load,
        mesh,
        tuple(work.cautions),
        tuple(sorted(work.origins.items())),
    )
    return case, ()


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
    return LoadInput(arm, work.get("load.direction"), work.get("load.pulls"))


def _mesh(work: Resolver, fastener: FastenerInput | None) -> MeshInput | None:
    if fastener is None:
        return None
    width = fastener.across_flats
    fine = work.default("mesh.edge_at_contact", lambda: 0.012 * width, "0.012 x across flats")
    coarse = work.default("mesh.edge_max", lambda: 0.12 * width, "0.12 x across flats")
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
