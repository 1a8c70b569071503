"""Which inputs make a body, and bodies that are built once: one key, a cache in memory, and a shelf behind it.

Yield strength, friction, engaged depth, thickness, chamfers, the lever arm and the elastic modulus do not make
another body: flexibility goes with one over the modulus, so it is solved at one modulus.

A wrench is meshed at its own opening. Where many openings of one head are asked for (the samples of a band) one
mesh serves them: side ``openings`` is the wrench at one opening of a grid together with the same mesh moved to a
wider one, and `assemble` takes a case's own opening in between. Boundary and gaps are then exact, flexibilities
taken along the tangent. Against a mesh of its own, slip torque differs by less than 0.3 %, and from one mesh of
the grid to the next it does not jump by more than that.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from contactfe.elastic import Flexibility
from contactfe.errors import ContactFEError
from contactfe.files import open_regular
from contactfe.inputs import CaseInput
from contactfe.mesh import BoundarySides, SectionMesh, SizeField, fastener_sizes, moved_mesh, wrench_sizes
from contactfe.profile import Outline, ProfilePair, profile_pair
from contactfe.turn.build import (
    BodyModel,
    BuiltPair,
    WiderOpening,
    assemble,
    fastener_body,
    scaled,
    wrench_body,
    wrench_flexibility,
)
from contactfe.turn.revision import SOLVER_REVISION

Side = Literal["fastener", "wrench", "openings"]
Arrays = dict[str, NDArray[Any]]

SIDES: tuple[Side, Side] = ("fastener", "wrench")
# MPa at which shared flexibilities are solved; steel, so that most cases use them as they are.
MODULUS = 206_000.0
ID_LENGTH = 32  # hexadecimal digits, 128 bit
FIRST_OPENING, OPENING_SPACING = 0.01, 0.03  # clearances that are meshed for many, of the nominal width
WIDER = 0.002  # of the nominal width: by how much the moved mesh is wider: nearly a tangent

# What does not touch a body's mesh or flexibility, and the one value that it has in its address.
NO_FASTENER_BODY: dict[str, Any] = {
    "size": None,
    "grade": None,
    "stock": "bar",
    "engaged_depth": 1.0,
    "chamfer_angle": 0.0,
    "yield_strength": 1.0,
    "tensile_ratio": None,
    "inch": False,
    "elastic_modulus": MODULUS,
}
NO_WRENCH_BODY: dict[str, Any] = {
    "thickness": 1.0,
    "lead_in": 0.0,
    "yield_strength": 1.0,
    "elastic_modulus": MODULUS,
    "rules_items": (),
}
NO_CONTACT_BODY: dict[str, Any] = {"friction": 0.0, "constraint_factor": 1.0}
NO_LOAD_BODY: dict[str, Any] = {"lever_arm": None, "pulls": 1}


@dataclass(frozen=True)
class BodyKeys:
    """The addresses of the bodies of a case; ``openings`` is its wrench for all openings near its own, where it is
    asked for."""

    fastener: str
    wrench: str
    openings: str = ""


class Shelf(Protocol):
    """Where bodies are kept beyond one process."""

    def load(self, key: str, outline: Outline) -> BodyModel | None:
        """The body of an address, None where it is not there or not whole."""
        ...

    def put(self, key: str, body: BodyModel) -> BodyModel:
        """Keep a body; returns it as whoever finds it later sees it."""
        ...


class Bodies:
    """Bodies by address: in memory, behind that on a shelf where there is one, built where neither has them."""

    def __init__(self, shelf: Shelf | None = None, most: int | None = None) -> None:
        """Keep at most ``most`` bodies in memory, the last ones; None: all."""
        self._shelf, self._most = shelf, most
        self._known: dict[str, BodyModel] = {}
        self.built = 0

    def body(self, case: CaseInput, side: Side, *, keep: bool = True) -> BodyModel:
        """One body of a case, at the common modulus; a new one is not kept unless another case is going to ask for it.

        Raises:
            GeometryError: outline or mesh cannot be built.
            ContactFEError: it cannot be written to the shelf.
        """
        key: str = getattr(body_keys(case), side)
        found = self._known.pop(key, None)
        if found is None and self._shelf is not None:
            found = self._shelf.load(key, outline_of(case, side))
        if found is None:
            found = compute_body(case, side)
            self.built += 1
            if not keep:
                return found
            found = found if self._shelf is None else self._shelf.put(key, found)
        self._known[key] = found  # the latest one last
        while self._most is not None and len(self._known) > self._most:
            del self._known[next(iter(self._known))]
        return found

    def build(self, case: CaseInput, wrench: Literal["wrench", "openings"] = "wrench") -> BuiltPair:
        """The built pair of a case; with "openings" on a mesh that other openings share.

        Raises:
            GeometryError: outline or mesh cannot be built.
        """
        return assemble_case(case, self.body(case, "fastener"), self.body(case, wrench))


def shape_case(case: CaseInput, side: Side = "wrench") -> CaseInput:
    """The case with everything that does not touch a body's mesh or flexibility set to one value.

    Names, grades, strengths, friction, depth, thickness, chamfers and the hand do not; nor does a modulus, because
    flexibility goes with one over it (see ``at_modulus``). With side ``openings`` the opening is that of the grid.
    """
    opening = shared_opening(case) if side == "openings" else case.wrench.opening
    return replace(
        case,
        name="",
        cautions=(),
        fastener=replace(case.fastener, **NO_FASTENER_BODY),
        wrench=replace(case.wrench, opening=opening, **NO_WRENCH_BODY),
        contact=replace(case.contact, **NO_CONTACT_BODY),
        load=replace(case.load, **NO_LOAD_BODY),
    )


def on_shape(case: CaseInput, shape: CaseInput) -> CaseInput:
    """A case on the bodies of another: everything that `shape_case` sets aside is its own."""
    return replace(
        shape,
        name=case.name,
        cautions=case.cautions,
        fastener=replace(shape.fastener, **{k: getattr(case.fastener, k) for k in NO_FASTENER_BODY}),
        wrench=replace(shape.wrench, **{k: getattr(case.wrench, k) for k in NO_WRENCH_BODY}),
        contact=replace(shape.contact, **{k: getattr(case.contact, k) for k in NO_CONTACT_BODY}),
        load=replace(shape.load, **{k: getattr(case.load, k) for k in NO_LOAD_BODY}),
    )


def shared_opening(case: CaseInput) -> float:
    """The opening (mm) of the grid that is meshed for all openings near the case's own; of a drawn one its own."""
    s, opening = case.fastener.across_flats_nominal, case.wrench.opening
    if case.wrench.family.drawn:
        return opening
    step = math.floor((opening / s - 1.0 - FIRST_OPENING) / OPENING_SPACING + 0.5 + 1e-9)
    return s * (1.0 + FIRST_OPENING + OPENING_SPACING * step)


