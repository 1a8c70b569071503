"""Drawings read in: what is found, what is mended and told, and how files that mean no good end."""

from __future__ import annotations

import itertools
import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from drawn_by_hand import Loop, dxf, open_end, ring_outside, rounded, svg, twelve_point
from memory import PEAK_MIB

from contactfe.errors import InputError
from contactfe.inputs import parse_case
from contactfe.outlines import (
    DrawingFaults,
    ImportedOutline,
    ImportOptions,
    findings,
    import_outline,
    loop_area,
    outline_area,
    write_dxf,
    write_svg,
)
from contactfe.outlines.fit import fit_points, fit_smooth
from contactfe.outlines.measure import loop_centroid
from contactfe.outlines.strokes import Bezier, Conic
from contactfe.outlines.swing import engagement
from contactfe.profile import Outline, as_polygon, profile_pair, read_outline_file, write_outline

PROFILES = ("open-end", "ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
OUTSIDE = ring_outside(13.0, (12.8, 8.0), 6.4)


def ring(width: float = 16.16) -> list[Loop]:
    return [OUTSIDE, twelve_point(width, 0.32, 0.192)]


def pair(profile: str) -> Any:
    return profile_pair(
        parse_case({"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": profile}})
    )


def imported(folder: Path, name: str, text: str | bytes, **options: Any) -> ImportedOutline:
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return import_outline(folder / name, ImportOptions(**options))


def refused(folder: Path, name: str, text: str | bytes, **options: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        imported(folder, name, text, **options)
    return caught.value


# --- what is found ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("ending", [".dxf", ".svg"])
def test_a_round_trip_keeps_area_names_and_seat(profile: str, ending: str, tmp_path: Path) -> None:
    built = pair(profile)
    file = tmp_path / f"head{ending}"
    (write_dxf if ending == ".dxf" else write_svg)(file, {"wrench": built.wrench, "fastener": built.fastener})
    found = import_outline(file, ImportOptions(layers=("wrench",)))
    assert outline_area(found.outline) == pytest.approx(outline_area(built.wrench), rel=1e-6)
    assert sorted(p.name for p in found.outline.pieces) == sorted(p.name for p in built.wrench.pieces)
    assert math.remainder(found.first_flat - built.first_flat, math.pi / 3) == pytest.approx(0, abs=1e-6)
    assert found.width == pytest.approx(16.16, abs=1e-5)
    write_outline(tmp_path / "back.toml", found.outline, "wrench", first_flat=found.first_flat)
    again = read_outline_file(tmp_path / "back.toml", "wrench").outline
    assert outline_area(again) == pytest.approx(outline_area(built.wrench), rel=1e-6)


def test_area_is_exact_and_agrees_with_shapely() -> None:
    outline = pair("ring-twelve").wrench
    assert outline_area(outline) == pytest.approx(as_polygon(outline, 0.002).area, rel=1e-6)
    x, y = loop_centroid(outline.loops[0])
    middle = as_polygon(Outline(outline.loops[:1]), 0.002).centroid
    assert (x, y) == pytest.approx((middle.x, middle.y), abs=1e-4)


def test_a_full_circle_has_the_area_of_one(tmp_path: Path) -> None:
    text = svg([]).replace("></svg>", '><circle cx="0" cy="0" r="8"/></svg>')
    error = refused(tmp_path, "circle.svg", text)
    assert isinstance(error, DrawingFaults)
    assert loop_area([p for p in error.pieces[:2]]) == pytest.approx(math.pi * 64)


def test_units_are_those_of_the_file_or_stated(tmp_path: Path) -> None:
    inch = [[((x / 25.4, y / 25.4), b) for (x, y), b in loop] for loop in ring()]
    for units, unit in ((1, None), (0, "in"), (4, "in")):
        found = imported(tmp_path, f"r{units}.dxf", dxf(inch, units), unit=unit)
        assert found.width == pytest.approx(16.16, abs=1e-4)
    assert "the file says mm" in found.stated
    for name, text in (
        ("none.dxf", dxf(ring(), 0)),
        ("none.svg", svg(ring(), 'viewBox="-50 -50 100 100"')),
        ("none.csv", "0,0\n20,0\n0,20\n"),
    ):
        assert "does not state its unit" in str(refused(tmp_path, name, text))
    half = svg(ring(), 'width="50mm" height="50mm" viewBox="-50 -50 100 100"')
    assert imported(tmp_path, "half.svg", half).width == pytest.approx(8.08, abs=1e-4)
    pixels = imported(tmp_path, "px.svg", svg(ring(16.16), 'viewBox="0 0 9 9"'), unit="mm")
    assert pixels.width == pytest.approx(16.16, abs=1e-4)
    wrong = str(refused(tmp_path, "wrong.dxf", dxf(ring(), 6)))
    assert "mm (1339 in) over all" in wrong and "--unit" in wrong


def test_transforms_and_shapes_of_svg(tmp_path: Path) -> None:
    """A hexagon of 16.16 mm as a polygon in a moved and turned group, the outside as a rect: exact areas."""
    corners = [
        (16.16 / math.sqrt(3) * math.cos(math.pi / 3 * k), 16.16 / math.sqrt(3) * math.sin(math.pi / 3 * k))
        for k in range(6)
    ]
    points = " ".join(f"{x!r},{y!r}" for x, y in corners)
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="10cm" height="10cm" viewBox="0 0 100 100">'
        '<g transform="translate(50 50) rotate(17)"><g transform="scale(2)"><polygon transform="scale(.5)" '
        f'points="{points}"/></g><rect x="-24" y="-13" width="37" height="26" rx="4"/></g><text>note</text></svg>'
    )
    found = imported(tmp_path, "t.svg", text, axis=(50.0, -50.0))
    assert outline_area(found.outline) == pytest.approx(
        37 * 26 - (4 - math.pi) * 16 - 16.16**2 * math.sqrt(3) / 2, rel=1e-9
    )
    assert found.width == pytest.approx(16.16, abs=1e-6)
    assert any("1 text" in note for note in found.notes)
    assert findings(found).handle == pytest.approx(math.pi - math.radians(17), abs=1e-6)


