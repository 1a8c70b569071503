"""Running studies: order, workers, deaths, interruptions and full disks change no byte of the results."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sweeps import InProcess, end_of, environment

from contactfe.case import ANSWERS
from contactfe.errors import ContactFEError, InputError
from contactfe.parallel import Ended, LocalProcesses
from contactfe.study import (
    BodyDone,
    CaseDone,
    CaseFailed,
    CaseStarted,
    Event,
    StudyPlan,
    StudyStore,
    forecast,
    parse_plan,
    pivots,
    read_rows,
    run_study,
    runner,
)

STUDY = """\
format = 1
name = "little"
[base.fastener]
size = "M10"
[base.wrench]
profile = "open-end"
[base.mesh]
edge_at_contact = "1.3 mm"
[sweep]
"fastener.rounding" = ["0 %", "20 %"]
"fastener.grade" = ["8.8", "10.9"]
"contact.friction" = [0.1, 0.2]
"""


def plan_of(text: str = STUDY) -> StudyPlan:
    import tomllib

    return parse_plan(tomllib.loads(text))


def ran(plan: StudyPlan, folder: Path, executor: Any | None = None) -> tuple[list[Event], bytes]:
    """All events of a run, and the bytes of its table."""
    events = list(run_study(plan, StudyStore(folder), executor or InProcess()))
    return events, (folder / "results.csv").read_bytes()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run that nothing disturbed: two processes."""
    folder = tmp_path_factory.mktemp("whole")
    ran(plan_of(), folder, LocalProcesses(2))
    return folder


@pytest.fixture(scope="module")
def expected(whole: Path) -> bytes:
    return (whole / "results.csv").read_bytes()


# --- what a run leaves ------------------------------------------------------------------------------------------


def test_the_table_has_a_row_for_each_case_in_plan_order(whole: Path) -> None:
    plan, rows = plan_of(), read_rows(whole / "results.csv")
    assert [r["case_id"] for r in rows] == [c.case_id for c in plan.cases]
    assert [(r["fastener.rounding"], r["fastener.grade"], r["contact.friction"]) for r in rows] == [
        c.values for c in plan.cases
    ]
    assert list(rows[0]) == [
        "case_id", "name", "fastener.rounding", "fastener.grade", "contact.friction", "status", "reason",
        *(column.key for column in ANSWERS), "cautions",
    ]  # fmt: skip
    by = {tuple(r[p] for p in plan.varied): r["slip_torque_Nm"] for r in rows}
    assert by["0 %", "8.8", 0.1] < by["0 %", "8.8", 0.2] < by["0 %", "10.9", 0.2]
    assert all(r["status"] == "ok" and r["turns_freely"] is False for r in rows)
    # The same number to the last digit in the table and in the file of the case.
    first = json.loads(StudyStore(whole).path(rows[0]["case_id"]).read_text())
    assert (
        first["answers"]["slip_torque_Nm"] == rows[0]["slip_torque_Nm"] == first["record"]["slip_torque_Nm"]
    )
    assert StudyStore(whole).rows(plan) == rows


def test_parquet_holds_the_same_table(whole: Path) -> None:
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(whole / "results.parquet").to_pylist()
    assert table == [dict(r, reason=r["reason"]) for r in read_rows(whole / "results.csv")]


def test_summary_tables_lay_out_the_slip_torque(whole: Path) -> None:
    tables = pivots(plan_of().varied, read_rows(whole / "results.csv"))
    assert [t.title for t in tables] == ["friction 0.1", "friction 0.2"]
    for table in tables:
        assert len(table.rows) == len(table.cells) and all(len(r) == len(table.columns) for r in table.cells)
        assert all(float(cell) > 0 for row in table.cells for cell in row)