def at_modulus(body: BodyModel, modulus: float) -> BodyModel:
    """A body of ``shape_case`` at the modulus (MPa) of a case."""
    return scaled(body, MODULUS / modulus)


def outlines(case: CaseInput, side: Side = "wrench") -> ProfilePair:
    """The pair of a case; cases that differ in nothing that shapes it share one.

    Raises:
        GeometryError: the outlines cannot be built.
    """
    return _pair(shape_case(case, side), _drawn(case))


def outline_of(case: CaseInput, side: Side) -> Outline:
    """The outline of one body."""
    pair = outlines(case, side)
    return pair.fastener if side == "fastener" else pair.wrench


@lru_cache(maxsize=64)
def _pair(shape: CaseInput, drawn: tuple[str | None, str | None]) -> ProfilePair:
    return profile_pair(shape)


def body_keys(case: CaseInput) -> BodyKeys:
    """Addresses of the bodies of a case: hashes of outline, wanted edge lengths, Poisson's ratio, plane and
    revision.

    Raises:
        GeometryError: the outlines cannot be built.
    """
    own, shared = shape_case(case), shape_case(case, "openings")
    drawn = _drawn(case)
    return BodyKeys(
        _fastener_key(own, drawn), _wrench_key(own, drawn, 0.0), _wrench_key(shared, drawn, WIDER)
    )


@lru_cache(maxsize=4096)
def _fastener_key(shape: CaseInput, drawn: tuple[str | None, str | None]) -> str:
    pair = _pair(shape, drawn)
    record = _common(shape, pair.fastener, fastener_sizes(pair, shape.mesh))
    return digest(["fastener", {**record, "poisson": shape.fastener.poisson, "outline_file": drawn[0]}])


@lru_cache(maxsize=4096)
def _wrench_key(shape: CaseInput, drawn: tuple[str | None, str | None], wider: float) -> str:
    pair = _pair(shape, drawn)
    record = {
        **_common(shape, pair.wrench, wrench_sizes(pair, shape.mesh)),
        "poisson": shape.wrench.poisson,
        # What the measures of head rotation and spread are taken over.
        "dims": shape.wrench.dims_items,
        "gripped": [pair.flats, pair.first_flat],
        # Which part of the opening's boundary it comes near to, turning which way.
        "reached_by": _plain_outline(pair.new_fastener)[0],
        "sense": pair.sense,
        "outline_file": drawn[1],
        "wider": wider,
    }
    return digest(["wrench", record])


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


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray) else value


