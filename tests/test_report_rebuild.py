"""`contactfe report`: pages from stored results, the same to the byte, without solving; folders compared on one page."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from report_cases import VERSION, check_offline, solved
from sweeps import environment
from test_report_study_browser import table_of

from contactfe import __version__
from contactfe.cli import main
from contactfe.errors import InputError
from contactfe.files import csv_text
from contactfe.report import rebuilt, study_page, write_case_folder
from contactfe.report.reader_units import both
from contactfe.report.words import number


def refuse(*_: object, **__: object) -> None:
    raise AssertionError("solved")


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


def test_the_page_of_a_scoreboard_is_built_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings = Path(__file__).parent.parent / "studies" / "bench-loop" / "readings.csv"
    board = tmp_path / "board"
    assert main(["score", str(readings), "--out", str(board)]) == 0
    page = (board / "score.html").read_bytes()
    (board / "score.html").unlink()
    assert main(["report", str(board)]) == 0 and (board / "score.html").read_bytes() == page
    capsys.readouterr()
    assert main(["report", str(board), "--units", "inch"]) == 1
    assert "is drawn in si; ask the command that wrote it once more" in capsys.readouterr().err
    kept = json.loads((board / "page.json").read_text(encoding="utf-8"))
    (board / "page.json").write_text(json.dumps(kept | {"values": {}}), encoding="utf-8")
    assert main(["report", str(board)]) == 1
    assert "lacks what the page shows" in capsys.readouterr().err
    # Neither the name of a template nor that of a file leads out of its folder.
    (board / "page.json").write_text(json.dumps(kept | {"template": "../../README.md"}), encoding="utf-8")
    assert main(["report", str(board)]) == 1
    assert "holds no results" in capsys.readouterr().err
    (board / "page.json").write_text(json.dumps(kept | {"file": "../../out.html"}), encoding="utf-8")
    assert main(["report", str(board)]) == 0
    assert (board / "out.html").is_file() and not (tmp_path.parent / "out.html").exists()


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


def case_file(folder: Path, name: str = "case.toml") -> Path:
    """A case on a coarse mesh whose strength scatters."""
    path = folder / name
    path.write_text(
        'format = 1\nname = "worn"\n[fastener]\nsize = "M10"\ngrade = "8.8"\nrounding = "20 %"\n'
        'yield_strength = { low = "650 MPa", high = "700 MPa" }\n[wrench]\nprofile = "ring-twelve"\n'
        '[mesh]\nedge_at_contact = "0.48 mm"\n',
        encoding="utf-8",
    )
    return path


@pytest.mark.parametrize(
    ("command", "page"),
    [
        (("turn", "--band", "2", "--pulls", "2"), "case.html"),
        (("turn", "--band", "2", "--units", "inch"), "case.html"),
        (("band", "-n", "2", "--workers", "1", "--below", "150 N*m"), "band.html"),
        (("band", "-n", "2", "--workers", "1", "--units", "inch"), "band.html"),
    ],
)
def test_the_page_that_a_command_wrote_is_built_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...], page: str
) -> None:
    out = tmp_path / "out"
    assert main([command[0], str(case_file(tmp_path)), *command[1:], "--out", str(out)]) == 0
    first = (out / page).read_bytes()
    (out / page).unlink()
    monkeypatch.setattr("contactfe.contact.rig.solve_problem", refuse)
    assert main(["report", str(out)]) == 0
    assert (out / page).read_bytes() == first


@pytest.mark.parametrize("scatter", [False, True])
def test_the_page_that_a_sweep_wrote_is_built_again(tmp_path: Path, scatter: bool) -> None:
    study = tmp_path / "study.toml"
    strength = '{ low = "650 MPa", high = "700 MPa" }' if scatter else '"640 MPa"'
    band = '[band]\nsamples = 2\nseed = 1\nbelow = "100 N*m"\n' if scatter else ""
    study.write_text(
        f'format = 1\nname = "two ends"\nunits = "inch"\n[base.fastener]\nsize = "M10"\nyield_strength = {strength}\n'
        '[base.wrench]\nprofile = "open-end"\n[base.mesh]\nedge_at_contact = "0.48 mm"\n'
        f'[sweep]\n"fastener.rounding" = ["0 %", "40 %"]\n{band}',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    assert main(["sweep", str(study), "--out", str(out), "--workers", "1"]) == 0
    first = (out / "study.html").read_bytes()
    (out / "study.html").unlink()
    assert main(["report", str(out)]) == 0
    assert (out / "study.html").read_bytes() == first
    assert main(["report", str(out), "--units", "si"]) == 0
    assert "Torque delivered (N·m)" in check_offline((out / "study.html").read_text("utf-8")).words


def test_two_runs_give_the_same_bytes(tmp_path: Path) -> None:
    """Two processes with other hash seeds: every file of the folder is the same."""
    path = case_file(tmp_path)
    for seed in ("1", "2"):
        command = [
            sys.executable,
            "-m",
            "contactfe",
            "turn",
            str(path),
            "--band",
            "2",
            "--out",
            str(tmp_path / seed),
        ]
        done = subprocess.run(
            command, env=environment() | {"PYTHONHASHSEED": seed}, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
    one, two = ({p.name: p.read_bytes() for p in sorted((tmp_path / seed).iterdir())} for seed in ("1", "2"))
    assert list(one) == list(two) and "case.html" in one and "fields.vtu" in one
    assert [name for name in one if one[name] != two[name]] == []


def test_pages_that_compare_follow_the_units_of_their_folders(tmp_path: Path) -> None:
    for kind in ("open-end", "bolt"):
        write_case_folder(solved(kind), tmp_path / f"{kind}-inch", VERSION, units="inch")
    write_case_folder(solved("bolt"), tmp_path / "bolt", VERSION)
    inch = [tmp_path / "open-end-inch", tmp_path / "bolt-inch"]
    told = check_offline(rebuilt(inch, VERSION).read_text("utf-8")).words
    assert (
        "torque (lbf·ft)" in told
        and f"open-end-inch delivers most: {both(solved('open-end').torque_Nm, 'inch')}" in told
    )
    mixed = [tmp_path / "open-end-inch", tmp_path / "bolt"]
    assert "torque (N·m)" in check_offline(rebuilt(mixed, VERSION).read_text("utf-8")).words
    asked = rebuilt(mixed, VERSION, units="inch")
    assert "torque (lbf·ft)" in check_offline(asked.read_text("utf-8")).words


def test_two_studies_in_inches(tmp_path: Path) -> None:
    """300 N m are 221.3 lbf ft: 1 lbf ft is 1.3558179 N m (NIST SP 811)."""
    one, two = study_folder(tmp_path / "one"), study_folder(tmp_path / "two", 1.1)
    assert main(["report", str(one), str(two), "--units", "inch", "--out", str(tmp_path / "both.html")]) == 0
    words = check_offline((tmp_path / "both.html").read_text("utf-8")).words
    assert "one (lbf·ft)" in words and "0 % 221.3, wrench gives way 243.4, wrench gives way +10.0 %" in words


def test_the_page_of_a_case_stays_in_its_units(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_case_folder(solved("bolt"), tmp_path / "case", VERSION)
    before = (tmp_path / "case" / "case.html").read_bytes()
    assert main(["report", str(tmp_path / "case"), "--units", "inch"]) == 1
    said = capsys.readouterr().err
    assert "drawn in si" in said and "contactfe turn --out" in said and "--units inch" in said
    assert (tmp_path / "case" / "case.html").read_bytes() == before
    assert main(["report", str(tmp_path / "case"), "--units", "si"]) == 0


def test_what_another_version_stored_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_case_folder(solved("bolt"), tmp_path / "case", VERSION)
    view = json.loads((tmp_path / "case" / "page.json").read_text(encoding="utf-8"))
    del view["limits"]
    (tmp_path / "case" / "page.json").write_text(json.dumps(view), encoding="utf-8")
    assert main(["report", str(tmp_path / "case")]) == 1
    said = capsys.readouterr().err
    assert "another version" in said and "Traceback" not in said
