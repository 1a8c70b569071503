"""The progress of a study on stderr: a bar on a terminal, plain lines elsewhere, nothing when quiet."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self

from contactfe.cli.output import tell

LINE_EVERY = 5.0  # s between two plain lines


class StudyProgress:
    """Cases done, rate, time left and failures of a run; used as a context."""

    def __init__(self, total: int, quiet: bool = False, noun: str = "cases") -> None:
        self._total, self._quiet, self._noun = total, quiet, noun
        self._done = self._reused = self._failed = 0
        self._start = self._told = time.monotonic()
        self._bar: Any = None
        self._task: Any = None

    def __enter__(self) -> Self:
        if not self._quiet and sys.stderr.isatty():
            self._bar = _bar()
            self._bar.start()
            self._task = self._bar.add_task("", total=self._total, words="starting")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()
        elif not self._quiet and self._done > self._reused:
            tell(self.words())

    def case(self, *, failed: bool, reused: bool) -> None:
        """Count one case."""
        self._done += 1
        self._failed += failed
        self._reused += reused
        if self._bar is not None:
            self._bar.update(self._task, completed=self._done, words=self.words())
        elif not self._quiet and not reused and time.monotonic() - self._told > LINE_EVERY:
            self._told = time.monotonic()
            tell(self.words())

    def words(self) -> str:
        """What there is to say in one line."""
        solved = self._done - self._reused
        parts = [f"{self._done} of {self._total} {self._noun}"]
        if self._reused:
            parts.append(f"{self._reused} known from before")
        rate = solved / max(time.monotonic() - self._start, 1e-3)
        if solved:
            parts.append(f"{rate:.1f} per s")
        left = self._total - self._done
        if solved and left:
            parts.append(f"{_clock(left / rate)} left")
        if self._failed:
            parts.append(f"{self._failed} failed")
        return ", ".join(parts)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def _bar() -> Any:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    return Progress(
        BarColumn(), TextColumn("{task.fields[words]}"), console=Console(stderr=True), transient=True
    )
