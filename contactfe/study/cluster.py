"""Workers of a dask.distributed cluster, somewhere else or on this machine. The only user of dask."""

from __future__ import annotations

import importlib
import importlib.util
import logging
import os
import re
import shutil
import tempfile
import time
import uuid
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from contactfe.errors import ContactFEError
from contactfe.study.executors import Ended
from contactfe.study.processes import as_workers
from contactfe.study.work import BodyTask, Outcome, Task, run_task
from contactfe.turn.revision import SOLVER_REVISION

LOCAL = "local"
PATIENCE = 5.0  # s that a scheduler gets to answer
WAIT_FOR_WORKERS = 30.0  # s
COUNT_EVERY = 5.0  # s between two looks at how many workers there are
_ADDRESS = re.compile(r"[a-z]+://\S+:\d+")
AHEAD = 2  # tasks given per thread of a worker, so that none waits for the next one


class DaskCluster:
    """An existing scheduler by its address, or ``local``: single-threaded processes on this machine."""

    attempts = 1  # the scheduler gives a task of a dead worker to another one by itself

    def __init__(self, address: str, workers: int, folder: Path) -> None:
        """Connect, and look whether the workers run the same solver and see `folder`.

        Raises:
            ContactFEError: dask is not installed, nobody answers, there is no worker, or one has another
            revision.
        """
        if importlib.util.find_spec("distributed") is None:
            raise ContactFEError(
                "a cluster needs dask.distributed",
                hint='install it: pip install "contactfe[cluster]"',
                slug="missing-extra",
            )
        if address != LOCAL and _ADDRESS.fullmatch(address) is None:
            raise ContactFEError(
                f'"{address}" is not the address of a scheduler',
                where="--cluster",
                hint="write tcp://host:port as the scheduler prints it, or local",
                slug="no-cluster",
            )
        self._cluster: Any = None
        self._scratch: str | None = None
        self._client: Any = None
        self._running: dict[Any, tuple[str, Task]] = {}
        self._threads, self._counted = 1, 0.0
        try:
            self._connect(address, workers)
            self._check_workers(address)
            self.shares_disk = self._see(folder)
        except BaseException:
            self.close()
            raise

    def _connect(self, address: str, workers: int) -> None:
        dask, distributed = _library("dask"), _library("distributed")
        try:
            if address == LOCAL:
                self._scratch = tempfile.mkdtemp(prefix="contactfe-")
                # One more try after a death, as with local processes; no page to look at.
                with as_workers(), dask.config.set({"distributed.scheduler.allowed-failures": 1}):
                    self._cluster = distributed.LocalCluster(
                        n_workers=workers,
                        threads_per_worker=1,
                        processes=True,
                        dashboard_address=":0",  # any free port: another cluster may have the usual one
                        silence_logs=logging.CRITICAL,
                        local_directory=self._scratch,
                    )
                address = self._cluster.scheduler_address
            self._client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            reason = " ".join(str(error).split())
            raise ContactFEError(
                f"no scheduler answers: {reason}",
                where=address,
                hint="write tcp://host:port as the scheduler prints it",
                slug="no-cluster",
            ) from error

    def _check_workers(self, address: str) -> None:
        try:
            self._client.wait_for_workers(1, timeout=WAIT_FOR_WORKERS)
        except TimeoutError as error:
            raise ContactFEError(
                "the scheduler has no workers",
                where=address,
                hint=f"start one: dask worker {address}",
                slug="no-cluster",
            ) from error
        for worker, found in self._client.run(_revision).items():
            if found != SOLVER_REVISION:
                raise ContactFEError(
                    f"has solver revision {found}, this is {SOLVER_REVISION}",
                    where=worker,
                    hint="install the same contactfe there",
                    slug="other-revision",
                )

    def _see(self, folder: Path) -> bool:
        """Whether all workers see a file that this process writes into the folder."""
        token = folder / f"{uuid.uuid4().hex}.token"
        token.touch()
        try:
            return all(self._client.run(os.path.exists, str(token.resolve())).values())
        finally:
            token.unlink()

    def room(self) -> int:
        if time.monotonic() - self._counted > COUNT_EVERY:
            self._threads, self._counted = max(1, sum(self._client.ncores().values())), time.monotonic()
        return max(0, AHEAD * self._threads - len(self._running))

    def submit(self, ticket: str, task: Task) -> None:
        # Meshing first: cases wait for it.
        priority = 1 if isinstance(task, BodyTask) else 0
        call = partial(_run, shared=self.shares_disk)
        future = self._client.submit(
            call, task, key=f"{ticket}-{uuid.uuid4().hex}", pure=False, priority=priority
        )
        self._running[future] = (ticket, task)

    def wait(self) -> list[Ended]:
        with self._client.as_current():
            done = _library("distributed").wait(list(self._running), return_when="FIRST_COMPLETED").done
        return [self._ended(future) for future in done]

    def _ended(self, future: Any) -> Ended:
        gone = _library("distributed.client").CancelledError
        ticket, _ = self._running.pop(future)
        try:
            outcome, worker = future.result()
        except _library("distributed").KilledWorker:
            return Ended(ticket, None, "a worker of the cluster")
        except gone as error:
            raise ContactFEError(
                "the scheduler went away",
                hint="what was done is kept: run the same command again",
                slug="no-cluster",
            ) from error
        finally:
            future.release()
        return Ended(ticket, outcome, worker)

    def close(self) -> None:
        for future in self._running:
            future.cancel()
        self._running = {}
        if self._client is not None:
            self._client.close()
        if self._cluster is not None:
            self._cluster.close()
        if self._scratch is not None:
            shutil.rmtree(self._scratch, ignore_errors=True)


def _library(name: str) -> Any:
    """A module of dask, which is imported only where a cluster is asked for."""
    return importlib.import_module(name)


def _run(task: Task, shared: bool) -> tuple[Outcome, str]:
    """Do a task on a worker; without a common disk its bodies go into the worker's own folder."""
    worker = _library("distributed").get_worker()
    if not shared:
        task = replace(task, folder=str(Path(worker.local_directory) / "bodies"))
    return run_task(task), str(worker.address)


def _revision() -> int:
    from contactfe.turn.revision import SOLVER_REVISION as there

    return there
