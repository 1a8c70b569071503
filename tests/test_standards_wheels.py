"""The tables against packages of parts that know nothing of this one, and fifteen check values of the trade.

The numbers of the packages are stored in tests/data/from_wheels.json, so that this runs without a network;
tests/data/from_wheels.py fetches them again. The source stands beside each check.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from cases import case, slip

from contactfe.contact import free_play
from contactfe.errors import ContactFEError
from contactfe.profile import profile_pair
from contactfe.reference import hexagon, trade
from contactfe.standards import (
    across_corners_min,
    across_flats_min,
    grade,
    hardness_hv,
    head_chamfer,
    height_limits,
    opening_limits,
    ring_outside,
    size,
    tensile_from_hrc,
    twist_off_torque,
    wrench_test_torque_fit,
    wrenching_height_min,
)
from contactfe.standards._tables import notes, rows
from contactfe.turn.build import build_pair
from contactfe.turn.curve import spin_limit

STORED = json.loads((Path(__file__).parent / "data" / "from_wheels.json").read_text(encoding="utf-8"))
FIRST, SECOND = "bd-warehouse 0.4.0", "cq-queryabolt 0.1.2"
KSI = 6.894757  # MPa, exact to seven digits
INCH = 25.4


# --- packages of parts ----------------------------------------------------------------------------------------------


def test_the_stored_numbers_name_their_packages_and_licences() -> None:
    assert set(STORED["origin"]) == {FIRST, SECOND}
    assert len(STORED[FIRST]["head_width"]) == 15 and len(STORED[SECOND]["nut_width"]) >= 11


@pytest.mark.parametrize("name", STORED[FIRST]["head_width"])
def test_heads_agree_with_a_package_of_parts(name: str) -> None:
    # bd-warehouse 0.4.0, hex_head_parameters.csv, columns iso4014:s and iso4014:k
    assert size(name).across_flats == STORED[FIRST]["head_width"][name]
    height = STORED[FIRST]["head_height"][name]
    # Its height of M33 is the largest one, in a column of nominal ones (21 mm; 21.42 mm is the upper limit).
    assert (size(name).height_max if name == "M33" else size(name).height) == height


@pytest.mark.parametrize("package", [FIRST, SECOND])
def test_nuts_agree_with_two_packages_of_parts(package: str) -> None:
    # bd-warehouse 0.4.0 iso4032:s and iso4032:m; cq-queryabolt 0.1.2 width and thickness
    for name, width in STORED[package]["nut_width"].items():
        assert size(f"{name} nut").across_flats == width, name
    for name, height in STORED[package]["nut_height"].items():
        assert size(f"{name} nut").height_max == height, name


def test_old_widths_agree_with_a_package_of_parts() -> None:
    # bd-warehouse 0.4.0, column din931:s: 17, 19, 22 and 32 mm are the widths that ISO 272:1982 changed
    old = STORED[FIRST]["old_head_width"]
    changed = {name for name, width in old.items() if width != STORED[FIRST]["head_width"][name]}
    assert changed == {"M10", "M12", "M14", "M22"}
    for name in changed:
        assert size(f"{name} DIN").across_flats == old[name]
        assert size(f"{name.lower()} din").name == f"{name} DIN"


def test_limits_of_every_package_size_follow_from_the_rules() -> None:
    # ISO 4759-1: s_min from IT13/14, e_min = 1.13 s_min, k js14 / js15, k_w,min = 0.7 k_min, from the packages' numbers
    for name, width in STORED[FIRST]["head_width"].items():
        head = size(name)
        least = across_flats_min(width, head.product_grade)
        assert least == pytest.approx(head.across_flats_min, abs=1e-9)
        assert across_corners_min(least) == pytest.approx(head.across_corners_min, abs=0.0101)
        if name != "M33":  # its height there is not the nominal one
            low, high = height_limits(STORED[FIRST]["head_height"][name], head.product_grade)
            assert (low, high) == pytest.approx((head.height_min, head.height_max), abs=1e-9)
            assert wrenching_height_min(low) == pytest.approx(head.wrenching_height_min, abs=0.0101)


# --- tables of this package that no other test reads -----------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["head_chamfer", "head_outside_inch", "hex_bolts_old", "test_torques", "test_torque_fits"]
)
def test_every_table_states_source_and_mark(name: str) -> None:
    file = f"{name}.csv"
    assert "Mark:" in notes(file)
    assert all(None not in row and None not in row.values() for row in rows(file)), "ragged row"


def test_test_torques_are_marked_as_fits_and_fit_the_rows_read() -> None:
    # GOST 2838-80 table 2, the rows read; the fits are this package's own and say so
    assert "FITS" in notes("test_torque_fits.csv")
    worst = 0.0
    for row in rows("test_torques.csv"):
        for series in "ABCD":
            if row[series] and float(row["s"]) >= 22.0:
                fitted = wrench_test_torque_fit(float(row["s"]), series)
                worst = max(worst, abs(fitted / float(row[series]) - 1.0))
    assert worst < 0.0065


def test_ring_heads_of_two_standards() -> None:
    # JIS B 4632-1986: 16 mm is 26 mm by 11.5 mm; A-A-1346A: 3/4 in is 1.125 in by 35/64 in
    metric, inch = ring_outside(16.0), ring_outside(0.75 * INCH, inch=True)
    assert metric is not None and (metric.outside_diameter, metric.thickness) == (26.0, 11.5)
    assert inch is not None and inch.outside_diameter == pytest.approx(1.125 * INCH)
    assert inch.thickness == pytest.approx(35 / 64 * INCH)
    assert ring_outside(16.5) is None and "JIS B 4632" in metric.source and "A-A-1346A" in inch.source


def test_chamfers_of_heads_and_nuts() -> None:
    # ISO 4014 / ISO 4032: 15 to 30 deg (from memory); ASME B18.2.1: circle of the largest width, minus 15 %
    head, nut = head_chamfer("head"), head_chamfer("nut")
    assert (math.degrees(head.angle_low), math.degrees(head.angle_high)) == pytest.approx((15.0, 30.0))
    assert (head.circle_low, head.circle_high, head.faces, nut.faces) == (0.85, 1.0, 1, 2)
    with pytest.raises(ContactFEError, match="no chamfer"):
        head_chamfer("washer")


# --- fifteen check values --------------------------------------------------------------------------------------------


def test_1_widths_across_flats() -> None:
    # ISO 272
    names = "M5 M6 M8 M10 M12 M14 M16 M20 M24 M30 M36".split()  # noqa: SIM905
    assert [size(name).across_flats for name in names] == [8, 10, 13, 16, 18, 21, 24, 30, 36, 46, 55]


def test_2_least_width_and_corners() -> None:
    # ISO 4014 M10, ISO 4032 M20; e_min = 1.13 s_min, ISO 4759-1
    bolt, nut = size("M10"), size("M20 nut")
    assert (bolt.across_flats_min, bolt.across_corners_min) == pytest.approx((15.73, 17.77), abs=0.01)
    assert (nut.across_flats_min, nut.across_corners_min) == pytest.approx((29.16, 32.95), abs=0.01)


def test_3_heights_of_heads() -> None:
    # ISO 4014
    names = "M5 M6 M8 M10 M12 M14 M16".split()  # noqa: SIM905
    assert [size(name).height for name in names] == [3.5, 4.0, 5.3, 6.4, 7.5, 8.8, 10.0]


@pytest.mark.parametrize(
    ("width", "low", "high"),
    # ISO 691 (GB/T 4390, JIS B 4632)
    [(10, 10.04, 10.19), (13, 13.04, 13.24), (17, 17.05, 17.30), (19, 19.06, 19.36), (24, 24.06, 24.36)],
)
def test_4_metric_openings(width: float, low: float, high: float) -> None:
    found = opening_limits(width)
    assert (found.lower, found.upper) == pytest.approx((low, high), abs=0.005)


@pytest.mark.parametrize(("width", "low", "high"), [(0.75, 0.755, 0.763), (1.5, 1.508, 1.520)])
def test_5_inch_openings(width: float, low: float, high: float) -> None:
    # ASME B18.2.2, appendix: 1.005 W + .001, tolerance .005 W + .004 in
    found = opening_limits(width * INCH, inch=True)
    assert (found.lower / INCH, found.upper / INCH) == pytest.approx((low, high), abs=0.001)


def test_6_half_inch_head() -> None:
    # ASME B18.2.1
    head = size("1/2 in")
    got = [head.across_flats, head.across_flats_min, head.across_corners, head.across_corners_min]
    got += [head.height_max, head.height_min]
    assert [x / INCH for x in got] == pytest.approx([0.750, 0.736, 0.866, 0.840, 0.323, 0.302], abs=0.001)


@pytest.mark.parametrize("profile", ["open-end", "ring-six"])
def test_7_free_play_of_the_loosest_pair(profile: str) -> None:
    # plane geometry: cos(30 deg - play) = (S/s) cos 30 deg; s = 15.73, S = 16.27 gives 3.61 deg
    assert math.degrees(hexagon.free_turn(15.73, 16.27 - 15.73)) == pytest.approx(3.61, abs=0.02)
    assert hexagon.free_turn(16.0, 0.0) == pytest.approx(0.0, abs=1e-9)
    # The sharpest corner a case takes (radius 0.002 s) touches a little later than a sharp one.
    tables = {"fastener": {"undersize": "0.27 mm", "corner": "0.04 mm"}, "wrench": {"opening": "loose"}}
    built = build_pair(case(profile, mesh={"edge_at_contact": "0.8 mm", "edge_max": "4 mm"}, **tables))
    play = free_play(built.rig.search, 15.73, spin_limit(built))
    assert play is not None and math.degrees(play) == pytest.approx(3.61, abs=0.06)


def test_8_twelve_point_flank_and_inner_corner() -> None:
    # plane geometry: flank 0.1547 S against half a flat, 0.2887 S; re-entrant corner at 0.5176 S
    assert hexagon.twelve_point_flank(1.0) == pytest.approx(0.1547, abs=1e-4)
    assert hexagon.twelve_point_flank(1.0) / (0.5 / math.sqrt(3.0)) == pytest.approx(0.536, abs=1e-3)
    assert pytest.approx(0.5176, abs=1e-4) == hexagon.TWELVE_POINT_INNER
    # and the outline that is meshed, with the smallest ridge that a case takes
    drawn = profile_pair(case("ring-twelve", wrench={"ridge_radius": "0.001 mm", "opening": "16.2 mm"}))
    points = np.vstack([p.points(np.linspace(0, 1, 9)) for p in drawn.wrench.pieces if p.name == "ridge"])
    assert np.hypot(*points.T).min() / 16.2 == pytest.approx(0.5176, abs=1e-4)


@pytest.mark.parametrize(
    ("friction", "factor"), [(0.0, 0.2887), (0.12, 0.3487), (0.15, 0.3637), (0.20, 0.3887), (0.30, 0.4387)]
)
def test_9_corner_torque_arm(friction: float, factor: float) -> None:
    # statics: T/(n N s) = 0.2887 + 0.5 mu at the tight fit; here also from the corner and the flat's normal
    assert hexagon.corner_torque_factor(friction) == pytest.approx(factor, abs=1e-3)
    corner = np.array([0.5, 0.5 * math.tan(math.pi / 6.0)])  # of a hexagon of unit width, flat towards +x
    force = np.array([-1.0, friction])  # the flank presses towards the axis and drags the corner along
    assert corner[0] * force[1] - corner[1] * force[0] == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "strength", "torque"),
    # ISO 898-7:1992, formula and table; its factors X from memory
    [("M6", "8.8", 13), ("M8", "8.8", 33), ("M10", "8.8", 66), ("M10", "10.9", 81), ("M10", "12.9", 90)],
)
def test_10_twist_off(name: str, strength: str, torque: float) -> None:
    assert twist_off_torque(name, strength)[0] == pytest.approx(torque, rel=0.02)


@pytest.mark.parametrize(
    ("name", "tensile", "least", "window"),
    # ISO 898-1:2013
    [("8.8", 800, 640, (250, 320)), ("10.9", 1040, 940, (320, 380)), ("12.9", 1220, 1100, (385, 435))],
)
def test_11_strength_of_bolts(name: str, tensile: float, least: float, window: tuple[float, float]) -> None:
    found = grade(name, 10.0)
    assert (found.tensile_min, found.yield_min) == (tensile, least)
    assert (found.hardness_min, found.hardness_max, found.hardness_scale) == (*window, "HV")


@pytest.mark.parametrize(
    ("name", "least", "tensile", "window"),
    # SAE J429: grade 5 from 1/4 to 1 in, grade 8; ksi
    [("grade 5", 92, 120, (25, 34)), ("grade 8", 130, 150, (33, 39)), ("grade 1", 36, 60, (70, 100))],
)
def test_12_strength_of_inch_bolts(
    name: str, least: float, tensile: float, window: tuple[float, float]
) -> None:
    found = grade(name, 12.7)
    assert (found.yield_min, found.tensile_min) == pytest.approx((least * KSI, tensile * KSI), abs=0.6)
    assert (found.hardness_min, found.hardness_max) == window


@pytest.mark.parametrize(
    ("width", "series", "torque"),
    # GOST 2838-80; that group A is series A of ISO 1711-1 is from memory
    [
        (24, "A", 451),
        (27, "A", 594),
        (30, "A", 760),
        (22, "C", 225),
        (24, "C", 287),
        (27, "C", 399),
        (30, "C", 536),
    ],
)
def test_13_test_torques(width: float, series: str, torque: float) -> None:
    assert wrench_test_torque_fit(width, series) == pytest.approx(torque, rel=0.01)


def test_14_hardness() -> None:
    # ASTM E140 / A370: 45 HRC is 446 HV and 1420 to 1480 MPa
    assert hardness_hv(45.0) == pytest.approx(446.0, abs=3.0)
    low, high = tensile_from_hrc(45.0)
    assert low == pytest.approx(1420.0, rel=0.05) and high == pytest.approx(1480.0, rel=0.05)


def test_15_strip_rule() -> None:
    # Case's rule (secondary citation): 405 and 135 N m at s = 16 mm, h = 6.4 mm, Rm = 800 MPa; goes with s^2 h Rm N_C
    six, one = (trade.strip_torque_Nm(16.0, 6.4, 800.0, pairs) for pairs in (3, 1))
    assert (six, one) == pytest.approx((405.0, 135.0), abs=0.5)
    assert trade.strip_torque_Nm(32.0, 12.8, 400.0, 3) == pytest.approx(4 * six, rel=1e-12)
    # The model on an M10 head of class 8.8 (Rm 800 MPa), at the middle opening: within the rule's +-50 %
    coarse = {"edge_at_contact": "0.5 mm", "edge_max": "3 mm"}
    for profile, rule in (("ring-six", six), ("open-end", one)):
        assert 0.5 < slip(case(profile, mesh=coarse)) / rule < 1.5
