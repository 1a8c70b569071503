"""Mirror images of pairs give mirror images of curves, and wear on the driven side goes with the turning direction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cases import COARSE, PROFILES, case, slip, solved
from drawn import mirrored

from contactfe.profile import turned_diameter
from contactfe.profile.fasteners import fastener_outline

WORN = {"rounding": "40 %", "worn_side": "driven"}


@pytest.mark.parametrize("worn", [{}, WORN, {"rounding": "40 %"}], ids=["new", "driven", "both"])
@pytest.mark.parametrize("profile", PROFILES)
def test_the_other_direction_on_the_mirrored_wrench_gives_the_same_torque(profile: str, worn: dict) -> None:
    # Reflection symmetry of plane elasticity and of Coulomb friction. The two are meshed apart, so only nearly alike.
    c = case(profile, fastener=worn, wrench={"offset_angle": "20 deg"}, mesh=COARSE)
    assert slip(mirrored(c)) == pytest.approx(slip(c), rel=0.004)


@pytest.mark.parametrize("shape", ["square", "double-hex"])
def test_other_heads_have_mirror_images_too(shape: str) -> None:
    profile = "ring-twelve" if shape == "double-hex" else "open-end"
    c = case(profile, fastener={"shape": shape, **WORN, "rounding": "20 %"}, mesh=COARSE)
    assert slip(mirrored(c)) == pytest.approx(slip(c), rel=0.004)


def test_driven_wear_costs_what_turned_corners_cost_and_the_new_head_holds_more() -> None:
    # What the wrench bears on is cut in the same way; the rest of the corner keeps a little more.
    one, both, new = (
        slip(case("ring-six", fastener=f))
        for f in ({"rounding": "40 %", "worn_side": "driven"}, {"rounding": "40 %"}, {})
    )
    assert both < one < 1.04 * both
    assert one < 0.9 * new


@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.parametrize("shape", ["hex", "square"])
def test_the_driven_half_of_each_corner_lies_on_the_turned_circle(shape: str, sense: int) -> None:
    """Plane geometry: width over the driven halves e - r (e - s), and a trailing flat that keeps more."""
    fastener = case("open-end", fastener={"shape": shape, **WORN}).fastener
    sides = 4 if shape == "square" else 6
    outline = fastener_outline(fastener, sense)
    x = np.vstack([p.points(np.linspace(0, 1, 40)) for p in outline.loops[0]])
    pitch = math.tau / sides
    ahead = sense * np.arctan2(x[:, 1], x[:, 0]) % pitch  # from the middle of a flat towards its driven end
    radius = np.hypot(x[:, 0], x[:, 1])
    driven, trailing = radius[ahead < pitch / 2 - 1e-9].max(), radius[ahead > pitch / 2 + 1e-9].max()
    turned = turned_diameter(fastener.across_flats, 0.4, sides) / 2
    assert driven == pytest.approx(turned, rel=1e-9)
    assert turned < trailing < turned_diameter(fastener.across_flats, 0.0, sides) / 2


@pytest.mark.parametrize("rounding", ["1 %", "5 %", "90 %", "98 %", "100 %"])
def test_every_degree_of_driven_wear_has_an_outline_and_an_answer(rounding: str) -> None:
    c = case("open-end", fastener={**WORN, "rounding": rounding}, mesh=COARSE)
    torque = solved(c)[1].slip_torque_Nm
    assert torque is None or 0 < torque < 1.01 * slip(case("open-end", mesh=COARSE))


@pytest.mark.parametrize("rounding", ["58 %", "67 %", "76 %"])
def test_a_well_worn_double_hexagon_is_meshed_and_solved(rounding: str) -> None:
    # Its corners are short arcs between flats that are nearly gone: elements there used to be bad.
    c = case("ring-twelve", fastener={"shape": "double-hex", "rounding": rounding}, mesh=COARSE)
    curve, estimate = solved(c)
    assert estimate.turns_freely or (curve.audit.passed() and slip(c) > 0)
