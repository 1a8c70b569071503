"""Gap search: which stretch of the fastener faces which stretch of the wrench at one rotation, and how far away.

The gap is measured along the wrench's outward normal, between the exact outlines. Every stretch lies on one side
(element edge) of each mesh and in one pressure cell, so that integrals over it are exact for straight sides; that
is what lets non-matching meshes pass the contact patch test.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.mesh import SectionMesh
from contactfe.profile import Piece

Array = NDArray[np.float64]
Index = NDArray[np.int64]

ATOMS = np.array(
    [[0.0, 0.25], [0.25, 0.75], [0.75, 1.0]]
)  # of a side: the cells of its start, middle, end node
FACET_TURN = np.radians(5.0)  # of a chord of a sharp edge
GAUSS = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)


@dataclass(frozen=True, eq=False)
class Pairing:
    """Integration points where the bodies face each other (q of them), in the wrench's frame.

    ``wrench_side``/``fastener_side`` (q,): numbers of the boundary sides; ``xi``/``eta`` (q,): fractions along
    them; ``node`` (q,): fastener boundary node that owns the pressure cell; ``place`` (q,): its place in the order
    along the boundary; ``group`` (q,): stretch of the wrench
    between two re-entrant corners; ``weight`` (q,) mm of wrench surface; ``normal`` (q, 2): out of the wrench;
    ``tangent`` (q, 2): along which the wrench slides on the fastener; ``gap`` (q,) mm, negative where they overlap.
    ``stand`` (2,) mm: how far the wrench stands from the fastener's axis.
    """

    wrench_side: Index
    fastener_side: Index
    xi: Array
    eta: Array
    node: Index
    place: Index
    group: Index
    weight: Array
    normal: Array
    tangent: Array
    gap: Array
    stand: Array


@dataclass(frozen=True)
class SearchRules:
    """What may touch and how far to look.

    ``touching``: names of the wrench's pieces that may touch; ``breaks``: names at which a pressure cell is cut;
    ``sense``: +1 if the wrench turns anticlockwise; ``window``: deepest overlap and widest gap looked at, mm;
    ``offset``: by how much the true surface of the opening lies behind the meshed one, along its normal, mm.
    """

    touching: frozenset[str]
    breaks: frozenset[str]
    sense: int
    window: tuple[float, float]
    offset: float = 0.0


class PieceTable:
    """Pieces of an outline as arrays, for vectorised geometry."""

    def __init__(self, pieces: Iterable[Piece]) -> None:
        pieces = tuple(pieces)
        self.start = np.array([p.start for p in pieces])
        self.arc = np.array([p.is_arc for p in pieces])
        self.centre = np.array([p.centre for p in pieces])
        self.radius = np.array([p.radius for p in pieces])
        self.turn = np.array([p.turn for p in pieces])
        self.length = np.array([p.length for p in pieces])
        first = self.start - self.centre
        along = np.array([p.end for p in pieces]) - self.start
        turned_by = np.sign(self.turn)[:, None] * np.column_stack([-first[:, 1], first[:, 0]])
        along = np.where(self.arc[:, None], turned_by, along)
        self.direction = along / np.hypot(along[:, 0], along[:, 1])[:, None]
        self.middle_angle = np.arctan2(first[:, 1], first[:, 0]) + 0.5 * self.turn

    def locate(self, k: Index, x: Array) -> tuple[Array, Array]:
        """Fraction along piece ``k`` (...,) nearest to points x (..., 2), and height over it along its normal, mm."""
        d = self.direction[k]
        rel = x - self.start[k]
        u = np.einsum("...i,...i->...", rel, d) / self.length[k]
        height = rel[..., 0] * d[..., 1] - rel[..., 1] * d[..., 0]
        arc = np.broadcast_to(self.arc[k], u.shape)
        if arc.any():
            k = np.broadcast_to(k, u.shape)
            rel = x - self.centre[k]
            angle = np.arctan2(rel[..., 1], rel[..., 0]) - self.middle_angle[k]
            angle = angle - 2 * np.pi * np.round(angle / (2 * np.pi))
            turn = np.where(arc, self.turn[k], 1.0)
            u = np.where(arc, 0.5 + angle / turn, u)
            height = np.where(
                arc, np.sign(turn) * (np.hypot(rel[..., 0], rel[..., 1]) - self.radius[k]), height
            )
        return u, height

    def frame(self, k: Index, u: Array) -> tuple[Array, Array, Array]:
        """Points (q, 2), unit tangents and outward normals at the fractions ``u`` (q,) of the pieces ``k`` (q,)."""
        t = self.direction[k].copy()
        x = self.start[k] + (u * self.length[k])[:, None] * t
        arc = self.arc[k]
        if arc.any():
            a = self.middle_angle[k][arc] + (u[arc] - 0.5) * self.turn[k][arc]
            radial = np.column_stack([np.cos(a), np.sin(a)])
            x[arc] = self.centre[k][arc] + self.radius[k][arc][:, None] * radial
            t[arc] = np.sign(self.turn[k][arc])[:, None] * np.column_stack([-radial[:, 1], radial[:, 0]])
        return x, t, np.column_stack([t[:, 1], -t[:, 0]])


def turned(points: Array, angle: float) -> Array:
    """Points or vectors (..., 2) turned anticlockwise about the origin."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


