"""The wrench's strength along the torque-rotation curve: first yield, its sections, and when the head gives way.

An open head gives way when its first section has yielded through. A closed ring does not: forces go round the other
side. It gives way when no state of self-stress keeps all its sections within their limit any more (lower-bound
theorem of limit analysis; Drucker, Greenberg & Prager 1951, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, eye, hstack, vstack

from contactfe.contact import ContactSolution
from contactfe.explain.cuts import HANDLE, Cuts, head_cuts
from contactfe.explain.probe import probe
from contactfe.explain.sections import PLANE_STRAIN_YIELD, STATIONS, Resultants, resultants, utilisation
from contactfe.explain.states import wrench_states
from contactfe.mesh import SectionMesh
from contactfe.turn import BuiltPair, CaseRecord
from contactfe.turn.build import head_circle

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MOST_STATES = 8  # of the curve up to slip at which the wrench's stresses are worked out
AXIAL = np.linspace(-1.0, 1.0, 25)  # where the parabola of the axial force is replaced by its tangents
SHEAR = np.linspace(-1.0, 1.0, 13)


@dataclass(frozen=True)
class HotSpot:
    """Where the wrench is hottest at slip: in words and mm, with the linear model's von Mises stress."""

    place: str
    x_mm: float
    y_mm: float
    von_mises_MPa: float


@dataclass(frozen=True)
class Ligament:
    """A section of the head at slip: ends (mm), linearised stresses (MPa), and its use (1: yields through).

    ``bending_MPa`` is at the inner end, positive when it pulls there. ``torque_Nm`` is where it yields through.
    """

    place: str
    inner_mm: tuple[float, float]
    outer_mm: tuple[float, float]
    height_mm: float
    membrane_MPa: float
    bending_MPa: float
    shear_MPa: float
    use: float
    torque_Nm: float


@dataclass(frozen=True)
class WrenchLimits:
    """Torques (N m) at which the wrench yields at its hottest point, over a whole section, and gives way.

    Beyond the slip torque, where the wrench is never loaded so far, they are extrapolated in proportion to the loads
    at slip. ``ligaments``: the worst section of each kind, the worst first. ``redundant``: a closed ring.
    """

    slip_torque_Nm: float
    first_yield_Nm: float
    section_Nm: float
    collapse_Nm: float
    hot_spot: HotSpot
    ligaments: tuple[Ligament, ...]
    redundant: bool


def wrench_limits(record: CaseRecord) -> WrenchLimits | None:
    """The limits of the wrench's head; None when the wrench turns freely.

    Raises:
        ContactFEError: a section cannot be found in the mesh.
    """
    torque, solutions = loading_path(record)
    if not solutions:
        return None
    built = record.built
    mesh, case = built.wrench.mesh, built.case
    strength = case.wrench.yield_strength
    states = wrench_states(built, solutions)
    cuts = head_cuts(mesh.outline, case.fastener.across_flats)
    interpolate = probe(mesh, cuts.points(STATIONS).reshape(-1, 2))
    stress = np.stack([interpolate @ s for s in states.stress]).reshape(len(torque), len(cuts.place), -1, 4)
    loads = resultants(stress, cuts.direction, cuts.height)
    use = utilisation(loads, strength, case.contact.plane)
    around = closed_round(mesh, cuts)
    section = reached(torque, use.max(axis=1))
    collapse = section
    if around.any():
        collapse = reached_lazily(
            torque, lambda k: collapse_use(_at(loads, k), cuts, around, _strength(built))
        )
    radius, centre = head_circle(case, mesh)
    head = np.flatnonzero(np.linalg.norm(mesh.nodes - centre, axis=1) <= radius)
    hot = states.von_mises[:, head]
    hottest = int(head[int(hot[-1].argmax())])
    return WrenchLimits(
        slip_torque_Nm=float(torque[-1]),
        first_yield_Nm=reached(torque, hot.max(axis=1) / strength),
        section_Nm=section,
        collapse_Nm=collapse,
        hot_spot=_hot_spot(mesh, hottest, float(hot[-1].max())),
        ligaments=_worst(cuts, loads, use, torque),
        redundant=bool(around.any()),
    )


