"""Case files: every bad input gets its message, all at once; good ones resolve to numbers checked by hand."""

from __future__ import annotations

import json
import math
import pickle
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contactfe.errors import InputError
from contactfe.inputs import (
    FIELDS,
    TABLES,
    CaseInput,
    case_template,
    check_keys,
    field_of,
    fields_of,
    load_case,
    parse_case,
    read_toml,
    resolve,
    set_path,
    to_dict,
)
from contactfe.inputs.values import read_value
from contactfe.standards import DIMENSIONS, PROFILES, head_defaults, opening_limits, sizes

SPEC = """
format = 1
name = "ring-twelve-on-m10"
[fastener]
shape = "hex"
size = "M10"
grade = "8.8"
rounding = "0 %"
engaged_depth = "6.4 mm"
[wrench]
profile = "ring-twelve"
opening = "middle"
thickness = "11 mm"
yield_strength = "1250 MPa"
[contact]
friction = 0.15
constraint_factor = 1.155
[load]
lever_arm = "none"
"""
BASE: dict[str, Any] = {
    "format": 1,
    "fastener": {"size": "M10", "grade": "8.8"},
    "wrench": {"profile": "ring-six"},
}
FREE: dict[str, Any] = {
    "format": 1,
    "fastener": {"across_flats": "16 mm", "engaged_depth": "6 mm", "yield_strength": "640 MPa"},
    "wrench": {"profile": "open-end"},
}


def case(base: dict[str, Any], **changes: Any) -> CaseInput:
    """Parse `base` with keys changed, written as fastener__rounding="20 %"."""
    raw = base
    for path, value in changes.items():
        raw = set_path(raw, path.replace("__", "."), value)
    return parse_case(raw, "case.toml")