class _Facets:
    """Straight stretches of the wrench with one normal each: lines, and chords of sharp convex arcs.

    Where the fastener is crushed deeper than the radius of an edge, the normals of that edge cross inside it; its
    chords keep their own normals, and every point of the wrench's surface keeps one place that it faces.
    """

    def __init__(self, table: PieceTable, pieces: Index) -> None:
        count = np.where(table.arc[pieces], np.ceil(np.abs(table.turn[pieces]) / FACET_TURN), 1).astype(
            np.int64
        )
        self.piece = np.repeat(pieces, count)
        step = np.arange(len(self.piece)) - np.repeat(np.cumsum(count) - count, count)
        self.low, self.high = step / np.repeat(count, count), (step + 1) / np.repeat(count, count)
        self.start = table.frame(self.piece, self.low)[0]
        chord = table.frame(self.piece, self.high)[0] - self.start
        self.length = np.linalg.norm(chord, axis=1)
        self.direction = chord / self.length[:, None]
        self.normal = np.column_stack([self.direction[:, 1], -self.direction[:, 0]])


class _Arcs:
    """Bounds on where a point has to lie to face a round piece within the window, for each piece (k,).

    ``nearest``/``farthest``: of the squared distance from the centre, less the centre's own square; ``middle`` (k, 2)
    and ``behind``: points on the near side of the centre have a larger product with the direction of the middle.
    """

    def __init__(self, table: PieceTable, pieces: Index, window: tuple[float, float]) -> None:
        self.centre = table.centre[pieces]
        radius, out = table.radius[pieces], np.sign(table.turn[pieces])
        own = np.einsum("ki,ki->k", self.centre, self.centre)
        bounds = np.sort(np.maximum(radius + out * np.array([[-window[0]], [window[1]]]), 0.0), axis=0)
        self.nearest, self.farthest = bounds**2 - own
        angle = table.middle_angle[pieces]
        self.middle = np.column_stack([np.cos(angle), np.sin(angle)])
        self.behind = np.einsum("ki,ki->k", self.centre, self.middle)


