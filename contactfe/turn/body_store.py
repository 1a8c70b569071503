"""Bodies on disk, each in a folder of its own named by its address (`contactfe.turn.body_keys`)."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.files import NotWritten, read_json, write_folder
from contactfe.profile import Outline
from contactfe.turn.bodies import body_arrays, body_from, file_hash
from contactfe.turn.build import BodyModel

LAYOUT = 2  # of the files of one body
NOTE = "body.json"  # its list of files, with their sizes and hashes


class BodyStore:
    """A folder of bodies, each in a sub-folder named by its address. Many processes may use it at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def has(self, key: str) -> bool:
        """Whether a body is there with all its files; what they hold is checked when it is loaded."""
        return self._files(key) is not None

    def _files(self, key: str) -> dict[str, str] | None:
        """Hashes of the files as recorded, None unless all of them are there at the recorded sizes."""
        place = self.folder / key
        try:
            note = read_json(place / NOTE)
            files: dict[str, list[Any]] = note["files"]
            whole = note["layout"] == LAYOUT and all(
                (place / name).stat().st_size == size for name, (size, _) in files.items()
            )
            return {name: str(mark) for name, (_, mark) in files.items()} if whole else None
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def load(self, key: str, outline: Outline) -> BodyModel | None:
        """The body with its arrays mapped read-only from disk, or None when it is not there or not whole.

        Every array is checked against its hash; a body with a damaged one is removed, so that it is built again.
        """
        files = self._files(key)
        if files is None:
            return None
        place = self.folder / key
        try:
            damaged = any(file_hash(place / name) != mark for name, mark in files.items())
            if not damaged:
                os.utime(place / NOTE)  # the latest used go last when room is made
                # As plain arrays: every slice of a mapped one costs more than many of the solver's steps.
                arrays = {
                    name.removesuffix(".npy"): np.asarray(
                        np.load(place / name, mmap_mode="r", allow_pickle=False)
                    )
                    for name in files
                }
                return body_from(arrays, outline)
        except (OSError, ValueError, KeyError, ContactFEError):
            pass
        shutil.rmtree(place, ignore_errors=True)
        return None

    def save(self, key: str, body: BodyModel) -> None:
        """Write a body beside and rename it; a body that another process has stored meanwhile is left alone.

        Raises:
            ContactFEError: it cannot be written.
        """
        write_folder(self.folder / key, partial(_write_body, body), partial(self.has, key))

    def put(self, key: str, body: BodyModel) -> BodyModel:
        """Save a body and map it from disk: whoever computes it sees the same arrays as whoever finds it.

        Raises:
            ContactFEError: it cannot be written, or not be read back.
        """
        self.save(key, body)
        stored = self.load(key, body.mesh.outline)
        if stored is None:
            raise NotWritten(
                "a stored body cannot be read back",
                where=str(self.folder / key),
                hint="check the disk",
                slug="body-store",
            )
        return stored

    def bytes_used(self) -> int:
        """Size of all bodies on disk."""
        return sum(f.stat().st_size for f in self.folder.rglob("*.npy")) if self.folder.exists() else 0

    def trim(self, most: float) -> int:
        """Remove the bodies that were used longest ago until at most `most` bytes are left; returns how many went.

        Only when no run is going on: they are built again by whoever asks for them.
        """
        notes = sorted(self.folder.glob(f"*/{NOTE}"), key=lambda note: note.stat().st_mtime)
        left, removed = self.bytes_used(), 0
        for note in notes:
            if left <= most:
                break
            left -= sum(file.stat().st_size for file in note.parent.glob("*.npy"))
            shutil.rmtree(note.parent, ignore_errors=True)
            removed += 1
        return removed


def _write_body(body: BodyModel, part: Path) -> None:
    """Write the arrays of a body, and their sizes and hashes, into a folder."""
    files = {}
    for name, array in body_arrays(body).items():
        # Through memory: written straight to a full disk, numpy's error does not say what it is.
        buffer = io.BytesIO()
        np.save(buffer, np.ascontiguousarray(array), allow_pickle=False)
        size = (part / f"{name}.npy").write_bytes(buffer.getbuffer())
        files[f"{name}.npy"] = [size, hashlib.sha256(buffer.getbuffer()).hexdigest()]
    (part / NOTE).write_text(json.dumps({"layout": LAYOUT, "files": files}), encoding="utf-8")
