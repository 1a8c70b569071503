"""Shared by the tests of studies: the command as a process, and an executor that does everything here and now."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from contactfe.parallel import Call, Ended
from contactfe.study import Event, StudyDone

SOURCE = Path(__file__).resolve().parent.parent


def environment() -> dict[str, str]:
    """Of a child process that takes the package from here."""
    return {**os.environ, "PYTHONPATH": str(SOURCE)}


def sweep(*words: str | Path, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run `contactfe sweep` in a folder."""
    command = [sys.executable, "-m", "contactfe", "sweep", *map(str, words)]
    return subprocess.run(command, cwd=folder, env=environment(), capture_output=True, text=True, timeout=150)


def end_of(events: list[Event]) -> StudyDone:
    """The last event, which tells all rows."""
    assert isinstance(events[-1], StudyDone)
    return events[-1]


class InProcess:
    """An executor that does everything here and now; `deaths` says how often a worker dies in a task."""

    shares_disk = True

    def __init__(self, deaths: dict[str, int] | None = None, attempts: int = 2) -> None:
        self.attempts, self.deaths = attempts, dict(deaths or {})
        self.given: list[str] = []
        self.closed = False
        self._waiting: list[tuple[str, Call]] = []

    def room(self) -> int:
        return 2 - len(self._waiting)

    def submit(self, ticket: str, call: Call, *, first: bool = False) -> None:
        self.given.append(ticket)
        self._waiting.append((ticket, call))

    def wait(self) -> list[Ended]:
        ticket, call = self._waiting.pop(0)
        if self.deaths.get(ticket, 0):
            self.deaths[ticket] -= 1
            return [Ended(ticket, None, "here", died=True)]
        return [Ended(ticket, call(), "here")]

    def close(self) -> None:
        self.closed = True