def loading_path(record: CaseRecord) -> tuple[Array, list[ContactSolution]]:
    """Torques (k,) in N m and contact states on the way up to slip, a few of them, the state at slip last."""
    curve = record.curve
    if not curve.solutions or curve.torque.max() <= 0:
        return np.empty(0), []
    top = int(np.argmax(curve.torque))
    rising = [k for k in range(top) if 0 < curve.torque[k] < curve.torque[top]]
    wanted = curve.torque[top] * np.arange(1, MOST_STATES) / MOST_STATES
    chosen = sorted({min(rising, key=lambda k: abs(curve.torque[k] - t)) for t in wanted}) if rising else []
    chosen = [k for i, k in enumerate(chosen) if i == 0 or curve.torque[k] > curve.torque[chosen[i - 1]]]
    return curve.torque[[*chosen, top]], [curve.solutions[k] for k in (*chosen, top)]


def reached(torque: Array, use: Array) -> float:
    """Torque (N m) at which a measure of use that rises with the torque becomes one; in proportion beyond the last."""
    t, u = np.concatenate([[0.0], torque]), np.concatenate([[0.0], use])
    over = np.flatnonzero(u >= 1.0)
    if not over.size:
        return float(t[-1] / u[-1]) if u[-1] > 0 else float("inf")
    k = int(over[0])
    return float(t[k - 1] + (t[k] - t[k - 1]) * (1.0 - u[k - 1]) / (u[k] - u[k - 1]))


def reached_lazily(torque: Array, use: Callable[[int], float]) -> float:
    """The same for a measure of the states that is dear to work out: the two states around are found by halving."""
    last = len(torque) - 1
    found = {-1: 0.0, last: use(last)}
    if found[last] < 1.0:
        return reached(torque[last:], np.array([found[last]]))
    low, high = -1, last
    while high - low > 1:
        middle = (low + high) // 2
        found[middle] = use(middle)
        low, high = (middle, high) if found[middle] < 1.0 else (low, middle)
    chosen = [k for k in (low, high) if k >= 0]
    return reached(torque[chosen], np.array([found[k] for k in chosen]))


def closed_round(mesh: SectionMesh, cuts: Cuts) -> NDArray[np.bool_]:
    """Which cuts (c,) are sections of a closed ring: they lead from one loop of the outline to another."""
    loop_of = np.concatenate([np.full(len(loop), k) for k, loop in enumerate(mesh.outline.loops)])
    pieces = mesh.outline.pieces
    u = np.linspace(0.0, 1.0, 41)
    points = np.vstack([p.points(u) for p in pieces])
    loop = np.repeat(loop_of, len(u))
    ends = [
        loop[np.linalg.norm(points[:, None] - at[None], axis=2).argmin(axis=0)]
        for at in (cuts.inner, cuts.outer)
    ]
    return np.asarray((ends[0] != ends[1]) & (np.array(cuts.place) != HANDLE))


