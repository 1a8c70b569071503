"""Shares of samples as probabilities, with what the number of samples leaves open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest


@dataclass(frozen=True)
class Chance:
    """A probability: the share of `count` samples, and the interval in which it lies at 95 % confidence.

    The interval is Wilson's for independent draws, by scipy; Sobol points do at least as well.
    """

    share: float
    low: float
    high: float
    count: int

    def words(self) -> str:
        """Return it as "83 % (75 to 88 %)"."""
        return f"{100 * self.share:.0f} % ({100 * self.low:.0f} to {100 * self.high:.0f} %)"


def chance(events: NDArray[np.bool_]) -> Chance:
    """The probability of an event from whether it happened in each sample (n,); n is at least 1."""
    return _chance(int(np.sum(events)), len(events))


def chance_of(share: float, n: int) -> Chance:
    """The probability of an event that happened in a share of n samples; n is at least 1.

    A share that is no whole number of samples, being a mean of probabilities, has the interval of the nearest one.
    """
    return replace(_chance(round(share * n), n), share=share)


def _chance(happened: int, n: int) -> Chance:
    interval = binomtest(happened, n).proportion_ci(0.95, method="wilson")
    return Chance(happened / n, float(interval.low), float(interval.high), n)