def problems(raw: Any, **where: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_case(raw, "case.toml", **where)
    return [str(problem) for problem in caught.value.problems]


def test_the_whole_example_resolves() -> None:
    got = parse_case(tomllib.loads(SPEC))
    assert (got.name, got.cautions) == ("ring-twelve-on-m10", ())
    head = got.fastener
    assert (head.shape, head.size, head.grade, head.worn_side) == ("hex", "M10", "8.8", "both")
    assert (head.across_flats_nominal, head.across_flats, head.engaged_depth) == (16.0, 16.0, 6.4)
    assert (head.yield_strength, head.rounding, head.corner_radius) == (640.0, 0.0, 0.16)
    assert (head.elastic_modulus, head.poisson, head.core_radius) == pytest.approx((206_000.0, 0.3, 5.6))
    assert (got.wrench.profile, got.wrench.points) == ("ring-twelve", 12)
    assert got.wrench.opening == pytest.approx(16.16)
    assert (got.wrench.thickness, got.wrench.yield_strength) == (11.0, 1250.0)
    assert got.wrench.dims["outside_diameter"] == 26.0  # JIS B 4632-1986, s = 16
    assert got.wrench.rules["thickness"] == "given"
    assert "JIS B 4632" in got.wrench.rules["outside_diameter"]
    assert "thickness" not in got.wrench.dims
    assert (got.contact.friction, got.contact.constraint_factor, got.contact.plane) == (0.15, 1.155, "stress")
    assert (got.load.lever_arm, got.load.direction) == (None, "anticlockwise")
    assert (got.mesh.edge_at_contact, got.mesh.edge_max) == pytest.approx((0.192, 1.92))


def test_a_case_is_a_value() -> None:
    got, again = parse_case(BASE), parse_case(BASE)
    assert got == again
    assert hash(got) == hash(again)
    assert pickle.loads(pickle.dumps(got)) == got
    with pytest.raises(TypeError):
        got.wrench.dims["outside_diameter"] = 1.0  # type: ignore[index]
    with pytest.raises(AttributeError):
        got.fastener.rounding = 0.5  # type: ignore[misc]


@pytest.mark.parametrize("profile", [name for name in PROFILES if name != "outline"])
@pytest.mark.parametrize("size", [entry.name for entry in sizes()])
def test_every_size_in_every_profile_resolves(profile: str, size: str) -> None:
    got = case(
        BASE,
        fastener__size=size,
        wrench__profile=profile,
        fastener__yield_strength="640 MPa",
        fastener__grade="8.8",
    )
    # Nuts, and two inch heads, are taller than an open end of that width is thick: said, not hidden.
    thin = got.wrench.thickness < got.fastener.engaged_depth
    assert thin == any("[wrench] thickness" in caution for caution in got.cautions)
    assert len(got.cautions) == int(thin)
    assert not thin or profile == "open-end"
    assert set(got.wrench.dims) == set(head_defaults(profile, 16.0, 16.1)) - {"thickness"}


@pytest.mark.parametrize(
    ("word", "opening"),
    # ISO 691 for 16 mm: +0.05 to +0.27
    [("tight", 16.05), ("middle", 16.16), ("loose", 16.27), ("16.12 mm", 16.12)],
)
def test_openings(word: str, opening: float) -> None:
    assert case(BASE, wrench__opening=word).wrench.opening == pytest.approx(opening)


def test_inch_sizes_take_inch_openings() -> None:
    got = case(BASE, fastener__size="1/2", fastener__grade="grade 5")
    # ASME B18.2.2 appendix: 3/4 in gives .755 to .763
    assert got.wrench.opening / 25.4 == pytest.approx((0.755 + 0.763) / 2.0, abs=0.001)
    assert got.fastener.yield_strength == 634.0  # SAE J429, 92 ksi
    by_width = case(FREE, fastener__across_flats="3/4 in")
    assert by_width.wrench.opening == got.wrench.opening
    metric = case(FREE, fastener__across_flats="19.05 mm")
    assert metric.wrench.opening == pytest.approx(opening_limits(19.05).middle)


def test_corners() -> None:
    assert case(BASE).fastener.corner_radius == pytest.approx(0.16)
    assert case(BASE, fastener__corner="0.5 mm").fastener.corner_radius == 0.5
    # ISO 4759-1: e_min = 1.13 s_min is a fillet of 0.0798 s; the cap is 0.08 s
    assert case(BASE, fastener__corner="minimum").fastener.corner_radius == pytest.approx(1.28)
    assert case(FREE, fastener__corner="minimum").fastener.corner_radius == pytest.approx(0.08 * 16.0)
    # an M10 head of about the least width: e = 17.77 leaves (1.1547 s - 17.77) / 2 / 0.1547 of fillet
    got = case(BASE, fastener__corner="minimum", fastener__undersize="0.3 mm").fastener
    loss = (2.0 / math.sqrt(3.0) * 15.7 - 17.77) / 2.0
    assert got.corner_radius == pytest.approx(min(0.08 * 15.7, loss / (2.0 / math.sqrt(3.0) - 1.0)))
    assert got.across_flats == pytest.approx(15.7)
    assert got.across_flats_nominal == 16.0
    far = case(BASE, fastener__corner="minimum", fastener__undersize="1.5 mm").fastener
    assert far.corner_radius == pytest.approx(0.01 * 14.5), "already below the least across corners: sharp"


def test_elastic_constants_follow_the_grade() -> None:
    soft = case(BASE, fastener__grade="brass C36000").fastener
    assert (soft.elastic_modulus, soft.poisson, soft.yield_strength) == (100_000.0, 0.31, 172.0)
    stiff = case(BASE, fastener__elastic_modulus="210 GPa", fastener__poisson_ratio=0.29).fastener
    assert (stiff.elastic_modulus, stiff.poisson) == (210_000.0, 0.29)


def test_given_dimensions_replace_the_rule() -> None:
    got = case(
        BASE, wrench__profile="open-end", wrench__head_width="1-1/2 in", wrench__offset_angle="-15 deg"
    )
    assert got.wrench.dims["head_width"] == 38.1
    assert got.wrench.dims["offset_angle"] == pytest.approx(-math.radians(15.0))
    assert got.wrench.rules["head_width"] == got.wrench.rules["offset_angle"] == "given"
    assert "s (" in got.wrench.rules["jaw_reach"]


def test_points_of_each_profile() -> None:
    for profile, points in (("ring-six", 6), ("ring-spline", 12), ("flare-nut", 6), ("open-end", 0)):
        assert case(BASE, wrench__profile=profile).wrench.points == points
    assert case(BASE, wrench__profile="flare-nut", wrench__points=12).wrench.points == 12


def test_square_and_double_hex_enter_what_they_fit() -> None:
    assert case(FREE, fastener__shape="square").fastener.shape == "square"
    assert case(FREE, fastener__shape="double-hex", wrench__profile="ring-twelve").wrench.points == 12


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (
            "fastener.rounding",
            "120 %",
            "[fastener] rounding: 120 % is above 100 %; it reaches from 0 % to 100 %",
        ),
        ("fastener.rounding", "-1 %", "[fastener] rounding: -1 % is below 0; it reaches from 0 % to 100 %"),
        ("fastener.rounding", 0.2, '[fastener] rounding: 0.2 has no unit; write "20 %"'),
        ("fastener.rounding", "2 mm", "is a length, but a share in percent is expected"),
        ("fastener.engaged_depth", 13, '[fastener] engaged_depth: 13 has no unit; write "13 mm" or "1/2 in"'),
        ("fastener.engaged_depth", "13 deg", "is an angle, but a length is expected"),
        ("fastener.size", "M11", '[fastener] size: unknown size "M11"; nearest: M10, M12'),
        ("fastener.size", 10, '[fastener] size: 10 is a number, but text is expected; write "M10"'),
        ("fastener.size", ["M10"], "[fastener] size: a list stands where text is expected"),
        ("fastener.size", " ", "[fastener] size: is empty"),
        ("fastener.grade", 8.8, '[fastener] grade: 8.8 is a number, but text is expected; write "8.8"'),
        ("fastener.grade", "8.9", '[fastener] grade: unknown grade "8.9"; nearest: 8.8'),
        ("fastener.grade", "J429 9", "unknown grade"),
        ("fastener.yield_strength", "1 MPa", "1 MPa is below 10 MPa"),
        ("fastener.shape", "hexagon", '"hexagon" is not known here; did you mean hex?'),
        ("fastener.shape", "round", 'is not known here; write "hex", "square"'),
        ("fastener.worn_side", "left", 'write "both", "driven"'),
        ("fastener.corner", "shrap", '"shrap" is not known here; did you mean sharp?'),
        ("fastener.corner", "round", 'write "sharp", "minimum" or "0.5 mm"'),
        ("fastener.corner", "0 mm", '0 mm has no finite elastic pressure; write "sharp"'),
        ("fastener.corner", "-0.1 mm", "-0.1 mm is below 0"),
        ("fastener.corner", "8 mm", "8 mm leaves no flat"),
        ("fastener.undersize", "5 mm", "5 mm is above a quarter of the width"),
        ("fastener.core_radius", "8 mm", "8 mm is outside the head"),
        (
            "fastener.across_flats",
            "16 mm",
            "[fastener] across_flats: stands beside size; keep one of the two",
        ),
        ("fastener.outline", "x.toml", 'has no use with shape = "hex"'),
        ("fastener.elastic_modulus", True, "true is not a stress"),
        ("fastener.poisson_ratio", 0.5, "0.5 is above 0.49"),
        ("fastener", 3, "[fastener]: is not a table"),
        (
            "wrench.profile",
            "ring-twelv",
            '[wrench] profile: "ring-twelv" is not known here; did you mean ring-twelve?',
        ),
        ("wrench.opening", 16, "16 has no unit"),
        ("wrench.opening", "midle", "did you mean middle?"),
        (
            "wrench.opening",
            "15.9 mm",
            "15.9 mm is smaller than the fastener, 16 mm across flats (interference)",
        ),
        (
            "wrench.opening",
            "18.6 mm",
            "18.6 mm lets a new hex of this size spin freely (18.48 mm across corners)",
        ),
        ("wrench.points", 12, 'has no use with profile = "ring-six"'),
        ("wrench.points", 6.5, "6.5 is not a whole number"),
        ("wrench.outside_diameter", "19.5 mm", "19.5 mm leaves no wall over the corners"),
        (
            "wrench.jaw_reach",
            "9 mm",
            "[wrench] jaw_reach: ring-six has no such dimension; it has: outside_diameter",
        ),
        ("wrench.outline", "x.toml", 'has no use with profile = "ring-six"'),
        ("wrench.edge_radius", "0 mm", "0 mm is below 0.001 mm"),
        ("contact.friction", -0.1, "[contact] friction: -0.1 is below 0; it reaches from 0 to 1"),
        ("contact.friction", "2 %", '"2 %" is not a plain number'),
        ("contact.friction", float("nan"), '"nan" is not a plain number'),
        ("contact.friction", 10**400, "is not a plain number"),
        ("contact.friction", True, "true is not a number"),
        ("contact.friction", {"low": 0.1}, "is a distribution, but one value is needed"),
        ("contact.friction", {"value": 0.1}, "a table is not a number"),
        ("contact.plane", "stres", "did you mean stress?"),
        ("load.lever_arm", "non", "did you mean none?"),
        ("load.lever_arm", "20 mm", "20 mm is less than twice the width across flats"),
        ("load.lever_arm", 200, "200 has no unit"),
        ("mesh.growth", 0.9, "0.9 is above 0.6"),
        ("mesh.edge_max", "0.1 mm", "0.1 mm is below edge_at_contact"),
        ("mesh.edge_at_contact", "1.7 mm", "1.7 mm is above a tenth of across flats"),
        ("name", "a/b", "name: cannot name a file"),
        (
            "fastener.engaged_dept",
            "6 mm",
            "[fastener] engaged_dept: unknown key; did you mean engaged_depth?",
        ),
        ("fastener.friction", 0.1, "[fastener] friction: unknown key; friction belongs to [contact]"),
        ("fastener.zzz", 1, "[fastener] zzz: unknown key; known: shape, size"),
        ("rounding", "0 %", "rounding: unknown key; rounding belongs to [fastener]"),
        ("mseh", {}, "mseh: unknown key; did you mean mesh?"),
        ("wrench.name", "x", "name belongs to the top of the file"),
    ],
)
def test_each_bad_value_gets_its_message_and_only_that(path: str, value: Any, message: str) -> None:
    raw = {key: dict(part) if isinstance(part, dict) else part for key, part in BASE.items()}
    table, _, key = path.rpartition(".")
    (raw.setdefault(table, {}) if table else raw)[key] = value
    found = problems(raw)
    assert len(found) == 1, found
    assert message in found[0]


