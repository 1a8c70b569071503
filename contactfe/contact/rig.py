"""Two meshed bodies ready to be turned against each other: one call gives the solution of one rotation."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, linprog

from contactfe.contact.problem import HEAD_PLACE, ContactBuilder, ContactProblem, Handle
from contactfe.contact.search import GapSearch
from contactfe.contact.slide import solve_sliding, weak_direction
from contactfe.contact.solver import SLIGHT, SolveReport, solve_bounded
from contactfe.elastic import Flexibility
from contactfe.errors import NoRest, PushedOff
from contactfe.mesh import SectionMesh

Array = NDArray[np.float64]

WIDEST_GAP = 0.015  # of the width across flats: wider gaps cannot close elastically
KEPT_PROBLEMS = 48  # of one pair of bodies: two or three curves, some 12 MB
LEAST_SWEEP, MOST_SWEEP = math.radians(0.05), math.radians(1.0)  # of the search for the end of free play
CLOSE = 0.0015  # of the width: as near as gaps are taken to where the wrench comes to rest
STANDS, LEAST_SHARE = 10, 0.1  # places that are tried; least part of a step towards the next one
FARTHEST_AHEAD = 0.03  # of the width: a wrench is not expected farther away in one step
FARTHEST_IDLE = 0.03  # of the width: a wrench that floats farther without a load has left the fastener
LEAST_ENGAGED = 1e-6  # a cell that engages nowhere keeps a cap that is as good as none


@dataclass(frozen=True)
class ContactLaw:
    """Friction coefficient and the largest pressure in MPa.

    ``engagement`` gives the share of the engaged depth, 0 to 1, over which cells at places (c, 2) really touch; None
    where all of them touch over the whole depth. Pressures are means over the engaged depth, so it lowers the cap.
    """

    friction: float
    cap: float
    engagement: Callable[[Array], Array] | None = None

    def caps(self, problem: ContactProblem) -> Array:
        """The largest pressure of each cell (c,), MPa."""
        if self.engagement is None:
            return np.full(len(problem.gap), self.cap)
        return np.asarray(
            self.cap * np.maximum(self.engagement(problem.centre + problem.stand), LEAST_ENGAGED)
        )


@dataclass(frozen=True, eq=False)
class ContactSolution:
    """The state at one rotation, per unit depth; arrays run over the cells (c,).

    ``pressure`` MPa; ``gap`` mm, mean over the cell, deformed (negative: crushed by that much; a cell that is partly
    in contact may have a mean gap of either sign); ``motion`` (2,) mm, how far the floating wrench has moved; ``torque``
    N mm per mm of depth, positive in the sense of turning. ``weak`` (2,): the direction along parallel jaws, in the rows
    of the balance, in which only friction holds the wrench; None where flanks oppose every motion. ``place`` (2,) mm:
    where the wrench's head stands, from the axis, in its frame; ``drift`` (2,): how fast (mm per rad) it moves there.
    """

    rotation: float
    problem: ContactProblem
    law: ContactLaw
    pressure: Array
    gap: Array
    motion: Array
    torque: float
    report: SolveReport
    weak: Array | None = None
    place: Array = field(default_factory=lambda: np.zeros(2), compare=False)
    drift: Array = field(default_factory=lambda: np.zeros(2), compare=False)

    @property
    def capped(self) -> NDArray[np.bool_]:
        """Cells that carry the largest pressure."""
        return np.asarray(self.pressure >= self.law.caps(self.problem) * (1 - 1e-6))

    def keyed(self) -> dict[tuple[int, int], float]:
        """Pressure by (group, node), to start the next rotation from."""
        return dict(
            zip(
                zip(self.problem.group.tolist(), self.problem.node.tolist(), strict=True),
                self.pressure.tolist(),
                strict=True,
            )
        )


class ContactRig:
    """The pair of bodies, their flexibilities and the way the wrench is held."""

    def __init__(
        self,
        fastener: tuple[SectionMesh, Flexibility],
        wrench: tuple[SectionMesh, Flexibility],
        search: GapSearch,
        handle: Handle,
        across_flats: float,
    ) -> None:
        self.search, self.handle = search, handle
        self.flexibilities = fastener[1], wrench[1]  # per unit of the depth that bears
        self._across_flats = across_flats
        self.widest = WIDEST_GAP * across_flats
        self._builder = ContactBuilder(*fastener, *wrench, handle)
        observed = wrench[1].observed
        rows = [observed[name] for name in HEAD_PLACE if name in observed]
        self._place = np.array(rows) if len(rows) == len(HEAD_PLACE) else None
        self._problems: dict[tuple[float, tuple[float, float]], ContactProblem] = {}
        self._plays: dict[float, float | None] = {}

    def problem(self, rotation: float, stand: tuple[float, float] = (0.0, 0.0)) -> ContactProblem:
        """The contact problem at a rotation (rad), with the wrench that far (mm) from the axis.

        Kept: cases on the same bodies meet it again under other laws.
        """
        key = rotation, stand
        known = self._problems.pop(key, None)
        if known is None:
            pairing = self.search.pairing(rotation, 2.0 * self.widest, stand)
            known = self._builder.build(pairing, rotation, self.widest)
        # The last used go last: those of the march stay, those of a state between its points go.
        self._problems[key] = known
        while len(self._problems) > KEPT_PROBLEMS:
            self._problems.pop(next(iter(self._problems)), None)
        return known

    def free_play(self, most: float) -> float | None:
        """The end of the free play (rad), see ``free_play``."""
        if most not in self._plays:
            self._plays[most] = free_play(self.search, self._across_flats, most)
        return self._plays[most]

    def solve(
        self, rotation: float, law: ContactLaw, before: ContactSolution | None = None
    ) -> ContactSolution:
        """Solve one rotation, started from a neighbouring solution when given.

        The motion of the wrench is linear in the gaps; where it is more than a little the gaps are taken anew where the
        wrench then stands, until it hardly moves from there.

        Raises:
            PushedOff: nothing holds the wrench.
            NoRest: it finds no place to rest.
            SlidesOff: parallel jaws slide along the fastener.
            BeyondReach: it has turned past what was worked out.
            NotConverged: from the solver.
        """
        close = CLOSE * self._across_flats
        stand = np.zeros(2)
        if before is not None:
            ahead = (rotation - before.rotation) * before.drift
            # Two places of rest over a tiny rotation give a drift that says nothing about the next step.
            stand = before.place + (ahead if np.hypot(*ahead) <= FARTHEST_AHEAD * self._across_flats else 0.0)
        if np.hypot(*stand) <= close:
            stand = np.zeros(2)
        start, share, last = before, 1.0, None
        for _ in range(STANDS):
            problem = self.problem(rotation, (float(stand[0]), float(stand[1])))
            found = solve_problem(problem, rotation, law, self.handle, self._seen_from(start, stand))
            self._still_on(found)
            moved = self.moved(found)
            if np.hypot(*moved) <= close:
                place = stand + moved
                if before is None or rotation == before.rotation:
                    return replace(found, place=place)
                return replace(
                    found, place=place, drift=(place - before.place) / (rotation - before.rotation)
                )
            if last is not None:  # steps that go to and fro are shortened (Aitken's relaxation)
                change = moved - last
                share *= -float(last @ change) / max(float(change @ change), 1e-300)
                share = min(max(share, LEAST_SHARE), 1.0)
            stand, start, last = stand + share * moved, found, moved
        raise NoRest(
            "the wrench finds no place to rest at this rotation",
            hint="try a slightly different mesh (edge_at_contact) or less friction",
        )

    def _seen_from(self, start: ContactSolution | None, stand: Array) -> ContactSolution | None:
        """A state to start from, with its motion counted from another stand (mm)."""
        if start is None:
            return None
        rows = np.eye(2) if self.handle.lever_arm is None else self.handle.axes()
        return replace(start, motion=start.motion - rows @ (stand - start.problem.stand))

    def moved(self, solution: ContactSolution) -> Array:
        """How far (2,) mm the wrench's head has moved from where the gaps of a solution were taken."""
        rows = np.eye(2) if self.handle.lever_arm is None else self.handle.axes()
        own = solution.motion @ rows
        if self._place is not None and solution.pressure.any():
            _, force = solution.problem.nodal_forces(solution.pressure, solution.law.friction)
            own = own + self._place @ force
        if solution.weak is not None:  # along its jaws the wrench stays where it was put
            along = solution.weak @ rows
            own = own - (own @ along) * along
        return np.asarray(own)

    def _still_on(self, found: ContactSolution) -> None:
        """Raises NotConverged when the wrench is carried off without a load."""
        carried = float(found.pressure @ found.problem.length)
        idle = carried < SLIGHT * float(found.law.caps(found.problem) @ found.problem.length)
        if idle and float(np.hypot(*found.motion)) > FARTHEST_IDLE * self._across_flats:
            raise PushedOff(
                "the wrench is pushed off the fastener: at this rotation no contact forces balance",
                hint="look whether throat, mouth or jaw tips press where they should have room (contactfe draw)",
            )


