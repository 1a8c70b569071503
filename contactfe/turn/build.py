"""From a case to two bodies ready for contact: outlines, meshes, factorised once, flexibilities of the boundary."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from contactfe.contact import (
    HEAD_PLACE,
    HEAD_ROTATION,
    ContactLaw,
    ContactRig,
    GapSearch,
    Handle,
    SearchRules,
    friction_share,
)
from contactfe.elastic import Flexibility, HeldBody, PlaneMaterial, cyclic_flexibility
from contactfe.errors import GeometryError
from contactfe.inputs import CaseInput, FastenerInput, WrenchInput
from contactfe.mesh import SectionMesh, mesh_fastener, mesh_outline, same_pieces, wrench_sizes
from contactfe.profile import (
    TOUCHING,
    Outline,
    ProfilePair,
    as_polygon,
    profile_pair,
    turned_diameter,
    wrench_outline,
)
from contactfe.turn.engagement import bearing_depth, engaged_fraction

Array = NDArray[np.float64]
Index = NDArray[np.int64]

BREAKS = frozenset({"root", "throat"})  # re-entrant pieces: pressure cells do not reach round them
REACH_MARGIN = 0.015  # of the width across flats: as wide as the gaps that are solved for
SLOTTED_MARGIN = 0.06  # the same for a slotted head, which gives way sideways
DRAWN_HEAD = 1.6  # radius of a drawn head over the reach of its opening (engineering judgement)
# Angle of a corner (deg) and the limit pressure on its flank over yield strength, plane stress (DEVELOPERS.md).
CORNER_LIMITS = ((90.0, 1.0), (95.0, 1.06), (100.0, 1.10), (105.0, 1.14), (110.0, 2.0 / math.sqrt(3.0)))
# Length of a bevel that cuts a right angle off over the loaded length beside it, and the limit pressure likewise.
BEVEL_LIMITS = ((0.0, 1.0), (0.1, 1.058), (0.2, 1.104), (0.3, 1.144), (0.4, 2.0 / math.sqrt(3.0)))
CRUSHED = 0.25  # of the width across flats: crushed beside a square's corner at slip (own runs: 0.22 to 0.30)
DEEPEST_OVERLAP, WIDEST_GAP = 0.12, 0.08  # of the width across flats: what the gap search looks at


@dataclass(frozen=True, eq=False)
class WiderOpening:
    """A wrench's mesh moved to an opening wider ``by`` mm: its ``nodes`` (n, 2) and flexibility there."""

    by: float
    nodes: Array
    flexibility: Flexibility


@dataclass(frozen=True, eq=False)
class BodyModel:
    """One body: its mesh and the flexibility of the boundary that may touch, per unit of its own depth.

    ``wider``: the same at a wider opening, of a wrench that serves many openings.
    """

    mesh: SectionMesh
    flexibility: Flexibility
    wider: WiderOpening | None = None


@dataclass(frozen=True, eq=False)
class BuiltPair:
    """A case with its outlines, bodies and contact rig.

    The bodies are those of their own thickness, as meshed; the rig's refer to the depth that bears, at the case's opening.
    """

    case: CaseInput
    pair: ProfilePair
    fastener: BodyModel
    wrench: BodyModel
    rig: ContactRig
    law: ContactLaw

    def contact_nodes(self) -> tuple[Array, Array]:
        """Coordinates of the flexibility's nodes of fastener and wrench, each in its own frame, mm."""
        search = self.rig.search
        return (
            search.fastener.nodes[self.fastener.flexibility.nodes],
            search.wrench.nodes[self.wrench.flexibility.nodes],
        )


def build_pair(case: CaseInput) -> BuiltPair:
    """Outlines, meshes and flexibilities of a case, its wrench meshed at its own opening.

    Raises:
        GeometryError: from outlines or mesher.
    """
    pair = profile_pair(case)
    return assemble(case, pair, fastener_body(case, pair), wrench_body(case, pair))


def assemble(case: CaseInput, pair: ProfilePair, fastener: BodyModel, wrench: BodyModel) -> BuiltPair:
    """Put two bodies together, each per unit of its own depth; in contact both refer to the depth that bears.

    Where the wrench was meshed at another opening (``pair``), its boundary is moved to the case's own and its
    flexibility interpolated; the mesh of the built wrench, in which its strength is looked at, stays as it is.

    Raises:
        GeometryError: the wrench was meshed at another opening alone, or the outlines have other pieces.
    """
    if case.wrench.family.drawn:  # its file holds the opening
        case = replace(case, wrench=replace(case.wrench, opening=pair.opening))
    at_opening = wrench
    if case.wrench.opening != pair.opening:
        shape = replace(case.wrench, yield_strength=0.0, thickness=0.0, rules_items=())
        at_opening = _at_opening(shape, pair.opening, wrench)
    handle = Handle(pair.handle_direction, case.load.lever_arm, pair.sense)
    bearing = in_contact(case, fastener, at_opening)
    rig = _rig(*bearing, case.fastener.across_flats, handle)
    return BuiltPair(case, pair, fastener, wrench, rig, contact_law(case))


