"""What a study is going to take, before it runs: cases, distinct bodies, time and memory."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import mean, median
from typing import Any

from contactfe.case import record_of
from contactfe.errors import ContactFEError
from contactfe.mesh import STANDARD_CONTACT_EDGE
from contactfe.study.plan import PlannedCase, StudyPlan
from contactfe.study.store import StudyStore
from contactfe.study.work import Outcome, needs_or_failure
from contactfe.turn import build_pair, torque_curve

# One core of a server of 2023 at the default mesh; all of them go about with one over the contact edge.
BODY_SECONDS, CASE_SECONDS = 0.5, 0.12
BODY_MB = 9.0  # on disk
START_SECONDS = 1.5  # of the workers
PARENT_MB, WORKER_MB = 130.0, 300.0
FEWEST = 5  # measured values that count as a measurement
PROBES, PROBE_SECONDS = 4, 5.0  # cases that are solved for a forecast, and s after which no more are begun


@dataclass(frozen=True)
class Forecast:
    """``meshes`` distinct bodies, each meshed and factorised once; ``to_build`` of them are not stored yet.

    ``to_solve`` cases are not known yet, with ``curves`` to solve; ``impossible`` ones have an outline that
    cannot be built. Seconds with the given workers; ``measured`` tells whether from times of this machine or folder."""

    cases: int
    to_solve: int
    impossible: int
    fasteners: int
    wrenches: int
    to_build: int
    seconds: float
    memory_MB: float
    disk_MB: float
    measured: bool
    curves: int

    @property
    def meshes(self) -> int:
        """Distinct bodies; as many factorisations."""
        return self.fasteners + self.wrenches


@dataclass(frozen=True)
class Speed:
    """Seconds per body and per curve at the default fineness; ``measured`` tells whether on this machine."""

    body: float = BODY_SECONDS
    curve: float = CASE_SECONDS
    measured: bool = False


def speed_here(plan: StudyPlan) -> Speed:
    """How fast this machine is at the plan: a few of its cases, spread over it, are solved for the time they take.

    Cases that cannot be solved tell nothing; the times of a server stand in when none can.
    """
    bodies: list[float] = []
    curves: list[float] = []
    chosen = sorted({round(k * (len(plan.cases) - 1) / (PROBES - 1)) for k in range(PROBES)})
    start = time.perf_counter()
    for case in [
        plan.cases[k] for k in (chosen[0], *chosen)
    ]:  # the first one once more: it loads the libraries
        if time.perf_counter() - start > PROBE_SECONDS and len(curves) > 1:
            break
        try:
            begin = time.perf_counter()
            built = build_pair(case.case)
            middle = time.perf_counter()
            record_of(built, torque_curve(built))
            end = time.perf_counter()
        except ContactFEError:
            continue
        bodies.append((middle - begin) / 2 / _fineness(case))
        curves.append((end - middle) / _fineness(case))
    if len(curves) < 2:
        return Speed()
    return Speed(mean(bodies[1:]), mean(curves[1:]), True)


def forecast(
    plan: StudyPlan, workers: int, store: StudyStore | None = None, speed: Speed | None = None
) -> Forecast:
    """Count and estimate. With a store, what it holds is left out, and its measured times are used."""
    fineness: dict[str, float] = {}
    sides: dict[str, str] = {}
    needed: set[str] = set()
    left, impossible = [], 0
    for case in plan.cases:
        known = store.load(case.case_id) if store is not None else None
        missing = known is None or not known.lasting
        needs = needs_or_failure(case)
        if isinstance(needs, Outcome):
            impossible += 1
            continue
        for need in needs:
            fineness[need.key], sides[need.key] = _fineness(case), need.side
        if missing:
            left.append(case)
            needed |= {need.key for need in needs}
    to_build = [k for k in needed if store is None or not store.bodies.has(k)]
    body, one, measured = _times(store, speed or Speed())
    work = sum(body * fineness[k] for k in to_build) + sum(one * c.worth * _fineness(c) for c in left)
    fasteners = sum(side == "fastener" for side in sides.values())
    disk = [BODY_MB * f for f in fineness.values()]
    return Forecast(
        cases=len(plan.cases),
        to_solve=len(left),
        impossible=impossible,
        fasteners=fasteners,
        wrenches=len(sides) - fasteners,
        to_build=len(to_build),
        seconds=work / workers + (START_SECONDS if left else 0.0),
        memory_MB=PARENT_MB + workers * (WORKER_MB + 6 * max(disk, default=0.0)),
        disk_MB=sum(disk),
        measured=measured,
        curves=sum(c.curves for c in left),
    )


def _fineness(case: PlannedCase) -> float:
    """Default contact edge over the case's."""
    return STANDARD_CONTACT_EDGE * case.case.fastener.across_flats / case.case.mesh.edge_at_contact


def _times(store: StudyStore | None, speed: Speed) -> tuple[float, float, bool]:
    """Seconds per body and per curve, and whether they were measured: in the store's folder, or by `speed_here`."""
    history = list(store.history()) if store is not None else []
    body, case = _seconds(history, "body"), _seconds(history, "case")
    enough = len(case) >= FEWEST
    return (
        median(body) if body and enough else speed.body,
        median(case) if enough else speed.curve,
        enough or speed.measured,
    )


def _seconds(history: Iterable[dict[str, Any]], event: str) -> list[float]:
    return [
        e["seconds"] / e.get("worth", 1.0)
        for e in history
        if e.get("event") == event and isinstance(e.get("seconds"), float) and e["seconds"] > 0
    ]
