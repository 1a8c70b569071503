"""Figures, drawings, pages and files: read by machine as a reader would read them, and against plane
geometry.
"""

from __future__ import annotations

import base64
import itertools
import json
import math
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import meshio
import numpy as np
import pytest
import shapely
from matplotlib.figure import Figure
from matplotlib.text import Text

from contactfe.case import CaseRecord, solve_case
from contactfe.elastic import von_mises
from contactfe.errors import ContactFEError
from contactfe.explain import judged
from contactfe.inputs import CaseInput, parse_case
from contactfe.profile import profile_pair
from contactfe.report import (
    FILES,
    case_page,
    curve_figure,
    drawing_figure,
    fields,
    pair_figure,
    save,
    slip_state,
    study_charts,
    study_figures,
    study_page,
    table_rows,
    write_case_folder,
)
from contactfe.report.dimensions import across_corners, wall_of
from contactfe.report.inputs import input_tables
from contactfe.report.rows import outcome, swept_inputs
from contactfe.report.style import as_bytes
from contactfe.report.words import ANSWERS, number
from contactfe.turn import fastener_state
from contactfe.turn.curve import head_rotation

VERSION = "1.2.3"
RINGS = ("ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
PROFILES = ("open-end", *RINGS)
ANSWER_NAMES = (
    "slip_torque_Nm",
    "reached_torque_Nm",
    "slip_rotation_deg",
    "onset_torque_Nm",
    "onset_rotation_deg",
    "free_play_deg",
    "jaw_spread_um_per_Nm",
    "flank_pressure_MPa_per_Nm",
    "flank_stress_MPa_per_Nm",
    "crushed_length_mm",
    "crush_depth_um",
    "wrench_use_at_slip",
)
MESHES = Path(__file__).resolve().parents[1] / "meshes"


def case(profile: str, rounding: str = "0 %", **tables: dict[str, Any]) -> CaseInput:
    """A case on a coarse mesh; further keys by table replace or join the usual ones."""
    fastener = tables.get("fastener", {"size": "M10", "grade": "8.8", "rounding": rounding})
    return parse_case(
        {
            "format": 1,
            "name": f"{profile} {rounding}".replace("%", "pc"),
            "fastener": fastener,
            "wrench": {"profile": profile, **tables.get("wrench", {})},
            "load": tables.get("load", {}),
            "mesh": {"edge_at_contact": "0.48 mm"} if "fastener" not in tables else {},
        },
        folder=MESHES,
    )


@lru_cache(maxsize=16)
def solved(kind: str) -> CaseRecord:
    """A solved case by profile, or by one of the names below."""
    special = {
        "free": case("ring-twelve", "70 %"),
        "worn": case("ring-twelve", "40 %"),
        "lever": case(
            "open-end", wrench={"opening": "loose"}, load={"lever_arm": "150 mm", "direction": "clockwise"}
        ),
        "soft-wrench": case("ring-six", wrench={"yield_strength": "500 MPa"}),
        "points-12": case("flare-nut", wrench={"points": 12}),
    }
    return solve_case(special.get(kind) or case(kind))


def shown_texts(figure: Figure) -> list[tuple[str, Any]]:
    """Every text a reader sees, with its box in pixels; tick labels of hidden axes are not seen."""
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    figure.draw(renderer)
    hidden = {
        id(t)
        for ax in figure.axes
        for axis, (low, high) in ((ax.xaxis, sorted(ax.get_xlim())), (ax.yaxis, sorted(ax.get_ylim())))
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks())
        for t in (tick.label1, tick.label2)
        if not ax.axison or not low - 1e-9 <= tick.get_loc() <= high + 1e-9
    }
    texts = [
        t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip() and id(t) not in hidden
    ]
    return [
        (t.get_text(), t.get_window_extent(renderer)) for t in texts if t.axes is None or t.axes.get_visible()
    ]


