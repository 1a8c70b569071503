"""Local worker processes: started by spawn, one thread each for the numerical libraries, each on a pipe of
its own.

A pipe per worker tells which task a dead worker had, and tells the workers when their parent is gone.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess

from contactfe.errors import ContactFEError
from contactfe.study.executors import Ended
from contactfe.study.work import Outcome, Task, run_task

THREAD_VARIABLES = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)
MOST_WORKERS = 61  # more handles than this one call cannot wait for on some systems
MOST_FALSE_STARTS = 5  # workers in a row that were killed before they were ready
PATIENCE = 2.0  # s that a worker gets to end before it is killed


@dataclass
class _Worker:
    process: SpawnProcess
    pipe: Connection
    ready: bool = False
    ticket: str | None = None


class LocalProcesses:
    """A fixed number of worker processes on this machine; a dead one is replaced."""

    attempts = 2
    shares_disk = True

    def __init__(self, workers: int) -> None:
        """Start the workers.

        Raises:
            ContactFEError: the number makes no sense.
        """
        if not 1 <= workers <= MOST_WORKERS:
            raise ContactFEError(
                f"{workers} worker processes", hint=f"ask for 1 to {MOST_WORKERS}", slug="workers"
            )
        self._context = multiprocessing.get_context("spawn")
        self._workers: list[_Worker] = []
        self._false_starts = 0
        with as_workers():
            for _ in range(workers):
                self._workers.append(self._start())

    def _start(self) -> _Worker:
        here, there = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(there,), daemon=True)
        process.start()
        there.close()  # the worker's end lives in the worker alone, so that its death closes the pipe
        return _Worker(process, here)

    def pids(self) -> list[int]:
        """The process ids of the workers."""
        return [w.process.pid for w in self._workers if w.process.pid is not None]

    def room(self) -> int:
        return sum(w.ticket is None for w in self._workers)

    def submit(self, ticket: str, task: Task) -> None:
        worker = next(w for w in self._workers if w.ticket is None)
        worker.ticket = ticket
        try:
            worker.pipe.send((ticket, task))
        except (BrokenPipeError, ConnectionResetError):
            return  # it has just died: the next wait finds out

    def wait(self) -> list[Ended]:
        ended: list[Ended] = []
        while not ended:
            ready = set(wait([w.pipe for w in self._workers]))
            for worker in [w for w in self._workers if w.pipe in ready]:
                ended += self._hear(worker)
        return ended

    def _hear(self, worker: _Worker) -> list[Ended]:
        name = f"process {worker.process.pid}"
        try:
            message = worker.pipe.recv()
        except (EOFError, ConnectionResetError):
            return self._bury(worker, name)
        if message is None:
            worker.ready = True
            return []
        ticket, outcome, error = message
        worker.ticket = None
        if error is not None:
            raise error
        return [Ended(ticket, outcome, name)]

    def _bury(self, worker: _Worker, name: str) -> list[Ended]:
        """Replace a dead worker; its task, if it had one, has ended without an outcome."""
        self._workers.remove(worker)
        worker.pipe.close()
        worker.process.join()
        self._false_starts = 0 if worker.ready else self._false_starts + 1
        # One that was killed is replaced; one that ended by itself before it was ready would do so again.
        ended_itself = worker.process.exitcode is not None and worker.process.exitcode >= 0
        if not worker.ready and (ended_itself or self._false_starts > MOST_FALSE_STARTS):
            raise ContactFEError(
                "a worker process could not start",
                hint='in a script, run studies below: if __name__ == "__main__":',
                slug="worker-start",
            )
        with as_workers():
            self._workers.append(self._start())
        return [Ended(worker.ticket, None, name)] if worker.ticket is not None else []

    def close(self) -> None:
        for worker in self._workers:
            worker.pipe.close()
            worker.process.terminate()
        for worker in self._workers:
            worker.process.join(PATIENCE)
            if worker.process.is_alive():
                worker.process.kill()
                worker.process.join()
        self._workers = []


@contextmanager
def as_workers() -> Iterator[None]:
    """Processes started meanwhile inherit one thread per numerical library, which is read at loading, and leave
    an interrupt from the keyboard to their parent, who hears it too and decides."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    in_main = threading.current_thread() is threading.main_thread()
    handler = signal.signal(signal.SIGINT, signal.SIG_IGN) if in_main else None
    try:
        yield
    finally:
        if in_main:
            signal.signal(signal.SIGINT, handler)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _leave(*_: object) -> None:
    """End as by `sys.exit`: what is half-written is cleared away on the way out."""
    raise SystemExit(0)


def _serve(pipe: Connection) -> None:
    """The life of a worker: tasks in, outcomes out, until the pipe closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # also when it was started from another thread
    signal.signal(signal.SIGTERM, _leave)
    try:
        pipe.send(None)
        while True:
            ticket, task = pipe.recv()
            outcome: Outcome | None = None
            failure: ContactFEError | None = None
            try:
                outcome = run_task(task)
            except ContactFEError as error:
                failure = error
            pipe.send((ticket, outcome, failure))
    except (EOFError, OSError):
        return  # the parent is gone
