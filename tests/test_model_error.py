"""The model's own error: its size by rule, and bands that hold as many readings as they say, on data with a known error."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import lognorm

from contactfe.errors import ContactFEError
from contactfe.uncertainty.model_error import (
    CONTRIBUTIONS,
    DEFAULT_SIGMA,
    ModelError,
    calibrated,
    combined_quantiles,
    default_error,
    default_sigma,
    probability_below,
)
from contactfe.uncertainty.sensitivity import _factors

KNOWN, BIAS, INPUTS = (
    0.14,
    0.9,
    0.08,
)  # sigma and bias of the model, scatter of the inputs, of the synthetic bench


def bench(rng: np.random.Generator, pulls: int) -> tuple[np.ndarray, np.ndarray]:
    """Samples (pulls, 64) of the estimate of each pull over its inputs, and its reading."""
    nominal = np.exp(rng.uniform(math.log(20.0), math.log(400.0), pulls))
    samples = nominal[:, None] * np.exp(INPUTS * rng.standard_normal((pulls, 64)))
    readings = (
        nominal
        * np.exp(INPUTS * rng.standard_normal(pulls))
        * BIAS
        * np.exp(KNOWN * rng.standard_normal(pulls))
    )
    return samples, readings


def held(samples: np.ndarray, readings: np.ndarray, error: ModelError) -> int:
    bands = [error.quantiles(row, (0.1, 0.9)) for row in samples]
    return sum(low <= r <= high for (low, high), r in zip(bands, readings, strict=True))


def calibration(rng: np.random.Generator, pulls: int) -> ModelError:
    samples, readings = bench(rng, pulls)
    return calibrated(np.median(samples, axis=1), readings, np.log(samples).std(axis=1))


def test_calibrated_bands_hold_eighty_of_a_hundred_readings() -> None:
    rng = np.random.default_rng(20)
    error = calibration(rng, 40)
    assert error.sigma == pytest.approx(KNOWN, rel=0.25)
    assert error.factor == pytest.approx(BIAS, rel=0.06)
    samples, readings = bench(rng, 100)
    assert 75 <= held(samples, readings, error) <= 85
    # Without the model error the same bands hold far too few: this check can fail.
    assert held(samples, readings, ModelError(1.0, 0.0, "none")) < 60


@pytest.mark.parametrize("pulls", [5, 12, 40])
def test_over_many_benches_the_share_is_eighty_per_cent(pulls: int) -> None:
    """Small calibrations too: Student's t widens them."""
    counts = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        error = calibration(rng, pulls)
        counts.append(held(*bench(rng, 50), error) * 2)
    assert 77 <= np.mean(counts) <= 83


def test_one_sample_gives_the_quantiles_of_a_lognormal() -> None:
    """scipy's lognormal."""
    found = combined_quantiles([50.0], 0.12, (0.1, 0.5, 0.9))
    np.testing.assert_allclose(found, lognorm(0.12, scale=50.0).ppf([0.1, 0.5, 0.9]), rtol=1e-9)
    assert probability_below([50.0], 0.12, 45.0) == pytest.approx(
        lognorm(0.12, scale=50.0).cdf(45.0), rel=1e-12
    )


def test_lognormal_inputs_and_error_add_up_as_squares() -> None:
    samples = lognorm(0.09, scale=80.0).ppf((np.arange(512) + 0.5) / 512)
    found = combined_quantiles(samples, 0.12, (0.1, 0.5, 0.9))
    np.testing.assert_allclose(found, lognorm(0.15, scale=80.0).ppf([0.1, 0.5, 0.9]), rtol=1e-3)
    assert ModelError(1.0, 0.12, "").share(samples) == pytest.approx(0.64, abs=0.005)


def test_no_model_error_leaves_the_samples_and_no_grip_stays_no_grip() -> None:
    samples = [0.0, 0.0, 40.0, 50.0, 60.0]
    assert combined_quantiles(samples, 0.0, (0.5,)) == (40.0,)
    low, middle = combined_quantiles(samples, 0.1, (0.3, 0.9))
    assert low == 0.0 and 50.0 < middle < 75.0
    assert probability_below(samples, 0.1, 1.0) == pytest.approx(0.4)
    assert combined_quantiles(samples, 0.1) == combined_quantiles(samples[::-1], 0.1)


def test_the_default_follows_from_its_contributions() -> None:
    squares = sum(c.half_width**2 / 3.0 for c in CONTRIBUTIONS if "grip" in c.modes)
    assert pytest.approx(math.sqrt(squares)) == DEFAULT_SIGMA
    assert default_sigma(cap_scatters=True) < default_sigma()
    assert default_error("bolt").sigma < default_error("wrench").sigma < default_error("grip").sigma
    assert all(c.reason for c in CONTRIBUTIONS)


@pytest.mark.parametrize(
    ("estimates", "readings"),
    [([1.0, 2.0], [1.0, 2.0]), ([1.0, 2.0, 3.0], [1.0, 0.0, 2.0]), ([1.0] * 3, [1.0] * 4)],
)
def test_a_calibration_that_cannot_be_made_says_so(estimates: list[float], readings: list[float]) -> None:
    with pytest.raises(ContactFEError):
        calibrated(estimates, readings)
    with pytest.raises(ContactFEError):
        combined_quantiles([], 0.1)


def test_values_of_the_models_factor_are_those_of_its_lognormal_distribution() -> None:
    """Median 1, ln symmetric about 0, the standard deviation of ln that of the distribution, within what so few values allow."""
    values = np.log(_factors(np.full(8, 0.12)))
    assert values == pytest.approx(-values[::-1], abs=1e-12)
    assert values.std() == pytest.approx(0.12, rel=0.06) and (np.diff(values) > 0).all()
    assert _factors(np.zeros(4)) == pytest.approx([1.0])


def test_quantiles_without_shares_are_those_of_the_band() -> None:
    """A lognormal torque: 10, 50 and 90 % are exp(-1.2816 s), 1 and exp(1.2816 s) times its median (normal quantiles)."""
    low, middle, high = ModelError(1.1, 0.1, "by hand").quantiles([100.0])
    assert middle == pytest.approx(110.0, rel=1e-6)
    assert (low, high) == pytest.approx((110.0 * math.exp(-0.128155), 110.0 * math.exp(0.128155)), rel=1e-4)