@pytest.mark.parametrize(
    ("base", "changes", "message"),
    [
        (
            BASE,
            {"fastener__grade": "9.8", "fastener__size": "M20"},
            'grade "9.8" has no row for a diameter of 20 mm',
        ),
        (BASE, {"wrench__profile": "flare-nut", "wrench__points": 8}, "8 is neither 6 nor 12"),
        (
            BASE,
            {"wrench__profile": "flare-nut", "wrench__slot_width": "16 mm"},
            "leaves no flank beside the slot",
        ),
        (
            BASE,
            {"wrench__profile": "ring-six-relieved", "wrench__bearing_reach": "4.6 mm"},
            "no flank to relieve",
        ),
        (
            BASE,
            {"wrench__profile": "open-end", "wrench__head_width": "17 mm"},
            "leaves no wall beside the jaws",
        ),
        (BASE, {"wrench__profile": "open-end", "wrench__throat_depth": "9 mm"}, "run into the throat"),
        (
            FREE,
            {"fastener__shape": "square", "wrench__profile": "ring-six"},
            "a square head does not enter ring-six",
        ),
        (FREE, {"fastener__shape": "double-hex"}, "a double-hex head does not enter open-end"),
        (FREE, {"fastener__across_flats": "2.5 mm"}, "no limits for the opening of a 2.5 mm hexagon"),
        (FREE, {"fastener__shape": "outline"}, 'shape = "outline" needs the file'),
        (
            FREE,
            {"fastener__shape": "outline", "fastener__outline": "a.toml", "fastener__rounding": "1 %"},
            "[fastener] rounding: does not apply to an outline",
        ),
        (
            FREE,
            {"wrench__profile": "outline", "wrench__thickness": "5 mm"},
            'profile = "outline" needs the file',
        ),
        (FREE, {"wrench__profile": "outline", "wrench__outline": "a.toml"}, "[wrench] thickness: missing"),
        (
            FREE,
            {
                "wrench__profile": "outline",
                "wrench__outline": "a.toml",
                "wrench__thickness": "5 mm",
                "wrench__tip_width": "5 mm",
            },
            "outline has no such dimension",
        ),
        (
            FREE,
            {"fastener__shape": "double-hex", "fastener__corner": "5 mm", "wrench__profile": "ring-twelve"},
            "5 mm leaves no flat",
        ),
    ],
)
def test_keys_that_do_not_go_together(base: dict[str, Any], changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError) as caught:
        case(base, **changes)
    assert len(caught.value.problems) == 1, str(caught.value)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        ({}, "format: missing; write format = 1 at the top"),
        ({"format": 2, "new": 1}, "format: 2 is newer than this version reads"),
        ({"format": 0}, "format: 0 is not a format of this file"),
        ({"format": "1"}, "format: '1' is not a whole number"),
        ({"format": True}, "format: True is not a whole number"),
    ],
)
def test_format_number(raw: dict[str, Any], message: str) -> None:
    found = problems(raw)
    assert len(found) == 1
    assert message in found[0]


