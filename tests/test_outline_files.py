"""Outline files: what is written reads back as the same outline, what is wrong is said with its place."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contactfe.case import CaseRecord, solve_case
from contactfe.errors import ContactFEError, GeometryError, InputError
from contactfe.inputs import CaseInput, parse_case
from contactfe.profile import (
    Outline,
    as_polygon,
    outline_text,
    parse_outline,
    profile_pair,
    read_outline,
    read_outline_file,
    write_outline,
)

MESHES = Path(__file__).parent.parent / "meshes"
HAND = (MESHES / "hand-drawn-ring-16mm.toml").read_text(encoding="utf-8")
HEX = (MESHES / "hex-16mm.toml").read_text(encoding="utf-8")
BUILT_IN = ("open-end", "ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
COARSE = {"edge_at_contact": "0.5 mm", "edge_max": "3 mm"}


def case(profile: str, folder: Path | None = None, head: str | None = None, **wrench: Any) -> CaseInput:
    fastener: dict[str, Any] = {"size": "M10", "grade": "8.8"}
    if head is not None:
        fastener |= {"shape": "outline", "outline": head}
    raw = {"format": 1, "fastener": fastener, "wrench": {"profile": profile, **wrench}, "mesh": COARSE}
    return parse_case(raw, folder=folder)


def problems(text: str, body: str = "wrench") -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_outline(tomllib.loads(text), body)
    assert caught.value.problems
    return [str(problem) for problem in caught.value.problems]


def same(one: Outline, two: Outline, off: float) -> bool:
    """Whether two outlines have the same names and the same points within `off` mm."""
    u = np.linspace(0.0, 1.0, 7)
    if [[p.name for p in loop] for loop in one.loops] != [[p.name for p in loop] for loop in two.loops]:
        return False
    pairs = zip(one.pieces, two.pieces, strict=True)
    return all(np.abs(p.points(u) - q.points(u)).max() < off for p, q in pairs)


def without_core(outline: Outline) -> Outline:
    return Outline(tuple(loop for loop in outline.loops if loop[0].name != "core"))


@pytest.mark.parametrize("profile", BUILT_IN)
def test_a_written_outline_reads_back_and_is_the_one_that_is_shipped(profile: str, tmp_path: Path) -> None:
    pair = profile_pair(case(profile))
    file = tmp_path / "wrench.toml"
    write_outline(file, pair.wrench, "wrench", first_flat=pair.first_flat)
    assert same(read_outline(file, "wrench"), pair.wrench, 2e-6)
    shipped = read_outline_file(MESHES / f"{profile}-16mm.toml", "wrench")
    assert same(shipped.outline, pair.wrench, 2e-6), "write meshes/ anew: a rule has changed"
    assert shipped.first_flat == pytest.approx(pair.first_flat, abs=1e-7)
    assert [f.name for f in tmp_path.iterdir()] == ["wrench.toml"], "nothing half-written is left"


@pytest.mark.parametrize(("name", "rounding"), [("hex-16mm", "0 %"), ("hex-16mm-rounded-40", "40 %")])
def test_shipped_fasteners_are_those_of_the_rules(name: str, rounding: str) -> None:
    raw = {
        "format": 1,
        "fastener": {"size": "M10", "grade": "8.8", "rounding": rounding},
        "wrench": {"profile": "ring-six"},
    }
    built = without_core(profile_pair(parse_case(raw)).fastener)
    assert same(read_outline(MESHES / f"{name}.toml", "fastener"), built, 2e-6)
    drawn = case("ring-six", MESHES, f"{name}.toml")
    assert same(profile_pair(drawn).fastener, profile_pair(parse_case(raw)).fastener, 2e-6)


@pytest.fixture(scope="module")
def ring_six() -> CaseRecord:
    return solve_case(case("ring-six"))


def test_a_ring_as_outline_slips_at_the_same_torque(ring_six: CaseRecord, tmp_path: Path) -> None:
    pair = profile_pair(ring_six.built.case)
    write_outline(tmp_path / "ring.toml", pair.wrench, "wrench")
    write_outline(tmp_path / "hex.toml", pair.fastener, "fastener")
    thickness = f"{ring_six.built.case.wrench.thickness!r} mm"
    drawn = solve_case(case("outline", tmp_path, "hex.toml", outline="ring.toml", thickness=thickness))
    assert drawn.estimate.slip_torque_Nm == pytest.approx(ring_six.estimate.slip_torque_Nm, rel=1e-3)
    # The head is measured over another circle: rotations differ a little, and the onset with them.
    assert drawn.estimate.onset_torque_Nm == pytest.approx(ring_six.estimate.onset_torque_Nm, rel=1e-2)
    assert drawn.estimate.slip_rotation_deg == pytest.approx(ring_six.estimate.slip_rotation_deg, abs=0.05)
    assert drawn.estimate.load_share == pytest.approx(ring_six.estimate.load_share, abs=0.01)
    assert drawn.answers()["jaw_spread_um_per_Nm"] == pytest.approx(
        ring_six.answers()["jaw_spread_um_per_Nm"], rel=1e-2
    )
    assert drawn.to_dict("1")["inputs"]["wrench"]["opening"] == "16.16 mm", "measured in the file"


def test_an_open_end_as_outline_slips_at_the_same_torque(tmp_path: Path) -> None:
    built = solve_case(case("open-end"))
    pair = profile_pair(built.built.case)
    write_outline(tmp_path / "jaws.toml", pair.wrench, "wrench", first_flat=pair.first_flat)
    thickness = f"{built.built.case.wrench.thickness!r} mm"
    drawn = solve_case(case("outline", tmp_path, outline="jaws.toml", thickness=thickness))
    assert drawn.built.pair.handle_direction == pytest.approx(pair.handle_direction)
    assert drawn.estimate.slip_torque_Nm == pytest.approx(built.estimate.slip_torque_Nm, rel=1e-3)
    assert drawn.estimate.early is not None and built.estimate.early is not None
    assert drawn.estimate.early.spread == pytest.approx(built.estimate.early.spread, rel=1e-2)


def test_a_ring_drawn_by_hand_holds_like_the_ring_of_the_same_opening(ring_six: CaseRecord) -> None:
    drawn = solve_case(case("outline", MESHES, outline="hand-drawn-ring-16mm.toml", thickness="11.5 mm"))
    assert drawn.built.pair.opening == pytest.approx(16.16, abs=1e-3)
    assert drawn.estimate.slip_torque_Nm == pytest.approx(ring_six.estimate.slip_torque_Nm, rel=0.05)


def test_area_of_a_drawn_hexagon_is_that_of_plane_geometry() -> None:
    plain = HAND.replace(', round = { radius = 0.192, name = "root" }', "")
    drawn = read_text(plain)
    # A regular hexagon of width S has the area sqrt(3)/2 S^2; its corners are given to 0.0005 mm.
    hole = as_polygon(Outline((tuple(p.reversed() for p in reversed(drawn.loops[1])),)), 0.1)
    assert hole.area == pytest.approx(math.sqrt(3) / 2 * 16.16**2, rel=1e-4)
    # Each corner of 120 degrees rounded with r loses r^2 (2 / sqrt(3) - pi / 3) / 2 per side of its bisector.
    rounded = Outline((tuple(p.reversed() for p in reversed(read_text(HAND).loops[1])),))
    lost = 6 * 0.192**2 * (1 / math.sqrt(3) - math.pi / 6)
    assert hole.area - as_polygon(rounded, 0.001).area == pytest.approx(lost, rel=1e-2)


def read_text(text: str, body: str = "wrench") -> Outline:
    return parse_outline(tomllib.loads(text), body).outline


def test_inches_are_the_same_outline() -> None:
    metric = profile_pair(case("ring-twelve")).wrench
    text = outline_text(metric.scaled(1 / 25.4), "wrench").replace('unit = "mm"', 'unit = "in"')
    assert same(read_text(text), metric, 3e-5)  # six digits of an inch


def test_direction_and_order_of_loops_do_not_matter() -> None:
    ring = profile_pair(case("ring-twelve")).wrench
    turned = Outline(tuple(tuple(p.reversed() for p in reversed(loop)) for loop in reversed(ring.loops)))
    got = read_text(outline_text(turned, "wrench"))
    assert same(got, ring, 2e-6)
    assert as_polygon(got, 0.1).area == pytest.approx(as_polygon(ring, 0.1).area)


def test_ends_that_almost_meet_are_joined() -> None:
    moved = HAND.replace("[[7, 13], [-7, 13]]", "[[7, 13.001], [-7, 12.999]]")
    loop = read_text(moved).loops[0]
    assert all(a.end == b.start for a, b in zip(loop, (*loop[1:], loop[0]), strict=True))


@given(st.floats(-3.0, 3.0))
@settings(max_examples=15, deadline=None)
def test_a_fastener_drawn_at_any_angle_enters_squarely(angle: float) -> None:
    head = read_text(HEX, "fastener")
    text = outline_text(head.rotated(angle), "fastener", first_flat=angle)
    drawn = parse_outline(tomllib.loads(text), "fastener")
    assert same(drawn.outline.rotated(-drawn.first_flat), head, 5e-6)


def test_arcs_keep_their_centre_and_may_be_longer_than_half_a_circle() -> None:
    text = HEX.split("[[loop]]")[0] + (
        "[[loop]]\npiece = [\n"
        '{ name = "flat-1", line = [[6, -5], [6, 5]] },\n{ name = "flat-2", line = [[6, 5], [5, 6]] },\n'
        '{ name = "flat-3", line = [[5, 6], [0, 6]] },\n'
        '{ name = "corner-1", '
        'arc = { from = [0, 6], to = [6, 0], centre = [0, 0], turn = "anticlockwise" } },\n'
        '{ name = "flat-1", line = [[6, 0], [6, -5]] },\n]\n'
    )
    found = problems(text, "fastener")
    assert any("crosses itself" in text for text in found), "three quarters of a circle meet the drawn side"


SIDE = "[[13, -7], [13, 7]]"
BAD = [
    ("format = 1", "", "format: missing; write format = 1 at the top of an outline"),
    ("format = 1", "format = 2", "format: 2 is not a format of an outline"),
    ("format = 1", "format = true", "format: True is not a format"),
    ('outline = "wrench"', "", 'outline: missing; write outline = "wrench"'),
    ('outline = "wrench"', 'outline = "fastener"', "outline: 'fastener', but a wrench is needed here"),
    ("format = 1", "format = 1\nfastener = 1\nwrench = 1", "is a case file, not an outline"),
    ('unit = "mm"', "", 'unit: missing; write unit = "mm" or unit = "in"'),
    ('unit = "mm"', 'unit = "cm"', "unit: 'cm' is not known here; write \"mm\" or \"in\""),
    ('unit = "mm"', "unit = [1]", "unit: [1] is not known here"),
    ('unit = "mm"', 'unit = "mm"\nflats = 6', "flats: unknown key"),
    ("first_flat =", "first_flatt =", "first_flatt: unknown key; did you mean first_flat?"),
    ('"0 deg"', "0", 'first_flat: 0 has no unit; write "0 deg" or "0.26 rad"'),
    ('"flank"', '"flnk"',
     "[[loop]] 2, piece 1, name: 'flnk' is not a name of a wrench's pieces; did you mean flank?"),
    ('name = "flank"', "nam = 1", "[[loop]] 2, piece 1, nam: unknown key; did you mean name?"),
    ('"handle-end"', '"outside"', "[[loop]]: has no handle-end for the load to act on; name the edge"),
    (SIDE, "[[13, -7], [12, 7]]",
     "loop 1 does not close: 1 mm from the end of outside at (12.000, 7.000) mm"),
    (SIDE, "[[13, -7]]", "[[loop]] 1, piece 1, line: is not two points"),
    (SIDE, '[[13, "7"], [13, 7]]',
     "[[loop]] 1, piece 1, line: [13, '7'] is not a point; write [x, y]"),
    (SIDE, "[[13, nan], [13, 7]]", "[13, nan] is not a point"),
    (SIDE, "[[13, -7e6], [13, 7]]", "is far outside any head; check the unit of the file"),
    (f"line = {SIDE}", "lin = 1", "[[loop]] 1, piece 1, lin: unknown key; did you mean line?"),
    (f"line = {SIDE}", "arc = 1", "[[loop]] 1, piece 1, arc: does not say from, to, centre and turn"),
    (f"line = {SIDE}", 'arc = { from = [13, -7], to = [13, 7], centre = [1, 2], turn = "clockwise" }',
     "[[loop]] 1, piece 1, arc: its ends lie 13 and 15 mm from its centre; move the centre or an end"),
    (f"line = {SIDE}", 'arc = { from = [13, -7], to = [13, 7], centre = [0, 0], turn = "left" }',
     "[[loop]] 1, piece 1, arc turn: 'left' is not known here; write \"anticlockwise\" or \"clockwise\""),
    ("radius = 6,", "radius = -6,", "[[loop]] 1, piece 5, round: needs a radius above 0"),
    ("radius = 6,", "radius = 60,", "make the radius smaller or the"),
    ("radius = 6,", "radiu = 6,", "needs a radius above 0"),
    ("[[8.08, -4.665], [8.08, 4.665]]", "[[-8.08, -4.665], [8.08, 4.665]]", "loop 2 does not close: 16.2 mm"),
    # A corner moved over to the other side: two flanks cross.
    ("[8.08, -4.665]", "[-20, 9]", "the outline crosses itself: "),
    (f'piece = [\n  {{ name = "outside", line = {SIDE} }},', "piece = 3\nx = [\n", "has no list of two"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), BAD)
def test_what_is_wrong_in_a_file_is_said_with_its_place(old: str, new: str, message: str) -> None:
    assert old in HAND
    found = problems(HAND.replace(old, new, 1) if old != "[8.08, -4.665]" else HAND.replace(old, new))
    assert any(message in text for text in found), found


def test_where_an_outline_crosses_itself_is_said() -> None:
    # The upper left corner of the outside is pulled across the opening's lower right flank.
    found = problems(HAND.replace("[-7, 13]", "[7, -6]"))
    assert len(found) >= 1
    assert all("the outline crosses itself" in text for text in found)
    # The side from (7, 13) to (7, -6) cuts the flank from (8.08, 4.665) to (0, 9.33) at x = 7: y = 5.2885.
    assert any("near (7.000, 5.28" in text for text in found), found


def test_a_wall_that_vanishes_is_a_crossing() -> None:
    thin = HAND.replace("[13, -7]", "[8, -7]").replace("[13, 7]", "[8, 7]")
    found = problems(thin)
    assert all("crosses itself: outside" in text for text in found), found
    assert any("flank" in text or "root" in text for text in found), found


def test_several_problems_come_together() -> None:
    text = HAND.replace('"flank"', '"flnk"', 1).replace('unit = "mm"', 'unit = "cm"')
    text = text.replace('"0 deg"', '"0 mm"').replace("radius = 6,", "radius = 0,", 1)
    assert len(problems(text)) == 4


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda t: t.replace("flat-", "corner-"),
            "has 0 flats with names; name three or more straight pieces",
        ),
        (lambda t: t.replace("flats = 6", "flats = 0"), "flats: 0 is not a number of flats; write 3 to 12"),
        (lambda t: t.replace("flats = 6", 'flats = "6"'), "flats: '6' is not a number of flats"),
        (
            lambda t: t.replace('"corner-1"', '"core"'),
            "the core is not drawn: core_radius of the case sets it",
        ),
        (lambda t: t.replace('"corner-1"', '"flank"'), "'flank' is not a name of a fastener's pieces"),
    ],
)
def test_what_is_wrong_in_a_fastener(change: Any, message: str) -> None:
    assert any(message in text for text in problems(change(HEX), "fastener"))


def test_sharp_edges_that_would_bear_need_a_radius() -> None:
    square = HEX.split("[[loop]]")[0] + (
        "[[loop]]\npiece = [\n"
        '{ name = "flat-1", line = [[8, -8], [8, 8]] },\n{ name = "flat-2", line = [[8, 8], [-8, 8]] },\n'
        '{ name = "flat-3", line = [[-8, 8], [-8, -8]] },\n'
        '{ name = "flat-4", line = [[-8, -8], [8, -8]] },\n]\n'
    )
    found = problems(square.replace("flats = 6", "flats = 4"), "fastener")
    assert len(found) == 4
    assert "near (8.000, -8.000) mm: a sharp edge protrudes between flat-4 and flat-1" in found[0]
    assert "give the later of the two a rounding" in found[0]
    # The advice is good: the same square with its edges rounded is read.
    rounded = square.replace("]] }", ']], round = { radius = 0.2, name = "corner-1" } }')
    assert parse_outline(tomllib.loads(rounded.replace("flats = 6", "flats = 4")), "fastener").flats == 4
    assert len(read_text(rounded, "fastener").pieces) == 8


def test_tips_stand_on_both_sides_of_the_mouth() -> None:
    text = (MESHES / "open-end-16mm.toml").read_text(encoding="utf-8")
    one = text.replace('"tip"', '"flank"', 1)
    assert problems(one) == [
        "[[loop]]: all its tips lie on one side of the x axis; "
        "draw the mouth along x, with a tip above and one below"
    ]


def test_axis_has_to_lie_in_the_opening_and_in_the_fastener() -> None:
    solid = HAND.split("[[loop]]                # the opening")[0]
    assert any("the axis (0, 0) lies inside the wrench" in text for text in problems(solid))
    away = outline_text(shifted(read_text(HEX, "fastener"), 20.0), "fastener")
    assert any("the axis (0, 0) lies outside the fastener" in text for text in problems(away, "fastener"))


def shifted(outline: Outline, by: float) -> Outline:
    from dataclasses import replace

    def move(p: Any) -> Any:
        a, b, c = ((q[0] + by, q[1]) for q in (p.start, p.end, p.centre))
        return replace(p, start=a, end=b, centre=c)

    return Outline(tuple(tuple(move(p) for p in loop) for loop in outline.loops))


def test_drawn_pairs_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    ring = {"outline": "hand-drawn-ring-16mm.toml", "thickness": "11 mm"}
    raw = {"format": 1, "fastener": {"grade": "8.8", "size": "M12"}, "wrench": {"profile": "outline", **ring}}
    with pytest.raises(GeometryError, match="the two overlap") as caught:
        profile_pair(parse_case(raw, folder=MESHES))
    assert "check unit and first_flat" in caught.value.hint
    (tmp_path / "inch.toml").write_text(HAND.replace('unit = "mm"', 'unit = "in"'), encoding="utf-8")
    (tmp_path / "hex.toml").write_text(HEX.replace('unit = "mm"', 'unit = "in"'), encoding="utf-8")
    with pytest.raises(GeometryError, match=r"the opening measures 410.5 mm, the fastener 16 mm"):
        profile_pair(case("outline", tmp_path, outline="inch.toml", thickness="11 mm"))
    with pytest.raises(GeometryError, match=r"measures 406.4 mm across flats, the case says 16 mm"):
        profile_pair(case("ring-six", tmp_path, "hex.toml"))


def test_an_outline_holds_its_own_opening() -> None:
    with pytest.raises(InputError, match=r"\[wrench\] opening: does not apply to an outline"):
        case("outline", MESHES, outline="hand-drawn-ring-16mm.toml", thickness="11 mm", opening="16.2 mm")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(bytes(range(256)))
    (tmp_path / "prose.toml").write_text("once upon a time", encoding="utf-8")
    for name, message in (
        ("none.toml", "cannot be read"),
        ("binary.toml", "is not UTF-8"),
        ("prose.toml", "is not TOML"),
    ):
        with pytest.raises(InputError, match=message):
            read_outline(tmp_path / name, "wrench")
    with pytest.raises(ContactFEError, match="cannot be written"):
        write_outline(tmp_path / "none" / "x.toml", read_text(HAND), "wrench")


_LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(-20, 20), st.floats(), st.text(max_size=5),
    st.sampled_from(["flank", "root", "handle-end", "clockwise", "anticlockwise", "mm", "wrench"]),
)  # fmt: skip
_POINT = st.lists(st.integers(-9, 9), min_size=2, max_size=2)
_CURVE = st.fixed_dictionaries(
    {"name": st.sampled_from(["flank", "outside", "handle-end", "tip"])},
    optional={
        "line": st.lists(_POINT, min_size=2, max_size=2),
        "arc": st.fixed_dictionaries(
            {
                "from": _POINT,
                "to": _POINT,
                "centre": _POINT,
                "turn": st.sampled_from(["clockwise", "anticlockwise"]),
            }
        ),
        "round": st.fixed_dictionaries({"radius": st.floats(0.01, 9.0)}),
    },
)
_ANY = st.recursive(
    _LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
)


def _chained(points: list[list[int]], radius: float) -> list[dict[str, Any]]:
    ends = [*points[1:], points[0]]
    return [
        {"name": "flank", "line": [a, b], "round": {"radius": radius}}
        for a, b in zip(points, ends, strict=True)
    ]


@given(
    loops=st.one_of(
        _ANY,
        st.lists(st.fixed_dictionaries({"piece": st.lists(_CURVE | _ANY, max_size=4)}), max_size=3),
        st.lists(
            st.fixed_dictionaries(
                {"piece": st.builds(_chained, st.lists(_POINT, min_size=2, max_size=6), st.floats(0.01, 4.0))}
            ),
            min_size=1,
            max_size=2,
        ),
    ),
    more=st.dictionaries(
        st.sampled_from(["unit", "first_flat", "flats", "outline", "format", "x"]), _ANY, max_size=2
    ),
    body=st.sampled_from(["wrench", "fastener"]),
)
@settings(max_examples=300, deadline=None)
def test_no_file_ends_in_anything_but_an_outline_or_an_input_error(
    loops: Any, more: dict[str, Any], body: str
) -> None:
    raw = {"format": 1, "outline": body, "unit": "mm", "loop": loops, **more}
    try:
        got = parse_outline(raw, body)
    except InputError as error:
        assert error.problems
    else:
        assert got.outline.pieces