def test_an_opening_away_from_the_origin_is_found_and_told(tmp_path: Path) -> None:
    away = [[((x + 300, y - 40), b) for (x, y), b in loop] for loop in ring()]
    found = imported(tmp_path, "away.dxf", dxf(away))
    assert found.axis == pytest.approx((300, -40), abs=1e-6)
    assert found.width == pytest.approx(16.16, abs=1e-4)
    assert any("axis was taken at" in note for note in found.notes)


def test_an_open_end_is_turned_until_its_mouth_looks_along_x(tmp_path: Path) -> None:
    dims = dict(
        parse_case(
            {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}
        ).wrench.dims
    )
    loop = [
        ((x * math.cos(2) - y * math.sin(2), x * math.sin(2) + y * math.cos(2)), b)
        for (x, y), b in open_end(dims, 16.16)
    ]
    found = imported(tmp_path, "open.dxf", dxf([loop]))
    assert math.remainder(found.turned + 2, math.tau) == pytest.approx(0, abs=1e-6)
    assert findings(found).handle == pytest.approx(math.radians(195), abs=1e-6)
    names = findings(found).names
    assert names["tip"] == 2 and names["flank"] == 2


def test_gaps_are_closed_within_the_tolerance_and_told(tmp_path: Path) -> None:
    outside, _opening = ring()
    lines = "".join(
        f"0\nLINE\n5\n{700 + k:X}\n100\nAcDbEntity\n8\n0\n100\nAcDbLine\n"
        f"10\n{a[0]!r}\n20\n{a[1]!r}\n11\n{b[0] + 2e-3!r}\n21\n{b[1]!r}\n"
        for k, (a, b) in enumerate(zip(HEXAGON, HEXAGON[1:] + HEXAGON[:1], strict=True))
    )
    found = imported(tmp_path, "gaps.dxf", dxf([outside], entities=lines))
    assert len(found.gaps) == 6 and all(g.width == pytest.approx(2e-3) for g in found.gaps)
    error = refused(tmp_path, "gaps.dxf", dxf([outside], entities=lines), snap=1e-3)
    assert len(error.problems) == 6 and "0.002 mm to the next end" in str(error)
    assert isinstance(error, DrawingFaults) and len(error.places) == 6


HEXAGON = [
    (16.16 / math.sqrt(3) * math.cos(math.pi / 3 * k), 16.16 / math.sqrt(3) * math.sin(math.pi / 3 * k))
    for k in range(6)
]


