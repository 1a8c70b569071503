"""Tractions on sides and given displacements: totals by hand, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from contactfe.elastic import HeldBody, PlaneMaterial
from contactfe.elastic.loads import given_displacements, pressed, side_loads, side_unknowns
from contactfe.errors import ContactFEError
from contactfe.mesh import mesh_outline
from contactfe.profile import Outline
from contactfe.verify.bodies import chain, circle, node_at, uniform

SQUARE = mesh_outline(
    Outline((chain([(0, 0), (2, 0), (2, 1), (0, 1)], ["low", "right", "top", "left"]),)), uniform(0.3)
)
RING = mesh_outline(Outline((circle(2.0, "outer"), circle(1.0, "inner", hole=True))), uniform(0.3))
STEEL = PlaneMaterial(200e3, 0.3)


def test_pressure_on_a_straight_side_adds_up_to_pressure_times_length() -> None:
    load = side_loads(SQUARE, SQUARE.sides_named("top"), pressed(3.0)).reshape(-1, 2)
    assert load.sum(axis=0) == pytest.approx([0.0, -6.0])
    moment = np.sum(SQUARE.nodes[:, 0] * load[:, 1])
    assert moment == pytest.approx(-6.0)  # through the middle, x = 1


def test_a_cubic_traction_is_integrated_exactly() -> None:
    load = side_loads(
        SQUARE, SQUARE.sides_named("top"), lambda x, n: np.column_stack([x[:, 0] ** 3, 0 * x[:, 0]])
    )
    assert load.reshape(-1, 2)[:, 0].sum() == pytest.approx(4.0)  # 2^4 / 4


def test_pressure_in_a_bore_is_in_balance_and_pushes_outward() -> None:
    load = side_loads(RING, RING.sides_named("inner"), pressed(1.0)).reshape(-1, 2)
    assert load.sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-12)
    outward = np.sum(load * RING.nodes) / 1.0
    assert outward == pytest.approx(math.tau, rel=1e-4)  # the integral of p r over the circle


def test_given_displacements_stretch_as_hooke_says() -> None:
    still = np.concatenate([side_unknowns(SQUARE, 0, "left"), side_unknowns(SQUARE, 1, "low")])
    pulled = side_unknowns(SQUARE, 0, "right")
    held = np.concatenate([still, pulled])
    values = np.concatenate([np.zeros(len(still)), np.full(len(pulled), 0.002)])
    u = given_displacements(SQUARE, STEEL, held, values).reshape(-1, 2)
    assert u[node_at(SQUARE, (2.0, 1.0))] == pytest.approx([0.002, -0.3 * 0.001], rel=1e-9)


def test_a_load_in_balance_takes_nothing_from_what_carries_the_body() -> None:
    sides = SQUARE.sides_named("left", "right")
    load = side_loads(SQUARE, sides, pressed(-5.0))
    body = HeldBody(SQUARE, STEEL, carried=SQUARE.sides_named("left"))
    u = body.displacements(load[:, None])[:, 0]
    assert np.abs(body.reactions(u, load)).max() < 1e-9
    moved = u.reshape(-1, 2)
    longer = moved[node_at(SQUARE, (2.0, 1.0)), 0] - moved[node_at(SQUARE, (0.0, 1.0)), 0]
    assert longer == pytest.approx(5.0 * 2.0 / 200e3)


def test_no_side_is_an_error() -> None:
    with pytest.raises(ContactFEError, match="no side at all"):
        side_loads(SQUARE, SQUARE.sides_named("nowhere"), pressed(1.0))


def test_a_body_that_can_still_move_is_an_error() -> None:
    left = side_unknowns(SQUARE, 0, "left")
    for held in (np.array([], dtype=int), np.array([0, 1]), left, side_unknowns(SQUARE, 1, "left")):
        with pytest.raises(ContactFEError, match="rigid motion"):
            given_displacements(SQUARE, STEEL, held, np.zeros(len(held)))


def test_a_node_that_is_not_there_is_an_error() -> None:
    with pytest.raises(ContactFEError, match="no node"):
        node_at(SQUARE, (1.0, 0.987))
