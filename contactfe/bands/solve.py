"""Solving jobs: bodies once per process, curves on them, in worker processes or in this one."""

from __future__ import annotations

import hashlib
import math
import multiprocessing
import os
import pickle
import signal
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contactfe.bands.jobs import Job
from contactfe.errors import ContactFEError, NotConverged
from contactfe.inputs import CaseInput
from contactfe.profile import ProfilePair, profile_pair
from contactfe.turn import BodyModel, assemble, fastener_body, torque_curve, wrench_body
from contactfe.turn.estimate import peak
from contactfe.turn.shape import at_modulus

Array = NDArray[np.float64]
Watch = Callable[[int, int], None]

KEPT = 12  # bodies that a process remembers
CHUNK = 2  # jobs that a worker takes at a time: few, so that none works alone at the end
MOST_WORKERS = 61  # more handles than this one call cannot wait for on some systems

_folder: Path | None = None  # of a worker: where the bodies of its run are


def solve_jobs(jobs: Sequence[Job], workers: int = 1, watch: Watch | None = None) -> Array:
    """Slip torques (n,) N m of the jobs: 0 where the wrench turns freely, nan where no curve was found.

    The answers do not depend on `workers`. `watch` is called with how many of how many are done. Raises
    GeometryError for bodies that cannot be built, ContactFEError for a number of workers that makes no sense or
    workers that cannot start.
    """
    if not 1 <= workers <= MOST_WORKERS:
        raise ContactFEError(f"{workers} workers", hint=f"ask for 1 to {MOST_WORKERS}", slug="workers")
    unique = in_order(jobs)
    chunks = [unique[i : i + CHUNK] for i in range(0, len(unique), CHUNK)]
    found: dict[Job, float] = {}

    def take(chunk: Sequence[Job], torques: Sequence[float]) -> None:
        found.update(zip(chunk, torques, strict=True))
        if watch is not None:
            watch(len(found), len(unique))

    if workers == 1 or len(chunks) == 1:
        for chunk in chunks:
            take(chunk, solve_chunk(chunk))
    else:
        _in_processes(chunks, min(workers, len(chunks)), take)
    return np.array([found[job] for job in jobs])


def in_order(jobs: Sequence[Job]) -> list[Job]:
    """The jobs, each once, so that neighbours share bodies; the same order whatever the order of the jobs."""
    return sorted(dict.fromkeys(jobs), key=lambda job: (hash_key(job.wrench), hash_key(job.fastener)))


def hash_key(case: CaseInput) -> str:
    """Text that is the same for the same body, to sort by."""
    return repr((case.wrench, case.fastener))


def solve_chunk(chunk: Sequence[Job]) -> list[float]:
    """Slip torques N m of some jobs, one thread for the numerical libraries."""
    _one_thread()
    return [slip_torque(job) for job in chunk]


def slip_torque(job: Job) -> float:
    """Slip torque of a job in N m; 0 where the wrench turns freely, nan when the contact does not converge.

    Raises:
        GeometryError: from outlines or mesher.
    """
    return torque_on(job, _pair(pair_case(job)), _fastener(job.fastener), _wrench(job.wrench))


def pair_case(job: Job) -> CaseInput:
    """The case whose outlines both bodies of a job have."""
    return replace(job.fastener, wrench=job.wrench.wrench)


def torque_on(job: Job, pair: ProfilePair, fastener: BodyModel, wrench: BodyModel) -> float:
    """`slip_torque` on bodies that are there already, at the common modulus."""
    built = assemble(
        job.case,
        pair,
        at_modulus(fastener, job.case.fastener.elastic_modulus),
        at_modulus(wrench, job.case.wrench.elastic_modulus),
    )
    try:
        curve = torque_curve(built)
    except NotConverged:
        return math.nan
    return 0.0 if curve.free_play is None else job.factor * peak(curve)[1]


@lru_cache(maxsize=4 * KEPT)
def _pair(shape: CaseInput) -> ProfilePair:
    return profile_pair(shape)


@lru_cache(maxsize=KEPT)
def _fastener(shape: CaseInput) -> BodyModel:
    return _shared("fastener", shape) or fastener_body(shape, _pair(shape))


@lru_cache(maxsize=KEPT)
def _wrench(shape: CaseInput) -> BodyModel:
    return _shared("wrench", shape) or wrench_body(shape, _pair(shape))


def _shared(side: str, shape: CaseInput) -> BodyModel | None:
    """A body that another worker has left in the folder of this run, which only its own processes write to."""
    file = _file(side, shape)
    if file is None or not file.exists():
        return None
    body: BodyModel = pickle.loads(file.read_bytes())
    return body


def build_body(side: str, shape: CaseInput) -> None:
    """Build a body and leave it in the folder of this run for every worker."""
    _one_thread()
    body = _fastener(shape) if side == "fastener" else _wrench(shape)
    file = _file(side, shape)
    if file is not None:
        beside = file.with_suffix(".part")
        beside.write_bytes(pickle.dumps(body, protocol=5))
        os.replace(beside, file)


def _file(side: str, shape: CaseInput) -> Path | None:
    if _folder is None:
        return None
    return _folder / f"{side}-{hashlib.sha256(repr(shape).encode()).hexdigest()}.body"


def _in_processes(
    chunks: Sequence[Sequence[Job]], workers: int, take: Callable[[Sequence[Job], Sequence[float]], None]
) -> None:
    folder = tempfile.TemporaryDirectory(prefix="contactfe-band-")
    pool = ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin, initargs=(folder.name,)
    )
    try:
        # Bodies first, each once: they cost as much as several curves.
        jobs = [job for chunk in chunks for job in chunk]
        bodies = dict.fromkeys(
            [("wrench", j.wrench) for j in jobs] + [("fastener", j.fastener) for j in jobs]
        )
        if len(bodies) < len(jobs):
            for built in [pool.submit(build_body, *body) for body in bodies]:
                built.result()
        waiting = {pool.submit(solve_chunk, chunk): chunk for chunk in _dealt(chunks, workers)}
        while waiting:
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                take(waiting.pop(future), future.result())
    except BrokenProcessPool as error:
        raise ContactFEError(
            "a worker process ended before its work was done",
            hint='in a script, call below: if __name__ == "__main__": ; or ask for one worker',
            slug="worker-start",
        ) from error
    finally:
        pool.shutdown(cancel_futures=True)
        folder.cleanup()


def _begin(folder: str) -> None:
    """Begin the life of a worker."""
    global _folder
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears it too, and decides
    _folder = Path(folder)


def _dealt(chunks: Sequence[Sequence[Job]], workers: int) -> list[Sequence[Job]]:
    """Chunks in an order that lets `workers` processes, taking turns, each stay in its part of the sorted jobs."""
    part = math.ceil(len(chunks) / workers)
    parts = [chunks[i * part : (i + 1) * part] for i in range(workers)]
    return [chunk for row in range(part) for p in parts for chunk in p[row : row + 1]]


@lru_cache(maxsize=1)
def _one_thread() -> object:
    """Hold the numerical libraries of this process to one thread: more may change the last bit of an answer."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(1)
