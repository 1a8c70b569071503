"""One question, one answer: every command, table, page and the Python call say the same torque and the same end."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from contactfe import load_case, solve_case
from contactfe.cli import main
from contactfe.report.words import number

MESH = '[mesh]\nedge_at_contact = "0.4 mm"\nedge_max = "3 mm"\n'
CASES = {
    # A small bar whose head is gripped well: the bar yields before the ring does.
    "bar": '[fastener]\nacross_flats = "7/16 in"\nengaged_depth = "8 mm"\ngrade = "grade 5"\n'
    '[wrench]\nprofile = "ring-six"\noutside_diameter = "22 mm"\n',
    "wrench": '[fastener]\nacross_flats = "7/16 in"\nengaged_depth = "8 mm"\ngrade = "grade 5"\n'
    '[wrench]\nprofile = "ring-six"\n',
    "bolt": '[fastener]\nsize = "M10"\ngrade = "8.8"\nstock = "bolt"\n[wrench]\nprofile = "ring-six"\n',
    "grip": '[fastener]\nsize = "M10"\ngrade = "8.8"\n[wrench]\nprofile = "open-end"\n',
    "turns-freely": '[fastener]\nsize = "M10"\ngrade = "8.8"\nrounding = "98 %"\n[wrench]\nprofile = "ring-six"\n',
}
HELD = {
    "bar": "solid bar",
    "wrench": "solid bar",
    "bolt": "bolt",
    "grip": "solid bar",
    "turns-freely": "solid bar",
}
Say = Callable[..., str]


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Say:
    def run(*words: object) -> str:
        assert main([str(word) for word in words]) == 0, capsys.readouterr().err
        return capsys.readouterr().out

    return run


def study(text: str) -> str:
    """The case as a study of one: its tables below [base], one value swept."""
    return (
        "format = 1\nname = 'one'\n"
        + text.replace("[", "[base.", 1).replace("\n[", "\n[base.")
        + ('[sweep]\n"contact.friction" = [0.15]\n')
    )


@pytest.mark.parametrize("end", CASES)
def test_everything_says_the_same_torque_and_end(end: str, say: Say, tmp_path: Path) -> None:
    file, folder = tmp_path / "one.toml", tmp_path / "out"
    file.write_text(f"format = 1\nname = 'one'\n{CASES[end]}{MESH}", encoding="utf-8")
    record = solve_case(load_case(file))
    assert record.ended_by == end and record.held == HELD[end]

    turned = json.loads(say("turn", file, "--json", "--out", folder))
    stored = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    why = json.loads(say("why", file, "--json"))
    against = json.loads(say("why", file, "--against", file, "--json"))["against"]
    (tmp_path / "study.toml").write_text(study(CASES[end] + MESH), encoding="utf-8")
    say("sweep", tmp_path / "study.toml", "--out", tmp_path / "study")
    with (tmp_path / "study" / "results.csv").open(encoding="utf-8", newline="") as lines:
        (row,) = csv.DictReader(lines)
    band = json.loads(say("band", file, "--samples", 2, "--json"))

    expected = pytest.approx(record.torque_Nm, rel=1e-9)
    answers: dict[str, Any] = {
        "turn --json": turned["torque_Nm"],
        "case.json": stored["torque_Nm"],
        "why --json": why["torque_Nm"],
        "why --against": against["torques_Nm"][0],
        "results.csv": float(row["torque_Nm"]),
        "band, plain case": band["torque_plain_case_Nm"],
    }
    assert {place: torque for place, torque in answers.items() if torque != expected} == {}
    ends = (
        turned["ended_by"],
        stored["ended_by"],
        why["ended_by"],
        row["ended_by"],
        band["plain_case_ended_by"],
    )
    assert set(ends) == {end}
    assert turned["held"] == why["held"] == HELD[end]

    page, printed = (folder / "case.html").read_text(encoding="utf-8"), say("turn", file)
    told = say("why", file)
    for text in (page, printed, told):
        assert HELD[end] in " ".join(text.split())  # lines are wrapped
        if end == "turns-freely":
            assert re.search("turns freely", text, re.IGNORECASE)
        else:
            assert number(record.torque_Nm) in text
