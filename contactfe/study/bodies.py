"""Meshed and factorised bodies, once per distinct body, known by the hash of what they are made from.

Yield strength, friction, clearance within one meshed opening, engaged depth, thickness, lever arm and the
elastic modulus do not make another body: flexibility goes with one over the modulus, so it is solved at one
modulus."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Literal, cast, get_type_hints

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError
from contactfe.files import NotWritten, write_folder
from contactfe.inputs import CaseInput
from contactfe.mesh import SizeField, fastener_sizes, wrench_sizes
from contactfe.profile import Outline, ProfilePair, profile_pair
from contactfe.study.identity import digest, file_hash
from contactfe.turn import BodyModel, BuiltPair, assemble, fastener_body, wrench_body
from contactfe.turn.revision import SOLVER_REVISION
from contactfe.turn.shape import MODULUS, at_modulus, shape_case

Side = Literal["fastener", "wrench"]
Arrays = dict[str, NDArray[Any]]

SIDES: tuple[Side, Side] = ("fastener", "wrench")
RECENT = 4  # bodies that one process keeps open
LAYOUT = 2  # of the files of one body
NOTE = "body.json"  # its list of files, with their sizes and hashes


@dataclass(frozen=True)
class BodyKeys:
    """The addresses of the two bodies of a case."""

    fastener: str
    wrench: str


def outlines(case: CaseInput) -> ProfilePair:
    """The pair of the meshed case; cases that differ in nothing that shapes it share one.

    Raises:
        GeometryError: the outlines cannot be built.
    """
    return _pair(shape_case(case), _drawn(case))


@lru_cache(maxsize=64)
def _pair(shape: CaseInput, drawn: tuple[str | None, str | None]) -> ProfilePair:
    return profile_pair(shape)


def body_keys(case: CaseInput) -> BodyKeys:
    """Addresses of both bodies of a case: hashes of outline, wanted edge lengths, Poisson's ratio, plane
    and revision.

    Raises:
        GeometryError: the outlines cannot be built.
    """
    return _keys(shape_case(case), _drawn(case))


@lru_cache(maxsize=4096)
def _keys(shape: CaseInput, drawn: tuple[str | None, str | None]) -> BodyKeys:
    pair = _pair(shape, drawn)
    fastener = {
        **_common(shape, pair.fastener, fastener_sizes(pair, shape.mesh)),
        "poisson": shape.fastener.poisson,
        "outline_file": drawn[0],
    }
    wrench = {
        **_common(shape, pair.wrench, wrench_sizes(pair, shape.mesh)),
        "poisson": shape.wrench.poisson,
        # What the measures of head rotation and spread are taken over.
        "dims": shape.wrench.dims_items,
        "gripped": [pair.flats, pair.first_flat],
        # Which part of the opening's boundary it comes near to.
        "reached_by": _plain_outline(pair.new_fastener)[0],
        "outline_file": drawn[1],
    }
    return BodyKeys(digest(["fastener", fastener]), digest(["wrench", wrench]))


def _common(shape: CaseInput, outline: Outline, size: SizeField) -> dict[str, Any]:
    return {
        "solver_revision": SOLVER_REVISION,
        "outline": _plain_outline(outline),
        "sizes": {f.name: _plain(getattr(size, f.name)) for f in fields(size)},
        "modulus": MODULUS,
        "plane": shape.contact.plane,
    }


def _plain_outline(outline: Outline) -> list[list[dict[str, Any]]]:
    return [[asdict(piece) for piece in loop] for loop in outline.loops]


def _drawn(case: CaseInput) -> tuple[str | None, str | None]:
    """Hashes of the files of drawn outlines: what was read from a file is known only as long as it stays as it is."""
    return _file(case.fastener.outline), _file(case.wrench.outline)


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray) else value


def _file(path: str | None) -> str | None:
    return file_hash(Path(path)) if path is not None else None


def compute_body(case: CaseInput, side: Side) -> BodyModel:
    """Mesh and factorise one body of a case, at the common modulus.

    Raises:
        GeometryError: outline or mesh cannot be built.
    """
    shape = shape_case(case)
    build: Callable[[CaseInput, ProfilePair], BodyModel] = (
        fastener_body if side == "fastener" else wrench_body
    )
    return build(shape, _pair(shape, _drawn(shape)))


def assemble_case(case: CaseInput, fastener: BodyModel, wrench: BodyModel) -> BuiltPair:
    """The built pair of a case from its two bodies at the common modulus."""
    return assemble(
        case,
        outlines(case),
        at_modulus(fastener, case.fastener.elastic_modulus),
        at_modulus(wrench, case.wrench.elastic_modulus),
    )


class BodyStore:
    """A folder of bodies, each in a sub-folder named by its address. Many processes may use it at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._recent: dict[str, BodyModel] = {}

    def has(self, key: str) -> bool:
        """Whether a body is there with all its files; what they hold is checked when it is loaded."""
        return self._files(key) is not None

    def _files(self, key: str) -> dict[str, str] | None:
        """Hashes of the files as recorded, None unless all of them are there at the recorded sizes."""
        place = self.folder / key
        try:
            note = json.loads((place / NOTE).read_text(encoding="utf-8"))
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
                arrays = {
                    name.removesuffix(".npy"): np.load(place / name, mmap_mode="r", allow_pickle=False)
                    for name in files
                }
                return cast(BodyModel, _rebuilt(BodyModel, "", arrays, outline))
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

    def fetch(self, key: str, case: CaseInput, side: Side, *, keep: bool = True) -> BodyModel:
        """The body from disk, or computed; kept on disk unless no other case is going to ask for it.

        Raises:
            GeometryError: it cannot be built.
            ContactFEError: it cannot be written.
        """
        if key in self._recent:
            return self._recent[key]
        pair = outlines(case)
        outline = pair.fastener if side == "fastener" else pair.wrench
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
            raise NotWritten(
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
    for name, array in _flattened(body).items():
        # Through memory: written straight to a full disk, numpy's error does not say what it is.
        buffer = io.BytesIO()
        np.save(buffer, np.ascontiguousarray(array), allow_pickle=False)
        size = (part / f"{name}.npy").write_bytes(buffer.getbuffer())
        files[f"{name}.npy"] = [size, hashlib.sha256(buffer.getbuffer()).hexdigest()]
    (part / NOTE).write_text(json.dumps({"layout": LAYOUT, "files": files}), encoding="utf-8")


def _flattened(value: Any, prefix: str = "") -> Arrays:
    """Arrays of nested dataclasses and mappings by dotted name; outlines come from the case."""
    out: Arrays = {}
    items = (
        value.items()
        if isinstance(value, Mapping)
        else ((f.name, getattr(value, f.name)) for f in fields(value))
    )
    for name, item in items:
        if isinstance(item, np.ndarray):
            out[prefix + name] = item
        elif not isinstance(item, Outline):
            out |= _flattened(item, f"{prefix}{name}.")
    return out


def _rebuilt(kind: type[Any], prefix: str, arrays: Mapping[str, NDArray[Any]], outline: Outline) -> Any:
    """The dataclass `kind` from what `_flattened` made of it."""
    hints = get_type_hints(kind)
    values: dict[str, Any] = {}
    for f in fields(kind):
        name, hint = prefix + f.name, hints[f.name]
        if name in arrays:
            values[f.name] = arrays[name]
        elif hint is Outline:
            values[f.name] = outline
        elif is_dataclass(hint):
            values[f.name] = _rebuilt(hint, f"{name}.", arrays, outline)  # type: ignore[arg-type]
        else:
            values[f.name] = {
                k.removeprefix(f"{name}."): v for k, v in arrays.items() if k.startswith(f"{name}.")
            }
    return kind(**values)
