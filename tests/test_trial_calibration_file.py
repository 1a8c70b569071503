"""Calibration files: what they hold, how a case takes them, and that every result names them."""

from __future__ import annotations

from pathlib import Path

import pytest

from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.inputs import parse_case, read_calibration
from contactfe.study import parse_plan
from contactfe.uncertainty import split_case, typical_scatter

FILE = (
    '# fitted\nformat = 1\nstudy = "x"\nreadings_used = 12\n'
    '["contact.constraint_factor"]\nvalue = 1.3\nlow = 1.25\nhigh = 1.36\n'
)
CASE = {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "fit.toml").write_text(FILE, encoding="utf-8")
    return tmp_path


def test_a_case_takes_the_constant_and_names_the_file(folder: Path) -> None:
    case = parse_case({**CASE, "calibration": "fit.toml"}, folder=folder)
    assert case.contact.constraint_factor == 1.3
    assert any("constraint factor 1.3 (95 %: 1.25 to 1.36), calibration fit.toml" in c for c in case.cautions)


def test_what_a_case_writes_itself_stays(folder: Path) -> None:
    case = parse_case(
        {**CASE, "calibration": "fit.toml", "contact": {"constraint_factor": 1.1}}, folder=folder
    )
    assert case.contact.constraint_factor == 1.1
    assert any("is not used" in c for c in case.cautions)


def test_a_band_scatters_the_constant_over_its_interval(folder: Path) -> None:
    found = typical_scatter(split_case({**CASE, "calibration": "fit.toml"}, folder=folder))
    factor = next(item for item in found if item.path == "contact.constraint_factor")
    assert (factor.low, factor.high) == (1.25, 1.36)


def test_a_study_takes_it_for_every_case(folder: Path) -> None:
    raw = {"format": 1, "calibration": "fit.toml", "base": {k: CASE[k] for k in ("fastener", "wrench")}}
    plan = parse_plan({**raw, "sweep": {"contact.friction": [0.1, 0.2]}}, folder=folder)
    assert [case.case.contact.constraint_factor for case in plan.cases] == [1.3, 1.3]
    plain = parse_plan(
        {"format": 1, "base": raw["base"], "sweep": {"contact.friction": [0.1, 0.2]}}, folder=folder
    )
    assert {case.case_id for case in plan.cases}.isdisjoint(case.case_id for case in plain.cases)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "format"),
        ("format = 1\n", "holds no constant"),
        (FILE.replace("constraint_factor", "constraint_facto"), "did you mean contact.constraint_factor?"),
        (FILE.replace("low = 1.25", "low = 1.5"), "is not value, low and high in order"),
        (FILE.replace("1.36", "99.0"), "is not value, low and high in order"),
        (FILE.replace("value = 1.3", 'value = "x"'), "is not value, low and high in order"),
    ],
)
def test_a_bad_file_is_told(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "fit.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_calibration(path)
    assert told in str(caught.value)
    with pytest.raises(InputError, match="calibration"):
        parse_case({**CASE, "calibration": "fit.toml"}, folder=tmp_path)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        parse_case({**CASE, "calibration": "none.toml"}, folder=tmp_path)


def test_the_option_of_the_commands(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = folder / "case.toml"
    case.write_text(
        'format = 1\n[fastener]\nsize = "M10"\ngrade = "8.8"\n[wrench]\nprofile = "open-end"\n'
        '[mesh]\nedge_at_contact = "0.8 mm"\n',
        encoding="utf-8",
    )
    assert main(["turn", str(case), "--calibration", str(folder / "fit.toml")]) == 0
    assert "calibration fit.toml" in capsys.readouterr().out
    assert main(["why", str(case), "--calibration", str(folder / "none.toml")]) == 1
    assert "none.toml" in capsys.readouterr().err
    for command in ("sweep", "band", "why", "turn"):
        assert main([command, "--help"]) == 0
        assert "--calibration" in capsys.readouterr().out