def test_what_is_missing_is_named() -> None:
    assert problems({"format": 1}) == [
        '[fastener] size: missing; write size = "M10", or across_flats and engaged_depth',
        '[fastener] grade: missing; write grade = "8.8" or yield_strength = "640 MPa"',
        '[wrench] profile: missing; write profile = "ring-twelve"',
    ]
    only_width = {
        "format": 1,
        "fastener": {"across_flats": "16 mm", "grade": "8.8"},
        "wrench": BASE["wrench"],
    }
    assert problems(only_width) == [
        '[fastener] engaged_depth: missing; across_flats needs it; write engaged_depth = "6.4 mm"'
    ]
    misspelt = {"format": 1, "fastener": {"siz": "M10", "grade": "8.8"}, "wrench": BASE["wrench"]}
    assert problems(misspelt) == ["[fastener] siz: unknown key; did you mean size?"], (
        "not called missing as well"
    )


def test_all_problems_at_once_in_the_order_of_the_file() -> None:
    raw = {
        "format": 1,
        "fastener": {"size": "M10", "engaged_dept": "3 mm", "rounding": "120 %", "grade": 8.8},
        "wrench": {"profile": "ring-six", "opening": "15.9 mm", "jaw_reach": "9 mm"},
        "contact": {"friction": -0.1},
        "load": 3,
    }
    found = problems(raw)
    places = [text.split(":")[0] for text in found]
    assert places == [
        "[fastener] engaged_dept",
        "[fastener] rounding",
        "[fastener] grade",
        "[contact] friction",
        "[load]",
        "[wrench] jaw_reach",
        "[wrench] opening",
    ]
    with pytest.raises(
        InputError, match=r"^case\.toml: 7 problems\n  \[fastener\] engaged_dept: unknown key"
    ):
        parse_case(raw, "case.toml")