def test_points_become_lines_and_arcs_within_the_tolerance(tmp_path: Path) -> None:
    """A CSV of points: corners stay, circles become few arcs; checked against the circle itself."""
    angles = np.linspace(0, math.tau, 721)[:-1]
    circle = np.column_stack([13 * np.cos(angles), 13 * np.sin(angles)])
    pieces = fit_points(circle, 1e-3, True)
    assert len(pieces) <= 24
    points = np.vstack([p.points(np.linspace(0, 1, 50)) for p in pieces])
    assert np.abs(np.hypot(*points.T) - 13).max() < 1e-3
    outside = [
        (13, -6),
        (13, 6),
        (6, 13),
        (-6, 13),
        (-10, 6),
        (-21, 6),
        (-21, -6),
        (-10, -6),
        (-6, -13),
        (6, -13),
    ]
    text = (
        "x_mm;y_mm\n"
        + "".join(f"{x};{y}\n" for x, y in outside)
        + "\n"
        + "".join(f"{x};{y}\n" for x, y in HEXAGON)
    )
    found = imported(tmp_path, "points.csv", text)
    assert [len(loop) for loop in found.outline.loops] == [10, 6]
    assert found.width == pytest.approx(16.16, abs=1e-6)


@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, 1e-4])
def test_ellipses_and_curves_are_fitted_smoothly_within_the_tolerance(tolerance: float) -> None:
    ellipse = Conic(np.zeros(2), np.array([9.0, 2.0]), np.array([-1.0, 4.5]), 0.3, 5.0)
    bezier = Bezier(np.array([[0, 0], [4, 9], [9, -7], [12, 3]], dtype=float))
    t = np.linspace(0, 1, 4001)[:, None]
    c = bezier.control
    curve = (1 - t) ** 3 * c[0] + 3 * t * (1 - t) ** 2 * c[1] + 3 * t**2 * (1 - t) * c[2] + t**3 * c[3]
    e = 0.3 + 4.7 * t
    around = np.cos(e) * ellipse.u + np.sin(e) * ellipse.v
    for stroke, points in ((ellipse, around), (bezier, curve)):
        pieces = stroke.pieces(tolerance)
        line = shapely.LineString(points)
        off = max(line.distance(shapely.Point(q)) for p in pieces for q in p.points(np.linspace(0, 1, 9)))
        assert off < 1.5 * tolerance
        for a, b in itertools.pairwise(pieces):
            assert math.dist(a.end, b.start) < 1e-12
            turn = a.tangents(np.ones(1))[0] @ b.tangents(np.zeros(1))[0]
            assert turn > 1 - 1e-9, "the tangent goes on"
    assert fit_smooth(np.zeros((5, 2)), np.ones((5, 2)), 1e-3) == []


def test_blocks_mirrored_and_layers(tmp_path: Path) -> None:
    """A ring kept in a block and inserted mirrored and turned has the same area and width."""
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    block = document.blocks.new("HEAD")
    for loop in ring():
        block.add_lwpolyline([(x, y, b) for (x, y), b in loop], format="xyb", close=True)
    space = document.modelspace()
    space.add_blockref("HEAD", (0, 0), dxfattribs={"xscale": -1, "rotation": 30, "layer": "part"})
    space.add_lwpolyline(
        [(-60, -60), (60, -60), (60, 60), (-60, 60)], close=True, dxfattribs={"layer": "frame"}
    )
    space.add_text("note")
    document.saveas(tmp_path / "block.dxf")
    found = import_outline(tmp_path / "block.dxf", ImportOptions(layers=("part",)))
    flat = import_outline(_write(tmp_path / "flat.dxf", dxf(ring())))
    assert outline_area(found.outline) == pytest.approx(outline_area(flat.outline), rel=1e-9)
    assert findings(found).handle == pytest.approx(math.radians(30), abs=1e-6)
    with pytest.raises(InputError, match="layers with lines"):
        import_outline(tmp_path / "block.dxf", ImportOptions(layers=("Part",)))
    with pytest.raises(DrawingFaults, match="within a hole"):
        import_outline(tmp_path / "block.dxf")