def meetings(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes overlap, and texts that leave the figure."""
    texts = shown_texts(figure)
    found = [(a, b) for (a, p), (b, q) in itertools.combinations(texts, 2) if p.overlaps(q)]
    sheet = figure.bbox
    return found + [
        (a, "edge of the figure")
        for a, box in texts
        if box.x0 < sheet.x0 or box.x1 > sheet.x1 or box.y0 < sheet.y0 or box.y1 > sheet.y1
    ]


# --- drawings -------------------------------------------------------------------------------------

SQUARE = {"shape": "square", "across_flats": "16 mm", "engaged_depth": "8 mm", "grade": "8.8"}
DRAWN: dict[str, CaseInput] = {
    **{f"{p} new": case(p) for p in PROFILES},
    **{f"{p} rounded": case(p, "40 %") for p in PROFILES},
    **{
        f"{p} one-sided": case(
            p, fastener={"size": "M10", "grade": "8.8", "rounding": "40 %", "worn_side": "driven"}
        )
        for p in ("open-end", "ring-six-relieved")
    },
    "flare-nut 12 points": case("flare-nut", "40 %", wrench={"points": 12}),
    "square": case("open-end", fastener=SQUARE),
    "square rounded": case("open-end", fastener={**SQUARE, "rounding": "40 %"}),
    "double hexagon": case("ring-twelve", fastener={**SQUARE, "shape": "double-hex"}),
    "round": case("open-end", "100 %"),
    "M5 rusted": case("ring-six", fastener={"size": "M5", "grade": "8.8", "undersize": "0.3 mm"}),
    "M36": case("open-end", fastener={"size": "M36", "grade": "10.9"}),
    "inch": case("ring-twelve", fastener={"size": "1-1/8 in", "grade": "grade 5"}),
    "small nut": case("flare-nut", fastener={"size": "1/4 in nut", "grade": "grade 5"}),
    "drawn ring": case("outline", wrench={"outline": "hand-drawn-ring-16mm.toml", "thickness": "11 mm"}),
    "drawn pair": case(
        "outline",
        fastener={**SQUARE, "shape": "outline", "outline": "hex-16mm-rounded-40.toml"},
        wrench={"outline": "open-end-16mm.toml", "thickness": "7 mm"},
    ),
}


@pytest.mark.parametrize("name", DRAWN)
def test_drawings_are_readable(name: str) -> None:
    figure = drawing_figure(DRAWN[name])
    assert meetings(figure) == []
    words = " ".join(text for text, _ in shown_texts(figure))
    for wanted in (
        "across flats s",
        "opening S",
        "least wall",
        "thickness",
        "engaged depth",
        "Lengths in mm",
    ):
        assert wanted in words


@pytest.mark.parametrize("profile", PROFILES)
def test_a_drawing_carries_every_dimension_of_the_head(profile: str) -> None:
    c = case(profile)
    rows = dict(table_rows(c, profile_pair(c)))
    unused = {"ridge_radius"} if profile == "flare-nut" else set()  # only used with twelve points
    for name, value in c.wrench.dims.items():
        if name in unused:
            continue
        shown = float(re.match(r"-?[\d.]+", rows[name.replace("_", " ")]).group())  # type: ignore[union-attr]
        expected = math.degrees(value) if name.endswith("angle") else value
        assert shown == pytest.approx(expected, abs=0.006)


def test_dimensions_against_plane_geometry() -> None:
    """Across corners of a filleted hexagon is 2 s/sqrt(3) less 2 r (2/sqrt(3) - 1); the turned one is the
    circle's diameter e - r (e - s); a ring's wall is half of what the outside diameter leaves over the
    filleted corner.
    """
    s, blunt = 16.0, 2.0 / math.sqrt(3.0) - 1.0
    new = case("ring-six")
    pair = profile_pair(new)
    e = 2.0 * s / math.sqrt(3.0)
    assert across_corners(new, pair, pair.fastener) == pytest.approx(e - 2.0 * 0.16 * blunt, abs=2e-3)
    worn = case("ring-six", "40 %")
    assert across_corners(worn, profile_pair(worn), profile_pair(worn).fastener) == pytest.approx(
        e - 0.4 * (e - s), abs=2e-3
    )
    square = DRAWN["square"]
    # A fillet takes r (sqrt(2) - 1) off each corner of a square.
    assert across_corners(square, profile_pair(square), profile_pair(square).fastener) == pytest.approx(
        s * math.sqrt(2.0) - 2.0 * 0.16 * (math.sqrt(2.0) - 1.0), abs=2e-3
    )
    dims, opening = new.wrench.dims, new.wrench.opening
    wall = dims["outside_diameter"] / 2 - opening / math.sqrt(3.0) + dims["root_radius"] * blunt
    assert wall_of(new, pair)[0] == pytest.approx(wall, abs=2e-3)
    # The wall of an open end behind the axis ends on the round of its head.
    open_end = case("open-end")
    radius, centre = open_end.wrench.dims["head_width"] / 2, open_end.wrench.dims["head_centre"]
    _, inner, outer = wall_of(open_end, profile_pair(open_end))
    assert math.dist(outer, (centre, 0.0)) == pytest.approx(radius, abs=2e-3)
    assert inner[0] < 0 < inner[1]


# --- curve and pair -------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [*PROFILES, "points-12", "worn", "lever", "free"])
def test_curve_and_pair_are_readable(kind: str) -> None:
    record = solved(kind)
    curve, pair = curve_figure(record), pair_figure(record)
    assert meetings(curve) == []
    assert meetings(pair) == []
    axes = curve.axes[0]
    assert axes.get_xlabel().endswith("(deg)") and axes.get_ylabel().endswith("(N·m)")
    assert pair.axes[0].get_xlabel() == "x (mm)" and pair.axes[0].get_ylabel() == "y (mm)"
    assert pair.axes[0].get_aspect() == 1.0
    words = " ".join(text for text, _ in shown_texts(curve)) + " ".join(text for text, _ in shown_texts(pair))
    assert record.built.case.name in words
    assert record.built.case.load.direction in words
    if kind == "free":
        assert "turns freely" in words and len(pair.axes) == 1
        return
    assert record.estimate.slip_torque_Nm is not None and record.estimate.onset_torque_Nm is not None
    assert f"slip {number(record.estimate.slip_torque_Nm)} N·m" in words
    assert f"onset {number(record.estimate.onset_torque_Nm)} N·m" in words
    assert f"free play {number(record.estimate.free_play_deg or 0.0)}°" in words
    assert "crushed" in words
    assert pair.axes[1].get_ylabel() == "von Mises stress (MPa)"


def test_the_curve_is_drawn_through_the_solved_points() -> None:
    record = solved("worn")
    line, dots = (part.get_xydata() for part in curve_figure(record).axes[0].lines[:2])
    assert np.allclose(dots[:, 0], np.degrees(record.curve.rotation))
    assert np.allclose(dots[:, 1], record.curve.torque)
    assert line[1].tolist() == [record.estimate.free_play_deg, 0.0]
    # Between two dots the line stays between them, and it meets every one.
    top = record.curve.torque.max()
    assert np.abs(np.interp(dots[:, 0], line[2:, 0], line[2:, 1]) - dots[:, 1]).max() < 0.01 * top
    assert line[:, 1].max() <= top * (1 + 1e-12)
    e = record.estimate
    assert np.interp(e.onset_rotation_deg, *line[2:].T) == pytest.approx(e.onset_torque_Nm, rel=0.01)


def test_the_deformed_outline_is_drawn_on_request_with_its_magnification() -> None:
    record = solved("open-end")
    state = slip_state(record)
    words = [text for text, _ in shown_texts(pair_figure(record, 20.0, state))]
    assert any("× 20" in word for word in words)
    assert not any("deformed" in text for text, _ in shown_texts(pair_figure(record, state=state)))
    assert meetings(pair_figure(record, 20.0, state)) == []


@pytest.mark.parametrize("kind", ["open-end", "worn", "lever", "soft-wrench"])
def test_the_bodies_touch_where_the_pressure_is_elastic(kind: str) -> None:
    """Both deformed bodies in the frame of the head: below the cap they touch, a cell somewhere along its
    length; at the cap they overlap by the crush.

    Measured with an independent polygon library; the offset of the opening from the meshed one is allowed
    for.
    """
    record = solved(kind)
    state = slip_state(record)
    solution = state.solution
    assert solution is not None
    sides = state.fastener.mesh.boundary
    outer = sides.piece < len(state.fastener.mesh.outline.loops[0])
    moved = state.fastener.deformed(1.0)
    fastener = shapely.Polygon(np.vstack([moved[side[:2]] for side in sides.nodes[outer]]))
    # Where the wrench's surface has gone: the displacement of the nearest point of its boundary.
    corner = state.wrench.mesh.boundary.nodes
    along = np.linspace(0.0, 1.0, 41)
    phi = np.column_stack([(1 - along) * (1 - 2 * along), 4 * along * (1 - along), along * (2 * along - 1)])
    points = np.einsum("uk,skc->suc", phi, state.wrench.nodes[corner]).reshape(-1, 2)
    shift = np.einsum("uk,skc->suc", phi, state.wrench.displacement[corner]).reshape(-1, 2)
    nearest = np.argmin(np.linalg.norm(solution.problem.centre[:, None] - points[None], axis=2), axis=1)
    opening = 0.5 * (record.built.case.wrench.opening - record.built.pair.opening)
    place = solution.problem.centre + shift[nearest] - opening * solution.problem.normal
    away = shapely.distance(fastener.exterior, shapely.points(place))
    # The first and last loaded cell of a flank may reach round an edge; its mean place then says little.
    loaded = np.flatnonzero(solution.pressure > 0)
    group = solution.problem.group[loaded]
    inner = np.zeros(len(solution.pressure), dtype=bool)
    inner[loaded[1:-1]] = (group[1:-1] == group[:-2]) & (group[1:-1] == group[2:])
    elastic = (solution.pressure > 1e-3 * solution.law.cap) & ~solution.capped
    s = record.built.case.fastener.across_flats
    # Where the gap changes by as much as a cell is long, the cell lies round an edge.
    elastic &= solution.problem.spread < 0.7 * solution.problem.length
    near = 2e-3 * s + 0.5 * solution.problem.spread[elastic]
    assert np.count_nonzero(away[elastic] > near) <= 1
    assert (
        kind != "open-end" or np.count_nonzero(elastic) >= 2
    )  # others may be crushed nearly all over at slip
    crushed = solution.capped & (solution.gap < -0.003 * s) & inner
    assert crushed.any()
    assert shapely.contains_xy(fastener, place[crushed, 0], place[crushed, 1]).all()


def test_the_fastener_stands_at_the_rotation_of_the_head() -> None:
    for kind in ("ring-six", "lever"):
        record = solved(kind)
        state = slip_state(record)
        assert state.solution is not None
        rotation = head_rotation(record.built, state.solution)
        assert state.turn == pytest.approx(-record.built.pair.sense * rotation, abs=math.radians(0.1))


def test_stresses_turn_with_the_fastener() -> None:
    """Turning a body turns the tensor: R S R^T, and leaves the von Mises stress as it was."""
    record = solved("worn")
    state = slip_state(record)
    assert state.solution is not None
    _, own = fastener_state(record.built, state.solution)
    c, s = math.cos(state.turn), math.sin(state.turn)
    turn = np.array([[c, -s], [s, c]])
    tensor = np.array([[own[:, 0], own[:, 2]], [own[:, 2], own[:, 1]]]).transpose(2, 0, 1)
    wanted = turn @ tensor @ turn.T
    found = state.fastener.stress
    for k, (i, j) in enumerate(((0, 0), (1, 1), (0, 1))):
        assert np.allclose(found[:, k], wanted[:, i, j], atol=1e-9 * np.abs(own).max())
    assert np.allclose(state.fastener.mises, von_mises(own))


def test_crush_belongs_to_the_softer_body() -> None:
    hard, soft = slip_state(solved("ring-six")), slip_state(solved("soft-wrench"))
    assert hard.fastener.crush.max() > 0 and not hard.wrench.crush.any()
    assert soft.wrench.crush.max() > 0 and not soft.fastener.crush.any()
    for kind, body in (("ring-six", hard.fastener), ("soft-wrench", soft.wrench)):
        assert 1e3 * body.crush.max() == pytest.approx(solved(kind).estimate.crush_depth_um)


def test_figures_need_no_display_and_no_pyplot() -> None:
    code = "import sys, contactfe.report; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


# --- saving ---------------------------------------------------------------------------------------


def test_saved_figures_are_the_same_to_the_byte(tmp_path: Path) -> None:
    c = case("ring-spline", "40 %")
    for name in ("a.png", "a.svg", "A.SVG"):
        save(drawing_figure(c), tmp_path / name)
        first = (tmp_path / name).read_bytes()
        save(drawing_figure(c), tmp_path / name)
        assert (tmp_path / name).read_bytes() == first
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "<svg" in svg and "dc:date" not in svg
    assert sorted(p.name for p in tmp_path.iterdir()) == ["A.SVG", "a.png", "a.svg"]


@pytest.mark.parametrize("name", ["figure.jpg", "figure"])
def test_other_endings_are_refused_with_a_remedy(tmp_path: Path, name: str) -> None:
    with pytest.raises(ContactFEError, match=r"let the name end in \.png or \.svg") as caught:
        save(Figure(), tmp_path / name)
    assert caught.value.slug == "figure-format"


def test_a_figure_that_cannot_be_written_says_where(tmp_path: Path) -> None:
    with pytest.raises(ContactFEError) as caught:
        save(drawing_figure(case("ring-six")), tmp_path / "none" / "figure.png")
    assert str(tmp_path / "none") in caught.value.where and caught.value.hint


# --- the folder of a case -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["lever", "free"])
def test_the_folder_of_a_case(tmp_path: Path, kind: str) -> None:
    record = solved(kind)
    paths = write_case_folder(record, tmp_path / "new" / "case", VERSION)
    assert [p.name for p in paths] == list(FILES)
    first = {p.name: p.read_bytes() for p in paths}
    write_case_folder(record, tmp_path / "new" / "case", VERSION)
    assert {p.name: p.read_bytes() for p in paths} == first
    assert [p.name for p in (tmp_path / "new").iterdir()] == ["case"]
    assert sorted(p.name for p in (tmp_path / "new" / "case").iterdir()) == sorted(FILES)
    _check_json(record, json.loads(first["case.json"]))
    _check_csv(record, first["curve.csv"].decode())
    _check_fields(record, paths[2])


def _check_json(record: CaseRecord, found: dict[str, Any]) -> None:
    names = (
        *ANSWER_NAMES,
        "load_share",
        "curve",
        "mesh",
        "audit",
        "cautions",
        "inputs",
        "version",
        "turns_freely",
    )
    assert set(names) <= set(found)
    assert found["version"] == VERSION
    assert found["cautions"] and "not a rating of any tool" in found["cautions"][-1]
    for name in ANSWER_NAMES:
        assert found[name] == record.answers()[name]
    assert found["turns_freely"] is (found["slip_torque_Nm"] is None)


def _check_csv(record: CaseRecord, text: str) -> None:
    lines = text.splitlines()
    assert lines[0] == "rotation_deg,torque_Nm"
    values = np.array([[float(v) for v in line.split(",")] for line in lines[1:]]).reshape(-1, 2)
    assert np.allclose(values[:, 0], np.degrees(record.curve.rotation), rtol=1e-8)
    assert np.allclose(values[:, 1], record.curve.torque, rtol=1e-8)


def _check_fields(record: CaseRecord, path: Path) -> None:
    data = meshio.read(path)
    n = len(record.built.fastener.mesh.nodes) + len(record.built.wrench.mesh.nodes)
    assert data.points.shape == (n, 3)
    assert data.point_data["displacement_mm"].shape == (n, 3)
    assert set(np.unique(data.cell_data["body"][0])) == {1, 2}
    state = slip_state(record)
    assert np.allclose(data.points[: len(state.fastener.nodes), :2], state.fastener.nodes)
    sxx, syy, sxy = (data.point_data[f"{name}_MPa"] for name in ("sxx", "syy", "sxy"))
    tensor = np.array([[sxx, sxy], [sxy, syy]]).transpose(2, 0, 1)
    low, high = np.linalg.eigvalsh(tensor).T
    scale = max(1.0, float(np.abs(tensor).max()))
    assert np.allclose(data.point_data["principal_1_MPa"], high, atol=1e-6 * scale)
    assert np.allclose(data.point_data["principal_2_MPa"], low, atol=1e-6 * scale)
    # Von Mises stress in plane stress from the principal ones (Huber, von Mises; plane form).
    mises = np.sqrt(low**2 - low * high + high**2)
    assert np.allclose(data.point_data["von_mises_MPa"], mises, atol=1e-6 * scale)
    depth = record.estimate.crush_depth_um or 0.0
    assert data.point_data["crush_depth_um"].max() == pytest.approx(depth)


def test_fields_of_both_bodies_have_the_same_names() -> None:
    fastener, wrench = fields(solved("open-end"))
    assert fastener[1].keys() == wrench[1].keys()
    assert (fastener[2], wrench[2]) == (1, 2)


def test_a_folder_that_cannot_be_written_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = solved("free")
    (tmp_path / "file").write_text("mine")
    for folder in (tmp_path / "file", tmp_path / "file" / "case"):
        with pytest.raises(ContactFEError) as caught:
            write_case_folder(record, folder, VERSION)
        assert caught.value.where == str(folder) and caught.value.hint and caught.value.slug == "not-writable"
    assert (tmp_path / "file").read_text() == "mine"
    old = tmp_path / "old"
    old.mkdir()
    (old / "case.json").write_text("older")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("contactfe.report.files.write_fields", full)
    with pytest.raises(ContactFEError, match="No space left"):
        write_case_folder(record, old, VERSION)
    # Nothing half done: the older result is whole, nothing is left beside it.
    assert (old / "case.json").read_text() == "older"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "old"]


# --- pages ----------------------------------------------------------------------------------------


class Page(HTMLParser):
    """What a page holds: ids, links, images, text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.alts: list[str] = []
        self.tags: list[str] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        self.ids += [found["id"] or ""] if "id" in found else []
        self.links += [found["href"] or ""] if "href" in found else []
        self.sources += [found["src"] or ""] if "src" in found else []
        if tag == "img":
            self.alts.append(found.get("alt") or "")

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def check_offline(html: str) -> Page:
    """Everything a page shows is inside it, every anchor leads somewhere, every picture is described."""
    page = Page(html)
    assert len(html.encode()) < 5_000_000
    assert all(source.startswith("data:image/") for source in page.sources)
    assert all(link.startswith(("#", "data:")) for link in page.links)
    assert {link[1:] for link in page.links if link.startswith("#")} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert page.alts and all(len(alt) > 20 for alt in page.alts)
    assert "script" not in page.tags
    assert not re.search(r"url\(|@import", html)
    assert "@media print" in html
    return page


def inline_pictures(page: Page) -> Iterator[bytes]:
    for source in page.sources:
        yield base64.b64decode(source.partition(",")[2])


@pytest.mark.parametrize("kind", ["open-end", "free"])
def test_the_page_of_a_case(kind: str) -> None:
    record = judged(solved(kind))
    assert (
        kind == "free"
        or "torque reached not looked at" in check_offline(case_page(solved(kind), VERSION)).words
    )
    html = case_page(record, VERSION)
    assert case_page(record, VERSION) == html
    page = check_offline(html)
    for caution in record.cautions():
        assert " ".join(caution.split()) in page.words
    # Answers and cautions come before the first figure.
    assert html.index('id="answers"') < html.index('id="cautions"') < html.index("<img")
    for answer in ANSWERS:
        value = record.answers()[answer.key]
        assert f"{answer.label} {'none' if value is None else number(value)} {answer.unit}" in page.words
    assert ("Turns freely" if kind == "free" else "Slips at") in page.words
    assert f"contactfe {VERSION}" in page.words
    assert re.search(r"inputs [0-9a-f]{64}", page.words)
    assert len(page.sources) == 3
    for picture in inline_pictures(page):
        assert picture.startswith(b"\x89PNG") or b"<svg" in picture[:400]


def test_the_page_shows_every_input_and_the_rules() -> None:
    record = solved("open-end")
    words = check_offline(case_page(record, VERSION)).words
    c = record.built.case
    for name, rule in c.wrench.rules.items():
        assert name.replace("_", " ") in words
        assert " ".join(rule.split()) in words
    for wanted in (
        "least of grade 8.8, ISO 898-1",
        "ISO 4014",
        "ISO 691",
        "0.35 × across flats",
        "complementarity",
    ):
        assert wanted in words
    tables = input_tables(c)
    rows = {row.name: row for row in tables["Wrench"]}
    assert rows["opening"].value == "16.16 mm" and rows["opening"].rule.startswith(
        "middle in 16.05 to 16.27 mm"
    )
    given = input_tables(case("open-end", wrench={"jaw_reach": "7 mm", "opening": "16.1 mm"}))
    rows = {row.name: row for row in given["Wrench"]}
    assert rows["jaw reach"].rule == "given in the case" and rows["opening"].rule == ""


def test_names_are_escaped_in_pages() -> None:
    record = solved("free")
    built = replace(record.built, case=replace(record.built.case, name='a<b>&"c'))
    html = case_page(replace(record, built=built), VERSION)
    assert "<b>" not in html and 'a<b>&"c' in check_offline(html).words


def test_another_input_gives_another_hash() -> None:
    found = [re.search(r"inputs ([0-9a-f]{64})", case_page(solved(k), VERSION)) for k in ("free", "worn")]
    assert found[0] and found[1] and found[0].group(1) != found[1].group(1)


# --- studies --------------------------------------------------------------------------------------


def study_rows() -> list[dict[str, Any]]:
    """Invented rows: two profiles, two grades, three roundings; some turn freely, one has no answer."""
    rows: list[dict[str, Any]] = []
    for profile, new in (("open-end", 80.0), ("ring-twelve", 200.0)):
        for grade, factor in (("10.9", 1.5), ("8.8", 1.0)):
            for rounding in (0, 40, 80):
                free = profile == "ring-twelve" and rounding == 80
                torque = None if free else new * factor * (1 - rounding / 100)
                rows.append(
                    {
                        "case_id": f"{len(rows):04x}",
                        "name": f"{profile} {grade} {rounding}",
                        "wrench.profile": profile,
                        "fastener.grade": grade,
                        "fastener.rounding": f"{rounding} %",
                        "status": "turns freely" if free else "ok",
                        "reason": "",
                        "turns_freely": free,
                        "slip_torque_Nm": torque,
                        "free_play_deg": None if free else 1.25,
                    }
                )
    rows[1].update(turns_freely=None, slip_torque_Nm=None, status="failed", reason="no wall left")
    return rows


def drawn_points(figure: Figure, hollow: bool) -> list[tuple[float, float]]:
    """The markers of a chart, hollow or filled."""
    markers = [line for line in figure.axes[0].lines if line.get_linestyle() == "None"]
    chosen = [line for line in markers if (line.get_markerfacecolor() == "white") == hollow]
    return sorted((float(x), float(y)) for line in chosen for x, y in line.get_xydata() if not math.isnan(y))


def test_study_charts_show_every_case() -> None:
    charts = study_charts(study_rows())
    assert list(charts) == ["slip-torque-open-end", "slip-torque-ring-twelve", "comparison"]
    ring = charts["slip-torque-ring-twelve"]
    assert drawn_points(ring, hollow=True) == [(80.0, 0.0), (80.0, 0.0)]
    assert np.allclose(drawn_points(ring, hollow=False), [(0, 200), (0, 300), (40, 120), (40, 180)])
    words = [text for text, _ in shown_texts(ring)]
    assert {"grade 8.8", "grade 10.9", "hollow, at zero: turns freely"} <= set(words)
    # The lowest strength comes first, whatever the order of the rows.
    assert words.index("grade 8.8") < words.index("grade 10.9")
    open_end = charts["slip-torque-open-end"]
    assert len(drawn_points(open_end, hollow=False)) == 5 and drawn_points(open_end, hollow=True) == []
    assert any("1 of 6 cases without an answer" in text for text, _ in shown_texts(open_end))
    for chart in charts.values():
        assert meetings(chart) == []
        assert chart.axes[0].get_xlabel() == "rounding of the corners (%)"


def test_the_comparison_refers_to_the_best_new_one_of_the_lowest_strength() -> None:
    chart = study_charts(study_rows())["comparison"]
    assert chart.axes[0].get_ylabel() == "slip torque (% of the best one, new: 200 N·m)"
    assert np.allclose(drawn_points(chart, hollow=False), [(0, 40), (0, 100), (40, 24), (40, 60), (80, 8)])
    assert drawn_points(chart, hollow=True) == [(80.0, 0.0)]


def test_without_rounding_the_first_number_stands_along_the_axis() -> None:
    rows = [
        {
            "load.lever_arm": arm,
            "contact.friction": mu,
            "slip_torque_Nm": 100 + 100 * mu,
            "turns_freely": False,
        }
        for mu in (0.2, 0.1, 0.3)
        for arm in ("none", "200 mm")
    ]
    chart = study_charts(rows)["slip-torque"]
    assert chart.axes[0].get_xlabel() == "friction"
    assert [x for x, _ in drawn_points(chart, hollow=False)] == [0.1, 0.1, 0.2, 0.2, 0.3, 0.3]
    assert {"lever arm none", "lever arm 200 mm"} <= {text for text, _ in shown_texts(chart)}


def test_words_along_the_axis() -> None:
    rows = [
        {"fastener.size": size, "slip_torque_Nm": torque, "turns_freely": "false"}
        for size, torque in (("M12", "140.5"), ("M8", "60"), ("1/2 in", "170"))
    ]
    chart = study_charts(rows)["slip-torque"]
    labels = [t.get_text() for t in chart.axes[0].get_xticklabels()]
    assert labels == ["M8", "M12", "1/2 in"]  # by diameter: 8, 12, 12.7 mm
    assert drawn_points(chart, hollow=False) == [(0.0, 60.0), (1.0, 140.5), (2.0, 170.0)]
    profiles = [{"wrench.profile": p, "slip_torque_Nm": 50.0, "turns_freely": False} for p in PROFILES]
    charts = study_charts(profiles)
    assert list(charts) == ["slip-torque"] and meetings(charts["slip-torque"]) == []


def test_values_of_rows_are_read_with_their_units() -> None:
    rows = [
        {"fastener.yield_strength": text, "fastener.rounding": share, "wrench.opening": width}
        for text, share, width in (("640 MPa", "20 %", "tight"), ("92 ksi", 0.4, "16.2 mm"))
    ]
    found = {item.path: item for item in swept_inputs(rows)}
    # 92 ksi = 634.3 MPa (1 psi = 6894.757 Pa, NIST SP 811)
    assert found["fastener.yield_strength"].values == pytest.approx((634.318, 640.0), abs=1e-3)
    assert found["fastener.rounding"].values == (20.0, 40.0)
    assert found["fastener.rounding"].axis == "rounding of the corners (%)"
    assert not found["wrench.opening"].numeric and found["wrench.opening"].values == (16.2, "tight")


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({"turns_freely": False, "slip_torque_Nm": 3.0}, "slips"),
        ({"turns_freely": "false", "slip_torque_Nm": "3.0"}, "slips"),
        ({"turns_freely": True, "slip_torque_Nm": None}, "free"),
        ({"turns_freely": "true", "slip_torque_Nm": ""}, "free"),
        ({"turns_freely": "", "slip_torque_Nm": ""}, "failed"),
        ({"slip_torque_Nm": float("nan")}, "failed"),
        ({"slip_torque_Nm": "none"}, "failed"),
        ({}, "failed"),
    ],
)
def test_what_became_of_a_case(row: dict[str, Any], expected: str) -> None:
    assert outcome(row) == expected


