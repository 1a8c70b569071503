"""Torsion of what is held below the head, against standards, handbook constants and values worked by hand."""

from __future__ import annotations

import math

import pytest
from cases import case

from contactfe.inputs import parse_case
from contactfe.reference import hexagon
from contactfe.standards import thread
from contactfe.strength import TwistOff, twist_off
from contactfe.strength.torsion import HEX_TORSION_STRESS, heap_volume, plastic_torque

INCH_LB = 0.112984829  # N m per lbf in, exact to the digits given


def bolt(size: str, grade: str, **fastener: object) -> TwistOff:
    found = twist_off(case("ring-six", size, grade, fastener={"stock": "bolt", **fastener}).fastener)
    assert found is not None
    return found


def by_yield(**fastener: object) -> TwistOff | None:
    """A fastener known by its yield strength alone."""
    raw = {
        "format": 1,
        "fastener": {"yield_strength": "640 MPa", **fastener},
        "wrench": {"profile": "ring-six"},
    }
    return twist_off(parse_case(raw).fastener)


@pytest.mark.parametrize(
    ("size", "area"),
    [("M5", 14.2), ("M6", 20.1), ("M8", 36.6), ("M10", 58.0), ("M12", 84.3), ("M16", 157.0), ("M20", 245.0)],
)
def test_stress_areas_of_iso_898_1(size: str, area: float) -> None:
    # ISO 898-1 table of proof loads, coarse threads (from memory), printed to three digits
    assert thread(size).stress_area == pytest.approx(area, rel=4e-3)


@pytest.mark.parametrize(
    ("size", "area"),
    [
        ("1/4 in", 0.0318),
        ("3/8 in", 0.0775),
        ("7/16 in", 0.1063),
        ("1/2 in", 0.1419),
        ("3/4 in", 0.334),
        ("1 in", 0.606),
    ],
)
def test_stress_areas_of_sae_j429(size: str, area: float) -> None:
    # SAE J429 / ASME B1.1 table of UNC stress areas, in2 (from memory)
    assert thread(size).stress_area / 25.4**2 == pytest.approx(area, rel=3e-3)


def test_fine_threads_have_their_own_area() -> None:
    # ISO 898-1 M10x1.25: 61.2 mm2; ASME B1.1 7/16-20 UNF: 0.1187 in2 (from memory)
    assert thread("M10x1.25").stress_area == pytest.approx(61.2, rel=3e-3)
    assert thread("7/16-20 in").stress_area / 25.4**2 == pytest.approx(0.1187, rel=3e-3)


@pytest.mark.parametrize(
    ("size", "grade", "least"),
    [
        ("M6", "8.8", 13.0),
        ("M8", "8.8", 33.0),
        ("M10", "8.8", 66.0),
        ("M10", "10.9", 81.0),
        ("M10", "12.9", 90.0),
    ],
)
def test_iso_898_7_keeps_its_own_values(size: str, grade: str, least: float) -> None:
    # ISO 898-7 least breaking torques, N m (from memory)
    found = bolt(size, grade)
    assert found.kind == "bolt"
    assert found.torque_Nm == pytest.approx(least, rel=0.02)
    assert found.band_Nm is not None
    assert found.band_Nm[0] == found.torque_Nm < found.band_Nm[1]
    assert "ISO 898-7" in found.note
    assert "plastic torsion" in found.note


def test_plastic_torsion_is_near_the_least_breaking_torque_where_both_reach() -> None:
    # The two are independent: one takes the stress area at yield, the other the thinnest core at 0.75 to 0.84 Rm.
    for size in ("M5", "M6", "M8", "M10"):
        for name, strength, most in (("8.8", 640.0, 0.08), ("10.9", 940.0, 0.18), ("12.9", 1100.0, 0.24)):
            least = bolt(size, name).torque_Nm
            assert plastic_torque(thread(size).stress_diameter, strength) == pytest.approx(least, rel=most)


def test_an_inch_bolt_by_hand() -> None:
    # 7/16-14 grade 5: d = 0.4375 - 0.9743/14 = 0.3679 in; pi d^3/12 * 92000/sqrt 3 = 692.5 lbf in; tensile 120 ksi
    found = bolt("7/16 in", "grade 5")
    assert found.torque_Nm == pytest.approx(692.5 * INCH_LB, rel=2e-3)
    assert found.band_Nm is not None
    assert found.band_Nm[1] / found.band_Nm[0] == pytest.approx(827 / 634, rel=1e-12)
    assert "7/16-14" in found.source
    assert "ASME B1.1" in found.note


