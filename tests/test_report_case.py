"""Curve, pair, folder and page of a case."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import meshio
import numpy as np
import pytest
import shapely
from matplotlib.figure import Figure
from report_cases import (
    PROFILES,
    VERSION,
    case,
    check_offline,
    inline_pictures,
    meetings,
    shown_texts,
    solved,
)

from contactfe.case import ANSWERS, CaseRecord
from contactfe.elastic import von_mises
from contactfe.errors import ContactFEError
from contactfe.report import (
    case_page,
    check_drawn,
    curve_figure,
    drawing_figure,
    end_state,
    fields,
    pair_figure,
    save,
    slip_state,
    write_case_folder,
)
from contactfe.report.inputs import input_tables
from contactfe.report.reader_units import both
from contactfe.report.words import number
from contactfe.turn import fastener_state, head_rotation


@pytest.mark.parametrize("kind", [*PROFILES, "points-12", "worn", "lever", "soft-wrench", "bolt", "free"])
def test_curve_and_pair_are_readable(kind: str) -> None:
    record = solved(kind)
    curve, pair = curve_figure(record), pair_figure(record)
    assert meetings(curve) == []
    assert meetings(pair) == []
    axes = curve.axes[0]
    assert axes.get_xlabel().endswith("(deg)") and axes.get_ylabel().endswith("(N·m)")
    assert pair.axes[0].get_xlabel() == "x (mm)" and pair.axes[0].get_ylabel() == "y (mm)"
    assert pair.axes[0].get_aspect() == 1.0
    texts = [text for figure in (curve, pair) for text, _ in shown_texts(figure)]
    words = " ".join(" ".join(texts).split())
    assert record.built.case.name in words
    assert record.built.case.load.direction in words
    if kind == "free":
        assert "turns freely" in words and len(pair.axes) == 1
        return
    assert record.estimate.slip_torque_Nm is not None and record.estimate.onset_torque_Nm is not None
    assert f"{number(record.torque_Nm)} N·m" in words
    if record.ended_by != "grip":
        assert f"slip would come at {number(record.estimate.slip_torque_Nm)} N·m" in words
    assert f"held below the head: {record.held}" in words
    onset_comes = record.estimate.onset_torque_Nm < record.torque_Nm
    assert (f"onset {number(record.estimate.onset_torque_Nm)} N·m" in words) is onset_comes
    assert f"free play {number(record.estimate.free_play_deg or 0.0)}°" in words
    assert "crushed" in words
    assert pair.axes[1].get_ylabel() == "von Mises stress (MPa)"


@pytest.mark.parametrize("kind", ["worn", "soft-wrench", "bolt"])
def test_the_curve_is_full_to_the_torque_delivered_and_dashed_beyond(kind: str) -> None:
    record = solved(kind)
    lines = curve_figure(record).axes[0].lines
    full, dashed, dots = (part.get_xydata() for part in lines[:3])
    assert np.allclose(dots[:, 0], np.degrees(record.curve.rotation))
    assert np.allclose(dots[:, 1], record.curve.torque)
    assert full[1].tolist() == [record.estimate.free_play_deg, 0.0]
    assert lines[0].get_linestyle() == "-" and lines[1].get_linestyle() == "--"
    assert full[-1] == pytest.approx([record.rotation_deg, record.torque_Nm], rel=2e-3)
    assert dashed[0] == pytest.approx(full[-1])
    assert dashed[-1, 0] == pytest.approx(np.degrees(record.curve.rotation.max()))
    # Between two dots the line stays between them, and it meets every one.
    line = np.vstack([full[2:], dashed])
    top = record.curve.torque.max()
    assert np.abs(np.interp(dots[:, 0], line[:, 0], line[:, 1]) - dots[:, 1]).max() < 0.01 * top
    assert line[:, 1].max() <= top * (1 + 1e-12)
    e = record.estimate
    assert np.interp(e.onset_rotation_deg, *line.T) == pytest.approx(e.onset_torque_Nm, rel=0.01)


@pytest.mark.parametrize("kind", ["soft-wrench", "bolt"])
def test_the_pair_is_shown_at_the_end_that_really_comes(kind: str) -> None:
    record = solved(kind)
    assert record.ended_by == {"soft-wrench": "wrench", "bolt": "bolt"}[kind]
    state, slip = end_state(record), slip_state(record)
    assert state.solution is not None and slip.solution is not None
    depth = record.built.case.fastener.engaged_depth / 1e3
    assert state.solution.torque * depth == pytest.approx(record.torque_Nm, rel=0.01)
    assert slip.solution.torque * depth == pytest.approx(record.estimate.slip_torque_Nm, rel=0.01)
    words = " ".join(text for text, _ in shown_texts(pair_figure(record)))
    assert both(record.torque_Nm) in words


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
    with pytest.raises(ContactFEError, match=r"let the name end in \.png, \.svg or \.pdf") as caught:
        save(Figure(), tmp_path / name)
    assert caught.value.slug == "figure-format"


def test_a_figure_that_cannot_be_written_says_where(tmp_path: Path) -> None:
    with pytest.raises(ContactFEError) as caught:
        save(drawing_figure(case("ring-six")), tmp_path / "none" / "figure.png")
    assert str(tmp_path / "none") in caught.value.where and caught.value.hint


# --- the folder of a case -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["lever", "free", "bolt"])
def test_the_folder_of_a_case(tmp_path: Path, kind: str) -> None:
    record = solved(kind)
    done = write_case_folder(record, tmp_path / "new" / "case", VERSION)
    assert done.failures == ()
    wanted = {"case.json", "curve.csv", "fields.vtu", "curve.png", "pair.png", "drawing.png", "case.html"}
    wanted |= {"page.json"} if kind == "free" else {"page.json", "flanks.png"}
    wanted |= {"pair-at-slip.png"} if kind == "bolt" else set()
    assert {p.name for p in done.paths} == wanted
    first = {p.name: p.read_bytes() for p in done.paths}
    write_case_folder(record, tmp_path / "new" / "case", VERSION)
    assert {p.name: p.read_bytes() for p in done.paths} == first
    assert [p.name for p in (tmp_path / "new").iterdir()] == ["case"]
    assert {p.name for p in (tmp_path / "new" / "case").iterdir()} == wanted
    _check_json(record, json.loads(first["case.json"]))
    _check_csv(record, first["curve.csv"].decode())
    _check_fields(record, tmp_path / "new" / "case" / "fields.vtu")


def test_a_drawing_that_fails_costs_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def trips(*_: Any) -> None:
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr(sys.modules["contactfe.report.case_page"], "drawing_figure", trips)
    record = solved("free")
    done = write_case_folder(record, tmp_path / "case", VERSION)
    assert done.failures == ("drawing: ZeroDivisionError: float division by zero",)
    assert {"case.json", "curve.csv", "fields.vtu", "curve.png", "case.html"} <= {p.name for p in done.paths}
    assert not (tmp_path / "case" / "drawing.png").exists()
    with pytest.raises(ContactFEError, match="1 picture could not be drawn") as caught:
        check_drawn(done.failures, str(tmp_path / "case"))
    assert caught.value.exit_code == 1 and caught.value.hint
    check_drawn((), "nothing failed")


def test_pictures_come_in_the_format_asked_for(tmp_path: Path) -> None:
    done = write_case_folder(solved("free"), tmp_path / "case", VERSION, "pdf")
    assert {"curve.pdf", "pair.pdf", "drawing.pdf"} <= {p.name for p in done.paths}
    assert (tmp_path / "case" / "curve.pdf").read_bytes().startswith(b"%PDF-")


def _check_json(record: CaseRecord, found: dict[str, Any]) -> None:
    names = (
        *(answer.key for answer in ANSWERS),
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
    for answer in ANSWERS:
        assert found[answer.key] == record.answers()[answer.key]
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
    state = end_state(record)
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
    depth = 1e3 * float(max(state.fastener.crush.max(), state.wrench.crush.max()))
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

    monkeypatch.setattr(sys.modules["contactfe.report.files"], "write_fields", full)
    with pytest.raises(ContactFEError, match="No space left"):
        write_case_folder(record, old, VERSION)
    # Nothing half done: the older result is whole, nothing is left beside it.
    assert (old / "case.json").read_text() == "older"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "old"]


# --- pages ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["open-end", "free", "bolt"])
def test_the_page_of_a_case(kind: str) -> None:
    record = solved(kind)
    html = case_page(record, VERSION)
    assert case_page(record, VERSION) == html
    assert len(html.encode()) < 3_000_000
    page = check_offline(html)
    for caution in record.cautions():
        assert " ".join(caution.split()) in page.words
    # Answers and cautions come before the first figure.
    assert html.index('id="answers"') < html.index('id="cautions"') < html.index("<img")
    beginning = {
        "open-end": f"Slips at {both(record.torque_Nm)}",
        "free": "Turns freely",
        "bolt": f"The bolt twists off at {both(record.torque_Nm)}",
    }
    assert beginning[kind] in page.words
    for limit in record.limits:
        assert limit.note in page.words
        if limit.torque_Nm is not None:
            assert number(limit.torque_Nm) in page.words
    if record.margin is not None:
        assert f"{100 * record.margin:.0f} % higher" in page.words
    for answer in ANSWERS:
        value = record.answers()[answer.key]
        if isinstance(value, float) and answer.key not in ("margin", "twist_off_low_Nm", "twist_off_high_Nm"):
            assert f"{answer.label} {number(value)} {answer.unit}" in page.words
    assert "M10 (16 mm across flats)" in page.words
    assert f"held below the head: {record.held}" in page.words
    assert f"contactfe {VERSION}" in page.words
    assert re.search(r"inputs [0-9a-f]{64}", page.words)
    assert len(page.sources) == {"open-end": 4, "free": 3, "bolt": 5}[kind]
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
        "least of 8.8, ISO 898-1",
        "ISO 4014",
        "ISO 691",
        "0.35 x across flats",
        "complementarity",
    ):
        assert wanted in words
    tables = input_tables(c)
    rows = {row.name: row for row in tables["Wrench"]}
    assert rows["opening"].value == "16.16 mm" and rows["opening"].rule.startswith(
        "default: middle of 16.05 to 16.27 mm"
    )
    given = input_tables(case("open-end", wrench={"jaw_reach": "7 mm", "opening": "16.1 mm"}))
    rows = {row.name: row for row in given["Wrench"]}
    assert rows["jaw reach"].rule == rows["opening"].rule == "given in the case"


def test_names_are_escaped_in_pages() -> None:
    record = solved("free")
    built = replace(record.built, case=replace(record.built.case, name='a<b>&"c'))
    html = case_page(replace(record, built=built), VERSION)
    assert "<b>" not in html and 'a<b>&"c' in check_offline(html).words


def test_another_input_gives_another_hash() -> None:
    found = [re.search(r"inputs ([0-9a-f]{64})", case_page(solved(k), VERSION)) for k in ("free", "worn")]
    assert found[0] and found[1] and found[0].group(1) != found[1].group(1)
