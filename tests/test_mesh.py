"""Meshes: they follow the outline, have no bad element, and survive their files."""

from __future__ import annotations

import math
from pathlib import Path

import meshio
import numpy as np
import pytest
from cases import PROFILES, case
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from contactfe.errors import ContactFEError
from contactfe.mesh import (
    NODES,
    SectionMesh,
    fastener_sizes,
    mesh_fastener,
    mesh_outline,
    mesh_sectors,
    read_mesh,
    shapes,
    side_shapes,
    side_slopes,
    slopes,
    wrench_sizes,
    write_mesh,
)
from contactfe.profile import Outline, as_polygon, profile_pair

COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}


def exact_area(outline: Outline) -> float:
    """Area enclosed by lines and arcs: polygon of the corners plus the segment of every arc (plane geometry)."""
    area = 0.0
    for p in outline.pieces:
        area += 0.5 * (p.start[0] * p.end[1] - p.start[1] * p.end[0])
        if p.is_arc:
            area += 0.5 * p.radius**2 * (p.turn - math.sin(p.turn))
    return area


def both_meshes(**kwargs: object) -> list[SectionMesh]:
    c = case(**kwargs)  # type: ignore[arg-type]
    pair = profile_pair(c)
    return [
        mesh_fastener(pair, c.mesh)[0],
        mesh_outline(pair.wrench, wrench_sizes(pair, c.mesh)),
    ]


SHAPES = st.fixed_dictionaries(
    {
        "profile": st.sampled_from(PROFILES),
        "size": st.sampled_from(["M5", "M10", "M24", "1/4 in", "3/4 in", "1-1/2 in"]),
        "rounding": st.integers(0, 100),
        "worn": st.sampled_from(["both", "driven"]),
        "opening": st.sampled_from(["tight", "middle", "loose"]),
    }
)