def test_events_come_in_order(tmp_path: Path) -> None:
    events, _ = ran(plan_of(), tmp_path)
    assert (
        sum(isinstance(e, CaseStarted) for e in events) == sum(isinstance(e, CaseDone) for e in events) == 8
    )
    assert [(e.done, e.total) for e in events if isinstance(e, BodyDone)] == [(1, 3), (2, 3), (3, 3)]
    started: set[int] = set()
    for event in events:
        if isinstance(event, CaseStarted):
            started.add(event.case.index)
        elif isinstance(event, CaseDone):
            assert event.case.index in started
    done = end_of(events)
    assert (done.solved, done.reused, done.failed, done.turn_freely, len(done.rows)) == (8, 0, 0, 0, 8)


# --- the same bytes, however it was run ----------------------------------------------------------------------------


def test_one_worker_and_none_give_the_bytes_of_two(expected: bytes, tmp_path: Path) -> None:
    assert ran(plan_of(), tmp_path / "one", LocalProcesses(1))[1] == expected
    assert ran(plan_of(), tmp_path / "none")[1] == expected


def test_the_order_of_solving_does_not_matter(
    expected: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grouped = runner._grouped
    monkeypatch.setattr(runner, "_grouped", lambda keyed: grouped(keyed)[::-1])
    events, found = ran(plan_of(), tmp_path)
    started = [e.case.index for e in events if isinstance(e, CaseStarted)]
    assert started[0] > started[-1]
    assert found == expected


def test_the_order_in_the_file_does_not_matter(whole: Path, tmp_path: Path) -> None:
    turned = STUDY.replace('["0 %", "20 %"]', '["20 %", "0 %"]').replace("[0.1, 0.2]", "[0.2, 0.1]")
    ran(plan_of(turned), tmp_path)
    mine, theirs = ({r["case_id"]: r for r in read_rows(f / "results.csv")} for f in (tmp_path, whole))
    assert mine.keys() == theirs.keys()
    for key, row in mine.items():
        assert {**row, "name": ""} == {**theirs[key], "name": ""}


def test_a_second_run_solves_nothing_and_a_larger_study_only_what_is_new(
    expected: bytes, tmp_path: Path
) -> None:
    ran(plan_of(), tmp_path)
    executor = InProcess()
    events, found = ran(plan_of(), tmp_path, executor)
    assert found == expected and executor.given == [] and executor.closed
    done = end_of(events)
    assert (done.solved, done.reused) == (0, 8)
    assert all(e.reused for e in events if isinstance(e, CaseDone))
    more, _ = ran(plan_of(STUDY.replace("[0.1, 0.2]", "[0.1, 0.2, 0.25]")), tmp_path)
    assert (end_of(more).solved, end_of(more).reused) == (4, 8)
    left = forecast(plan_of(), 2, StudyStore(tmp_path))
    assert (left.to_solve, left.to_build, left.measured) == (0, 0, True)


def test_two_rows_that_ask_the_same_are_solved_once(tmp_path: Path) -> None:
    text = STUDY.replace('"fastener.grade" = ["8.8", "10.9"]\n"contact.friction" = [0.1, 0.2]', "").replace(
        '"0 %", "20 %"', '"0 %"'
    )
    text = text.replace('size = "M10"', 'size = "M10"\ngrade = "8.8"')
    text += '[[sweep.together]]\n"contact.friction" = [0.1, 0.2]\n"load.direction" = ["anticlockwise", "clockwise"]\n'
    plan = plan_of(text)
    same = StudyPlan(plan.name, plan.varied, (plan.cases[0], plan.cases[1], *plan.cases[:1]))
    same = StudyPlan(
        same.name,
        same.varied,
        tuple(type(c)(i, c.case_id, c.name, c.values, c.case) for i, c in enumerate(same.cases)),
    )
    executor = InProcess()
    events, _ = ran(same, tmp_path, executor)
    assert sum(t.startswith("case-") for t in executor.given) == 2
    assert len(end_of(events).rows) == 3 and end_of(events).rows[0] == end_of(events).rows[2]


# --- deaths of workers ------------------------------------------------------------------------------------------


def test_a_killed_worker_costs_nothing(expected: bytes, tmp_path: Path) -> None:
    executor, done = LocalProcesses(2), 0
    store = StudyStore(tmp_path)
    for event in run_study(plan_of(), store, executor):
        done += isinstance(event, CaseDone)
        if isinstance(event, CaseDone) and done in (1, 4):
            os.kill(executor.pids()[0], signal.SIGKILL)
    assert (tmp_path / "results.csv").read_bytes() == expected
    assert 1 <= sum(e["event"] == "died" for e in store.history()) <= 2


def test_a_case_that_kills_its_worker_twice_is_a_row_and_is_tried_in_the_next_run(
    expected: bytes, tmp_path: Path
) -> None:
    plan = plan_of()
    ticket = f"case-{plan.cases[4].case_id}"
    executor = InProcess({ticket: 2})
    events, _ = ran(plan, tmp_path, executor)
    assert executor.given.count(ticket) == 2
    failed = [e for e in events if isinstance(e, CaseFailed)]
    assert [e.case.index for e in failed] == [4] and "died" in failed[0].row["reason"]
    assert (end_of(events).failed, end_of(events).solved) == (1, 8)
    again, found = ran(plan, tmp_path)
    assert found == expected and (end_of(again).solved, end_of(again).reused) == (1, 7)
    once, found = ran(plan, tmp_path / "once", InProcess({ticket: 1}))
    assert found == expected and end_of(once).failed == 0


def test_a_body_whose_worker_dies_fails_its_cases_for_now(expected: bytes, tmp_path: Path) -> None:
    probe = InProcess()
    ran(plan_of(), tmp_path / "probe", probe)
    body = next(t for t in probe.given if t.startswith("fastener-"))
    events, _ = ran(plan_of(), tmp_path / "run", InProcess({body: 2}))
    assert end_of(events).failed == 4
    _, found = ran(plan_of(), tmp_path / "run")
    assert found == expected


def test_a_worker_that_dies_of_its_task_is_replaced() -> None:
    executor = LocalProcesses(1)
    try:
        first = executor.pids()
        executor.submit("deadly", Deadly())  # type: ignore[arg-type]
        assert executor.room() == 0
        assert executor.wait() == [Ended("deadly", None, f"process {first[0]}", died=True)]
        assert executor.room() == 1 and executor.pids() != first
    finally:
        executor.close()
    assert executor.pids() == []


class Deadly:
    """Ends the process that unpickles it."""

    def __reduce__(self) -> Any:
        return os._exit, (9,)


def test_workers_have_one_thread_and_leave_the_environment_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    executor = LocalProcesses(1)
    try:
        assert os.environ["OMP_NUM_THREADS"] == "7" and "MKL_NUM_THREADS" not in os.environ
        place = Path(f"/proc/{executor.pids()[0]}/environ")
        wait_until(place.read_bytes)  # empty until the new program is in place
        environment = place.read_bytes().split(b"\0")
        assert {b"OPENBLAS_NUM_THREADS=1", b"OMP_NUM_THREADS=1", b"MKL_NUM_THREADS=1"} <= set(environment)
    finally:
        executor.close()


def test_a_script_without_a_main_guard_is_told_so(tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(
        "from contactfe.parallel import LocalProcesses\n"
        "from contactfe.study import StudyStore, parse_plan, run_study\n"
        "import tomllib\n"
        f"plan = parse_plan(tomllib.loads('''{STUDY}'''))\n"
        f"list(run_study(plan, StudyStore({str(tmp_path / 'out')!r}), LocalProcesses(1)))\n"
    )
    ended = subprocess.run(
        [sys.executable, script], capture_output=True, text=True, env=environment(), timeout=60
    )
    assert ended.returncode == 1 and 'if __name__ == "__main__":' in ended.stderr.splitlines()[-1]


@pytest.mark.parametrize("workers", [0, 100])
def test_a_senseless_number_of_workers_is_refused(workers: int) -> None:
    with pytest.raises(ContactFEError, match="ask for 1 to 61"):
        LocalProcesses(workers)


# --- the parent dies ----------------------------------------------------------------------------------------------


def sweep(*words: str | Path, **more: Any) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "contactfe", "sweep", *map(str, words)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment(), **more
    )


def written_cases(folder: Path) -> int:
    return len(list((folder / "cases").glob("*/*.json")))


def wait_until(true: Any, seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "nothing happened"
        time.sleep(0.01)


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=lambda s: s.name)
def test_a_killed_and_resumed_study_equals_an_uninterrupted_one(
    how: signal.Signals, expected: bytes, tmp_path: Path
) -> None:
    file, out = tmp_path / "study.toml", tmp_path / "out"
    file.write_text(STUDY)
    run = sweep(file, "--out", out, "--workers", "2")
    wait_until(lambda: written_cases(out) >= 3)
    workers = [int(c) for c in Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()]
    assert len(workers) >= 2
    run.send_signal(how)
    _, said = run.communicate(timeout=60)
    assert run.returncode == (130 if how == signal.SIGINT else -how)
    if how == signal.SIGINT:
        assert "interrupted" in said and "the same command goes on from there" in said
        assert len(read_rows(out / "results.csv")) == written_cases(out) < 8
    # Workers without a parent end by themselves.
    wait_until(lambda: not any(Path(f"/proc/{w}").exists() for w in workers))
    kept = written_cases(out)
    assert 3 <= kept < 8
    again = sweep(file, "--out", out, "--workers", "2")
    said, _ = again.communicate(timeout=120)
    assert again.returncode == 0
    assert f"8 cases: {8 - kept} solved, {kept} were known from before, 0 failed" in said
    assert (out / "results.csv").read_bytes() == expected


# --- full disk ----------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Any]:
    """A function that fills the disk of a folder, and one that frees it: a small tmpfs, or a limit on file
    sizes."""
    folder.mkdir()
    mounted = (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", folder], capture_output=True
        ).returncode
        == 0
    )
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    ballast = folder / "ballast"

    def fill() -> None:
        if not mounted:
            resource.setrlimit(resource.RLIMIT_FSIZE, (64, hard))
            return
        with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
            for size in (1 << 20, 1 << 10, 1):
                with contextlib.suppress(OSError):
                    while True:
                        file.write(b"x" * size)

    def free() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        ballast.unlink(missing_ok=True)

    try:
        yield fill, free
    finally:
        free()
        if mounted:
            subprocess.run(["umount", "-l", folder], check=True)


