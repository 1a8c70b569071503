"""What a shop measures and how it writes it: corners after turning, hardness, bar steels, threads, origins."""

from __future__ import annotations

import math
from typing import Any

import pytest

from contactfe.errors import ContactFEError, InputError
from contactfe.inputs import GIVEN, CaseInput, held_words, parse_case, set_path, size_words, to_dict
from contactfe.profile import turned_diameter
from contactfe.standards import (
    PROFILES,
    bar_across_flats_min,
    grade,
    head_defaults,
    meant_profile,
    parse_hardness,
    profile,
    size,
    tensile_from_hv,
    thread,
    yield_from_hv,
)

BASE: dict[str, Any] = {
    "format": 1,
    "fastener": {"size": "M10", "grade": "8.8"},
    "wrench": {"profile": "ring-six"},
}
INCH_BAR: dict[str, Any] = {
    "format": 1,
    "fastener": {"across_flats": "7/16 in", "engaged_depth": "0.25 in", "grade": "1045"},
    "wrench": {"profile": "ring-six"},
}


def case(base: dict[str, Any] = BASE, **changes: Any) -> CaseInput:
    raw = base
    for path, value in changes.items():
        raw = set_path(raw, path.replace("__", "."), value)
    return parse_case(raw)


def refused(raw: dict[str, Any]) -> str:
    """The one problem of a case."""
    with pytest.raises(InputError) as caught:
        parse_case(raw)
    assert len(caught.value.problems) == 1, str(caught.value)
    return str(caught.value.problems[0])


def with_keys(table: str, **keys: Any) -> dict[str, Any]:
    """The case with keys written beside what is there, also where they contradict each other."""
    return {**BASE, table: {**BASE[table], **keys}}


# --- corners after turning ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rounding", [0.0, 0.2, 0.4, 0.75, 1.0])
def test_width_across_corners_is_the_rounding_that_turns_to_it(rounding: float) -> None:
    measured = turned_diameter(16.0, rounding)  # plane geometry: e - r (e - s)
    assert case(fastener__across_corners=f"{measured!r} mm").fastener.rounding == pytest.approx(
        rounding, abs=1e-9
    )


def test_width_across_corners_of_an_undersize_hex_and_of_a_square() -> None:
    # e = 2/sqrt(3) 15.5 mm = 17.898 mm; (17.898 - 17)/(17.898 - 15.5) = 0.3744, by hand
    worn = case(fastener__undersize="0.5 mm", fastener__across_corners="17 mm")
    assert worn.fastener.rounding == pytest.approx(0.3744, abs=2e-4)
    assert worn.origins["fastener.rounding"].startswith("from across_corners 17 mm")
    square = {
        "format": 1,
        "fastener": {
            "shape": "square",
            "across_flats": "16 mm",
            "engaged_depth": "6 mm",
            "grade": "8.8",
            "across_corners": "20 mm",
        },
        "wrench": {"profile": "open-end"},
    }
    # e = sqrt(2) 16 = 22.627 mm; (22.627 - 20)/(22.627 - 16) = 0.3964
    assert parse_case(square).fastener.rounding == pytest.approx(0.3964, abs=2e-4)


def test_corners_that_contradict_are_one_clear_problem() -> None:
    both = refused(with_keys("fastener", rounding="20 %", across_corners="17.6 mm"))
    assert both == "[fastener] across_corners: stands beside rounding; keep one of the two"
    assert "more than sharp corners have" in refused(with_keys("fastener", across_corners="18.6 mm"))
    assert "less than the width across flats" in refused(with_keys("fastener", across_corners="15.9 mm"))
    one_side = refused(with_keys("fastener", across_corners="17.6 mm", worn_side="driven"))
    assert "give rounding instead" in one_side


# --- hardness -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "hv", "tolerance"),
    [
        ("42 HRC", 412.0, 1e-9),  # ASTM E140
        ("HRC 45", 446.0, 1e-9),  # ASTM E140
        ("C33", 327.0, 0.01),  # ASTM E140: 327 HV (from memory)
        ("320 HV", 320.0, 0.0),
        ("238 HB", 250.0, 0.005),  # ISO 898-1 pairs 238 HBW with 250 HV (from memory)
        ("304HBW", 320.0, 0.005),  # ISO 898-1 pairs 304 HBW with 320 HV (from memory)
        ("95 HRB", 220.0, 1e-9),  # ISO 898-1, upper limit of 4.6 to 5.8
        ("90 HRB", 185.0, 0.06),  # ASTM E140 (from memory)
    ],
)
def test_hardness_by_the_conversion_tables(text: str, hv: float, tolerance: float) -> None:
    assert parse_hardness(text).hv == pytest.approx(hv, rel=tolerance)


