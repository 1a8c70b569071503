"""Elastic cases on rings and hooks: the relatives of a ring wrench and of spreading jaws."""

from __future__ import annotations

import functools
import math

import numpy as np

from contactfe.elastic import HeldBody, PlaneMaterial, nodal_stresses, pressed, side_loads
from contactfe.mesh import SectionMesh, SizeField, mesh_outline
from contactfe.profile import Outline, Piece, arc, line
from contactfe.reference import PlaneElastic, curved_bars, ring_series, rings
from contactfe.verify.bodies import Array, circle, graded, node_at, uniform
from contactfe.verify.check import CASES, CaseAnswer, Source
from contactfe.verify.plates import STATES

LAME = Source(
    "elastic", "exact", "Lame 1852; Timoshenko & Goodier, Theory of Elasticity, art. 28 (from memory)"
)
GOLOVIN = Source("elastic", "published", "Golovin 1881; table in Timoshenko & Goodier art. 29 (from memory)")
HALF_RING = Source("elastic", "exact", "Timoshenko & Goodier art. 33 (from memory)")
HOOK = Source(
    "independent",
    "independent code",
    "fourth-order elements of a general finite-element library on exact arcs",
)
THIN = Source(
    "elastic",
    "published formula",
    "Castigliano; Timoshenko, Strength of Materials II, thin bars (from memory)",
)
ROARK = Source(
    "elastic", "published formula", "Roark's Formulas, closed rings, case 1 and 7, thin ring (from memory)"
)
MICHELL = Source("elastic", "exact", "Michell 1899: Fourier series of the plane ring (from memory)")
SLIT = math.radians(0.5)


def annulus(inner: float, outer: float, size: float, parts: int = 4) -> SectionMesh:
    """A full ring, bore ``inner`` and outside ``outer``, evenly meshed."""
    loops = (circle(outer, "outer", parts=parts), circle(inner, "inner", hole=True, parts=parts))
    return mesh_outline(Outline(loops), uniform(size))


def free_answer(mesh: SectionMesh, material: PlaneMaterial, load: Array, carrier: str) -> Array:
    """Displacements (n, 2) under a load in balance; the mean motion of the carrier pieces is zero."""
    body = HeldBody(mesh, material, carried=mesh.sides_named(carrier))
    return np.asarray(body.displacements(load[:, None])[:, 0].reshape(-1, 2))


@CASES.case("ring under pressure", "elastic")
def lame_ring() -> CaseAnswer:
    """Thick ring pressed from inside, both plane states."""
    mesh = annulus(1.0, 2.0, 0.1)
    load = side_loads(mesh, mesh.sides_named("inner"), pressed(1.0))
    checks = []
    for plane in STATES:
        material, body = PlaneMaterial(1000.0, 0.3, plane), PlaneElastic(1000.0, 0.3, plane)
        u = free_answer(mesh, material, load, "inner")
        for name, radius in (("bore", 1.0), ("outside", 2.0)):
            exact = float(rings.lame_displacement(radius, 1.0, 2.0, (1.0, 0.0), body))
            moved = u[node_at(mesh, (0.0, radius)), 1]
            checks.append(
                LAME.relative(
                    f"ring under pressure, plane {plane}: growth of the {name}, mm", moved, exact, 2e-4
                )
            )
        if plane == "stress":
            hoop = nodal_stresses(mesh, material, u)[node_at(mesh, (0.0, 1.0)), 0]
            checks.append(
                LAME.relative("ring under pressure: hoop stress at the bore, MPa", hoop, 5.0 / 3.0, 2e-2)
            )
    return CaseAnswer(tuple(checks))