# Shrinking a failing mesh would take minutes.
@settings(max_examples=20, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(shape=SHAPES)
def test_any_pair_meshes_and_keeps_its_area_and_angles(shape: dict[str, object]) -> None:
    meshes = both_meshes(
        profile=shape["profile"],
        size=shape["size"],
        grade="8.8" if str(shape["size"]).startswith("M") else "grade 5",
        fastener={"rounding": f"{shape['rounding']} %", "worn_side": shape["worn"]},
        wrench={"opening": shape["opening"]},
    )
    for mesh in meshes:
        quality = mesh.quality()
        assert quality.smallest_angle_deg > 8.0
        # Arcs of at most 0.45 rad drawn as parabolas through their middle: the area error is of fourth order.
        assert mesh.area() == pytest.approx(exact_area(mesh.outline), rel=2e-5)
        assert len(np.unique(mesh.cells)) == len(mesh.nodes)


def test_boundary_nodes_lie_on_the_exact_outline() -> None:
    for mesh in both_meshes(profile="ring-spline", fastener={"rounding": "30 %"}):
        b = mesh.boundary
        for k, piece in enumerate(mesh.outline.pieces):
            own = np.flatnonzero(b.piece == k)
            assert len(own) > 0
            for column, fraction in ((0, 0.0), (1, 0.5), (2, 1.0)):
                u = b.span[own, 0] + fraction * (b.span[own, 1] - b.span[own, 0])
                np.testing.assert_allclose(mesh.nodes[b.nodes[own, column]], piece.points(u), atol=1e-9)


@pytest.mark.parametrize("worn", ["both", "driven"])
@pytest.mark.parametrize("rounding", [0, 20, 60, 100])
def test_a_fastener_is_one_sector_turned(rounding: int, worn: str) -> None:
    c = case("ring-six", fastener={"rounding": f"{rounding} %", "worn_side": worn})
    pair = profile_pair(c)
    mesh, sector = mesh_fastener(pair, c.mesh)
    assert sector is not None and sector.count == 6
    angle = np.arange(6) * math.pi / 3
    for k, (co, si) in enumerate(zip(np.cos(angle), np.sin(angle), strict=True)):
        turned = sector.mesh.nodes @ np.array([[co, si], [-si, co]])
        np.testing.assert_allclose(mesh.nodes[sector.number[k]], turned, atol=1e-12)
    assert mesh.area() == pytest.approx(6 * sector.mesh.area(), rel=1e-12)
    # The sides run round each loop without a break, and every node of the mesh is one node.
    outer = mesh.boundary.piece < len(mesh.outline.loops[0])
    for loop in (outer, ~outer):
        sides = mesh.boundary.nodes[loop]
        np.testing.assert_array_equal(sides[:, 2], np.roll(sides[:, 0], -1))
    places = np.round(mesh.nodes, 7)
    assert len(np.unique(places, axis=0)) == len(places)


def test_sectors_that_are_not_alike_are_no_sectors() -> None:
    pair = profile_pair(case("ring-six"))
    sizes = fastener_sizes(pair, case("ring-six").mesh)
    assert mesh_sectors(pair.fastener, sizes, 6) is not None
    assert mesh_sectors(pair.fastener, sizes, 5) is None  # a hexagon has none
    assert mesh_sectors(pair.wrench, wrench_sizes(pair, case("ring-six").mesh), 6) is None
    moved = Outline((pair.fastener.loops[0], pair.fastener.scaled(1.01).rotated(0.3).loops[1]))
    found = mesh_sectors(moved, sizes, 6)  # a core that is turned: its pieces end elsewhere
    assert found is not None
    assert found[0].area() == pytest.approx(exact_area(moved), rel=2e-5)


def test_polygon_of_the_outline_has_the_same_area() -> None:
    # shapely's own arithmetic, an independent library.
    for mesh in both_meshes(profile="flare-nut"):
        assert as_polygon(mesh.outline, 0.01).area == pytest.approx(exact_area(mesh.outline), rel=1e-4)


@pytest.mark.parametrize("ending", [".vtu", ".msh"])
def test_files_come_back_bit_for_bit(tmp_path: Path, ending: str) -> None:
    mesh = both_meshes(profile="open-end", mesh=COARSE)[1]
    path = tmp_path / f"wrench{ending}"
    write_mesh(mesh, path)
    nodes, cells = read_mesh(path)
    np.testing.assert_array_equal(nodes, mesh.nodes)
    np.testing.assert_array_equal(cells, mesh.cells)
    assert not list(tmp_path.glob("*.part"))


def test_gmsh_file_names_its_edges(tmp_path: Path) -> None:
    mesh = both_meshes(profile="open-end", mesh=COARSE)[1]
    write_mesh(mesh, tmp_path / "w.msh")
    data = meshio.read(tmp_path / "w.msh")
    assert set(mesh.outline.names()) <= set(data.field_data)
    tags = data.cell_data_dict["gmsh:physical"]["line3"]
    flank = data.field_data["flank"][0]
    assert (tags == flank).sum() == len(mesh.sides_named("flank"))


def test_foreign_file_is_one_clear_error(tmp_path: Path) -> None:
    path = tmp_path / "x.vtu"
    path.write_bytes(b"\x00\x01not a mesh")
    with pytest.raises(ContactFEError, match="cannot read a mesh"):
        read_mesh(path)


def test_shape_functions_are_one_at_their_node_and_sum_to_one() -> None:
    # The definition of a Lagrange basis; the derivatives against differences.
    np.testing.assert_allclose(shapes(NODES), np.eye(6), atol=1e-15)
    np.testing.assert_allclose(side_shapes(np.array([0.0, 0.5, 1.0])), np.eye(3), atol=1e-15)
    rng = np.random.default_rng(3)
    local, s, h = rng.uniform(0.0, 0.5, (20, 2)), rng.uniform(0.0, 1.0, 20), 1e-6
    np.testing.assert_allclose(shapes(local).sum(axis=1), 1.0)
    for axis in (0, 1):
        step = h * np.eye(2)[axis]
        difference = (shapes(local + step) - shapes(local - step)) / (2 * h)
        np.testing.assert_allclose(slopes(local)[axis], difference, atol=1e-8)
    difference = (side_shapes(s + h) - side_shapes(s - h)) / (2 * h)
    np.testing.assert_allclose(side_slopes(s), difference, atol=1e-8)
