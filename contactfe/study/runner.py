"""Running a study: a generator of events, whoever does the work behind it.

    for event in run_study(plan, store, LocalProcesses(2)):
        ...

Every case is solved on its own from a cold start, so neither the order nor the number of workers changes an
answer."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from functools import partial

from contactfe.parallel import Ended, Executor
from contactfe.study.plan import PlannedCase, StudyPlan
from contactfe.study.store import StudyStore, Tables
from contactfe.study.tables import Row, row_of
from contactfe.study.work import (
    FAILED,
    FREE,
    OK,
    BodyTask,
    CaseTask,
    Need,
    Outcome,
    Task,
    needs_or_failure,
    run_task,
)

DIED = "its worker process died (killed, or out of memory)"


@dataclass(frozen=True)
class CaseStarted:
    """A case was given to a worker."""

    case: PlannedCase


@dataclass(frozen=True)
class BodyDone:
    """One of the meshed and factorised bodies is ready: the `done`-th of `total`."""

    done: int
    total: int


@dataclass(frozen=True)
class CaseDone:
    """A case has an answer; ``reused`` when an earlier run had found it."""

    case: PlannedCase
    row: Row
    reused: bool = False
    seconds: float = 0.0


@dataclass(frozen=True)
class CaseFailed:
    """A case has no answer; the row says why."""

    case: PlannedCase
    row: Row
    reused: bool = False


@dataclass(frozen=True)
class StudyDone:
    """The end: all rows in plan order, the odds between profiles where the cases have bands, where the tables are, and
    how many cases were what."""

    rows: tuple[Row, ...]
    tables: Tables
    solved: int
    reused: int
    failed: int
    turn_freely: int
    seconds: float
    odds: tuple[Row, ...] = ()


Event = CaseStarted | BodyDone | CaseDone | CaseFailed | StudyDone


def run_study(plan: StudyPlan, store: StudyStore, executor: Executor) -> Generator[Event, None, None]:
    """Solve what the store does not know yet, and write the tables. Closes the executor at the end.

    Interrupted or killed, nothing that was reported as done is lost: the next run goes on from there.

    Raises:
        ContactFEError: the store cannot be written, or the workers cannot work.
    """
    run = _Run(plan, store, executor)
    try:
        yield from run.known()
        yield from run.solve()
    except (KeyboardInterrupt, GeneratorExit):
        executor.close()
        store.note("interrupted")
        store.write_tables(
            plan, store.rows(plan), store.odds(plan)
        )  # the interrupt may have come between storing and counting
        raise
    finally:
        executor.close()
    odds, rows = store.odds(plan), store.with_wear(plan, run.in_order())
    tables = store.write_tables(plan, rows, odds)
    state = Counter(row["status"] for row in run.rows.values())
    store.note("end", **state)
    yield StudyDone(
        rows=tuple(rows),
        tables=tables,
        solved=run.solved,
        reused=len(run.rows) - run.solved,
        failed=state[FAILED],
        turn_freely=state[FREE],
        seconds=time.monotonic() - run.start,
        odds=tuple(odds),
    )


class _Run:
    """The state of one run: what is known, what waits for which body, what is being worked on."""

    def __init__(self, plan: StudyPlan, store: StudyStore, executor: Executor) -> None:
        self.plan, self.store, self.executor = plan, store, executor
        self.start = time.monotonic()
        self.rows: dict[int, Row] = {}
        self.solved = 0
        self._same: dict[str, list[PlannedCase]] = {}
        self._given: dict[str, int] = {}
        self._tasks: dict[str, Task] = {}

    def in_order(self) -> list[Row]:
        """The rows so far, in plan order."""
        return [self.rows[i] for i in sorted(self.rows)]

    def known(self) -> Iterator[Event]:
        """Report the cases that the store has; failures that may not come again count as missing."""
        self.store.begin(self.plan)
        for case in self.plan.cases:
            outcome = self.store.load(case.case_id)
            if outcome is not None and outcome.lasting:
                yield self._report(case, outcome, reused=True)
            else:
                self._same.setdefault(case.case_id, []).append(case)

    def solve(self) -> Iterator[Event]:
        """Give out bodies and cases, keep what comes back."""
        queue = _Queue([cases[0] for cases in self._same.values()], self.store, self.executor.shares_disk)
        for case_id, outcome in queue.impossible:
            yield from self._keep(case_id, outcome, "")
        while True:
            while self.executor.room() and (task := queue.next()) is not None:
                yield from self._give(task)
            if not self._tasks:
                break
            for ended in self.executor.wait():
                # The worker gets its next task before this one is written.
                task = self._tasks.pop(ended.ticket)
                if ended.died and self._given[ended.ticket] < self.executor.attempts:
                    self.store.note("died", ticket=ended.ticket, worker=ended.worker, again=True)
                    yield from self._give(task)
                    continue
                outcome = Outcome(FAILED, DIED, lasting=False) if ended.died else ended.result
                follow = queue.ended(task, outcome)
                if self.executor.room() and (after := queue.next()) is not None:
                    yield from self._give(after)
                yield from self._settle(task, outcome, ended)
                for case_id, failed in follow:
                    yield from self._keep(case_id, failed, ended.worker)
                if isinstance(task, BodyTask):
                    yield BodyDone(queue.built, queue.bodies)

    def _give(self, task: Task) -> Iterator[Event]:
        ticket = _ticket(task)
        self._tasks[ticket] = task
        self._given[ticket] = self._given.get(ticket, 0) + 1
        self.executor.submit(ticket, partial(run_task, task), first=isinstance(task, BodyTask))
        if isinstance(task, CaseTask) and self._given[ticket] == 1:
            yield CaseStarted(self._same[task.case_id][0])

    def _settle(self, task: Task, outcome: Outcome, ended: Ended) -> Iterator[Event]:
        if isinstance(task, CaseTask):
            yield from self._keep(task.case_id, outcome, ended.worker)
        else:
            self.store.note(
                "body",
                key=task.key,
                side=task.side,
                status=outcome.status,
                seconds=round(outcome.seconds, 4),
                worker=ended.worker,
            )

    def _keep(self, case_id: str, outcome: Outcome, worker: str) -> Iterator[Event]:
        """Store an outcome, then report every row that it answers."""
        self.store.save(case_id, outcome)
        self.store.note(
            "case",
            case_id=case_id,
            status=outcome.status,
            seconds=round(outcome.seconds, 4),
            worth=self._same[case_id][0].worth,
            worker=worker,
        )
        for case in self._same[case_id]:
            self.solved += 1
            yield self._report(case, outcome, reused=False)

    def _report(self, case: PlannedCase, outcome: Outcome, *, reused: bool) -> Event:
        row = row_of(self.plan, case, outcome)
        self.rows[case.index] = row
        if outcome.status == FAILED:
            return CaseFailed(case, row, reused)
        return CaseDone(case, row, reused, outcome.seconds)


def _ticket(task: Task) -> str:
    return f"{task.side}-{task.key}" if isinstance(task, BodyTask) else f"case-{task.case_id}"


class _Queue:
    """Tasks in the order to run them: cases of one wrench together, each body before its cases."""

    def __init__(self, cases: list[PlannedCase], store: StudyStore, shared: bool) -> None:
        self.impossible: list[tuple[str, Outcome]] = []
        keyed: list[tuple[PlannedCase, tuple[Need, ...]]] = []
        uses: Counter[str] = Counter()
        for case in cases:
            needs = needs_or_failure(case)
            if isinstance(needs, Outcome):
                self.impossible.append((case.case_id, needs))
                continue
            keyed.append((case, needs))
            for need in needs:
                uses[need.key] += need.curves
        folder = str(store.bodies.folder.resolve())
        self._missing: set[str] = set()
        self._broken: dict[str, Outcome] = {}
        self._cases: list[CaseTask] = []
        self._needs: dict[str, tuple[str, ...]] = {}
        self._unbuilt: list[BodyTask] = []
        for case, needs in _grouped(keyed):
            kept = frozenset(need.key for need in needs if uses[need.key] > 1)
            self._cases.append(CaseTask(case.case_id, case.case, needs[:2], folder, case.band, kept))
            self._needs[case.case_id] = tuple(dict.fromkeys(need.key for need in needs))
            for need in needs:
                new = need.key in kept and need.key not in self._missing
                if shared and new and not store.bodies.has(need.key):
                    self._missing.add(need.key)
                    self._unbuilt.append(BodyTask(need.key, need.side, need.case, folder))
        self.bodies, self.built = len(self._missing), 0

    def next(self) -> Task | None:
        """The next task that nothing stands in the way of."""
        for i, task in enumerate(self._cases):
            if self._missing.isdisjoint(self._needs[task.case_id]):
                del self._cases[i]
                return task
        return self._unbuilt.pop(0) if self._unbuilt else None

    def ended(self, task: Task, outcome: Outcome) -> list[tuple[str, Outcome]]:
        """Note the end of a task; returns the cases that cannot be solved now, with their outcomes."""
        if not isinstance(task, BodyTask):
            return []
        self.built += 1
        self._missing.discard(task.key)
        if outcome.status != OK:
            self._broken[task.key] = replace(outcome, seconds=0.0)
        lost = [(t, why) for t in self._cases if (why := self._why_not(t)) is not None]
        self._cases = [t for t in self._cases if self._why_not(t) is None]
        return [(t.case_id, why) for t, why in lost]

    def _why_not(self, task: CaseTask) -> Outcome | None:
        """The outcome of a body that could not be built, once it is sure which of them to name.

        A case that builds its bodies itself meets them in order, the fastener first, so the reason of the first
        one goes first here too."""
        for key in self._needs[task.case_id]:
            if key in self._broken:
                return self._broken[key]
            if key not in task.kept or key in self._missing:
                return None  # it may be the one that fails
        return None


def _grouped(
    keyed: list[tuple[PlannedCase, tuple[Need, ...]]],
) -> list[tuple[PlannedCase, tuple[Need, ...]]]:
    """Cases of one wrench together, and of one fastener within; in order of first mention."""
    wrenches: dict[str, int] = {}
    fasteners: dict[str, int] = {}
    for _, (fastener, wrench, *_) in keyed:
        wrenches.setdefault(wrench.key, len(wrenches))
        fasteners.setdefault(fastener.key, len(fasteners))
    return sorted(
        keyed, key=lambda item: (wrenches[item[1][1].key], fasteners[item[1][0].key], item[0].index)
    )
