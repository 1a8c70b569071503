"""What the engine refuses: each named error and each way out is provoked once."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cases import COARSE, built, case, solved

from contactfe.contact import (
    BoundedProblem,
    ContactRig,
    ContactSolution,
    Dense,
    audit,
    complementarity,
    solve_bounded,
)
from contactfe.contact import solver as solver_module
from contactfe.elastic import Flexibility
from contactfe.errors import BeyondReach, NoContact, NotConverged, PushedOff, SlidesOff
from contactfe.turn import BodyModel, TorqueCurve, assemble, onset, torque_curve
from contactfe.turn import curve as curve_module

RING = case("ring-six", mesh=COARSE)


def loaded(turn: float = 4.0) -> ContactSolution:
    b = built(RING)
    return b.rig.solve(math.radians(turn), b.law)


def test_the_audit_raises_on_pressures_that_do_not_balance() -> None:
    b, s = built(RING), loaded()
    off = s.pressure.copy()
    off[int(np.argmax(off))] *= 0.9
    found = audit(replace(s, pressure=off), b.rig.handle, b.contact_nodes(), b.pair.across_flats)
    assert not found.passed()
    with pytest.raises(NotConverged, match=r"audit of a contact solution failed: .*balance") as caught:
        found.check()
    assert caught.value.slug == "audit-failed"


@pytest.mark.parametrize("name", ["pressure", "gap", "motion", "torque"])
def test_the_audit_raises_on_anything_that_is_not_finite(name: str) -> None:
    b, s = built(RING), loaded()
    bad = np.full_like(np.asarray(getattr(s, name)), math.nan)
    found = audit(replace(s, **{name: bad}), b.rig.handle, b.contact_nodes(), b.pair.across_flats)
    with pytest.raises(NotConverged):
        found.check()
    assert not type(found).worst([type(found)(), found]).passed()


def test_the_audit_raises_where_bodies_overlap_without_pressure() -> None:
    b, s = built(RING), loaded()
    report = replace(s.report, gap=s.problem.gap)
    nothing = replace(s, pressure=np.zeros_like(s.pressure), report=report)
    found = audit(nothing, b.rig.handle, b.contact_nodes(), b.pair.across_flats)
    with pytest.raises(NotConverged, match="overlap"):
        found.check()


def test_a_damaged_flexibility_gives_no_torque() -> None:
    # A body whose flexibility is not a number gave 0.0 N m and passed.
    b = built(RING)
    flex = b.wrench.flexibility
    broken = Flexibility(flex.nodes, np.full_like(flex.matrix, math.nan), flex.observed)
    with pytest.raises((NotConverged, ValueError)):
        torque_curve(assemble(RING, b.pair, b.fastener, BodyModel(b.wrench.mesh, broken)))


def test_a_curve_of_nothing_but_zeros_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    b, real = built(RING), ContactRig.solve

    def idle(rig: ContactRig, *args: object) -> ContactSolution:
        s = real(rig, *args)  # type: ignore[arg-type]
        return replace(s, pressure=np.zeros_like(s.pressure), torque=0.0)

    monkeypatch.setattr(ContactRig, "solve", idle)
    with pytest.raises(NoContact, match="outlines overlap"):
        torque_curve(b)


def marched(monkeypatch: pytest.MonkeyPatch, torque: list[float]) -> TorqueCurve:
    """The curve of a march that met these torques (N mm per mm)."""
    b, s = built(RING), loaded()
    points = [replace(s, rotation=0.02 * (i + 1), torque=t) for i, t in enumerate(torque)]
    monkeypatch.setattr(curve_module, "_march", lambda *_: (points, True))
    monkeypatch.setattr(curve_module, "_refine", lambda _, found: found)
    return torque_curve(b)


def test_a_wrench_that_is_driven_as_hard_as_it_holds_turns_freely(monkeypatch: pytest.MonkeyPatch) -> None:
    # Near-round heads: 0.5 N m "of slip torque" on a curve that went down to -26.
    assert marched(monkeypatch, [0.0, 500.0, -26_000.0]).free_play is None
    assert marched(monkeypatch, [-1.0, -20.0, -30.0]).free_play is None
    s = loaded()
    assert curve_module._holds([replace(s, torque=t) for t in (-1.0, 500.0, 400.0)])


def test_an_onset_is_found_on_a_curve_that_starts_at_its_top() -> None:
    s = loaded()
    x, y = np.array([0.0, 0.01, 0.02, 0.03, 0.04]), np.array([0.95, 0.97, 0.98, 0.99, 1.0])
    assert onset(TorqueCurve(x, y, (s,) * 5, 0.0)) == (0.04, 1.0)


@pytest.mark.parametrize("friction", [0.0, 0.01])
def test_parallel_jaws_slide_off_under_a_short_lever(friction: float) -> None:
    # The hand's push has a part along jaws that stand at 15 degrees to the handle, and nothing holds against it.
    c = case("open-end", mesh=COARSE, contact={"friction": friction}, load={"lever_arm": "40 mm"})
    with pytest.raises(SlidesOff, match="harder than friction can hold") as caught:
        solved(c)
    assert caught.value.slug == "jaws-slide-off"


def test_a_wrench_carried_off_without_a_load_is_pushed_off() -> None:
    b, s = built(RING), loaded()
    far = replace(s, pressure=np.zeros_like(s.pressure), motion=np.array([1.0, 0.0]))
    with pytest.raises(PushedOff):
        b.rig._still_on(far)


def test_a_fastener_past_what_was_worked_out_is_beyond_reach() -> None:
    # The flexibility of a wrench that was worked out for half of its boundary only.
    b = built(RING)
    flex = b.wrench.flexibility
    half = len(flex.nodes) // 2
    rows = {name: row[: 2 * half] for name, row in flex.observed.items()}
    part = Flexibility(flex.nodes[:half], flex.matrix[: 2 * half, : 2 * half], rows)
    short = assemble(RING, b.pair, b.fastener, BodyModel(b.wrench.mesh, part))
    with pytest.raises(BeyondReach, match="flexibility was not worked out"):
        short.rig.solve(math.radians(4.0), short.law)
    with pytest.raises(BeyondReach):  # nor is there a curve, since it never bore
        torque_curve(short)


# --- the solver ---------------------------------------------------------------------------------------------------


def small_problem(cells: int = 6) -> BoundedProblem:
    """A symmetric definite problem with two balance rows: presses of alternating direction."""
    rng = np.random.default_rng(7)
    a = rng.normal(size=(cells, cells))
    rows = np.vstack([np.tile([1.0, -1.0], cells // 2), rng.normal(size=cells)])
    gap = -np.abs(rng.normal(size=cells))
    return BoundedProblem(Dense(a @ a.T + np.eye(cells)), gap, rows, rows, np.full(cells, 0.6), np.zeros(2))


def test_the_interior_point_method_stands_in_for_the_path(monkeypatch: pytest.MonkeyPatch) -> None:
    problem, walk = small_problem(), solver_module.Path.walk
    expected, _, direct = solve_bounded(problem)
    assert direct.method == "path"
    calls: list[int] = []

    def stopped_once(*args: Any) -> Any:
        calls.append(1)
        return None if len(calls) == 1 else walk(*args)

    monkeypatch.setattr(solver_module.Path, "walk", stopped_once)
    found, motion, report = solve_bounded(problem)
    assert report.method == "interior, path"
    np.testing.assert_allclose(found, expected, atol=1e-9)
    assert complementarity(problem, found, motion) < 1e-6
    monkeypatch.setattr(solver_module.Path, "walk", lambda *_: None)
    alone, motion, report = solve_bounded(problem)
    assert report.method == "interior"
    np.testing.assert_allclose(alone, expected, atol=1e-6)


def test_a_solver_that_ends_without_a_solution_says_how_far_off_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(solver_module.Path, "walk", lambda *_: None)
    monkeypatch.setattr(solver_module, "_interior", lambda p: (np.full(6, 0.5), np.zeros(2), 80))
    with pytest.raises(NotConverged, match="relative residual") as caught:
        solve_bounded(small_problem())
    assert caught.value.slug == "contact-not-converged"
    assert caught.value.report.residual > 1e-6 and not caught.value.report.converged
