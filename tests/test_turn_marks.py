"""Peak and onset of curves that are known in closed form, and the stress along the surface of a ring loaded by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contactfe.elastic import HeldBody, PlaneMaterial, nodal_stresses, von_mises
from contactfe.elastic.loads import side_loads
from contactfe.mesh import SizeField, mesh_outline
from contactfe.profile import Outline, arc, line
from contactfe.turn import TorqueCurve, onset, peak
from contactfe.turn.estimate import surface_peak


def curve(x: Any, y: Any) -> TorqueCurve:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    return TorqueCurve(x, y, (), 0.0)


@settings(max_examples=30)
@given(
    top=st.floats(0.05, 0.15),
    height=st.floats(1.0, 500.0),
    shift=st.floats(0.0, 1.0),
    step=st.floats(0.005, 0.02),
)
def test_the_peak_of_a_parabola_is_exact_wherever_the_points_lie(
    top: float, height: float, shift: float, step: float
) -> None:
    x = np.arange(-shift * step, 0.25, step)
    y = height * (1.0 - ((x - top) / 0.2) ** 2)
    at, torque = peak(curve(x, y))
    assert at == pytest.approx(top, abs=1e-9)
    assert torque == pytest.approx(height, rel=1e-12)


def test_the_peak_of_uneven_points_on_a_parabola_is_exact() -> None:
    x = np.array([0.0, 0.03, 0.08, 0.11, 0.125, 0.2])
    assert peak(curve(x, 7.0 - (x - 0.1) ** 2)) == pytest.approx((0.1, 7.0), abs=1e-12)


@pytest.mark.parametrize("y", [[0, 1, 2, 3], [3, 2, 1, 0]])
def test_a_top_at_the_end_is_the_end(y: list[float]) -> None:
    at, torque = peak(curve([0, 1, 2, 3], y))
    assert (at, torque) == (float(np.argmax(y)), 3.0)


def two_lines(bend: float, second: float, n: int = 201) -> TorqueCurve:
    """Slope one up to ``bend``, then ``second`` up to 1."""
    x = np.linspace(0.0, 1.0, n)
    return curve(x, np.where(x < bend, x, bend + second * (x - bend)))


@pytest.mark.parametrize("second", [0.05, 0.15, 0.25])
def test_the_onset_of_two_lines_is_where_the_secant_has_lost_enough(second: float) -> None:
    """Closed form: a secant of length w centred at c has slope 1 before the bend b, ``second`` behind it, and between
    them a mix by the parts on both sides; it falls to 0.3 where b - (c - w/2) = w (0.3 - second) / (1 - second)."""
    bend = 0.4
    top = bend + second * (1.0 - bend)
    ninety = 0.9 * top if 0.9 * top < bend else bend + (0.9 * top - bend) / second
    w = 0.5 * ninety
    expected = bend + w / 2 - w * (0.3 - second) / (1.0 - second)
    at, torque = onset(two_lines(bend, second))
    assert at == pytest.approx(expected, abs=0.006)
    assert torque == pytest.approx(bend + second * (at - bend), abs=1e-3)


def test_a_straight_line_and_a_soft_bend_have_no_onset_before_the_top() -> None:
    assert onset(two_lines(0.4, 1.0))[0] == pytest.approx(1.0)
    assert onset(two_lines(0.4, 0.6))[0] == pytest.approx(1.0)


def test_a_dip_on_the_way_up_is_not_the_onset() -> None:
    # A lobe that settles into its seat: flat from 0.2 to 0.3, steep again afterwards.
    x = np.linspace(0.0, 1.0, 401)
    y = np.interp(x, [0.0, 0.2, 0.3, 0.7, 1.0], [0.0, 0.2, 0.2, 0.6, 0.62])
    assert onset(curve(x, y))[0] > 0.6


def test_scale_has_no_say() -> None:
    one = two_lines(0.4, 0.1)
    at, torque = onset(one)
    larger = onset(curve(one.rotation * 0.02, one.torque * 350.0))
    assert larger == pytest.approx((0.02 * at, 350.0 * torque), rel=1e-9)


def test_the_surface_stress_of_a_ring_under_pressure_is_that_of_lame() -> None:
    """Thick ring, inside pressure p (Lame 1852, from memory): at the bore sr = -p, st = p (b2 + a2) / (b2 - a2)."""
    a, b, p = 8.0, 14.0, 100.0

    def circle(r: float, turn: int, name: str) -> tuple[Any, ...]:
        quarter = turn * math.pi / 2
        return tuple(arc((0, 0), r, k * quarter, (k + 1) * quarter, name) for k in range(4))

    outline = Outline((circle(b, 1, "outside"), circle(a, -1, "flank")))
    size = SizeField(np.array([[0.0, 0.0]]), np.array([0.8]), np.array([0.0]), 0.8)
    mesh = mesh_outline(outline, size)
    material = PlaneMaterial(206_000.0, 0.3)
    body = HeldBody(mesh, material, carried=mesh.sides_named("outside")[:6])
    load = side_loads(mesh, mesh.sides_named("flank"), lambda _, normal: -p * normal)
    u = body.displacements(load[:, None])[:, 0].reshape(-1, 2)
    mises = von_mises(nodal_stresses(mesh, material, u))
    radial, hoop = -p, p * (b**2 + a**2) / (b**2 - a**2)
    expected = math.sqrt(radial**2 - radial * hoop + hoop**2)
    for window in (0.4, 3.0, 1000.0):  # the same everywhere, so over any length
        assert surface_peak(mesh, mises, window) == pytest.approx(expected, rel=0.01)


def test_the_surface_stress_is_the_mean_over_the_window_at_its_highest_place() -> None:
    """Along a straight flank with a stress that rises as x: the mean over the last w of it is L - w / 2."""
    corners = [(0.0, 0.0), (10.0, 0.0), (10.0, 4.0), (0.0, 4.0)]
    names = ["flank", "outside", "outside", "outside"]
    loop = tuple(line(corners[i], corners[(i + 1) % 4], names[i]) for i in range(4))
    size = SizeField(np.array([[0.0, 0.0]]), np.array([0.7]), np.array([0.0]), 0.7)
    mesh = mesh_outline(Outline((loop,)), size)
    for window in (0.5, 2.0, 10.0):
        found = surface_peak(mesh, mesh.nodes[:, 0].copy(), window)
        assert found == pytest.approx(10.0 - window / 2, rel=1e-9 if window == 10.0 else 0.02)