def _bar(inner: float, outer: float, turn: float) -> Outline:
    """A curved bar from angle 0 to ``turn``: ends named first and last."""
    c, s = math.cos(turn), math.sin(turn)
    half = 0.5 * turn
    return Outline(
        (
            (
                line((inner, 0.0), (outer, 0.0), "first"),
                arc((0, 0), outer, 0.0, half, "outer"),
                arc((0, 0), outer, half, turn, "outer"),
                line((outer * c, outer * s), (inner * c, inner * s), "last"),
                arc((0, 0), inner, turn, half, "inner"),
                arc((0, 0), inner, half, 0.0, "inner"),
            ),
        )
    )


@CASES.case("curved bar in bending", "elastic")
def curved_bar() -> CaseAnswer:
    """A quarter of a ring bent by end moments that open it."""
    checks = []
    material = PlaneMaterial(1000.0, 0.3)
    for ratio, table in ((1.3, (73.05, -61.35)), (2.0, (7.755, -4.917)), (3.0, (2.292, -1.130))):
        mesh = mesh_outline(_bar(1.0, ratio, math.pi / 2), _finer_inside(ratio))
        load = side_loads(mesh, mesh.sides_named("first", "last"), functools.partial(_bending, ratio))
        u = free_answer(mesh, material, load, "first")
        stress = nodal_stresses(mesh, material, u)
        angle = math.pi / 4
        for name, radius, known in (("inner", 1.0, table[0]), ("outer", ratio, table[1])):
            at = stress[node_at(mesh, (radius * math.cos(angle), radius * math.sin(angle)))]
            hoop = 0.5 * (at[0] + at[1]) - at[2]  # at 45 degrees the hoop direction is (-1, 1)/sqrt 2
            checks.append(
                GOLOVIN.relative(
                    f"curved bar, b/a {ratio:g}: stress at the {name} edge, M/a2", hoop, known, 5e-3
                )
            )
        if ratio == 2.0:
            exact = curved_bars.golovin_rotation(1.0, 2.0, 1.0, PlaneElastic(1000.0, 0.3)) * math.pi / 2
            turned = _end_rotation(mesh, u, "last")
            note = "18.282 M/(E' a2) per radian of bar"
            checks.append(
                GOLOVIN.relative("curved bar, b/a 2: rotation of the end, rad", -turned, exact, 1e-3, note)
            )
    return CaseAnswer(tuple(checks))


def _finer_inside(outer: float) -> SizeField:
    """Finer at the inner edge, where the stress is steep."""
    angle = np.linspace(0.0, math.pi / 2, 41)
    edge, height = np.column_stack([np.cos(angle), np.sin(angle)]), outer - 1.0
    return graded(edge, min(0.05, height / 14), min(0.12, height / 12), 0.2)


def _bending(outer: float, x: Array, normal: Array) -> Array:
    _, hoop = curved_bars.golovin_stress(np.clip(np.hypot(*x.T), 1.0, outer), 1.0, outer, 1.0)
    return np.asarray(hoop[:, None] * normal)


def _end_rotation(mesh: SectionMesh, u: Array, name: str) -> float:
    """Best-fitting rotation of a straight end that lies on the y axis, rad."""
    nodes = np.unique(mesh.boundary.nodes[mesh.sides_named(name)])
    y = mesh.nodes[nodes, 1]
    return -float(np.polyfit(y, u[nodes, 0], 1)[0])


@CASES.case("half ring opened", "elastic")
def half_ring() -> CaseAnswer:
    """A half ring opened by forces at its ends, spread as the exact shear."""
    checks = []
    mesh = mesh_outline(_bar(1.0, 2.0, math.pi), uniform(0.1))
    # Both ends lie on the x axis; the right one is pulled to the right, the left one to the left.
    load = side_loads(mesh, mesh.sides_named("first"), _end_shear) - side_loads(
        mesh, mesh.sides_named("last"), _end_shear
    )
    for plane in STATES:
        u = free_answer(mesh, PlaneMaterial(1000.0, 0.3, plane), load, "first").ravel()
        body = PlaneElastic(1000.0, 0.3, plane)
        exact = 2.0 * curved_bars.half_ring_opening(1.0, 2.0, 1.0, body)
        checks.append(
            HALF_RING.relative(f"half ring opened, plane {plane}: opening, mm", float(load @ u), exact, 1e-3)
        )
    return CaseAnswer(tuple(checks))


