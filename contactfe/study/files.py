"""Writing files so that a reader never meets half of one, and an error that says when the disk is full."""

from __future__ import annotations

import errno
import os
import shutil
import time
import uuid
from collections.abc import Callable
from pathlib import Path

from contactfe.errors import ContactFEError

STALE = 600.0  # s after which nobody is writing a part any more
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def not_written(path: Path, error: OSError) -> ContactFEError:
    """The error of a file that could not be written; its slug is ``disk-full`` where space is missing."""
    reason = error.strerror or type(error).__name__
    if error.errno in FULL:
        hint = "what was done is kept: free some space and run the same command again"
        return ContactFEError(f"the disk is full ({reason})", where=str(path), hint=hint, slug="disk-full")
    return ContactFEError(
        f"cannot be written: {reason}",
        where=str(path),
        hint="choose another folder with --out",
        slug="not-writable",
    )


def make_folder(path: Path) -> None:
    """Make a folder and its parents.

    Raises:
        ContactFEError: it cannot be made.
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
        ContactFEError: it cannot be written; then `path` is as it was.
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