def test_a_full_disk_is_said_and_loses_nothing(expected: bytes, tmp_path: Path) -> None:
    with small_disk(tmp_path / "small") as (fill, free):
        store, plan, executor = StudyStore(tmp_path / "small" / "out"), plan_of(), LocalProcesses(2)
        done: list[CaseDone] = []
        with pytest.raises(ContactFEError) as caught:
            for event in run_study(plan, store, executor):
                if isinstance(event, CaseDone):
                    done.append(event)
                    if len(done) == 3:
                        fill()
        assert caught.value.slug == "disk-full" and executor.pids() == []
        assert "the disk is full" in str(caught.value) and "run the same command again" in str(caught.value)
        assert len(done) >= 3
        assert StudyStore(store.folder).rows(plan) == [
            e.row for e in sorted(done, key=lambda e: e.case.index)
        ]
        free()
        events, found = ran(plan, store.folder, LocalProcesses(2))
        assert found == expected
        assert end_of(events).reused == len(done)


def test_a_limit_on_file_sizes_reads_like_a_full_disk(expected: bytes, tmp_path: Path) -> None:
    """The bodies do not fit: the workers say it, the command ends with exit code 1, and a later run mends
    it."""
    file, out = tmp_path / "study.toml", tmp_path / "out"
    file.write_text(STUDY)
    run = sweep(
        file,
        "--out",
        out,
        "--workers",
        "2",
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, resource.RLIM_INFINITY)),
    )
    said, talked = run.communicate(timeout=60)
    assert run.returncode == 1 and said == ""
    assert "the disk is full" in talked and "Traceback" not in talked
    assert not list(out.rglob("*.part"))
    again = sweep(file, "--out", out, "--quiet")
    _, talked = again.communicate(timeout=120)
    assert again.returncode == 0 and talked == ""
    assert (out / "results.csv").read_bytes() == expected