@pytest.mark.parametrize(
    ("changes", "caution"),
    [
        ({"wrench__opening": "17 mm"}, "17 mm is outside 16.05 mm to 16.27 mm (ISO 691)"),
        ({"fastener__engaged_depth": "9 mm"}, "9 mm is more than the largest height of M10, 6.58 mm"),
        ({"fastener__yield_strength": "700 MPa"}, "700 MPa replaces the least of grade 8.8, 640 MPa"),
        ({"wrench__thickness": "4 mm"}, "4 mm is less than the engaged depth, 6.4 mm"),
        ({"contact__friction": 0.6}, "0.6 is outside 0.04 to 0.40"),
        ({"contact__constraint_factor": 2.0}, "2 is outside 1.0 to 1.4"),
    ],
)
def test_unusual_inputs_are_allowed_and_told(changes: dict[str, Any], caution: str) -> None:
    got = case(BASE, **changes)
    assert len(got.cautions) == 1
    assert caution in got.cautions[0]


def test_a_worn_hex_that_would_spin_is_not_an_input_error() -> None:
    assert case(BASE, fastener__rounding="100 %").fastener.rounding == 1.0
    assert case(BASE, fastener__undersize="2 mm").fastener.across_flats == 14.0


def test_files(tmp_path: Path) -> None:
    good = tmp_path / "my-first.toml"
    good.write_text(SPEC.replace('name = "ring-twelve-on-m10"', ""), encoding="utf-8")
    assert load_case(good).name == "my-first"
    for name, data, message in (
        ("none.toml", None, "cannot be read: No such file"),
        ("bad.toml", b"format = \n", "is not TOML: Invalid value (at line 1"),
        ("latin.toml", b'name = "\xe4"', "is not UTF-8 text (byte 8)"),
        ("digits.toml", b"format = " + b"9" * 5000, "is not TOML"),
        ("deep.toml", b"format = " + b"[" * 100_000, "is not TOML"),
    ):
        file = tmp_path / name
        if data is not None:
            file.write_bytes(data)
        with pytest.raises(InputError) as caught:
            load_case(file)
        assert message in str(caught.value)
        assert str(caught.value).startswith(f"{file}: 1 problem")
        assert caught.value.problems[0].hint
    with pytest.raises(InputError, match="cannot be read"):
        read_toml(tmp_path)


