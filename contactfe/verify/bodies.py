"""Bodies of the known cases: outlines, meshes graded towards points, and two bodies pressed together.

Everything here goes through the stages that turning a wrench goes through: outline, mesher, held body, gap search,
contact builder, bounded problem, solver.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from contactfe.contact import (
    ContactBuilder,
    ContactLaw,
    ContactProblem,
    GapSearch,
    Handle,
    SearchRules,
    SolveReport,
    solve_bounded,
)
from contactfe.elastic import Flexibility, HeldBody, PlaneMaterial
from contactfe.errors import ContactFEError
from contactfe.mesh import SectionMesh, SizeField, mesh_outline
from contactfe.profile import Outline, Piece, arc, line

Array = NDArray[np.float64]
Index = NDArray[np.int64]

CONTACT = "contact"
HELD = "held"
FAR = 200.0  # half widths from a contact to the clamped edge: errors fall with its square


def chain(points: Sequence[Sequence[float]] | Array, names: Sequence[str]) -> tuple[Piece, ...]:
    """A closed loop of straight pieces through points; piece ``i`` runs from point ``i`` to the next."""
    return tuple(line(points[i], points[(i + 1) % len(points)], names[i]) for i in range(len(points)))


def circle(
    radius: float, name: str, hole: bool = False, parts: int = 4, start: float = 0.0
) -> tuple[Piece, ...]:
    """A full circle about the origin in equal arcs, anticlockwise, or clockwise for a hole."""
    step = -2 * np.pi / parts if hole else 2 * np.pi / parts
    return tuple(arc((0, 0), radius, start + i * step, start + (i + 1) * step, name) for i in range(parts))


def graded(
    points: Sequence[Sequence[float]] | Array, size: float, largest: float, growth: float = 0.3
) -> SizeField:
    """Edge length ``size`` at the points (k, 2), growing with the distance from them up to ``largest``, mm."""
    places = np.atleast_2d(np.asarray(points, dtype=float))
    return SizeField(places, np.full(len(places), size), np.full(len(places), growth), largest)


def uniform(size: float) -> SizeField:
    """The same edge length everywhere, mm."""
    return graded([(0.0, 0.0)], size, size)


def along(start: Sequence[float], end: Sequence[float], count: int) -> Array:
    """Evenly spaced points on a straight line, (count, 2)."""
    return np.asarray(np.linspace(start, end, count))


@dataclass(frozen=True, eq=False)
class ContactBody:
    """A meshed body with its support and the flexibility of its pieces named ``contact``."""

    mesh: SectionMesh
    held: HeldBody
    flexibility: Flexibility


def contact_body(
    outline: Outline, size: SizeField, material: PlaneMaterial, carried: bool = False
) -> ContactBody:
    """Mesh an outline whose pieces ``held`` are clamped (or carried) and whose pieces ``contact`` may touch."""
    mesh = mesh_outline(outline, size)
    sides = mesh.sides_named(HELD)
    if carried:
        held = HeldBody(mesh, material, carried=sides)
    else:
        held = HeldBody(mesh, material, clamped=np.unique(mesh.boundary.nodes[sides]))
    nodes = np.unique(mesh.boundary.nodes[mesh.sides_named(CONTACT)])
    return ContactBody(mesh, held, held.flexibility(nodes))


@dataclass(frozen=True)
class Fineness:
    """Edge lengths under a contact, over its half width.

    ``edge`` along the contact, ``fine`` at the places +-``edges`` (mm) where the pressure is steep (half of ``edge``
    when not given); ``deep`` are points (mm) below the surface that keep ``edge``.
    """

    edge: float
    edges: tuple[float, ...] = ()
    fine: float | None = None
    deep: tuple[tuple[float, float], ...] = ()


def block(half: float, fineness: Fineness, material: PlaneMaterial, height: float = 0.0) -> ContactBody:
    """A large block below y = ``height`` that stands for a half plane: contact out to 1.4 ``half``, clamped far away."""
    edge, edges = fineness.edge, fineness.edges
    far, w = FAR * half, 1.4 * half
    cuts = sorted({w, -w, *edges, *(-e for e in edges)}, reverse=True)  # nodes where the pressure is steep
    corners = [(-far, -far), (far, -far), (far, 0.0), *((x, 0.0) for x in cuts), (-far, 0.0)]
    names = [HELD, HELD, "free", *[CONTACT] * (len(cuts) - 1), "free", HELD]
    outline = Outline((chain([(x, y + height) for x, y in corners], names),))
    surface = along((-1.2 * half, height), (1.2 * half, height), 97)
    points = [
        *surface,
        *([x, y + height] for x, y in fineness.deep),
        *([sign * e, height] for e in edges for sign in (-1, 1)),
    ]
    sizes = np.full(len(points), edge * half)
    if edges:
        sizes[-2 * len(edges) :] = (edge / 2 if fineness.fine is None else fineness.fine) * half
    size = SizeField(np.array(points), sizes, np.full(len(points), 0.3), far / 4)
    return contact_body(outline, size, material)


@dataclass(frozen=True)
class Press:
    """How two bodies are pressed together.

    ``force`` N/mm on the fastener; ``law`` friction and cap; ``rotation`` rad of the wrench; ``offset`` mm added to
    every gap; ``window`` mm: deepest overlap and widest gap looked at; ``split``: cut pressure cells where one
    ``contact`` piece of the wrench ends.
    """

    force: tuple[float, float]
    law: ContactLaw
    window: tuple[float, float]
    rotation: float = 0.0
    offset: float = 0.0
    sense: int = 1
    split: bool = False


@dataclass(frozen=True, eq=False)
class Pressed:
    """Two bodies in contact: the problem, the pressure of each cell (c,) MPa, gaps (c,) mm and the wrench's motion."""

    bodies: tuple[ContactBody, ContactBody]
    press: Press
    problem: ContactProblem
    pressure: Array
    gap: Array
    motion: Array
    report: SolveReport
    active: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "active", self.pressure > 1e-9 * self.press.law.cap)

    def width(self) -> float:
        """Length of all cells that carry pressure, mm."""
        return float(self.problem.length[self.active].sum())

    def capped_width(self) -> float:
        """Length of all cells at the cap, mm."""
        return float(self.problem.length[self.pressure > (1 - 1e-6) * self.press.law.cap].sum())

    def load(self) -> Array:
        """Net force on the fastener (2,), N/mm."""
        p, mu = self.pressure, self.press.law.friction
        return np.asarray((self.problem.force_n + mu * self.problem.force_t) @ p)

    def torque(self) -> float:
        """Moment about the origin on the fastener, N mm per mm."""
        p, mu = self.pressure, self.press.law.friction
        return float((self.problem.arm_n + mu * self.problem.arm_t) @ p)

    def forces(self) -> tuple[Array, Array]:
        """Nodal forces (2n,) on all nodes of fastener and wrench, N/mm."""
        out = []
        for body, at in zip(
            self.bodies, self.problem.nodal_forces(self.pressure, self.press.law.friction), strict=True
        ):
            full = np.zeros((len(body.mesh.nodes), 2))
            full[body.flexibility.nodes] = at.reshape(-1, 2)
            out.append(full.ravel())
        return out[0], out[1]


