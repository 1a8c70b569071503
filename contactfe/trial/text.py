"""Text files from other people's programs: which encoding they have, and bounded reading."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from contactfe.errors import InputError, Problem
from contactfe.files import open_regular

JUDGED_BYTES = 1_000_000  # of a file: what its encoding is judged by
LONGEST_LINE = 100_000  # characters: no row of readings or of a log is longer
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8 with a byte order mark"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)


@dataclass(frozen=True)
class Encoding:
    """The encoding of a file: Python's name of it, and how it is told to the reader."""

    name: str
    words: str


def refused(path: Path, message: str, hint: str, where: str = "") -> InputError:
    """The error of a file that cannot be used at all."""
    return InputError([Problem(where, message, hint)], source=str(path), slug="file")


def encoding_of(path: Path) -> Encoding:
    """The encoding of a file by its byte order mark, else UTF-8 where its first part is that, else Windows-1252.

    Raises:
        InputError: it cannot be read, is empty, or is no text.
    """
    try:
        with open_regular(path) as file:
            start = file.read(JUDGED_BYTES)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise refused(path, f"cannot be read: {reason}", "check the path and the permissions") from error
    if not start.strip():
        raise refused(path, "is empty", "give a file with a header and rows")
    for mark, name, words in _MARKS:
        if start.startswith(mark):
            return Encoding(name, words)
    if b"\0" in start:
        raise refused(path, "is not a text file", "export it as CSV text")
    try:
        # A character may be cut in two where the part ends.
        codecs.getincrementaldecoder("utf-8")().decode(start, final=len(start) < JUDGED_BYTES)
    except UnicodeDecodeError:
        return Encoding("cp1252", "Windows-1252 (it is not UTF-8)")
    return Encoding("utf-8", "UTF-8")


def lines_of(path: Path, encoding: Encoding) -> Iterator[str]:
    """The lines of a file with their ends, one at a time; what does not decode is replaced.

    Raises:
        InputError: a line longer than any row; nothing of it has been kept.
    """
    with path.open(encoding=encoding.name, errors="replace", newline="") as file:
        number = 0
        while line := file.readline(LONGEST_LINE + 1):
            number += 1
            if len(line) > LONGEST_LINE:
                raise refused(
                    path,
                    f"is longer than {LONGEST_LINE} characters",
                    "check that the file is a CSV table with line ends",
                    where=f"line {number}",
                )
            yield line
