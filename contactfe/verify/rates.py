"""How fast errors fall with the edge length on a smooth problem: order 3 for displacement, 2 for the energy norm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from contactfe.elastic import HeldBody, PlaneMaterial, element_stresses, pressed, side_loads
from contactfe.mesh import SectionMesh
from contactfe.reference import PlaneElastic, rings
from contactfe.verify.bodies import Array
from contactfe.verify.check import CASES, CaseAnswer, Source
from contactfe.verify.quadrature import cell_quadrature
from contactfe.verify.rings import annulus

THEORY = Source(
    "elastic",
    "published formula",
    "a-priori estimates for quadratic elements: Strang & Fix, An Analysis of the FEM, 1973 (from memory)",
)
EDGES_MM = (0.32, 0.16, 0.08)

Field = Callable[[Array], Array]


def errors(
    mesh: SectionMesh, material: PlaneMaterial, u: Array, exact_u: Field, exact_stress: Field
) -> tuple[float, float]:
    """Relative errors of displacement (root mean square) and of stress in the energy norm.

    ``exact_u`` gives (q, 2), ``exact_stress`` sxx, syy, sxy as (q, 3) at points (q, 2).
    """
    cells = cell_quadrature(mesh)
    x, w = cells.places, cells.weights
    moved = cells.values(mesh, u)
    stress = cells.cell_values(element_stresses(mesh, material, u)[..., :3])
    exact, exact_s = exact_u(x), exact_stress(x)
    displacement = np.sqrt(w @ np.sum((moved - exact) ** 2, axis=1) / (w @ np.sum(exact**2, axis=1)))
    energy = np.sqrt(w @ _energy(stress - exact_s, material) / (w @ _energy(exact_s, material)))
    return float(displacement), float(energy)


def _energy(stress: Array, material: PlaneMaterial) -> Array:
    """Strain energy density of in-plane stresses (q, 3) by Hooke's law."""
    e, nu = material.modulus, material.poisson
    if material.plane == "strain":
        e, nu = e / (1 - nu**2), nu / (1 - nu)
    sx, sy, t = stress.T
    return np.asarray((sx**2 + sy**2 - 2 * nu * sx * sy + 2 * (1 + nu) * t**2) / (2 * e))


def lame_errors(edge: float, plane: str = "stress") -> tuple[float, float]:
    """Errors of a ring under inner pressure on a mesh of one edge length."""
    mesh = annulus(1.0, 2.0, edge)
    material, body = PlaneMaterial(1000.0, 0.3, plane), PlaneElastic(1000.0, 0.3, plane)  # type: ignore[arg-type]
    sides = mesh.sides_named("inner")
    load = side_loads(mesh, sides, pressed(1.0))
    u = HeldBody(mesh, material, carried=sides).displacements(load[:, None])[:, 0].reshape(-1, 2)

    def exact_u(x: Array) -> Array:
        r = np.clip(np.hypot(*x.T), 1.0, 2.0)
        return np.asarray(rings.lame_displacement(r, 1.0, 2.0, (1.0, 0.0), body)[:, None] * x / r[:, None])

    def exact_stress(x: Array) -> Array:
        r = np.clip(np.hypot(*x.T), 1.0, 2.0)
        radial, hoop = rings.lame_stress(r, 1.0, 2.0, 1.0)
        c, s = x.T / r
        return np.column_stack(
            [radial * c**2 + hoop * s**2, radial * s**2 + hoop * c**2, (radial - hoop) * s * c]
        )

    return errors(mesh, material, u, exact_u, exact_stress)


@CASES.case("convergence rates", "elastic")
def convergence_rates() -> CaseAnswer:
    """Slopes of the errors over three meshes of a ring under pressure."""
    found = np.array([lame_errors(edge) for edge in EDGES_MM])
    slopes = [float(np.polyfit(np.log(EDGES_MM), np.log(found[:, k]), 1)[0]) for k in (0, 1)]
    return CaseAnswer(
        (
            THEORY.absolute("ring under pressure: order of the displacement error", slopes[0], 3.0, 0.4),
            THEORY.absolute("ring under pressure: order of the error in energy", slopes[1], 2.0, 0.3),
        )
    )