@pytest.mark.parametrize(
    "text", ["33", "HRC", "33 HRD", "12 HRC", "70 HRC", "10 HV", "120 HRB", "", "HRC 33 HRC"]
)
def test_hardness_that_cannot_be_read_says_how(text: str) -> None:
    with pytest.raises(ContactFEError) as caught:
        parse_hardness(text)
    assert caught.value.hint
    assert caught.value.slug == "hardness"


def test_strength_by_hardness_agrees_with_the_standards_own_pairs() -> None:
    # ISO 898-1: 250 HV and 800 MPa, 320 HV and 1040 MPa (10.9), 385 HV and 1220 MPa; +-5 % as the tables state
    for hv, tensile in ((250.0, 800.0), (320.0, 1040.0), (385.0, 1220.0)):
        assert tensile_from_hv(hv) == pytest.approx(tensile, rel=0.05)
    # 4140 quenched and tempered at 540 deg C: 951 MPa tensile, 834 MPa yield (published data), at 951/3.2 HV
    assert yield_from_hv(951.0 / 3.2) == pytest.approx(834.0, rel=0.15)


def test_hardness_of_the_fastener_with_and_without_a_grade() -> None:
    graded = case(fastener__hardness="28 HRC")
    # E140: 28 HRC is 924 MPa; 8.8 has 640/800 of it
    assert graded.fastener.yield_strength == pytest.approx(0.8 * 924.0, rel=1e-9)
    assert graded.fastener.tensile_ratio == pytest.approx(1.25)
    assert "28 HRC" in graded.origins["fastener.yield_strength"]
    alone = parse_case({**BASE, "fastener": {"size": "M10", "hardness": "28 HRC"}})
    assert alone.fastener.yield_strength == pytest.approx(yield_from_hv(286.0), rel=1e-9)
    assert "Pavlina" in alone.origins["fastener.yield_strength"]
    both = refused(with_keys("fastener", hardness="28 HRC", yield_strength="700 MPa"))
    assert both == "[fastener] hardness: stands beside yield_strength; keep one of the two"
    brass = refused({**BASE, "fastener": {"size": "M10", "grade": "brass C36000", "hardness": "78 HRB"}})
    assert "for steel" in brass


def test_hardness_of_the_wrench() -> None:
    # 0.92 of the mean of A370's 1480 and E140's 1421 MPa at 45 HRC
    hard = case(wrench__hardness="45 HRC")
    assert hard.wrench.yield_strength == pytest.approx(0.92 * 1450.5, rel=1e-9)
    assert hard.origins["wrench.yield_strength"].startswith("45 HRC")
    # The default is said to be 42 to 46 HRC: it lies between the ends by the same rule.
    ends = [case(wrench__hardness=f"{h} HRC").wrench.yield_strength for h in (42, 46)]
    assert ends[0] < case().wrench.yield_strength < ends[1]
    assert "stands beside" in refused(with_keys("wrench", hardness="45 HRC", yield_strength="1200 MPa"))


# --- grades and bar steels ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("SAE grade 8", "grade 8"),
        ("Gr. 8", "grade 8"),
        ("Gr 5", "grade 5"),
        ("grade8", "grade 8"),
        ("SAE J429 Grade 5", "grade 5"),
        ("class 8.8", "8.8"),
        ("Gr. 10.9", "10.9"),
        ("4140", "4140 28-32 HRC"),
        ("AISI 1018", "1018 cold drawn"),
        ("42CrMo4+QT", "42CrMo4 +QT"),
        ("C45", "C45 +QT"),
        ("12L14", "12L14 cold drawn"),
        ("1144", "1144 class B"),
    ],
)
def test_usual_spellings_of_grades(text: str, name: str) -> None:
    assert grade(text).name == name


def test_a_bare_number_is_no_grade_but_names_what_it_may_be() -> None:
    with pytest.raises(ContactFEError, match="grade 8"):
        grade("8")