def test_outlines_are_looked_for_beside_the_case(tmp_path: Path) -> None:
    raw = set_path(set_path(FREE, "fastener.shape", "outline"), "fastener.outline", "head.toml")
    assert problems(raw, folder=tmp_path) == [
        f'[fastener] outline: no file "{tmp_path / "head.toml"}"; '
        "write the name of a file beside the case file"
    ]
    (tmp_path / "head.toml").write_text("", encoding="utf-8")
    assert parse_case(raw, folder=tmp_path).fastener.outline == str(tmp_path / "head.toml")
    assert parse_case(raw).fastener.outline == "head.toml"


def test_set_path_returns_a_changed_copy() -> None:
    changed = set_path(BASE, "fastener.rounding", "20 %")
    assert "rounding" not in BASE["fastener"]
    assert parse_case(changed).fastener.rounding == pytest.approx(0.2)
    assert parse_case(set_path(BASE, "contact.friction", "0.2")).contact.friction == 0.2
    assert parse_case(set_path(BASE, "name", "other")).name == "other"


@pytest.mark.parametrize(
    ("path", "hint"),
    [
        ("fastner.rounding", "did you mean fastener.rounding?"),
        ("rounding", "did you mean fastener.rounding?"),
        ("fastener.roundin", "did you mean fastener.rounding?"),
        ("format", "tables: fastener"),
        ("", "tables: fastener"),
        ("zzzzzz.qqqqqq", "tables: fastener"),
    ],
)
def test_set_path_refuses_unknown_paths(path: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        set_path(BASE, path, 1)
    assert hint in caught.value.problems[0].hint


def test_set_path_refuses_a_table_that_is_none() -> None:
    with pytest.raises(InputError, match="is not a table"):
        set_path({"fastener": 3}, "fastener.size", "M10")


@pytest.mark.parametrize("kind", ["turn", "sweep"])
def test_template_parses_and_shows_every_key(kind: str) -> None:
    text = case_template(kind)  # type: ignore[arg-type]
    raw = tomllib.loads(text)
    sweep = raw.pop("sweep", {})
    assert (sweep != {}) == (kind == "sweep")
    raw |= raw.pop("base", {})  # a study file has the tables of a case under [base]
    got = parse_case(raw)
    assert got.cautions == ()
    for path, values in sweep.items():
        for value in values:
            assert parse_case(set_path(raw, path, value)).cautions == ()
    for field in FIELDS:
        assert f"\n{field.name} = " in text or f"\n# {field.name} = " in text


def test_each_commented_line_of_the_template_is_valid_when_it_is_set() -> None:
    raw = tomllib.loads(case_template("turn"))
    table, tried = "", 0
    for line in case_template("turn").splitlines():
        if line.startswith("["):
            table = line[1 : line.index("]")]
        elif line.startswith("# ") and " = " in line and table:
            ((key, value),) = tomllib.loads(line[2:]).items()
            field = field_of(f"{table}.{key}")
            assert field is not None
            read_value(field, value)
            if key in ("across_flats", "outline", "points"):
                continue  # these stand against another key of the file: tested above
            profile = next(
                name for name in PROFILES if key not in DIMENSIONS or key in head_defaults(name, 16.0, 16.1)
            )
            parse_case(set_path(set_path(raw, "wrench.profile", profile), f"{table}.{key}", value))
            tried += 1
    assert tried > 25


def test_examples_and_defaults_of_every_field_are_valid() -> None:
    for field in FIELDS:
        example: Any = int(field.example) if field.kind == "integer" else field.example
        read_value(field, example)
        if field.default is not None:
            read_value(field, field.default)
        assert field.doc
        assert field.default is not None or field.rule or field.path in ("format", "wrench.profile")
    assert {field.table for field in FIELDS} == {"", *TABLES}
    assert len({field.path for field in FIELDS}) == len(FIELDS)
    assert set(DIMENSIONS) < {field.name for field in fields_of("wrench")}


def test_record_is_complete_json_with_units() -> None:
    record = to_dict(
        case(BASE, fastener__rounding="20 %", load__lever_arm="200 mm", wrench__profile="open-end")
    )
    assert json.loads(json.dumps(record)) == record
    assert record["fastener"]["rounding"] == "20 %"
    assert record["fastener"]["yield_strength"] == "640 MPa"
    assert record["load"]["lever_arm"] == "200 mm"
    assert record["wrench"]["offset_angle"] == "15 deg"
    assert record["contact"]["friction"] == 0.15
    assert "cautions" not in record


def test_record_does_not_depend_on_how_the_case_is_written() -> None:
    one = to_dict(case(BASE, wrench__thickness="1/2 in", contact__friction=0.15))
    two = to_dict(
        case(BASE, wrench__thickness="12.7 mm", fastener__engaged_depth="0.64 cm", fastener__size="m10")
    )
    assert json.dumps(one) == json.dumps(two)


def _reread(record: dict[str, Any]) -> dict[str, Any]:
    """Turn a record back into a case file by the differences its docstring names."""
    raw: dict[str, Any] = json.loads(json.dumps(record))
    head, wrench = raw["fastener"], raw["wrench"]
    widths = [float(head.pop(key).split()[0]) for key in ("across_flats_nominal", "across_flats")]
    head["across_flats"], head["undersize"] = f"{widths[0]!r} mm", f"{widths[0] - widths[1]!r} mm"
    head["corner"] = head.pop("corner_radius")
    if wrench["profile"] != "flare-nut":
        wrench.pop("points")
    for part in (head, wrench):
        part.pop("outline")
    for key in ("size", "grade"):
        head.pop(key)
    return raw


@given(
    size=st.sampled_from([entry.name for entry in sizes() if not entry.inch]),
    profile=st.sampled_from([name for name in PROFILES if name != "outline"]),
    opening=st.sampled_from(["tight", "middle", "loose"]),
    rounding=st.floats(0.0, 1.0),
    undersize=st.floats(0.0, 0.5),
    friction=st.floats(0.04, 0.4),
)
def test_a_record_read_again_is_the_same_case(
    size: str, profile: str, opening: str, rounding: float, undersize: float, friction: float
) -> None:
    got = case(
        BASE,
        fastener__size=size,
        wrench__profile=profile,
        wrench__opening=opening,
        fastener__rounding=f"{100.0 * rounding!r} %",
        fastener__undersize=f"{undersize!r} mm",
        contact__friction=friction,
    )
    record = to_dict(got)
    again = to_dict(parse_case(_reread(record), name=got.name))
    for table in TABLES:
        for key, value in record[table].items():
            if key in ("size", "grade"):
                continue
            if isinstance(value, str) and value[:1] in "-0123456789":
                assert float(again[table][key].split()[0]) == pytest.approx(
                    float(value.split()[0]), rel=1e-10, abs=1e-11
                ), key
            else:
                assert again[table][key] == value, key


@given(
    st.dictionaries(
        st.sampled_from([field.path for field in FIELDS] + ["a.b", "c"]),
        st.one_of(
            st.none(),
            st.booleans(),
            st.integers(),
            st.floats(),
            st.text(max_size=8),
            st.sampled_from([field.example for field in FIELDS]),
            st.lists(st.integers(), max_size=2),
        ),
        max_size=6,
    )
)
def test_no_input_ends_in_anything_but_a_case_or_an_input_error(changes: dict[str, Any]) -> None:
    raw: dict[str, Any] = json.loads(json.dumps(BASE))
    for path, value in changes.items():
        table, _, key = path.rpartition(".")
        (raw.setdefault(table, {}) if table else raw)[key] = value
    try:
        got = parse_case(raw)
    except InputError as error:
        assert error.problems
        assert all(problem.where and problem.message for problem in error.problems)
    else:
        assert got.fastener.engaged_depth > 0.0
        assert got.fastener.yield_strength > 0.0
        assert got.wrench.thickness > 0.0


def test_resolve_takes_checked_keys() -> None:
    got, found = resolve(check_keys(BASE), name="x")
    assert found == ()
    assert got is not None
    assert got.name == "x"
