"""Linearised sections, jaw roots and limits against closed forms and an independent finite-element library."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cases import PROFILES, built, case, solved
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linprog

from contactfe.elastic import HeldBody, PlaneMaterial, nodal_stresses, von_mises
from contactfe.elastic.loads import side_loads
from contactfe.errors import ContactFEError
from contactfe.inputs import parse_case, to_dict
from contactfe.mesh import SectionMesh, SizeField, mesh_outline, values_at
from contactfe.profile import Outline, Piece, arc, line
from contactfe.reference import curved_bars, plates, rings
from contactfe.reference.plane import PlaneElastic
from contactfe.strength import Cuts, Resultants, head_cuts, resultants, utilisation
from contactfe.strength.operator import closed_round
from contactfe.strength.plastic_limit import ring_utilisation, self_stress
from contactfe.strength.sections import SHARES, STATIONS
from contactfe.turn import spread_mm

Array = NDArray[np.float64]
STEEL = PlaneMaterial(1000.0, 0.3)
STORED = Path(__file__).parent / "independent"


def size_at(points: Sequence[Sequence[float]], fine: float, largest: float) -> SizeField:
    at = np.array(points, dtype=float)
    return SizeField(at, np.full(len(at), fine), np.full(len(at), 0.25), largest)


def chain(points: Sequence[tuple[float, float]], names: Sequence[str]) -> tuple[Piece, ...]:
    return tuple(line(points[i], points[(i + 1) % len(points)], name) for i, name in enumerate(names))


def stress_on(
    mesh: SectionMesh, load: Array, carrier: str, material: PlaneMaterial = STEEL
) -> tuple[Array, Array]:
    """Displacements (n, 2) and nodal stresses of a body under loads in balance."""
    body = HeldBody(mesh, material, carried=mesh.sides_named(carrier))
    u = body.displacements(load[:, None])[:, 0].reshape(-1, 2)
    return u, nodal_stresses(mesh, material, u)


def cut(mesh: SectionMesh, stress: Array, inner: Sequence[float], outer: Sequence[float]) -> Resultants:
    cuts = Cuts(np.array([inner], dtype=float), np.array([outer], dtype=float), ("here",))
    along = values_at(mesh, cuts.points(STATIONS)[0]) @ stress
    return resultants(along[None], cuts.direction, cuts.height)


# --- the rule itself ----------------------------------------------------------------------------------------------


def test_stations_integrate_polynomials_exactly() -> None:
    # Four Gauss points a stage: exact to the seventh degree (Gauss-Legendre).
    for power in range(8):
        assert SHARES @ STATIONS**power == pytest.approx(1.0 / (power + 1), rel=1e-12)


@settings(max_examples=30, deadline=None)
@given(n=st.floats(-0.99, 0.99), scale=st.floats(0.1, 10.0), height=st.floats(0.5, 20.0))
def test_rectangular_section_yields_through_at_its_exact_limit(n: float, scale: float, height: float) -> None:
    # Exact: rectangular section, perfectly plastic. A stress block of +Y and -Y that meets at a share k of the height
    # carries N = Y h (1 - 2 k), M = Y h^2 k (1 - k).
    strength = 100.0
    k = 0.5 * (1.0 - n)
    loads = Resultants(
        np.array([height]),
        np.array([strength * height * n]) * scale,
        np.zeros(1),
        np.array([strength * height**2 * k * (1 - k)]) * scale,
    )
    if scale == 1.0:
        assert utilisation(loads, strength)[0] == pytest.approx(1.0, rel=1e-9)
    # Grown or shrunk in proportion, the section is used in proportion: find the scale back.
    one = Resultants(loads.height, loads.normal / scale, loads.shear, loads.moment / scale)
    assert utilisation(one, strength)[0] == pytest.approx(1.0, rel=1e-9)
    assert utilisation(loads, strength)[0] == pytest.approx(scale, rel=1e-9)


def test_pure_loads_use_the_section_as_textbooks_say() -> None:
    # Plastic moment of a rectangle 1.5 times the elastic one; pure shear at Y/sqrt(3) (von Mises); plane strain
    # bending 2/sqrt(3) as strong.
    h, y, zero = np.array([4.0]), 250.0, np.zeros(1)
    elastic = y * h**2 / 6.0
    assert utilisation(Resultants(h, zero, zero, elastic), y)[0] == pytest.approx(1 / 1.5)
    assert utilisation(Resultants(h, y * h, zero, zero), y)[0] == pytest.approx(1.0)
    assert utilisation(Resultants(h, zero, y * h / math.sqrt(3.0), zero), y)[0] == pytest.approx(1.0)
    bent = utilisation(Resultants(h, zero, zero, elastic), y, "strain")[0]
    assert bent == pytest.approx(math.sqrt(3.0) / 2.0 / 1.5)


def test_probe_is_exact_for_quadratic_fields_and_refuses_points_outside() -> None:
    mesh = mesh_outline(
        Outline((chain([(0, 0), (3, 0), (3, 2), (0, 2)], ["a"] * 4),)), size_at([(1, 1)], 0.2, 0.6)
    )
    points = np.random.default_rng(3).uniform((0.0, 0.0), (3.0, 2.0), (200, 2))

    def field(x: Array) -> Array:
        return np.asarray(1.0 + x[:, 0] - 2.0 * x[:, 1] + x[:, 0] ** 2 - 3.0 * x[:, 0] * x[:, 1])

    np.testing.assert_allclose(
        values_at(mesh, points) @ field(mesh.nodes), field(points), rtol=1e-11, atol=1e-11
    )
    with pytest.raises(ContactFEError, match="outside the mesh"):
        values_at(mesh, np.array([[5.0, 1.0]]))


# --- rings, strips, curved bars -----------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def thick_ring() -> tuple[SectionMesh, Array]:
    outer = tuple(arc((0, 0), 2.0, k * math.pi / 2, (k + 1) * math.pi / 2, "out") for k in range(4))
    inner = tuple(arc((0, 0), 1.0, -k * math.pi / 2, -(k + 1) * math.pi / 2, "in") for k in range(4))
    mesh = mesh_outline(Outline((outer, inner)), size_at([(0.0, 0.0)], 0.12, 0.25))
    load = side_loads(mesh, mesh.sides_named("in"), lambda x, n: -n)
    # Held at a few sides of the outside: a load in balance needs no support, it only fixes the rigid motion.
    body = HeldBody(mesh, STEEL, carried=mesh.sides_named("out"))
    u = body.displacements(load[:, None])[:, 0].reshape(-1, 2)
    return mesh, nodal_stresses(mesh, STEEL, u)


@pytest.mark.parametrize("angle", [0.3, 1.9, 4.4])
def test_wall_of_a_thick_ring_carries_the_moments_of_lame(angle: float) -> None:
    # Lame 1852 (Timoshenko & Goodier art. 28, from memory): membrane p a/(b - a) exactly, by balance of half a ring;
    # the bending part integrated from Lame's hoop stress.
    mesh, stress = thick_ring()
    d = np.array([math.cos(angle), math.sin(angle)])
    found = cut(mesh, stress, 1.0 * d, 2.0 * d)
    a, b = 1.0, 2.0
    r, w = np.polynomial.legendre.leggauss(20)
    r, w = 0.5 * (b + a) + 0.5 * (b - a) * r, 0.5 * (b - a) * w
    hoop = rings.lame_stress(r, a, b, 1.0)[1]
    moment = float(w @ (hoop * (0.5 * (a + b) - r)))
    assert found.membrane[0] == pytest.approx(a / (b - a), rel=3e-3)
    assert found.bending[0] == pytest.approx(6.0 * moment / (b - a) ** 2, rel=0.015)
    assert abs(found.mean_shear[0]) < 2e-3


def test_ligament_of_a_notched_strip_carries_what_balance_demands() -> None:
    # A strip of width 10 with one round notch 3 deep under uniform tension 1 far away. Exact by balance: the ligament
    # of 7 carries N = 10 and, its middle lying 1.5 off the load, M = 15, that pulls at the notch.
    w, depth, half = 10.0, 3.0, 25.0
    outer = [
        line((-half, 0), (half, 0), "free"),
        line((half, 0), (half, w), "right"),
        line((half, w), (1.0, w), "free"),
        line((1.0, w), (1.0, w - depth + 1.0), "free"),
        arc((0.0, w - depth + 1.0), 1.0, 0.0, -math.pi, "notch"),
        line((-1.0, w - depth + 1.0), (-1.0, w), "free"),
        line((-1.0, w), (-half, w), "free"),
        line((-half, w), (-half, 0), "left"),
    ]
    mesh = mesh_outline(Outline((tuple(outer),)), size_at([(0.0, w - depth)], 0.15, 1.2))
    load = side_loads(mesh, mesh.sides_named("left", "right"), lambda x, n: n)
    _, stress = stress_on(mesh, load, "left")
    found = cut(mesh, stress, (0.0, w - depth), (0.0, 0.0))
    assert found.normal[0] == pytest.approx(w, rel=3e-3)
    assert found.moment[0] == pytest.approx(w * depth / 2, rel=5e-3)
    assert abs(found.shear[0]) < 5e-3 * w
    # Linearised stress at the notch: N/h + 6 M/h^2 of the ligament's h = 7.
    linear = found.membrane[0] + found.bending[0]
    assert linear == pytest.approx(10 / 7 + 6 * 15 / 49, rel=5e-3)


def test_ligaments_beside_a_hole_share_the_load_and_the_peak_is_the_handbooks() -> None:
    # Strip with a hole, d/W = 0.3: each ligament carries half of the load (balance); gross stress concentration 3.36
    # (Howland 1930, from memory) and 3.374 (converged finite elements of the reference).
    w, r = 10.0, 1.5
    outer = chain([(-20, -w / 2), (20, -w / 2), (20, w / 2), (-20, w / 2)], ["free", "right", "free", "left"])
    hole = tuple(arc((0, 0), r, -k * math.pi / 2, -(k + 1) * math.pi / 2, "hole") for k in range(4))
    mesh = mesh_outline(Outline((outer, hole)), size_at([(0.0, r), (0.0, -r)], 0.1, 1.2))
    load = side_loads(mesh, mesh.sides_named("left", "right"), lambda x, n: n)
    _, stress = stress_on(mesh, load, "left")
    for sign in (1.0, -1.0):
        found = cut(mesh, stress, (0.0, sign * r), (0.0, sign * w / 2))
        assert found.normal[0] == pytest.approx(w / 2, rel=3e-3)
        assert found.membrane[0] == pytest.approx(1.0 / (1.0 - 0.3), rel=3e-3)
    peak = float(von_mises(stress).max())
    assert peak == pytest.approx(plates.HOWLAND_GROSS[0.3], rel=1.5e-2)
    assert peak == pytest.approx(plates.CONVERGED_GROSS[0.3], rel=1e-2)


@lru_cache(maxsize=4)
def hook(a: float, b: float, arm: float) -> tuple[SectionMesh, Array, Array]:
    """A U hook, half ring and two arms, pulled apart by unit forces at its ends; like the jaws of an open end."""
    outline = Outline(
        (
            (
                arc((0, 0), b, math.pi / 2, 3 * math.pi / 2, "back"),
                line((0, -b), (arm, -b), "back"),
                line((arm, -b), (arm, -a), "low"),
                line((arm, -a), (0, -a), "inside"),
                arc((0, 0), a, 3 * math.pi / 2, math.pi / 2, "root"),
                line((0, a), (arm, a), "inside"),
                line((arm, a), (arm, b), "high"),
                line((arm, b), (0, b), "back"),
            ),
        )
    )
    mesh = mesh_outline(outline, size_at([(0.0, 0.0)], 0.05, 0.15))
    h, middle = b - a, 0.5 * (a + b)

    def shear(x: Array, n: Array) -> Array:
        y = np.abs(x[:, 1]) - middle
        return np.column_stack([np.zeros(len(x)), np.sign(x[:, 1]) * 1.5 / h * (1.0 - (2 * y / h) ** 2)])

    load = side_loads(mesh, mesh.sides_named("low", "high"), shear)
    u, stress = stress_on(mesh, load, "low")
    mesh_load = load @ u.ravel()  # work: unit forces on both ends, so the opening itself
    return mesh, stress, np.array([mesh_load])


def test_jaw_spread_of_a_hook_is_that_of_the_curved_bar_and_of_an_independent_library() -> None:
    # Opening 0.243211 mm: two independent finite-element codes (curved_bars.U_HOOK_OPENING_MM), within 2 %; the thin
    # curved bar (Castigliano; Timoshenko, Strength of Materials II, from memory) is 2.9 % low at h/R = 0.67.
    _, _, opening = hook(1.0, 2.0, 1.0)
    assert opening[0] == pytest.approx(curved_bars.U_HOOK_OPENING_MM[(1.0, 2.0, 1.0)], rel=2e-3)
    thin = curved_bars.u_hook_opening((1.0, 2.0), 1.0, 1.0, PlaneElastic(1000.0, 0.3))
    assert opening[0] == pytest.approx(thin, rel=0.05)


def test_root_stress_of_a_hook_is_that_of_the_curved_bar() -> None:
    # The half ring under its end forces (Timoshenko & Goodier art. 33) and the arms' moment P L in pure bending
    # (Golovin 1881, T&G art. 29; both from memory): the jaw root's stress within 5 %; its resultants exactly.
    a, b, arm = 1.0, 2.0, 1.0
    mesh, stress, _ = hook(a, b, arm)
    root = float((values_at(mesh, np.array([[-a, 0.0]])) @ stress[:, 1])[0])
    exact = float(
        curved_bars.half_ring_crown_stress(a, a, b, 1.0) + curved_bars.golovin_stress(a, a, b, arm)[1]
    )
    assert root == pytest.approx(exact, rel=0.05)
    assert root == pytest.approx(exact, rel=0.015)
    found = cut(mesh, stress, (-a, 0.0), (-b, 0.0))
    assert found.normal[0] == pytest.approx(1.0, abs=0.03)  # beside a bending of 15
    assert found.moment[0] == pytest.approx(
        arm + 0.5 * (a + b), rel=0.01
    )  # balance: force times lever to the middle


# --- an open end against an independent library -------------------------------------------------------------------


@lru_cache(maxsize=1)
def stored_head() -> tuple[SectionMesh, Array, Array]:
    """The open-end head whose outline and answers an independent library left in tests/independent."""
    given = json.loads((STORED / "stored.json").read_text())["open_end"]["input"]
    pieces = tuple(_piece(p) for p in given["pieces"])
    throat = [p.start for p in pieces if p.name == "throat"]
    mesh = mesh_outline(Outline((pieces,)), size_at([*throat, (0.0, 8.08), (0.0, -8.08)], 0.25, 1.6))

    def hump(x: Array, n: Array) -> Array:
        share = np.where(np.abs(x[:, 0]) < 4.0, 15.0 / 64.0 * (1.0 - (x[:, 0] / 4.0) ** 2) ** 2, 0.0)
        return -share[:, None] * n

    load = side_loads(mesh, mesh.sides_named("flank"), hump)
    pushed = float(load.reshape(-1, 2)[mesh.nodes[:, 1] > 0, 1].sum())
    material = PlaneMaterial(given["young_MPa"], given["poisson"])
    u, stress = stress_on(mesh, load / pushed, "handle-end", material)
    return mesh, u, stress


def _piece(p: dict[str, Any]) -> Piece:
    return Piece(tuple(p["start"]), tuple(p["end"]), p["name"], tuple(p["centre"]), p["radius"], p["turn"])


def test_jaw_spread_of_an_open_end_agrees_with_an_independent_library() -> None:
    # NGSolve, fourth order on exact arcs (tests/independent/ngsolve_reference.py): within 2 %.
    mesh, u, _ = stored_head()
    sides = mesh.sides_named("tip")
    nodes = mesh.boundary.nodes[sides]
    length = np.linalg.norm(mesh.nodes[nodes[:, 2]] - mesh.nodes[nodes[:, 0]], axis=1)
    weight = length[:, None] * np.array([1.0, 4.0, 1.0]) / 6.0
    apart = float((weight * np.sign(mesh.nodes[nodes, 1]) * u[nodes, 1]).sum() / (0.5 * weight.sum()))
    expected = json.loads((STORED / "stored.json").read_text())["open_end"]["answer"]["opening_mm"]
    assert apart == pytest.approx(expected, rel=0.02)
    assert apart == pytest.approx(expected, rel=0.003)


def test_jaw_root_stresses_of_an_open_end_agree_with_an_independent_library() -> None:
    # NGSolve (tests/independent/jaw_root.py): the largest von Mises stress of each rounded corner, within 2 %.
    mesh, _, stress = stored_head()
    mises = von_mises(stress)
    for corner in json.loads((STORED / "jaw_root.json").read_text())["corners"]:
        near = np.linalg.norm(mesh.nodes - np.array(corner["centre"]), axis=1) < 1.6 + 1e-6
        assert near.sum() > 5
        assert float(mises[near].max()) == pytest.approx(corner["von_mises_MPa"], rel=0.02)


def test_sections_of_an_open_end_agree_with_an_independent_library_and_with_statics() -> None:
    # NGSolve's integrals over the same cuts, and the force of 1 N/mm at x = 0 by hand: N^2 + V^2 = 1, M = lever arm.
    mesh, _, stress = stored_head()
    for given_cut in json.loads((STORED / "jaw_root.json").read_text())["cuts"]:
        found = cut(mesh, stress, given_cut["inner"], given_cut["outer"])
        for name in ("normal", "shear", "moment"):  # N is small beside the bending that it is a part of
            assert getattr(found, name)[0] == pytest.approx(given_cut[name], rel=0.01, abs=0.02)
        middle_x = 0.5 * (given_cut["inner"][0] + given_cut["outer"][0])
        assert math.hypot(found.normal[0], found.shear[0]) == pytest.approx(1.0, rel=5e-3)
        assert found.moment[0] == pytest.approx(-middle_x, rel=5e-3)


# --- cuts of heads ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES)
def test_cuts_cross_the_head_and_nothing_else(profile: str) -> None:
    import shapely

    from contactfe.profile import as_polygon, profile_pair

    outline = profile_pair(case(profile)).wrench
    cuts = head_cuts(outline, 16.0)
    polygon = as_polygon(outline, 0.02).buffer(0.05)
    for inner, outer in zip(cuts.inner, cuts.outer, strict=True):
        assert polygon.covers(shapely.LineString([inner, outer]))
    edge = as_polygon(outline, 0.02).boundary
    ends = np.vstack([cuts.inner, cuts.outer])
    assert max(edge.distance(shapely.Point(p)) for p in ends) < 0.02
    assert "handle at the head" in cuts.place
    wanted = {
        "open-end": {"jaw root", "throat", "jaw"},
        "flare-nut": {"wall over the corner", "end of the slot"},
    }
    assert wanted.get(profile, {"wall over the corner"}) <= set(cuts.place)


def test_self_stress_is_what_goes_round_a_ring_between_two_loads() -> None:
    # Thin ring pulled by W along y, first quadrant (Timoshenko; Roark, from memory): N = W cos f / 2, V = -W sin f / 2,
    # M = W R (1/pi - cos f / 2): one force (0, -W/2) at the axis and one couple -W R / pi make all three.
    radius, load = 20.0, 3.0
    angle = np.linspace(0.1, 1.4, 7)
    d = np.column_stack([np.cos(angle), np.sin(angle)])
    cuts = Cuts((radius - 0.5) * d, (radius + 0.5) * d, ("wall",) * len(angle))
    goes_round = np.array([0.0, -load / 2, -load * radius / math.pi])
    normal, shear, moment = (part @ goes_round for part in self_stress(cuts))
    np.testing.assert_allclose(normal, load * np.cos(angle) / 2)
    np.testing.assert_allclose(shear, -load * np.sin(angle) / 2)
    np.testing.assert_allclose(moment, load * radius * (1 / math.pi - np.cos(angle) / 2))


def test_whole_ring_is_weaker_than_its_worst_section_never() -> None:
    # Lower-bound theorem: with the self-stress zero the worst section alone limits; a self-stress can only help. And a
    # section's use is that of a ring that cannot redistribute.
    outer = tuple(arc((0, 0), 12.0, k * math.pi / 2, (k + 1) * math.pi / 2, "outside") for k in range(4))
    inner = tuple(arc((0, 0), 9.0, -k * math.pi / 2, -(k + 1) * math.pi / 2, "flank") for k in range(4))
    outline = Outline((outer, inner))
    cuts = head_cuts(outline, 16.0)
    ring = np.ones(len(cuts.place), dtype=bool)
    for pull in (1.0, -2.0):
        loads = pinched_ring(cuts, pull)
        alone = float(utilisation(loads, 100.0).max())
        assert ring_utilisation(loads, cuts, ring, (100.0, 100.0)) <= alone * (1 + 1e-3)
    # Without redundancy the programme is the worst section.
    same = ring_utilisation(loads, cuts, np.zeros(len(ring), dtype=bool), (100.0, 100.0))
    assert same == pytest.approx(alone, rel=3e-3)


def pinched_ring(cuts: Cuts, load: float) -> Resultants:
    """Thin ring of mean radius R under two opposite loads W along y: N and M by hand (Timoshenko; Roark, from memory).

    M = W R (1/pi - sin t / 2), N = W sin t / 2, t from the axis of the loads; M pulls at the inside where positive.
    """
    middle = 0.5 * (cuts.inner + cuts.outer)
    radius = float(np.linalg.norm(middle, axis=1).mean())
    s = np.abs(middle[:, 0]) / np.linalg.norm(middle, axis=1)
    zero = np.zeros(len(s))
    return Resultants(cuts.height, 0.5 * load * s, zero, load * radius * (1.0 / math.pi - 0.5 * s))


def test_collapse_of_a_pinched_ring_is_the_plastic_hinge_mechanism() -> None:
    # Four hinges (two under the loads, two half-way): the moments there level out at W R / 4 = Mp, against W R / pi of
    # the elastic ring (limit analysis of a thin ring, exact when N is neglected; derived by hand: sum of the two
    # elastic moments W R / pi + W R (1/2 - 1/pi) = W R / 2 = 2 Mp).
    outer = tuple(arc((0, 0), 100.5, k * math.pi / 2, (k + 1) * math.pi / 2, "outside") for k in range(4))
    inner = tuple(arc((0, 0), 99.5, -k * math.pi / 2, -(k + 1) * math.pi / 2, "flank") for k in range(4))
    cuts = head_cuts(Outline((outer, inner)), 60.0)
    ring = np.ones(len(cuts.place), dtype=bool)
    strength, load = 100.0, 0.5
    use = ring_utilisation(pinched_ring(cuts, load), cuts, ring, (strength, strength))
    plastic = strength * 1.0**2 / 4.0
    assert use == pytest.approx(load * 100.0 / 4.0 / plastic, rel=0.02)
    worst = float(utilisation(pinched_ring(cuts, load), strength).max())
    assert worst == pytest.approx(load * 100.0 / math.pi / plastic, rel=0.02)


def complete_programme(loads: Resultants, cuts: Cuts, strength: float) -> float:
    """The same limit with every tangent of every section given to the solver at once."""
    h = loads.height
    capacity = (strength * h, strength * h / math.sqrt(3.0), strength * h**2 / 4.0)
    parts = (loads.normal, loads.shear, loads.moment)
    n, v, m = (
        np.column_stack([own, part]) / most[:, None]
        for own, part, most in zip(parts, self_stress(cuts), capacity, strict=True)
    )
    rows, limits = [], []
    for sign in (1.0, -1.0):
        for s in np.linspace(-1.0, 1.0, 25):
            for t in np.linspace(-1.0, 1.0, 13):
                rows.append(sign * m + 2 * s * n + 4 * t**3 * v)
                limits.append(np.full(len(h), 1 + s**2 + 3 * t**4))
    scale = np.abs(rows[0]).max(axis=0)
    free = [(0.0, None), *[(None, None)] * 3]
    found = linprog([-1.0, 0, 0, 0], A_ub=np.vstack(rows) / scale, b_ub=np.concatenate(limits), bounds=free)
    return float(scale[0] / found.x[0])


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_limits_brought_in_as_they_are_passed_give_the_optimum_of_all_of_them(seed: int) -> None:
    # Against a general solver on the complete linear programme, under arbitrary loads of comparable use.
    angle = np.linspace(0.0, math.tau, 41)[:-1]
    d = np.column_stack([np.cos(angle), np.sin(angle)])
    cuts = Cuts(9.0 * d, 12.0 * d, ("wall",) * len(angle))
    draw = np.random.default_rng(seed).normal
    loads = Resultants(cuts.height, draw(0, 60, 40), draw(0, 60, 40), draw(0, 60, 40))
    around = np.ones(40, dtype=bool)
    found = ring_utilisation(loads, cuts, around, (100.0, 100.0))
    assert found == pytest.approx(complete_programme(loads, cuts, 100.0), rel=1e-6)


# --- the fastener -------------------------------------------------------------------------------------------------


def test_a_bar_is_held_unless_the_case_says_bolt() -> None:
    def stock(**fastener: Any) -> str:
        raw = {"format": 1, "fastener": {"grade": "8.8", **fastener}, "wrench": {"profile": "ring-six"}}
        got = parse_case(raw)
        assert to_dict(got)["fastener"]["stock"] == got.fastener.stock
        return got.fastener.stock

    assert stock(size="M10") == "bar"
    assert stock(size="M10 nut") == "bar"
    assert stock(size="M10", stock="bolt") == "bolt"
    assert stock(across_flats="16 mm", engaged_depth="6 mm") == "bar"


# --- the wrench of a solved case ----------------------------------------------------------------------------------


def test_cuts_through_a_jaw_balance_the_contact_forces_of_the_curve() -> None:
    # Free body: a cut across a jaw carries exactly the contact forces beyond it, whatever the material does.
    from contactfe.turn import wrench_states

    c = case("open-end", mesh={"edge_at_contact": "0.3 mm", "edge_max": "2.5 mm"})
    b, (curve, _) = built(c), solved(c)
    state = curve.solutions[int(np.argmax(curve.torque))]
    wrench = wrench_states(b, [state])
    cuts = head_cuts(b.wrench.mesh.outline, 16.0)
    k = next(i for i, place in enumerate(cuts.place) if place == "jaw root" and cuts.inner[i, 1] < 0)
    found = cut(b.wrench.mesh, wrench.stress[0], cuts.inner[k], cuts.outer[k])
    ratio = c.wrench.thickness / c.fastener.engaged_depth
    force = state.problem.nodal_forces(state.pressure, state.law.friction)[1].reshape(-1, 2) / ratio
    at = b.wrench.mesh.nodes[b.wrench.flexibility.nodes]
    lower = at[:, 1] < 0
    middle = 0.5 * (cuts.inner[k] + cuts.outer[k])
    total = force[lower].sum(axis=0)
    arm = at[lower] - middle
    moment = float((arm[:, 0] * force[lower, 1] - arm[:, 1] * force[lower, 0]).sum())
    assert math.hypot(found.normal[0], found.shear[0]) == pytest.approx(float(np.hypot(*total)), rel=0.01)
    assert abs(found.moment[0]) == pytest.approx(abs(moment), rel=0.02)
    assert not closed_round(b.wrench.mesh, cuts).any()
    assert spread_mm(b, state) > 0


def test_the_rows_of_a_head_give_the_resultants_of_its_stresses() -> None:
    # The same resultants from nodal stresses read at the stations of every cut, and from displacements by rows.
    from contactfe.strength.operator import head_sections
    from contactfe.strength.sections import STATIONS
    from contactfe.turn import wrench_states
    from contactfe.turn.build import wrench_material

    c = case("ring-six", mesh={"edge_at_contact": "0.4 mm", "edge_max": "3 mm"})
    b, (curve, _) = built(c), solved(c)
    mesh = b.wrench.mesh
    states = wrench_states(b, curve.solutions[5:8])
    head = head_sections(mesh, wrench_material(c), 16.0)
    found = head.loads(states.displacement)
    values = values_at(mesh, head.cuts.points(STATIONS).reshape(-1, 2))
    stress = np.stack([values @ s for s in states.stress]).reshape(3, len(head.cuts.place), -1, 4)
    wanted = resultants(stress, head.cuts.direction, head.cuts.height)
    for one, other in (
        (found.normal, wanted.normal),
        (found.shear, wanted.shear),
        (found.moment, wanted.moment),
    ):
        np.testing.assert_allclose(one, other, atol=1e-9 * float(np.abs(other).max()))
    assert head.around.any() and head_sections(mesh, wrench_material(c), 16.0) is head
