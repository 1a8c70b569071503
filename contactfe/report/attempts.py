"""Pictures are tried: one that fails is left out and named, and costs no answer. The only place that catches them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from contactfe.errors import ContactFEError
from contactfe.files import NotWritten

T = TypeVar("T")


@dataclass
class Attempts:
    """Draws pictures one by one; `failures` names those that could not be drawn, each with its reason."""

    failures: list[str] = field(default_factory=list)

    def draw(self, name: str, make: Callable[[], T]) -> T | None:
        """Return what `make` gives, None where it fails in any way but by the disk."""
        try:
            return make()
        except (OSError, NotWritten):
            raise  # a full disk is no matter of drawing
        except ContactFEError as error:
            self.failures.append(f"{name}: {error}")
        except Exception as error:  # whatever a drawing trips over, the numbers stand
            self.failures.append(f"{name}: {type(error).__name__}: {error}")
        return None


def check_drawn(failures: Sequence[str], where: str) -> None:
    """Raise what could not be drawn as one error, once every answer is written and said.

    Raises:
        ContactFEError: a picture failed.
    """
    if failures:
        count = "1 picture" if len(failures) == 1 else f"{len(failures)} pictures"
        raise ContactFEError(
            f"{count} could not be drawn ({'; '.join(failures)})",
            where=where,
            hint="all numbers are written; look at the outline with contactfe draw, and report this",
            slug="not-drawn",
        )
