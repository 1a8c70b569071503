"""What the values of one case are taken from while it is put together: problems, cautions, and origins."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..errors import Problem
from .fields import field_of
from .model import GIVEN
from .schema import Checked
from .values import read_value


class Resolver:
    """Collects problems, cautions and the origin of every value while one case is put together.

    A value that had a problem of its own stays missing without a second message. `origins` says of each key, by
    dotted path, that it was given or which rule its value comes from.
    """

    def __init__(self, checked: Checked, folder: Path | None) -> None:
        self.values = checked.values
        self.bad = checked.bad
        self.inch = checked.inch
        self.folder = folder
        self.problems: list[Problem] = list(checked.problems)
        self.cautions: list[str] = []
        self.origins: dict[str, str] = dict.fromkeys(checked.values, GIVEN)

    def get(self, path: str) -> Any:
        """Return the value of a key: as given, else its fixed default, else None."""
        if path in self.values:
            return self.values[path]
        field = field_of(path)
        if field is None or field.default is None:
            return None
        self.origins.setdefault(path, f"default: {field.reason}" if field.reason else "default")
        return read_value(field, field.default)

    def given(self, path: str) -> bool:
        """Return whether a key was written, well or badly."""
        return path in self.values or path in self.bad or path.partition(".")[0] in self.bad

    def usable(self, *paths: str) -> bool:
        """Return whether none of these keys had a problem of its own."""
        return not any(path in self.bad or path.partition(".")[0] in self.bad for path in paths)

    def problem(self, path: str, message: str, hint: str = "") -> None:
        """Record a problem of the key at a dotted path."""
        field = field_of(path)
        self.problems.append(Problem(field.where if field else path, message, hint))

    def default(self, path: str, rule: Callable[[], float | None], why: str = "") -> float | None:
        """Return the given value of a key, else what the rule says; None when it had a problem of its own.

        `why` is the rule in words.
        """
        if path in self.values:
            return float(self.values[path])
        if not self.usable(path):
            return None
        self.origins[path] = why or "by rule"
        return rule()

    def outline(self, path: str) -> str | None:
        """Return the path of an outline file, which must exist when the folder of the case is known."""
        name = self.values.get(path)
        if name is None or self.folder is None:
            return None if name is None else str(name)
        file = self.folder / name
        if not file.is_file():
            self.problem(path, f'no file "{file}"', "write the name of a file beside the case file")
        return str(file)
