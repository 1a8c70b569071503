"""Flexibility from one sector against that of the whole body, and the stress operator against the stresses."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from cases import case

from contactfe.elastic import HeldBody, PlaneMaterial, cyclic_flexibility, element_stresses, stress_operator
from contactfe.errors import ContactFEError
from contactfe.mesh import mesh_fastener
from contactfe.profile import profile_pair

SHAPES: dict[str, dict[str, Any]] = {
    "hexagon": {},
    "worn on the driven side": {"rounding": "40 %", "worn_side": "driven"},
    "round": {"rounding": "100 %"},
    "square": {"shape": "square"},
    "double hexagon": {"shape": "double-hex"},
}
WRENCH = {"square": "open-end", "double hexagon": "ring-twelve"}


@pytest.mark.parametrize("plane", ["stress", "strain"])
@pytest.mark.parametrize("shape", SHAPES)
def test_one_sector_answers_like_the_whole_body(shape: str, plane: str) -> None:
    c = case(WRENCH.get(shape, "ring-six"), fastener=SHAPES[shape], mesh={"edge_at_contact": "0.4 mm"})
    mesh, sector = mesh_fastener(profile_pair(c), c.mesh)
    assert sector is not None
    assert sector.count == (4 if shape == "square" else 6)
    steel = PlaneMaterial(206e3, 0.3, plane)  # type: ignore[arg-type]
    core = np.unique(mesh.boundary.nodes[mesh.sides_named("core")])
    outer = np.unique(mesh.boundary.nodes[mesh.boundary.piece < len(mesh.outline.loops[0])])
    whole = HeldBody(mesh, steel, clamped=core).flexibility(outer)
    found = cyclic_flexibility(sector, steel, *sector.edges())
    np.testing.assert_array_equal(found.nodes, outer)
    np.testing.assert_allclose(found.matrix, whole.matrix, atol=1e-11 * np.abs(whole.matrix).max())


def test_a_node_on_the_core_cannot_be_asked_for() -> None:
    c = case("ring-six", mesh={"edge_at_contact": "0.8 mm"})
    sector = mesh_fastener(profile_pair(c), c.mesh)[1]
    assert sector is not None
    core, outer = sector.edges()
    with pytest.raises(ContactFEError, match="clamped"):
        cyclic_flexibility(sector, PlaneMaterial(206e3, 0.3), core, np.append(outer, core[0]))


@pytest.mark.parametrize("plane", ["stress", "strain"])
def test_the_stress_operator_gives_the_stresses_of_the_cells(plane: str) -> None:
    c = case("ring-six", mesh={"edge_at_contact": "0.8 mm"})
    mesh = mesh_fastener(profile_pair(c), c.mesh)[0]
    steel = PlaneMaterial(206e3, 0.3, plane)  # type: ignore[arg-type]
    u = np.random.default_rng(5).uniform(-1e-3, 1e-3, (len(mesh.nodes), 2))
    some = np.arange(0, len(mesh.cells), 7)
    operator = stress_operator(mesh, steel, mesh.cells[some])
    found = np.einsum("smand,mnd->mas", operator, u[mesh.cells[some]])
    np.testing.assert_allclose(found, element_stresses(mesh, steel, u)[some][..., :3], rtol=1e-9, atol=1e-6)
