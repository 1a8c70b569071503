"""Worker processes: one thread each, deaths of workers and of their parent, temporary folders, a cluster's doors."""

from __future__ import annotations

import functools
import importlib.util
import ipaddress
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sweeps import environment

from contactfe.errors import ContactFEError, GeometryError
from contactfe.parallel import DaskCluster, LocalProcesses, run_all, scratch_folder

BAND = """\
format = 1
[fastener]
size = "M10"
grade = "8.8"
[wrench]
profile = "ring-twelve"
[contact]
friction = { low = 0.1, high = 0.2 }
"""


def wait_until(true: Callable[[], Any], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "nothing happened"
        time.sleep(0.01)


def children(pid: int) -> list[int]:
    return [int(c) for c in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def alive(pid: int) -> bool:
    """Whether a process runs: one that has ended but that nobody has asked about does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def threads() -> int:
    """Threads that the linear algebra of this process may use."""
    import numpy
    from threadpoolctl import threadpool_info

    assert numpy.eye(2).sum() == 2.0  # loaded
    return max((int(entry["num_threads"]) for entry in threadpool_info()), default=1)


def refuse() -> None:
    raise GeometryError("an edge has no length", where="wrench")


def die_once(mark: Path) -> str:
    """End this process the first time."""
    if not mark.exists():
        mark.touch()
        os._exit(9)
    return "done"


@pytest.fixture
def pool() -> Iterator[LocalProcesses]:
    executor = LocalProcesses(2)
    yield executor
    executor.close()


def test_every_call_is_answered_once_whatever_the_order(pool: LocalProcesses) -> None:
    found: dict[int, float] = {}
    run_all(pool, [functools.partial(pow, k, 2) for k in range(9)], lambda i, value: found.update({i: value}))
    assert found == {k: k**2 for k in range(9)}


def test_workers_use_one_thread(pool: LocalProcesses, monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[int] = []
    run_all(pool, [threads, threads], lambda _, value: found.append(value))
    assert found == [1, 1]


def test_what_a_call_raises_is_raised_here(pool: LocalProcesses) -> None:
    with pytest.raises(GeometryError, match="wrench: an edge has no length"):
        run_all(pool, [refuse], lambda *_: None)
    with pytest.raises(ValueError, match="invalid literal"):
        run_all(pool, [functools.partial(int, "one")], lambda *_: None)


def test_a_call_whose_worker_dies_is_given_once_more(pool: LocalProcesses, tmp_path: Path) -> None:
    found: list[str] = []
    run_all(pool, [functools.partial(die_once, tmp_path / "mark")], lambda _, value: found.append(value))
    assert found == ["done"]
    with pytest.raises(ContactFEError, match="a worker process died"):
        run_all(pool, [functools.partial(os._exit, 9)], lambda *_: None)


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT], ids=lambda s: s.name)
def test_a_band_that_is_killed_leaves_no_workers_and_no_folder(how: signal.Signals, tmp_path: Path) -> None:
    file, scratch = tmp_path / "case.toml", tmp_path / "scratch"
    file.write_text(BAND)
    scratch.mkdir()
    run = subprocess.Popen(
        [sys.executable, "-m", "contactfe", "band", file, "-n", "512", "--workers", "2"],
        env={**environment(), "TMPDIR": str(scratch)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    # In the middle of its work: both bodies are built and in the folder.
    wait_until(lambda: len(list(scratch.glob("contactfe-band-*/*/body.json"))) == 2)
    below = children(run.pid)
    assert len(below) >= 2
    run.send_signal(how)
    _, said = run.communicate(timeout=60)
    assert run.returncode == (130 if how == signal.SIGINT else -how)
    assert b"Traceback" not in said
    wait_until(lambda: not any(alive(pid) for pid in below), 20.0)
    wait_until(lambda: not list(scratch.iterdir()), 20.0)


def test_a_scratch_folder_is_gone_at_the_end_and_nobody_else_may_enter(tmp_path: Path) -> None:
    with pytest.raises(KeyError), scratch_folder("test") as folder:
        assert folder.stat().st_mode & 0o077 == 0
        (folder / "file").touch()
        raise KeyError
    assert not folder.exists()


@pytest.mark.skipif(importlib.util.find_spec("distributed") is None, reason="without the extra cluster")
def test_a_local_cluster_listens_on_the_loopback_alone(tmp_path: Path) -> None:
    psutil = pytest.importorskip("psutil")
    executor = DaskCluster("local", 1, tmp_path)
    try:
        here = psutil.Process()
        places = [
            connection.laddr.ip
            for process in (here, *here.children(recursive=True))
            for connection in process.net_connections(kind="inet")
            if connection.status == psutil.CONN_LISTEN
        ]
        assert places and all(ipaddress.ip_address(place).is_loopback for place in places)
        found: list[int] = []
        run_all(executor, [functools.partial(pow, 3, 2)], lambda _, value: found.append(value))
        assert found == [9]
    finally:
        executor.close()
