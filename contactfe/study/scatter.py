"""Distributions in a study: the [band] table, and what has to be solved for the band of one case."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError, Problem, nearest
from contactfe.inputs import TABLES, CaseInput, field_of
from contactfe.study.axes import Axis
from contactfe.turn import Side, digest
from contactfe.uncertainty import (
    BY_RULE,
    SamplingPlan,
    UncertainCase,
    in_order,
    may_scatter,
    model_sigma,
    plan_jobs,
    scattered_by_rule,
    sobol_points,
    solved_first,
)
from contactfe.units import parse_quantity

SAMPLES, SEED = 64, 1
KEYS = ("samples", "seed", "below")
MOST_CURVES = 100_000
_EXAMPLE = {"samples": "samples = 64", "seed": "seed = 1", "below": 'below = "60 N*m"'}


@dataclass(frozen=True)
class BandSettings:
    """How the cases of a study scatter: the points of all of them, whether by rule because the file holds no
    distribution, and the torque N m that the odds of ending below it are asked for."""

    grid: SamplingPlan
    by_rule: bool
    below_Nm: float | None = None

    def told(self) -> dict[str, Any]:
        """As plain values for files and pages."""
        found: dict[str, Any] = {"samples": self.grid.n, "seed": self.grid.seed, "by_rule": self.by_rule}
        return found if self.below_Nm is None else found | {"target_torque_Nm": self.below_Nm}

    def words(self) -> str:
        """The same in words."""
        source = "by rule, for the file names no distribution" if self.by_rule else "as the file says"
        target = "" if self.below_Nm is None else f"; odds of ending below {self.below_Nm:.4g} N m"
        return f"{self.grid.n} samples of every case, seed {self.grid.seed}; what scatters, {source}{target}"


@dataclass(frozen=True, eq=False)
class CaseBand:
    """The band of one case: what scatters, at which points (n, d + 1) of which seed, the last column for the strength of
    what is held.

    `shapes` are the bodies that its `curves` are solved on, in the order in which they are met, each with the number
    of curves on it.
    """

    uncertain: UncertainCase
    by_rule: bool
    points: NDArray[np.float64]
    seed: int
    shapes: tuple[tuple[Side, CaseInput, int], ...]
    curves: int

    def key(self) -> str:
        """Hash of everything that the samples are made from beyond the plain case."""
        tables = {name: self.uncertain.base[name] for name in TABLES if name in self.uncertain.base}
        inputs = [asdict(item) | {"source": ""} for item in self.uncertain.inputs]
        model = asdict(model_sigma(self.uncertain)) | {"source": ""}
        return digest([tables, inputs, self.seed, self.points.tolist(), model])


def scattering(base: Mapping[str, Any], axes: Sequence[Axis]) -> set[str]:
    """Dotted paths of the inputs that are distributions, in the base (unless they are varied) or on an axis."""
    varied = {path for axis in axes for path in axis.paths}
    found = {
        path
        for axis in axes
        for point in axis.points
        for path, value in zip(axis.paths, point, strict=True)
        if isinstance(value, Mapping)
    }
    for table, part in base.items():
        for key, value in part.items() if isinstance(part, Mapping) else ():
            path = f"{table}.{key}"
            field = field_of(path)
            if field is not None and path not in varied and may_scatter(field) and isinstance(value, Mapping):
                found.add(path)
    return found


def read_band(table: Any, paths: set[str]) -> tuple[BandSettings | None, list[Problem]]:
    """The settings of a [band] table (None: there is none) for the inputs that scatter, and its problems.

    A study with distributions has a band without being asked; one that asks for a band without any lets scatter
    what standards and stated judgements say. None where neither is.
    """
    if table is None and not paths:
        return None, []
    table = {} if table is None else table
    if not isinstance(table, Mapping):
        return None, [Problem("[band]", "is not a table", "write [band] on a line of its own, keys below it")]
    problems = [
        Problem(f"[band] {key}", "unknown key", nearest(str(key), KEYS) or f"known: {', '.join(KEYS)}")
        for key in table
        if key not in KEYS
    ]
    n, seed = (_whole(table, key, usual, problems) for key, usual in (("samples", SAMPLES), ("seed", SEED)))
    below = None
    if "below" in table:
        try:
            below = parse_quantity(table["below"], "torque") / 1e3
        except ContactFEError as error:
            problems.append(Problem("[band] below", error.message, error.hint))
    for key, points in (("samples", (n, 1, SEED)), ("seed", (SAMPLES, 1, seed))):
        try:
            sobol_points(*points)
        except ContactFEError as error:
            problems.append(Problem(f"[band] {key}", error.message, error.hint))
    if problems:
        return None, problems
    return BandSettings(SamplingPlan.of(n, seed, paths or BY_RULE), not paths, below), []


def _whole(table: Mapping[str, Any], key: str, usual: int, problems: list[Problem]) -> int:
    value = table.get(key, usual)
    if isinstance(value, bool) or not isinstance(value, int):
        problems.append(
            Problem(f"[band] {key}", f"{value!r} is not a whole number", f"write {_EXAMPLE[key]}")
        )
        return usual
    return value


def case_band(settings: BandSettings, uncertain: UncertainCase) -> CaseBand | None:
    """The band of a case; None where nothing scatters in it.

    Raises:
        InputError: samples that do not make a case.
    """
    if settings.by_rule:
        uncertain = scattered_by_rule(uncertain)
    if not uncertain.inputs:
        return None
    points = settings.grid.points(uncertain.case.wrench.profile, uncertain.inputs)
    plan = plan_jobs(uncertain, uncertain.inputs, points[:, :-1])
    jobs = in_order(plan.jobs)
    uses: Counter[tuple[Side, CaseInput]] = Counter()
    for job in jobs:
        uses["fastener", job.fastener] += 1
        uses[job.side, job.wrench] += 1
    shapes = tuple((side, shape, count) for (side, shape), count in uses.items())
    curves = len(in_order([plan.jobs[k] for k in solved_first(plan, points[:, :-1])]))
    return CaseBand(uncertain, settings.by_rule, points, settings.grid.seed, shapes, curves)


def told_distribution(raw: Mapping[str, Any]) -> str:
    """A distribution as it stands in tables: "0.1 to 0.2", "mean 720 MPa, sd 35 MPa", "standard limits"."""
    parts = []
    if "limits" in raw:
        parts.append(f"{raw['limits']} limits")
    if "mean" in raw:
        parts.append(f"mean {raw['mean']}, sd {raw.get('sd')}")
    if "low" in raw and "high" in raw:
        parts.append(f"{raw['low']} to {raw['high']}")
    parts += [
        f"{key} {raw[key]}" for key in ("low", "high") if key in raw and not {"low", "high"} <= set(raw)
    ]
    parts += [f"{key} {raw[key]}" for key in ("class", "nominal") if key in raw]
    return ", ".join(parts)