def _write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_names_can_be_overruled_and_handles_cut(tmp_path: Path) -> None:
    long = [ring_outside(13.0, (10.0, 150.0), 6.4), ring()[1]]
    found = imported(tmp_path, "long.dxf", dxf(long), cut=24.0)
    assert np.ptp(np.vstack(found.outline.polygon(0.1))[:, 0]) == pytest.approx(37.0)
    assert [p.length for p in found.outline.pieces if p.name == "handle-end"] == [pytest.approx(10.0)]
    named = imported(
        tmp_path, "ring.dxf", dxf(ring()), names=(((13.0, 0.0), "blend"), ((0.0, 8.9), "throat"))
    )
    assert {"throat"} <= named.outline.names()
    wrong = refused(tmp_path, "ring.dxf", dxf(ring()), names=(((13.0, 0.0), "flange"),))
    assert "did you mean flank" in str(wrong)


def test_sharp_edges_that_bear_are_refused_or_rounded(tmp_path: Path) -> None:
    sharp = rounded([(p, 0.0) for p in _star()])
    assert "sharp edge protrudes" in str(refused(tmp_path, "sharp.dxf", dxf([OUTSIDE, sharp])))
    found = imported(tmp_path, "sharp.dxf", dxf([OUTSIDE, sharp]), edge_radius=0.32)
    assert findings(found).names["ridge"] == 12


def _star() -> list[tuple[float, float]]:
    outer, inner = 8.08 / math.cos(math.pi / 6), 8.08 / math.cos(math.pi / 12)
    return [
        (r * math.cos(math.radians(15 * k)), r * math.sin(math.radians(15 * k)))
        for k in range(24)
        for r in [outer if k % 2 == 0 else inner]
    ]


def test_a_fastener_is_read_and_its_flats_found(tmp_path: Path) -> None:
    hexagon = rounded([((x, y), 0.16) for x, y in [(q[0] / 1.01, q[1] / 1.01) for q in HEXAGON]])
    found = imported(tmp_path, "head.dxf", dxf([hexagon]), body="fastener")
    assert found.width == pytest.approx(16.0) and found.flats == 6
    assert {p.name for p in found.outline.pieces} == {
        f"{n}-{k}" for n in ("flat", "corner") for k in range(1, 7)
    }
    raw = {
        "format": 1,
        "fastener": {
            "shape": "outline",
            "outline": "head.dxf",
            "across_flats": "16 mm",
            "engaged_depth": "6.4 mm",
            "grade": "8.8",
        },
        "wrench": {"profile": "ring-six"},
    }
    assert profile_pair(parse_case(raw, folder=tmp_path)).flats == 6


# --- swing ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("profile", "swing", "over"), [("ring-six", 60, 60), ("ring-twelve", 30, 30), ("open-end", 60, 30)]
)
def test_swing_of_the_common_heads(profile: str, swing: float, over: float) -> None:
    built = pair(profile)
    found = engagement(built.wrench, built.fastener, built.first_flat, built.handle_direction)
    assert math.degrees(found.swing) == pytest.approx(swing, abs=1e-3)
    assert math.degrees(found.swing_over) == pytest.approx(over, abs=1e-3)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("rounding", ["0 %", "60 %"])
def test_windows_against_brute_force_rotation_with_shapely(profile: str, rounding: str) -> None:
    """The fastener's polygon turned in small steps: overlap by area against the windows from rays."""
    fastener = {"size": "M10", "grade": "8.8", "rounding": rounding}
    built = profile_pair(parse_case({"format": 1, "fastener": fastener, "wrench": {"profile": profile}}))
    found = engagement(built.wrench, built.fastener, built.first_flat, built.handle_direction)
    wrench = as_polygon(built.wrench, 0.005)
    body = shapely.Polygon(as_polygon(built.fastener, 0.005).exterior)
    for turn in np.radians(np.arange(-30.0, 30.0, 0.37)):
        turned = shapely.affinity.rotate(body, turn, origin=(0, 0), use_radians=True)
        overlap = turned.intersection(wrench).area
        inside = max(
            min(
                math.remainder(turn - (a + b) / 2, found.pitch) + (b - a) / 2,
                (b - a) / 2 - math.remainder(turn - (a + b) / 2, found.pitch),
            )
            for a, b in found.windows
        )
        if abs(inside) > math.radians(0.02):
            assert (overlap < 1e-6) == (inside > 0), f"{math.degrees(turn):.2f} deg"


# --- files that mean no good ------------------------------------------------------------------------------------------


def _many(count: int, entity: str) -> str:
    return "".join(entity.format(k=k, h=f"{1000 + k:X}") for k in range(count))


