"""Workers of a dask.distributed cluster, somewhere else or on this machine. The only user of dask."""

from __future__ import annotations

import importlib
import importlib.util
import logging
import os
import re
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from contactfe.errors import ContactFEError, shown
from contactfe.parallel.executors import Call, Ended
from contactfe.parallel.greeting import expect_scheduler
from contactfe.parallel.scratch import scratch_folder
from contactfe.parallel.threads import as_workers, hold_one_thread

LOCAL = "local"
PATIENCE = 5.0  # s that a scheduler gets to answer
WAIT_FOR_WORKERS = 30.0  # s
COUNT_EVERY = 5.0  # s between two looks at how many workers there are
_ADDRESS = re.compile(r"(tcp|tls)://([^\s/]{1,255}):(\d{1,5})")
AHEAD = 2  # calls given per thread of a worker, so that none waits for the next one
HERE = "127.0.0.1"  # a local cluster is nobody else's

_own_folder: Path | None = None  # of a worker that does not see the folder of the run


class DaskCluster:
    """An existing scheduler by its address, or ``local``: single-threaded processes on this machine."""

    attempts = 1  # the scheduler gives a call of a dead worker to another one by itself

    def __init__(
        self, address: str, workers: int, folder: Path, revision: Callable[[], int] | None = None
    ) -> None:
        """Connect, and look whether the workers have the same `revision` of the solver and see `folder`.

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
                f'"{shown(address)}" is not the address of a scheduler',
                where="--cluster",
                hint="write tcp://host:port as the scheduler prints it, or local",
                slug="no-cluster",
            )
        self._cluster: Any = None
        self._scratch = ExitStack()
        self._client: Any = None
        self._running: dict[Any, str] = {}
        self._threads, self._counted = 1, 0.0
        try:
            self._connect(address, workers)
            self._check_workers(address, revision)
            self.shares_disk = self._see(folder)
        except BaseException:
            self.close()
            raise

    def _connect(self, address: str, workers: int) -> None:
        dask, distributed = _library("dask"), _library("distributed")
        _hush()
        try:
            if address == LOCAL:
                scratch = self._scratch.enter_context(scratch_folder("cluster"))
                # One more try after a death, as with local processes; no page to look at.
                with as_workers(), dask.config.set({"distributed.scheduler.allowed-failures": 1}):
                    self._cluster = distributed.LocalCluster(
                        n_workers=workers,
                        threads_per_worker=1,
                        processes=True,
                        # Any free port, another cluster may have the usual one; on the loopback alone.
                        host=HERE,
                        dashboard_address=f"{HERE}:0",
                        worker_dashboard_address=f"{HERE}:0",
                        silence_logs=logging.CRITICAL,
                        local_directory=str(scratch),
                    )
                address = self._cluster.scheduler_address
            else:
                expect_scheduler(address, PATIENCE)
            self._client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            reason = " ".join(str(error).split())
            raise ContactFEError(
                f"no scheduler answers: {reason}",
                where=address,
                hint="write tcp://host:port as the scheduler prints it",
                slug="no-cluster",
            ) from error

    def _check_workers(self, address: str, revision: Callable[[], int] | None) -> None:
        try:
            self._client.wait_for_workers(1, timeout=WAIT_FOR_WORKERS)
        except TimeoutError as error:
            raise ContactFEError(
                "the scheduler has no workers",
                where=address,
                hint=f"start one: dask worker {address}",
                slug="no-cluster",
            ) from error
        if revision is None:
            return
        for worker, found in self._client.run(revision).items():
            if found != revision():
                raise ContactFEError(
                    f"has solver revision {found}, this is {revision()}",
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
            with _there():
                self._threads = max(1, sum(self._client.ncores().values()))
            self._counted = time.monotonic()
        return max(0, AHEAD * self._threads - len(self._running))

    def submit(self, ticket: str, call: Call, *, first: bool = False) -> None:
        key = f"{ticket}-{uuid.uuid4().hex}"
        with _there():
            future = self._client.submit(
                _run, call, self.shares_disk, key=key, pure=False, priority=int(first)
            )
        self._running[future] = ticket

    def wait(self) -> list[Ended]:
        with _there(), self._client.as_current():
            done = _library("distributed").wait(list(self._running), return_when="FIRST_COMPLETED").done
        return [self._ended(future) for future in done]

    def _ended(self, future: Any) -> Ended:
        ticket = self._running.pop(future)
        try:
            with _there():
                result, worker = future.result()
        except _library("distributed").KilledWorker:
            return Ended(ticket, None, "a worker of the cluster", died=True)
        finally:
            future.release()
        return Ended(ticket, result, worker)

    def close(self) -> None:
        for future in self._running:
            future.cancel()
        self._running = {}
        if self._client is not None:
            self._client.close()
        if self._cluster is not None:
            self._cluster.close()
        self._scratch.close()


def _hush() -> None:
    """What goes wrong is said once, by our own errors, not with the traces of a library, which sets up its loggers
    when it is imported."""
    for name in list(logging.Logger.manager.loggerDict):
        if name.split(".")[0] in ("distributed", "tornado", "asyncio"):
            logging.getLogger(name).setLevel(logging.CRITICAL)


@contextmanager
def _there() -> Iterator[None]:
    """What happens when the scheduler has gone becomes an error of ours; what a call raised itself comes through."""
    client, core = _library("distributed.client"), _library("distributed.comm.core")
    gone = [client.CancelledError, core.CommClosedError]
    # Since 2024.5 waiting for futures that a lost scheduler took along has an error of its own.
    gone += [getattr(client, "FuturesCancelledError", client.CancelledError)]
    try:
        yield
    except tuple(gone) as error:
        raise ContactFEError(
            "the scheduler went away",
            hint="what was done is kept: run the same command again",
            slug="no-cluster",
        ) from error


def _library(name: str) -> Any:
    """A module of dask, which is imported only where a cluster is asked for."""
    return importlib.import_module(name)


def worker_folder() -> Path | None:
    """In a worker that does not see the folder of the run: a folder of its own, for the time of the cluster."""
    return _own_folder


def _run(call: Call, shared: bool) -> tuple[Any, str]:
    """Run a call on a worker."""
    global _own_folder
    worker = _library("distributed").get_worker()
    hold_one_thread()
    _own_folder = None if shared else Path(worker.local_directory)
    return call(), str(worker.address)
