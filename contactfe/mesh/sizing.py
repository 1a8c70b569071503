"""How long an element's edge may be, and where: the size field of one body.

The field is the smallest of many cones: each source asks for an edge length at its point, and lets it grow with
the distance from there. Sources sit where contact happens and on every arc, so that arcs stay round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from contactfe.inputs import MeshInput
from contactfe.profile import TOUCHING, Outline, Piece, ProfilePair, as_polygon

Array = NDArray[np.float64]

# Of the width across flats: the default contact edge that the turn limits refer to.
STANDARD_CONTACT_EDGE = 0.012
ARC_STEP = 0.45  # rad per element on an arc at the default contact edge
CONTACT_GROWTH = 0.12  # along a gripped flat, away from its corner
WORN_EDGE = 1.0  # of the contact edge, along worn corners: finer moved the next torque by 0.01 %
CACHED = 60_000  # distances at a time: they stay in the processor's cache
ROLL_RANGE = tuple(math.radians(a) for a in range(1, 13))  # turns over which a zone counts as touched


@dataclass(frozen=True, eq=False)
class SizeField:
    """Sources (n, 2), their edge lengths (n,) and growths (n,), and the largest edge length, mm."""

    points: Array
    sizes: Array
    growths: Array
    largest: float

    def __call__(self, x: Array) -> Array:
        """Edge length wanted at the points x (k, 2), as (k,) in mm."""
        out = np.full(len(x), self.largest)
        for chunk in np.array_split(np.arange(len(x)), max(1, len(x) * len(self.points) // CACHED)):
            d = x[chunk, :1] - self.points[:, 0]
            d *= d
            across = x[chunk, 1:] - self.points[:, 1]
            across *= across
            d += across
            np.sqrt(d, out=d)
            d *= self.growths
            d += self.sizes
            out[chunk] = np.minimum(out[chunk], d.min(axis=1))
        return out


class _Sources:
    def __init__(self) -> None:
        self.points: list[Array] = []
        self.sizes: list[Array] = []
        self.growths: list[Array] = []

    def add(self, points: Array, sizes: Array | float, growth: float) -> None:
        self.points.append(points)
        self.sizes.append(np.broadcast_to(np.asarray(sizes, dtype=float), (len(points),)))
        self.growths.append(np.full(len(points), growth))

    def field(self, largest: float) -> SizeField:
        return SizeField(
            np.vstack(self.points), np.concatenate(self.sizes), np.concatenate(self.growths), largest
        )


def _arc_sources(sources: _Sources, outline: Outline, mesh: MeshInput, step: float) -> None:
    for piece in outline.pieces:
        if piece.is_arc:
            n = max(3, math.ceil(abs(piece.turn) / step) + 1)
            sources.add(
                piece.points(np.linspace(0, 1, n)), min(piece.radius * step, mesh.edge_max), mesh.growth
            )


def fastener_sizes(pair: ProfilePair, mesh: MeshInput) -> SizeField:
    """Fine at the corners and along the end of each flat that the wrench drives, coarse towards the core."""
    sources = _Sources()
    fineness = mesh.edge_at_contact / (STANDARD_CONTACT_EDGE * pair.across_flats)
    step = ARC_STEP * fineness
    _arc_sources(sources, pair.fastener, mesh, step)
    for piece in pair.fastener.pieces:
        if piece.is_arc or piece.name == "core":
            continue
        if piece.name.startswith("worn"):  # many short pieces: each is no flat with an end of its own
            u = np.linspace(0.0, 1.0, max(2, math.ceil(2 * piece.length / mesh.edge_at_contact)))
            sources.add(piece.points(u), WORN_EDGE * mesh.edge_at_contact, mesh.growth)
            continue
        # The end of a flat that runs ahead in the sense opposite to the wrench's turning is driven into the flank.
        u = np.linspace(0.0, 1.0, 41)
        distance = (1 - u if pair.sense > 0 else u) * piece.length
        driven = distance <= 0.75 * piece.length
        wanted = np.minimum(
            0.35 * mesh.edge_at_contact + CONTACT_GROWTH * distance, 2.0 * mesh.edge_at_contact
        )
        sources.add(piece.points(u[driven]), wanted[driven], mesh.growth)
    for piece in pair.fastener.pieces:
        if piece.is_arc and piece.name != "core":
            fine = min(piece.radius * step, mesh.edge_at_contact)
            n = max(3, math.ceil(piece.length / mesh.edge_at_contact))
            sources.add(piece.points(np.linspace(0, 1, n)), fine, mesh.growth)
    return sources.field(mesh.edge_max)


def wrench_sizes(pair: ProfilePair, mesh: MeshInput) -> SizeField:
    """Fine where the turning fastener presses into the opening, coarse towards the outside and the handle."""
    sources = _Sources()
    fineness = mesh.edge_at_contact / (STANDARD_CONTACT_EDGE * pair.across_flats)
    _arc_sources(sources, pair.wrench, mesh, ARC_STEP * fineness)
    reach = 0.02 * pair.across_flats
    body = as_polygon(pair.new_fastener, 0.05 * pair.across_flats)
    body = shapely.Polygon(body.exterior)
    for piece in pair.wrench.pieces:
        if piece.name not in TOUCHING:
            continue
        touched = _touched(piece, body, pair.sense, reach)
        if touched.size:
            sources.add(touched, 1.2 * mesh.edge_at_contact, mesh.growth)
    return sources.field(mesh.edge_max)


def _touched(piece: Piece, fastener: shapely.Polygon, sense: int, reach: float) -> Array:
    """Points of a piece that lie inside the fastener at some turn of the range, (k, 2)."""
    points = piece.points(np.linspace(0, 1, max(3, math.ceil(piece.length / reach) + 1)))
    inside = np.zeros(len(points), dtype=bool)
    for turn in ROLL_RANGE:
        turned = shapely.affinity.rotate(fastener, -sense * turn, origin=(0, 0), use_radians=True)
        inside |= shapely.contains_xy(turned, points[:, 0], points[:, 1])
    return points[inside]
