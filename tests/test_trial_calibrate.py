"""Calibration: known constants come back inside their own interval; what the data cannot tell is refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from contactfe.errors import ContactFEError
from contactfe.trial.calibrate import Response, calibrate, response

FACTOR, FRICTION = "contact.constraint_factor", "contact.friction"
GRID = np.geomspace(0.8, 2.0, 5)
# Torque grows with the factor to these powers (six-point, twelve-point ring, open end, flare-nut on M10 8.8; the
# model's own, in DEVELOPERS.md); friction adds its share in a like way.
POWERS = (0.91, 0.82, 0.71, 0.54)


def truth(power: float, level: float) -> Callable[[float], float]:
    return lambda c: level * (c / 1.155) ** power


def surrogates() -> list[Response]:
    """Responses of four cells, each from five solves of the "model"."""
    found = []
    for power, level in zip(POWERS, (150.0, 110.0, 80.0, 60.0), strict=True):
        own = truth(power, level)
        found.append(response(GRID[:, None], np.log([own(c) for c in GRID])))
    return found


def synthetic(seed: int, factor: float, each: int = 3) -> tuple[list[float], list[int]]:
    """Readings with a scatter of 5 %."""
    rng = np.random.default_rng(seed)
    torque, cell = [], []
    for k, (power, level) in enumerate(zip(POWERS, (150.0, 110.0, 80.0, 60.0), strict=True)):
        for _ in range(each):
            torque.append(truth(power, level)(factor) * math.exp(rng.normal(0.0, 0.05)))
            cell.append(k)
    return torque, cell


def test_a_known_factor_comes_back_inside_its_interval() -> None:
    models = surrogates()
    inside = 0
    for seed in range(100):
        factor = float(np.random.default_rng(1000 + seed).uniform(1.0, 1.5))
        torque, cell = synthetic(seed, factor)
        found = calibrate(torque, cell, models, [FACTOR], [1.155], cell)
        fit = found.fits[0]
        assert fit.low < fit.value < fit.high
        inside += fit.low <= factor <= fit.high
    assert 90 <= inside <= 99  # an interval that always held it would be too wide


def test_the_interval_is_that_of_a_straight_line() -> None:
    """All powers 1: ln T = ln level + ln(c/1.155), so ln c is the mean of the residuals, with Student's interval."""
    from scipy.stats import t as student

    models = [response(GRID[:, None], np.log(100.0 * GRID / 1.155))]
    rng = np.random.default_rng(7)
    torque = 100.0 * 1.3 / 1.155 * np.exp(rng.normal(0, 0.05, 8))
    fit = calibrate(torque.tolist(), [0] * 8, models, [FACTOR], [1.155], [0] * 8).fits[0]
    own = np.log(torque / 100.0 * 1.155)
    reach = student.ppf(0.975, 7) * own.std(ddof=1) / math.sqrt(8)
    assert math.log(fit.value) == pytest.approx(own.mean(), abs=1e-5)
    assert (math.log(fit.low), math.log(fit.high)) == pytest.approx(
        (own.mean() - reach, own.mean() + reach), abs=5e-4
    )


def both(collinear: bool) -> list[Response]:
    points = np.array([(c, f) for c in (0.8, 1.2, 2.0) for f in (0.03, 0.12, 0.5)])
    found = []
    for power, level in zip(POWERS, (150.0, 110.0, 80.0, 60.0), strict=True):
        other = 0.5 * power if collinear else 0.6 - 0.5 * power
        found.append(
            response(
                points,
                np.log(level) + power * np.log(points[:, 0] / 1.155) + other * np.log(points[:, 1] / 0.15),
            )
        )
    return found


def test_two_collinear_constants_are_refused_with_the_reason() -> None:
    torque, cell = synthetic(1, 1.2, each=2)
    with pytest.raises(ContactFEError, match="cannot be told apart: correlation") as caught:
        calibrate(torque, cell, both(True), [FACTOR, FRICTION], [1.155, 0.15], cell)
    assert caught.value.slug == "not-told"


def test_two_constants_that_data_can_tell_are_fitted() -> None:
    """Powers that differ between designs, and little scatter: both come back."""
    models, torque, cell = both(False), [], []
    rng = np.random.default_rng(2)
    for k in range(4):
        for _ in range(6):
            torque.append(math.exp(models[k](np.array([1.3, 0.12]))) * math.exp(rng.normal(0, 0.005)))
            cell.append(k)
    found = calibrate(torque, cell, models, [FACTOR, FRICTION], [1.155, 0.15], cell)
    assert [round(fit.value, 2) for fit in found.fits] == pytest.approx([1.3, 0.12], abs=0.02)
    assert abs(found.correlation or 1.0) < 0.95


def test_few_readings_and_flat_responses_are_refused() -> None:
    models = surrogates()
    with pytest.raises(ContactFEError, match="3 readings that ended by slip for 1 constants"):
        calibrate([150.0, 110.0, 80.0], [0, 1, 2], models, [FACTOR], [1.155], [0, 1, 2])
    flat = [response(GRID[:, None], np.log(100.0 + 0.1 * GRID))]
    with pytest.raises(ContactFEError, match="does not close"):
        calibrate([90.0, 100.0, 110.0, 105.0], [0] * 4, flat, [FACTOR], [1.155], [0] * 4)


def test_errors_fall_and_conditions_left_out_are_predicted() -> None:
    after = []
    for seed in range(20):
        torque, cell = synthetic(seed, 1.45)
        found = calibrate(torque, cell, surrogates(), [FACTOR], [1.155], cell)
        after.append(found.error_after**2)
        assert found.error_after < found.error_before
        assert found.left_out is not None and found.left_out < found.error_before
        assert found.notes == ()
    # scatter 5 %, twelve readings, one constant: the mean square is 0.05^2 x 11/12, known to 15 % from twenty draws
    assert np.mean(after) == pytest.approx(0.05**2 * 11 / 12, rel=0.3)
