"""Charts and page of a study."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from report_cases import PROFILES, VERSION, check_offline, meetings, shown_texts

from contactfe.errors import ContactFEError
from contactfe.report import study_charts, study_figures, study_page
from contactfe.report.rows import outcome, swept_inputs
from contactfe.report.study_finding import finding_of
from contactfe.report.study_map import Best, best_of
from contactfe.report.style import as_bytes


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
                        "torque_Nm": 0.0 if free else torque,
                        "ended_by": "turns-freely" if free else "wrench" if rounding == 0 else "grip",
                        "slip_torque_Nm": torque,
                        "free_play_deg": None if free else 1.25,
                    }
                )
    rows[1].update(
        turns_freely=None,
        slip_torque_Nm=None,
        torque_Nm=None,
        ended_by=None,
        status="failed",
        reason="no wall left",
    )
    return rows


def drawn_points(figure: Figure, hollow: bool) -> list[tuple[float, float]]:
    """The markers of a chart, hollow or filled."""
    markers = [
        line
        for line in figure.axes[0].lines
        if line.get_linestyle() == "None" and line.get_markerfacecolor() != "none"
    ]
    chosen = [line for line in markers if (line.get_markerfacecolor() == "white") == hollow]
    return sorted((float(x), float(y)) for line in chosen for x, y in line.get_xydata() if not math.isnan(y))


def test_study_charts_show_every_case() -> None:
    charts = study_charts(study_rows())
    assert list(charts) == ["torque-open-end", "torque-ring-twelve", "comparison", "best-wrench", "relative"]
    ring = charts["torque-ring-twelve"]
    assert drawn_points(ring, hollow=True) == [(80.0, 0.0), (80.0, 0.0)]
    assert np.allclose(drawn_points(ring, hollow=False), [(0, 200), (0, 300), (40, 120), (40, 180)])
    words = [text for text, _ in shown_texts(ring)]
    assert {"grade 8.8", "grade 10.9", "hollow, at zero: turns freely"} <= set(words)
    # The lowest strength comes first, whatever the order of the rows.
    assert words.index("grade 8.8") < words.index("grade 10.9")
    open_end = charts["torque-open-end"]
    assert len(drawn_points(open_end, hollow=False)) == 5 and drawn_points(open_end, hollow=True) == []
    assert any("1 of 6 cases without an answer" in text for text, _ in shown_texts(open_end))
    for chart in charts.values():
        assert meetings(chart) == []
        assert chart.axes[0].get_xlabel() == "rounding of the corners (%)"


def test_the_comparison_refers_to_the_best_new_one_of_the_lowest_strength() -> None:
    chart = study_charts(study_rows())["comparison"]
    assert chart.axes[0].get_ylabel() == "torque (% of the best, new: 200 N·m)"
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
    chart = study_charts(rows)["torque"]
    assert chart.axes[0].get_xlabel() == "friction"
    assert [x for x, _ in drawn_points(chart, hollow=False)] == [0.1, 0.1, 0.2, 0.2, 0.3, 0.3]
    assert {"lever arm none", "lever arm 200 mm"} <= {text for text, _ in shown_texts(chart)}


def test_words_along_the_axis() -> None:
    rows = [
        {"fastener.size": size, "slip_torque_Nm": torque, "turns_freely": "false"}
        for size, torque in (("M12", "140.5"), ("M8", "60"), ("1/2 in", "170"))
    ]
    chart = study_charts(rows)["torque"]
    labels = [t.get_text() for t in chart.axes[0].get_xticklabels()]
    assert labels == ["M8", "M12", "1/2 in"]  # by diameter: 8, 12, 12.7 mm
    assert drawn_points(chart, hollow=False) == [(0.0, 60.0), (1.0, 140.5), (2.0, 170.0)]
    profiles = [{"wrench.profile": p, "slip_torque_Nm": 50.0, "turns_freely": False} for p in PROFILES]
    charts = study_charts(profiles)
    assert list(charts) == ["torque"] and meetings(charts["torque"]) == []


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
        ({"turns_freely": False, "slip_torque_Nm": 3.0}, "holds"),
        ({"turns_freely": "false", "slip_torque_Nm": "3.0"}, "holds"),
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
        "torque-open-end.png",
        "torque-ring-twelve.png",
        "comparison.png",
        "best-wrench.png",
        "relative.png",
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
        "Largest torque: 300.0 N·m (221.3 lbf·ft), where the wrench gives way twelve-point ring, grade 10.9, "
        "rounding of the corners 0 %" in words
    )
    assert "12 cases: 5 slip, 4 wrenches give way, 2 turn freely, 1 without an answer." in words
    assert "open-end 10.9 40: no wall left" in words
    for wanted in (
        "Which one holds?",
        "Coarse mesh.",
        "two cores",
        "not a rating of any tool",
        "worn <heads>",
    ):
        assert wanted in words
    assert "twelve-point ring grade 8.8 200.0* 120.0 turns freely" in words
    assert html.index('id="cautions"') < html.index("<img") and html.index("<table") < html.index("<img")
    assert len(page.sources) == 5
    # The comparison answers the question, so it stands first.
    assert "against each other" in page.alts[0]
    assert f"contactfe {VERSION}" in words and re.search(r"inputs [0-9a-f]{64}", words)


@pytest.mark.parametrize(
    ("rows", "headline"),
    [
        (
            [{"name": "one", "slip_torque_Nm": 12.0, "turns_freely": False}],
            "Largest torque: 12.0 N·m (106.2 lbf·in)",
        ),
        ([{"name": "one", "slip_torque_Nm": None, "turns_freely": True}], "No case grips"),
        ([{"name": "one", "slip_torque_Nm": None, "reason": "gone"}], "No case has an answer"),
    ],
)
def test_the_page_of_a_small_study(rows: list[dict[str, Any]], headline: str) -> None:
    assert headline in check_offline(study_page(rows, {}, VERSION)).words


def test_a_study_in_which_all_turn_freely_has_no_comparison() -> None:
    rows = [row | {"turns_freely": True, "slip_torque_Nm": None, "torque_Nm": 0.0} for row in study_rows()]
    charts = study_charts(rows)
    assert list(charts) == ["torque-open-end", "torque-ring-twelve"]
    assert as_bytes(charts["torque-open-end"], "png").startswith(b"\x89PNG")
    assert all(y == 0.0 for _, y in drawn_points(charts["torque-open-end"], hollow=True))


def test_the_finding_says_where_one_profile_passes_another() -> None:
    """Straight lines from (0, 100) to (50, 50) and from (0, 80) to (50, 60) cross at two thirds of the way: 33.3."""
    rows = [
        {"wrench.profile": p, "fastener.rounding": f"{r} %", "torque_Nm": t, "ended_by": "grip"}
        for p, line in (("ring-twelve", (100.0, 50.0)), ("ring-spline", (80.0, 60.0)))
        for r, t in zip((0, 50), line, strict=True)
    ]
    across = next(item for item in swept_inputs(rows) if item.path == "fastener.rounding")
    assert (
        finding_of(rows, across) == "The twelve-point ring falls behind the spline ring beyond 33 % rounding"
    )
    rows[3]["torque_Nm"] = 40.0
    told = finding_of(rows, across)
    assert told == "The twelve-point ring delivers most at every rounding, the spline ring comes second"
    assert finding_of(rows[:2], across) == ""


def test_the_map_names_the_best_and_its_lead() -> None:
    rows = study_rows()
    swept = {item.path: item for item in swept_inputs(rows)}
    found = best_of(rows, swept["fastener.rounding"], swept["fastener.grade"])
    assert found[(0.0, "8.8")].profile == "ring-twelve"
    assert found[(0.0, "8.8")].lead == pytest.approx(200 / 80 - 1)
    assert found[(80.0, "8.8")] == Best("open-end", pytest.approx(16.0), None, True)
    for row in rows:  # a lead of less than a twentieth is no order
        row["torque_Nm"] = 100.0 if row["wrench.profile"] == "open-end" else 103.0
        row["turns_freely"] = False
    assert not best_of(rows, swept["fastener.rounding"], swept["fastener.grade"])[(0.0, "8.8")].certain
