"""Tables, sentences, pages and figures for a reader in inches: 1 in = 25.4 mm, 1 lbf = 0.45359237 kg times 9.80665 m/s2
(NIST SP 811)."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from report_cases import VERSION, check_offline, meetings, shown_texts, solved
from test_report_study_browser import table_of

from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.files import csv_text
from contactfe.inputs import load_case
from contactfe.profile import profile_pair
from contactfe.report import (
    curve_figure,
    draw_flanks,
    draw_relative,
    drawing_figure,
    flanks_figure,
    pair_figure,
    reading,
    rebuilt,
    study_charts,
    study_page,
    table_rows,
)
from contactfe.report.inch_table import inch_table
from contactfe.report.reader_units import in_words
from contactfe.report.rows import swept_inputs, torque_of
from contactfe.report.study_finding import weakest_rows
from contactfe.report.style import as_bytes
from contactfe.study.plan import parse_plan
from contactfe.turn import load_share

POUND = 0.45359237 * 9.80665  # N
FOOT = 12 * 0.0254  # m
KSI = 1e3 * POUND / 0.0254**2 / 1e6  # MPa


def text_of_table() -> str:
    rows = table_of()
    return csv_text(list(rows[0]), [list(row.values()) for row in rows])


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("gives way at 135.6 N m, before", "gives way at 100.0 lbf ft, before"),
        ("from 135.6 to about 271.2 N m", "from 100.0 to about 200.0 lbf ft"),
        ("up to 254 um deep", "up to 10.0 mil deep"),
        ("opening 16 to 16.3 mm", "opening 0.630 to 0.642 in"),
        ("+13.56 N m (+5 %)", "+10.00 lbf ft (+5 %)"),
        ("k = 9716 N m per rad", "k = 9716 N m per rad"),
        ("corner at (-25.4, 2.54) mm", "corner at (-1.000, 0.100) in"),
        ("membrane 69, bending 689.5 MPa", "membrane 10.0, bending 100.0 ksi"),
        ("M10, 8 mm, 12 cases", "M10, 0.315 in, 12 cases"),
    ],
)
def test_sentences_are_reworded(told: str, expected: str) -> None:
    with reading("inch", [100.0]):
        assert in_words(told) == expected
    assert in_words(told) == told


def test_small_torques_stand_in_pound_inches() -> None:
    """11.3 N m are 100 lbf in."""
    assert in_words("slips at 11.30 N m", "inch") == "slips at 100.0 lbf in"


def test_the_second_table_carries_its_units() -> None:
    text = text_of_table()
    first, second = (list(csv.DictReader(io.StringIO(one))) for one in (text, inch_table(text)))
    assert len(first) == len(second)
    for si, inch in zip(first, second, strict=True):
        assert not [name for name in inch if name.endswith(("_Nm", "_mm", "_um"))]
        assert inch["case_id"] == si["case_id"]
        if si["torque_Nm"]:
            assert float(inch["torque_lbf_ft"]) == pytest.approx(
                float(si["torque_Nm"]) / (POUND * FOOT), rel=1e-8
            )


def test_a_study_for_a_reader_in_inches() -> None:
    rows, text = table_of(), text_of_table()
    found = check_offline(study_page(rows, {"name": "study", "units": "inch"}, VERSION, csv=text))
    best = max(torque_of(row) or 0.0 for row in rows) / (POUND * FOOT)
    assert f"Largest torque: {best:.1f} lbf·ft" in found.words
    assert "Torque delivered (lbf·ft)" in found.words and "results-inch.csv" in found.words
    for name, figure in study_charts(rows, "inch").items():
        assert meetings(figure) == [], name
        assert not any(one.endswith("(N·m)") for one, _ in shown_texts(figure))


def test_units_stand_in_the_study() -> None:
    raw = {
        "format": 1,
        "units": "inch",
        "base": {"fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "ring-six"}},
        "sweep": {"fastener.rounding": ["0 %", "20 %"]},
    }
    assert parse_plan(raw).units == "inch"
    with pytest.raises(InputError) as caught:
        parse_plan({**raw, "units": "furlong"})
    assert [problem.where for problem in caught.value.problems] == ["units"]


def test_a_page_built_again_keeps_units_and_says_its_band(tmp_path: Path) -> None:
    (tmp_path / "results.csv").write_text(text_of_table(), encoding="utf-8")
    band = {"samples": 64, "seed": 1, "by_rule": False, "target_torque_Nm": 135.58}
    plan = {"name": "worn", "units": "inch", "band": band}
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    words = check_offline(rebuilt([tmp_path], VERSION).read_text("utf-8")).words
    assert "64 samples of every case, seed 1; odds of ending below 100.0 lbf ft" in words
    assert "{" not in words.split("About the study")[-1]
    assert "(lbf·ft)" in words


def test_axes_are_those_of_the_reader() -> None:
    """Ticks at round values of the reader's unit; what is drawn stays where it was."""
    record = solved("soft-wrench")
    with reading("inch", [record.torque_Nm]):
        curve, pair = curve_figure(record), pair_figure(record)
        assert meetings(curve) == [] and meetings(pair) == []
    axes = curve.axes[0]
    assert axes.get_ylabel().endswith("(lbf·ft)") and pair.axes[0].get_xlabel() == "x (in)"
    ticks = [tick.label1.get_text() for tick in axes.yaxis.get_major_ticks() if tick.label1.get_text()]
    places = [tick.get_loc() for tick in axes.yaxis.get_major_ticks() if tick.label1.get_text()]
    for text, place in zip(ticks, places, strict=True):
        assert float(text) == pytest.approx(place / (POUND * FOOT), abs=1e-6)