def press_together(fastener: ContactBody, wrench: ContactBody, press: Press) -> Pressed:
    """Solve the contact of two bodies under a net force; the wrench is free to approach.

    Raises:
        NotConverged: from the solver.
    """
    touching = frozenset({CONTACT})
    breaks = touching if press.split else frozenset()
    rules = SearchRules(touching, breaks, press.sense, press.window, press.offset)
    search = GapSearch(fastener.mesh, wrench.mesh, rules)
    handle = Handle(0.0, None, press.sense)
    builder = ContactBuilder(fastener.mesh, fastener.flexibility, wrench.mesh, wrench.flexibility, handle)
    problem = builder.build(search.pairing(press.rotation), press.rotation, press.window[1])
    bounded = problem.bounded(press.law.friction, press.law.cap, force=np.array(press.force))
    pressure, motion, report = solve_bounded(bounded)
    gap = (bounded.gap + bounded.matrix.apply(pressure) - bounded.balance_n.T @ motion) / problem.length
    return Pressed((fastener, wrench), press, problem, pressure, gap, motion, report)


def node_at(mesh: SectionMesh, point: Sequence[float]) -> int:
    """Number of the node at a point.

    Raises:
        ContactFEError: no node lies there.
    """
    away = np.hypot(*(mesh.nodes - np.asarray(point, dtype=float)).T)
    nearest = int(away.argmin())
    if away[nearest] > 1e-9 * float(np.ptp(mesh.nodes)):
        raise ContactFEError(f"no node of the mesh lies at {tuple(point)}", slug="no-node")
    return nearest
