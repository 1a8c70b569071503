"""Elastic cases with straight and free edges: patch test, Cook's membrane, elliptic membrane, cantilever, holes."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from contactfe.elastic import (
    HeldBody,
    PlaneMaterial,
    given_displacements,
    nodal_stresses,
    pressed,
    side_loads,
    side_unknowns,
)
from contactfe.mesh import SectionMesh, mesh_outline
from contactfe.profile import Outline, Piece, line
from contactfe.reference import PlaneElastic, plates
from contactfe.verify.bodies import HELD, Array, chain, circle, graded, node_at, uniform
from contactfe.verify.check import CASES, CaseAnswer, Check, Source

STATES: tuple[Literal["stress", "strain"], ...] = ("stress", "strain")
HOOKE = Source(
    "elastic", "exact", "Hooke's law; patch test after Irons, and Taylor et al. 1986 (from memory)"
)
COOK = Source(
    "elastic", "published", "Cook 1974; Cook et al., Concepts and Applications of FEA (from memory)"
)
COOK_OTHER = Source(
    "independent",
    "independent code",
    "fifth-order elements of a general finite-element library, 148k unknowns",
)
LE1 = Source("elastic", "published", "The Standard NAFEMS Benchmarks, test LE1")
BEAM = Source("elastic", "exact", "Timoshenko & Goodier, Theory of Elasticity, art. 21 (from memory)")
KIRSCH = Source("elastic", "exact", "Kirsch 1898; Timoshenko & Goodier art. 35 (from memory)")
HOWLAND = Source(
    "elastic", "published", "Howland, Phil. Trans. Royal Society A 229, 1930 (numbers from memory)"
)
ROARK = Source(
    "elastic",
    "published formula",
    "Roark's Formulas for Stress and Strain, hole in a strip (polynomial read in a reprint)",
)


@CASES.case("patch test", "elastic")
def patch_test() -> CaseAnswer:
    """Linear displacements on the boundary of an irregular mesh give one stress everywhere."""
    mesh = mesh_outline(
        Outline((chain([(0, 0), (1, 0.1), (1.2, 1), (0.1, 0.8)], ["edge"] * 4),)), uniform(0.23)
    )
    gradient = np.array([[1.0, 2.0], [-0.5, 3.0]]) * 1e-3
    edge = np.unique(mesh.boundary.nodes)
    unknowns = np.concatenate([2 * edge, 2 * edge + 1])
    exact = mesh.nodes @ gradient.T
    along, across, shear = gradient[0, 0], gradient[1, 1], 0.5 * (gradient[0, 1] + gradient[1, 0])
    checks = []
    for plane in STATES:
        body = PlaneElastic(1000.0, 0.3, plane)
        stiff, nu = body.modulus / (1.0 - body.ratio**2), body.ratio
        known = stiff * np.array([along + nu * across, across + nu * along, (1.0 - nu) * shear])
        material = PlaneMaterial(1000.0, 0.3, plane)
        u = given_displacements(mesh, material, unknowns, exact[edge].T.ravel())
        stress = nodal_stresses(mesh, material, u.reshape(-1, 2))[:, :3]
        checks.append(HOOKE.relative(f"patch test, plane {plane}: sxx, MPa", stress[0, 0], known[0], 1e-11))
        worst = float(np.abs(stress - known).max())
        checks.append(
            HOOKE.absolute(f"patch test, plane {plane}: largest error of stress, MPa", worst, 0.0, 1e-10)
        )
    return CaseAnswer(tuple(checks))


@CASES.case("Cook's membrane", "elastic")
def cook_membrane() -> CaseAnswer:
    """Skew membrane clamped on the left, sheared on the right."""
    (x0, y0), right_low, (x1, y1), left_high = plates.COOK_CORNERS_MM
    middle = (x1, 0.5 * (right_low[1] + y1))
    corners = [(x0, y0), right_low, middle, (x1, y1), left_high]
    outline = Outline((chain(corners, ["edge", "loaded", "loaded", "edge", HELD]),))
    size = graded([left_high, (x0, y0)], 0.2, 4.0, growth=0.22)
    mesh = mesh_outline(outline, size)
    body = HeldBody(
        mesh, PlaneMaterial(1.0, 1.0 / 3.0), clamped=np.unique(mesh.boundary.nodes[mesh.sides_named(HELD)])
    )
    shear = 1.0 / (y1 - right_low[1])
    load = side_loads(mesh, mesh.sides_named("loaded"), lambda x, n: np.tile([0.0, shear], (len(x), 1)))
    v = body.displacements(load[:, None])[2 * node_at(mesh, middle) + 1, 0]
    return CaseAnswer(
        (
            COOK.relative("Cook's membrane: movement of the mid edge, mm", v, plates.COOK_PUBLISHED_MM, 2e-3),
            COOK_OTHER.relative(
                "Cook's membrane: the same, converged, mm", v, plates.COOK_CONVERGED_MM, 5e-4
            ),
        )
    )


def arcs_through(points: Array, name: str) -> tuple[Piece, ...]:
    """Circular arcs through points (2 n + 1, 2), three at a time."""
    out = []
    for i in range(0, len(points) - 2, 2):
        a, b, c = points[i : i + 3]
        rows = np.array([b - a, c - b])
        centre = np.linalg.solve(rows, 0.5 * np.array([b @ b - a @ a, c @ c - b @ b]))
        from_, to = (math.atan2(*(p - centre)[::-1]) for p in (a, c))
        turn = math.remainder(to - from_, math.tau)
        out.append(
            Piece(
                (float(a[0]), float(a[1])),
                (float(c[0]), float(c[1])),
                name,
                (float(centre[0]), float(centre[1])),
                float(np.hypot(*(a - centre))),
                turn,
            )
        )
    return tuple(out)


def _ellipse(axes: tuple[float, float], angles: Array, name: str) -> tuple[Piece, ...]:
    return arcs_through(np.column_stack([axes[0] * np.cos(angles), axes[1] * np.sin(angles)]), name)


@CASES.case("elliptic membrane", "elastic")
def elliptic_membrane() -> CaseAnswer:
    """A quarter of an elliptic ring pulled outward; lengths in m, stresses in MPa."""
    inner, outer = plates.LE1_INNER_SEMIAXES_M, plates.LE1_OUTER_SEMIAXES_M
    quarter = np.linspace(0.0, math.pi / 2, 41)
    loop = (
        line((inner[0], 0.0), (outer[0], 0.0), "low"),
        *_ellipse(outer, quarter, "pulled"),
        line((0.0, outer[1]), (0.0, inner[1]), "left"),
        *_ellipse(inner, quarter[::-1], "free"),
    )
    mesh = mesh_outline(Outline((loop,)), graded([(inner[0], 0.0)], 0.02, 0.2))
    material = PlaneMaterial(plates.LE1_YOUNGS_MPA, plates.LE1_POISSON)
    held = np.concatenate([side_unknowns(mesh, 1, "low"), side_unknowns(mesh, 0, "left")])
    load = side_loads(mesh, mesh.sides_named("pulled"), pressed(-plates.LE1_PRESSURE_MPA))
    u = given_displacements(mesh, material, held, np.zeros(len(held)), load).reshape(-1, 2)
    stress = nodal_stresses(mesh, material, u)[node_at(mesh, (inner[0], 0.0)), 1]
    return CaseAnswer(
        (LE1.relative("elliptic membrane LE1: stress at D, MPa", stress, plates.LE1_STRESS_MPA, 5e-3),)
    )


@CASES.case("cantilever", "elastic")
def cantilever() -> CaseAnswer:
    """End-loaded cantilever with the exact displacements of its root."""
    checks = []
    outline = Outline(
        (chain([(0, -1), (10, -1), (10, 0), (10, 1), (0, 1)], ["edge", "tip", "tip", "edge", "root"]),)
    )
    mesh = mesh_outline(outline, uniform(0.5))
    for plane in STATES:
        beam = plates.Cantilever(10.0, 2.0, 1.0, PlaneElastic(1000.0, 0.3, plane))
        root = np.unique(mesh.boundary.nodes[mesh.sides_named("root")])
        given = plates.cantilever_displacement(beam, *mesh.nodes[root].T)
        load = side_loads(mesh, mesh.sides_named("tip"), functools.partial(_tip_shear, beam))
        unknowns = np.concatenate([2 * root, 2 * root + 1])
        material = PlaneMaterial(1000.0, 0.3, plane)
        u = given_displacements(mesh, material, unknowns, np.concatenate(given), load).reshape(-1, 2)
        exact = float(plates.cantilever_displacement(beam, 10.0, 0.0)[1])
        tip = u[node_at(mesh, (10.0, 0.0)), 1]
        checks.append(BEAM.relative(f"cantilever, plane {plane}: movement of the tip, mm", tip, exact, 1e-4))
    return CaseAnswer(tuple(checks))


def _tip_shear(beam: plates.Cantilever, x: Array, normal: Array) -> Array:
    along, _, shear = plates.cantilever_stress(beam, x[:, 0], x[:, 1])
    return np.column_stack([along, shear])


@CASES.case("hole in a plate", "elastic")
def hole_in_plate() -> CaseAnswer:
    """Hole in an infinite plate: the exact tractions on a square cut out of it."""
    half = 5.0
    square = chain([(-half, -half), (half, -half), (half, half), (-half, half)], ["edge"] * 4)
    outline = Outline((square, circle(1.0, "hole", hole=True)))
    mesh = mesh_outline(outline, graded(_round(1.0), 0.025, 1.0))
    material = PlaneMaterial(1000.0, 0.3)
    sides = mesh.sides_named("edge")
    load = side_loads(mesh, sides, _kirsch_traction)
    u = HeldBody(mesh, material, carried=sides).displacements(load[:, None])[:, 0].reshape(-1, 2)
    stress = nodal_stresses(mesh, material, u)
    top, side = stress[node_at(mesh, (0.0, 1.0)), 0], stress[node_at(mesh, (1.0, 0.0)), 1]
    return CaseAnswer(
        (
            KIRSCH.relative("hole in a plate: stress across the pull over the pull", top, 3.0, 3e-3),
            KIRSCH.relative("hole in a plate: stress on the pull's axis over the pull", side, -1.0, 1e-2),
        )
    )


def _round(radius: float, count: int = 48) -> Array:
    angle = np.linspace(0.0, math.tau, count, endpoint=False)
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


def _kirsch_traction(x: Array, normal: Array) -> Array:
    angle = np.arctan2(x[:, 1], x[:, 0])
    radial, hoop, shear = plates.kirsch_stress(np.hypot(*x.T), angle, 1.0, 1.0)
    c, s = np.cos(angle), np.sin(angle)
    sxx = radial * c**2 + hoop * s**2 - 2 * shear * s * c
    syy = radial * s**2 + hoop * c**2 + 2 * shear * s * c
    sxy = (radial - hoop) * s * c + shear * (c**2 - s**2)
    return np.column_stack([sxx * normal[:, 0] + sxy * normal[:, 1], sxy * normal[:, 0] + syy * normal[:, 1]])


@CASES.case("hole in a strip", "elastic")
def hole_in_strip() -> CaseAnswer:
    """Central hole in a pulled strip of finite width."""
    checks: list[Check] = []
    for ratio in (0.2, 0.3, 0.5):
        gross = strip_factor(ratio)
        name = f"hole in a strip, d/W {ratio}"
        checks.append(HOWLAND.relative(f"{name}: gross factor", gross, plates.HOWLAND_GROSS[ratio], 1e-2))
        net = gross * (1.0 - ratio)
        checks.append(ROARK.relative(f"{name}: net factor", net, plates.hole_factor_roark(ratio), 1e-2))
    return CaseAnswer(tuple(checks))


def strip_factor(ratio: float) -> float:
    """Largest stress beside a central hole over the pull, for the hole's share of the width."""
    width, length = 1.0 / ratio, 2.0 / ratio  # hole of diameter 1; the strip reaches two widths each way
    corners: Sequence[tuple[float, float]] = [
        (-length, -width / 2),
        (length, -width / 2),
        (length, width / 2),
        (-length, width / 2),
    ]
    outline = Outline((chain(corners, ["edge", "pulled", "edge", "pulled"]), circle(0.5, "hole", hole=True)))
    mesh: SectionMesh = mesh_outline(outline, graded(_round(0.5), 0.04, width / 5))
    sides = mesh.sides_named("pulled")
    material = PlaneMaterial(1000.0, 0.3)
    load = side_loads(mesh, sides, pressed(-1.0))
    u = HeldBody(mesh, material, carried=sides).displacements(load[:, None])[:, 0].reshape(-1, 2)
    return float(nodal_stresses(mesh, material, u)[node_at(mesh, (0.0, 0.5)), 0])
