"""The best of a bounded box under limits, with few evaluations: Sobol points, then three local searches.

Local searches are scipy's COBYQA (Ragonneau and Zhang 2023: quadratic models in a trust region, without gradients).
Sobol points are asked for at once, so that they can be evaluated in parallel; the same seed and the same values ask for
the same points, so that a search goes on from stored evaluations. (scipy lets one COBYQA run at a time.)
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, NonlinearConstraint, minimize
from scipy.stats import qmc

Array = NDArray[np.float64]
STARTS = 3
FIRST_RADIUS, LAST_RADIUS = 0.12, 2e-3
"""Of the range of each number: trust regions of the local searches, from the first to the last."""
APART = 0.08
"""Of the diagonal of the box: starts lie at least this far from each other, where there are others."""
PENALTY = 10.0  # of the score for the whole of a violated limit, when a start is chosen


@dataclass(frozen=True)
class Value:
    """What a point is worth: `score`, larger is better, and how much room each limit leaves, negative where it is
    violated."""

    score: float
    slack: tuple[float, ...] = ()

    @property
    def allowed(self) -> bool:
        """Whether no limit is violated."""
        return all(s >= -1e-9 for s in self.slack)

    @property
    def merit(self) -> float:
        """The score less a penalty for violated limits."""
        return self.score - PENALTY * sum(max(0.0, -s) for s in self.slack)


@dataclass(frozen=True, eq=False)
class Optimum:
    """The best point found (d,) in the unit box and its value, the ends of the local searches with theirs, and every
    point that was asked for, in order."""

    point: Array
    value: Value
    ends: tuple[tuple[Array, Value], ...]
    asked: tuple[tuple[Array, Value], ...]


Evaluate = Callable[[Sequence[Array]], Sequence[Value]]


def first_points(count: int, dimension: int, seed: int) -> Array:
    """Scrambled Sobol points (count, dimension) in the unit box."""
    power = max(1, int(np.ceil(np.log2(max(2, count)))))
    return np.asarray(qmc.Sobol(dimension, seed=seed).random_base2(power)[:count])


def best_of_box(
    evaluate: Evaluate,
    dimension: int,
    budget: int,
    seed: int,
    known: Sequence[tuple[Array, Value]] = (),
) -> Optimum:
    """The best point of the unit box within a budget of evaluations; half of them are Sobol points, at most 96.

    Points that are `known` with their values take part, and count as evaluations.
    """
    count = max(STARTS, min(96, budget // 2 - len(known)))
    points = first_points(count, dimension, seed)
    asked = [*known, *zip(points, evaluate(list(points)), strict=True)]
    starts = _starts(asked)
    each = (budget - len(asked)) // len(starts)
    descents = [_descent(evaluate, start, each) for start in starts] if each > dimension + 2 else []
    ends = [max(trace, key=_rank) for trace in descents]
    asked += [item for trace in descents for item in trace]
    point, value = max(asked, key=_rank)
    return Optimum(point, value, tuple(ends), tuple(asked))


def _rank(item: tuple[Array, Value]) -> tuple[bool, float]:
    """Allowed points come before others, then the better ones."""
    return item[1].allowed, item[1].merit


def _starts(asked: Sequence[tuple[Array, Value]]) -> list[tuple[Array, Value]]:
    """The best points that lie apart from each other."""
    chosen: list[tuple[Array, Value]] = []
    for point, value in sorted(asked, key=lambda item: -item[1].merit):
        least = APART * np.sqrt(len(point))
        if all(float(np.linalg.norm(point - other)) >= least for other, _ in chosen):
            chosen.append((point, value))
        if len(chosen) == STARTS:
            break
    return chosen


def _descent(evaluate: Evaluate, start: tuple[Array, Value], most: int) -> list[tuple[Array, Value]]:
    """The start of a local search and every point that it asked for, at most `most`."""
    trace = [start]
    known: dict[bytes, Value] = {start[0].tobytes(): start[1]}

    def value(x: Array) -> Value:
        point = np.clip(np.asarray(x, dtype=float), 0.0, 1.0)
        key = point.tobytes()
        if key not in known:
            if len(trace) > most:
                raise _Stopped
            known[key] = evaluate([point])[0]
            trace.append((point, known[key]))
        return known[key]

    more: dict[str, Any] = {}
    if start[1].slack:
        more["constraints"] = NonlinearConstraint(lambda x: np.array(value(x).slack), 0.0, np.inf)
    d = len(start[0])
    options = {"initial_tr_radius": FIRST_RADIUS, "final_tr_radius": LAST_RADIUS, "maxfev": most}
    with contextlib.suppress(_Stopped):
        minimize(
            lambda x: -value(x).score,
            start[0],
            method="COBYQA",
            bounds=Bounds(np.zeros(d), np.ones(d)),
            options=options,
            **more,
        )
    return trace


class _Stopped(Exception):
    pass
