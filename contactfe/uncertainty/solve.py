"""Solving jobs: bodies once per process, curves on them, in worker processes or in this one."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contactfe.case import CaseRecord, KnownPair, known_from, known_pair, limits_near
from contactfe.errors import ContactFEError, NotConverged
from contactfe.inputs import CaseInput
from contactfe.parallel import MOST_WORKERS, LocalProcesses, hold_one_thread, run_all, scratch_folder
from contactfe.turn import (
    Bodies,
    BodyModel,
    BodyStore,
    BuiltPair,
    Side,
    assemble,
    at_modulus,
    outlines,
    shape_case,
)
from contactfe.uncertainty.jobs import Job

Array = NDArray[np.float64]
Watch = Callable[[int, int], None]
Solve = Callable[[Sequence[Job]], Array]
FindBody = Callable[[CaseInput, Side], BodyModel]
Answer = tuple[float, float]  # slip torque, and the limit of the wrench (inf: far above it), N m

KEPT = 24  # bodies that a process remembers
KNOWN_PAIRS = 8  # of bodies on which jobs are being solved
CHUNK = 2  # jobs that a worker takes at a time: few, so that none works alone at the end


def solve_jobs(jobs: Sequence[Job], workers: int = 1, watch: Watch | None = None) -> Array:
    """Torques (n, 2) N m of the jobs: where the grip is lost (0: the wrench turns freely, nan: no curve was found), and
    the limit of the wrench (inf: far above it).

    The answers do not depend on `workers`. `watch` is called with how many of how many are done. Raises
    GeometryError for bodies that cannot be built, ContactFEError for a number of workers that makes no sense or
    workers that cannot start or keep dying.
    """
    if not 1 <= workers <= MOST_WORKERS:
        raise ContactFEError(f"{workers} workers", hint=f"ask for 1 to {MOST_WORKERS}", slug="workers")
    unique = in_order(jobs)
    chunks = [unique[i : i + CHUNK] for i in range(0, len(unique), CHUNK)]
    found: dict[Job, Answer] = {}

    def take(chunk: Sequence[Job], answers: Sequence[Answer]) -> None:
        found.update(zip(chunk, answers, strict=True))
        if watch is not None:
            watch(len(found), len(unique))

    if workers == 1 or len(chunks) == 1:
        for chunk in chunks:
            take(chunk, solve_chunk(chunk))
    else:
        _in_processes(chunks, min(workers, len(chunks)), take)
    return np.array([found[job] for job in jobs], dtype=float).reshape(-1, 2)


def solving(workers: int = 1, watch: Watch | None = None) -> Solve:
    """`solve_jobs` with its workers and its watch settled."""
    return lambda jobs: solve_jobs(jobs, workers, watch)


def in_order(jobs: Sequence[Job]) -> list[Job]:
    """The jobs, each once, so that neighbours share bodies; the same order whatever the order of the jobs."""
    return sorted(dict.fromkeys(jobs), key=lambda job: (hash_key(job.wrench), hash_key(job.fastener)))


def hash_key(case: CaseInput) -> str:
    """Text that is the same for the same body, to sort by."""
    return repr((case.wrench, case.fastener))


def solve_chunk(chunk: Sequence[Job], folder: Path | None = None) -> list[Answer]:
    """Answers of some jobs, one thread for the numerical libraries; other processes' bodies are in a folder."""
    hold_one_thread()
    return [pair_torques(job, folder) for job in chunk]


def pair_torques(job: Job, folder: Path | None = None) -> Answer:
    """Torques N m at which grip and wrench end a job, see `solve_jobs`.

    Raises:
        GeometryError: from outlines or mesher.
    """
    return answer_on(job, _bodies_in(folder).body)


def pair_case(job: Job) -> CaseInput:
    """The case whose outlines both bodies of a job have."""
    return replace(job.fastener, wrench=job.wrench.wrench)