def test_study_figures_are_written_and_replaced(tmp_path: Path) -> None:
    paths = study_figures(study_rows(), tmp_path)
    assert [p.name for p in paths] == [
        "slip-torque-open-end.png",
        "slip-torque-ring-twelve.png",
        "comparison.png",
    ]
    first = [p.read_bytes() for p in paths]
    study_figures(study_rows(), tmp_path)
    assert [p.read_bytes() for p in paths] == first
    with pytest.raises(ContactFEError):
        study_figures(study_rows(), tmp_path / "none")


def test_the_page_of_a_study() -> None:
    rows = study_rows()
    meta = {
        "name": "worn <heads>",
        "question": "Which one holds?",
        "machine": "two cores",
        "cautions": ["Coarse mesh."],
    }
    html = study_page(rows, meta, VERSION)
    assert study_page(rows, meta, VERSION) == html
    page = check_offline(html)
    words = page.words
    assert (
        "Largest slip torque: 300.0 N·m twelve-point ring, grade 10.9, rounding of the corners 0 %" in words
    )
    assert "12 cases: 9 slip, 2 turn freely, 1 without an answer." in words
    assert "open-end 10.9 40: no wall left" in words
    for wanted in (
        "Which one holds?",
        "Coarse mesh.",
        "two cores",
        "not a rating of any tool",
        "worn <heads>",
    ):
        assert wanted in words
    assert "twelve-point ring grade 8.8 200.0 120.0 turns freely" in words
    assert html.index('id="cautions"') < html.index("<img") and html.index("<table") < html.index("<img")
    assert len(page.sources) == 3
    # The comparison answers the question, so it stands first.
    assert "against each other" in page.alts[0]
    assert f"contactfe {VERSION}" in words and re.search(r"inputs [0-9a-f]{64}", words)


@pytest.mark.parametrize(
    ("rows", "headline"),
    [
        ([{"name": "one", "slip_torque_Nm": 12.0, "turns_freely": False}], "Largest slip torque: 12.0 N·m"),
        ([{"name": "one", "slip_torque_Nm": None, "turns_freely": True}], "No case grips"),
        ([{"name": "one", "slip_torque_Nm": None, "reason": "gone"}], "No case has an answer"),
    ],
)
def test_the_page_of_a_small_study(rows: list[dict[str, Any]], headline: str) -> None:
    assert headline in check_offline(study_page(rows, {}, VERSION)).words


def test_a_study_in_which_all_turn_freely_has_no_comparison() -> None:
    rows = [row | {"turns_freely": True, "slip_torque_Nm": None} for row in study_rows()]
    charts = study_charts(rows)
    assert list(charts) == ["slip-torque-open-end", "slip-torque-ring-twelve"]
    assert as_bytes(charts["slip-torque-open-end"], "png").startswith(b"\x89PNG")
    assert all(y == 0.0 for _, y in drawn_points(charts["slip-torque-open-end"], hollow=True))
