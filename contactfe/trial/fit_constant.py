"""Calibration of a study on readings: solves the responses, fits, and writes or reads the calibration file."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.inputs import MOST_SIGMA, CaseInput
from contactfe.trial.calibrate import Calibration, Response, calibrate, response
from contactfe.trial.compare import matched
from contactfe.trial.readings import Reading, Readings
from contactfe.trial.study import TrialStudy, with_measured
from contactfe.turn import build_pair, contact_law, slip_estimate, torque_curve

AROUND = {
    "contact.constraint_factor": (0.75, 0.87, 1.0, 1.15, 1.33),
    "contact.friction": (0.4, 0.65, 1.0, 1.5, 2.2),
}
"""Where responses are solved, over the value that the model has."""
CONSTANTS = {"factor": ("contact.constraint_factor",), "friction": ("contact.friction",),
             "both": ("contact.constraint_factor", "contact.friction")}  # fmt: skip


@dataclass(frozen=True, eq=False)
class CalibratedStudy:
    """A calibration, with the readings behind it (their file) and how many were left out as "at least"."""

    found: Calibration
    study: str
    source: str
    left_aside: int


def calibrate_study(
    study: TrialStudy, readings: Readings, which: str = "factor", watch: Callable[[str], None] | None = None
) -> CalibratedStudy:
    """Fit the factor, the friction or both to the readings that ended by slip, on the grip of every case.

    Raises:
        InputError: readings without a case.
        ContactFEError: the data cannot tell the constant (slug "not-told").
    """
    paths = CONSTANTS[which]
    groups = matched(study, readings)
    cells: dict[tuple[int, float | None], Response] = {}
    rows: list[tuple[float, tuple[int, float | None], int]] = []
    conditions = list(readings.conditions())
    for k, group in groups.items():
        for reading in group:
            if not reading.at_least:
                key = (k, reading.measured_yield_MPa)
                rows.append((reading.torque_Nm, key, conditions.index(reading.condition)))
                if key not in cells:
                    if watch is not None:
                        watch(f"{reading.design} on {reading.condition.words()}")
                    cells[key] = _response(with_measured(study.cases[k].case, reading), reading, paths)
    before = [_constant(study.cases[next(iter(groups))].case, path) for path in paths]
    order = list(cells)
    found = calibrate(
        [torque for torque, _, _ in rows], [order.index(key) for _, key, _ in rows], list(cells.values()), paths, before,
        [c for _, _, c in rows],
    )  # fmt: skip
    return CalibratedStudy(found, study.name, readings.source, sum(r.at_least for r in readings.readings))


def _response(case: CaseInput, reading: Reading, paths: Sequence[str]) -> Response:
    steps = [AROUND[path] if len(paths) == 1 else AROUND[path][::2] for path in paths]
    grids = [[s * _constant(case, path) for s in step] for path, step in zip(paths, steps, strict=True)]
    points = list(product(*grids))
    torque = []
    built = build_pair(case)
    for point in points:
        changed = _with(case, paths, point)
        own = replace(built, case=changed, law=contact_law(changed))  # the same bodies and gaps
        estimate = slip_estimate(own, torque_curve(own))
        if estimate.slip_torque_Nm is None:
            raise ContactFEError(
                f"not calibrated: {reading.design} turns freely by estimate on {reading.condition.words()}, but has readings",
                hint="check sizes and openings of the study",
                slug="not-told",
            )
        torque.append(estimate.slip_torque_Nm)
    return response(np.array(points), np.log(torque))


def _constant(case: CaseInput, path: str) -> float:
    return float(getattr(case.contact, path.partition(".")[2]))


def _with(case: CaseInput, paths: Sequence[str], values: Sequence[float]) -> CaseInput:
    change: dict[str, Any] = {
        path.partition(".")[2]: value for path, value in zip(paths, values, strict=True)
    }
    return replace(case, contact=replace(case.contact, **change))


def calibration_text(found: CalibratedStudy) -> str:
    """A calibration file, which a case names by calibration = "FILE"."""
    lines = [
        '# Written by contactfe compare --calibrate. A case takes it by: calibration = "this file"',
        "format = 1",
        f"study = {_quoted(found.study)}",
        f"readings = {_quoted(found.source)}",
        f"readings_used = {found.found.readings}",
        f"error_before_percent = {100 * found.found.error_before:.3f}",
        f"error_after_percent = {100 * found.found.error_after:.3f}",
        "# Standard deviation of ln(reading / estimate): bands take it for the model's own error.",
        f"model_sigma = {min(max(found.found.model_sigma, 1e-5), MOST_SIGMA):.5g}",
    ]
    for fit in found.found.fits:
        lines += [
            f'["{fit.path}"]',
            f"value = {fit.value:.5g}",
            f"low = {fit.low:.5g}",
            f"high = {fit.high:.5g}",
        ]
    text = "\n".join(lines) + "\n"
    tomllib.loads(text)  # what is written can be read
    return text


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "/").replace('"', "'") + '"'