def answer_on(job: Job, find: FindBody, plain: CaseRecord | None = None) -> Answer:
    """`pair_torques` on bodies that ``find`` gives for a case and a side, at the common modulus.

    ``plain``: the record of the plain case, which is the one near to the job where the job says so.

    Raises:
        GeometryError: a body cannot be built.
    """
    bodies = find(job.fastener, "fastener"), find(job.wrench, job.side)
    try:
        slip, wrench = limits_near(_built(job, job.case, bodies), _known_pair(job, bodies, find, plain))
    except NotConverged:
        return math.nan, math.inf
    return job.factor * slip, math.inf if wrench is None else job.factor * wrench


def _built(job: Job, case: CaseInput, bodies: tuple[BodyModel, BodyModel]) -> BuiltPair:
    """A case on the bodies of a job."""
    fastener, wrench = bodies
    return assemble(
        case,
        outlines(pair_case(job)),
        at_modulus(fastener, case.fastener.elastic_modulus),
        at_modulus(wrench, case.wrench.elastic_modulus),
    )


def _known_pair(
    job: Job, bodies: tuple[BodyModel, BodyModel], find: FindBody, plain: CaseRecord | None
) -> KnownPair | None:
    """The plain case near to a job, solved once for all jobs that it is near to."""
    if job.near is None:
        return None
    if plain is not None and job.near_side == "wrench" and job.near == plain.built.case:
        return _recorded(plain)
    near = replace(job, case=job.near, factor=1.0, side=job.near_side)
    if job.near_side == job.side:
        return _solved(near, bodies)
    return _solved(replace(near, wrench=shape_case(job.near)), (bodies[0], find(job.near, job.near_side)))


_recorded = lru_cache(maxsize=1)(known_from)


@lru_cache(maxsize=KNOWN_PAIRS)
def _solved(job: Job, bodies: tuple[BodyModel, BodyModel]) -> KnownPair | None:
    return known_pair(_built(job, job.case, bodies))


@lru_cache(maxsize=2)
def _bodies_in(folder: Path | None) -> Bodies:
    """The bodies of a run, which its processes share in a folder where there is one; the last ones stay in memory."""
    return Bodies(None if folder is None else BodyStore(folder), most=KEPT)


def build_body(folder: Path, side: Side, shape: CaseInput) -> None:
    """Build a body and leave it in the folder of this run for every worker."""
    hold_one_thread()
    _bodies_in(folder).body(shape, side)


def _in_processes(
    chunks: Sequence[Sequence[Job]],
    workers: int,
    take: Callable[[Sequence[Job], Sequence[Answer]], None],
) -> None:
    with scratch_folder("band") as folder, closing(LocalProcesses(workers)) as pool:
        # Bodies first, each once: they cost as much as several curves.
        jobs = [job for chunk in chunks for job in chunk]
        sides: list[tuple[Side, CaseInput]] = [(j.side, j.wrench) for j in jobs]
        sides += [(j.near_side, shape_case(j.near)) for j in jobs if j.near and j.near_side != j.side]
        bodies = dict.fromkeys([*sides, *(("fastener", j.fastener) for j in jobs)])
        if len(bodies) < len(jobs):
            run_all(pool, [partial(build_body, folder, *body) for body in bodies], lambda *_: None)
        dealt = _dealt(chunks, workers)
        run_all(
            pool,
            [partial(solve_chunk, chunk, folder) for chunk in dealt],
            lambda i, answers: take(dealt[i], answers),
        )


def _dealt(chunks: Sequence[Sequence[Job]], workers: int) -> list[Sequence[Job]]:
    """Chunks in an order that lets `workers` processes, taking turns, each stay in its part of the sorted jobs."""
    part = math.ceil(len(chunks) / workers)
    parts = [chunks[i * part : (i + 1) * part] for i in range(workers)]
    return [chunk for row in range(part) for p in parts for chunk in p[row : row + 1]]
