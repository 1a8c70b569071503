"""Meshes of bodies whose sectors are all alike: one sector is meshed, and turned about the axis.

A sector reaches from one cut to the next; each cut runs straight from the outer loop to the core. The nodes on the
second cut are those of the first one, turned: they belong to the next sector.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import GeometryError
from contactfe.inputs import MeshInput
from contactfe.mesh.mesher import mesh_outline
from contactfe.mesh.section import BoundarySides, SectionMesh
from contactfe.mesh.sizing import SizeField, fastener_sizes
from contactfe.profile import Outline, Piece, ProfilePair, arc, line

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Sides = tuple[Index, Index, Array]

CUT, CORE = "cut", "core"
ALIKE = 1e-9  # of the size: by how much pieces of two sectors may differ


@dataclass(frozen=True, eq=False)
class SectorMesh:
    """One of ``count`` sectors of a body: its mesh, and its nodes on the first and on the second cut, (a,) each, in the
    same order."""

    mesh: SectionMesh
    count: int
    first: Index
    second: Index

    @property
    def pitch(self) -> float:
        """Angle from one sector to the next, rad."""
        return math.tau / self.count

    @cached_property
    def own(self) -> Index:
        """The nodes that belong to a sector, (o,): all but those on its second cut."""
        own = np.ones(len(self.mesh.nodes), dtype=bool)
        own[self.second] = False
        return np.flatnonzero(own)

    @cached_property
    def number(self) -> Index:
        """The number in the whole mesh of each node of each sector, (count, n)."""
        at = np.full(len(self.mesh.nodes), -1, dtype=np.int64)
        at[self.own] = np.arange(len(self.own))
        found = at + len(self.own) * np.arange(self.count)[:, None]
        found[:, self.second] = np.roll(found[:, self.first], -1, axis=0)
        return found

    def edges(self) -> tuple[Index, Index]:
        """The nodes on the core, and those on the outer loop that belong to the sector."""
        mesh = self.mesh
        names = np.array([p.name for p in mesh.outline.pieces])[mesh.boundary.piece]
        core, outer = (
            np.unique(mesh.boundary.nodes[on]) for on in (names == CORE, (names != CORE) & (names != CUT))
        )
        return core, np.intersect1d(outer, self.own)


@dataclass(frozen=True)
class _Sector:
    """The outline of one sector, and where its pieces lie on the whole one: ``parts`` holds for each piece of the outer
    loop its number there and from which to which fraction of it the sector's piece runs."""

    outline: Outline
    parts: tuple[tuple[int, float, float], ...]

    @property
    def cuts(self) -> tuple[int, int]:
        """Numbers of the pieces that are the first and the second cut."""
        return len(self.parts) + 2, len(self.parts)


def mesh_fastener(pair: ProfilePair, mesh: MeshInput) -> tuple[SectionMesh, SectorMesh | None]:
    """The mesh of a fastener, and one of its sectors where they are all alike: as many as it has flats.

    Raises:
        GeometryError: the mesh cannot follow the outline.
    """
    sizes = fastener_sizes(pair, mesh)
    found = mesh_sectors(pair.fastener, sizes, pair.flats)
    return (mesh_outline(pair.fastener, sizes), None) if found is None else found


def mesh_sectors(outline: Outline, size: SizeField, count: int) -> tuple[SectionMesh, SectorMesh] | None:
    """Mesh one of ``count`` sectors of an outline with a core; the whole mesh and the sector. None where its sectors are
    not alike or one alone cannot be meshed."""
    sector = _sector_of(outline, count)
    if sector is None:
        return None
    first, second = sector.cuts
    try:
        mesh = mesh_outline(sector.outline, size, alike=(first, second))
    except GeometryError:
        return None
    out, back = (_along(mesh, number) for number in (first, second))
    if len(out) != len(back):
        return None
    nodes = mesh.nodes.copy()
    nodes[back[::-1]] = _turned(nodes[out], math.tau / count)
    found = SectorMesh(replace(mesh, nodes=nodes), count, out, back[::-1].copy())
    return _whole(outline, sector, found), found


def _along(mesh: SectionMesh, piece: int) -> Index:
    """Nodes along one piece of an outline, in its running order."""
    sides = mesh.boundary.nodes[mesh.boundary.piece == piece]
    return np.append(sides[:, :2].ravel(), sides[-1, 2])


def _turned(points: Array, angle: float) -> Array:
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _whole(outline: Outline, sector: _Sector, one: SectorMesh) -> SectionMesh:
    """The mesh of the whole body, sector after sector; its sides in running order along the loops."""
    own = one.mesh.nodes[one.own]
    nodes = np.concatenate([_turned(own, k * one.pitch) for k in range(one.count)])
    cells = one.number[:, one.mesh.cells].reshape(-1, 6)
    parts = [
        side
        for k in range(one.count)
        for side in (_outer(outline, sector, one, k), _core(outline, sector, one, k))
    ]
    triple, piece, span = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.lexsort((span[:, 0], piece))
    return SectionMesh(nodes, cells, BoundarySides(triple[order], piece[order], span[order]), outline)


