"""The demo of the bench loop: invented and labelled so, and it holds what its finding rests on."""

from __future__ import annotations

from pathlib import Path

import pytest

from contactfe import load_study, read_log, read_readings, score
from contactfe.inputs import read_calibration

FOLDER = Path(__file__).resolve().parent.parent / "studies" / "bench-loop"
DATA = [FOLDER / "readings.csv", *sorted((FOLDER / "logs").glob("*.csv"))]


@pytest.mark.parametrize("path", DATA, ids=lambda p: p.name)
def test_the_first_line_says_that_it_is_invented(path: Path) -> None:
    assert path.read_text(encoding="utf-8").splitlines()[0].startswith("# invented")


def test_one_broken_tool_and_one_clipped_sensor() -> None:
    found = read_readings(FOLDER / "readings.csv")
    assert len(found.readings) == 27
    assert sorted(r.ending for r in found.readings if r.at_least) == ["sensor out of range", "wrench broke"]
    assert [read_log(path).ending for path in DATA[1:]] == ["slipped", "slipped", "sensor out of range"]


def test_every_reading_has_a_case_and_the_score_is_complete() -> None:
    study, found = load_study(FOLDER / "programme.toml"), read_readings(FOLDER / "readings.csv")
    assert {study.case_of(r).design for r in found.readings} == {"ring six", "ring twelve", "open end"}
    board = score(found)
    assert [s.design for s in board.standings] == ["ring six", "ring twelve", "open end"]
    assert len(board.common) == 3 and all(s.missing == () for s in board.standings)
    # the scatter that the readings were made with is 4 %, known from 16 degrees of freedom to about 18 %
    assert board.scatter == pytest.approx(0.04, rel=0.4)


def test_the_calibration_is_one_that_a_case_takes() -> None:
    constant = read_calibration(FOLDER / "calibration.toml")[0]
    assert constant.path == "contact.constraint_factor"
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert f"{constant.value:.3f} (95 %: {constant.low:.3f} to {constant.high:.3f})" in text
