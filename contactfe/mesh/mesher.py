"""Graded meshes of six-node triangles on scipy's Delaunay triangulation.

Boundary points are laid along the exact outline by the size field, interior points from a graded quadtree; a few
rounds of smoothing with a fresh triangulation each even them out. Every loop is bounded: an outline that cannot
be meshed ends in an error that says where.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from contactfe.errors import GeometryError
from contactfe.mesh.section import BoundarySides, SectionMesh, corner_angles, least_jacobian
from contactfe.mesh.sizing import SizeField
from contactfe.profile import Outline

Array = NDArray[np.float64]
Index = NDArray[np.int64]

PUSHING_ROUNDS = 14
EVENING_ROUNDS = 3
REPAIR_ROUNDS = 12
MOST_POINTS = 200_000


@dataclass
class _Boundary:
    """Points on the outline: loop number, piece, fraction; closed loop after loop."""

    loops: list[list[tuple[int, float, float]]]  # per loop: (piece, from fraction, to fraction) of each side


def mesh_outline(outline: Outline, size: SizeField, alike: tuple[int, int] | None = None) -> SectionMesh:
    """Mesh one outline with the edge lengths of a size field.

    ``alike``: numbers of two pieces that get the same sides, one from its start on, the other from its end.

    Raises:
        GeometryError: the triangulation cannot honour the outline within the allowed rounds.
    """
    sides = _lay_boundary(outline, size)
    for _ in range(REPAIR_ROUNDS):
        sides = sides if alike is None else _matched(sides, alike)
        points, ends = _boundary_points(outline, sides)
        polygon = _chord_polygon(outline, points, sides)
        interior = _interior_points(polygon, size)
        interior = _smooth(points, interior, polygon, size)
        nodes, triangles = _triangulate(points, interior, polygon)
        missing = _missing_sides(triangles, ends)
        if missing.size == 0:
            return _second_order(outline, nodes, triangles, ends, sides)
        sides = _split(sides, set(missing.tolist()))
    bad = points[ends[missing[0], 0]]
    raise GeometryError(
        "the mesh cannot follow the outline",
        where=f"near ({bad[0]:.3f}, {bad[1]:.3f}) mm",
        hint="two edges come closer there than the mesh can resolve: enlarge the wall or the radius",
        slug="mesh-cannot-follow",
    )


def _lay_boundary(outline: Outline, size: SizeField) -> list[list[tuple[int, float, float]]]:
    loops, number = [], 0
    for loop in outline.loops:
        sides: list[tuple[int, float, float]] = []
        for piece in loop:
            u = np.linspace(0.0, 1.0, 201)
            density = piece.length / size(piece.points(u))
            total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(u))])
            least = 1 if not piece.is_arc else math.ceil(abs(piece.turn) / math.radians(40))
            n = max(least, math.ceil(total[-1] - 0.05))
            cuts = np.interp(np.linspace(0, total[-1], n + 1), total, u)
            sides += [(number, float(cuts[i]), float(cuts[i + 1])) for i in range(n)]
            number += 1
        loops.append(sides)
    if sum(map(len, loops)) > MOST_POINTS // 10:
        raise GeometryError(
            f"the outline would need {sum(map(len, loops))} boundary elements",
            where="[mesh]",
            hint="make edge_at_contact or the smallest radius larger",
            slug="mesh-too-large",
        )
    return loops


def _boundary_points(outline: Outline, loops: list[list[tuple[int, float, float]]]) -> tuple[Array, Index]:
    """Start points of all sides (b, 2) and the point numbers at the ends of each side (b, 2)."""
    pieces = outline.pieces
    points, ends, first = [], [], 0
    for sides in loops:
        points += [pieces[k].points(np.array([u0]))[0] for k, u0, _ in sides]
        n = len(sides)
        ends += [(first + i, first + (i + 1) % n) for i in range(n)]
        first += n
    return np.array(points), np.array(ends, dtype=np.int64)


def _chord_polygon(
    outline: Outline, points: Array, loops: list[list[tuple[int, float, float]]]
) -> shapely.Polygon:
    rings, first = [], 0
    for sides in loops:
        rings.append(points[first : first + len(sides)])
        first += len(sides)
    polygon = shapely.Polygon(rings[0], rings[1:])
    if not polygon.is_valid:
        raise GeometryError(
            "the meshed outline crosses itself: " + shapely.is_valid_reason(polygon),
            where="mesh boundary",
            hint="make edge_at_contact smaller, or the wall thicker",
            slug="mesh-crosses-itself",
        )
    return polygon


def _interior_points(polygon: shapely.Polygon, size: SizeField) -> Array:
    """Centres of the leaves of a quadtree whose cells are no larger than the size field wants."""
    x0, y0, x1, y1 = polygon.bounds
    cell = size.largest
    nx, ny = math.ceil((x1 - x0) / cell) + 1, math.ceil((y1 - y0) / cell) + 1
    gx, gy = np.meshgrid(x0 + cell * (np.arange(nx) + 0.31), y0 + cell * (np.arange(ny) + 0.17))
    centres = np.column_stack([gx.ravel(), gy.ravel()])
    leaves = []
    for _ in range(14):
        centres = centres[shapely.dwithin(polygon, shapely.points(centres), cell)]
        if len(centres) == 0:
            break
        done = size(centres) >= 0.94 * cell
        leaves.append(centres[done])
        parents = centres[~done]
        cell /= 2
        shift = cell / 2 * np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]])
        centres = (parents[:, None, :] + shift[None]).reshape(-1, 2)
        if len(centres) > MOST_POINTS:
            raise GeometryError(
                "the mesh would be too fine",
                where="[mesh]",
                hint="make edge_at_contact larger",
                slug="mesh-too-large",
            )
    points = np.vstack(leaves) if leaves else np.empty((0, 2))
    return _keep_inside(points, polygon, size, 0.55)


def _keep_inside(points: Array, polygon: shapely.Polygon, size: SizeField, share: float) -> Array:
    if len(points) == 0:
        return points
    shapely.prepare(polygon)
    points = points[shapely.contains_xy(polygon, points[:, 0], points[:, 1])]
    away = shapely.distance(polygon.boundary, shapely.points(points))
    return np.asarray(points[away > share * size(points)])


def _smooth(boundary: Array, interior: Array, polygon: shapely.Polygon, size: SizeField) -> Array:
    """Let the interior points push each other apart like bars under pressure, then even out their neighbourhoods.

    Pushing (after Persson and Strang, "A simple mesh generator", SIAM Review 46, 2004) spreads points by the size
    field; the last rounds move each to the mean of its triangles' centres, which lifts the smallest angles.
    """
    n, at_boundary = len(boundary), size(boundary)
    for round_ in range(PUSHING_ROUNDS + EVENING_ROUNDS):
        if len(interior) == 0:
            return interior
        nodes, triangles = _triangulate(boundary, interior, polygon)
        if round_ < PUSHING_ROUNDS:
            wanted = np.concatenate([at_boundary, size(interior)])
            interior = interior + _push(nodes, triangles, wanted)[n:]
            interior = _keep_inside(interior, polygon, size, 0.35)
            if round_ in (2, 5):
                interior = _thin_out(interior, size)
        else:
            total, moved = np.zeros(len(nodes)), np.zeros_like(nodes)
            p = nodes[triangles]
            a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
            weight = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
            np.add.at(total, triangles, weight[:, None])
            np.add.at(moved, triangles, (weight[:, None] * p.mean(axis=1))[:, None, :])
            new = moved[n:] / np.maximum(total[n:], 1e-300)[:, None]
            interior = np.where(total[n:, None] > 0, new, interior)
    return interior


def _push(nodes: Array, triangles: Index, h: Array) -> Array:
    """Steps (n, 2) of nodes whose edges are shorter than the lengths h (n,) wanted there."""
    edges = _edges(triangles, len(nodes))[0]
    bar = nodes[edges[:, 1]] - nodes[edges[:, 0]]
    length = np.linalg.norm(bar, axis=1)
    wanted = 0.5 * (h[edges[:, 0]] + h[edges[:, 1]])
    wanted *= 1.15 * np.sqrt((length**2).sum() / (wanted**2).sum())
    force = np.maximum(wanted - length, 0.0)[:, None] * bar / np.maximum(length, 1e-300)[:, None]
    total = np.zeros_like(nodes)
    np.add.at(total, edges[:, 1], force)
    np.add.at(total, edges[:, 0], -force)
    step = 0.25 * total
    longest = np.linalg.norm(step, axis=1)
    return np.asarray(step * np.minimum(1.0, 0.3 * h / np.maximum(longest, 1e-300))[:, None])


def _edges(triangles: Index, count: int) -> tuple[Index, Index]:
    """Edges (e, 2) of triangles among ``count`` nodes, in order, and the number of each triangle's edges (3t,)."""
    a, b = triangles.T.ravel(), triangles[:, [1, 2, 0]].T.ravel()
    key, back = np.unique(np.minimum(a, b) * count + np.maximum(a, b), return_inverse=True)
    return np.column_stack(np.divmod(key, count)), back.ravel()