def with_fastener(built: BuiltPair, outline: Outline) -> BuiltPair:
    """The same pair with another outline of the fastener, in the wrench's frame at rest; only that is meshed.

    Raises:
        GeometryError: from the mesher.
    """
    pair = replace(built.pair, fastener=outline)
    return assemble(built.case, pair, fastener_body(built.case, pair), built.wrench)


def in_contact(case: CaseInput, fastener: BodyModel, wrench: BodyModel) -> tuple[BodyModel, BodyModel]:
    """Both bodies with their flexibilities per unit of the depth that bears: what is thicker is stiffer by that."""
    depth = bearing_depth(case)
    return (
        scaled(fastener, depth / case.fastener.engaged_depth),
        scaled(wrench, depth / case.wrench.thickness),
    )


@lru_cache(maxsize=2)
def _at_opening(shape: WrenchInput, meshed: float, wrench: BodyModel) -> BodyModel:
    """The body at the opening of a shape, which was meshed at another (mm)."""
    wider = wrench.wider
    if wider is None:
        raise GeometryError(
            f"the wrench was meshed at an opening of {meshed:.5g} mm, the case has {shape.opening:.5g} mm",
            where="[wrench] opening",
            slug="other-opening",
        )
    outline = wrench_outline(shape)
    if not same_pieces(outline, wrench.mesh.outline):
        raise GeometryError(
            "at this opening the outline of the wrench has other pieces than where it was meshed",
            where="[wrench] opening",
            slug="other-pieces",
        )
    share = (shape.opening - meshed) / wider.by
    at, there = wrench.flexibility, wider.flexibility

    def between(own: Array, other: Array) -> Array:
        return own + share * (other - own)

    # The corners of every opening move in proportion to its width, and the roundings keep their radii.
    mesh = replace(wrench.mesh, nodes=between(wrench.mesh.nodes, wider.nodes), outline=outline)
    observed = {name: between(row, there.observed[name]) for name, row in at.observed.items()}
    flexibility = Flexibility(at.nodes, between(at.matrix, there.matrix), observed)
    return BodyModel(mesh, flexibility)


@lru_cache(maxsize=8)
def scaled(body: BodyModel, factor: float) -> BodyModel:
    """A body whose flexibility is multiplied by a factor. The same body comes out as the same object again."""
    if factor == 1.0:
        return body
    wider = body.wider
    if wider is not None:
        wider = replace(wider, flexibility=wider.flexibility.scaled(factor))
    return BodyModel(body.mesh, body.flexibility.scaled(factor), wider)


@lru_cache(maxsize=2)
def _rig(fastener: BodyModel, wrench: BodyModel, s: float, handle: Handle) -> ContactRig:
    # Kept for the next case on the same bodies: another strength or friction meets the same gaps at the same rotations.
    window = (DEEPEST_OVERLAP * s, WIDEST_GAP * s)
    rules = SearchRules(TOUCHING, BREAKS, handle.sense, window)
    search = GapSearch(fastener.mesh, wrench.mesh, rules)
    return ContactRig(
        (fastener.mesh, fastener.flexibility), (wrench.mesh, wrench.flexibility), search, handle, s
    )


def contact_law(case: CaseInput) -> ContactLaw:
    """Friction and cap: the constraint factor times the yield strength of the body that gives first, less what friction
    takes.

    The flank of the fastener beside a corner of less than 110 degrees carries less (`corner_share`), the flat of the
    wrench does not. Between parallel jaws some friction is shared (``contact.slide``); the cap is that of full friction
    there too.
    """
    contact, fastener = case.contact, case.fastener
    softer = min(_corner_share(fastener) * fastener.yield_strength, case.wrench.yield_strength)
    cap = contact.constraint_factor * friction_share(contact.friction, contact.plane) * softer
    return ContactLaw(contact.friction, cap, engaged_fraction(case))


