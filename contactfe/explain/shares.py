"""The difference between the torques that two cases deliver, split into shares of what differs by switching one thing
after another.

A share is the mean, over all orders in which the differing factors can be switched, of what the torque changes when
this one is (Shapley, "A value for n-person games", 1953); with many factors over one order and its reverse. Shares add
up to the difference exactly, and a factor that does not differ has none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np

from contactfe.errors import ContactFEError, GeometryError, NotConverged
from contactfe.explain.factors import FACTORS, Factor, changed, mixed
from contactfe.explain.limiting import STIFF, delivered, reassembled
from contactfe.inputs import CaseInput
from contactfe.turn import Bodies, BuiltPair, TorqueCurve, bearing_depth, peak, torque_curve

MOST_FOR_ALL_ORDERS = 4  # factors: sixteen cases
PARTS = ("patch length", "lever arm", "opening")
"""What the share of another profile is made of."""

Subset = frozenset[str]


@dataclass(frozen=True)
class Share:
    """Part of the difference (N m) that goes to one factor; ``parts``: what a profile's share is made of."""

    key: str
    words: str
    torque_Nm: float
    parts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Comparison:
    """Torques (N m) that two cases deliver, 0 where the wrench turns freely, and the shares of their difference.

    Every factor has a share; those that do not differ have zero. ``solved``: how many cases were.
    """

    names: tuple[str, str]
    torques_Nm: tuple[float, float]
    shares: tuple[Share, ...]
    solved: int
    all_orders: bool

    @property
    def difference_Nm(self) -> float:
        """Torque of the second case less that of the first, N m."""
        return self.torques_Nm[1] - self.torques_Nm[0]


@dataclass(frozen=True)
class GripParts:
    """Slip torque as a product: cap and depth (N/mm2 mm) times patch length (mm) and lever arm (mm) of a rigid wrench,
    times what is left when the wrench gives."""

    scale: float
    length: float
    arm: float
    left: float

    @property
    def torque(self) -> float:
        """The product, N m."""
        return self.scale * self.length * self.arm * self.left / 1e3


def compare(one: CaseInput, other: CaseInput, told: Callable[[int, int], None] | None = None) -> Comparison:
    """Split the difference of the torques that two cases deliver.

    Args:
        told: called with the number of solved cases and of all, for progress.

    Raises:
        ContactFEError: a case between the two cannot be built or solved.
    """
    factors = changed(one, other)
    keys = [f.key for f in factors]
    complete = len(keys) <= MOST_FOR_ALL_ORDERS
    wanted = _subsets(keys, complete)
    solver = _Solver(one, other, split="profile" in keys)
    for k, subset in enumerate(wanted):
        solver.solve(subset)
        if told is not None:
            told(k + 1, len(wanted))
    shares = {f.key: _share(f, keys, complete, solver) for f in factors}
    found = tuple(shares.get(f.key, Share(f.key, f.words, 0.0)) for f in FACTORS)
    return Comparison(
        (one.name, other.name),
        (solver.torque(frozenset()), solver.torque(frozenset(keys))),
        found,
        len(wanted),
        complete,
    )


def _subsets(keys: Sequence[str], complete: bool) -> list[Subset]:
    if complete:
        return [frozenset(chosen) for k in range(len(keys) + 1) for chosen in combinations(keys, k)]
    ahead = [frozenset(keys[:k]) for k in range(len(keys) + 1)]
    back = [frozenset(keys[k:]) for k in range(len(keys) + 1)]
    return list(dict.fromkeys([*ahead, *back]))


def _share(factor: Factor, keys: Sequence[str], complete: bool, solver: _Solver) -> Share:
    """The weighted mean of what switching the factor changes."""
    total, parts = 0.0, np.zeros(len(PARTS))
    for weight, before in _steps(factor.key, keys, complete):
        after = before | {factor.key}
        total += weight * (solver.torque(after) - solver.torque(before))
        if factor.key == "profile":
            parts += weight * _product_shares(solver.parts(before), solver.parts(after))
    split = (
        tuple(zip(PARTS, parts.tolist(), strict=True)) if factor.key == "profile" and solver.grips() else ()
    )
    return Share(factor.key, factor.words, total, split)