def test_bar_steels_go_by_their_width_and_say_where_they_come_from() -> None:
    # EN ISO 683-1, C45 +QT (from memory): 430 MPa over 16 to 40 mm; the thread of M24 would be in it too, M10's not
    raw = {"format": 1, "wrench": {"profile": "ring-six"}}
    wide = parse_case({**raw, "fastener": {"size": "M14", "grade": "C45"}})
    assert wide.fastener.across_flats == 21.0
    assert wide.fastener.yield_strength == 430.0
    assert "from memory" in wide.origins["fastener.yield_strength"]
    for name in ("1018", "1045", "1144", "4140", "12L14", "C45", "42CrMo4"):
        row = grade(name)
        assert row.product == "bar"
        assert "from memory" in row.source
        assert 0.5 < row.yield_min / row.tensile_min < 0.95


def test_yield_may_be_the_least_or_the_typical_of_the_grade() -> None:
    least, typical = case(), case(fastener__yield="typical")
    assert least.fastener.yield_strength == 640.0
    assert least.origins["fastener.yield_strength"] == "least of 8.8, ISO 898-1:2013"
    # middle of 250 to 320 HV at 3.2 MPa each, 640/800 of it
    assert typical.fastener.yield_strength == pytest.approx(0.8 * 3.2 * 285.0)
    assert "typical of 8.8" in typical.origins["fastener.yield_strength"]
    assert "no typical value" in refused(
        {**BASE, "fastener": {"size": "M10", "grade": "A2-70", "yield": "typical"}}
    )
    beside = refused(with_keys("fastener", yield_strength="700 MPa", **{"yield": "typical"}))
    assert "has no use beside yield_strength" in beside


# --- threads and widths -------------------------------------------------------------------------------------------


def test_sizes_with_their_pitch() -> None:
    assert size("M10x1.5").name == "M10"
    assert size("7/16-14") == size("7/16 in")
    assert size("1/2-13 UNC").name == "1/2 in"
    assert size("1-1/2").name == "1-1/2 in"
    assert size("1-8").name == "1 in"
    fine = size("M10x1.25")
    assert (fine.name, fine.across_flats) == ("M10x1.25", 16.0)
    assert size("7/16-20 nut").name == "7/16-20 in nut"
    assert thread(fine.name).pitch == 1.25
    with pytest.raises(ContactFEError, match=r"M10x1\.25, M10x1"):
        size("M10x1.4")


def test_thread_and_width_are_not_mixed_up() -> None:
    assert size_words(case().fastener) == "M10 thread, 16 mm across flats"
    assert size_words(case(fastener__size="M10 nut").fastener) == "M10 nut, 16 mm across flats"
    assert (
        size_words(case(fastener__size="7/16-14").fastener)
        == "7/16 in thread, 5/8 in (15.88 mm) across flats"
    )
    assert size_words(parse_case(INCH_BAR).fastener) == "7/16 in (11.11 mm) across flats"
    assert held_words(case().fastener) == "solid bar"
    assert held_words(case(fastener__stock="bolt").fastener) == "bolt"
    wide = refused({**BASE, "fastener": {"size": "16 mm", "grade": "8.8"}})
    assert 'across_flats = "16 mm"' in wide
    assert "M10 has that width" in wide
    swapped = refused({**BASE, "fastener": {"across_flats": "M10", "engaged_depth": "6 mm", "grade": "8.8"}})
    assert 'write size = "M10"' in swapped
    assert "16 mm across flats" in swapped


def test_suggestions_never_propose_a_wrong_thing() -> None:
    for text in ("box-end", "box end wrench", "Box", "ring"):
        assert meant_profile(text) == "did you mean ring-six or ring-twelve?"
    assert meant_profile("12-point") == "did you mean ring-twelve?"
    assert meant_profile("line wrench") == "did you mean flare-nut?"
    assert meant_profile("opn-end") == "did you mean open-end?"
    assert "ring-six or ring-twelve" in refused(with_keys("wrench", profile="box-end"))
    fraction = refused({**BASE, "fastener": {"across_flats": "3/8", "engaged_depth": "6 mm", "grade": "8.8"}})
    assert 'write "3/8 in"' in fraction
    assert "mm" not in fraction


# --- heads and origins --------------------------------------------------------------------------------------------


