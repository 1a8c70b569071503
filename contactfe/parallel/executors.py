"""What is asked of whatever runs calls elsewhere: give it a call, wait until something has ended, close."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from contactfe.errors import ContactFEError

Call = Callable[[], Any]
"""What a worker does: pickled on the way there, as its result is on the way back."""
DIED = "a worker process died (killed, or out of memory)"


@dataclass(frozen=True)
class Ended:
    """A call that has ended: with a result, or `died` with its worker."""

    ticket: str
    result: Any
    worker: str
    died: bool = False


class Executor(Protocol):
    """Runs calls somewhere."""

    attempts: int
    """How often a call is given before the death of its worker counts as its failure."""
    shares_disk: bool
    """Whether all workers see the folder of the run, so that a file serves all of them."""

    def room(self) -> int:
        """How many more calls it can take now."""
        ...

    def submit(self, ticket: str, call: Call, *, first: bool = False) -> None:
        """Take a call; those that others wait for go `first` where calls queue."""
        ...

    def wait(self) -> list[Ended]:
        """Wait until at least one call has ended.

        Raises:
            Exception: what a call raised; ContactFEError for a worker that cannot start.
        """
        ...

    def close(self) -> None:
        """Stop all workers; calls that still run are dropped."""
        ...


def run_all(executor: Executor, calls: Iterable[Call], take: Callable[[int, Any], None]) -> None:
    """Run calls, given out in order; `take` gets the number of each with its result as they end.

    Raises:
        ContactFEError: a call whose workers died as often as the executor lets it try.
        Exception: what a call raised.
    """
    waiting: dict[str, Call] = {}
    given: dict[str, int] = {}
    left = enumerate(calls)

    def give(ticket: str, call: Call) -> None:
        waiting[ticket] = call
        given[ticket] = given.get(ticket, 0) + 1
        executor.submit(ticket, call)

    def fill() -> None:
        while executor.room() and (following := next(left, None)) is not None:
            give(str(following[0]), following[1])

    fill()
    while waiting:
        for ended in executor.wait():
            call = waiting.pop(ended.ticket)
            if ended.died:
                if given[ended.ticket] >= executor.attempts:
                    raise ContactFEError(DIED, hint="ask for fewer workers", slug="worker-died")
                give(ended.ticket, call)
                continue
            fill()  # the worker gets its next call before this result is looked at
            take(int(ended.ticket), ended.result)
        fill()