def corner_share(angle_deg: float, bevel: float = 0.0) -> float:
    """Limit pressure on the flank of a corner over that of a flat far from corners, for a von Mises sheet.

    ``bevel``: length of what cuts the corner off, over the loaded length of the flank. Lower bounds of limit analysis for
    plane stress, straight lines between the computed ones: no less from 110 degrees up, 1.00 over 2/sqrt(3) at a right
    angle, no less again where a bevel is two fifths of the loaded length.
    """
    angles, limits = zip(*CORNER_LIMITS, strict=True)
    sharp = float(np.interp(angle_deg, angles, limits)) / limits[-1]
    lengths, regained = zip(*BEVEL_LIMITS, strict=True)
    back = (float(np.interp(bevel, lengths, regained)) - regained[0]) / (regained[-1] - regained[0])
    return sharp + (1.0 - sharp) * back


def _corner_share(fastener: FastenerInput) -> float:
    """The same for the corners of a fastener. Wear on one side leaves the other side of a corner as it is: still sharp."""
    if fastener.shape != "square":
        return corner_share(120.0)
    if fastener.worn_side != "both":
        return corner_share(90.0)
    s = fastener.across_flats
    diameter = turned_diameter(s, fastener.rounding, 4)
    arc = diameter * (math.pi / 4 - math.acos(min(s / diameter, 1.0)))
    return corner_share(90.0, arc / (CRUSHED * s))


def fastener_material(case: CaseInput) -> PlaneMaterial:
    """Elastic constants of the fastener."""
    return PlaneMaterial(case.fastener.elastic_modulus, case.fastener.poisson, case.contact.plane)


def wrench_material(case: CaseInput) -> PlaneMaterial:
    """Elastic constants of the wrench."""
    return PlaneMaterial(case.wrench.elastic_modulus, case.wrench.poisson, case.contact.plane)


def hold_fastener(case: CaseInput, mesh: SectionMesh) -> HeldBody:
    """The fastener clamped at its core, per unit depth."""
    return HeldBody(
        mesh, fastener_material(case), clamped=np.unique(mesh.boundary.nodes[mesh.sides_named("core")])
    )


def hold_wrench(case: CaseInput, mesh: SectionMesh) -> HeldBody:
    """The wrench carried at the end of its handle stub, per unit of its own thickness."""
    return _held_wrench(mesh, wrench_material(case))


@lru_cache(maxsize=2)
def _held_wrench(mesh: SectionMesh, material: PlaneMaterial) -> HeldBody:
    # Kept for the next case with the same mesh: the stresses of its opening ask for one more solve, no new factorisation.
    return HeldBody(mesh, material, carried=mesh.sides_named("handle-end"))


def fastener_body(case: CaseInput, pair: ProfilePair) -> BodyModel:
    """Mesh and flexibility of the fastener's outer boundary."""
    mesh, sector = mesh_fastener(pair, case.mesh)
    if sector is None:
        outer = np.unique(mesh.boundary.nodes[mesh.boundary.piece < len(mesh.outline.loops[0])])
        return BodyModel(mesh, hold_fastener(case, mesh).flexibility(outer))
    return BodyModel(mesh, cyclic_flexibility(sector, fastener_material(case), *sector.edges()))


def wrench_body(case: CaseInput, pair: ProfilePair) -> BodyModel:
    """Mesh and flexibility of the wrench's opening, with the measures of head rotation and jaw spread."""
    mesh = mesh_outline(pair.wrench, wrench_sizes(pair, case.mesh))
    nodes = np.unique(mesh.boundary.nodes[reachable_sides(pair, mesh)])
    return BodyModel(mesh, wrench_flexibility(case, pair, mesh, nodes))


def wrench_flexibility(case: CaseInput, pair: ProfilePair, mesh: SectionMesh, nodes: Index) -> Flexibility:
    """Flexibility of nodes (k,) of a wrench's boundary, with the measures of head rotation and jaw spread."""
    observe = {**head_motion_weights(case, mesh), "spread": spread_weights(pair, mesh)}
    return hold_wrench(case, mesh).flexibility(nodes, observe)


def head_circle(case: CaseInput, mesh: SectionMesh) -> tuple[float, Array]:
    """Radius (mm) and centre (2,) of the circle that holds the head without its handle stub.

    Of a drawn wrench: about the axis, DRAWN_HEAD times as far as the farthest point of the opening.
    """
    dims = case.wrench.dims
    if case.wrench.family.drawn:
        touching = np.unique(mesh.boundary.nodes[mesh.sides_named(*TOUCHING)])
        return DRAWN_HEAD * float(np.linalg.norm(mesh.nodes[touching], axis=1).max()), np.zeros(2)
    radius = (dims["head_width"] if "head_width" in dims else dims["outside_diameter"]) / 2
    return radius, np.array([dims.get("head_centre", 0.0), 0.0])


