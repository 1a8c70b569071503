"""Readings files: what is read from them, and what each kind of bad input is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.trial import Condition, read_readings, readings_template

HEAD = "design,size,grade,rounding (%),pull,torque (N*m),happened\n"


def written(folder: Path, text: str | bytes, name: str = "readings.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def problems_of(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_readings(path)
    return str(caught.value)


def test_the_starting_file_is_read(tmp_path: Path) -> None:
    found = read_readings(written(tmp_path, readings_template()))
    assert [r.design for r in found.readings] == ["ring A", "ring A", "open end B"]
    assert found.readings[0].condition == Condition(size="M10", grade="8.8", rounding=0.2)
    assert [r.at_least for r in found.readings] == [False, False, True]
    assert [r.torque_Nm for r in found.readings] == [101.5, 99.0, 61.0]
    assert found.title == "my pulls"


def test_units_in_headings_and_cells(tmp_path: Path) -> None:
    text = "design;across flats (in);yield_strength (ksi);rounding;torque (ft-lb)\nA;5/8;92;20 %;100,5\nA;0,625;92;20 %;120 Nm\n"
    first, second = read_readings(written(tmp_path, text)).readings
    # 1 lbf ft = 1.3558179483 N m; 1 ksi = 6.894757293 MPa (NIST SP 811, appendix B.8)
    assert first.torque_Nm == pytest.approx(100.5 * 1.3558179483, rel=1e-9)
    assert second.torque_Nm == pytest.approx(120.0)
    assert first.condition == second.condition
    assert first.condition.across_flats_mm == pytest.approx(15.875)
    assert first.condition.yield_MPa == pytest.approx(92 * 6.894757293, rel=1e-9)


def test_a_yield_beside_a_grade_is_a_measurement(tmp_path: Path) -> None:
    text = "design,grade,yield_strength (MPa),torque (N*m)\nA,8.8,655,60\nA,8.8,701,63\n"
    found = read_readings(written(tmp_path, text))
    assert len(found.conditions()) == 1
    assert [r.measured_yield_MPa for r in found.readings] == [655.0, 701.0]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    path = written(tmp_path, (HEAD + "Schlüssel A,M10,8.8,20,1,60,\n").encode(encoding))
    assert read_readings(path).designs() == ("Schlüssel A",)


def test_rows_that_are_not_filled_in_are_counted(tmp_path: Path) -> None:
    found = read_readings(written(tmp_path, HEAD + "A,M10,8.8,20,1,60,\nA,M10,8.8,20,2,,\n"))
    assert len(found.readings) == 1 and found.pending == (3,)


BAD = {
    "empty": ("", "is empty"),
    "blank": ("\n\n  \n", "is empty"),
    "comments only": ("# nothing\n", "holds no table"),
    "headings only": (HEAD, "holds no rows"),
    "nothing filled in": (HEAD + "A,M10,8.8,20,1,,\n", "no reading is filled in yet"),
    "text in numbers": (HEAD + "A,M10,8.8,20,1,sixty,\n", '"sixty" is not a torque'),
    "unknown unit": (HEAD.replace("N*m", "Nx") + "A,M10,8.8,20,1,60,\n", 'unknown unit "Nx"'),
    "another kind of unit": (HEAD.replace("N*m", "mm") + "A,M10,8.8,20,1,60,\n", "a torque is expected"),
    "no unit": (HEAD.replace(" (N*m)", "") + "A,M10,8.8,20,1,60,\n", "60 has no unit"),
    "duplicate pulls": (HEAD + "A,M10,8.8,20,1,60,\nA,M10,8.8,20,1,61,\n", "pull 1 of A on M10, 8.8, 20 % rounded"),
    "negative torque": (HEAD + "A,M10,8.8,20,1,-60,\n", "is negative"),
    "zero torque": (HEAD + "A,M10,8.8,20,1,0,\n", "is 0"),
    "infinite torque": (HEAD + "A,M10,8.8,20,1,1e999,\n", "too large"),
    "not a number": (HEAD + "A,M10,8.8,20,1,nan,\n", "is not a torque"),
    "unknown size": (HEAD + "A,M1000,8.8,20,1,60,\n", "M1000"),
    "unknown grade": (HEAD + "A,M10,88,20,1,60,\n", "grade"),
    "rounding out of range": (HEAD + "A,M10,8.8,120,1,60,\n", "out of range"),
    "unknown ending": (HEAD + "A,M10,8.8,20,1,60,sliped\n", "did you mean slipped?"),
    "ending without torque": (HEAD + "A,M10,8.8,20,1,,slipped\n", "torque: is missing"),
    "unknown column": (HEAD.replace("pull", "pul") + "A,M10,8.8,20,1,60,\n", "did you mean pull?"),
    "column twice": (HEAD.replace("pull", "size") + "A,M10,8.8,20,M10,60,\n", "stands more than once"),
    "no design column": ("size,torque (N*m)\nM10,60\n", "there is no column design"),
    "no condition column": ("design,torque (N*m)\nA,60\n", "nothing tells the condition"),
    "a cell too many": (HEAD + "A,M10,8.8,20,1,60,5,slipped\n", "has 8 cells, not 7"),
    "bad head": ("title = \n---\n" + HEAD + "A,M10,8.8,20,1,60,\n", "head: is not TOML"),
    "unknown key in the head": ('titel = "x"\n---\n' + HEAD + "A,M10,8.8,20,1,60,\n", "did you mean title?"),
    "open quotation": (HEAD + '"A,M10,8.8,20,1,60,\n', "is not CSV"),
    "a 10 MB line": (HEAD + "A" * 10_000_000 + ",M10\n", "line 2: is longer than 100000 characters"),
    "binary": (b"\x00\x01\x02\x03" * 50, "is not a text file"),
}  # fmt: skip


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_is_told(tmp_path: Path, kind: str) -> None:
    text, told = BAD[kind]
    assert told in problems_of(written(tmp_path, text))


def test_all_problems_at_once(tmp_path: Path) -> None:
    told = problems_of(
        written(tmp_path, HEAD + "A,M10,8.8,20,1,x,\n,M10,8.8,20,1,60,\nA,M10,8.8,200,-1,60,\n")
    )
    assert told.count("\n") == 4
    for line in ("line 2, torque", "line 3, design", "line 4, rounding", "line 4, pull"):
        assert line in told


def test_init_writes_a_readings_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "mine.csv"
    assert main(["init", "readings", str(path)]) == 0
    assert len(read_readings(path).readings) == 3
    assert "contactfe score" in capsys.readouterr().out
    assert main(["init", "readings", str(path)]) == 1
    assert "is there already" in capsys.readouterr().err
