"""The [sample] table: inputs drawn by a Latin hypercube or a scrambled Sobol sequence from a stated seed."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc, truncnorm

from contactfe.errors import ContactFEError, Problem, nearest
from contactfe.inputs import Field, read_value
from contactfe.study.axes import Axis, known_path
from contactfe.units import KINDS, format_quantity

Array = NDArray[np.float64]

METHODS = ("latin-hypercube", "sobol")
SETTINGS = ("method", "n", "seed")
BOUND_KEYS = ("low", "high", "mean", "sd")
MOST_SAMPLES = 65_536
_INPUT_EXAMPLE = (
    "write { low = ..., high = ... } or { mean = ..., sd = ... }, bounds beside mean and sd cut the tails"
)


def read_samples(table: Any) -> tuple[Axis | None, list[Problem]]:
    """The points of a [sample] table as one axis of the study, None when something is wrong with it."""
    if not isinstance(table, Mapping):
        return None, [
            Problem("[sample]", "is not a table", "write [sample] on a line of its own, keys below it")
        ]
    method, n, seed, problems = _settings(table)
    inputs: list[tuple[Field, dict[str, float]]] = []
    for path, raw in table.items():
        if path in SETTINGS:
            continue
        field, bounds, bad = _input(path, raw)
        problems += bad
        if field is not None and not bad:
            inputs.append((field, bounds))
    if not inputs and not problems:
        problems.append(
            Problem("[sample]", "samples no input", '"contact.friction" = { low = 0.08, high = 0.20 }')
        )
    if problems:
        return None, problems
    unit = _unit_points(method, n, len(inputs), seed)
    columns = []
    for column, (field, bounds) in zip(unit.T, inputs, strict=True):
        values = _drawn(column, bounds)
        problems += _outside(field, values)
        columns.append([_written(float(v), field) for v in values])
    if problems:
        return None, problems
    return Axis(tuple(field.path for field, _ in inputs), tuple(zip(*columns, strict=True))), []


def _settings(table: Mapping[str, Any]) -> tuple[str, int, int, list[Problem]]:
    problems = []
    method = table.get("method")
    if method not in METHODS:
        told = "missing" if method is None else f"{method!r} is not known"
        problems.append(
            Problem(
                "[sample] method", told, nearest(str(method), METHODS) or f"write one of {', '.join(METHODS)}"
            )
        )
    n, seed = table.get("n"), table.get("seed")
    if isinstance(n, bool) or not isinstance(n, int) or not 1 <= n <= MOST_SAMPLES:
        problems.append(
            Problem(
                "[sample] n",
                "missing" if n is None else f"{n!r} is not a number of samples",
                f"write n = 64, at most {MOST_SAMPLES}",
            )
        )
    elif method == "sobol" and n & (n - 1):
        lower = 1 << (n.bit_length() - 1)
        problems.append(
            Problem(
                "[sample] n",
                f"{n} is not a power of two",
                f"a Sobol sequence is balanced at {lower} or {2 * lower}",
            )
        )
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        told = "missing" if seed is None else f"{seed!r} is not a whole number from 0 up"
        problems.append(Problem("[sample] seed", told, "write seed = 1, so that the same points come again"))
    return str(method), n or 0, seed or 0, problems


def _input(path: str, raw: Any) -> tuple[Field | None, dict[str, float], list[Problem]]:
    """The field of one sampled input and its bounds or moments in internal units."""
    where = f"[sample] {path}"
    if "." not in path:
        return (
            None,
            {},
            [
                Problem(
                    where,
                    "unknown key",
                    nearest(path, SETTINGS)
                    or f"known: {', '.join(SETTINGS)}, and inputs such as contact.friction",
                )
            ],
        )
    field, problems = known_path(path, where)
    if field is None:
        return None, {}, problems
    if field.kind not in KINDS and field.kind != "number":
        return (
            field,
            {},
            [
                Problem(
                    where,
                    "cannot be sampled",
                    "sample lengths, stresses, angles, shares or numbers; put words into [sweep]",
                )
            ],
        )
    if not isinstance(raw, Mapping):
        return field, {}, [Problem(where, "is not a distribution", _INPUT_EXAMPLE)]
    problems = [
        Problem(where, f"unknown key {key}", nearest(key, BOUND_KEYS) or _INPUT_EXAMPLE)
        for key in raw
        if key not in BOUND_KEYS
    ]
    free = Field(field.table, field.name, field.kind, field.doc, field.example, float("-inf"))
    bounds: dict[str, float] = {}
    for key in BOUND_KEYS:
        if key in raw:
            try:
                bounds[key] = float(read_value(free if key == "sd" else field, raw[key]))
            except ContactFEError as error:
                problems.append(Problem(f"{where}, {key}", error.message, error.hint))
    if not problems:
        problems = _sense(where, bounds)
    return field, bounds, problems


def _sense(where: str, b: Mapping[str, float]) -> list[Problem]:
    """What the bounds and moments mean together."""
    uniform, normal = {"low", "high"} <= set(b), {"mean", "sd"} <= set(b)
    if (not uniform and not normal) or ("mean" in b) != ("sd" in b):
        return [Problem(where, "has neither both bounds nor both mean and sd", _INPUT_EXAMPLE)]
    if normal and b["sd"] <= 0:
        return [Problem(where, "sd is not above 0", "to hold an input fixed, set it in [base]")]
    if "low" in b and "high" in b and not b["low"] < b["high"]:
        return [
            Problem(where, "low is not below high", "swap them; to hold an input fixed, set it in [base]")
        ]
    return []


def _unit_points(method: str, n: int, dimensions: int, seed: int) -> Array:
    """Points (n, d) of the unit cube, the same for the same seed."""
    kind = qmc.LatinHypercube if method == "latin-hypercube" else qmc.Sobol
    # The argument was renamed in scipy 1.15; a generator means the same under both names.
    name = "rng" if "rng" in inspect.signature(kind.__init__).parameters else "seed"
    engine = kind(dimensions, scramble=True, **{name: np.random.default_rng(seed)})
    return np.asarray(engine.random(n), dtype=float)


def _drawn(u: Array, b: Mapping[str, float]) -> Array:
    """Values of one input: uniform between its bounds, or normal, cut off at the bounds it has."""
    if "mean" not in b:
        return np.asarray(b["low"] + u * (b["high"] - b["low"]))
    if "low" not in b and "high" not in b:
        return np.asarray(norm.ppf(u, b["mean"], b["sd"]))
    low = (b.get("low", -np.inf) - b["mean"]) / b["sd"]
    high = (b.get("high", np.inf) - b["mean"]) / b["sd"]
    return np.asarray(truncnorm.ppf(u, low, high, b["mean"], b["sd"]))


def _outside(field: Field, values: Array) -> list[Problem]:
    bad = int(np.sum(~((values >= field.low) & (values <= field.high))))
    if not bad:
        return []
    reach = f"it reaches from {field.show(field.low)} to {field.show(field.high)}"
    return [
        Problem(
            f"[sample] {field.path}",
            f"{bad} of {len(values)} sampled values are out of range",
            f"{reach}; give low and high as well",
        )
    ]


def _written(value: float, field: Field) -> Any:
    if field.kind in KINDS:
        return format_quantity(value, field.kind)
    return float(f"{value:.12g}")