# --- the store ----------------------------------------------------------------------------------------------------


def test_damaged_case_files_and_a_torn_journal_are_mended(expected: bytes, tmp_path: Path) -> None:
    plan, store = plan_of(), StudyStore(tmp_path)
    ran(plan, tmp_path)
    files = [store.path(c.case_id) for c in plan.cases]
    files[0].write_text(files[0].read_text()[:300])
    files[1].write_text(files[1].read_text().replace('"status": "ok"', '"status": "turns freely"'))
    files[2].write_bytes(b"\xff\xfe")
    files[3].write_text("[]")
    files[4].write_text(files[5].read_text())
    with (tmp_path / "journal.jsonl").open("a") as journal:
        journal.write('{"event": "case", "sec')
    events, found = ran(plan, tmp_path)
    assert found == expected and (end_of(events).solved, end_of(events).reused) == (5, 3)
    history = list(store.history())
    assert [e["event"] for e in history].count("begin") == 2 and history[-1]["event"] == "end"
    assert sum(e["event"] == "case" for e in history) == 8 + 5


def test_what_killed_runs_left_is_cleared_but_not_what_is_being_written(tmp_path: Path) -> None:
    ran(plan_of(), tmp_path)
    old, new = tmp_path / "bodies" / "old.1.part", tmp_path / "bodies" / "new.1.part"
    file = tmp_path / "cases" / "old.json.1.part"
    for folder in (old, new):
        folder.mkdir()
        (folder / "x.npy").write_bytes(b"x")
    file.write_text("{")
    for path in (old, file):
        os.utime(path, (time.time() - 1000, time.time() - 1000))
    ran(plan_of(), tmp_path)
    assert not old.exists() and not file.exists() and new.exists()