def _thin_out(points: Array, size: SizeField) -> Array:
    """Drop one of every two points that lie closer than 0.6 of the wanted edge."""
    if len(points) < 2:
        return points
    distance, neighbour = cKDTree(points).query(points, k=2)
    close = distance[:, 1] < 0.6 * size(points)
    keep = ~(close & (neighbour[:, 1] < np.arange(len(points))))
    return np.asarray(points[keep])


def _triangulate(boundary: Array, interior: Array, polygon: shapely.Polygon) -> tuple[Array, Index]:
    nodes = np.vstack([boundary, interior])
    triangles = Delaunay(nodes, qhull_options="Qbb Qc Qz Q12").simplices.astype(np.int64)
    p = nodes[triangles]
    centre = p.mean(axis=1)
    shapely.prepare(polygon)
    inside = shapely.contains_xy(polygon, centre[:, 0], centre[:, 1])
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    double = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    flip = double < 0
    triangles[flip] = triangles[flip][:, [0, 2, 1]]
    longest = np.linalg.norm(p - np.roll(p, -1, axis=1), axis=2).max(axis=1)
    return nodes, triangles[inside & (np.abs(double) > 1e-10 * longest**2)]


def _missing_sides(triangles: Index, ends: Index) -> Index:
    edges = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    n = int(max(edges.max(), ends.max())) + 1
    have = edges[:, 0] * n + edges[:, 1]  # material on the left: the side appears in its own direction
    return np.flatnonzero(~np.isin(ends[:, 0] * n + ends[:, 1], have))