def _steps(key: str, keys: Sequence[str], complete: bool) -> Iterable[tuple[float, Subset]]:
    """The weights of the subsets from which the factor is switched; they add up to one."""
    others = [k for k in keys if k != key]
    if not complete:
        at = list(keys).index(key)
        return [(0.5, frozenset(keys[:at])), (0.5, frozenset(keys[at + 1 :]))]
    n = len(keys)
    return [
        (math.factorial(k) * math.factorial(n - 1 - k) / math.factorial(n), frozenset(chosen))
        for k in range(n)
        for chosen in combinations(others, k)
    ]


def _product_shares(one: GripParts | None, other: GripParts | None) -> np.ndarray:
    """What each part changes (N m), over all orders of switching the parts; all to the patch where there is none."""
    if one is None or other is None:
        none = (one.torque if one else 0.0, other.torque if other else 0.0)
        return np.array([none[1] - none[0], 0.0, 0.0])
    values = [(p.length, p.arm, p.left) for p in (one, other)]
    out = np.zeros(len(PARTS))
    orders = list(permutations(range(len(PARTS))))
    for order in orders:
        at = list(values[0])
        for k in order:
            before = math.prod(at)
            at[k] = values[1][k]
            out[k] += math.prod(at) - before
    return np.asarray(out * one.scale / 1e3 / len(orders))


class _Solver:
    """Torques delivered by the cases between two, each solved once."""

    def __init__(self, one: CaseInput, other: CaseInput, split: bool) -> None:
        self._cases, self._split, self._bodies = (one, other), split, Bodies()
        self._torque: dict[Subset, float] = {}
        self._parts: dict[Subset, GripParts | None] = {}

    def torque(self, subset: Subset) -> float:
        return self._torque[subset]

    def parts(self, subset: Subset) -> GripParts | None:
        return self._parts[subset]

    def grips(self) -> bool:
        """Whether no case is ended by anything but its grip: only then do the parts make up the torque."""
        return all(self._torque[subset] == 0 or part is not None for subset, part in self._parts.items())

    def solve(self, subset: Subset) -> None:
        """Solve the case with these factors switched.

        Raises:
            ContactFEError: it cannot be built or solved.
        """
        case = mixed(*self._cases, subset)
        try:
            built = self._bodies.build(case)
            curve = torque_curve(built)
            found = delivered(built, curve)
            if found is None:  # still rising where the solution ends: as far as it goes
                found = float(curve.torque.max())
            self._torque[subset] = found
            self._parts[subset] = _grip_parts(built, curve, found) if self._split else None
        except (GeometryError, NotConverged) as error:
            names = [f.words for f in FACTORS if f.key in subset]
            raise ContactFEError(
                f"with {', '.join(names) or 'nothing'} of the second case, the rest of the first, there is no answer: "
                f"{error.message}",
                where=error.where,
                hint="compare two cases that differ in less",
                slug="between-cases",
            ) from error


def _slip(curve: TorqueCurve) -> tuple[float, float]:
    """Slip torque (N m) and the length (mm) that bears there with the whole cap; zeros when the wrench turns freely."""
    if curve.free_play is None:
        return 0.0, 0.0
    rotation, torque = peak(curve)
    state = curve.nearest(rotation)
    return torque, float(state.problem.length @ state.pressure) / state.law.cap


def _grip_parts(built: BuiltPair, curve: TorqueCurve, torque: float) -> GripParts | None:
    """The torque delivered as a product, from the same pair with a rigid wrench; None where there is no grip, and
    where something else than the grip ends the pull."""
    if torque < (1.0 - 1e-9) * _slip(curve)[0]:
        return None
    rigid, length = _slip(torque_curve(reassembled(built, built.case, STIFF)))
    if torque <= 0 or rigid <= 0:
        return None
    scale = built.law.cap * bearing_depth(built.case)
    return GripParts(scale, length, 1e3 * rigid / (scale * length), torque / rigid)


def largest_first(shares: Iterable[Share]) -> list[Share]:
    """Shares by their size, those without one left out."""
    return sorted((s for s in shares if s.torque_Nm != 0.0), key=lambda s: -abs(s.torque_Nm))