def test_the_table_can_be_read_back_and_a_foreign_one_is_refused(whole: Path, tmp_path: Path) -> None:
    with (whole / "results.csv").open(newline="") as file:
        raw = list(csv.DictReader(file))
    rows = read_rows(whole / "results.csv")
    assert [repr(r["slip_torque_Nm"]) for r in rows] == [r["slip_torque_Nm"] for r in raw]
    assert rows[0]["fastener.grade"] == "8.8" and raw[0]["turns_freely"] == "false"
    foreign = tmp_path / "foreign.csv"
    for text in ("", "a,b\n1,2\n", "case_id,name\n1\n"):
        foreign.write_text(text)
        with pytest.raises(InputError, match="not a table of a study"):
            read_rows(foreign)
    with pytest.raises(InputError, match="cannot be read"):
        read_rows(tmp_path / "absent.csv")


def test_a_worker_that_is_told_to_end_clears_away_what_it_is_writing(tmp_path: Path) -> None:
    # The files grow for ever: the worker can only be in the middle of writing when it is told to end.
    script = tmp_path / "writing.py"
    script.write_text(
        "import multiprocessing, pathlib, pickle, sys\n"
        "from contactfe.parallel import processes\n"
        "from contactfe.files import write_whole\n"
        "def slow(part):\n"
        "    with part.open('wb') as file:\n"
        "        while True:\n"
        "            file.write(b'x')\n"
        "            file.flush()\n"
        "def run():\n"
        "    write_whole(pathlib.Path(sys.argv[1]) / 'body', slow)\n"
        "if __name__ == '__main__':\n"
        "    mine, theirs = multiprocessing.Pipe()\n"
        "    mine.send_bytes(pickle.dumps(run))\n"
        "    processes._serve(theirs)\n"
    )
    folder = tmp_path / "bodies"
    folder.mkdir()
    worker = subprocess.Popen([sys.executable, script, folder], env=environment())
    deadline = time.monotonic() + 60
    while not list(folder.glob("*.part")) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert list(folder.glob("*.part"))
    worker.terminate()
    assert worker.wait(timeout=20) == 0
    assert not list(folder.iterdir())