def _outer(outline: Outline, sector: _Sector, one: SectorMesh, k: int) -> Sides:
    """Nodes, pieces and spans of the sides of the k-th sector on the outer loop."""
    loop, sides = len(outline.loops[0]), one.mesh.boundary
    at = np.flatnonzero(sides.piece < len(sector.parts))
    number, low, high = (np.array(part)[sides.piece[at]] for part in zip(*sector.parts, strict=True))
    piece = (number + k * (loop // one.count)) % loop
    span = low[:, None] + sides.span[at] * (high - low)[:, None]
    return one.number[k, sides.nodes[at]], piece, span


def _core(outline: Outline, sector: _Sector, one: SectorMesh, k: int) -> Sides:
    """The same on the core, whose pieces run clockwise."""
    core, sides = outline.loops[1], one.mesh.boundary
    at = np.flatnonzero(sides.piece == len(sector.parts) + 1)
    own = sector.outline.loops[0][len(sector.parts) + 1]
    angle = _angle(own.start) + k * one.pitch + own.turn * sides.span[at]
    way = np.remainder(_angle(core[0].start) - angle.mean(axis=1), math.tau)
    ends = np.cumsum([abs(p.turn) for p in core])
    piece = np.searchsorted(ends, way)
    long = np.array([abs(p.turn) for p in core])[piece]
    middle = (way - (ends[piece] - long))[:, None]
    span = (middle + (angle.mean(axis=1)[:, None] - angle)) / long[:, None]
    return one.number[k, sides.nodes[at]], len(outline.loops[0]) + piece, np.clip(span, 0.0, 1.0)


def _sector_of(outline: Outline, count: int) -> _Sector | None:
    """One of ``count`` sectors of an outline, cut where its longest straight piece has its middle; None where they are
    not alike, or there is no round core."""
    if len(outline.loops) != 2:
        return None
    outer, core = outline.loops
    run, pitch = len(outer) // count, math.tau / count
    turned = Outline((outer,)).rotated(pitch).loops[0]
    size = max(math.hypot(*p.start) for p in outer)
    if len(outer) % count or not all(
        _alike(turned[i], outer[(i + run) % len(outer)], ALIKE * size) for i in range(len(outer))
    ):
        return None
    if not _round(core, pitch):
        return None
    straight = [i for i in range(run) if not outer[i].is_arc]
    begin = max(straight, key=lambda i: outer[i].length) if straight else 0
    u = 0.5 if straight else 0.0
    parts = [(begin, u, 1.0), *((i % len(outer), 0.0, 1.0) for i in range(begin + 1, begin + run))]
    parts += [((begin + run) % len(outer), 0.0, u)] if straight else []
    pieces = [_part(outer[i], low, high) for i, low, high in parts]
    start, end, radius = pieces[0].start, pieces[-1].end, core[0].radius
    at = _angle(core[0].start)
    at += pitch * round((_angle(start) - at) / pitch)
    inward = arc((0.0, 0.0), radius, at + pitch, at, CORE)
    cuts = line(end, inward.start, CUT), line(inward.end, start, CUT)
    return _Sector(Outline(((*pieces, cuts[0], inward, cuts[1]),)), tuple(parts))


def _round(core: tuple[Piece, ...], pitch: float) -> bool:
    """Whether a loop is a circle about the axis, of arcs that end where sectors may."""
    turns = [p.turn / pitch for p in core]
    whole = all(
        p.name == CORE and p.is_arc and p.turn < 0 and math.hypot(*p.centre) < ALIKE * p.radius for p in core
    )
    return whole and all(abs(turn - round(turn)) < ALIKE for turn in turns)


def _alike(a: Piece, b: Piece, within: float) -> bool:
    """Whether two pieces have the same course."""
    points = np.array([[a.start, a.end, a.centre], [b.start, b.end, b.centre]])
    near = bool(np.abs(points[0] - points[1]).max() < within)
    return near and abs(a.radius - b.radius) < within and abs(a.turn - b.turn) < ALIKE


def _part(piece: Piece, low: float, high: float) -> Piece:
    """A piece from one fraction of its length to another."""
    if (low, high) == (0.0, 1.0):
        return piece
    start, end = piece.points(np.array([low, high])).tolist()
    return Piece(tuple(start), tuple(end), piece.name, piece.centre, piece.radius, piece.turn * (high - low))


def _angle(point: tuple[float, float]) -> float:
    return math.atan2(point[1], point[0])