def test_an_inch_width_takes_the_inch_table_of_heads() -> None:
    # A-A-1346A, 7/16 in: outside diameter 0.695 in, thickness 3/8 in
    found = parse_case(INCH_BAR).wrench
    assert found.dims["outside_diameter"] == pytest.approx(0.695 * 25.4, rel=1e-12)
    assert found.thickness == pytest.approx(0.375 * 25.4, rel=1e-12)
    assert "A-A-1346A table" in found.rules["outside_diameter"]
    # the same width in mm is a metric width: JIS B 4632 between 10 and 13 mm
    metric = case(INCH_BAR, fastener__across_flats="11.1125 mm").wrench
    assert metric.dims["outside_diameter"] == pytest.approx(17.0 + 5.5 * 1.1125 / 3.0, rel=1e-9)
    assert "JIS B 4632" in metric.rules["outside_diameter"]
    flare = case(INCH_BAR, wrench__profile="flare-nut").wrench
    assert flare.dims["outside_diameter"] == pytest.approx(1.12 * 0.695 * 25.4, rel=1e-12)
    # 1/2 in screw: 3/4 in across flats, 1.125 in outside
    assert case(fastener__size="1/2 in").wrench.dims["outside_diameter"] == pytest.approx(1.125 * 25.4)
    beyond = head_defaults("ring-six", 25.4, 25.6, inch=True)["outside_diameter"]
    assert "beyond its table" in beyond.rule
    assert 1.3 * 25.4 < beyond.value < 1.6 * 25.4


def test_every_value_has_an_origin() -> None:
    found = case(fastener__rounding="20 %", wrench__thickness="11 mm")
    record = to_dict(found)
    names = {"across_flats_nominal": "across_flats", "corner_radius": "corner"}
    for table in ("fastener", "wrench", "contact", "load", "mesh"):
        for key, value in record[table].items():
            if value is None or (table, key) == ("wrench", "points"):
                continue
            assert found.origins.get(f"{table}.{names.get(key, key)}"), (table, key)
    assert found.stated("fastener.rounding")
    assert not found.stated("wrench.yield_strength")
    assert "VDI 2230" in found.origins["contact.friction"]
    assert "lightly oiled" in found.origins["contact.friction"]
    assert "HRC" in found.origins["wrench.yield_strength"]
    assert "largest" in found.origins["fastener.across_flats"]
    assert found.wrench.measured == ("thickness",)
    assert "outside_diameter" in found.wrench.defaulted
    assert found.wrench.rules["thickness"] == GIVEN


def test_origins_are_words_about_the_case_and_not_part_of_it() -> None:
    assert case() == case(contact__friction=0.15)
    assert hash(case()) == hash(case(contact__friction=0.15))


def test_every_family_has_one_record() -> None:
    for name in PROFILES:
        record = profile(name)
        assert record.name == name
        assert record.words
        dims = record.rules_for("hex")
        assert (record.wall in dims) != record.drawn
        assert record.is_ring == ("outside_diameter" in dims)
        assert record.key_dim[0] in (*dims, "")
        assert (
            parse_case({**BASE, "wrench": {"profile": name}}).wrench.family is record
            if not record.drawn
            else True
        )
    assert profile("flare-nut").is_open
    assert [name for name in PROFILES if profile(name).takes(12)] == [
        "ring-twelve",
        "ring-spline",
        "flare-nut",
    ]
    assert profile("open-end").first_flat == pytest.approx(math.pi / 2)


def test_bars_have_the_tolerance_of_drawn_bars() -> None:
    # h11, ISO 286-1 (from memory): 0.110 mm for 10 to 18 mm, 0.160 mm for 30 to 50 mm
    assert bar_across_flats_min(16.0) == 15.89
    assert bar_across_flats_min(36.0) == 35.84


def test_the_command_line_tells_origins_as_they_were_resolved() -> None:
    from contactfe.cli.turn import defaults_used

    raw = with_keys("fastener", across_corners="17.6 mm")
    told = {where: rule for where, _, rule in defaults_used(parse_case(raw), raw)}
    assert told["[fastener] rounding"].startswith("from across_corners 17.6 mm")
    assert told["[fastener] yield_strength"] == "least of 8.8, ISO 898-1:2013"
    assert "VDI 2230" in told["[contact] friction"]
    assert "[fastener] across_corners" not in told