def solve_problem(
    problem: ContactProblem,
    rotation: float,
    law: ContactLaw,
    handle: Handle,
    before: ContactSolution | None = None,
) -> ContactSolution:
    """Solve a contact problem under a law."""
    n = len(problem.gap)
    mu, caps = law.friction, law.caps(problem)
    bounded = problem.bounded(mu, caps)
    overlaps = bounded.gap < 0
    if not overlaps.any():
        # Nothing overlaps where the wrench stands; the caller has seen to it that it stands where it fits.
        report = SolveReport(True, "apart", 0, 0.0, bounded.gap)
        return ContactSolution(
            rotation, problem, law, np.zeros(n), problem.gap / problem.length, np.zeros(2), 0.0, report
        )
    start = motion = None
    if before is not None:
        known, motion = before.keyed(), before.motion
        start = np.array(
            [known.get(k, 0.0) for k in zip(problem.group.tolist(), problem.node.tolist(), strict=True)]
        )
    weak = weak_direction(problem, overlaps, handle)
    if weak is None:
        pressure, motion, report = solve_bounded(bounded, start, motion)
    else:
        slid = solve_sliding(problem, weak, (mu, caps), start, motion)
        problem, pressure, motion, report = slid.problem, slid.pressure, slid.motion, slid.report
    torque = handle.sense * float((problem.arm_n + mu * problem.arm_t) @ pressure)
    gap = report.gap - problem.partial(caps) * (pressure / caps - 0.5)
    return ContactSolution(
        rotation, problem, law, pressure, gap / problem.length, motion, torque, report, weak
    )


