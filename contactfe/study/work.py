"""What a worker process does: build one body, or solve one case. What goes in and out can be pickled."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contactfe import __version__
from contactfe.case import record_of
from contactfe.errors import ContactFEError
from contactfe.files import NotWritten
from contactfe.inputs import CaseInput
from contactfe.parallel import worker_folder
from contactfe.study.plan import PlannedCase
from contactfe.turn import Bodies, BodyStore, Side, assemble_case, body_keys, torque_curve

if TYPE_CHECKING:
    from contactfe.study.scatter import CaseBand

OK, FREE, FAILED = "ok", "turns freely", "failed"
RECENT = 4  # bodies that one process keeps open


@dataclass(frozen=True)
class BodyTask:
    """Build one body and keep it in a folder."""

    key: str
    side: Side
    case: CaseInput
    folder: str


@dataclass(frozen=True)
class Need:
    """A body that a case is solved on, and on how many of its curves."""

    key: str
    side: Side
    case: CaseInput
    curves: int


@dataclass(frozen=True)
class CaseTask:
    """Solve one case, and its band where it has one, on the bodies it needs: the fastener, and the wrench meshed for
    it or for many openings. ``kept`` says which bodies are worth storing."""

    case_id: str
    case: CaseInput
    needs: tuple[Need, ...]
    folder: str
    band: CaseBand | None = None
    kept: frozenset[str] = frozenset()


Task = BodyTask | CaseTask


@dataclass(frozen=True)
class Outcome:
    """What came of a task. ``status`` is ok, turns freely or failed, ``reason`` says why it failed.

    ``record`` holds the whole case as plain values, ``answers`` the columns of the table. ``lasting`` tells
    whether the same would come out again: a geometry that cannot be built, but not a worker that was
    killed."""

    status: str
    reason: str = ""
    answers: dict[str, Any] | None = None
    record: dict[str, Any] | None = None
    lasting: bool = True
    seconds: float = 0.0


def run_task(task: Task) -> Outcome:
    """Do one task. A failure of the model is an outcome; a disk that takes no more is raised.

    Raises:
        NotWritten: the disk takes no more.
    """
    start = time.perf_counter()
    try:
        outcome = _build(task) if isinstance(task, BodyTask) else _solve(task)
    except Exception as error:  # whatever one case meets must not end the study: it becomes its reason
        if isinstance(error, NotWritten):
            raise
        outcome = failure(error)
    return replace(outcome, seconds=time.perf_counter() - start)


def failure(error: Exception) -> Outcome:
    """The outcome of a case that met an error. It comes again for sure only if it was foreseen, and is no fault of a
    disk or of a file."""
    foreseen = isinstance(error, ContactFEError)
    words = str(error) if foreseen else f"unexpected {type(error).__name__}: {error}"
    return Outcome(FAILED, " ".join(words.split()), lasting=foreseen and not _of_a_file(error))


def _of_a_file(error: BaseException | None) -> bool:
    """Whether an error, or one that led to it, is the operating system's."""
    while error is not None:
        if isinstance(error, OSError):
            return True
        error = error.__cause__
    return False


def needs_of(case: CaseInput, wrench: Side = "wrench") -> tuple[Need, Need]:
    """Fastener and wrench of a case, the wrench meshed for it alone or for many openings.

    Raises:
        GeometryError: the outlines cannot be built.
    """
    return _need(case, "fastener", 1), _need(case, wrench, 1)


def _need(shape: CaseInput, side: Side, curves: int) -> Need:
    return Need(getattr(body_keys(shape), side), side, shape, curves)


def needs_or_failure(case: PlannedCase) -> tuple[Need, ...] | Outcome:
    """The bodies of a case in the order in which they are met, fastener and wrench of the plain case first, or the
    outcome of a case whose outlines cannot be built."""
    shapes = case.band.shapes if case.band else ()
    try:
        return *needs_of(case.case, case.wrench), *(_need(shape, side, n) for side, shape, n in shapes)
    except Exception as error:  # one case must not end the study
        return failure(error)


def _build(task: BodyTask) -> Outcome:
    _bodies(task).body(task.case, task.side)
    return Outcome(OK)


def _solve(task: CaseTask) -> Outcome:
    fastener, wrench = (
        _bodies(task).body(task.case, need.side, keep=need.key in task.kept) for need in task.needs
    )
    built = assemble_case(task.case, fastener, wrench)
    record = record_of(built, torque_curve(built))
    answers = record.answers() | {"cautions": "; ".join(record.own_cautions())}
    told = record.to_dict(__version__)
    if task.case.load.pulls > 1:
        from contactfe.study.wear import solve_wear

        more, told["pulls"] = solve_wear(record)
        cautions = [text for text in (answers["cautions"], more.pop("cautions", "")) if text]
        answers |= more | {"cautions": "; ".join(cautions)}
    if task.band is not None:
        from contactfe.study.banded import solve_band  # takes a while to import

        more, told["band"] = solve_band(task.band, record, _bodies(task), task.kept)
        answers |= more
    return Outcome(FREE if answers["turns_freely"] else OK, "", answers, told)


def _bodies(task: Task) -> Bodies:
    """Where a task finds its bodies: in the folder of the study, or in the worker's own where that is out of its sight."""
    own = worker_folder()
    return _bodies_in(task.folder if own is None else str(own / "bodies"))


@lru_cache(maxsize=4)
def _bodies_in(folder: str) -> Bodies:
    """The bodies of a folder, the last of which stay in memory."""
    return Bodies(BodyStore(Path(folder)), most=RECENT)
