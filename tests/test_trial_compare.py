"""Comparison with readings: figures by hand on made-up bands, what is refused, and the command on one small case."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.inputs import read_calibration
from contactfe.report import parity_figure, readings_page
from contactfe.trial import Condition, Reading, Readings, TrialStudy, load_study, read_readings
from contactfe.trial.compare import U_NUM, ComparedStudy, matched, put_together
from contactfe.uncertainty import Distribution

STUDY = """\
format = 1
name = "small"
[base.fastener]
size = "M10"
grade = "8.8"
[base.mesh]
edge_at_contact = "0.8 mm"
[designs."ring A"]
profile = "ring-six"
[designs."open B"]
profile = "open-end"
[sweep]
"fastener.rounding" = ["0 %", "20 %"]
"""


def study_of(folder: Path, text: str = STUDY) -> TrialStudy:
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return load_study(path)


def made_band(nominal: float, ended: str = "grip") -> Any:
    """A band of 16 torques spread by 10 % about a value; a yield of 640 to 760 MPa moves it by 15 %, friction by 5 %."""
    shares = (np.arange(16) + 0.5) / 16
    torque = nominal * np.exp(0.1 * (2 * shares - 1))
    inputs = (
        Distribution("fastener.yield_strength", 640.0, 640.0, 760.0),
        Distribution("contact.friction", 0.15, 0.08, 0.24),
    )
    moves = (
        SimpleNamespace(
            path="fastener.yield_strength",
            low_Nm=nominal,
            high_Nm=1.15 * nominal,
            value_low=652.0,
            value_high=748.0,
        ),
        SimpleNamespace(
            path="contact.friction", low_Nm=nominal, high_Nm=1.05 * nominal, value_low=0.096, value_high=0.224
        ),
    )
    return SimpleNamespace(
        nominal_Nm=nominal, nominal_ended_by=ended, torque_Nm=torque, known=np.ones(16, bool),
        low_Nm=float(np.quantile(torque, 0.1)),
        high_Nm=float(np.quantile(torque, 0.9)), inputs=inputs, one_at_a_time=moves,
    )  # fmt: skip


def compared(
    folder: Path, rows: dict[tuple[str, float], list[float]], estimates: dict[tuple[str, float], float]
) -> ComparedStudy:
    study = study_of(folder)
    readings = tuple(
        Reading(design, Condition(size="M10", grade="8.8", rounding=rounding), torque, line=10 + i)
        for (design, rounding), torques in rows.items()
        for i, torque in enumerate(torques)
    )
    groups = matched(study, Readings("x", readings))
    bands = {
        k: made_band(estimates[study.cases[k].design, study.cases[k].condition.rounding or 0.0])
        for k in groups
    }
    return put_together(study, groups, bands)


def test_errors_and_uncertainties_by_hand(tmp_path: Path) -> None:
    """Readings 100 and 121 (geometric mean 110) against an estimate of 99; 50 and 50 x 1.21 (55) against 55."""
    found = compared(
        tmp_path,
        {("ring A", 0.0): [100.0, 121.0], ("open B", 0.0): [50.0, 60.5]},
        {("ring A", 0.0): 99.0, ("open B", 0.0): 55.0},
    )
    ring, other = found.cases
    assert ring.measured_Nm == pytest.approx(110.0) and other.measured_Nm == pytest.approx(55.0)
    assert ring.error == pytest.approx(math.log(0.9)) and other.error == pytest.approx(0.0, abs=1e-9)
    assert found.bias == pytest.approx(math.log(0.9) / 2)
    # Each pair lies ln 1.1 about its mean: s^2 = 4 (ln 1.1)^2 / 2 on two degrees of freedom; u_D = s / sqrt 2
    u_data = math.log(1.1) * math.sqrt(2.0) / math.sqrt(2.0)
    u_input = 0.1 * np.std(2 * (np.arange(16) + 0.5) / 16 - 1, ddof=1)
    assert ring.u_data == pytest.approx(u_data, rel=0.02)
    assert ring.u_val == pytest.approx(math.sqrt(U_NUM**2 + u_input**2 + ring.u_data**2), rel=1e-9)
    assert ring.explained and other.explained
    assert len(ring.outside) == 1  # 121 lies above 99 exp(0.08...), 100 inside
    assert dict(found.ranks) == {ring.condition: pytest.approx(1.0)}


def test_chi_square_knows_what_moves_all_cases_together(tmp_path: Path) -> None:
    """Friction is the same in both cases: two errors of one sign are likelier than two of opposite signs."""
    rows = {("ring A", 0.0): [100.0, 102.0], ("open B", 0.0): [50.0, 51.0]}
    same = compared(tmp_path, rows, {("ring A", 0.0): 90.0, ("open B", 0.0): 45.0})
    apart = compared(tmp_path, rows, {("ring A", 0.0): 90.0, ("open B", 0.0): 56.5})
    assert same.chi_square < apart.chi_square and same.probability > apart.probability


def test_the_area_metric_of_readings_that_match_is_small(tmp_path: Path) -> None:
    shares = (np.arange(40) + 0.5) / 40
    right = (100.0 * np.exp(0.1 * (2 * shares - 1))).tolist()
    good = compared(tmp_path, {("ring A", 0.0): right}, {("ring A", 0.0): 100.0})
    bad = compared(tmp_path, {("ring A", 0.0): [1.3 * t for t in right]}, {("ring A", 0.0): 100.0})
    assert good.pooled_area < 0.05 < 0.45 < bad.pooled_area <= 0.51  # all above: |u - 1| averages to 1/2
    # 16 samples against 40 evenly spread readings of the same range; ln 1.3 = 0.262 farther off
    assert good.cases[0].area < 0.02 and bad.cases[0].area == pytest.approx(math.log(1.3), abs=0.02)


def test_what_would_explain_a_miss(tmp_path: Path) -> None:
    """Estimate 10 % low: the yield moves ln T by ln 1.15 per 96 MPa, so 640 + 96 ln(1/0.9)/ln 1.15 = 712 MPa would do."""
    found = compared(tmp_path, {("ring A", 0.0): [99.0, 101.0]}, {("ring A", 0.0): 0.9 * math.sqrt(99 * 101)})
    first = found.cases[0].explanations[0]
    needed = 640 + 96 * math.log(1 / 0.9) / math.log(1.15)
    assert first.path == "fastener.yield_strength" and first.usual
    assert first.words == f"yield strength of {needed:.0f} MPa instead of 640 MPa"
    friction = found.cases[0].explanations[1]
    assert friction.path == "contact.friction" and not friction.usual  # it would have to be far above 0.24


def test_only_at_least_in_a_case_is_told_and_not_compared(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    slip = Condition(size="M10", grade="8.8", rounding=0.0)
    readings = (
        Reading("ring A", slip, 100.0), Reading("ring A", slip, 102.0), Reading("open B", slip, 60.0, "wrench broke"),
    )  # fmt: skip
    groups = matched(study, Readings("x", readings))
    found = put_together(study, groups, {k: made_band(100.0, "wrench") for k in groups})
    assert any("by estimate it ends by the wrench at 100 N m, but it slipped" in note for note in found.notes)
    assert [c.design for c in found.cases] == ["ring A"]
    assert any("held at least 60 N m" in note for note in found.notes)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("ring A,M10,8.8,30,60,", "the study does not know the condition M10, 8.8, 30 % rounded"),
        ("ring C,M10,8.8,20,60,", "did you mean ring A?"),
        ("ring A,M10,8.8,20,60,wrench broke", "all 1 readings are at least"),
        ("ring A,M10,8.8,,60,", "fits 2 cases"),
    ],
)
def test_what_does_not_fit_is_told(tmp_path: Path, row: str, told: str) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(f"design,size,grade,rounding (%),torque (N*m),happened\n{row}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        matched(study_of(tmp_path), read_readings(path))
    assert told in str(caught.value)


def test_page_and_figure_name_every_case(tmp_path: Path) -> None:
    found = compared(
        tmp_path,
        {("ring A", 0.0): [100.0, 121.0], ("open B", 0.0): [50.0, 60.5]},
        {("ring A", 0.0): 99.0, ("open B", 0.0): 55.0},
    )
    figure = parity_figure(found)
    labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert {"ring A", "open B"} < set(labels)
    page = readings_page(found, "1.2.3", [("parity", figure)]).html()
    assert "The estimate lies 5.3 % below the readings on average" in page
    assert "What would bring the estimate to the readings" in page


def test_the_command_calibrates_on_one_small_case(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings made by the model with a factor of 1.3 give 1.3 back; the file is what a case takes."""
    from dataclasses import replace

    from contactfe.case import solve_case

    text = STUDY.replace('[designs."ring A"]\nprofile = "ring-six"\n', "").replace(
        '["0 %", "20 %"]', '["20 %"]'
    )
    study = study_of(tmp_path, text)
    case = study.cases[0].case
    slip = solve_case(
        replace(case, contact=replace(case.contact, constraint_factor=1.3))
    ).estimate.slip_torque_Nm
    assert slip is not None
    rows = [f"open B,M10,20,{slip * f:.4f}," for f in (0.97, 0.99, 1.01, 1.03)]
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "design,size,rounding (%),torque (N*m),happened\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )
    out, fit = tmp_path / "out", tmp_path / "fit.toml"
    command = [
        "compare",
        str(tmp_path / "study.toml"),
        str(readings),
        "--calibrate",
        str(fit),
        "--out",
        str(out),
    ]
    assert main([*command, "-n", "4", "--workers", "1", "--quiet"]) == 0
    printed = capsys.readouterr().out
    assert (
        "fitted contact.constraint_factor = 1.3" in printed
        or "fitted contact.constraint_factor = 1.29" in printed
    )
    constant = read_calibration(fit)[0]
    assert constant.low < 1.3 < constant.high and constant.value == pytest.approx(1.3, rel=0.01)
    names = sorted(p.name for p in out.iterdir())
    assert names == ["comparison.html", "comparison.json", "page.json", "parity.png", "profile.png"]
    assert json.loads((out / "comparison.json").read_text(encoding="utf-8"))["calibration"]["readings"] == 4
