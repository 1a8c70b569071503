"""From sampled values to what has to be solved, on as few bodies as possible.

Most inputs need no new mesh: strengths, friction, depth, thickness, moduli and lever arm enter after the
flexibilities, the opening by a mesh that many openings share (`contactfe.turn.bodies`). A width across flats s
near the meshed s0 is the same problem made larger: T(s, S) = (s/s0)^2 T(s0, S s0/s) with every length scaled, of
which only the dimensions of the wrench, at most 1 % off, are left as they are. Shapes (rounding, corner, wall) are
meshed at a few levels; a sample takes the nearest level, and the ratio of the curve through the levels at its own
value and at the level. A minor shape beside others on its body has its middle level in every sample, and the ratio from
there: bodies for all combinations of levels would cost more than they tell.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contactfe.errors import InputError, Problem
from contactfe.inputs import CaseInput
from contactfe.turn import Side, on_shape, shape_case
from contactfe.uncertainty.distributions import Distribution
from contactfe.uncertainty.read import UncertainCase

Array = NDArray[np.float64]

NO_MESH = frozenset(
    {
        "contact.friction",
        "contact.constraint_factor",
        "fastener.yield_strength",
        "wrench.yield_strength",
        "fastener.engaged_depth",
        "fastener.chamfer_angle",
        "wrench.thickness",
        "wrench.lead_in",
        "fastener.elastic_modulus",
        "wrench.elastic_modulus",
        "load.lever_arm",
        "wrench.opening",
    }
)
"""Inputs that never need another mesh."""
WIDTHS = frozenset({"fastener.across_flats", "fastener.undersize"})
WIDTH_STEP = 0.01  # of the nominal width: half the spacing of the widths that are meshed
LEVELS = {1: 3, 2: 3}  # of each shape input, by how many scatter on one body
ROUNDING_LEVELS = {1: 5, 2: 4}  # of the rounding, which changes more
MINOR = frozenset({"wrench.throat_depth", "wrench.ridge_radius"})
TAIL = 0.002  # share of a distribution below the lowest and above the highest level


@dataclass(frozen=True)
class Job:
    """One curve: the case to assemble, the cases that make its bodies, and the factor on its torque.

    ``side``: "openings" where the wrench's body serves many openings. ``near``: the plain case near whose top that of this
    curve is looked for, on the same fastener and the body ``near_side`` of its wrench; None: the whole curve is solved.
    """

    case: CaseInput
    fastener: CaseInput
    wrench: CaseInput
    factor: float
    side: Side = "openings"
    near: CaseInput | None = None
    near_side: Side = "openings"


@dataclass(frozen=True, eq=False)
class ShapeRatio:
    """How the torque of the pair follows one shape input: its levels (k,), and the jobs (by number) there."""

    path: str
    levels: Array
    jobs: tuple[int, ...]

    def ratio(self, torque: Array, value: Array, level: Array) -> Array:
        """Torque at `value` over torque at `level`, (n,); 1 where the wrench turns freely there."""
        if len(self.levels) < 2:
            return np.ones(len(value))
        known = torque[list(self.jobs)]
        if not np.isfinite(known).all() or (known <= 0.0).any():
            return np.ones(len(value))
        line = PchipInterpolator(self.levels, known)
        inside = np.clip(value, self.levels[0], self.levels[-1])
        return np.asarray(line(inside) / line(level))


@dataclass(frozen=True, eq=False)
class JobPlan:
    """Jobs of some rows of values (n, d), first the rows in order, then those behind the ratios.

    `cases` (n) are those of the rows, with shapes at the levels that stand in for them.
    """

    jobs: tuple[Job, ...]
    cases: tuple[CaseInput, ...]
    values: Array
    levels: Array
    inputs: tuple[Distribution, ...]
    ratios: tuple[ShapeRatio, ...]

    def torques(self, solved: Array) -> Array:
        """Torques (n, 2) N m at which grip and wrench end the rows, from those of all jobs (m, 2); nan where there is
        none."""
        torque = solved[: len(self.values)].copy()
        paths = [item.path for item in self.inputs]
        for shape in self.ratios:
            k = paths.index(shape.path)
            value, level = self.values[:, k], self.levels[:, k]
            torque[:, 0] *= shape.ratio(solved[:, 0], value, level)
            # Where the wrench gives way at some levels alone, what the pair carries tells how it goes on.
            weak = solved[list(shape.jobs), 1]
            by = solved[:, 1] if np.isfinite(weak).all() else solved.min(axis=1)
            torque[:, 1] *= shape.ratio(by, value, level)
        return torque


def plan_jobs(uncertain: UncertainCase, inputs: Sequence[Distribution], u: Array) -> JobPlan:
    """Jobs for the rows of u (n, d), shares of the distributions of the inputs.

    Raises:
        InputError: some rows do not make a case; the first few are told.
    """
    values = (
        np.column_stack([item.at(u[:, k]) for k, item in enumerate(inputs)])
        if inputs
        else np.empty((len(u), 0))
    )
    levels = _levels(uncertain.case, inputs)
    snapped = values.copy()
    for k, item in enumerate(inputs):
        if item.path in levels:
            grid = levels[item.path]
            alone = len(_on_body(inputs, item.path, levels)) == 1
            grid = grid if alone or item.path not in MINOR else grid[[len(grid) // 2]]
            snapped[:, k] = grid[np.argmin(np.abs(values[:, k, None] - grid), axis=1)]
    middle = np.array([float(item.at(np.array([0.5]))[0]) for item in inputs])
    for k, item in enumerate(inputs):
        if item.path in levels:
            grid = levels[item.path]
            middle[k] = grid[int(np.argmin(np.abs(middle[k] - grid)))]
    rows, ratios = [snapped], []
    count = len(u)
    for k, item in enumerate(inputs):
        if item.path in levels:
            grid = levels[item.path]
            block = np.tile(middle, (len(grid), 1))
            block[:, k] = grid
            rows.append(block)
            ratios.append(ShapeRatio(item.path, grid, tuple(range(count, count + len(grid)))))
            count += len(grid)
    cases = _cases(uncertain, inputs, np.vstack(rows))
    paths = frozenset(item.path for item in inputs if item.path not in levels or item.path not in WIDTHS)
    jobs = tuple(_job(uncertain.case, case, paths) for case in cases)
    return JobPlan(jobs, tuple(cases[: len(u)]), values, snapped, tuple(inputs), tuple(ratios))


def _on_body(inputs: Sequence[Distribution], path: str, levels: Mapping[str, Array]) -> list[str]:
    """The inputs with levels on the body that an input belongs to."""
    body = path.partition(".")[0]
    return [item.path for item in inputs if item.path in levels and item.path.startswith(body)]


def _levels(case: CaseInput, inputs: Sequence[Distribution]) -> dict[str, Array]:
    """Levels of every input that changes a shape. Three or more on one body are meshed at every sample instead."""
    drawn = case.wrench.family.drawn  # its opening cannot be offset
    shapes = [p.path for p in inputs if p.path not in NO_MESH and (drawn or p.path not in WIDTHS)]
    found: dict[str, Array] = {}
    for item in inputs:
        if item.path in shapes:
            body = item.path.partition(".")[0]
            k = sum(path.startswith(body) for path in shapes)
            if k in LEVELS:
                low, high = (float(x) for x in item.at(np.array([TAIL, 1.0 - TAIL])))
                if item.sd is None:
                    low, high = item.low, item.high
                count = (ROUNDING_LEVELS if item.path == "fastener.rounding" else LEVELS)[k]
                found[item.path] = np.linspace(low, high, count)
    return found


def _cases(uncertain: UncertainCase, inputs: Sequence[Distribution], rows: Array) -> list[CaseInput]:
    cases: list[CaseInput] = []
    found: dict[str, list[tuple[Problem, int]]] = {}
    for i, row in enumerate(rows):
        try:
            cases.append(uncertain.sample({item.path: float(v) for item, v in zip(inputs, row, strict=True)}))
        except InputError as error:
            for problem in error.problems:
                found.setdefault(problem.where, []).append((problem, i))
    if not found:
        return cases
    problems = []
    for group in found.values():
        problem, i = group[0]
        first = ", ".join(f"{p.label} {p.show(float(v))}" for p, v in zip(inputs, rows[i], strict=True))
        message = f"{problem.message} (in {len(group)} of {len(rows)} samples, first: {first})"
        problems.append(replace(problem, message=message))
    raise InputError(problems, source=uncertain.case.name, slug="samples")


def _job(reference: CaseInput, case: CaseInput, paths: frozenset[str]) -> Job:
    """The job of one case: bodies of the reference case with this case's shapes.

    Where a width scatters (`paths` are the inputs that scatter), the fastener is meshed at a width of a grid.
    """
    s, nominal = case.fastener.across_flats, case.fastener.across_flats_nominal
    side: Side = "openings" if paths & (WIDTHS | {"wrench.opening"}) else "wrench"
    meshed, own = s, shape_case(case, side)
    body = own.fastener
    if paths & WIDTHS:
        steps = max(0, math.floor((1.0 - s / nominal) / (2 * WIDTH_STEP) + 1e-9))
        meshed = nominal * (1.0 - WIDTH_STEP * (2 * steps + 1))
        # Lengths that go with the width would make every sample a body of its own.
        larger = meshed / reference.fastener.across_flats
        if "fastener.corner" not in paths:
            body = replace(body, corner_radius=reference.fastener.corner_radius * larger)
        if "fastener.core_radius" not in paths:
            body = replace(body, core_radius=reference.fastener.core_radius * larger)
        body = replace(body, across_flats=meshed)
    scale = s / meshed
    arm = case.load.lever_arm
    same = replace(
        case,
        # The nominal width places the chamfer circle.
        fastener=replace(case.fastener, across_flats=meshed, across_flats_nominal=nominal / scale),
        wrench=replace(case.wrench, opening=case.wrench.opening / scale),
        load=replace(case.load, lever_arm=None if arm is None else arm / scale),
    )
    plain = shape_case(reference)
    # Where only its opening differs the plain case itself is near enough, and is solved in any case.
    only_opened = body == plain.fastener and replace(own.wrench, opening=plain.wrench.opening) == plain.wrench
    near_side: Side = "wrench" if only_opened else side
    near = plain if only_opened else replace(plain, fastener=body, wrench=own.wrench)
    # The wrench's mesh may look at the fastener: it looks at the reference's, whatever the sample's is.
    return Job(
        same,
        replace(plain, fastener=body),
        replace(plain, wrench=own.wrench),
        scale**2,
        side,
        on_shape(reference, near) if paths else None,
        near_side,
    )
