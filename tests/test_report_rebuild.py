"""`contactfe report`: pages from stored results, the same to the byte, without solving; folders compared on one page."""

from __future__ import annotations

from pathlib import Path

import pytest
from report_cases import VERSION, check_offline, solved
from test_report_study_browser import table_of

from contactfe import __version__
from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.files import csv_text
from contactfe.report import rebuilt, study_page, write_case_folder
from contactfe.report.reader_units import both
from contactfe.report.words import number


def study_folder(folder: Path, factor: float = 1.0) -> Path:
    """A folder with the table of an invented study, all torques times a factor."""
    folder.mkdir()
    rows = [{**row, "torque_Nm": factor * row["torque_Nm"]} for row in table_of()]
    text = csv_text(list(rows[0]), [list(row.values()) for row in rows])
    (folder / "results.csv").write_text(text, encoding="utf-8")
    return folder


def test_the_page_of_a_case_is_built_again_without_solving(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_case_folder(solved("bolt"), tmp_path / "case", VERSION)
    page = tmp_path / "case" / "case.html"
    first = page.read_bytes()
    page.unlink()

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("solved")

    monkeypatch.setattr("contactfe.contact.rig.solve_problem", refuse)
    assert rebuilt([tmp_path / "case"], VERSION) == page
    assert page.read_bytes() == first


def test_the_page_of_a_study_is_built_again(tmp_path: Path) -> None:
    folder = study_folder(tmp_path / "study")
    assert main(["report", str(folder)]) == 0
    text = (folder / "results.csv").read_text(encoding="utf-8")
    wanted = study_page(table_of(), {"name": "study"}, __version__, csv=text)
    found = (folder / "study.html").read_text(encoding="utf-8")
    assert check_offline(found).words == check_offline(wanted).words
    assert main(["report", str(folder), "--out", str(tmp_path / "other.html")]) == 0
    assert (tmp_path / "other.html").read_text(encoding="utf-8") == found


def test_two_cases_on_one_page(tmp_path: Path) -> None:
    for kind in ("open-end", "bolt"):
        write_case_folder(solved(kind), tmp_path / kind, VERSION)
    path = rebuilt([tmp_path / "open-end", tmp_path / "bolt"], VERSION)
    assert path == tmp_path / "open-end" / "comparison.html"
    words = check_offline(path.read_text(encoding="utf-8")).words
    best = max((solved("open-end"), "open-end"), (solved("bolt"), "bolt"), key=lambda item: item[0].torque_Nm)
    assert f"{best[1]} delivers most: {both(best[0].torque_Nm)}" in words
    for kind in ("open-end", "bolt"):
        assert f"{kind} {number(solved(kind).torque_Nm)}" in words
    assert "bolt twists off bolt" in words  # ended by, and what is held


def test_two_studies_on_one_page(tmp_path: Path) -> None:
    one, two = study_folder(tmp_path / "one"), study_folder(tmp_path / "two", 1.1)
    words = check_offline(rebuilt([one, two], VERSION, tmp_path / "both.html").read_text("utf-8")).words
    assert f"two delivers +10.0 % against one in the middle one of {len(table_of())} common cases" in words
    assert "six-point ring grade 8.8 0 % 300.0, wrench gives way 330.0, wrench gives way +10.0 %" in words


def test_folders_without_results_are_named_all_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as caught:
        rebuilt([tmp_path / "empty", tmp_path / "none"], VERSION)
    assert len(caught.value.problems) == 2
    assert main(["report", str(tmp_path / "empty")]) == 1
    said = capsys.readouterr().err
    assert "holds no results" in said and "contactfe turn --out" in said and "Traceback" not in said


def test_cases_and_studies_do_not_mix(tmp_path: Path) -> None:
    (tmp_path / "case").mkdir()
    (tmp_path / "case" / "case.json").write_text("{}", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        rebuilt([tmp_path / "case", study_folder(tmp_path / "study")], VERSION)
    assert "cannot stand on one page" in str(caught.value)