def free_play(search: GapSearch, across_flats: float, most: float) -> float | None:
    """Rotation (rad) from square at which the wrench, floating in its plane, must touch on opposing flanks.

    A linear programme at each rotation asks for the place that leaves the widest smallest gap; where that becomes
    zero the play is used up. None when it does not within ``most``: the wrench turns freely.
    """

    @cache
    def clearance(turn: float) -> float:
        return widest_clearance(search, turn, across_flats)

    if clearance(0.0) <= 0:
        return 0.0
    low, rate = 0.0, across_flats / math.sqrt(12.0)  # what half a flat takes of the gap per unit of turn
    while True:
        high = min(low + min(max(1.02 * clearance(low) / rate, LEAST_SWEEP), MOST_SWEEP), most)
        if clearance(high) <= 0:
            return float(brentq(clearance, low, high, xtol=1e-6))
        if high >= most:
            return None
        rate = max((clearance(low) - clearance(high)) / (high - low), 1e-300)
        low = high


def widest_clearance(search: GapSearch, rotation: float, across_flats: float) -> float:
    """Largest smallest gap (mm) over all places of the floating wrench at a rotation; negative: it cannot fit."""
    pairing = search.pairing(rotation)
    near = pairing.gap < 0.08 * across_flats
    if not near.any():
        return across_flats
    # Of all places with the same normal only the narrowest can bind: one for every straight flank.
    key = np.round(np.arctan2(pairing.normal[near, 1], pairing.normal[near, 0]), 9)
    order = np.lexsort((pairing.gap[near], key))
    first = order[np.unique(key[order], return_index=True)[1]]
    gap, normal = pairing.gap[near][first], pairing.normal[near][first]
    limit = 0.05 * across_flats
    answer = linprog(
        [0.0, 0.0, -1.0],
        A_ub=np.column_stack([normal, np.ones(len(gap))]),
        b_ub=gap,
        bounds=[(-limit, limit), (-limit, limit), (None, across_flats)],
    )
    return float(answer.x[2])
