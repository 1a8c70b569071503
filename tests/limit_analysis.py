"""Finite-element limit analysis by conic programming: strict lower and upper bounds of a uniform limit pressure.

Apart from the package. Lower: stress linear in every triangle, free to jump between them, in equilibrium inside and
across every edge, below yield at every corner. Upper: velocity quadratic and continuous, flow rule at every corner,
dissipation by the corners' mean, which is never too small for a convex function of a linear strain rate. After
Makrodimopoulos & Martin, Int. J. Numerical Methods in Engineering 66 (2006) and Int. J. Numerical and Analytical
Methods in Geomechanics 31 (2007) (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import clarabel
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix, vstack
from scipy.spatial import Delaunay

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# |Q (sx, sy, sxy)| <= 1 in units of the shear yield (plane strain) or the tensile yield (plane stress, von Mises).
STRAIN = np.array([[0.5, -0.5, 0.0], [0.0, 0.0, 1.0]])
SHEET = np.array([[0.5, 0.5, 0.0], [np.sqrt(0.75), -np.sqrt(0.75), 0.0], [0.0, 0.0, np.sqrt(3.0)]])
FREE, LOADED, MIRROR, CLAMPED = "free", "loaded", "mirror", "clamped"


@dataclass(frozen=True)
class Body:
    """Points (n, 2), triangles (m, 3) and the kind of every boundary edge, by its middle."""

    points: Array
    triangles: Index
    kind: Callable[[Array], str]


def convex_body(points: Array, kind: Callable[[Array], str]) -> Body:
    """Triangulate the points of a convex body; slivers on its straight edges are left out."""
    triangles = Delaunay(points).simplices
    p = points[triangles]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    double = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    triangles[double < 0] = triangles[double < 0][:, [0, 2, 1]]
    longest = np.linalg.norm(p - np.roll(p, 1, axis=1), axis=2).max(axis=1)
    return Body(points, triangles[np.abs(double) > 1e-6 * longest**2].astype(np.int64), kind)


def fan(centre: tuple[float, float], angles: Array, radii: Array) -> Array:
    """A point and rings of points round it."""
    c, s = np.cos(angles), np.sin(angles)
    rings = [np.column_stack([centre[0] + r * c, centre[1] + r * s]) for r in radii]
    return np.vstack([[centre], *rings])


class _Rows:
    """Sparse rows of A x + s = b, collected."""

    def __init__(self) -> None:
        self.i: list[Array] = []
        self.j: list[Array] = []
        self.v: list[Array] = []
        self.b: list[float] = []

    def add(self, columns: Array | list[int], values: Array | list[float], right: float = 0.0) -> None:
        columns = np.asarray(columns)
        self.i.append(np.full(len(columns), len(self.b)))
        self.j.append(columns)
        self.v.append(np.asarray(values, dtype=float))
        self.b.append(right)

    def matrix(self, columns: int) -> csc_matrix:
        entries = (np.concatenate(self.v), (np.concatenate(self.i), np.concatenate(self.j)))
        return csc_matrix(coo_matrix(entries, shape=(len(self.b), columns)))


def _solve(objective: Array, equal: _Rows, cones: _Rows, size: int) -> float:
    count = len(objective)
    a = vstack([equal.matrix(count), cones.matrix(count)], format="csc")
    b = np.array(equal.b + cones.b)
    kinds = [clarabel.ZeroConeT(len(equal.b))] + [clarabel.SecondOrderConeT(size)] * (len(cones.b) // size)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.static_regularization_constant = 1e-7  # edges that meet at a free corner repeat some equations
    answer = clarabel.DefaultSolver(csc_matrix((count, count)), objective, a, b, kinds, settings).solve()
    assert str(answer.status) in ("Solved", "AlmostSolved"), answer.status
    return float(answer.obj_val)


def _edges(body: Body) -> dict[tuple[int, int], list[tuple[int, int, int]]]:
    """For every edge (ends in rising order) the triangles that have it, with the local numbers of its ends."""
    found: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
    for t, corners in enumerate(body.triangles.tolist()):
        for k in range(3):
            a, b = k, (k + 1) % 3
            if corners[a] > corners[b]:
                a, b = b, a
            found.setdefault((corners[a], corners[b]), []).append((t, a, b))
    return found


def _normal(body: Body, edge: tuple[int, int]) -> Array:
    d = body.points[edge[1]] - body.points[edge[0]]
    return np.array([d[1], -d[0]]) / np.hypot(*d)


def _gradients(body: Body) -> tuple[Array, Array]:
    """Gradients of the corner functions (m, 3, 2) and areas (m,)."""
    p = body.points[body.triangles]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    double = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    opposite = p[:, [2, 0, 1]] - p[:, [1, 2, 0]]
    return np.stack([-opposite[..., 1], opposite[..., 0]], axis=2) / double[:, None, None], double / 2


def lower_bound(body: Body, law: Array, shear: float = 0.0) -> float:
    """Largest uniform pressure on the loaded edges that a stress field below yield carries.

    ``shear``: traction along +x on the loaded edges, over the pressure.
    """
    gradient, _ = _gradients(body)
    count = 9 * len(body.triangles) + 1  # sx, sy, sxy at each corner of each triangle, and the pressure
    equal, cones = _Rows(), _Rows()
    for t in range(len(body.triangles)):
        at = 9 * t + 3 * np.arange(3)
        gx, gy = gradient[t].T
        equal.add(np.concatenate([at, at + 2]), np.concatenate([gx, gy]))
        equal.add(np.concatenate([at + 2, at + 1]), np.concatenate([gx, gy]))
    for edge, owners in _edges(body).items():
        normal = _normal(body, edge)
        for end in (1, 2):
            places = [9 * o[0] + 3 * o[end] for o in owners]
            if len(owners) == 2:
                _continuous(equal, places, normal)
            else:
                kind = body.kind(body.points[list(edge)].mean(axis=0))
                _on_edge(equal, places[0], normal, kind, (count - 1, shear))
    for place in range(0, count - 1, 3):
        cones.add([place], [0.0], 1.0)
        for row in law:
            cones.add(place + np.arange(3), -row)
    objective = np.zeros(count)
    objective[-1] = -1.0
    return -_solve(objective, equal, cones, len(law) + 1)


def _traction(place: int, normal: Array) -> list[tuple[Array, Array]]:
    """Columns and factors of the two components of the traction on an edge, from the stress at a place."""
    return [(place + np.array([0, 2]), normal), (place + np.array([2, 1]), normal)]


def _continuous(rows: _Rows, places: list[int], normal: Array) -> None:
    """The same traction from both sides of an edge."""
    for (here, factors), (there, _) in zip(*(_traction(place, normal) for place in places), strict=True):
        rows.add(np.concatenate([here, there]), np.concatenate([factors, -factors]))


def _on_edge(rows: _Rows, place: int, normal: Array, kind: str, load: tuple[int, float]) -> None:
    """What the traction of an outer edge has to be; nothing where the body is clamped.

    ``load``: column of the pressure, and the shear along +x over it. Loaded edges lie along x, the body below.
    """
    pressure, shear = load
    if kind in (FREE, LOADED):
        # traction = -p n, whichever way the normal points, and shear p along x where the normal is +y
        along = np.array([-shear * normal[1], 0.0])
        for (columns, factors), n in zip(_traction(place, normal), normal + along, strict=True):
            push = [n] if kind == LOADED else []
            rows.add([*columns, *([pressure] if push else [])], [*factors, *push])
    elif kind == MIRROR:
        (nx, ny), (tx, ty) = normal, (-normal[1], normal[0])
        rows.add(place + np.arange(3), [nx * tx, ny * ty, nx * ty + ny * tx])


def upper_bound(body: Body, law: Array, shear: float = 0.0) -> float:
    """Least dissipation of a velocity field on which unit pressure, with its shear along +x, does unit work."""
    gradient, area = _gradients(body)
    edges = _edges(body)
    n = len(body.points)
    middle = {edge: n + i for i, edge in enumerate(edges)}
    velocities = 2 * (n + len(edges))
    count = velocities + 3 * len(body.triangles)  # then the dissipation at each corner of each triangle
    equal, cones = _Rows(), _Rows()
    work: dict[int, float] = {}
    for edge, owners in edges.items():
        if len(owners) == 1:
            centre = body.points[body.triangles[owners[0][0]]].mean(axis=0)
            _move_edge((equal, work), body, (edge[0], middle[edge], edge[1]), centre, shear)
    equal.add(list(work), list(work.values()), 1.0)
    # Dual of |Q s| <= 1: the dissipation is |R e| with s.e = (Q s).(R e).
    dual = np.linalg.pinv(law).T
    for t, corners in enumerate(body.triangles.tolist()):
        nodes = [*corners, *(middle[_edge(corners[k], corners[(k + 1) % 3])] for k in range(3))]
        x, y = 2 * np.array(nodes), 2 * np.array(nodes) + 1
        both = np.concatenate([x, y])
        for corner in range(3):
            gx, gy = _slopes(gradient[t], corner).T
            none = np.zeros(6)
            rates = np.array([[*gx, *none], [*none, *gy], [*gy, *gx]])  # ex, ey, gamma
            if len(law) == 2:  # yield does not feel the mean stress: flow does not change the area
                equal.add(both, rates[0] + rates[1])
            cones.add([velocities + 3 * t + corner], [-1.0])
            for row in dual:
                cones.add(both, -row @ rates)
    objective = np.zeros(count)
    objective[velocities:] = np.repeat(area / 3, 3)
    return _solve(objective, equal, cones, len(law) + 1)


def _edge(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _move_edge(
    into: tuple[_Rows, dict[int, float]],
    body: Body,
    nodes: tuple[int, int, int],
    centre: Array,
    shear: float,
) -> None:
    """Supports of an outer edge (end, middle, end), or the work of unit pressure and its shear on it."""
    rows, work = into
    ends = body.points[[nodes[0], nodes[2]]]
    kind, normal = body.kind(ends.mean(axis=0)), _normal(body, (nodes[0], nodes[2]))
    inward = normal * np.sign((centre - ends[0]) @ normal)
    length = float(np.hypot(*(ends[1] - ends[0])))
    for node, share in zip(nodes, (1 / 6, 4 / 6, 1 / 6), strict=True):
        if kind == CLAMPED:
            rows.add([2 * node], [1.0])
            rows.add([2 * node + 1], [1.0])
        elif kind == MIRROR:
            rows.add([2 * node, 2 * node + 1], normal)
        elif kind == LOADED:
            for c, pull in enumerate(inward + np.array([shear, 0.0])):
                work[2 * node + c] = work.get(2 * node + c, 0.0) + share * length * pull


def _slopes(gradient: Array, corner: int) -> Array:
    """Gradients (6, 2) of the quadratic functions of corners and mid-sides 01, 12, 20 at a corner."""
    lam = np.eye(3)[corner]
    own = (4 * lam - 1)[:, None] * gradient
    sides = [4 * (lam[a] * gradient[b] + lam[b] * gradient[a]) for a, b in ((0, 1), (1, 2), (2, 0))]
    return np.vstack([own, sides])


def wedge(degrees: float, rays: int = 24, rings: int = 12, reach: float = 4.0) -> Body:
    """One flank (on +x) of a wedge loaded over a unit length up to the apex at the origin."""
    angles = -np.radians(degrees) * np.linspace(0.0, 1.0, rays + 1)
    inner = np.linspace(0.0, 1.0, rings // 2 + 1)[1:]
    outer = 1.0 + (reach - 1.0) * np.linspace(0.0, 1.0, rings // 2 + 1)[1:] ** 1.3
    apex = fan((0.0, 0.0), angles, np.concatenate([inner, outer]))
    # Where the load ends the stress jumps as well, for which two triangles are too few.
    end = fan((1.0, 0.0), -np.pi * np.linspace(0.0, 1.0, 9), np.array([0.1]))
    points = np.vstack([end, apex[np.hypot(apex[:, 0] - 1.0, apex[:, 1]) > 0.13]])
    points[np.abs(points) < 1e-12] = 0.0

    def kind(x: Array) -> str:
        angle = np.degrees(np.arctan2(x[1], x[0]))
        if abs(angle) < 1e-6:
            return LOADED if x[0] < 1.0 else FREE
        return FREE if abs(angle + degrees) < 1e-6 else CLAMPED

    return convex_body(points, kind)


def bevelled(bevel: float, reach: float = 4.0) -> Body:
    """One flank of a right angle that a plane of 45 degrees cuts off over a length ``bevel``, loaded over a unit length up
    to the edge that is left, at the origin."""
    across = bevel / np.sqrt(2.0)
    outer = 1.0 + (reach - 1.0) * np.linspace(0.0, 1.0, 7)[1:] ** 1.3
    radii = np.unique(np.concatenate([np.linspace(0.0, 1.0, 7)[1:], outer, [bevel]]))
    points = fan((0.0, 0.0), -np.radians(135.0) * np.linspace(0.0, 1.0, 25), radii)
    on_bevel = (np.abs(points[:, 0] - points[:, 1]) < 1e-9) & (points[:, 0] >= -across - 1e-9)
    points = points[(points[:, 0] >= -across + 0.04 * max(bevel, 0.3)) | on_bevel]
    down = np.linspace(0.0, 1.0, 22) ** 1.2
    side = np.column_stack([np.full(22, -across), -across - (reach - across) * down])
    cut = -across * np.column_stack([np.linspace(0.0, 1.0, 7)] * 2)
    end = fan((1.0, 0.0), -np.pi * np.linspace(0.0, 1.0, 9), np.array([0.1]))
    points = np.vstack([end, points[np.hypot(points[:, 0] - 1.0, points[:, 1]) > 0.13], side, cut])
    points[np.abs(points) < 1e-12] = 0.0
    _, first = np.unique(np.round(points, 7), axis=0, return_index=True)

    def kind(x: Array) -> str:
        if abs(x[1]) < 1e-9:
            return LOADED if x[0] < 1.0 else FREE
        return FREE if abs(x[0] + across) < 1e-6 or (x[0] < 0 and abs(x[0] - x[1]) < 1e-6) else CLAMPED

    return convex_body(points[np.sort(first)], kind)


def half_punch(rays: int = 20, width: float = 4.0, depth: float = 3.0) -> Body:
    """Half of a flat under a uniform pressure over -1..1; x = 0 is the plane of symmetry."""
    radii = np.linspace(0.0, 1.0, 7)[1:]
    points = fan((1.0, 0.0), -np.pi * np.linspace(0.0, 1.0, rays + 1), radii)
    gx, gy = np.meshgrid(np.linspace(0.0, width, 17), -np.linspace(0.0, depth, 13))
    grid = np.column_stack([gx.ravel(), gy.ravel()])
    far = np.hypot(grid[:, 0] - 1.0, grid[:, 1]) > 1.12
    edge = np.column_stack([np.zeros(9), -np.linspace(0.0, 2.0, 9)])
    points = np.vstack([points, grid[far], edge[1:]])
    points[np.abs(points) < 1e-12] = 0.0
    _, first = np.unique(np.round(points, 9), axis=0, return_index=True)

    def kind(x: Array) -> str:
        if abs(x[1]) < 1e-9:
            return LOADED if x[0] < 1.0 else FREE
        return MIRROR if abs(x[0]) < 1e-9 else CLAMPED

    return convex_body(points[np.sort(first)], kind)
