"""What the runner asks of whatever runs its tasks: give it a task, wait until something has ended, close."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from contactfe.study.work import Outcome, Task


@dataclass(frozen=True)
class Ended:
    """A task that has ended: with an outcome, or with None because its worker died."""

    ticket: str
    outcome: Outcome | None
    worker: str


class Executor(Protocol):
    """Runs tasks somewhere."""

    attempts: int
    """How often a task is given before the death of its worker counts as its failure."""
    shares_disk: bool
    """Whether all workers see the study's folder, so that a stored body serves all of them."""

    def room(self) -> int:
        """How many more tasks it can take now."""
        ...

    def submit(self, ticket: str, task: Task) -> None:
        """Take a task."""
        ...

    def wait(self) -> list[Ended]:
        """Wait until at least one task has ended.

        Raises:
            ContactFEError: what `run_task` raises, or a worker that cannot start.
        """
        ...

    def close(self) -> None:
        """Stop all workers; tasks that still run are dropped."""
        ...