@pytest.mark.parametrize("kind", ["ring-six", "open-end", "soft-wrench", "points-12"])
def test_pressure_along_the_flats_carries_the_shares(kind: str) -> None:
    """The area of each row over that of all is the share of the flat in the normal force."""
    record = solved(kind)
    figure = flanks_figure(record)
    assert figure is not None and meetings(figure) == []
    axes = draw_flanks(record, Figure().add_subplot())
    area: dict[int, float] = {}
    for bar in axes.patches:
        row = record.built.pair.flats - 1 - round(bar.get_y())
        area[row] = area.get(row, 0.0) + bar.get_width() * bar.get_height()
    total = sum(area.values())
    from contactfe.report.state import end_solution

    shares = load_share(record.built, end_solution(record))
    assert [area.get(k, 0.0) / total for k in range(len(shares))] == pytest.approx(shares, abs=0.01)


def test_a_wrench_that_turns_freely_presses_no_flat() -> None:
    assert flanks_figure(solved("free")) is None
    with pytest.raises(ValueError, match="turns freely"):
        draw_flanks(solved("free"), Figure().add_subplot())


def test_the_best_of_each_condition_is_a_hundred() -> None:
    rows = table_of()
    swept = swept_inputs(rows)
    across = next(item for item in swept if item.path == "fastener.rounding")
    axes = draw_relative(Figure().add_subplot(), weakest_rows(rows, swept, across), across)
    for group in range(len(across.values)):
        tall = [
            bar.get_height() for bar in axes.patches if abs(bar.get_x() + bar.get_width() / 2 - group) < 0.5
        ]
        assert max(tall) == pytest.approx(100.0)


