"""Studies and bands say where the wrench gives way before the grip is lost, by the numbers of `contactfe turn`.

The numbers themselves are held against hand calculations in test_explain_sections.py; here the same case has to give the
same torque whichever way it is asked."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from contactfe.case import solve_case
from contactfe.cli.main import new_app
from contactfe.cli.sweep import register as add_sweep
from contactfe.cli.turn import register as add_turn
from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput, parse_case
from contactfe.report.rows import torque_words
from contactfe.report.study import study_charts
from contactfe.report.study_pages import study_page
from contactfe.strength import wrench_limits
from contactfe.study import pivots, read_rows
from contactfe.study.tables import MARKS, Row, mark
from contactfe.uncertainty import Band, band, ends_words

COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}
HEAD = {"size": "M10", "grade": "8.8", "stock": "bar"}
THIN, WHOLE, THICK = "22 mm", "27 mm", "30 mm"
STUDY = """
format = 1
name = "walls"
[base.fastener]
size = "M10"
grade = "8.8"
stock = "bar"
[base.wrench]
profile = "ring-six"
[base.mesh]
edge_at_contact = "0.4 mm"
edge_max = "3 mm"
[sweep]
"wrench.outside_diameter" = ["30 mm", "22 mm"]
"""
CASE = """
format = 1
name = "thin"
[fastener]
size = "M10"
grade = "8.8"
stock = "bar"
[wrench]
profile = "ring-six"
outside_diameter = "22 mm"
[mesh]
edge_at_contact = "0.4 mm"
edge_max = "3 mm"
"""


def ring(outside: str) -> CaseInput:
    wrench = {"profile": "ring-six", "outside_diameter": outside}
    return parse_case({"format": 1, "name": "ring", "fastener": HEAD, "wrench": wrench, "mesh": COARSE})


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the study of two walls, its results in out, and what both commands said."""
    folder = tmp_path_factory.mktemp("walls")
    (folder / "study.toml").write_text(STUDY)
    (folder / "case.toml").write_text(CASE)
    app = new_app()
    add_sweep(app)
    add_turn(app)
    words = ["sweep", str(folder / "study.toml"), "--out", str(folder / "out"), "--workers", "1", "--quiet"]
    swept = CliRunner().invoke(app, words)
    assert swept.exit_code == 0, swept.output
    (folder / "said").write_text(swept.stdout)
    turned = CliRunner().invoke(app, ["turn", str(folder / "case.toml"), "--json"])
    assert turned.exit_code == 0, turned.output
    (folder / "turned.json").write_text(turned.stdout)
    return folder


@pytest.fixture(scope="module")
def rows(home: Path) -> list[Row]:
    return read_rows(home / "out" / "results.csv")


# --- sweeps -------------------------------------------------------------------------------------------------------


def test_a_thin_ring_reaches_in_a_sweep_what_it_reaches_alone(home: Path, rows: list[Row]) -> None:
    thin, turned = rows[1], json.loads((home / "turned.json").read_text())
    assert thin["wrench.outside_diameter"] == THIN
    assert thin["torque_Nm"] == pytest.approx(turned["torque_Nm"], rel=1e-9)
    assert thin["slip_torque_Nm"] == pytest.approx(turned["slip_torque_Nm"], rel=1e-9)
    assert thin["torque_Nm"] < thin["slip_torque_Nm"] and thin["wrench_utilisation_at_slip"] > 1
    assert mark(thin) == "*" and thin["cautions"].startswith("the wrench gives way at about")
    assert thin["cautions"].split(";")[0] in turned["cautions"]


def test_a_thick_ring_reaches_its_slip_torque(rows: list[Row]) -> None:
    thick = rows[0]
    assert thick["wrench.outside_diameter"] == THICK
    assert thick["torque_Nm"] == thick["slip_torque_Nm"] and 0 < thick["wrench_utilisation_at_slip"] < 1
    assert mark(thick) == "" and "wrench" not in thick["cautions"]


def test_the_console_and_the_page_mark_the_thin_ring(home: Path, rows: list[Row]) -> None:
    said = (home / "said").read_text().splitlines()
    line = next(line for line in said if line.split()[:2] == THIN.split())
    assert line.split()[-1] == f"{rows[1]['torque_Nm']:.4g}*"
    assert not any("*" in other or "+" in other for other in said if other.split()[:2] == THICK.split())
    assert f"  * {MARKS['*']}" in said
    page = (home / "out" / "study.html").read_text(encoding="utf-8")
    assert f"* {MARKS['*']}" in page and f"+ {MARKS['+']}" not in page


def test_a_ring_that_yields_through_but_holds_has_a_mark_of_its_own() -> None:
    # 27 mm: a section yields through before slip, the ring as a whole does not give way (see the limits).
    record = solve_case(ring(WHOLE))
    assert record.sections is not None
    limits = wrench_limits(record.sections)
    slip = record.estimate.slip_torque_Nm
    assert slip is not None
    assert limits.section_Nm < slip < limits.limit_Nm
    row = record.answers() | {"status": "ok"}
    assert row["torque_Nm"] == slip and mark(row) == "+"
    assert "keeps a permanent set" in record.own_cautions()[0]