def _blocks(body: str, entities: str) -> str:
    head = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n"
    return f"{head}0\nSECTION\n2\nBLOCKS\n{body}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"


def _block(name: str, body: str) -> str:
    return f"0\nBLOCK\n8\n0\n2\n{name}\n70\n0\n10\n0\n20\n0\n3\n{name}\n{body}0\nENDBLK\n8\n0\n"


def _insert(name: str) -> str:
    return f"0\nINSERT\n8\n0\n2\n{name}\n10\n0.0\n20\n0.0\n"


LINE = "0\nLINE\n8\n0\n10\n0.0\n20\n0.0\n11\n1.0\n21\n1.0\n"


def hostile() -> dict[str, tuple[bytes, str]]:
    """Files by name with words that their message holds, none for a file that can be mended."""
    outside, opening = ring()
    wave = [
        ((r * math.cos(t), r * math.sin(t)), 0.0)
        for k in range(50_000)
        for t in [math.tau * k / 50_000]
        for r in [10 + 0.5 * math.sin(900 * t)]
    ]
    crossing = [opening[0], opening[20], opening[5], *opening[24:]]
    doubled = [vertex for vertex in opening for _ in range(2)]
    nest = [[((x * f, y * f), b) for (x, y), b in outside] for f in (1.0, 0.6, 0.4, 0.2)]
    chain_ = "".join(_block(f"B{k}", _insert(f"B{k + 1}")) for k in range(10_000)) + _block("B10000", LINE)
    bomb = "".join(_block(f"B{k}", _insert(f"B{k + 1}") * 10) for k in range(10)) + _block("B10", LINE)
    laughs = '<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><svg>&b;</svg>'
    start = '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99">'
    texts = {
        "open.svg": (svg(ring()).replace(" Z", "", 2).replace("L", "M", 1), "open"),
        "crossing.dxf": (dxf([outside, crossing]), "crosses itself"),
        "doubled.dxf": (dxf([outside, doubled]), ""),
        "flat.dxf": (dxf([[((0.0, 0.0), 0.0), ((0.0, 0.0), 0.0)]]), "no wrench or fastener"),
        "nest.dxf": (dxf(nest), "within a hole"),
        "wave.dxf": (dxf([wave]), "more than 4,000"),
        "wave.csv": ("x_mm,y_mm\n" + "".join(f"{x},{y}\n" for (x, y), _ in wave), ""),
        "star.dxf": (
            _blocks("", _many(50_000, "0\nLINE\n8\n0\n10\n0.0\n20\n0.0\n11\n{k}\n21\n1.0\n")),
            "more than 4,000",
        ),
        "large.dxf": (dxf([[((x * 1e3, y * 1e3), b) for (x, y), b in outside]]), "no wrench or fastener"),
        "infinite.dxf": (dxf([outside]).replace("13.0", "1e400"), "not a number"),
        "infinite.svg": (f'{start}<path d="M0 0 L1e400 5 L5 5 Z"/></svg>', "not a number"),
        "nan.csv": ("x_mm,y_mm\n0,0\nnan,1\n1,1\n", "line 3"),
        "itself.dxf": (_blocks(_block("A", _insert("A")), _insert("A")), "includes itself"),
        "each-other.dxf": (
            _blocks(_block("A", _insert("B")) + _block("B", _insert("A")), _insert("A")),
            "includes itself",
        ),
        "deep.dxf": (_blocks(chain_, _insert("B0")), "blocks deep"),
        "bomb.dxf": (_blocks(bomb, _insert("B0")), "more than 60,000"),
        "inserts.dxf": (_blocks(_block("A", LINE), _insert("A") * 10_000), "more than 4,000"),
        "solid.dxf": (_blocks("", "0\n3DFACE\n8\n0\n10\n0\n20\n0\n30\n0\n"), "solid or a face"),
        "laughs.svg": (laughs, "DOCTYPE"),
        "script.svg": (f"{start}<script>alert(1)</script></svg>", "script"),
        "groups.svg": (start + "<g>" * 5000 + "</g>" * 5000 + "</svg>", "groups more than"),
        "elements.svg": (start + "<g/>" * 60_000 + "</svg>", "more than 50,000"),
        "path.svg": (f'{start}<path d="M0 0 L1 Q"/></svg>', "path"),
        "radius.svg": (f'{start}<circle cx="5" cy="5" r="0"/></svg>', "radius is 0"),
        "cut-off.svg": (start + '<path d="M0', "is not SVG"),
        "empty.dxf": ("", "is empty"),
        "text.dxf": ("hello\n", "cannot be read as DXF"),
    }
    found = {name: (text.encode(), words) for name, (text, words) in texts.items()}
    rubbish = bytes(np.random.default_rng(1).integers(0, 256, 200_000, dtype=np.uint8))
    for ending, words in ((".dxf", "cannot be read as DXF"), (".svg", "is not SVG"), (".csv", "UTF-8")):
        found[f"rubbish{ending}"] = (rubbish, words)
    found["binary.dxf"] = (b"Binary DXF\r\n\x1a\x00" + rubbish, "cannot be read as DXF")
    return found


