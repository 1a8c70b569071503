"""Text to internal units and back. Factors: international inch and pound (NIST SP 811), SI."""

from __future__ import annotations

import math
import pickle
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contactfe.errors import ContactFEError, InputError, NotConverged, Problem, nearest
from contactfe.units import KINDS, Kind, format_length, format_quantity, is_inch, parse_number, parse_quantity


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("16 mm", "length", 16.0),
        ("16mm", "length", 16.0),
        (" 1.6 cm ", "length", 16.0),
        ("5/16 in", "length", 7.9375),  # 25.4 mm per inch, exact by definition
        ("1-1/2 in", "length", 38.1),
        ("1 1/2 in", "length", 38.1),
        ("3/4 inch", "length", 19.05),
        ("-0.5 mm", "length", -0.5),
        ("1e-1 m", "length", 100.0),
        ("640 MPa", "stress", 640.0),
        ("206 GPa", "stress", 206_000.0),
        ("640 N/mm^2", "stress", 640.0),
        ("92 ksi", "stress", 92 * 6.894757293168361),  # 1 psi = 6894.757293168361 Pa, NIST SP 811
        ("15 deg", "angle", math.radians(15.0)),
        ("15°", "angle", math.radians(15.0)),
        ("0.26 rad", "angle", 0.26),
        ("40 %", "fraction", 0.40),
        ("0.4 %", "fraction", 0.004),
        ("640 N/mm2", "stress", 640.0),
        ("640 N/mm²", "stress", 640.0),
        ("66 N*m", "torque", 66_000.0),
        ("66 N m", "torque", 66_000.0),
        ("66 Nm", "torque", 66_000.0),
        ("66 N·m", "torque", 66_000.0),
        ("66Nm", "torque", 66_000.0),
        ("0.066 kN m", "torque", 66_000.0),
        # 1 lbf ft = 1.355817948331400 N m, 1 kgf m = 9.80665 N m, 1 ozf in = 7.061551814 mN m, NIST SP 811
        ("50 ft-lb", "torque", 50 * 1355.8179483314),
        ("50 ft*lb", "torque", 50 * 1355.8179483314),
        ("50 lb-ft", "torque", 50 * 1355.8179483314),
        ("50 lbf ft", "torque", 50 * 1355.8179483314),
        ("50 ft lbf", "torque", 50 * 1355.8179483314),
        ("50 lbf·ft", "torque", 50 * 1355.8179483314),
        ("50 ft-lbs", "torque", 50 * 1355.8179483314),
        ("300 in-lb", "torque", 300 * 112.9848290276167),
        ("300 lbf in", "torque", 300 * 112.9848290276167),
        ("6 kgf m", "torque", 6 * 9806.65),
        ("60 kgf*cm", "torque", 6 * 980.665),
        ("300 lbf*in", "torque", 300 * 112.9848290276167),  # 1 lbf in = 0.1129848290276167 N m, NIST SP 811
    ],
)
def test_text_is_read_in_internal_units(text: str, kind: Kind, value: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-13)


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        (13, "length", '13 has no unit; write "13 mm" or "1/2 in"'),
        ("13", "length", '13 has no unit; write "13 mm" or "1/2 in"'),
        (640.5, "stress", '640.5 has no unit; write "640.5 MPa" or "92 ksi"'),
        (0.2, "fraction", '0.2 has no unit; write "20 %"'),
        (20, "fraction", '20 has no unit; write "20 %"'),
        (15, "angle", '15 has no unit; write "15 deg" or "0.26 rad"'),
        ("13 deg", "length", '"13 deg" is an angle, but a length is expected; write "16 mm" or "1/2 in"'),
        ("13 mm", "angle", '"13 mm" is a length, but an angle is expected; write "15 deg" or "0.26 rad"'),
        ("13 %", "angle", "is a share in percent, but an angle is expected"),
        ("3 deg", "fraction", "is an angle, but a share in percent is expected"),
        ("13 s", "length", "is of another kind: a length is expected"),
        ("66 N*m", "stress", "is a torque, but a stress is expected"),
        ("13 mn", "length", 'has an unknown unit "mn"; usual units here: mm, cm, m, in, ft'),
        ("66 ft-mb", "torque", "is not a torque"),
        ("66 lb", "torque", "is of another kind"),
        ("66 ft", "torque", "is a length, but a torque is expected"),
        ("3/8", "length", '3/8 has no unit; write "3/8 in"'),
        ("640 MPA", "stress", 'has an unknown unit "MPA"'),
        ("16,5 mm", "length", "has a decimal comma"),
        ("abc", "length", '"abc" is not a length'),
        ("", "length", "is not a length"),
        ("13 mm*", "length", "is not a length"),
        ("13 mm)", "length", "is not a length"),
        ("0¼", "length", "is not a length"),
        ("1/0 in", "length", "divides by zero"),
        ("1e999 mm", "length", "is too large"),
        ("1e308 m", "length", "is too large"),
        ("nan mm", "length", "is not a length"),
        (True, "length", "true is not a length"),
        ([1], "length", "a list is not a length"),
        (None, "stress", "is not a stress"),
    ],
)
def test_what_cannot_be_read_says_how_to_write_it(text: object, kind: Kind, message: str) -> None:
    with pytest.raises(ContactFEError) as caught:
        parse_quantity(text, kind)
    assert message in str(caught.value)
    assert caught.value.hint
    assert caught.value.slug in ("unit", "number")


