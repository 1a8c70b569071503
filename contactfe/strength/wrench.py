"""The wrench's strength along the torque-rotation curve: first yield, its sections, and its plastic limit.

An open head reaches its limit when its first section has yielded through. A closed ring does not: forces go round the
other side. It reaches it at its plastic limit load (`contactfe.strength.plastic_limit`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from contactfe.contact import ContactSolution
from contactfe.elastic import nodal_stresses, von_mises
from contactfe.mesh import SectionMesh
from contactfe.strength.cuts import Cuts
from contactfe.strength.operator import HeadSections, head_sections
from contactfe.strength.plastic_limit import Tangent, ring_utilisation
from contactfe.strength.sections import PLANE_STRAIN_YIELD, Resultants, utilisation
from contactfe.turn import BuiltPair, TorqueCurve, head_circle, wrench_displacements, wrench_material

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MOST_STATES = 8  # of the curve up to slip at which the wrench's stresses are worked out


@dataclass(frozen=True)
class HighestStress:
    """Place of the highest von Mises stress of the linear model at slip: in words and mm, with the stress."""

    place: str
    x_mm: float
    y_mm: float
    von_mises_MPa: float


@dataclass(frozen=True)
class Ligament:
    """A section of the head at slip: ends (mm), linearised stresses (MPa), and its utilisation (1: yields through).

    ``bending_MPa`` is at the inner end, positive when it pulls there. ``torque_Nm`` is where it yields through.
    """

    place: str
    inner_mm: tuple[float, float]
    outer_mm: tuple[float, float]
    height_mm: float
    membrane_MPa: float
    bending_MPa: float
    shear_MPa: float
    utilisation: float
    torque_Nm: float


@dataclass(frozen=True)
class WrenchLimits:
    """Torques (N m) at which the wrench first yields, yields over a whole section, and reaches its plastic limit.

    Beyond the slip torque, where the wrench is never loaded so far, they are extrapolated in proportion to the loads
    at slip. ``ligaments``: the worst section of each kind, the worst first. ``redundant``: a closed ring.
    """

    slip_torque_Nm: float
    first_yield_Nm: float
    section_Nm: float
    limit_Nm: float
    highest: HighestStress
    ligaments: tuple[Ligament, ...]
    redundant: bool


@dataclass(frozen=True, eq=False)
class SectionPath:
    """The sections of the head on the way up to slip.

    ``torque`` (k,) N m, the curve's largest last; ``rotation`` (k,) rad of the states; ``displacement`` (k, n, 2) mm of
    the wrench; ``loads`` and ``utilisation`` (k, c) of its sections: one of 1 yields through. ``ring_use``: utilisation
    of the whole ring by rotation, as far as it is worked out, with the `tangents` to its limits that it took.
    """

    built: BuiltPair
    torque: Array
    rotation: Array
    displacement: Array
    head: HeadSections
    loads: Resultants
    utilisation: Array
    ring_use: dict[float, float] = field(default_factory=dict)
    tangents: list[Tangent] = field(default_factory=list)

    @property
    def section_Nm(self) -> float:
        """Torque (N m) at which the first section yields through, beyond slip in proportion."""
        return reached(self.torque, self.utilisation.max(axis=1))

    @property
    def utilisation_at_slip(self) -> float:
        """Largest utilisation of a section at slip."""
        return float(self.utilisation[-1].max())

    @property
    def worst_place(self) -> str:
        """Where the section of the largest utilisation at slip lies, in words."""
        return self.head.cuts.place[int(self.utilisation[-1].argmax())]

    @property
    def is_ring(self) -> bool:
        """Whether the head is a closed ring, which carries on when its first section has yielded through."""
        return bool(self.head.around.any())

    def limit_Nm(self) -> float:
        """Torque (N m) at which the head reaches its plastic limit, beyond slip in proportion."""
        if not self.is_ring:
            return self.section_Nm
        known = {k: self.ring_use[at] for k, at in enumerate(self.rotation.tolist()) if at in self.ring_use}
        return reached_lazily(self.torque, self._ring_use, known)

    def use(self) -> Array:
        """Utilisation (k,) at every state that the limit is read off: of the ring, or of the section that is used most."""
        return np.array([self._use_at(k) for k in range(len(self.torque))])

    def use_at_top(self) -> float:
        """The same at the largest torque."""
        return self._use_at(len(self.torque) - 1)

    def at(self, rotation: float) -> tuple[float, float] | None:
        """Torque (N m) and utilisation at the state of a rotation (rad), None where that is none of the path."""
        found = np.flatnonzero(self.rotation == rotation)
        return (float(self.torque[found[0]]), self._use_at(int(found[0]))) if found.size else None

    def _use_at(self, k: int) -> float:
        if not self.is_ring:
            return float(self.utilisation[k].max())
        known = self.ring_use.get(float(self.rotation[k]))
        return self._ring_use(k) if known is None else known

    def known_use(self) -> tuple[Array, Array]:
        """Torques (N m) of the states, rising, and the utilisation that the limit is read off, where it is worked out."""
        if not self.is_ring:
            return self.torque, self.utilisation.max(axis=1)
        known = np.array([at in self.ring_use for at in self.rotation.tolist()])
        return self.torque[known], np.array([self.ring_use[at] for at in self.rotation[known].tolist()])

    def _ring_use(self, k: int) -> float:
        """Utilisation of the whole ring at a state."""
        own = self.built.case.wrench.yield_strength
        strain = self.built.case.contact.plane == "strain"
        strength = (own * (PLANE_STRAIN_YIELD if strain else 1.0), own)
        head = self.head
        use = ring_utilisation(self.loads.rows(k), head.cuts, head.around, strength, self.tangents)
        self.ring_use[float(self.rotation[k])] = use
        return use


def section_path(
    built: BuiltPair,
    curve: TorqueCurve,
    before: SectionPath | None = None,
    tangents: Iterable[Tangent] = (),
) -> SectionPath | None:
    """Loads and utilisation of the head's sections at a few states up to slip; None when the wrench turns freely.

    `before` is the path of the same curve with fewer states: what it holds is not worked out again. `tangents` are
    those of another curve on the same wrench, or on one like it.

    Raises:
        ContactFEError: the head has no section, or one cannot be found in the mesh.
    """
    torque, solutions = loading_path(curve)
    if not solutions:
        return None
    case, mesh = built.case, built.wrench.mesh
    head = head_sections(mesh, wrench_material(case), case.fastener.across_flats)
    u, loads, use = _along(built, solutions, head, before)
    rotation = np.array([s.rotation for s in solutions])
    if before is not None:
        return SectionPath(built, torque, rotation, u, head, loads, use, before.ring_use, before.tangents)
    own = [tangent for tangent in tangents if tangent[0] < len(head.around)]
    return SectionPath(built, torque, rotation, u, head, loads, use, {}, own)


def _along(
    built: BuiltPair, solutions: list[ContactSolution], head: HeadSections, before: SectionPath | None
) -> tuple[Array, Resultants, Array]:
    """Displacements (k, n, 2) mm of the wrench at some states, loads and utilisation (k, c) of its sections; those that
    are known are taken over."""
    known = [] if before is None else before.rotation.tolist()
    new = [s for s in solutions if s.rotation not in known]
    place = {rotation: k for k, rotation in enumerate([*known, *(s.rotation for s in new)])}
    order = np.array([place[s.rotation] for s in solutions])
    if not new:
        assert before is not None
        return before.displacement[order], before.loads.rows(order), before.utilisation[order]
    u = wrench_displacements(built, new)
    loads = head.loads(u)
    use = utilisation(loads, built.case.wrench.yield_strength, built.case.contact.plane)
    if before is None:
        return u[order], loads.rows(order), use[order]
    both = Resultants(
        *(
            np.concatenate([getattr(part, f.name) for part in (before.loads, loads)])
            for f in fields(Resultants)
        )
    )
    u, use = np.concatenate([before.displacement, u]), np.concatenate([before.utilisation, use])
    return u[order], both.rows(order), use[order]


def wrench_limits(path: SectionPath) -> WrenchLimits:
    """The limits of the wrench's head, with its sections and the place of the highest stress."""
    case, mesh = path.built.case, path.built.wrench.mesh
    material = wrench_material(case)
    radius, centre = head_circle(case, mesh)
    inside = np.flatnonzero(np.linalg.norm(mesh.nodes - centre, axis=1) <= radius)
    mises = np.stack([von_mises(nodal_stresses(mesh, material, u))[inside] for u in path.displacement])
    highest = int(inside[int(mises[-1].argmax())])
    return WrenchLimits(
        slip_torque_Nm=float(path.torque[-1]),
        first_yield_Nm=reached(path.torque, mises.max(axis=1) / case.wrench.yield_strength),
        section_Nm=path.section_Nm,
        limit_Nm=path.limit_Nm(),
        highest=_highest(mesh, highest, float(mises[-1].max())),
        ligaments=_worst(path.head.cuts, path.loads, path.utilisation, path.torque),
        redundant=path.is_ring,
    )