RUN = (
    PEAK_MIB
    + """
import json, sys
from contactfe.cli import main
told = {}
for name in sys.argv[1:]:
    sys.stderr = open(name + ".err", "w")
    code = main(["import", name, "--out", name + ".toml"])
    told[name] = code
    sys.stderr.close()
print(json.dumps([told, peak_mib()]))
"""
)


def test_hostile_files_end_in_clear_errors_soon_and_small(tmp_path: Path) -> None:
    files = hostile()
    for name, (content, _) in files.items():
        (tmp_path / name).write_bytes(content)
    done = subprocess.run(
        [sys.executable, "-c", RUN, *files],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=10 * len(files),
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told, megabytes = json.loads(done.stdout.strip().splitlines()[-1])
    assert megabytes < 500
    for name, (_, words) in files.items():
        code = told[name]
        message = (tmp_path / f"{name}.err").read_text()
        assert "unexpected" not in message and "Traceback" not in message, f"{name}: {message}"
        if words:
            assert code == 1 and words in message and name in message, f"{name}: {message}"
            assert not (tmp_path / f"{name}.toml").exists(), f"{name} left an outline"


# --- the command ------------------------------------------------------------------------------------------------------


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "contactfe", *words], cwd=folder, capture_output=True, text=True, timeout=120
    )


def test_the_command_tells_writes_and_draws(tmp_path: Path) -> None:
    _write(tmp_path / "ring.dxf", dxf(ring()))
    done = run(tmp_path, "import", "ring.dxf", "--size", "M10")
    assert done.returncode == 0, done.stderr
    for words in (
        "mm (stated by $INSUNITS = 4)",
        "1.3386 x 1.0236 in",
        "16.1600 mm (0.6362 in)",
        "30 deg",
        "12-fold",
    ):
        assert words in done.stdout
    assert {f.name for f in tmp_path.iterdir()} == {"ring.dxf", "ring.toml", "ring.png"}
    facts = json.loads(run(tmp_path, "import", "ring.dxf", "--size", "M10", "--json").stdout)
    assert facts["free_play_deg"] == pytest.approx(2.06, abs=0.01) and facts["swing_deg"] == pytest.approx(30)
    crossing = [ring()[1][0], ring()[1][20], ring()[1][5], *ring()[1][24:]]
    _write(tmp_path / "bad.dxf", dxf([OUTSIDE, crossing]))
    done = run(tmp_path, "import", "bad.dxf")
    assert (
        done.returncode == 1
        and (tmp_path / "bad-faults.png").exists()
        and not (tmp_path / "bad.toml").exists()
    )


def test_draw_exports_both_bodies(tmp_path: Path) -> None:
    text = 'format = 1\n[fastener]\nsize = "M10"\ngrade = "8.8"\n[wrench]\nprofile = "ring-six"\n'
    _write(tmp_path / "case.toml", text)
    done = run(tmp_path, "draw", "case.toml", "--dxf", "pair.dxf", "--svg", "pair.svg")
    assert done.returncode == 0, done.stderr
    built = pair("ring-six")
    for name in ("pair.dxf", "pair.svg"):
        wrench = import_outline(tmp_path / name, ImportOptions(layers=("wrench",)))
        head = import_outline(tmp_path / name, ImportOptions("fastener", layers=("fastener",)))
        assert outline_area(wrench.outline) == pytest.approx(outline_area(built.wrench), rel=1e-6)
        assert loop_area(head.outline.loops[0]) == pytest.approx(loop_area(built.fastener.loops[0]), rel=1e-6)
