"""Local worker processes: started by spawn, one thread each for the numerical libraries, each on a pipe of
its own.

A pipe per worker tells which call a dead worker had. Workers watch their parent, and end with it.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import threading
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from multiprocessing.process import parent_process

from contactfe.errors import ContactFEError
from contactfe.parallel.executors import Call, Ended
from contactfe.parallel.threads import as_workers, hold_one_thread

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

    def submit(self, ticket: str, call: Call, *, first: bool = False) -> None:
        worker = next(w for w in self._workers if w.ticket is None)
        content = pickle.dumps(call, protocol=5)
        worker.ticket = ticket
        try:
            worker.pipe.send_bytes(content)
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
        result, error = message
        ticket, worker.ticket = worker.ticket, None
        if error is not None:
            raise error
        assert ticket is not None  # it answers nothing that it was not given
        return [Ended(ticket, result, name)]

    def _bury(self, worker: _Worker, name: str) -> list[Ended]:
        """Replace a dead worker; its call, if it had one, has ended without a result."""
        self._workers.remove(worker)
        worker.pipe.close()
        worker.process.join()
        self._false_starts = 0 if worker.ready else self._false_starts + 1
        # One that was killed is replaced; one that ended by itself before it was ready would do so again.
        ended_itself = worker.process.exitcode is not None and worker.process.exitcode >= 0
        if not worker.ready and (ended_itself or self._false_starts > MOST_FALSE_STARTS):
            raise ContactFEError(
                "a worker process could not start",
                hint='in a script, call this below: if __name__ == "__main__":',
                slug="worker-start",
            )
        with as_workers():
            self._workers.append(self._start())
        return [Ended(worker.ticket, None, name, died=True)] if worker.ticket is not None else []

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


def _leave(*_: object) -> None:
    """End as by `sys.exit`: what is half-written is cleared away on the way out."""
    raise SystemExit(0)


def _serve(pipe: Connection) -> None:
    """The life of a worker: calls in, results out, until the pipe closes or the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # also when it was started from another thread
    signal.signal(signal.SIGTERM, _leave)
    threading.Thread(target=_watch_parent, daemon=True).start()
    try:
        pipe.send(None)
        while True:
            content = pipe.recv_bytes()
            hold_one_thread()
            pipe.send_bytes(_answer(content))
    except (EOFError, OSError):
        return  # the parent is gone


def _answer(content: bytes) -> bytes:
    """What came of a pickled call, pickled: its result, or what it raised."""
    try:
        call: Call = pickle.loads(content)
        return pickle.dumps((call(), None), protocol=5)
    except Exception as error:
        try:
            return pickle.dumps((None, error), protocol=5)
        except Exception:  # an error that holds what cannot travel
            told = RuntimeError(f"{type(error).__name__}: {error}")
            return pickle.dumps((None, told), protocol=5)


def _watch_parent() -> None:
    """End this process when its parent is gone, in the middle of a call as well."""
    parent = parent_process()
    if parent is None:
        return
    wait([parent.sentinel])
    os.kill(os.getpid(), signal.SIGTERM)  # the main thread clears away what it is writing
    time.sleep(PATIENCE)
    os._exit(1)