def _end_shear(x: Array, normal: Array) -> Array:
    shear = curved_bars.half_ring_end_shear(np.clip(np.abs(x[:, 0]), 1.0, 2.0), 1.0, 2.0, 1.0)
    return np.column_stack([shear, np.zeros(len(x))])


def _hook(inner: float, outer: float, arm: float) -> Outline:
    """A half ring above the x axis with two arms down to y = -arm: the ends are named first and last."""
    pieces: list[Piece] = [
        line((inner, -arm), (outer, -arm), "first"),
        line((outer, -arm), (outer, 0.0), "free"),
        arc((0, 0), outer, 0.0, math.pi / 2, "free"),
        arc((0, 0), outer, math.pi / 2, math.pi, "free"),
        line((-outer, 0.0), (-outer, -arm), "free"),
        line((-outer, -arm), (-inner, -arm), "last"),
        line((-inner, -arm), (-inner, 0.0), "free"),
        arc((0, 0), inner, math.pi, math.pi / 2, "free"),
        arc((0, 0), inner, math.pi / 2, 0.0, "free"),
        line((inner, 0.0), (inner, -arm), "free"),
    ]
    return Outline((tuple(pieces),))


@CASES.case("U hook spread", "elastic")
def u_hook() -> CaseAnswer:
    """A hook spread at its ends, the relative of spreading jaws; opening = work per unit force."""
    checks = []
    material, body = PlaneMaterial(1000.0, 0.3), PlaneElastic(1000.0, 0.3)
    for (inner, outer, arm), known in curved_bars.U_HOOK_OPENING_MM.items():
        if arm != 1.0:
            continue
        height = outer - inner
        mesh = mesh_outline(_hook(inner, outer, arm), uniform(max(height / 8, 0.04)))

        def parabola(x: Array, n: Array, inner: float = inner, height: float = height) -> Array:
            s = (np.abs(x[:, 0]) - inner) / height
            return np.column_stack([6.0 / height * s * (1.0 - s) * np.sign(x[:, 0]), np.zeros(len(x))])

        load = side_loads(mesh, mesh.sides_named("first", "last"), parabola)
        opening = float(load @ free_answer(mesh, material, load, "first").ravel())
        name = f"U hook spread, b/a {outer:g}: opening, mm"
        checks.append(HOOK.relative(name, opening, known, 1e-3))
        if outer == 1.1:
            thin = curved_bars.u_hook_opening((inner, outer), arm, 1.0, body)
            checks.append(THIN.relative("U hook spread, thin bar: opening, mm", opening, thin, 2e-3))
    return CaseAnswer(tuple(checks))


@CASES.case("slit ring opened", "elastic")
def slit_ring() -> CaseAnswer:
    """A thin ring with a narrow slit pulled open: 3 pi P R3 / EI."""
    inner, outer = 0.95, 1.05
    mesh = mesh_outline(_bar(inner, outer, math.tau - 2 * SLIT).rotated(SLIT), uniform(0.03))

    def pull(x: Array, n: Array) -> Array:
        upward = np.where(x[:, 1] > 0, 1.0, -1.0) / (outer - inner)
        return np.column_stack([np.zeros(len(x)), upward])

    load = side_loads(mesh, mesh.sides_named("first", "last"), pull)
    opening = float(load @ free_answer(mesh, PlaneMaterial(1000.0, 0.3), load, "first").ravel())
    thin = curved_bars.c_ring_opening((inner, outer), SLIT, 1.0, PlaneElastic(1000.0, 0.3))
    return CaseAnswer((THIN.relative("slit ring opened: opening, mm", opening, thin, 3e-3),))


