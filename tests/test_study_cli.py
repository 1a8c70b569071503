"""`contactfe sweep` as it is run: results, progress, dry run, failures, and a real cluster."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from sweeps import SOURCE, environment, sweep

from contactfe.study import DEMO, read_rows

STUDY = """\
format = 1
name = "small"
[base.fastener]
size = "M10"
grade = "8.8"
[base.mesh]
edge_at_contact = "0.9 mm"
[sweep]
"wrench.profile" = ["open-end", "ring-twelve"]
"fastener.rounding" = ["0 %", "80 %"]
"""
FAILING = STUDY.replace('"fastener.rounding" = ["0 %", "80 %"]', '"wrench.handle_blend" = ["6 mm", "60 mm"]')
CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the small study and its results in out."""
    folder = tmp_path_factory.mktemp("home")
    (folder / "study.toml").write_text(STUDY)
    (folder / "failing.toml").write_text(FAILING)
    ended = sweep("study.toml", "--out", "out", "--workers", "2", folder=folder)
    assert ended.returncode == 0, ended.stderr
    (folder / "said").write_text(ended.stdout)
    (folder / "talked").write_text(ended.stderr)
    return folder


def test_a_run_ends_with_a_table_and_says_where_everything_is(home: Path) -> None:
    said = (home / "said").read_text().splitlines()
    # An opening of 12 points lets go of a hex that is rounded past (e - S / cos 15 deg) / (e - s), about 70 % here.
    assert said[0] == "small: 3 slip, 1 turns freely"
    assert said[1] == "held below the head: solid bar"
    table = next(i for i, line in enumerate(said) if "in N m: profile by rounding" in line)
    assert said[table + 1].split() == ["0", "%", "80", "%"]
    assert said[table + 2].split()[0] == "open-end" and said[table + 3].split()[0] == "ring-twelve"
    assert said[table + 3].endswith("turns freely")
    assert any(line.startswith("4 cases: 4 solved, 0 failed; ") for line in said)
    assert said[-1] == "table:   out/results.csv"
    talked = (home / "talked").read_text().splitlines()
    assert "page: out/study.html" in talked
    assert "turns freely" in (home / "out" / "study.html").read_text(encoding="utf-8")
    figures = (
        next(line for line in talked if line.startswith("figures: ")).removeprefix("figures: ").split(", ")
    )
    assert figures and all((home / f).stat().st_size > 5000 for f in figures)
    rows = read_rows(home / "out" / "results.csv")
    assert [r["status"] for r in rows] == ["ok", "ok", "ok", "turns freely"]
    assert rows[3]["slip_torque_Nm"] is None and rows[3]["turns_freely"] is True


def test_without_a_terminal_progress_is_plain_lines_on_stderr(home: Path) -> None:
    talked = (home / "talked").read_text()
    assert any(line.startswith("4 of 4 cases") for line in talked.splitlines()) and "per s" in talked
    assert "\x1b" not in talked and "\r" not in talked


def test_a_second_run_says_what_it_knew_and_quiet_says_nothing_more(home: Path) -> None:
    before = (home / "out" / "results.csv").read_bytes()
    ended = sweep("study.toml", "--out", "out", "--quiet", folder=home)
    assert (
        ended.returncode == 0 and "cases" not in ended.stderr
    )  # no progress; where figures and page are is told
    assert "4 cases: 0 solved, 4 were known from before" in ended.stdout
    assert (home / "out" / "results.csv").read_bytes() == before


def test_json_is_all_that_stands_on_stdout(home: Path) -> None:
    ended = sweep("study.toml", "--out", "out", "--json", folder=home)
    found = json.loads(ended.stdout)
    assert (found["cases"], found["solved"], found["reused"], found["failed"]) == (4, 0, 4, 0)
    assert found["rows"] == read_rows(home / "out" / "results.csv")
    assert (home / found["table"]).exists() and (home / "out" / "study.html").exists()


