"""Further pulls in a study and in `why`: the columns are those of the series of the case, and the gentlest wrench is told."""

from __future__ import annotations

import csv
import itertools
import json
from pathlib import Path
from typing import Any

import pytest

from contactfe import load_case, parse_case, solve_case
from contactfe.case import least_worn, read_wear, solve_pulls, wear_at, wear_curve
from contactfe.cli import main
from contactfe.study import headline, parse_plan, wear_words
from contactfe.study.tables import columns_of
from contactfe.study.wear import PULLS, SERIES

BASE: dict[str, Any] = {
    "fastener": {"size": "M10", "grade": "8.8", "stock": "bar"},
    "load": {"pulls": 2},
    "mesh": {"edge_at_contact": "0.5 mm", "edge_max": "4 mm"},
}
PROFILES = ("ring-twelve", "open-end")
TEXT = """
format = 1
name = "worn"
[base.fastener]
size = "M10"
grade = "8.8"
stock = "bar"
[base.load]
pulls = 2
[base.mesh]
edge_at_contact = "0.5 mm"
edge_max = "4 mm"
[sweep]
"wrench.profile" = ["ring-twelve", "open-end"]
"fastener.rounding" = ["0 %"]
"""


def raw(profile: str) -> dict[str, Any]:
    return {"format": 1, "name": profile, "wrench": {"profile": profile}, **BASE}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of two wrenches that ran."""
    path = tmp_path_factory.mktemp("worn")
    (path / "worn.toml").write_text(TEXT, encoding="utf-8")
    assert (
        main(["sweep", str(path / "worn.toml"), "--out", str(path / "out"), "--workers", "1", "--quiet"]) == 0
    )
    return path / "out"


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "results.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_the_columns_are_those_of_the_series(folder: Path) -> None:
    rows = rows_of(folder)
    records = [solve_case(parse_case(raw(profile))) for profile in PROFILES]
    for row, record in zip(rows, records, strict=True):
        series = solve_pulls(record.built.case, 2, record)
        assert {key: float(row[key]) for key in SERIES} == pytest.approx(series.answers(), rel=1e-9)
        file = folder / "cases" / row["case_id"][:2] / f"{row['case_id']}.json"
        told = json.loads(file.read_text(encoding="utf-8"))["record"]["pulls"]
        assert {key: told[key] for key in series.to_dict()} == series.to_dict()
        assert [tuple(point) for point in told["wear"]] == list(wear_curve(record))
    # At one torque, as `least_worn` has it
    order = least_worn(records)
    torque = min(record.torque_Nm for record in records)
    assert {float(row["same_torque_Nm"]) for row in rows} == {torque}
    by_name = {row["wrench.profile"]: float(row["rounding_at_same_torque"]) for row in rows}
    assert by_name == {r.built.case.wrench.profile: pytest.approx(left, rel=1e-12) for r, left in order}
    best = order[0][0].built.case.wrench.family.words
    words = headline(rows)
    assert f"at the same torque, {torque:.3g} N m, the {best} wears the fastener least" in words
    page = (folder / "study.html").read_text(encoding="utf-8")
    assert f"the {best} wears the fastener least" in page and "left after one slip" in page


def test_a_second_run_says_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (folder / "results.csv").read_bytes()
    assert main(["sweep", str(folder.parent / "worn.toml"), "--out", str(folder), "--quiet", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["reused"] == 2 and (folder / "results.csv").read_bytes() == before
    assert "wears the fastener least" in told["headline"]


def test_without_further_pulls_there_are_no_columns_and_no_words() -> None:
    one = {key: part for key, part in BASE.items() if key != "load"}
    plan = parse_plan({"format": 1, "base": one, "sweep": {"wrench.profile": list(PROFILES)}})
    assert not set(PULLS) & set(columns_of(plan)) and plan.cases[0].curves == 1
    more = parse_plan({"format": 1, "base": BASE, "sweep": {"wrench.profile": list(PROFILES)}})
    assert set(PULLS) < set(columns_of(more)) and more.cases[0].curves == 2
    assert wear_words([{"wrench.profile": "open-end", "torque_Nm": 50.0}]) == ""


def test_several_conditions_are_counted() -> None:
    rows = [
        {
            "wrench.profile": name,
            "same_torque_Nm": torque,
            "rounding_at_same_torque": left,
            "ended_by": "grip",
        }
        for torque, pair in ((60.0, (0.02, 0.05)), (40.0, (0.03, 0.06)), (20.0, (0.04, 0.03)))
        for name, left in zip(("ring-six", "open-end"), pair, strict=True)
    ]
    words = wear_words(rows)
    assert words.startswith(
        "at the same torque, 60 N m, the six-point ring wears the fastener least, as a rounding of 2.0 %"
    )
    assert words.endswith("least of 3 conditions: six-point ring in 2, open-end wrench in 1")


def test_wear_is_read_at_the_first_solved_point_that_reaches_the_torque() -> None:
    record = solve_case(parse_case(raw("open-end")))
    curve = wear_curve(record)
    assert all(a[1] <= b[1] for a, b in itertools.pairwise(curve))
    assert read_wear(curve, 1e9) == curve[-1][1] == wear_at(record, record.torque_Nm)
    assert read_wear(((10.0, 0.1), (20.0, 0.3)), 10.5) == 0.3


def test_a_pull_whose_wear_cannot_be_followed_keeps_its_answer(tmp_path: Path) -> None:
    """A worn side is not alike on all corners: refused by turn, a caution in a study."""
    text = TEXT.replace('stock = "bar"', 'stock = "bar"\nworn_side = "driven"').replace('["0 %"]', '["10 %"]')
    (tmp_path / "side.toml").write_text(text.replace('"ring-twelve", ', ""), encoding="utf-8")
    assert main(["sweep", str(tmp_path / "side.toml"), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    (row,) = rows_of(tmp_path / "out")
    assert row["status"] == "ok" and float(row["torque_Nm"]) > 0
    assert row["second_pull_torque_Nm"] or "further pulls: " in row["cautions"]


def test_why_says_what_one_slip_leaves(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "case.toml"
    text = TEXT.replace("base.", "").partition("[sweep]")[0].replace("[load]\npulls = 2\n", "")
    file.write_text(f'{text}[wrench]\nprofile = "open-end"\n', encoding="utf-8")
    series = solve_pulls(load_case(file), 2)
    sentence = series.sentence()
    assert "% of its first torque" in sentence
    assert main(["why", str(file), "--pulls", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["pulls"] == series.to_dict()
    assert main(["why", str(file), "--pulls", "2"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert sentence[1:] in told and "the next pull on the same corners" in told
    assert main(["why", str(file)]) == 0
    assert "after one slip" not in capsys.readouterr().out.lower()
