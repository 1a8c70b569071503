"""Errors of the package: what is wrong, where, and how to mend it.

Nothing here imports another module of the package. A wrench that turns freely on its fastener is an answer,
not an error, so it has no class here.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

_LONGEST_RUN = 160  # characters without a space that a message may hold; paths are shorter
_RUN = re.compile(rf"\S{{{_LONGEST_RUN + 1},}}")


def shown(value: Any, most: int = 60) -> str:
    """Return a value as messages show it: one line without control characters, at most about `most` characters."""
    text = _plain(str(value))
    return text if len(text) <= most else f"{text[: most - 20]} ... {text[-10:]}"


def _plain(text: str) -> str:
    """Return text without control characters, which could rewrite a terminal."""
    return "".join(c if c.isprintable() else " " for c in text)


def _clean(text: str) -> str:
    """Return a part of a message without control characters, and with very long words cut in the middle."""
    return _RUN.sub(lambda run: shown(run.group()), _plain(text))


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input.

    `where` names the table and key ("[fastener] rounding"), `message` says what is wrong there,
    `hint` says how to write it instead (may be empty).
    """

    where: str
    message: str
    hint: str = ""

    def __post_init__(self) -> None:
        for name in ("where", "message", "hint"):
            object.__setattr__(self, name, _clean(getattr(self, name)))

    def __str__(self) -> str:
        text = f"{self.where}: {self.message}" if self.where else self.message
        return f"{text}; {self.hint}" if self.hint else text


class ContactFEError(Exception):
    """Any failure the user can act on.

    `message` is one sentence, `where` the file, table, key or place in the outline, `hint` the remedy and
    `slug` a short fixed name under which the long explanation is filed.
    """

    exit_code = 1
    default_slug = "error"

    def __init__(self, message: str, *, where: str = "", hint: str = "", slug: str = "") -> None:
        message = _clean(message)
        super().__init__(message)
        self.message = message
        self.where = _plain(where)
        self.hint = _clean(hint)
        self.slug = slug or self.default_slug

    def __str__(self) -> str:
        text = f"{self.where}: {self.message}" if self.where else self.message
        return f"{text}; {self.hint}" if self.hint else text

    def __reduce__(self) -> tuple[Any, ...]:
        # Exceptions cross process borders in sweeps; the default would lose the keyword arguments.
        return _rebuild, (type(self), self.args, self.__dict__.copy())


class InputError(ContactFEError):
    """An input file or table cannot be used. `problems` lists everything wrong with it, in file order."""

    default_slug = "input"

    def __init__(self, problems: Iterable[Problem], *, source: str = "", slug: str = "") -> None:
        found = tuple(problems)
        count = "1 problem" if len(found) == 1 else f"{len(found)} problems"
        super().__init__(count, where=source, slug=slug)
        self.problems: tuple[Problem, ...] = found

    def __str__(self) -> str:
        head = f"{self.where}: {self.message}" if self.where else self.message
        return "\n".join([head, *(f"  {problem}" for problem in self.problems)])


class NotConverged(ContactFEError):
    """An iteration ended without a solution that passes its own checks. `report` holds its last state."""

    default_slug = "not-converged"

    def __init__(
        self, message: str, *, report: Any = None, where: str = "", hint: str = "", slug: str = ""
    ) -> None:
        super().__init__(message, where=where, hint=hint, slug=slug)
        self.report = report


class BeyondReach(NotConverged):
    """The fastener has turned to a part of the opening whose flexibility was not worked out."""

    default_slug = "beyond-reach"


class NoRest(NotConverged):
    """A floating wrench finds no place to rest at a rotation."""

    default_slug = "no-rest"


class PushedOff(NotConverged):
    """A wrench without a load is carried off its fastener."""

    default_slug = "pushed-off"


class SlidesOff(NotConverged):
    """The hand pulls parallel jaws along the fastener harder than friction holds them."""

    default_slug = "jaws-slide-off"


class NoContact(NotConverged):
    """Two bodies that overlap by their outlines press on each other at no rotation."""

    default_slug = "no-contact"


class GeometryError(ContactFEError):
    """An outline or a mesh cannot be built: it crosses itself, has no wall left, or an edge has no length."""

    default_slug = "geometry"


def nearest(name: str, known: Iterable[str]) -> str:
    """Return "did you mean X?" for the known name closest to `name`, or an empty text when none is close."""
    matches = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f"did you mean {matches[0]}?" if matches else ""


def _rebuild(kind: type[ContactFEError], args: tuple[Any, ...], state: dict[str, Any]) -> ContactFEError:
    error = kind.__new__(kind)
    Exception.__init__(error, *args)
    error.__dict__.update(state)
    return error