def test_on_a_terminal_there_is_a_bar(home: Path) -> None:
    (home / "two.toml").write_text(STUDY.replace('["open-end", "ring-twelve"]', '["open-end"]'))
    ours, theirs = pty.openpty()
    command = [
        sys.executable,
        "-m",
        "contactfe",
        "sweep",
        "two.toml",
        "--out",
        "terminal",
        "--workers",
        "1",
    ]
    run = subprocess.Popen(
        command,
        cwd=home,
        env={**environment(), "TERM": "xterm", "COLUMNS": "100"},
        stdout=subprocess.PIPE,
        stderr=theirs,
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        seen += part
    os.close(ours)
    assert run.communicate()[0] and run.returncode == 0
    assert "━" in seen.decode() and b"of 2 cases" in seen and b"left" in seen


def test_a_dry_run_counts_and_leaves_nothing_behind(home: Path) -> None:
    ended = sweep("study.toml", "--dry-run", "--workers", "1", folder=home)
    assert ended.returncode == 0 and not (home / "small-results").exists()
    lines = {line[:17].strip(): line[17:].split() for line in ended.stdout.splitlines()[1:]}
    assert (
        lines["cases"][0] == "4" and lines["distinct meshes"][0] == "6" and lines["factorisations"][0] == "6"
    )
    assert lines["time"][2:5] == ["with", "1", "worker;"] and lines["memory"][1] == "MB"
    known = json.loads(sweep("study.toml", "--out", "out", "--dry-run", "--json", folder=home).stdout)
    assert (known["cases"], known["to_solve"], known["to_build"], known["meshes"]) == (4, 0, 0, 6)


def test_the_demo_is_the_study_of_the_same_name_and_what_was_asked(home: Path) -> None:
    """Issue of the first version: at least five profiles, rounding 0 to 70 %, classes 8.8 and 10.9, size
    M10."""
    assert (SOURCE / "studies" / "rounding-by-yield" / "study.toml").read_text() == DEMO
    sweep_table = tomllib.loads(DEMO)["sweep"]
    assert len(sweep_table["wrench.profile"]) >= 5 and sweep_table["fastener.grade"] == ["8.8", "10.9"]
    ended = sweep("--demo", "--dry-run", folder=home)
    assert ended.returncode == 0 and ended.stdout.splitlines()[1].split()[:2] == ["cases", "80"]


def test_failed_cases_are_rows_and_the_exit_code_is_3(home: Path) -> None:
    ended = sweep("failing.toml", "--out", "failing", folder=home)
    assert ended.returncode == 3
    rows = read_rows(home / "failing" / "results.csv")
    assert [r["status"] for r in rows] == ["ok", "failed", "ok", "failed"]
    assert (
        "overlap" in rows[1]["reason"]
        and rows[1]["slip_torque_Nm"] is None
        and rows[1]["turns_freely"] is None
    )
    assert "2 failed" in ended.stdout and "failed:  small-2: " in ended.stdout
    # The reason would come again: it is not tried again, and the exit code is the same.
    again = sweep("failing.toml", "--out", "failing", folder=home)
    assert again.returncode == 3 and "4 cases: 0 solved, 4 were known" in again.stdout
    counted = sweep("failing.toml", "--dry-run", folder=home)
    assert "cannot be built  2" in counted.stdout


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        ((), 2, "name a study file, or write --demo"),
        (("study.toml", "--demo"), 2, "name a study file, or write --demo"),
        (("study.toml", "--workers", "0"), 2, "--workers"),
        (("absent.toml",), 1, "absent.toml"),
        (("bad.toml",), 1, '[sweep] fastener.rounding, item 1: 5 has no unit; write "5 %"'),
        (("study.toml", "--out", "study.toml"), 1, "study.toml is a file, not a folder"),
        (("bad.toml", "--out", "study.toml"), 1, "2 problems"),
        (("study.toml", "--out", "c", "--cluster", "tcp://127.0.0.1:9"), 1, "no scheduler answers"),
        (("study.toml", "--out", "c", "--cluster", "nonsense:"), 1, "is not the address of a scheduler"),
    ],
)
def test_bad_input_is_one_message_and_an_exit_code(
    home: Path, words: tuple[str, ...], code: int, expected: str
) -> None:
    (home / "bad.toml").write_text(STUDY.replace('["0 %", "80 %"]', "[5]"))
    ended = sweep(*words, folder=home)
    assert ended.returncode == code and ended.stdout == ""
    assert expected in ended.stderr and "Traceback" not in ended.stderr


# --- a real cluster ---------------------------------------------------------------------------------------------------


def test_a_cluster_with_two_processes_gives_the_same_rows(home: Path) -> None:
    """An existing scheduler by its address, whose workers see the folder; then the same without a common
    disk."""
    (home / "cluster.py").write_text(CLUSTER)
    (home / "apart.py").write_text(
        "import sys\nfrom contactfe.parallel import DaskCluster\nfrom contactfe.cli import main\n"
        "DaskCluster._see = lambda self, folder: False\n"
        'if __name__ == "__main__":\n    sys.exit(main(["sweep", *sys.argv[1:]]))\n'
    )
    cluster = subprocess.Popen(
        [sys.executable, "cluster.py"],
        cwd=home,
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert cluster.stdout is not None and cluster.stdin is not None
    try:
        address = cluster.stdout.readline().strip()
        ended = sweep("study.toml", "--out", "clustered", "--cluster", address, "--quiet", folder=home)
        assert ended.returncode == 0, ended.stderr
        words = ["apart.py", "study.toml", "--out", "apart", "--cluster", address, "--quiet"]
        apart = subprocess.run(
            [sys.executable, *words], cwd=home, env=environment(), capture_output=True, text=True, timeout=120
        )
        assert apart.returncode == 0, apart.stderr
    finally:
        cluster.communicate(timeout=30)
    expected = (home / "out" / "results.csv").read_bytes()
    assert (home / "clustered" / "results.csv").read_bytes() == expected
    assert (home / "apart" / "results.csv").read_bytes() == expected
    assert list((home / "clustered" / "bodies").iterdir()) and not (home / "apart" / "bodies").exists()
    workers = {
        json.loads(line)["worker"]
        for line in (home / "clustered" / "journal.jsonl").read_text().splitlines()
        if '"case"' in line
    }
    assert len(workers) == 2 and all(w.startswith("tcp://") for w in workers)


def test_a_local_cluster_starts_by_itself(home: Path) -> None:
    ended = sweep(
        "study.toml", "--out", "local", "--cluster", "local", "--workers", "2", "--quiet", folder=home
    )
    assert ended.returncode == 0 and ended.stderr == ""
    assert (home / "local" / "results.csv").read_bytes() == (home / "out" / "results.csv").read_bytes()