def _split(
    loops: list[list[tuple[int, float, float]]], missing: set[int]
) -> list[list[tuple[int, float, float]]]:
    out, number = [], 0
    for sides in loops:
        new = []
        for k, u0, u1 in sides:
            cut = [u0, 0.5 * (u0 + u1), u1] if number in missing else [u0, u1]
            new += [(k, cut[i], cut[i + 1]) for i in range(len(cut) - 1)]
            number += 1
        out.append(new)
    return out


def _matched(
    loops: list[list[tuple[int, float, float]]], alike: tuple[int, int]
) -> list[list[tuple[int, float, float]]]:
    """The sides with two pieces cut at the same places, one from its start on, the other from its end."""
    one, other = alike
    at = [u for sides in loops for k, u, _ in sides if k == one]
    at += [1.0 - u for sides in loops for k, _, u in sides if k == other]
    cuts = np.append(np.unique(np.round(at, 9)), 1.0)
    laid = {one: cuts, other: 1.0 - cuts[::-1]}
    out = []
    for sides in loops:
        new = []
        for k, u0, u1 in sides:
            if k not in laid:
                new.append((k, u0, u1))
            elif u0 == 0.0:
                new += [(k, float(a), float(b)) for a, b in itertools.pairwise(laid[k])]
        out.append(new)
    return out


def _second_order(
    outline: Outline, nodes: Array, triangles: Index, ends: Index, loops: list[list[tuple[int, float, float]]]
) -> SectionMesh:
    used, inverse = np.unique(triangles, return_inverse=True)
    nodes, triangles = nodes[used], inverse.reshape(triangles.shape).astype(np.int64)
    renumber = np.full(int(used.max()) + 1, -1, dtype=np.int64)
    renumber[used] = np.arange(len(used))
    ends = renumber[ends]
    unique, back = _edges(triangles, len(nodes))
    middle = 0.5 * (nodes[unique[:, 0]] + nodes[unique[:, 1]])
    m, n = len(triangles), len(nodes)
    cells = np.hstack([triangles, n + back.reshape(3, m).T])
    key = unique[:, 0] * n + unique[:, 1]
    wanted = np.sort(ends, axis=1)
    at = np.searchsorted(key, wanted[:, 0] * n + wanted[:, 1])
    flat = [side for sides in loops for side in sides]
    pieces = outline.pieces
    for i, (k, u0, u1) in enumerate(flat):
        middle[at[i]] = pieces[k].points(np.array([0.5 * (u0 + u1)]))[0]
    nodes = np.vstack([nodes, middle])
    boundary = BoundarySides(
        nodes=np.column_stack([ends[:, 0], n + at, ends[:, 1]]),
        piece=np.array([s[0] for s in flat], dtype=np.int64),
        span=np.array([[s[1], s[2]] for s in flat]),
    )
    _judge(nodes, cells)
    return SectionMesh(nodes=nodes, cells=cells, boundary=boundary, outline=outline)


def _judge(nodes: Array, cells: Index) -> None:
    angles = corner_angles(nodes[cells[:, :3]]).min(axis=1)
    worst = int(angles.argmin())
    spot = nodes[cells[worst, :3]].mean(axis=0)
    if angles[worst] < math.radians(3) or least_jacobian(nodes, cells) <= 0.05:
        raise GeometryError(
            f"the mesh has an unusable element (smallest angle {math.degrees(angles[worst]):.1f} deg)",
            where=f"near ({spot[0]:.3f}, {spot[1]:.3f}) mm",
            hint="make edge_at_contact smaller, or the neighbouring radius or wall larger",
            slug="mesh-bad-element",
        )
