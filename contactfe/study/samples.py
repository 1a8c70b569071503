"""The [sample] table: inputs drawn by a Latin hypercube or a scrambled Sobol sequence from a stated seed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import Problem, nearest
from contactfe.inputs import Field
from contactfe.study.axes import Axis, known_path
from contactfe.uncertainty import (
    METHODS,
    Distribution,
    distribution_numbers,
    may_scatter,
    unit_points,
    written,
)

Array = NDArray[np.float64]

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
    inputs: list[Distribution] = []
    for path, raw in table.items():
        if path not in SETTINGS:
            found, bad = _input(path, raw)
            problems += bad
            inputs += [found] if found is not None else []
    if not inputs and not problems:
        problems.append(
            Problem("[sample]", "samples no input", '"contact.friction" = { low = 0.08, high = 0.20 }')
        )
    if problems:
        return None, problems
    unit = unit_points(method, n, len(inputs), seed)
    columns = []
    for column, item in zip(unit.T, inputs, strict=True):
        values = item.at(column)
        problems += _outside(item.field, values)
        columns.append([written(item.field, float(v)) for v in values])
    if problems:
        return None, problems
    return Axis(tuple(item.path for item in inputs), tuple(zip(*columns, strict=True)), sampled=True), []


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


def _input(path: str, raw: Any) -> tuple[Distribution | None, list[Problem]]:
    """One sampled input, None when something is wrong with it."""
    where = f"[sample] {path}"
    if "." not in path:
        hint = nearest(path, SETTINGS) or f"known: {', '.join(SETTINGS)}, and inputs such as contact.friction"
        return None, [Problem(where, "unknown key", hint)]
    field, problems = known_path(path, where)
    if field is None:
        return None, problems
    if not may_scatter(field):
        hint = "sample lengths, stresses, angles, shares or numbers; put words into [sweep]"
        return None, [Problem(where, "cannot be sampled", hint)]
    if not isinstance(raw, Mapping):
        return None, [Problem(where, "is not a distribution", _INPUT_EXAMPLE)]
    problems = [
        Problem(where, f"unknown key {key}", nearest(key, BOUND_KEYS) or _INPUT_EXAMPLE)
        for key in raw
        if key not in BOUND_KEYS
    ]
    if problems:
        return None, problems
    numbers, problems = distribution_numbers(field, raw, where)
    problems = problems or [
        Problem(f"{where}, {key}", f'"{value}" is a word', "write the value itself")
        for key, value in numbers.items()
        if isinstance(value, str)
    ]
    if problems:
        return None, problems
    low, high = numbers.get("low", -math.inf), numbers.get("high", math.inf)
    mean = numbers.get("mean")
    nominal = 0.5 * (low + high) if mean is None else mean
    return Distribution(path, nominal, low, high, mean, numbers.get("sd")), []


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