class GapSearch:
    """Finds the pairing of two meshes at any rotation; everything that does not depend on it is laid out once."""

    def __init__(self, fastener: SectionMesh, wrench: SectionMesh, rules: SearchRules) -> None:
        """Lay out the pieces, sides and pressure cells of the two meshes."""
        self.fastener, self.wrench = fastener, wrench
        self.sense, self.window, self.offset = rules.sense, rules.window, rules.offset
        touching, breaks = rules.touching, rules.breaks
        self._wrench_pieces = PieceTable(wrench.outline.pieces)
        self._fastener_pieces = PieceTable(fastener.outline.pieces)
        names = [p.name for p in wrench.outline.pieces]
        pieces = np.array([i for i, n in enumerate(names) if n in touching])
        table = self._wrench_pieces
        sharp = table.arc[pieces] & (table.turn[pieces] > 0) & (table.radius[pieces] < rules.window[0])
        straight = ~table.arc[pieces] | sharp
        self._facets, self._round = _Facets(table, pieces[straight]), pieces[~straight]
        self._arcs = _Arcs(table, self._round, self.window)
        self._group = np.cumsum(
            [n in breaks or (i > 0 and names[i - 1] in breaks) for i, n in enumerate(names)]
        )
        order = np.lexsort((wrench.boundary.span[:, 0], wrench.boundary.piece))
        self._side_order = order
        self._side_key = wrench.boundary.piece[order] * 2.0 + wrench.boundary.span[order, 0]
        outer = np.flatnonzero(fastener.boundary.piece < len(fastener.outline.loops[0]))
        side = np.repeat(outer, 3)
        local = np.tile(ATOMS, (len(outer), 1))
        span = fastener.boundary.span[side]
        piece = fastener.boundary.piece[side]
        at = span[:, :1] + local * (span[:, 1:] - span[:, :1])
        self._atom_side, self._atom_piece, self._atom_local = side, piece, local
        self._atom_node = fastener.boundary.nodes[outer].ravel()
        self._atom_place = (2 * np.arange(len(outer))[:, None] + np.arange(3)).ravel() % (2 * len(outer))
        # The end of an atom is the start of the next one; the last of the loop leads back to the first.
        self._atom_points = self._fastener_pieces.frame(piece, at[:, 0])[0]
        self._atom_next = np.roll(np.arange(len(side)), -1)
        self._atom_ring = np.append(np.arange(len(side)), 0)

    def pairing(
        self, rotation: float, widest: float | None = None, stand: tuple[float, float] = (0.0, 0.0)
    ) -> Pairing:
        """The pairing when the wrench has turned by ``rotation`` (rad, >= 0) in its sense from square.

        ``widest`` (mm) narrows the window: gaps that are wider all along a stretch are left out. ``stand`` (mm): where
        the wrench's own origin stands, seen from the fastener's axis, in the wrench's frame.
        """
        angle, moved = -self.sense * rotation, np.array(stand)
        limit = self.window[1] if widest is None else widest - self.offset
        piece, atom, low, high, heights, normal = self._facing(
            turned(self._atom_points, angle) - moved, limit
        )
        row, side, low, high = self._cut_at_sides(piece, low, high)
        piece, atom = piece[row], atom[row]
        u = (low[:, None] + GAUSS * (high - low)[:, None]).ravel()
        weight = np.repeat(0.5 * (high - low) * self._wrench_pieces.length[piece], 2)
        estimate = np.repeat(heights[row], 2)
        piece, atom, side = (np.repeat(a, 2) for a in (piece, atom, side))
        x, _, own = self._wrench_pieces.frame(piece, u)
        n = np.repeat(normal[row], 2, axis=0)
        n = np.where(np.isnan(n), own, n)
        t = np.column_stack([-n[:, 1], n[:, 0]])
        gap, eta = self._hit(atom, turned(x + moved, -angle), turned(n, -angle), estimate)
        span = self.wrench.boundary.span[side]
        arm = x + moved
        slide = self.sense * (arm[:, 0] * t[:, 1] - arm[:, 1] * t[:, 0])
        return Pairing(
            wrench_side=side,
            fastener_side=self._atom_side[atom],
            xi=(u - span[:, 0]) / (span[:, 1] - span[:, 0]),
            eta=eta,
            node=self._atom_node[atom],
            place=self._atom_place[atom],
            group=self._group[piece],
            weight=weight,
            normal=n,
            tangent=np.where(slide >= 0, 1.0, -1.0)[:, None] * t,
            gap=gap + self.offset,
            stand=moved,
        )

    def _facing(self, points: Array, widest: float) -> tuple[Index, Index, Array, Array, Array, Array]:
        """Pairs of wrench piece and fastener atom that look at each other within the window.

        Returns piece, atom, from and to which fraction of the piece, mean height, and the normal (nan on arcs, whose
        normal turns along the stretch).
        """
        found = [self._on_facets(points), self._on_arcs(points)]
        piece, atom, u, h, normal = (np.concatenate(parts) for parts in zip(*found, strict=True))
        ok = (h.min(axis=1) < widest) & (h.max(axis=1) > -self.window[0])
        return piece[ok], atom[ok], u[ok, 0], u[ok, 1], h[ok].mean(axis=1), normal[ok]

    def _on_facets(self, points: Array) -> tuple[Index, Index, Array, Array, Array]:
        f = self._facets
        d = f.direction / f.length[:, None]
        # One row more than atoms: the end of the last atom is the start of the first.
        along = points[self._atom_ring] @ d.T - np.einsum("ki,ki->k", f.start, d)
        u, after_u = along[:-1], along[1:]
        # Both outlines keep their material on the left, so facing stretches run against each other.
        facing = after_u < u
        facing &= u > 0
        facing &= after_u < 1
        atom, k = np.divmod(np.flatnonzero(facing), facing.shape[1])
        after = self._atom_next[atom]
        height = np.column_stack(
            [np.einsum("qi,qi->q", points[i] - f.start[k], f.normal[k]) for i in (atom, after)]
        )
        low, high = np.maximum(after_u[atom, k], 0.0), np.minimum(u[atom, k], 1.0)
        wide = f.high[k] - f.low[k]
        return (
            f.piece[k],
            atom,
            f.low[k, None] + wide[:, None] * np.column_stack([low, high]),
            height,
            f.normal[k],
        )

    def _on_arcs(self, points: Array) -> tuple[Index, Index, Array, Array, Array]:
        """The same for round pieces; angles are worked out only where the distance from the centre is in the window."""
        table, pieces, arcs = self._wrench_pieces, self._round, self._arcs
        square = np.einsum("ai,ai->a", points, points)[:, None] - 2.0 * points @ arcs.centre.T
        near = square > arcs.nearest
        near &= square < arcs.farthest
        near &= points @ arcs.middle.T > arcs.behind
        atom, k = np.divmod(np.flatnonzero(near), max(len(pieces), 1))
        u0, h0 = table.locate(pieces[k], points[atom])
        u1, h1 = table.locate(pieces[k], points[self._atom_next[atom]])
        ok = (u1 < u0) & (u0 > 0) & (u1 < 1) & (u0 - u1 < 1.5)
        u = np.column_stack([np.maximum(u1, 0.0), np.minimum(u0, 1.0)])[ok]
        return pieces[k][ok], atom[ok], u, np.column_stack([h0, h1])[ok], np.full((int(ok.sum()), 2), np.nan)

    def _cut_at_sides(self, piece: Index, low: Array, high: Array) -> tuple[Index, Index, Array, Array]:
        first = np.searchsorted(self._side_key, piece * 2.0 + low + 1e-13, side="right") - 1
        last = np.searchsorted(self._side_key, piece * 2.0 + high - 1e-13, side="left") - 1
        count = np.maximum(last - first + 1, 1)
        row = np.repeat(np.arange(len(piece)), count)
        offset = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        side = self._side_order[first[row] + offset]
        span = self.wrench.boundary.span[side]
        low, high = np.maximum(low[row], span[:, 0]), np.minimum(high[row], span[:, 1])
        keep = high - low > 1e-11
        return row[keep], side[keep], low[keep], high[keep]

    def _hit(self, atom: Index, x: Array, n: Array, estimate: Array) -> tuple[Array, Array]:
        """Distance along n from x to the atom's exact piece, and the fraction along the atom's side, both (q,)."""
        pieces, k = self._fastener_pieces, self._atom_piece[atom]
        rel = pieces.start[k] - x
        d = pieces.direction[k]
        across = n[:, 0] * d[:, 1] - n[:, 1] * d[:, 0]
        gap = (rel[:, 0] * d[:, 1] - rel[:, 1] * d[:, 0]) / np.where(np.abs(across) > 1e-12, across, 1.0)
        arc = pieces.arc[k]
        if arc.any():
            q = x - pieces.centre[k]
            b = np.einsum("qi,qi->q", q, n)
            root = np.sqrt(np.maximum(b**2 - np.einsum("qi,qi->q", q, q) + pieces.radius[k] ** 2, 0.0))
            near, far = -b - root, -b + root
            gap = np.where(arc, np.where(np.abs(near - estimate) <= np.abs(far - estimate), near, far), gap)
        u, _ = pieces.locate(k, x + gap[:, None] * n)
        span = self.fastener.boundary.span[self._atom_side[atom]]
        local = self._atom_local[atom]
        eta = np.clip((u - span[:, 0]) / (span[:, 1] - span[:, 0]), local[:, 0], local[:, 1])
        return gap, eta