def collapse_use(
    loads: Resultants, cuts: Cuts, around: NDArray[np.bool_], strength: tuple[float, float]
) -> float:
    """Use of the whole ring: 1 when no self-stress keeps every section within its limit.

    A linear programme for the largest load factor; the self-stress of a closed ring is one force and one couple that
    go round it. The limit curves are replaced by their tangents (0.2 % outside at most). ``strength``: yield strength
    for N and M, and for V, MPa.
    """
    h = loads.height
    normal, shear, moment = strength[0] * h, strength[1] * h / np.sqrt(3.0), strength[0] * h**2 / 4.0
    own = [np.where(around[:, None], part, 0.0) for part in self_stress(cuts)]
    axial = np.column_stack([loads.normal, own[0]]) / normal[:, None]
    across = np.column_stack([loads.shear, own[1]]) / shear[:, None]
    bend = np.column_stack([loads.moment, own[2]]) / moment[:, None]
    c = len(h)
    one, none = eye(c, format="csr"), csr_matrix((c, c))
    rows = [hstack([csr_matrix(sign * bend), one, one]) for sign in (1.0, -1.0)]
    limits = [np.ones(2 * c)]
    for at in AXIAL:  # a >= n^2 by tangents
        rows.append(hstack([csr_matrix(2 * at * axial), -one, none]))
        limits.append(np.full(c, at**2))
    for at in SHEAR:  # b >= v^4 by tangents
        rows.append(hstack([csr_matrix(4 * at**3 * across), none, -one]))
        limits.append(np.full(c, 3 * at**4))
    free = [(0.0, None), (None, None), (None, None), (None, None), *[(0.0, 1.0)] * (2 * c)]
    aim = np.zeros(4 + 2 * c)
    aim[0] = -1.0
    answer = linprog(aim, A_ub=vstack(rows, format="csr"), b_ub=np.concatenate(limits), bounds=free)
    return 1.0 / float(answer.x[0])


def self_stress(cuts: Cuts) -> tuple[Array, Array, Array]:
    """What a force and a couple that go round a ring do to its cuts: rows (c, 3) of N, V and M.

    Columns: a unit force along x and along y at the axis, and a unit couple. M is about the middle of each cut and
    positive when it pulls at the inner end.
    """
    d, none = cuts.direction, np.zeros((len(cuts.place), 1))
    middle = 0.5 * (cuts.inner + cuts.outer)
    return (
        np.hstack([d[:, 1:], -d[:, :1], none]),
        np.hstack([d, none]),
        np.column_stack([-middle[:, 1], middle[:, 0], -np.ones(len(d))]),
    )


def place_of(mesh: SectionMesh, node: int) -> str:
    """Where a node lies in words: on which kind of edge, or inside."""
    on = np.flatnonzero((mesh.boundary.nodes == node).any(axis=1))
    if not on.size:
        return "inside the head"
    name = mesh.outline.pieces[int(mesh.boundary.piece[on[0]])].name
    words = {
        "root": "corner of the opening",
        "flank": "flank",
        "ridge": "ridge",
        "throat": "throat",
        "tip": "edge of the mouth",
        "slot": "slot",
        "blend": "blend of the handle",
    }
    return words.get(name, name.replace("-", " "))


def _strength(built: BuiltPair) -> tuple[float, float]:
    own = built.case.wrench.yield_strength
    return own * (PLANE_STRAIN_YIELD if built.case.contact.plane == "strain" else 1.0), own


def _at(loads: Resultants, k: int) -> Resultants:
    return Resultants(loads.height[k], loads.normal[k], loads.shear[k], loads.moment[k])


def _worst(cuts: Cuts, loads: Resultants, use: Array, torque: Array) -> tuple[Ligament, ...]:
    """The section with the largest use at slip of each kind, the worst first."""
    found = []
    for place in dict.fromkeys(cuts.place):
        of_kind = np.array([k for k, name in enumerate(cuts.place) if name == place])
        i = int(of_kind[use[-1, of_kind].argmax()])
        (x0, y0), (x1, y1) = cuts.inner[i].tolist(), cuts.outer[i].tolist()
        found.append(
            Ligament(
                place=place,
                inner_mm=(x0, y0),
                outer_mm=(x1, y1),
                height_mm=float(loads.height[-1, i]),
                membrane_MPa=float(loads.membrane[-1, i]),
                bending_MPa=float(loads.bending[-1, i]),
                shear_MPa=float(loads.mean_shear[-1, i]),
                use=float(use[-1, i]),
                torque_Nm=reached(torque, use[:, i]),
            )
        )
    return tuple(sorted(found, key=lambda one: -one.use))


def _hot_spot(mesh: SectionMesh, node: int, stress: float) -> HotSpot:
    x, y = mesh.nodes[node].tolist()
    return HotSpot(place_of(mesh, node), x, y, stress)