def reachable_sides(pair: ProfilePair, mesh: SectionMesh) -> Index:
    """Sides of the opening that an unworn fastener comes close to while it turns as far as it ever has to, (k,).

    The other half of every flank, and every second flank of a twelve-point opening, only ever move away.
    """
    sides = mesh.sides_named(*TOUCHING)
    body = shapely.Polygon(as_polygon(pair.new_fastener, 0.02 * pair.across_flats).exterior)
    margin = SLOTTED_MARGIN if "slot" in mesh.outline.names() else REACH_MARGIN
    body = body.buffer(margin * pair.across_flats)
    x = mesh.nodes[mesh.boundary.nodes[sides]].reshape(-1, 2)
    near = np.zeros(len(x), dtype=bool)
    twelve = sum(p.name == "ridge" for p in mesh.outline.pieces) >= 10 and "root" in mesh.outline.names()
    for turn in np.radians(np.arange(1.0, 15.0 if twelve else 30.0, 1.0)):
        turned = shapely.affinity.rotate(body, -pair.sense * turn, origin=(0, 0), use_radians=True)
        near |= shapely.contains_xy(turned, x[:, 0], x[:, 1])
    return np.asarray(sides[near.reshape(-1, 3).any(axis=1)])


def head_rotation_weights(case: CaseInput, mesh: SectionMesh) -> Array:
    """Weights (2n,) of the mean rotation (rad) of the head."""
    return head_motion_weights(case, mesh)[HEAD_ROTATION]


def head_motion_weights(case: CaseInput, mesh: SectionMesh) -> dict[str, Array]:
    """Weights (2n,) of the mean rotation (rad) of the head, its handle stub left out, and of where that mean motion
    carries the point at the axis (mm): least squares over the area."""
    radius, centre = head_circle(case, mesh)
    p = mesh.nodes[mesh.cells[:, :3]]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    inside = np.hypot(*(p.mean(axis=1) - centre).T) < radius
    weight = np.zeros(len(mesh.nodes))
    np.add.at(
        weight, mesh.cells[inside][:, 3:], area[inside, None] / 3.0
    )  # mid-side rule: exact for quadratics
    middle = weight @ mesh.nodes / weight.sum()
    arm = mesh.nodes - middle
    inertia = float(weight @ np.einsum("ni,ni->n", arm, arm))
    turn, along_x, along_y = (np.zeros(2 * len(mesh.nodes)) for _ in range(3))
    turn[0::2], turn[1::2] = -weight * arm[:, 1] / inertia, weight * arm[:, 0] / inertia
    along_x[0::2] = along_y[1::2] = weight / weight.sum()
    # The axis lies at (0, 0), away from the middle of the head.
    places = (along_x + middle[1] * turn, along_y - middle[0] * turn)
    return {HEAD_ROTATION: turn, **dict(zip(HEAD_PLACE, places, strict=True))}


def spread_weights(pair: ProfilePair, mesh: SectionMesh) -> Array:
    """Weights (2n,) of the opening of the mouth (mm), or of a ring's growth across the corners that it grips (mm)."""
    out = np.zeros(2 * len(mesh.nodes))
    tips = np.unique(mesh.boundary.nodes[mesh.sides_named("tip")])
    if tips.size:
        upper, lower = tips[mesh.nodes[tips, 1] > 0], tips[mesh.nodes[tips, 1] < 0]
        out[2 * upper + 1] = 1.0 / len(upper)
        out[2 * lower + 1] = -1.0 / len(lower)
        return out
    gripped = _at_corners(pair, mesh, ("root",))
    if not gripped.size:  # a drawn opening without roots at the corners
        gripped = _at_corners(pair, mesh, tuple(TOUCHING))
    radial = mesh.nodes[gripped] / np.linalg.norm(mesh.nodes[gripped], axis=1)[:, None]
    out[2 * gripped], out[2 * gripped + 1] = 2 * radial[:, 0] / len(gripped), 2 * radial[:, 1] / len(gripped)
    return out


def _at_corners(pair: ProfilePair, mesh: SectionMesh, names: tuple[str, ...]) -> Index:
    """Nodes of the pieces with these names that lie within 8 degrees of the fastener's corners, seen from the axis."""
    nodes = np.unique(mesh.boundary.nodes[mesh.sides_named(*names)])
    angle = np.arctan2(mesh.nodes[nodes, 1], mesh.nodes[nodes, 0])
    pitch = math.tau / pair.flats
    off = np.abs(np.remainder(angle - pair.first_flat, pitch) - pitch / 2)
    return np.asarray(nodes[off < math.radians(8)])
