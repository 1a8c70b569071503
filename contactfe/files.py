"""Files that are written so that a reader never meets half of one, with an error that says when the disk is full, and
read only where they are ordinary files of a bounded size."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import shutil
import stat
import time
import uuid
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from contactfe.errors import ContactFEError

STALE = 600.0  # s after which nobody is writing a part any more
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a cell begins with that spreadsheets reckon out
MOST_STORED = 64_000_000  # bytes of a file that the program itself has written
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


class NotWritten(ContactFEError):
    """A file or folder could not be written: the fault is the disk's, not the question's."""

    default_slug = "not-writable"


class NotRegular(OSError):
    """A pipe, a device or a folder stands where a file is read."""


def open_regular(path: str | Path) -> BinaryIO:
    """Open a regular file for reading bytes: a pipe would wait for ever, and a device has no end.

    Raises:
        OSError: it cannot be read; `NotRegular` for what is no regular file.
    """
    # Without O_NONBLOCK, opening a pipe that nobody writes to would wait.
    file = open(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)), "rb")  # noqa: SIM115
    if stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        return file
    file.close()
    raise NotRegular(errno.EINVAL, "not a regular file", str(path))


def read_stored(path: str | Path, most: int = MOST_STORED) -> str:
    """The text of a file that the program has written, of at most `most` bytes.

    Raises:
        OSError: it cannot be read, is no regular file, or is larger.
        UnicodeDecodeError: it is not UTF-8.
    """
    with open_regular(path) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"larger than {most / 1e6:g} MB", str(path))
    return data.decode("utf-8")


def read_json(path: str | Path) -> Any:
    """The content of a JSON file that the program has written.

    Raises:
        OSError: see `read_stored`.
        ValueError: it is not UTF-8, not JSON, or nested too deeply.
    """
    return json_of(read_stored(path))


def json_of(text: str) -> Any:
    """The value of a JSON text. Raises ValueError when it is none, or nested too deeply."""
    try:
        return json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


def not_written(path: Path, error: OSError) -> NotWritten:
    """The error of a file that could not be written; its slug is ``disk-full`` where space is missing."""
    reason = error.strerror or str(error) or type(error).__name__
    if error.errno in FULL:
        hint = "what was done is kept: free some space and run the same command again"
        return NotWritten(f"the disk is full ({reason})", where=str(path), hint=hint, slug="disk-full")
    return NotWritten(f"cannot be written: {reason}", where=str(path), hint="name another folder")


def make_folder(path: Path) -> None:
    """Make a folder and its parents.

    Raises:
        NotWritten: it cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise not_written(path, error) from error


def beside(path: Path) -> Path:
    """A name beside `path` that no other process uses."""
    return path.with_name(f"{path.name}.{uuid.uuid4().hex[:12]}.part")


def write_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` make the file under another name, then rename it to `path`.

    Raises:
        NotWritten: it cannot be written; then `path` is as it was.
    """
    part = beside(path)
    try:
        write(part)
        os.replace(part, path)
    except OSError as error:
        raise not_written(path, error) from error
    finally:  # also when the process is told to end meanwhile
        remove(part)


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 text file, see `write_whole`."""
    write_whole(path, lambda part: part.write_text(text, encoding="utf-8", newline="\n"))


def csv_text(columns: Sequence[str], rows: Iterable[Iterable[Any]]) -> str:
    """A table as CSV: numbers by their shortest exact text, what is missing as nothing, lines ended by a newline.

    A text that a spreadsheet would take for a formula, for it begins with one of ``= + - @`` and is no number, gets
    an apostrophe in front; `csv_cell` takes it off again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_cell(name) for name in columns])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return f"'{text}" if _like_formula(text) else text


def csv_cell(text: str) -> str:
    """The text that `csv_text` was given for a cell."""
    return text[1:] if text.startswith("'") and _like_formula(text[1:]) else text


def _like_formula(text: str) -> bool:
    if not text.startswith(_FORMULA):
        return False
    try:
        float(text)
    except ValueError:
        return True
    return False


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file of bytes, see `write_whole`."""
    write_whole(path, lambda part: part.write_bytes(content))


def write_together(folder: Path, write: Callable[[Path], object]) -> list[Path]:
    """Let `write` fill a folder beside `folder`, then move its files into `folder`, which is made if absent.

    All files are written before the first one is moved, so that a failure on the way leaves what was there.
    Returns the paths of the files, sorted by name.

    Raises:
        NotWritten: the folder cannot be made or written to, or is a file.
    """
    if folder.exists() and not folder.is_dir():
        raise NotWritten("is a file, not a folder", where=str(folder), hint="name another folder")
    part = beside(folder)
    try:
        part.mkdir(parents=True)
        write(part)
        names = sorted(path.name for path in part.iterdir())
        folder.mkdir(exist_ok=True)
        for name in names:
            os.replace(part / name, folder / name)
    except NotWritten as error:  # it names a file that is gone again
        raise NotWritten(error.message, where=str(folder), hint=error.hint, slug=error.slug) from error
    except OSError as error:
        raise not_written(folder, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return [folder / name for name in names]


def write_folder(place: Path, write: Callable[[Path], object], is_whole: Callable[[], bool]) -> None:
    """Let `write` fill a new folder, then rename it to `place`, unless another process has put a whole one there.

    What stands at `place` and is not whole (`is_whole` tells) is replaced.

    Raises:
        NotWritten: it cannot be written.
    """
    make_folder(place.parent)
    part = beside(place)
    try:
        part.mkdir()
        write(part)
        if place.exists() and not is_whole():
            shutil.rmtree(place)
        if not place.exists():
            os.replace(part, place)
    except OSError as error:
        if is_whole():  # another process was first
            return
        raise not_written(place, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def clear_parts(folder: Path) -> None:
    """Remove what killed processes left half-written; what is recent may still be being written."""
    for part in folder.rglob("*.part"):
        try:
            old = time.time() - part.stat().st_mtime > STALE
        except OSError:  # its writer has just renamed it
            continue
        if old and part.is_dir():
            shutil.rmtree(part, ignore_errors=True)
        elif old:
            remove(part)


def remove(path: Path) -> None:
    """Remove a left-over file if it is there; a disk that refuses even that leaves it."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return