def loading_path(curve: TorqueCurve) -> tuple[Array, list[ContactSolution]]:
    """Torques (k,) in N m and contact states on the way up to slip, a few of them, the state at slip last."""
    if not curve.solutions or curve.torque.max() <= 0:
        return np.empty(0), []
    top = int(np.argmax(curve.torque))
    rising = [k for k in range(top) if 0 < curve.torque[k] < curve.torque[top]]
    wanted = curve.torque[top] * np.arange(1, MOST_STATES) / MOST_STATES
    # Always those where something happens: what they are for may not fall between two others.
    marked = {k for k in rising if curve.solutions[k].rotation in curve.events}
    near = {min(rising, key=lambda k: abs(curve.torque[k] - t)) for t in wanted} if rising else set()
    chosen = sorted(near | marked)
    chosen = [k for i, k in enumerate(chosen) if i == 0 or curve.torque[k] > curve.torque[chosen[i - 1]]]
    return curve.torque[[*chosen, top]], [curve.solutions[k] for k in (*chosen, top)]


def reached(torque: Array, use: Array) -> float:
    """Torque (N m) at which a utilisation that rises with the torque becomes one; in proportion beyond the last."""
    t, u = np.concatenate([[0.0], torque]), np.concatenate([[0.0], use])
    over = np.flatnonzero(u >= 1.0)
    if not over.size:
        return float(t[-1] / u[-1]) if u[-1] > 0 else float("inf")
    k = int(over[0])
    return float(t[k - 1] + (t[k] - t[k - 1]) * (1.0 - u[k - 1]) / (u[k] - u[k - 1]))