def test_metric_bolts_above_m10_and_other_grades_by_plastic_torsion() -> None:
    # M12 8.8 by hand: d = 12 - 0.9382 * 1.75 = 10.358 mm; pi d^3/12 * 640/sqrt 3 = 107.5 N m, 134.4 at 800 MPa
    assert bolt("M12", "8.8").band_Nm == pytest.approx((107.5, 134.4), rel=2e-3)
    assert "898-7" not in bolt("M12", "8.8").note
    # M10 4.6: pi 8.593^3/12 * 240/sqrt 3 = 23.0 N m
    assert bolt("M10", "4.6").torque_Nm == pytest.approx(23.0, rel=3e-3)


def test_twist_off_follows_the_strength_that_is_given() -> None:
    plain, strong = bolt("M10", "8.8"), bolt("M10", "8.8", yield_strength="800 MPa")
    assert plain.torque_Nm is not None
    assert strong.band_Nm is not None
    assert strong.torque_Nm == pytest.approx(1.25 * plain.torque_Nm, rel=1e-12)
    # A strength that is known leaves only the core: (8.160/7.938)^3 = 1.086
    assert strong.band_Nm[1] / strong.band_Nm[0] == pytest.approx(1.086, rel=2e-3)


def test_yield_strength_alone_gives_one_end_and_says_so() -> None:
    found = by_yield(size="M10", stock="bolt")
    assert found is not None
    # pi 8.593^3/12 * 640/sqrt 3 = 61.4 N m
    assert found.torque_Nm == pytest.approx(61.4, rel=2e-3)
    assert found.band_Nm is None
    assert "tensile strength is not known" in found.note
    bar = by_yield(size="M10", stock="bar")
    assert bar is not None
    assert bar.torque_Nm is not None
    assert bar.band_Nm is None
    assert "tensile strength is not known" in bar.source
    unknown = by_yield(across_flats="16 mm", engaged_depth="6 mm", stock="bolt")
    assert unknown is not None
    assert unknown.torque_Nm is None
    assert "no thread size" in unknown.note


def test_bars_begin_to_yield_and_yield_through() -> None:
    assert HEX_TORSION_STRESS == hexagon.TORSION_STRESS
    found = twist_off(case("ring-six", fastener={"stock": "bar"}).fastener)
    assert found is not None
    assert found.kind == "bar"
    assert found.first_yield_Nm is not None
    assert found.torque_Nm is not None
    shear = 640.0 / math.sqrt(3.0)
    # T = 0.188 tau s^3 of a handbook page on hexagonal keys, within 1 %.
    assert found.first_yield_Nm == pytest.approx(0.188 * shear * 16.0**3 / 1e3, rel=0.01)
    assert found.torque_Nm / found.first_yield_Nm == pytest.approx(5.33 * math.sqrt(3) / 6, rel=1e-9)
    assert found.band_Nm == pytest.approx((found.torque_Nm, 1.25 * found.torque_Nm), rel=1e-12)
    assert "16 mm" in found.note


def test_nuts_say_what_a_stud_would_carry_and_count_nothing() -> None:
    found = twist_off(case("ring-six", size="M10 nut").fastener)
    assert found is not None
    assert found.torque_Nm is None
    assert found.band_Nm is None
    assert "stud M10x1.5" in found.note
    assert "61.4 to 76.7" in found.note  # by hand as above, at 640 and 800 MPa


def test_sand_heaps_have_their_exact_volumes() -> None:
    # Pyramids and cone (Nadai's heap; exact): hexagon sqrt(3)/12 s^3, square s^3/6, circle pi s^3/24.
    assert heap_volume(10.0, 0.0, 6) == pytest.approx(math.sqrt(3.0) / 12 * 1000, rel=1e-12)
    assert heap_volume(10.0, 0.0, 4) == pytest.approx(1000 / 6, rel=1e-12)
    assert heap_volume(10.0, 1.0, 6) == pytest.approx(math.pi * 1000 / 24, rel=1e-12)
    # Twice the cone times the shear strength is the round bar's pi d^3 / 12.
    assert plastic_torque(10.0, math.sqrt(3.0) * 1e3) == pytest.approx(
        2 * heap_volume(10.0, 1.0, 6), rel=1e-12
    )
    volumes = [heap_volume(10.0, r, 6) for r in (0.0, 0.2, 0.5, 0.8, 1.0)]
    assert volumes == sorted(volumes, reverse=True)
