"""Bad input at the command line: one message with every problem, exit code 1, nothing written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_cli import run

from contactfe.errors import ContactFEError
from contactfe.inputs import FIELDS, parse_case
from contactfe.profile import profile_pair
from contactfe.standards import DIMENSIONS, PROFILES, head_defaults
from contactfe.units import format_quantity

CASE = """
format = 1
[fastener]
size = "M10"
grade = "8.8"
[wrench]
profile = "ring-twelve"
"""
DRAWN = """
format = 1
[fastener]
size = "M10"
grade = "8.8"
[wrench]
profile = "outline"
outline = "wrench.toml"
thickness = "11 mm"
"""
RING = (Path(__file__).parent.parent / "meshes" / "hand-drawn-ring-16mm.toml").read_text(encoding="utf-8")
OPEN = '[wrench]\nprofile = "open-end"\n'


def refused(folder: Path, *words: str) -> list[str]:
    """Run the command in a folder; return the lines of its message. It must have done nothing else."""
    before = sorted(folder.rglob("*"))
    done = run(*words, cwd=folder)
    assert done.returncode == 1, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr.startswith("contactfe: ")
    assert sorted(folder.rglob("*")) == before, "nothing is written"
    return [line.strip() for line in done.stderr.splitlines()]


def wrench(**keys: str) -> str:
    """Return the case with other keys of the wrench."""
    return (
        CASE.split("[wrench]")[0]
        + "[wrench]\n"
        + "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    )


BAD: dict[str, tuple[str, str]] = {
    "unknown key": (
        CASE.replace("grade", "gade"),
        "[fastener] gade: unknown key; did you mean grade?",
    ),
    "unknown table": (CASE + "[contac]\nfriction = 0.1\n", "contac: unknown key; did you mean contact?"),
    "key of another table": (
        CASE + 'rounding = "10 %"\n',
        "[wrench] rounding: unknown key; rounding belongs to [fastener]",
    ),
    "missing unit": (
        CASE + "thickness = 11\n",
        '[wrench] thickness: 11 has no unit; write "11 mm" or "1/2 in"',
    ),
    "wrong unit kind": (
        CASE + 'thickness = "11 MPa"\n',
        '[wrench] thickness: "11 MPa" is a stress, but a length is expected; write "16 mm" or "1/2 in"',
    ),
    "unknown unit": (CASE + 'thickness = "11 mmm"\n', 'has an unknown unit "mmm"; usual units here: mm, cm'),
    "value out of range": (
        CASE + "[contact]\nfriction = -0.1\n",
        "[contact] friction: -0.1 is below 0; it reaches from 0 to 1",
    ),
    "rounding above 100 %": (
        CASE.replace("[wrench]", 'rounding = "130 %"\n[wrench]'),
        "[fastener] rounding: 130 % is above 100 %; it reaches from 0 % to 100 %",
    ),
    "opening smaller than the fastener": (
        CASE + 'opening = "15.8 mm"\n',
        "[wrench] opening: 15.8 mm is smaller than the fastener, 16 mm across flats (interference); "
        "write 16 mm or more, or give the fastener an undersize",
    ),
    # A sharp hexagon turns in a six-point ring from e = 2 s / sqrt(3) = 18.475 mm on ...
    "opening that spins, six-point": (
        wrench(profile="ring-six", opening="18.5 mm"),
        "[wrench] opening: 18.5 mm lets a new hex of this size spin freely (18.48 mm across corners); "
        "write less than 18.48 mm",
    ),
    # ... and passes the ridges of a twelve-point ring from e cos 15 deg = 17.846 mm on.
    "opening that spins, twelve-point": (
        CASE + 'opening = "17.9 mm"\n',
        "[wrench] opening: 17.9 mm lets a new hex of this size spin freely (18.48 mm across corners); "
        "write less than 17.85 mm",
    ),
    "opening that spins, open end": (
        wrench(profile="open-end", opening="19 mm"),
        "lets a new hex of this size spin freely",
    ),
    "wall that vanishes over the corners": (
        CASE + 'outside_diameter = "18 mm"\n',
        "[wrench] outside_diameter: 18 mm leaves no wall over the corners; write 20.26 mm or more",
    ),
    "wall that vanishes beside the jaws": (
        wrench(profile="open-end", head_width="17 mm"),
        "[wrench] head_width: 17 mm leaves no wall beside the jaws; write 17.76 mm or more",
    ),
    "wall that vanishes behind the throat": (
        wrench(profile="open-end", throat_depth="35 mm"),
        "the outline of the wrench crosses itself",
    ),
    "handle as wide as the head": (
        CASE + 'handle_width = "26 mm"\n',
        "[wrench] handle_width: the handle is as wide as the head; make it smaller",
    ),
    "rounding that does not fit": (
        CASE + 'root_radius = "8 mm"\n',
        "make the radius smaller or the",
    ),
    "other format": (CASE.replace("format = 1", "format = 9"), "format: 9 is newer than this version reads"),
    "not TOML": ("[fastener\nsize = 3", "is not TOML"),
    "foreign TOML": ('[project]\nname = "x"\n', "format: missing; write format = 1 at the top"),
    "empty": ("", "format: missing; write format = 1 at the top"),
    "no outline file": (DRAWN.replace("wrench.toml", "none.toml"), '[wrench] outline: no file "none.toml"'),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_case_files(name: str, tmp_path: Path) -> None:
    text, message = BAD[name]
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    lines = refused(tmp_path, "turn", "bad.toml", "--out", "results")
    assert lines[0] == "contactfe: bad.toml: 1 problem"
    assert len(lines) == 2, lines
    assert message in lines[1]


DRAWINGS: dict[str, tuple[str, str]] = {
    "crosses itself": (
        RING.replace("[-7, 13]", "[7, -6]"),
        "near (7.000, 5.289) mm: the outline crosses itself: outside from (7.000, 13.000) and flank from",
    ),
    "does not close": (
        RING.replace("[[13, -7], [13, 7]]", "[[13, -7], [12, 7]]"),
        "[[loop]] 1, piece 1: loop 1 does not close: 1 mm from the end of outside at (12.000, 7.000) mm",
    ),
    "wall that vanishes": (
        RING.replace("[13, -7]", "[8, -7]").replace("[13, 7]", "[8, 7]"),
        "the outline crosses itself: outside from (8.000, -7.000) and",
    ),
    "unknown name": (
        RING.replace('"flank"', '"flnk"', 1),
        "is not a name of a wrench's pieces; did you mean flank?",
    ),
    "no handle end": (RING.replace('"handle-end"', '"outside"'), "has no handle-end for the load to act on"),
    "other body": (RING.replace('"wrench"', '"fastener"', 1), "'fastener', but a wrench is needed here"),
    "case file": (CASE, "is a case file, not an outline; name a file that begins with format, outline, unit"),
    "not TOML": ("so it goes", "is not TOML"),
    "unit": (RING.replace('unit = "mm"', 'unit = "in"'), "check the unit of the file"),
    "too small": (
        RING.replace("8.08", "7.9"),
        "the fastener does not enter the opening: the two overlap; make the opening wider",
    ),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_bad_outline_files(name: str, tmp_path: Path) -> None:
    text, message = DRAWINGS[name]
    (tmp_path / "drawn.toml").write_text(DRAWN, encoding="utf-8")
    (tmp_path / "wrench.toml").write_text(text, encoding="utf-8")
    lines = refused(tmp_path, "turn", "drawn.toml", "--out", "results")
    assert lines[0].startswith("contactfe: drawn.toml: ")
    assert any(message in line for line in lines[1:]), lines


def test_files_that_are_no_case_files(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(bytes(range(256)))
    (tmp_path / "folder.toml").mkdir()
    assert (
        "is not UTF-8 text (byte 128); save it as UTF-8 text" in refused(tmp_path, "turn", "binary.toml")[1]
    )
    assert "cannot be read: Is a directory" in refused(tmp_path, "turn", "folder.toml")[1]
    assert "cannot be read: No such file or directory" in refused(tmp_path, "turn", "none.toml", "--json")[1]
    assert "cannot be read: No such file or directory" in refused(tmp_path, "draw", "none.toml")[1]
    assert "cannot be read: No such file or directory" in refused(tmp_path, "mesh", "none.toml")[1]


FOLDERS = [
    ("good.toml/results", "good.toml/results cannot be made: good.toml is not a folder"),
    ("good.toml", "good.toml is a file, not a folder; name another folder, or remove the file"),
    (
        "none/results",
        "none/results cannot be made: none does not exist; make it first, or name another folder",
    ),
    # Not even root can write here: found out by trying, before anything is solved.
    ("/proc/results", "/proc/results cannot be made: "),
    ("/proc", "/proc cannot be written to: "),
]


@pytest.mark.parametrize(("folder", "message"), FOLDERS)
def test_folders_that_cannot_be_written_to(folder: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "good.toml").write_text(CASE, encoding="utf-8")
    lines = refused(tmp_path, "turn", "good.toml", "--out", folder)
    assert lines[0] == "contactfe: good.toml: 1 problem"
    assert lines[1].startswith(f"--out: {message}")


def test_pictures_and_meshes_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "good.toml").write_text(CASE, encoding="utf-8")
    (tmp_path / "folder.png").mkdir()
    for out, message in (
        ("pair.gif", '--out: "pair.gif" does not end in .png or .svg or .pdf; name it pair.png'),
        ("folder.png", "--out: folder.png is a folder; name a file in it"),
        ("none/pair.png", "--out: none/pair.png cannot be written: none does not exist"),
        ("good.toml/pair.png", "--out: good.toml/pair.png cannot be written: good.toml is not a folder"),
        ("/proc/pair.png", "--out: /proc/pair.png cannot be written: "),
    ):
        assert refused(tmp_path, "draw", "good.toml", "--out", out)[1].startswith(message)
    assert refused(tmp_path, "mesh", "good.toml", "--out", "good.toml")[1].startswith(
        "--out: good.toml is a file"
    )


def test_everything_that_is_wrong_comes_in_one_message(tmp_path: Path) -> None:
    text = DRAWN.replace('"M10"', '"M11"').replace("thickness", "thicknes") + 'opening = "16 mm"\n'
    (tmp_path / "bad.toml").write_text(text + "[contact]\nfriction = 2\n", encoding="utf-8")
    (tmp_path / "wrench.toml").write_text(
        RING.replace('"flank"', '"flnk"', 1).replace('"mm"', '"cm"'), encoding="utf-8"
    )
    lines = refused(tmp_path, "turn", "bad.toml", "--out", "none/results", "--json")
    assert lines[0] == f"contactfe: bad.toml: {len(lines) - 1} problems"
    starts = [
        '[fastener] size: unknown size "M11"; nearest: M10, M12',
        "[wrench] thicknes: unknown key; did you mean thickness?",
        "[contact] friction: 2 is above 1",
        "wrench.toml, unit: 'cm' is not known here",
        "wrench.toml, [[loop]] 2, piece 1, name: 'flnk' is not a name",
        "--out: none/results cannot be made",
    ]
    assert len(lines) == 1 + len(starts), lines
    for line, start in zip(lines[1:], starts, strict=True):
        assert line.startswith(start)


def test_problems_of_file_and_folder_come_together_when_the_file_cannot_be_read(tmp_path: Path) -> None:
    lines = refused(tmp_path, "turn", "none.toml", "--out", "none/results")
    assert lines[0] == "contactfe: none.toml: 2 problems"
    assert lines[1].startswith("cannot be read") and lines[2].startswith("--out: none/results")


# --- whatever a file holds, it is a case or a list of problems -----------------------------------------

_TEXTS = st.sampled_from(
    [
        "16 mm",
        "5/16 in",
        "1e400 mm",
        "0/0 mm",
        "nan",
        "20 %",
        "-1 %",
        "M10",
        "8.8",
        "hex",
        "outline",
        "none",
        "tight",
    ]
) | st.text(max_size=8)
_LEAVES = (
    _TEXTS
    | st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.dates()
    | st.times()
    | st.binary(max_size=4)
)
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)
_NAMES = st.sampled_from(sorted({field.name for field in FIELDS})) | st.text(max_size=6)
_TABLES = st.sampled_from(["fastener", "wrench", "contact", "load", "mesh", "format", "name"]) | st.text(
    max_size=6
)
_TREES = st.dictionaries(_TABLES, st.dictionaries(_NAMES, _VALUES, max_size=6) | _VALUES, max_size=6)


@given(tree=_TREES, with_format=st.booleans())
@settings(max_examples=500, deadline=None)
def test_no_tree_ends_in_anything_but_a_case_or_our_own_error(
    tree: dict[str, Any], with_format: bool
) -> None:
    raw = (
        {"format": 1, **{key: value for key, value in tree.items() if key != "format"}}
        if with_format
        else tree
    )
    try:
        parse_case(raw, folder=Path("/"))
    except ContactFEError as error:
        assert str(error)


@st.composite
def heads(draw: Any) -> dict[str, Any]:
    """Return a case with a few dimensions of its head far from their defaults."""
    profile = draw(st.sampled_from([name for name in PROFILES if name != "outline"]))
    defaults = head_defaults(profile, 16.0, 16.16)
    keys = {"profile": profile}
    for name in draw(st.lists(st.sampled_from(sorted(defaults)), max_size=4, unique=True)):
        kind = DIMENSIONS[name].kind if name in DIMENSIONS else "length"
        factor = draw(st.floats(0.001, 10.0)) * draw(st.sampled_from([1.0, 1.0, 1.0, -1.0]))
        keys[name] = format_quantity(defaults[name].value * factor, kind)
    head = {"size": "M10", "grade": "8.8", "rounding": f"{draw(st.floats(0.0, 100.0))} %"}
    head["worn_side"] = draw(st.sampled_from(["both", "driven"]))
    return {"format": 1, "fastener": head, "wrench": keys}


@given(raw=heads())
@settings(max_examples=150, deadline=None)
def test_no_dimensions_end_in_anything_but_a_pair_or_our_own_error(raw: dict[str, Any]) -> None:
    try:
        pair = profile_pair(parse_case(raw))
    except ContactFEError as error:
        assert str(error)
    else:
        assert pair.wrench.names() >= {"flank", "handle-end"}
