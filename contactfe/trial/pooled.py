"""Means of ln T of cells (condition by design) with ONE pooled scatter; readings that are only "at least" count by
their likelihood.

Intervals are by profile likelihood. The limit is n ln(1 + F(1, v)/v) with v = known readings less means, which gives
Student's interval exactly where nothing is "at least".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution
from scipy.stats import norm

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

GRID = 121  # scatters at which the likelihood is laid out
REACH = 6.0  # standard errors that a profile is followed to
ROUNDS = 400


@dataclass(frozen=True, eq=False)
class Cell:
    """Logarithms y (n,) of the torques of one condition and design, and which are only "at least" (n,)."""

    y: Array
    at_least: Flags

    @property
    def known(self) -> int:
        """How many readings ended by slip."""
        return int((~self.at_least).sum())


@dataclass(frozen=True, eq=False)
class Pooled:
    """``mu`` (k,) of the cells with a known reading, ``sigma`` their scatter corrected for the means that were fitted
    (nan where nothing was pulled twice), ``low`` and ``high`` (k,) the 95 % intervals (nan likewise), ``weight`` (k,)
    how many known readings a cell is worth, ``freedom`` v."""

    mu: Array
    sigma: float
    low: Array
    high: Array
    weight: Array
    freedom: int


def pooled_fit(cells: Sequence[Cell], confidence: float = 0.95) -> Pooled:
    """Fit the cells, each of which has a known reading."""
    n = sum(len(cell.y) for cell in cells)
    known = sum(cell.known for cell in cells)
    freedom = known - len(cells)
    start = np.array([cell.y[~cell.at_least].mean() for cell in cells])
    spread = math.sqrt(
        sum(float(((c.y - m)[~c.at_least] ** 2).sum()) for c, m in zip(cells, start, strict=True))
    )
    if freedom < 1 or spread <= 0.0:
        nothing = np.full(len(cells), math.nan)
        # Without a scatter a bound tells only that the mean lies above it.
        mu = np.array([max(float(m), float(c.y.max())) for c, m in zip(cells, start, strict=True)])
        return Pooled(mu, math.nan, nothing, nothing, np.array([float(c.known) for c in cells]), freedom)
    sigmas = spread / math.sqrt(known) * np.geomspace(0.3, 4.0, GRID)
    means = np.array([_means(cell, sigmas) for cell in cells])  # (k, grid)
    parts = np.array([_likelihood(cell, m, sigmas) for cell, m in zip(cells, means, strict=True)])
    total = parts.sum(axis=0)
    best = int(np.argmax(total))
    sigma, mu = float(sigmas[best]), means[:, best]
    weight = np.array([_information(cell, float(m), sigma) for cell, m in zip(cells, mu, strict=True)])
    limit = 0.5 * n * math.log1p(float(f_distribution.ppf(confidence, 1, freedom)) / freedom)
    ends = [
        _interval(
            cell,
            (float(mu[k]), sigma / math.sqrt(weight[k])),
            (sigmas, total - parts[k]),
            total[best] - limit,
        )
        for k, cell in enumerate(cells)
    ]
    low, high = np.array(ends).T
    return Pooled(mu, sigma * math.sqrt(known / freedom), low, high, weight, freedom)


def _means(cell: Cell, sigma: Array) -> Array:
    """The mean that is likeliest for every scatter (g,): what lies above a bound counts with its expected value."""
    mu = np.full(len(sigma), cell.y[~cell.at_least].mean())
    if not cell.at_least.any():
        return mu
    bounds, exact = cell.y[cell.at_least][:, None], cell.y[~cell.at_least].sum()
    for _ in range(ROUNDS):
        z = (bounds - mu) / sigma
        above = mu + sigma * np.exp(norm.logpdf(z) - norm.logsf(z))
        new = (exact + above.sum(axis=0)) / len(cell.y)
        if np.abs(new - mu).max() < 1e-12:
            break
        mu = new
    return mu


def _likelihood(cell: Cell, mu: Array, sigma: Array) -> Array:
    """Log-likelihood of a cell for means and scatters of one shape."""
    z = (cell.y.reshape(-1, *[1] * mu.ndim) - mu) / sigma
    flags = cell.at_least.reshape(-1, *[1] * mu.ndim)
    return np.asarray(np.where(flags, norm.logsf(z), norm.logpdf(z) - np.log(sigma)).sum(axis=0))


def _information(cell: Cell, mu: float, sigma: float) -> float:
    """Known readings that a cell is worth: the curvature of its likelihood times the square of the scatter."""
    z = (cell.y[cell.at_least] - mu) / sigma
    hazard = np.exp(norm.logpdf(z) - norm.logsf(z))
    return cell.known + float((hazard * (hazard - z)).sum())


def _interval(
    cell: Cell, at: tuple[float, float], others: tuple[Array, Array], limit: float
) -> tuple[float, float]:
    """Where the profile of a cell's mean, over the scatter, falls to a limit."""
    (mu, error), (sigmas, rest) = at, others
    ends = []
    for side in (-1.0, 1.0):
        reach = REACH
        while True:
            m = mu + side * error * np.linspace(0.0, reach, 481)
            profile = (_likelihood(cell, m[:, None] + 0.0 * sigmas, sigmas + 0.0 * m[:, None]) + rest).max(
                axis=1
            )
            below = np.flatnonzero(profile < limit)
            if len(below) or reach > 1e3:
                break
            reach *= 4.0
        if not len(below):
            ends.append(side * math.inf)
            continue
        i = int(below[0])
        share = (profile[i - 1] - limit) / (profile[i - 1] - profile[i]) if i else 0.0
        ends.append(float(m[max(i - 1, 0)] + share * (m[i] - m[max(i - 1, 0)])))
    return ends[0], ends[1]


def draws(fitted: Pooled, count: int, seed: int) -> Array:
    """Means (count, k) that might have come out of other specimens: a parametric bootstrap of scatter and means."""
    rng = np.random.default_rng(seed)
    scatter = fitted.sigma * np.sqrt(fitted.freedom / rng.chisquare(fitted.freedom, count))
    return np.asarray(
        fitted.mu + scatter[:, None] * rng.standard_normal((count, len(fitted.mu))) / np.sqrt(fitted.weight)
    )
