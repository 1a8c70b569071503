"""What governs a case, how it came to it, what would help, and shares of a difference: laws and plain words."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import meshio
import numpy as np
import pytest
from cases import built, case, solved
from hypothesis import given, settings
from hypothesis import strategies as st

from contactfe.case import CaseRecord, known_from, limits_near, record_of
from contactfe.cli import main
from contactfe.errors import ContactFEError, GeometryError
from contactfe.explain import (
    Explanation,
    compare,
    effects,
    explain,
    failure_modes,
    largest_first,
    secant_stiffness,
    sequence_of_events,
    stored_energy,
)
from contactfe.explain.factors import changed, mixed
from contactfe.explain.limiting import delivered_near, reassembled, top_of
from contactfe.inputs import CaseInput, parse_case
from contactfe.mesh import mesh_outline, moved_mesh, wrench_sizes
from contactfe.profile import Outline, profile_pair
from contactfe.report import why_words as words
from contactfe.strength import wrench_limits
from contactfe.strength.wrench import reached, reached_lazily
from contactfe.turn import (
    Bodies,
    BodyModel,
    assemble,
    fastener_states,
    flank_pressures,
    state_at,
    torque_curve,
    wrench_flexibility,
    wrench_states,
)

COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}
BAR = {"stock": "bar"}


def coarse(profile: str, **tables: Any) -> CaseInput:
    fastener = BAR | tables.pop("fastener", {})
    return case(profile, fastener=fastener, mesh=COARSE, **tables)


@lru_cache(maxsize=32)
def record(c: CaseInput) -> CaseRecord:
    return record_of(built(c), solved(c)[0])


@lru_cache(maxsize=32)
def told(c: CaseInput) -> Explanation:
    """The explanation without the effects of parameters, which are tested by themselves."""
    r = record(c)
    modes = failure_modes(r)
    return Explanation(
        r,
        modes,
        sequence_of_events(r, modes),
        (),
        secant_stiffness(r),
        stored_energy(r),
    )


OPEN = coarse("open-end")
RING = coarse("ring-six")
THIN = coarse("ring-six", wrench={"outside_diameter": "22 mm"})
THICK = coarse("ring-six", wrench={"outside_diameter": "30 mm"})


def brass_fitting() -> CaseInput:
    """A fitting of soft brass, 17 mm wide, gripped 8 mm deep (invented); yield of temper O60 of ASTM B16, 20 ksi."""
    return parse_case(
        {
            "format": 1,
            "name": "brass fitting",
            "fastener": {
                "across_flats": "17 mm",
                "engaged_depth": "8 mm",
                "grade": "brass C36000",
                "yield_strength": "138 MPa",
            },
            "wrench": {"profile": "flare-nut"},
            "mesh": COARSE,
        }
    )


# --- how the grip is lost -----------------------------------------------------------------------------------------


def test_an_open_end_is_lost_by_opening_and_says_so() -> None:
    found = told(OPEN)
    assert found.modes.governing is not None
    assert found.modes.governing.key == "opening"
    text = " ".join(words.governs(found))
    assert "lost by opening" in text
    assert f"{found.record.estimate.slip_torque_Nm:.1f} N m" in text
    assert "With a rigid wrench" in text


def test_a_ring_is_lost_by_crushing_and_says_so() -> None:
    found = told(THICK)
    assert found.modes.governing is not None
    assert found.modes.governing.key == "corner-crush"
    assert "lost by crushing" in " ".join(words.governs(found))


def test_a_brass_fitting_in_a_flare_nut_wrench_is_lost_by_crushing_and_says_so() -> None:
    found = told(brass_fitting())
    assert found.modes.governing is not None
    assert found.modes.governing.key == "corner-crush"
    assert "lost by crushing" in words.governs(found)[0]


def test_a_steel_bar_in_a_flare_nut_wrench_opens_it() -> None:
    found = told(coarse("flare-nut"))
    assert found.modes.grip is not None
    assert found.modes.grip.kind == "opening"


@pytest.mark.parametrize("c", [OPEN, RING, THIN], ids=lambda c: c.name)
def test_neither_mechanism_alone_takes_more_grip_than_both(c: CaseInput) -> None:
    # Taking away a mechanism that lets go can only raise the torque.
    grip = told(c).modes.grip
    assert grip is not None
    assert grip.rigid_Nm is not None
    assert grip.uncrushed_Nm is not None
    assert grip.slip_torque_Nm <= grip.rigid_Nm * 1.01
    assert grip.slip_torque_Nm <= grip.uncrushed_Nm * 1.01
    assert grip.opening_share == pytest.approx(1 - grip.slip_torque_Nm / grip.rigid_Nm)
    assert 0 < grip.capped_share <= 1


def test_a_stiffer_wrench_leaves_less_to_its_giving() -> None:
    shares = [told(c).modes.grip for c in (THIN, RING, THICK)]
    taken = [grip.opening_share for grip in shares if grip is not None and grip.opening_share is not None]
    assert len(taken) == 3
    assert taken == sorted(taken, reverse=True)


def test_reassembling_with_factors_of_one_is_the_pair_itself() -> None:
    b = built(OPEN)
    again = top_of(torque_curve(reassembled(b, OPEN)))
    assert again == pytest.approx(record(OPEN).estimate.slip_torque_Nm, rel=1e-9)


# --- the wrench ---------------------------------------------------------------------------------------------------


def test_a_thin_ring_yields_before_slip_and_a_thick_one_does_not_and_both_say_so() -> None:
    thin, thick = told(THIN), told(THICK)
    slip = thin.record.estimate.slip_torque_Nm
    assert slip is not None
    assert thin.modes.governing is not None
    assert thin.modes.governing.key == "wrench-collapse"
    assert thin.record.ended_by == "wrench"
    assert thin.record.torque_Nm < slip
    assert (thin.record.rotation_deg or 99) < (thin.record.estimate.slip_rotation_deg or 0)
    assert thin.fracture_risk
    assert "gives way before it slips" in words.governs(thin)[0]
    assert any("gives way" in caution for caution in thin.cautions())
    assert thick.record.ended_by == "grip"
    assert thick.record.torque_Nm == thick.record.estimate.slip_torque_Nm
    assert not any("wrench" in caution for caution in thick.record.own_cautions())
    assert not thick.fracture_risk
    assert "The wrench is strong enough" in " ".join(words.governs(thick))


def test_limits_grow_with_the_strength_of_the_wrench_in_proportion() -> None:
    # The contact does not know the wrench's yield strength while the fastener is softer: stresses stay, limits that
    # lie beyond slip grow in proportion.
    strong = replace(THICK, wrench=replace(THICK.wrench, yield_strength=1.2 * THICK.wrench.yield_strength))
    paths = record(THICK).sections, record(strong).sections
    assert paths[0] is not None and paths[1] is not None
    one, two = wrench_limits(paths[0]), wrench_limits(paths[1])
    assert two.limit_Nm == pytest.approx(1.2 * one.limit_Nm, rel=1e-6)
    assert two.section_Nm == pytest.approx(1.2 * one.section_Nm, rel=1e-6)


def test_limits_stand_in_order() -> None:
    for c in (OPEN, RING, THIN, THICK):
        limits = told(c).modes.wrench
        assert limits is not None
        assert limits.first_yield_Nm < limits.section_Nm <= limits.limit_Nm * (1 + 1e-9)
        assert limits.redundant == (c.wrench.profile == "ring-six")
        uses = [one.utilisation for one in limits.ligaments]
        assert uses == sorted(uses, reverse=True)


def test_reached_is_a_crossing_or_a_proportion_and_the_lazy_one_is_the_same() -> None:
    torque = np.array([10.0, 20.0, 30.0, 40.0])
    assert reached(torque, np.array([0.1, 0.2, 0.3, 0.4])) == pytest.approx(100.0)  # in proportion beyond
    assert reached(torque, np.array([0.5, 0.8, 1.2, 2.0])) == pytest.approx(25.0)
    assert reached(torque, np.array([2.0, 3.0, 4.0, 5.0])) == pytest.approx(5.0)
    for use in ([0.1, 0.2, 0.3, 0.4], [0.5, 0.8, 1.2, 2.0], [2.0, 3.0, 4.0, 5.0], [0.1, 0.2, 0.5, 1.5]):
        assert reached_lazily(torque, lambda k, use=use: use[k]) == pytest.approx(
            reached(torque, np.array(use))
        )  # type: ignore[misc]


# --- the modes together -------------------------------------------------------------------------------------------


def test_the_lowest_mode_that_ends_it_governs_and_ties_are_named() -> None:
    for c in (OPEN, RING, THIN, THICK):
        modes = told(c).modes
        ends = [m for m in modes.modes if m.ends and m.torque_Nm is not None]
        assert modes.governing is not None
        assert modes.governing.torque_Nm == min(m.torque_Nm or math.inf for m in ends)
        for m in ends:
            near = (m.torque_Nm or math.inf) <= 1.05 * (modes.governing.torque_Nm or 0)
            assert (m in modes.ties) == (near and m is not modes.governing)
    tied = told(RING)
    if tied.modes.ties:
        assert "near tie" in " ".join(words.governs(tied))


def test_a_bolt_in_a_ring_twists_off_first_and_a_bar_does_not() -> None:
    # ISO 898-7: an M10 8.8 shank twists off at 66 N m, a sound six-point ring holds several times that.
    bolt = told(coarse("ring-six", fastener={"stock": "bolt"}))
    assert bolt.modes.governing is not None
    assert bolt.modes.governing.key == "bolt-twist-off"
    text = " ".join(words.governs(bolt))
    assert "shank twists off at" in text
    assert "Were the fastener stronger" in text
    assert bolt.record.estimate.slip_torque_Nm == told(RING).record.estimate.slip_torque_Nm
    open_bolt = told(coarse("open-end", fastener={"stock": "bolt"}))
    assert "either may come first" in " ".join(words.governs(open_bolt))


def test_an_inch_bolt_twists_off_by_plastic_torsion_of_its_stress_area() -> None:
    # 1/2-13 grade 5: 0.1419 in2, pi d^3/12 92 ksi/sqrt 3 = 1068 lbf in = 120.6 N m.
    found = told(case("open-end", size="1/2 in", grade="grade 5", mesh=COARSE, fastener={"stock": "bolt"}))
    mode = found.modes.find("bolt-twist-off")
    assert mode is not None
    assert mode.torque_Nm == pytest.approx(120.6, rel=2e-3)
    assert mode.band_Nm == pytest.approx((120.6, 120.6 * 120.0 / 92.0), rel=3e-3)


def test_a_wrench_that_turns_freely_has_nothing_that_governs() -> None:
    found = explain(record(coarse("ring-six", fastener={"rounding": "98 %"})))
    assert found.modes.governing is None
    assert found.record.torque_Nm == 0.0 and found.record.ended_by == "turns-freely"
    assert found.events == ()
    assert found.effects == ()
    assert "turns freely" in words.governs(found)[0]
    assert json.loads(json.dumps(found.to_dict("1")))["turns_freely"] is True
    with pytest.raises(ContactFEError, match="turns freely"):
        state_at(found.record.built, found.record.curve, 3.0)


def test_near_ties_are_named() -> None:
    # A wrench just strong enough: its worst section yields through at the slip torque.
    limits = told(OPEN).modes.wrench
    slip = record(OPEN).estimate.slip_torque_Nm
    assert limits is not None
    assert slip is not None
    weaker = OPEN.wrench.yield_strength * 1.02 * slip / limits.section_Nm
    found = told(replace(OPEN, wrench=replace(OPEN.wrench, yield_strength=weaker)))
    assert [m.key for m in found.modes.ties] == ["wrench-section"]
    assert "near tie" in " ".join(words.governs(found))


# --- the sequence of events, energy ----------------------------------------------------------------------------------


def test_events_run_from_free_play_to_the_end_of_the_pull_and_not_beyond() -> None:
    for c, end in ((OPEN, "slip"), (THIN, "wrench")):
        steps = told(c).events
        keys = [step.key for step in steps]
        assert keys[0] == "free-play"
        assert keys[-1] == end
        assert {"first-contact", "patch-growth"} <= set(keys)
        assert steps[-1].torque_Nm == record(c).torque_Nm and steps[-1].rotation_deg == record(c).rotation_deg
        for before, after in pairwise(steps):
            assert after.torque_Nm >= before.torque_Nm
            assert after.rotation_deg >= before.rotation_deg - 1e-6
    assert "onset" in {step.key for step in told(OPEN).events}
    assert "wrench-section" in {step.key for step in told(THIN).events}


def test_stored_energy_is_that_of_the_secant() -> None:
    # T^2/(2 k) = T turn / 2 for a straight line (exact).
    r = record(OPEN)
    e, energy = r.estimate, stored_energy(r)
    assert e.slip_torque_Nm is not None
    turned = math.radians((e.slip_rotation_deg or 0) - (e.free_play_deg or 0))
    assert energy == pytest.approx(e.slip_torque_Nm * turned / 2)
    cautions = " ".join(told(OPEN).cautions())
    for word in ("stored energy", "released", "fragments", "guard", "eye", "not a rating", "local codes"):
        assert word in cautions


# --- fields -------------------------------------------------------------------------------------------------------


def test_fields_at_any_rotation_lie_between_those_of_the_curve() -> None:
    r = record(OPEN)
    k = 8
    middle = 0.5 * (math.degrees(r.curve.rotation[k]) + math.degrees(r.curve.rotation[k + 1]))
    states = [r.curve.solutions[k], state_at(r.built, r.curve, middle), r.curve.solutions[k + 1]]
    assert states[0].torque <= states[1].torque <= states[2].torque
    wrench, fastener = wrench_states(r.built, states), fastener_states(r.built, states)
    hot = wrench.von_mises.max(axis=1)
    assert hot[0] <= hot[1] <= hot[2]
    for body in (wrench, fastener):
        # Principal stresses and von Mises in plane stress (exact): s1^2 - s1 s2 + s2^2.
        one, two = body.principal[..., 0], body.principal[..., 1]
        np.testing.assert_allclose(body.von_mises, np.sqrt(one**2 - one * two + two**2), rtol=1e-9, atol=1e-9)
    with pytest.raises(ContactFEError, match="outside the curve"):
        state_at(r.built, r.curve, 80.0)


@pytest.mark.parametrize("c", [OPEN, RING], ids=lambda c: c.name)
def test_pressures_along_the_flanks_make_up_the_whole_force(c: CaseInput) -> None:
    r = record(c)
    state = r.curve.solutions[int(np.argmax(r.curve.torque))]
    flats = flank_pressures(r.built, state)
    force = [float(f.pressure @ f.length) for f in flats]
    assert sum(force) == pytest.approx(float(state.pressure @ state.problem.length))
    np.testing.assert_allclose(np.array(force) / sum(force), r.estimate.load_share, atol=0.02)
    for flat in flats:
        assert (np.diff(flat.place) >= 0).all()
        assert np.abs(flat.place).max(initial=0.0) < 0.6 * 16.0 / math.sqrt(3.0)
        assert ((flat.crush_depth > 0) <= (flat.pressure >= state.law.cap * (1 - 1e-5))).all()


# --- effects of parameters ----------------------------------------------------------------------------------------


def test_effects_agree_with_solving_the_changed_case_anew() -> None:
    r = record(OPEN)
    sorted_by_gain = effects(r)
    found = {effect.key: effect for effect in sorted_by_gain}
    assert {"clearance", "friction", "fastener-yield", "depth", "thickness", "wall"} <= set(found)
    slip = r.estimate.slip_torque_Nm
    assert slip is not None
    deeper = replace(OPEN, fastener=replace(OPEN.fastener, engaged_depth=1.1 * OPEN.fastener.engaged_depth))
    gripping = replace(OPEN, contact=replace(OPEN.contact, friction=0.2))
    for key, c in (("depth", deeper), ("friction", gripping)):
        anew = record(c).estimate.slip_torque_Nm
        assert anew is not None
        assert found[key].gain_Nm == pytest.approx(anew - slip, abs=0.01 * slip)
    # Slip torque is homogeneous of degree one in all stresses: ten per cent more yield and ten per cent more stiffness
    # of both bodies together give ten per cent more torque (dimensional analysis), so yield alone gives less.
    assert 0 < found["fastener-yield"].gain_share < 0.10
    assert not found["constraint-factor"].choice
    gains = [effect.gain_Nm for effect in sorted_by_gain]
    assert gains == sorted(gains, reverse=True)


def test_a_case_is_its_own_neighbour() -> None:
    # Same case, same shape: the states near the top come out again, and so does their torque.
    for c in (OPEN, RING):
        r = record(c)
        assert delivered_near(r.built, known_from(r)) == pytest.approx(r.torque_Nm, rel=2e-3)


def test_a_stiffer_wrench_is_the_same_by_thickness_and_by_a_body_of_its_own() -> None:
    # Flexibility goes with one over the modulus and one over the thickness: a tenth more of either is the same wrench.
    # The first is solved with the known flexibility, the second with a body of its own.
    r = record(RING)
    w = RING.wrench
    thicker = replace(RING, wrench=replace(w, thickness=1.1 * w.thickness))
    stiffer = replace(RING, wrench=replace(w, elastic_modulus=1.1 * w.elastic_modulus))
    mesh, nodes = r.built.wrench.mesh, r.built.wrench.flexibility.nodes
    body = BodyModel(mesh, wrench_flexibility(stiffer, r.built.pair, mesh, nodes))
    pair = assemble(stiffer, r.built.pair, r.built.fastener, body)
    one, other = (limits_near(b, known_from(r))[0] for b in (reassembled(r.built, thicker), pair))
    slip = r.estimate.slip_torque_Nm
    assert slip is not None
    assert other / slip - 1 == pytest.approx(one / slip - 1, abs=3e-4) and one > slip


@pytest.mark.parametrize(
    ("profile", "key"),
    [("open-end", "throat-depth"), ("ring-six-relieved", "bearing-reach"), ("ring-spline", "lobe-angle")],
)
def test_effects_of_shape_agree_with_meshing_the_changed_wrench(profile: str, key: str) -> None:
    # Two meshes of one shape differ by half a per cent or so, an open end's, which is small, only where it is fine.
    mesh = {} if profile == "open-end" else {"edge_at_contact": "0.25 mm", "edge_max": "3 mm"}
    c = case(profile, fastener=BAR, mesh=mesh)
    r = record(c)
    slip = r.torque_Nm
    assert slip is not None
    found = {effect.key: effect for effect in effects(r)}
    for name in ("wall", key):
        effect = found[name]
        assert "a change of shape" in effect.change and effect.choice and effect.shape
        numbers = re.findall(r"[0-9.]+", effect.change)
        old, new = float(numbers[0]), float(numbers[1])
        dims = c.wrench.dims
        own = {"throat-depth": "throat_depth", "bearing-reach": "bearing_reach", "lobe-angle": "lobe_angle"}
        dim = own.get(name) or ("head_width" if "head_width" in dims else "outside_diameter")
        items = tuple((n, v * new / old if n == dim else v) for n, v in c.wrench.dims_items)
        anew = record(replace(c, wrench=replace(c.wrench, dims_items=items))).torque_Nm
        assert anew is not None
        assert effect.gain_Nm == pytest.approx(anew - slip, abs=0.008 * slip), effect.change


def test_a_mesh_moved_to_another_wall_lies_on_the_other_outline() -> None:
    mesh = record(RING).built.wrench.mesh
    thicker = profile_pair(coarse("ring-six", wrench={"outside_diameter": "27 mm"})).wrench
    found = moved_mesh(mesh, thicker)
    exact = mesh_outline(thicker, wrench_sizes(profile_pair(RING), RING.mesh))
    assert found.area() == pytest.approx(exact.area(), rel=1e-6)
    assert found.quality().smallest_angle_deg > 0.7 * mesh.quality().smallest_angle_deg
    outer = found.boundary.nodes[found.sides_named("outside")]
    radius = np.linalg.norm(found.nodes[outer], axis=2)
    on_ring = radius[:, 0] < 13.6
    np.testing.assert_allclose(radius[on_ring], 13.5, rtol=1e-9)
    same = moved_mesh(mesh, mesh.outline)
    np.testing.assert_allclose(same.nodes, mesh.nodes, atol=1e-9)


def test_a_mesh_is_not_moved_to_other_pieces_or_turned_over() -> None:
    mesh = record(RING).built.wrench.mesh
    with pytest.raises(GeometryError, match="other pieces"):
        moved_mesh(mesh, record(OPEN).built.wrench.mesh.outline)
    outline = mesh.outline
    twisted = Outline(
        (outline.loops[0], outline.rotated(math.pi).loops[1])
    )  # the opening turned within its wall
    with pytest.raises(GeometryError, match="turn cells"):
        moved_mesh(mesh, twisted)


def test_effects_of_a_worn_head_say_what_the_wear_costs() -> None:
    worn = coarse("ring-six", fastener={"rounding": "40 %"})
    found = {effect.key: effect for effect in effects(record(worn))}
    slip = record(worn).estimate.slip_torque_Nm
    anew = record(coarse("ring-six", fastener={"rounding": "30 %"})).estimate.slip_torque_Nm
    assert slip is not None and anew is not None
    assert found["corner-wear"].gain_share == pytest.approx(anew / slip - 1, abs=0.02)


def test_effects_of_a_thin_ring_strengthen_the_ring() -> None:
    found = effects(record(THIN))
    share = {effect.key: effect.gain_share for effect in found}
    assert share["wall"] > 0.05
    # The gain in N m is of what the ring delivers, not of what the grip would hold.
    wall = next(effect for effect in found if effect.key == "wall")
    assert wall.gain_Nm == pytest.approx(wall.gain_share * record(THIN).torque_Nm)
    # Ten per cent more strength; the loads on the ring shift with the torque, so the gain is about as much.
    assert share["wrench-yield"] == pytest.approx(0.10, abs=0.04)


# --- shares of a difference ---------------------------------------------------------------------------------------


def test_shares_add_up_and_what_is_equal_has_none() -> None:
    other = replace(
        OPEN,
        contact=replace(OPEN.contact, friction=0.2),
        wrench=replace(OPEN.wrench, opening=OPEN.wrench.opening + 0.08),
        fastener=replace(OPEN.fastener, yield_strength=500.0),
    )
    found = compare(OPEN, other)
    assert found.all_orders
    assert found.solved == 8
    share = {s.key: s.torque_Nm for s in found.shares}
    assert sum(share.values()) == pytest.approx(found.difference_Nm, abs=1e-9)
    assert {k for k, v in share.items() if v != 0.0} == {"friction", "clearance", "yield"}
    assert share["friction"] > 0 > share["clearance"]
    assert share["yield"] < 0
    # The ends are the cases themselves.
    assert found.torques_Nm[0] == pytest.approx(record(OPEN).estimate.slip_torque_Nm, rel=5e-3)
    assert found.torques_Nm[1] == pytest.approx(record(other).estimate.slip_torque_Nm, rel=5e-3)


def test_shares_of_the_reverse_are_the_same_with_the_other_sign() -> None:
    other = replace(
        OPEN, contact=replace(OPEN.contact, friction=0.2), load=replace(OPEN.load, lever_arm=200.0)
    )
    there, back = compare(OPEN, other), compare(other, OPEN)
    for a, b in zip(there.shares, back.shares, strict=True):
        assert a.torque_Nm == pytest.approx(-b.torque_Nm, abs=1e-9)


def test_another_profile_is_split_into_patch_arm_and_opening() -> None:
    found = compare(THICK, OPEN)
    share = {s.key: s for s in found.shares}
    assert sum(s.torque_Nm for s in found.shares) == pytest.approx(found.difference_Nm, abs=1e-9)
    parts = dict(share["profile"].parts)
    assert sum(parts.values()) == pytest.approx(share["profile"].torque_Nm, rel=1e-9)
    assert parts["patch length"] < 0 > parts["opening"]
    assert abs(parts["patch length"]) > abs(parts["lever arm"])
    assert largest_first(found.shares)[0].key == "profile"
    text = words.difference(found)
    assert "friction" in text[-1]
    rows = words.share_rows(found)
    assert any("patch length" in row[1] for row in rows)


def test_many_factors_still_add_up() -> None:
    f, w = OPEN.fastener, OPEN.wrench
    other = replace(
        OPEN,
        fastener=replace(f, engaged_depth=8.0, yield_strength=500.0),
        wrench=replace(w, thickness=9.0, opening=w.opening + 0.05),
        contact=replace(OPEN.contact, friction=0.1, constraint_factor=1.2),
    )
    found = compare(OPEN, other)
    assert not found.all_orders
    assert found.solved == 12
    assert sum(s.torque_Nm for s in found.shares) == pytest.approx(found.difference_Nm, abs=1e-9)
    assert sum(s.torque_Nm != 0.0 for s in found.shares) == 6


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_mixing_all_factors_gives_the_other_case_and_none_the_first(data: st.DataObject) -> None:
    profiles = ("open-end", "ring-six", "ring-twelve", "flare-nut")
    one, other = (
        case(
            data.draw(st.sampled_from(profiles)),
            size=data.draw(st.sampled_from(["M8", "M10", "M12"])),
            fastener={"rounding": f"{data.draw(st.integers(0, 60))} %"},
            wrench={"opening": data.draw(st.sampled_from(["tight", "loose"]))},
            contact={"friction": data.draw(st.sampled_from([0.1, 0.2]))},
        )
        for _ in range(2)
    )
    keys = frozenset(f.key for f in changed(one, other))
    for got, wanted in ((mixed(one, other, frozenset()), one), (mixed(one, other, keys), other)):
        assert not changed(got, wanted)
        assert got.wrench.profile == wanted.wrench.profile
        assert got.wrench.opening == pytest.approx(wanted.wrench.opening)
        assert got.fastener.across_flats == pytest.approx(wanted.fastener.across_flats)
        assert dict(got.wrench.dims_items) == pytest.approx(dict(wanted.wrench.dims_items))


def test_a_case_between_that_cannot_be_built_says_which() -> None:
    # The fastener of the second case is turned away; its jaws are too shallow for that of the first.
    with pytest.raises(ContactFEError) as caught:
        shallow = dict(OPEN.wrench.dims_items) | {"throat_depth": 0.1}
        odd = replace(OPEN, wrench=replace(OPEN.wrench, dims_items=tuple(sorted(shallow.items()))))
        compare(OPEN, odd)
    assert "outside of the head" in caught.value.message


def test_bodies_are_shared_between_cases_that_differ_in_nothing_that_shapes_them() -> None:
    bodies = Bodies()
    one = bodies.build(OPEN)
    other = bodies.build(
        replace(
            OPEN,
            contact=replace(OPEN.contact, friction=0.3),
            wrench=replace(OPEN.wrench, elastic_modulus=100_000.0, thickness=9.0),
        )
    )
    assert one.wrench.mesh is other.wrench.mesh
    assert one.fastener.mesh is other.fastener.mesh
    ratio = (OPEN.wrench.thickness / 9.0) * (206_000.0 / 100_000.0)
    np.testing.assert_allclose(
        other.rig.flexibilities[1].matrix, one.rig.flexibilities[1].matrix * ratio, rtol=1e-9
    )


# --- the command --------------------------------------------------------------------------------------------------

FILE = """format = 1
[fastener]
size = "M10"
grade = "8.8"
stock = "bar"
[wrench]
profile = "{profile}"
[mesh]
edge_at_contact = "0.4 mm"
edge_max = "3 mm"
"""


def test_why_writes_json_figures_and_fields(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, other = tmp_path / "open.toml", tmp_path / "loose.toml"
    one.write_text(FILE.format(profile="open-end"))
    other.write_text(FILE.format(profile='open-end"\nopening = "loose'))
    folder = tmp_path / "out"
    wanted = ["why", str(one), "--against", str(other), "--json", "--out", str(folder), "--rotation", "3"]
    assert main(wanted) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["governing"] == "opening"
    assert len(answer["effects"]) >= 5
    against = answer["against"]
    assert sum(s["torque_Nm"] for s in against["shares"]) == pytest.approx(against["difference_Nm"], abs=1e-6)
    assert {p.name for p in folder.iterdir()} == {
        "why.json",
        "modes.png",
        "state.png",
        "shares.png",
        "fields.vtu",
    }
    assert json.loads((folder / "why.json").read_text())["against"] == against
    fields = meshio.read(folder / "fields.vtu")
    assert fields.cells[0].type == "triangle6"
    assert {"displacement_mm", "von_mises_MPa", "principal_1_MPa", "crush_depth_um"} <= set(fields.point_data)


def test_why_refuses_a_rotation_without_use_or_outside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = tmp_path / "open.toml"
    one.write_text(FILE.format(profile="open-end"))
    assert main(["why", str(one), "--rotation", "3"]) == 2
    assert main(["why", str(one), "--out", str(tmp_path / "far"), "--rotation", "90"]) == 1
    assert "outside the curve" in capsys.readouterr().err


def test_why_tells_in_plain_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "ring.toml"
    file.write_text(FILE.format(profile="ring-six").split("[mesh]")[0])
    assert main(["why", str(file)]) == 0
    text = capsys.readouterr().out
    for part in (
        "lost by crushing",
        "limits, the lowest torque first",
        "sequence of events",
        "what would raise",
        "cautions",
    ):
        assert part in text
    assert text.count("  - ") >= 5
    maker = text.partition("what the maker of the wrench could do")[2]
    assert "outside diameter 26 to 26.73 mm (a change of shape: wall 10 % thicker): +" in maker