def test_torques_read_back_as_the_program_writes_them() -> None:
    for written in ("66 N*m", "66 N·m", "66 N m"):
        assert parse_quantity(written, "torque") == 66_000.0
    assert parse_quantity(format_quantity(66_000.0, "torque"), "torque") == 66_000.0


def test_hint_for_a_bare_number_mends_it() -> None:
    with pytest.raises(ContactFEError) as caught:
        parse_quantity(13, "length")
    advised = caught.value.hint.split('"')[1]
    assert parse_quantity(advised, "length") == 13.0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_examples_and_usual_units_of_messages_are_valid(kind: Kind) -> None:
    for example in KINDS[kind].examples:
        assert parse_quantity(example, kind) > 0.0
    for unit in KINDS[kind].usual:
        assert parse_quantity(f"1 {unit}", kind) > 0.0


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (16.0, "length", "16 mm"),
        (640.0, "stress", "640 MPa"),
        (math.radians(15.0), "angle", "15 deg"),
        (0.2, "fraction", "20 %"),
        (66_000.0, "torque", "66 N*m"),
        (0.0, "length", "0 mm"),
    ],
)
def test_quantities_are_written_with_their_unit(value: float, kind: Kind, text: str) -> None:
    assert format_quantity(value, kind) == text


def test_format_length_is_the_short_form() -> None:
    assert format_length(12.5) == "12.5 mm"


@given(st.sampled_from(sorted(KINDS)), st.floats(-1e9, 1e9, allow_subnormal=False))
def test_writing_and_reading_gives_the_value_back(kind: Kind, value: float) -> None:
    text = format_quantity(value, kind)
    back = parse_quantity(text, kind)
    assert back == pytest.approx(value, rel=1e-11, abs=1e-300)
    assert format_quantity(back, kind) == text


@given(st.integers(0, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact_inches(whole: int, top: int, bottom: int) -> None:
    value = parse_quantity(f"{whole}-{top}/{bottom} in", "length")
    assert value == pytest.approx((whole + top / bottom) * 25.4, rel=1e-14)
    assert parse_number(f"{whole} {top}/{bottom}") == whole + top / bottom


@given(st.text(max_size=12))
def test_no_text_ends_in_anything_but_a_number_or_our_error(text: str) -> None:
    try:
        value = parse_quantity(text, "length")
    except ContactFEError as error:
        assert error.hint
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "answer"),
    [("5/8 in", True), ("1 inch", True), ("2in", True), ("16 mm", False), (16, False), ("min", False)],
)
def test_inches_are_recognised(text: object, answer: bool) -> None:
    assert is_inch(text) is answer


def test_the_unit_library_is_imported_late() -> None:
    code = (
        "import sys, contactfe.units as u, contactfe.inputs as i; u.format_quantity(1.0, 'angle');"
        "i.case_template('turn'); print([m for m in ('pint', 'numpy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_input_error_lists_every_problem_on_a_line() -> None:
    error = InputError(
        [
            Problem("[fastener] engaged_dept", "unknown key", "did you mean engaged_depth?"),
            Problem("[contact] friction", "-0.1 is below 0"),
            Problem("", "is empty"),
        ],
        source="case.toml",
    )
    assert str(error).splitlines() == [
        "case.toml: 3 problems",
        "  [fastener] engaged_dept: unknown key; did you mean engaged_depth?",
        "  [contact] friction: -0.1 is below 0",
        "  is empty",
    ]
    assert str(InputError([Problem("a", "b")])).startswith("1 problem\n")
    assert error.exit_code == 1


def test_errors_survive_the_way_back_from_a_worker_process() -> None:
    first = NotConverged("no solution", report={"steps": 3}, where="theta = 1 deg", hint="refine", slug="x")
    second = pickle.loads(pickle.dumps(first))
    assert (str(second), second.report, second.slug) == (str(first), {"steps": 3}, "x")
    third = pickle.loads(pickle.dumps(InputError([Problem("a", "b", "c")], source="f")))
    assert third.problems == (Problem("a", "b", "c"),)
    assert str(third) == "f: 1 problem\n  a: b; c"


def test_nearest_suggests_only_what_is_close() -> None:
    assert nearest("roundin", ["rounding", "size"]) == "did you mean rounding?"
    assert nearest("zzz", ["rounding", "size"]) == ""