def test_draw_and_mesh_in_inches(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """16 mm are 0.630 in; edges of the mesh divided by 25.4; files and JSON stay SI."""
    path = tmp_path / "case.toml"
    path.write_text(
        'format = 1\nname = "one"\n[fastener]\nsize = "M10"\ngrade = "8.8"\n[wrench]\nprofile = "ring-six"\n'
        '[mesh]\nedge_at_contact = "0.48 mm"\n',
        encoding="utf-8",
    )
    assert main(["draw", str(path), "--units", "inch", "--out", str(tmp_path / "one.png")]) == 0
    case = load_case(path)
    with reading("inch"):
        figure = drawing_figure(case)
        assert dict(table_rows(case, profile_pair(case)))["across flats, s"] == "0.630 in"
    assert meetings(figure) == []
    texts = [text for text, _ in shown_texts(figure)]
    assert any("s 0.630" in text for text in texts) and not any(text.endswith(" mm") for text in texts)
    assert (tmp_path / "one.png").read_bytes() == as_bytes(figure, "png")

    capsys.readouterr()
    where = str(tmp_path / "mesh")
    assert main(["mesh", str(path), "--out", where, "--json", "--units", "inch"]) == 0
    shortest = json.loads(capsys.readouterr().out)["wrench"]["shortest_edge_mm"]
    assert main(["mesh", str(path), "--out", where, "--units", "inch"]) == 0
    line = next(one for one in capsys.readouterr().out.splitlines() if "shortest edge (in)" in one)
    assert float(line.split()[-1]) == pytest.approx(shortest / 25.4, rel=5e-3)


def test_scoreboard_and_logs_in_pound_feet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1 lbf ft is 1.3558179483 N m (exact factors: NIST SP 811, appendix B.8); JSON and tables in files stay SI."""
    bench = Path(__file__).parent.parent / "studies" / "bench-loop"
    for words in (["score", str(bench / "readings.csv")], ["log", str(bench / "logs" / "pull-1.csv")]):
        said = {}
        for units in ("si", "inch"):
            out = ["--units", units, "--out", str(tmp_path / f"{words[0]}-{units}")]
            assert main([*words, *out, "--json"]) == 0
            said[units, "json"] = capsys.readouterr().out
            assert main([*words, "--units", units]) == 0
            said[units, "text"] = capsys.readouterr().out
        assert said["si", "json"] == said["inch", "json"]
        answers = json.loads(said["si", "json"])
        torque = answers["entries"][0]["mean_Nm"] if words[0] == "score" else answers[0]["peak"]["torque_Nm"]
        assert f"{torque:.4g}" in said["si", "text"] and " N m" in said["si", "text"]
        assert f"{torque / 1.3558179483:.4g}" in said["inch", "text"] and "lbf ft" in said["inch", "text"]
        assert " N m" not in said["inch", "text"]
    csv = [(tmp_path / f"score-{units}" / "score.csv").read_bytes() for units in ("si", "inch")]
    assert csv[0] == csv[1]
    page = (tmp_path / "score-inch" / "score.html").read_text(encoding="utf-8")
    assert "mean (lbf·ft)" in page and "N·m" not in check_offline(page).words


def test_numbers_on_narrow_bars_do_not_meet() -> None:
    """Eight conditions, five profiles, two of which turn freely at the last one, and a star on a full bar."""
    profiles = ("open-end", "ring-six", "ring-twelve", "ring-spline", "flare-nut")
    rows = [
        {
            "name": f"{profile} {rounding}",
            "wrench.profile": profile,
            "fastener.rounding": f"{rounding} %",
            "torque_Nm": 100.0 - place,
            "ended_by": "wrench",
        }
        for place, profile in enumerate(profiles)
        for rounding in range(0, 80, 10)
    ]
    for row in rows:
        if row["fastener.rounding"] == "70 %" and row["wrench.profile"] in ("ring-twelve", "ring-spline"):
            row |= {"torque_Nm": 0.0, "ended_by": "turns-freely", "turns_freely": True}
    figure = study_charts(rows)["relative"]
    texts = [text for text, _ in shown_texts(figure)]
    assert texts.count("free") == 2 and "100*" in texts
    assert meetings(figure) == []


def test_a_profile_has_one_colour_in_a_study() -> None:
    """The lines of the comparison and the bars beside it: the same wrench, the same colour."""
    charts = study_charts(table_of())
    lines = {text.get_text(): line.get_color() for text, line in _legend_of(charts["comparison"])}
    bars = {text.get_text(): to_hex(bar.get_facecolor()) for text, bar in _legend_of(charts["relative"])}
    known = [name for name in bars if name in lines]
    assert len(known) > 1
    assert all(to_hex(lines[name]) == bars[name] for name in known)


def _legend_of(figure: Figure) -> list[tuple[Any, Any]]:
    legend = figure.axes[0].get_legend()
    assert legend is not None
    return list(zip(legend.get_texts(), legend.legend_handles, strict=True))
