"""Bodies on disk, each in a folder of its own named by its address (`contactfe.turn.body_keys`)."""

from __future__ import annotations

import io
import json
import os
import shutil
from pathlib import Path

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput
from contactfe.profile import Outline
from contactfe.study.files import beside, make_folder, not_written
from contactfe.turn import BodyModel, Side, body_arrays, body_from, compute_body, outline_of

RECENT = 4  # bodies that one process keeps open
LAYOUT = 1  # of the files of one body


class BodyStore:
    """A folder of bodies, each in a sub-folder named by its address. Many processes may use it at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._recent: dict[str, BodyModel] = {}

    def has(self, key: str) -> bool:
        """Whether a body is there and whole."""
        return self._sizes(key) is not None

    def _sizes(self, key: str) -> dict[str, int] | None:
        """Sizes of the files as recorded, None unless all of them are there at these sizes."""
        place = self.folder / key
        try:
            note = json.loads((place / "body.json").read_text(encoding="utf-8"))
            sizes: dict[str, int] = note["files"]
            whole = note["layout"] == LAYOUT and all(
                (place / name).stat().st_size == n for name, n in sizes.items()
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return sizes if whole else None

    def load(self, key: str, outline: Outline) -> BodyModel | None:
        """The body with its arrays mapped read-only from disk, or None when it is not there or not whole."""
        sizes = self._sizes(key)
        if sizes is None:
            return None
        place = self.folder / key
        try:
            arrays = {
                name.removesuffix(".npy"): np.load(place / name, mmap_mode="r", allow_pickle=False)
                for name in sizes
            }
            return body_from(arrays, outline)
        except (OSError, ValueError, KeyError):
            return None

    def save(self, key: str, body: BodyModel) -> None:
        """Write a body beside and rename it; a body that another process has stored meanwhile is left alone.

        Raises:
            ContactFEError: it cannot be written.
        """
        make_folder(self.folder)
        place = self.folder / key
        part = beside(place)
        try:
            part.mkdir()
            sizes = {}
            for name, array in body_arrays(body).items():
                # Through memory: written straight to a full disk, numpy's error does not say what it is.
                buffer = io.BytesIO()
                np.save(buffer, np.ascontiguousarray(array), allow_pickle=False)
                sizes[f"{name}.npy"] = (part / f"{name}.npy").write_bytes(buffer.getbuffer())
            (part / "body.json").write_text(json.dumps({"layout": LAYOUT, "files": sizes}), encoding="utf-8")
            if place.exists() and not self.has(key):
                shutil.rmtree(place)
            if not place.exists():
                os.replace(part, place)
        except OSError as error:
            if self.has(key):  # another process was first
                return
            raise not_written(place, error) from error
        finally:
            shutil.rmtree(part, ignore_errors=True)

    def fetch(self, key: str, case: CaseInput, side: Side, *, keep: bool = True) -> BodyModel:
        """The body from disk, or computed; kept on disk unless no other case is going to ask for it.

        Raises:
            GeometryError: it cannot be built.
            ContactFEError: it cannot be written.
        """
        if key in self._recent:
            return self._recent[key]
        outline = outline_of(case, side)
        found = self.load(key, outline)
        if found is not None:
            return self._remember(key, found)
        body = compute_body(case, side)
        if not keep:
            return body
        self.save(key, body)
        # Mapped like everywhere else, so that whoever computes it sees the same arrays as whoever finds it.
        stored = self.load(key, outline)
        if stored is None:
            raise ContactFEError(
                "a stored body cannot be read back",
                where=str(self.folder / key),
                hint="check the disk",
                slug="body-store",
            )
        return self._remember(key, stored)

    def _remember(self, key: str, body: BodyModel) -> BodyModel:
        self._recent[key] = body
        while len(self._recent) > RECENT:
            del self._recent[next(iter(self._recent))]
        return body

    def bytes_used(self) -> int:
        """Size of all bodies on disk."""
        return sum(f.stat().st_size for f in self.folder.rglob("*.npy")) if self.folder.exists() else 0