def _patched_ring(patches: ring_series.RingPatches, size: float) -> tuple[SectionMesh, Array]:
    """A full ring whose loaded edge is cut at the ends of the patches, with the patches' load."""
    start, step, half = 0.0, math.tau / patches.count, patches.half_angle
    cuts: list[tuple[float, float, str]] = []
    for k in range(patches.count):
        middle = start + k * step
        cuts += [(middle - half, middle, "patch"), (middle, middle + half, "patch")]
        cuts += [
            (middle + half, middle + step / 2, "free"),
            (middle + step / 2, middle + step - half, "free"),
        ]
    inner = tuple(arc((0, 0), patches.inner, b, a, "in" + name) for a, b, name in reversed(cuts))
    outer = tuple(arc((0, 0), patches.outer, a, b, "out" + name) for a, b, name in cuts)
    angle = np.arange(patches.count) * step
    edge = patches.inner if patches.edge == "inner" else patches.outer
    spots = edge * np.column_stack([np.cos(angle), np.sin(angle)])
    mesh = mesh_outline(Outline((outer, inner)), graded(spots, size, 3.0 * size))
    pressure = patches.load / (2.0 * half * edge)
    name = "inpatch" if patches.edge == "inner" else "outpatch"
    return mesh, side_loads(mesh, mesh.sides_named(name), pressed(pressure))


@CASES.case("ring under two loads", "elastic")
def ring_two_loads() -> CaseAnswer:
    """A thin closed ring pinched by two opposite loads from outside."""
    inner, outer = 0.95, 1.05
    patches = ring_series.RingPatches(2, 1.0, 0.02, inner, outer, "outer")
    mesh, load = _patched_ring(patches, 0.012)
    material, body = PlaneMaterial(1000.0, 0.3), PlaneElastic(1000.0, 0.3)
    u = free_answer(mesh, material, load, "outfree")
    stress = nodal_stresses(mesh, material, u)
    height = outer - inner
    inside, outside = (stress[node_at(mesh, (0.0, r)), 0] for r in (inner, outer))
    moment = (inside - outside) / 2.0 * height**2 / 6.0  # the ring is thin: stress is linear over its height
    moved = u[node_at(mesh, (inner, 0.0)), 0] - u[node_at(mesh, (-inner, 0.0)), 0]
    exact = ring_series.ring_patches(patches, inner, 0.0, body).radial_mm
    thin = rings.ring_two_loads(1.0, rings.thin_section(1.0, height, body))
    return CaseAnswer(
        (
            MICHELL.relative("ring under two loads: shortening of the bore, mm", moved, 2.0 * exact, 1e-3),
            ROARK.relative(
                "ring under two loads: shortening by the thin ring, mm", -moved, thin.shortening_mm, 2e-2
            ),
            ROARK.relative(
                "ring under two loads: moment at the side, N", abs(moment), thin.moment_side_N, 3e-2
            ),
        )
    )


@CASES.case("ring under six loads", "elastic")
def ring_six_loads() -> CaseAnswer:
    """A thick closed ring pushed outward at six places, the relative of a ring wrench."""
    patches = ring_series.RingPatches(6, 1.0, 0.1, 2 / 3, 4 / 3)
    mesh, load = _patched_ring(patches, 0.025)
    c, s = math.cos(math.pi / 6), math.sin(math.pi / 6)
    checks = []
    for plane in STATES:
        body = PlaneElastic(1.0, 0.3, plane)
        u = free_answer(mesh, PlaneMaterial(1.0, 0.3, plane), load, "outpatch")
        for name, place, at in (
            ("outside over a load", (4 / 3, 0.0), (4 / 3, 0.0)),
            ("bore between loads", (2 / 3 * c, 2 / 3 * s), (2 / 3, math.pi / 6)),
        ):
            moved = float(u[node_at(mesh, place)] @ (np.array(place) / np.hypot(*place)))
            exact = ring_series.ring_patches(patches, *at, body).radial_mm
            checks.append(
                MICHELL.relative(f"ring under six loads, plane {plane}: {name}, mm", moved, exact, 1e-3)
            )
    return CaseAnswer(tuple(checks))
