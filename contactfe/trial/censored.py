"""Distributions of torques of which some are only "at least": likelihood, restricted means.

A reading that ended by anything but slip enters the likelihood with the probability of lying above it. Lognormal is the
distribution of the scoreboard; Weibull stands beside it to say whether the choice matters.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.stats import norm

from contactfe.errors import ContactFEError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Family = Literal["lognormal", "weibull"]


@dataclass(frozen=True, eq=False)
class Fitted:
    """A distribution fitted by maximum likelihood: ``mu`` and ``sigma`` of ln T (of Weibull: location and scale of the
    smallest-extreme-value distribution of ln T), their covariance (2, 2), the log-likelihood of the readings."""

    family: Family
    mu: float
    sigma: float
    covariance: Array
    log_likelihood: float

    @property
    def aic(self) -> float:
        """Akaike's criterion of two parameters."""
        return 4.0 - 2.0 * self.log_likelihood

    @property
    def scale(self) -> float:
        """Median of a lognormal, characteristic value of a Weibull distribution."""
        return math.exp(self.mu)

    @property
    def shape(self) -> float:
        """Weibull's shape, 1/sigma."""
        return 1.0 / self.sigma


def log_likelihood(family: Family, mu: float, sigma: float, y: Array, at_least: Flags) -> float:
    """Of the logarithms y (n,), without the Jacobian of the torques."""
    z = (y - mu) / sigma
    if family == "lognormal":
        exact, above = norm.logpdf(z), norm.logsf(z)
    else:
        grown = np.exp(np.minimum(z, 700.0))
        exact, above = z - grown, -grown
    return float(np.where(at_least, above, exact - math.log(sigma)).sum())


def fit(value: Array, at_least: Flags, family: Family = "lognormal") -> Fitted:
    """Fit one sample: values (n,) > 0, and which of them are only "at least" (n,).

    Raises:
        ContactFEError: fewer than two different values are known, so that the scatter cannot be told (slug
            "no-scatter").
    """
    y, known = np.log(value), ~at_least
    if len(np.unique(value[known])) < 2:
        raise ContactFEError(
            "fewer than two different values are known: the scatter cannot be told",
            hint="pull more specimens, or pool with other conditions",
            slug="no-scatter",
        )
    start = np.array([float(y.mean()), math.log(max(float(y[known].std()), 1e-3))])

    def loss(p: Array) -> float:
        return -log_likelihood(family, p[0], math.exp(min(p[1], 50.0)), y, at_least)

    found = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )
    mu, sigma = float(found.x[0]), math.exp(float(found.x[1]))
    curved = _hessian(lambda p: -log_likelihood(family, p[0], p[1], y, at_least), np.array([mu, sigma]))
    covariance = np.asarray(np.linalg.inv(curved), dtype=float)
    covariance.setflags(write=False)
    total = -float(found.fun) - float(y[known].sum())
    return Fitted(family, mu, sigma, covariance, total)


def _hessian(f: Callable[[Array], float], at: Array) -> Array:
    """Second derivatives (n, n) by central differences."""
    n = len(at)
    step = 1e-4 * np.maximum(np.abs(at), 1.0) * np.minimum(1.0, np.abs(at[-1]) + 1e-3)
    found = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            a, b = np.zeros(n), np.zeros(n)
            a[i], b[j] = step[i], step[j]
            found[i, j] = (f(at + a + b) - f(at + a - b) - f(at - a + b) + f(at - a - b)) / (
                4 * step[i] * step[j]
            )
    return 0.5 * (found + found.T)


def restricted_mean(value: Array, at_least: Flags, limit: float) -> tuple[float, float]:
    """Mean of the values (n,) up to a limit without a distribution, and its standard error.

    Area under the product-limit estimate (Kaplan and Meier 1958); the variance is the sum of A^2 d / (r (r - d)) over the
    values, A the area beyond each, d how many there are and r how many are at least as large.
    """
    order = np.unique(value[~at_least & (value <= limit)])
    survive, at, area = 1.0, 0.0, 0.0
    steps: list[tuple[float, float]] = []  # area so far, d / (r (r - d))
    for x in order:
        area += survive * (float(x) - at)
        risk, gone = int((value >= x).sum()), int((value[~at_least] == x).sum())
        survive *= 1.0 - gone / risk
        at = float(x)
        steps.append((area, gone / (risk * (risk - gone)) if risk > gone else 0.0))
    area += survive * (limit - at)
    variance = sum((area - before) ** 2 * weight for before, weight in steps)
    return area, math.sqrt(variance)