def near_one(torque: Array, use: Array) -> float:
    """Torque (N m) at which a utilisation known at rising torques, at the last above one, comes near one.

    The line through the two states nearest to one finds it in fewer steps than that through the two around it, which
    keeps one end for ever where the use bends; it is taken as long as it stays between these two.
    """
    t, u = np.concatenate([[0.0], torque]), np.concatenate([[0.0], use])
    k = int(np.flatnonzero(u >= 1.0)[0])
    first, second = np.argsort(np.abs(u - 1.0), kind="stable")[:2]
    if u[first] != u[second]:
        at = float(t[first] + (t[second] - t[first]) * (1.0 - u[first]) / (u[second] - u[first]))
        if t[k - 1] < at < t[k]:
            return at
    return reached(torque, use)


def reached_lazily(
    torque: Array, use: Callable[[int], float], known: Mapping[int, float] | None = None
) -> float:
    """The same for a measure of the states that is dear to work out: the two states around are found by halving, between
    those at which it is `known`."""
    last = len(torque) - 1
    found = {-1: 0.0, **(known or {})}
    if last not in found:
        found[last] = use(last)
    if found[last] < 1.0:
        return reached(torque[last:], np.array([found[last]]))
    high = min(k for k, value in found.items() if value >= 1.0)
    low = max(k for k, value in found.items() if value < 1.0 and k < high)
    while high - low > 1:
        middle = (low + high) // 2
        found[middle] = use(middle)
        low, high = (middle, high) if found[middle] < 1.0 else (low, middle)
    chosen = [k for k in (low, high) if k >= 0]
    return reached(torque[chosen], np.array([found[k] for k in chosen]))


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
                utilisation=float(use[-1, i]),
                torque_Nm=reached(torque, use[:, i]),
            )
        )
    return tuple(sorted(found, key=lambda one: -one.utilisation))


def _highest(mesh: SectionMesh, node: int, stress: float) -> HighestStress:
    x, y = mesh.nodes[node].tolist()
    return HighestStress(place_of(mesh, node), x, y, stress)