def _drawn(case: CaseInput) -> tuple[str | None, str | None]:
    """Hashes of the files of drawn outlines: what was read from a file is known only as long as it stays as it is."""
    files = case.fastener.outline, case.wrench.outline
    fastener, wrench = (None if path is None else file_hash(Path(path)) for path in files)
    return fastener, wrench


def digest(record: Any) -> str:
    """Hash of plain values; floats count to the last bit."""
    text = json.dumps(record, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:ID_LENGTH]


def file_hash(path: Path) -> str:
    """Hash of a file's bytes.

    Raises:
        ContactFEError: it cannot be read.
    """
    try:
        with open_regular(path) as file:
            return hashlib.sha256(file.read()).hexdigest()
    except OSError as error:
        raise ContactFEError(
            f"cannot be read: {error.strerror}",
            where=str(path),
            hint="write the name of a file beside the case or study",
            slug="file",
        ) from error


def compute_body(case: CaseInput, side: Side) -> BodyModel:
    """Mesh and factorise one body of a case, at the common modulus.

    Raises:
        GeometryError: outline or mesh cannot be built.
    """
    shape = shape_case(case, side)
    pair = _pair(shape, _drawn(case))
    build: Callable[[CaseInput, ProfilePair], BodyModel] = (
        fastener_body if side == "fastener" else wrench_body
    )
    body = build(shape, pair)
    if side != "openings" or shape.wrench.family.drawn:
        return body
    return replace(body, wider=_wider(shape, body))


def _wider(shape: CaseInput, body: BodyModel) -> WiderOpening:
    """The body's mesh moved to a wider opening, and its flexibility there."""
    by = WIDER * shape.fastener.across_flats_nominal
    case = replace(shape, wrench=replace(shape.wrench, opening=shape.wrench.opening + by))
    pair = profile_pair(case)
    mesh = moved_mesh(body.mesh, pair.wrench)
    return WiderOpening(by, mesh.nodes, wrench_flexibility(case, pair, mesh, body.flexibility.nodes))


def assemble_case(case: CaseInput, fastener: BodyModel, wrench: BodyModel) -> BuiltPair:
    """The built pair of a case from its two bodies at the common modulus."""
    return assemble(
        case,
        outlines(case, "wrench" if wrench.wider is None else "openings"),
        at_modulus(fastener, case.fastener.elastic_modulus),
        at_modulus(wrench, case.wrench.elastic_modulus),
    )


def body_arrays(body: BodyModel) -> Arrays:
    """Everything of a body but its outline, as arrays by name; ``body_from`` makes the body of them again."""
    mesh = body.mesh
    found: Arrays = {
        "mesh.nodes": mesh.nodes,
        "mesh.cells": mesh.cells,
        "mesh.boundary.nodes": mesh.boundary.nodes,
        "mesh.boundary.piece": mesh.boundary.piece,
        "mesh.boundary.span": mesh.boundary.span,
        **_flexibility_arrays(body.flexibility, "flexibility"),
    }
    if body.wider is not None:
        found["wider.by"] = np.array([body.wider.by])
        found["wider.nodes"] = body.wider.nodes
        found |= _flexibility_arrays(body.wider.flexibility, "wider.flexibility")
    return found


def body_from(arrays: Mapping[str, NDArray[Any]], outline: Outline) -> BodyModel:
    """The body of ``body_arrays``.

    Raises:
        KeyError: an array is missing.
    """
    boundary = BoundarySides(*(arrays[f"mesh.boundary.{name}"] for name in ("nodes", "piece", "span")))
    mesh = SectionMesh(arrays["mesh.nodes"], arrays["mesh.cells"], boundary, outline)
    wider = None
    if "wider.by" in arrays:
        flexibility = _flexibility_from(arrays, "wider.flexibility")
        wider = WiderOpening(float(arrays["wider.by"][0]), arrays["wider.nodes"], flexibility)
    return BodyModel(mesh, _flexibility_from(arrays, "flexibility"), wider)


def _flexibility_arrays(flexibility: Flexibility, name: str) -> Arrays:
    rows = {f"{name}.observed.{key}": row for key, row in flexibility.observed.items()}
    return {f"{name}.nodes": flexibility.nodes, f"{name}.matrix": flexibility.matrix, **rows}


def _flexibility_from(arrays: Mapping[str, NDArray[Any]], name: str) -> Flexibility:
    start = f"{name}.observed."
    rows = {key.removeprefix(start): row for key, row in arrays.items() if key.startswith(start)}
    return Flexibility(arrays[f"{name}.nodes"], arrays[f"{name}.matrix"], rows)
