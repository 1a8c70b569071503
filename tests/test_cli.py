"""The command line run as a process: what it prints where, what it writes, and its exit codes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

import contactfe
from contactfe.inputs import case_template

ROOT = Path(__file__).parent.parent
CASE = """
format = 1
name = "ring-twelve-on-m10"
[fastener]
size = "M10"
grade = "8.8"
rounding = "10 %"
[wrench]
profile = "ring-twelve"
[mesh]
edge_at_contact = "0.5 mm"
edge_max = "3 mm"
"""
# The names of the case record that users and other programs rely on.
NAMES = """
    slip_torque_Nm slip_rotation_deg onset_torque_Nm onset_rotation_deg free_play_deg jaw_spread_um_per_Nm
    flank_pressure_MPa_per_Nm flank_stress_MPa_per_Nm load_share crushed_length_mm crush_depth_um
    curve mesh audit cautions inputs version
""".split()  # noqa: SIM905 - a list of names reads better in lines


def run(*words: str | Path, cwd: Path | None = None, more: Mapping[str, str] | None = None) -> Any:
    """Run the command and return the finished process with its text."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **(more or {})}
    command = [sys.executable, "-m", "contactfe", *map(str, words)]
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, timeout=120)


@pytest.fixture
def case_file(tmp_path: Path) -> Path:
    file = tmp_path / "ring.toml"
    file.write_text(CASE, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Path]:
    """A case turned once, with --json and --out."""
    folder = tmp_path_factory.mktemp("turned")
    (folder / "ring.toml").write_text(CASE, encoding="utf-8")
    return run("turn", "ring.toml", "--json", "--out", "results", cwd=folder), folder


def test_json_is_alone_on_stdout_and_holds_the_names_of_the_contract(turned: tuple[Any, Path]) -> None:
    done, _ = turned
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    assert set(NAMES) <= set(record)
    assert record["name"] == "ring-twelve-on-m10"
    assert set(record["curve"]) == {"rotation_deg", "torque_Nm", "crushed_length_mm", "crush_depth_um"}
    assert len(record["curve"]["rotation_deg"]) == len(record["curve"]["torque_Nm"]) > 8
    assert max(record["curve"]["torque_Nm"]) == pytest.approx(record["slip_torque_Nm"], rel=0.02)
    assert len(record["load_share"]) == 6
    assert sum(record["load_share"]) == pytest.approx(1.0)
    assert set(record["mesh"]) == {"fastener", "wrench"}
    assert record["audit"]["passed"] is True
    assert any("guard" in text for text in record["cautions"])
    assert record["inputs"]["fastener"]["rounding"] == "10 %"
    assert record["inputs"]["contact"]["friction"] == 0.15
    assert record["version"] == contactfe.__version__
    assert "results" in done.stderr


def test_the_folder_holds_the_same_record_and_the_files_that_are_announced(turned: tuple[Any, Path]) -> None:
    done, folder = turned
    written = {path.name for path in (folder / "results").iterdir()}
    assert {"case.json", "curve.csv", "fields.vtu"} <= written
    assert any(name.endswith(".png") or name.endswith(".svg") for name in written)
    assert {path.name for path in folder.iterdir()} == {"ring.toml", "results"}, "nothing else is left"
    saved = json.loads((folder / "results" / "case.json").read_text(encoding="utf-8"))
    printed = json.loads(done.stdout)
    assert set(printed) <= set(saved)
    for name in ("slip_torque_Nm", "onset_torque_Nm", "inputs", "load_share"):
        assert saved[name] == printed[name], name
    header = (folder / "results" / "curve.csv").read_text(encoding="utf-8")
    assert "rotation_deg" in header and "torque_Nm" in header


def test_the_table_names_answers_with_units_cautions_audit_and_rules(case_file: Path, turned: Any) -> None:
    done = run("turn", case_file)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    record = json.loads(turned[0].stdout)
    line = next(line for line in done.stdout.splitlines() if line.strip().startswith("grip (slip)"))
    assert line.split()[2:5] == [f"{record['slip_torque_Nm']:.1f}", "N", "m"]
    for words in (
        "onset of slip",
        "free play",
        "um per N m",
        "MPa per N m",
        "load share",
        "corners 10 % rounded",
    ):
        assert words in done.stdout, words
    assert "guard" in done.stdout
    assert sum(line.startswith("audit: passed") for line in done.stdout.splitlines()) == 1
    by_rule = done.stdout.split("by rule")[1].splitlines()
    assert any("[fastener] engaged_depth" in line and "6.4 mm" in line for line in by_rule)
    assert any("[wrench] outside_diameter" in line and "JIS B 4632" in line for line in by_rule)
    assert any("[wrench] opening" in line and "default: middle" in line for line in by_rule)
    assert not any("[fastener] rounding" in line or "edge_max" in line for line in by_rule), (
        "these were given"
    )
    assert list(case_file.parent.iterdir()) == [case_file], "nothing is written without --out"


