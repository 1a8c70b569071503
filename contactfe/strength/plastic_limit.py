"""The plastic limit of a closed ring: when no state of self-stress keeps all its sections within their limit.

A linear programme for the largest load factor (lower-bound theorem of limit analysis; Drucker, Greenberg & Prager 1951,
from memory). The self-stress of a closed ring is one force and one couple that go round it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from contactfe.errors import NotConverged
from contactfe.strength.cuts import Cuts
from contactfe.strength.sections import Resultants

Array = NDArray[np.float64]

AXIAL = np.linspace(-1.0, 1.0, 25)  # where the parabola of the axial force is replaced by its tangents
SHEAR = np.linspace(-1.0, 1.0, 13)
SLACK = 1e-7  # by how much a section may pass its limit: what the solver of the programme allows as well
MOST_ROUNDS = 100
UNLOADED = 1e-9  # of what a section bears: a load that is none
ALL_ROUND = 16  # sections whose bending the first round knows
_NONE = (np.empty(0, dtype=int), np.empty(0), np.empty(0), np.empty(0))


Tangent = tuple[int, float, float, float]
"""A plane beside the limit of one section: its number, where it touches n^2 and v^4, and the sign of its moment."""


def ring_utilisation(
    loads: Resultants,
    cuts: Cuts,
    around: NDArray[np.bool_],
    strength: tuple[float, float],
    tangents: list[Tangent] | None = None,
) -> float:
    """Utilisation of the whole ring: 1 when no self-stress keeps every section within its limit; 0 without a load.

    ``strength``: yield strength for N and M, and for V, MPa. Unknowns are the load factor and the self-stress; every
    pair of a tangent to n^2 and one to v^4 is a limit of each section (0.2 % outside the curves at most). Besides the
    bending of some sections all round, only those that some round has passed are given to the solver: the optimum is the
    same, and few of them matter. `tangents` holds those of other loads of the same ring, which save rounds; new ones are
    added to it.

    Raises:
        NotConverged: some section still passes its limit after many rounds.
    """
    h = loads.height
    normal, shear, moment = strength[0] * h, strength[1] * h / np.sqrt(3.0), strength[0] * h**2 / 4.0
    own = [np.where(around[:, None], part, 0.0) for part in self_stress(cuts)]
    axial = np.column_stack([loads.normal, own[0]]) / normal[:, None]
    across = np.column_stack([loads.shear, own[1]]) / shear[:, None]
    bend = np.column_stack([loads.moment, own[2]]) / moment[:, None]
    if max(float(np.abs(part[:, 0]).max()) for part in (axial, across, bend)) < UNLOADED:
        return 0.0
    size = np.maximum(np.abs(bend).max(axis=0), 1e-12)
    axial, across, bend = axial / size, across / size, bend / size
    tangents = [] if tangents is None else tangents
    aim = np.array([-1.0, 0.0, 0.0, 0.0])
    free = Bounds([0.0, -np.inf, -np.inf, -np.inf], np.inf)
    first = bend[:: max(len(bend) // ALL_ROUND, 1)]
    for _ in range(MOST_ROUNDS):
        k, s, t, sign = (np.array(part) for part in zip(*tangents, strict=True)) if tangents else _NONE
        s, t, sign = s[:, None], t[:, None], sign[:, None]
        rows = np.vstack([first, -first, sign * bend[k] + 2 * s * axial[k] + 4 * t**3 * across[k]])
        limits = np.concatenate([np.ones(2 * len(first)), (1.0 + s**2 + 3 * t**4).ravel()])
        # scipy.optimize.milp without integers: the same solver as linprog's, with less around it.
        at = milp(aim, constraints=LinearConstraint(rows, -np.inf, limits), bounds=free).x
        if at is None:  # these alone do not bound it, if all do
            if len(first) == len(bend):
                break
            first = bend
            continue
        n, v, m = axial @ at, across @ at, bend @ at
        squares, fourths = 2 * AXIAL[:, None] * n - AXIAL[:, None] ** 2, _fourth(v)
        passed = np.flatnonzero(np.abs(m) + squares.max(axis=0) + fourths.max(axis=0) > 1.0 + SLACK)
        if not passed.size:
            return float(size[0] / at[0])
        touching = AXIAL[squares.argmax(axis=0)], SHEAR[fourths.argmax(axis=0)], np.sign(m)
        tangents += zip(passed.tolist(), *(part[passed].tolist() for part in touching), strict=True)
    raise NotConverged("the limit load of the ring was not found", slug="limit-load")


def _fourth(v: Array) -> Array:
    """Tangents to v^4 at every station of `SHEAR`, (13, c)."""
    return np.asarray(4 * SHEAR[:, None] ** 3 * v - 3 * SHEAR[:, None] ** 4)


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