def test_the_table_as_parquet_and_its_file_of_a_case_say_the_same(home: Path, rows: list[Row]) -> None:
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(home / "out" / "results.parquet").to_pylist()
    assert table == rows
    file = next((home / "out" / "cases").rglob(f"{rows[1]['case_id']}.json"))
    stored = json.loads(file.read_text())
    assert stored["record"]["torque_Nm"] == rows[1]["torque_Nm"]
    assert stored["record"]["cautions"][:-1] == rows[1]["cautions"].split("; ")


# --- ranking ------------------------------------------------------------------------------------------------------


def invented(profile: str, slip: float, reached: float, use: float) -> Row:
    """A row of an invented study."""
    row: dict[str, Any] = {
        "name": profile,
        "wrench.profile": profile,
        "fastener.rounding": "0 %",
        "status": "ok",
        "turns_freely": False,
        "slip_torque_Nm": slip,
    }
    return row | {
        "torque_Nm": reached,
        "ended_by": "wrench" if reached < slip else "grip",
        "wrench_utilisation_at_slip": use,
    }


def test_profiles_are_ranked_by_the_torque_they_reach() -> None:
    # The flare-nut wrench would grip best, but gives way at the least torque.
    study = [
        invented("flare-nut", 120.0, 70.0, 1.9),
        invented("open-end", 80.0, 80.0, 0.7),
        invented("ring-twelve", 100.0, 100.0, 1.2),
    ]
    assert [torque_words(row) for row in study] == ["70.0*", "80.0", "100.0+"]
    assert "Largest torque: 100.0 N·m" in study_page(study, {"name": "x"}, "1")
    best = study_page(
        [invented("open-end", 80.0, 80.0, 0.7), invented("flare-nut", 120.0, 90.0, 1.9)], {}, "1"
    )
    assert "Largest torque: 90.0 N·m" in best and "where the wrench gives way" in best
    table = pivots(["wrench.profile"], study)[0]
    assert [cells[0] for cells in table.cells] == ["70*", "80 ", "100+"]
    assert list(table.notes) == [f"* {MARKS['*']}", f"+ {MARKS['+']}"]
    figure = study_charts(study)["torque"]
    heights = sorted({y for line in figure.axes[0].lines for y in line.get_ydata() if not math.isnan(y)})
    assert heights == [70.0, 80.0, 100.0]
    assert figure.legends or figure.axes[0].get_legend()
    legend = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert any("ends the pull before slip" in text for text in legend), legend


def test_a_head_without_sections_has_no_delivered_torque_but_a_caution(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from contactfe.case import limits

    def none(*_: object) -> None:
        raise ContactFEError("no section of the wrench's head was found", slug="no-sections")

    monkeypatch.setattr(limits, "section_path", none)
    record = solve_case(ring(THICK))
    assert record.answers()["wrench_torque_Nm"] is None and record.ended_by == "grip"
    assert record.own_cautions()[0] == (
        "whether the wrench gives way before slip could not be told: no section of the wrench's head was found"
    )
    assert mark(record.answers()) == ""


# --- bands --------------------------------------------------------------------------------------------------------


def test_a_band_says_in_how_many_samples_the_wrench_gives_way() -> None:
    def found(outside: str, workers: int) -> Band:
        raw = {
            "format": 1,
            "fastener": HEAD,
            "wrench": {"profile": "ring-six", "outside_diameter": outside},
            "contact": {"friction": {"low": 0.10, "high": 0.20}},
            "mesh": COARSE,
        }
        return band(raw, n=4, seed=1, workers=workers)

    alone, thin = solve_case(ring(THIN)), found(THIN, 1)
    assert alone.ended_by == "wrench" == thin.nominal_ended_by
    assert thin.nominal_Nm == pytest.approx(alone.torque_Nm, rel=1e-9)
    assert (
        thin.ends.count("wrench") == 4
        and ends_words(thin) == "of 4 samples, without the model's own error: 4 wrenches give way"
    )
    assert (thin.torque_Nm < thin.ends.grip_Nm).all()
    assert found(THICK, 1).ends.count("wrench") == 0
    assert found(THIN, 2).torque_Nm.tobytes() == thin.torque_Nm.tobytes()


def test_ranks_that_rest_on_heads_nobody_measured_say_so() -> None:
    from contactfe.study import measure_first

    known = {"wrench.profile": "ring-six", "cautions": ""}
    head = solve_case(parse_case({"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, **COARSE_JAWS}))
    told = {"wrench.profile": "open-end", "cautions": "; ".join(head.own_cautions())}
    assert "open-end wrench" in measure_first([known, told]) and "thickness" in measure_first([known, told])
    assert measure_first([told]) == measure_first([known, known | {"wrench.profile": "ring-twelve"}]) == ""
    stated = COARSE_JAWS | {"wrench": {"profile": "open-end", "thickness": "7 mm"}}
    measured = solve_case(parse_case({"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, **stated}))
    assert measure_first([known, told | {"cautions": "; ".join(measured.own_cautions())}]) == ""


COARSE_JAWS = {"wrench": {"profile": "open-end"}, "mesh": {"edge_at_contact": "0.8 mm", "edge_max": "3 mm"}}
