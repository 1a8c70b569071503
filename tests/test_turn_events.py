"""Where events lie on the curve does not depend on the steps of the march."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cases import COARSE, PROFILES, built, case, solved

from contactfe.case import record_of
from contactfe.errors import ContactFEError
from contactfe.explain import explain
from contactfe.profile import half_flat
from contactfe.strength import loading_path
from contactfe.turn import (
    BodyStates,
    bearing_depth,
    first_state,
    flank_pressures,
    peak,
    state_at_torque,
    torque_curve,
)
from contactfe.turn import curve as curve_module

RING = case("ring-six", mesh=COARSE)
WEAK = case("ring-six", grade="12.9", wrench={"yield_strength": "500 MPa"}, mesh=COARSE)


@pytest.mark.parametrize("share", [0.02, 0.31, 0.77, 0.99])
def test_the_state_at_a_torque_has_that_torque(share: float) -> None:
    b, (curve, _) = built(RING), solved(RING)
    wanted = share * float(curve.torque.max())
    state = state_at_torque(b, curve, wanted)
    assert state.torque * bearing_depth(RING) / 1e3 == pytest.approx(wanted, rel=2e-3)
    assert state.rotation < curve.solutions[curve.rising][-1].rotation


def test_a_torque_beyond_slip_has_no_state() -> None:
    b, (curve, _) = built(RING), solved(RING)
    with pytest.raises(ContactFEError, match="never reaches"):
        state_at_torque(b, curve, 1.01 * float(curve.torque.max()))


def test_crush_begins_at_one_place_whatever_the_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    b = built(RING)
    found = []
    for step in (0.1, 0.4, 0.9):
        monkeypatch.setattr(curve_module, "FIRST_STEP", math.radians(step))
        state = first_state(b, torque_curve(b), lambda s: float(s.capped.any()) - 0.5)
        assert state is not None and state.capped.any()
        found.append(state.rotation)
    assert found == pytest.approx([found[0]] * 3, abs=4e-6)


def test_the_torque_and_the_events_do_not_go_with_the_first_step(monkeypatch: pytest.MonkeyPatch) -> None:
    # A soft ring on a hard head gives way on the steep part of the curve: 108.8 to 103.2 N m with the step before.
    b, records = built(WEAK), []
    for step in (0.1, 0.4, 0.9):
        monkeypatch.setattr(curve_module, "FIRST_STEP", math.radians(step))
        records.append(record_of(b, torque_curve(b)))
    one = records[0]
    assert one.ended_by == "wrench" and one.torque_Nm < 0.9 * peak(one.curve)[1]
    for other in records[1:]:
        assert other.torque_Nm == pytest.approx(one.torque_Nm, rel=0.004)
    told = [{e.key: e.torque_Nm for e in explain(r).events} for r in records]
    for events in told[1:]:
        assert events.keys() == told[0].keys()
        assert max(events.values()) <= events[next(reversed(events))] * (1 + 1e-9)
        for key in ("first-touch", "crush-begins", "patch-growth"):
            assert events.get(key, 0.0) == pytest.approx(told[0].get(key, 0.0), rel=0.02, abs=0.05)


def test_pressures_along_the_flats_carry_the_load_and_lie_alike_on_all_of_them() -> None:
    """Summed over a flat they are its share of the load. Opposite flats of a ring under a couple are pressed alike; the handle,
    which stiffens the ring at one side, shifts one pair against the others by a tenth of the flat."""
    c = case("ring-six", fastener={"rounding": "20 %"}, mesh=COARSE)
    curve, estimate = solved(c)
    state = curve.nearest(math.radians(estimate.slip_rotation_deg or 0.0))
    flats = flank_pressures(built(c), state)
    forces = np.array([flat.pressure @ flat.length for flat in flats])
    assert forces / forces.sum() == pytest.approx(np.array(estimate.load_share), rel=1e-9)
    middles = np.array([flat.place @ (flat.pressure * flat.length) for flat in flats]) / forces
    reach = half_flat(c.fastener.across_flats, c.fastener.rounding)
    assert np.abs(middles[:3] - middles[3:]).max() < 0.02 * reach
    assert np.ptp(middles) < 0.15 * reach and 0.5 * reach < abs(middles[0]) < 1.02 * reach
    crushed = [flat.length[flat.crush_depth > 0].sum() for flat in flats]
    assert sum(crushed) == pytest.approx(estimate.crushed_length_mm, rel=1e-6)


def test_principal_stresses_of_a_known_state() -> None:
    """Mohr's circle by hand: sx 80, sy 20, sxy 40 MPa have the middle 50 and the radius 50; szz has no part in it."""
    stress = np.array([[[80.0, 20.0, 40.0, 7.0]]])
    states = BodyStates(built(case("ring-six", mesh=COARSE)).wrench.mesh, np.zeros((1, 1, 2)), stress)
    assert states.principal[0, 0] == pytest.approx([100.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("profile", PROFILES)
def test_points_lie_close_and_alike_on_both_sides_of_the_top(profile: str) -> None:
    """What the parabola at the top is laid through: the ends of both intervals within 0.2 % of the top, or nearer than
    0.05 deg; neither wider than 0.7 deg, nor one over 2.5 times the other."""
    curve = solved(case(profile, fastener={"rounding": "10 %"}, mesh=COARSE))[0]
    drive = np.degrees([s.rotation for s in curve.solutions])
    top = int(np.argmax(curve.torque))
    widths = np.diff(drive[top - 1 : top + 2])
    assert len(widths) == 2 and widths.max() <= 0.7 + 1e-9
    assert widths.max() <= 2.5 * widths.min() + 0.05
    for end, width in zip((top - 1, top + 1), widths, strict=True):
        assert curve.torque[end] >= 0.998 * curve.torque[top] or width <= 0.05 + 1e-9


def test_states_at_which_the_wrench_is_looked_at_are_spread_over_the_rise() -> None:
    curve = solved(case("open-end", mesh=COARSE))[0]
    torque, states = loading_path(curve)
    share = torque / curve.torque.max()
    assert len(states) == len(share) >= 5 and share[-1] == 1.0
    assert share[0] < 0.2 and np.diff(share).max() < 0.3
