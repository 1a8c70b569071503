"""The one place where input files are read: what is no ordinary text file of reasonable size is refused."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from ..errors import InputError, Problem
from ..files import NotRegular, open_regular

LARGEST = 8_000_000
"""Largest input file that is read, in bytes: a drawn outline of 100,000 points, or a long log."""
_DEEPEST = 20
"""Deepest nesting of tables and lists that is read; a case needs three."""


class UnreadableFile(InputError):
    """An input file cannot be read: not there, no ordinary file, too large, or no UTF-8 text."""

    default_slug = "file"


class NotToml(InputError):
    """An input file is not TOML."""

    default_slug = "toml"


def read_text(path: str | Path, largest: int = LARGEST) -> str:
    """Return the text of an input file, with or without a byte order mark.

    Only regular files of at most `largest` bytes are read: a pipe would wait for ever, a device has no end. Raises
    UnreadableFile.
    """
    try:
        with open_regular(path) as file:
            data = file.read(largest + 1)
    except NotRegular as error:
        raise _unreadable(path, "is not a regular file", "give the name of a text file") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        hint = "check the path and the permissions of the file"
        raise _unreadable(path, f"cannot be read: {reason}", hint) from error
    except ValueError as error:
        raise _unreadable(path, "cannot be read: no file has such a name", "check the path") from error
    if len(data) > largest:
        raise _unreadable(path, f"is larger than {largest / 1e6:g} MB", "give the name of a text file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(path, f"is not UTF-8 text (byte {error.start})", "save it as UTF-8 text") from error


def read_toml(path: str | Path) -> dict[str, Any]:
    """Return the raw tables of a TOML file. Raises UnreadableFile or NotToml."""
    text = read_text(path)
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        what = "too deeply nested" if isinstance(error, RecursionError) else str(error)
        what = "holds a whole number of thousands of digits" if "integer string conversion" in what else what
        hint = 'a line is a [table] or key = "value"; text stands in quotes'
        raise NotToml([Problem("", f"is not TOML: {what}", hint)], source=str(path)) from error
    if _deeper(tables, _DEEPEST):
        what = f"nests tables and lists more than {_DEEPEST} deep"
        raise NotToml([Problem("", what, "a case needs [table] and key alone")], source=str(path))
    return tables


def _deeper(value: Any, levels: int) -> bool:
    """Return whether tables and lists are nested deeper than `levels`."""
    layer = [value]
    for _ in range(levels):
        layer = [inner for outer in layer for inner in _inside(outer)]
        if not layer:
            return False
    return True


def _inside(value: Any) -> list[Any]:
    held = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [inner for inner in held if isinstance(inner, dict | list)]


def _unreadable(path: str | Path, message: str, hint: str) -> UnreadableFile:
    return UnreadableFile([Problem("", message, hint)], source=str(path))
