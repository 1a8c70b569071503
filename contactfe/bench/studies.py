"""Times and memory of whole studies, each in a fresh folder."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
import time
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from statistics import median
from typing import Any

from contactfe.parallel import LocalProcesses
from contactfe.study import StudyDone, StudyPlan, StudyStore, parse_plan, run_study

SAMPLE_EVERY = 0.25  # s between two looks at the memory
PROFILES = ("ring-six", "ring-twelve", "ring-spline", "flare-nut", "open-end")


@dataclass(frozen=True)
class StudyTimes:
    """Seconds of one study and of its median case; peak memory of all processes (None: unknown)."""

    cases: int
    workers: int
    seconds: float
    seconds_per_case: float
    median_case_seconds: float
    bodies: int
    failed: int
    peak_memory_MB: float | None
    bodies_on_disk_MB: float


def bench_study(cases: int, edge: str | None = None) -> StudyPlan:
    """A study of about so many cases of an M10 head: profiles by rounding by yield by friction.

    A thousand are 5 profiles, 10 roundings, 5 yields and 4 frictions; fewer take fewer yields, frictions,
    roundings."""
    many_yields, many_frictions = (
        (5, max(4, round(cases / 250))) if cases >= 1000 else (2, 2) if cases >= 100 else (1, 1)
    )
    many_roundings = max(1, round(cases / (len(PROFILES) * many_yields * many_frictions)))
    yields = [f"{640 + 75 * i} MPa" for i in range(many_yields)]
    frictions = [round(0.08 + 0.16 * (i + 1) / (many_frictions + 1), 3) for i in range(many_frictions)]
    roundings = [f"{round(60 * i / many_roundings, 1)} %" for i in range(many_roundings)]
    base: dict[str, Any] = {"fastener": {"size": "M10"}}
    if edge is not None:
        base["mesh"] = {"edge_at_contact": edge}
    sweep = {
        "wrench.profile": list(PROFILES),
        "fastener.rounding": roundings,
        "fastener.yield_strength": yields,
        "contact.friction": frictions,
    }
    return parse_plan({"format": 1, "name": f"bench-{cases}", "base": base, "sweep": sweep}, "bench")


def study_times(plan: StudyPlan, workers: int) -> StudyTimes:
    """Run a study in a folder of its own, which is removed afterwards.

    Raises:
        ContactFEError: the study cannot run.
    """
    folder = Path(tempfile.mkdtemp(prefix="contactfe-bench-"))
    try:
        store = StudyStore(folder)
        with _Memory() as memory:
            start = time.perf_counter()
            done = next(
                e for e in run_study(plan, store, LocalProcesses(workers)) if isinstance(e, StudyDone)
            )
            seconds = time.perf_counter() - start
        history = list(store.history())
        return StudyTimes(
            cases=len(plan.cases),
            workers=workers,
            seconds=seconds,
            seconds_per_case=seconds / len(plan.cases),
            median_case_seconds=median(e["seconds"] for e in history if e["event"] == "case"),
            bodies=sum(e["event"] == "body" for e in history),
            failed=done.failed,
            peak_memory_MB=memory.peak_MB,
            bodies_on_disk_MB=store.bodies.bytes_used() / 1e6,
        )
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class _Memory:
    """Peak of the memory of this process and its children; shared pages count once, where told."""

    def __init__(self) -> None:
        self.peak_MB: float | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> _Memory:
        if find_spec("psutil") is not None:
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()

    def _watch(self) -> None:
        while not self._stop.wait(SAMPLE_EVERY):
            self.peak_MB = max(self.peak_MB or 0.0, _memory_MB())


def _memory_MB() -> float:
    import psutil

    own = psutil.Process(os.getpid())
    total = 0
    for process in [own, *own.children(recursive=True)]:
        try:
            info = process.memory_full_info()
        except psutil.Error:  # it has just ended, or is not ours to look into
            continue
        total += getattr(info, "pss", info.rss)
    return total / 1e6