def test_a_wrench_that_turns_freely_says_so_instead_of_a_number(case_file: Path) -> None:
    # (e - S/cos 15 deg) / (e - s) with S = 16.16, s = 16: above 70.6 % the corners pass the ridges.
    case_file.write_text(CASE.replace("10 %", "75 %"), encoding="utf-8")
    done = run("turn", case_file)
    assert done.returncode == 0, done.stderr
    assert "Turns freely" in done.stdout
    assert "grip (slip)" not in done.stdout
    record = json.loads(run("turn", case_file, "--json").stdout)
    assert record["turns_freely"] is True
    assert record["slip_torque_Nm"] is None
    assert set(NAMES) <= set(record)


def test_draw_writes_the_picture_it_names(case_file: Path) -> None:
    done = run("draw", case_file.name, cwd=case_file.parent)
    assert done.returncode == 0, done.stderr
    assert (case_file.parent / "ring.png").read_bytes().startswith(b"\x89PNG")
    assert "ring.png" in done.stdout
    done = run("draw", case_file, "--out", case_file.parent / "pair.svg")
    assert done.returncode == 0, done.stderr
    assert "<svg" in (case_file.parent / "pair.svg").read_text(encoding="utf-8")


def test_mesh_writes_both_bodies_and_outlines_that_can_be_used(case_file: Path) -> None:
    from contactfe.mesh import read_mesh
    from contactfe.profile import read_outline

    folder = case_file.parent
    done = run("mesh", case_file.name, cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "smallest angle" in done.stdout
    out = folder / "ring-mesh"
    names = [
        f"{body}{ending}" for body in ("fastener", "wrench") for ending in (".msh", ".vtu", "-outline.toml")
    ]
    assert sorted(path.name for path in out.iterdir()) == sorted(names)
    for body in ("fastener", "wrench"):
        nodes, cells = read_mesh(out / f"{body}.msh")
        assert nodes.shape == read_mesh(out / f"{body}.vtu")[0].shape
        assert cells.max() < len(nodes)
        assert b"$MeshFormat" in (out / f"{body}.msh").read_bytes()[:20]
        read_outline(out / f"{body}-outline.toml", body)
    quality = json.loads(run("mesh", case_file, "--out", out, "--json").stdout)
    assert quality["wrench"]["nodes"] == len(read_mesh(out / "wrench.vtu")[0])
    assert quality["fastener"]["smallest_angle_deg"] > 5


def test_the_written_study_can_be_run_as_it_is(tmp_path: Path) -> None:
    assert run("init", "sweep", "mine.toml", cwd=tmp_path).returncode == 0
    done = run("sweep", "mine.toml", "--dry-run", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["cases"] == 9


@pytest.mark.parametrize("kind", ["turn", "sweep"])
def test_init_writes_the_template_and_never_replaces_a_file(kind: str, tmp_path: Path) -> None:
    done = run("init", kind, "mine.toml", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert f"contactfe {kind} mine.toml" in done.stdout
    file = tmp_path / "mine.toml"
    assert file.read_text(encoding="utf-8") == case_template(kind)  # type: ignore[arg-type]
    assert ("sweep" in tomllib.loads(file.read_text(encoding="utf-8"))) == (kind == "sweep")
    file.write_text("my work", encoding="utf-8")
    done = run("init", kind, "mine.toml", cwd=tmp_path)
    assert done.returncode == 1
    assert done.stderr == (
        "contactfe: mine.toml: is there already; name another file, or replace it with --force\n"
    )
    assert file.read_text(encoding="utf-8") == "my work"
    assert run("init", kind, "mine.toml", "--force", cwd=tmp_path).returncode == 0
    assert file.read_text(encoding="utf-8") == case_template(kind)  # type: ignore[arg-type]
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]


def test_init_with_one_word_writes_a_case_and_says_what_it_cannot_write(tmp_path: Path) -> None:
    assert run("init", "one.toml", cwd=tmp_path).returncode == 0
    assert (tmp_path / "one.toml").read_text(encoding="utf-8") == case_template("turn")
    done = run("init", "none/one.toml", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert "cannot be written: No such file or directory; name another folder" in done.stderr
    done = run("init", "swep", "two.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "did you mean sweep?" in done.stderr
    assert run("init", "turn", cwd=tmp_path).returncode == 2


def test_sizes_and_grades_show_values_of_the_standards_with_their_source() -> None:
    done = run("sizes", "M10")
    # ISO 4014: s = 16, e_min = 17.77, k = 6.4; ISO 691: 16 mm +0.05 to +0.27.
    for text in ("16.000", "17.770", "6.400", "16.050 (tight) to 16.270 (loose)", "ISO 4014", "ISO 691"):
        assert text in done.stdout, text
    row = next(line for line in run("sizes").stdout.splitlines() if line.split()[:2] == ["1/2", "in"])
    assert "ASME B18.2.1" in row
    assert row.split()[2] == "19.05"  # 3/4 in
    rows = [line.split() for line in run("grades", "8.8").stdout.splitlines() if line.split()[0] == "8.8"]
    # ISO 898-1: 640 MPa to M16, 660 MPa above.
    assert [(row[3], row[4], row[5]) for row in rows] == [("16", "640", "800"), ("39", "660", "830")]
    assert all("ISO 898-1" in " ".join(row) for row in rows)
    # ISO 898-1: 8.8 reaches 320 HV, 335 HV above M16; 3.2 MPa per HV, yield as 640 to 800 and as 660 to 830.
    assert [row[6:9] for row in rows] == [["819", "by", "hardness"], ["852", "by", "hardness"]]
    five = json.loads(run("grades", "grade 5", "--json").stdout)[0]
    assert (five["source"], five["upper_source"]) == ("SAE J429", "by hardness")
    brass = json.loads(run("grades", "brass C36000", "--json").stdout)[0]
    assert (brass["yield_upper"], brass["upper_source"]) == (310.0, "typical")
    none = next(line for line in run("grades", "A2-70").stdout.splitlines() if line.split()[0] == "A2-70")
    assert none.split()[6:9] == ["-", "-", "-"]
    nut = json.loads(run("sizes", "M10 nut", "--json").stdout)[0]
    assert nut["opening"]["source"] == "ISO 691" and nut["chamfer"]["faces"] == 2
    # ISO 4014 and ISO 4032, 15 to 30 deg (from memory); JIS B 4632: 26 mm wide and 11.5 mm thick at 16 mm.
    assert (nut["chamfer"]["angle_low_deg"], nut["chamfer"]["angle_high_deg"]) == (15.0, 30.0)
    assert nut["ring"] == {"outside_diameter": 26.0, "thickness": 11.5, "source": "JIS B 4632, largest"}
    # A-A-1346A: 1.125 in wide and 35/64 in thick at 3/4 in; no row for the 55 mm of M36.
    assert row.split()[9:11] == ["28.57", "13.89"]
    assert "no standard has a row for this width" in run("sizes", "M36").stdout
    for text in (
        "26.000  mm  largest",
        "least 13.600; 15 to 30 deg to the face, one face",
        "JIS B 4632",
        "ASME B18.2.1",
    ):
        assert text in done.stdout, text
    done = run("sizes", "M11")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith('contactfe: unknown size "M11"; nearest: M10, M12')


def test_version_and_usage() -> None:
    assert run("--version").stdout == f"contactfe {contactfe.__version__}\n"
    for words in (["trun", "x"], ["turn"], ["turn", "x", "--oops"], [], ["turn", "a", "b"]):
        done = run(*words)
        assert done.returncode == 2, words
        assert "Traceback" not in done.stderr
        assert done.stdout == "" or words == []
    assert "Did you mean 'turn'?" in run("trun", "x").stderr


def test_help_comes_at_once_and_imports_no_numerics() -> None:
    import resource

    def processor_time(*words: str) -> float:
        """Of a Python process, s: the least of five."""
        seconds = []
        for _ in range(5):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([sys.executable, *words], capture_output=True, check=True, cwd=ROOT)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            seconds.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        return min(seconds)

    done = run("--help")
    assert done.returncode == 0, done.stderr
    for word in ("turn", "sweep", "draw", "mesh", "init", "sizes", "grades", "Exit codes", "130 interrupted"):
        assert word in done.stdout, word
    heavy = ("numpy", "scipy", "shapely", "matplotlib", "pint", "skfem", "meshio")
    for words in (["--help"], ["--version"], ["sizes"], ["turn", "--help"]):
        done = subprocess.run(
            [sys.executable, "-X", "importtime", "-m", "contactfe", *words],
            env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in done.stderr.splitlines()}
        assert not loaded & set(heavy), (words, loaded & set(heavy))
    # Against what the library of the command line takes by itself: numpy alone would double it.
    assert processor_time("-m", "contactfe", "--help") < 3 * processor_time("-c", "import typer.main")


def test_no_colour_codes_even_on_a_terminal(case_file: Path) -> None:
    import pty

    case_file.write_text(CASE.replace("10 %", "10 mm"), encoding="utf-8")
    for words, more in (
        (["--help"], {}),
        (["turn", str(case_file)], {"NO_COLOR": "1"}),
        (["oops"], {"NO_COLOR": "1"}),
    ):
        ours, theirs = pty.openpty()
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", **more}
        process = subprocess.Popen(
            [sys.executable, "-m", "contactfe", *words],
            env=environment,
            stdout=theirs,
            stderr=theirs,
            stdin=theirs,
        )
        os.close(theirs)
        shown = b""
        while True:
            try:
                part = os.read(ours, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            shown += part
        os.close(ours)
        process.wait(timeout=30)
        assert len(shown) > 50
        assert b"\x1b" not in shown, words


def test_a_reader_that_goes_away_is_no_failure_to_talk_about() -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [sys.executable, "-m", "contactfe", "sizes"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=30) == 1
    assert said == b""


def test_ctrl_c_ends_with_130_and_leaves_nothing(tmp_path: Path) -> None:
    fine = CASE.replace("0.5 mm", "0.02 mm").replace("3 mm", "0.3 mm")
    (tmp_path / "fine.toml").write_text(fine, encoding="utf-8")
    # A shell that starts tests in the background leaves SIGINT ignored: set it as a terminal would.
    code = (
        "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from contactfe.cli import main; print('ready', file=sys.stderr, flush=True); sys.exit(main())"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, "turn", "fine.toml", "--out", "results"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    assert process.stderr.readline() == "ready\n"
    time.sleep(2.0)
    assert process.poll() is None, "still solving"
    process.send_signal(signal.SIGINT)
    printed, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert printed == ""
    assert said == "contactfe: interrupted\n"
    assert [path.name for path in tmp_path.iterdir()] == ["fine.toml"]


def test_unexpected_failures_are_short_and_long_with_debug(monkeypatch: Any, capsys: Any) -> None:
    from importlib import import_module

    main_module = import_module("contactfe.cli.main")

    def broken(words: list[str]) -> int:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(main_module, "_run", broken)
    assert main_module.main(["turn", "x"]) == 1
    said = capsys.readouterr().err
    assert said == (
        "contactfe: unexpected ZeroDivisionError: division by zero; `contactfe --debug ...` shows where\n"
    )
    with pytest.raises(ZeroDivisionError):
        main_module.main(["turn", "x", "--debug"])


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full here")
def test_a_full_output_is_named_and_full_talk_stops_nothing() -> None:
    command = [sys.executable, "-m", "contactfe", "sizes"]
    with open("/dev/full", "w") as full:
        ended = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert ended.returncode == 1
    assert ended.stderr.startswith("contactfe: the output cannot be written: No space left on device;")
    assert len(ended.stderr.splitlines()) == 1
    with open("/dev/full", "w") as full:
        ended = subprocess.run(
            [*command[:-1], "turn", "none.toml"], stdout=subprocess.PIPE, stderr=full, check=False
        )
    assert ended.returncode == 1 and ended.stdout == b""


@pytest.mark.skipif(os.name != "posix", reason="closing a stream is the shell's business")
def test_a_closed_output_is_no_failure() -> None:
    command = ["sh", "-c", '"$0" -m contactfe sizes >&-', sys.executable]
    ended = subprocess.run(command, stderr=subprocess.PIPE, text=True, check=False)
    assert (ended.returncode, ended.stderr) == (0, "")
