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
