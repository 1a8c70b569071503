"""Shares of samples as probabilities, with what the number of samples leaves open."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TWO_SIDED_95 = 1.959963984540054


@dataclass(frozen=True)
class Chance:
    """A probability: the share of `count` samples, and the interval in which it lies at 95 % confidence.

    The interval is Wilson's for independent draws (Wilson 1927, from memory); Sobol points do at least as well.
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
    return chance_of(float(np.mean(events)), len(events))


def chance_of(share: float, n: int) -> Chance:
    """The probability of an event that happened in a share of n samples; n is at least 1."""
    z = _TWO_SIDED_95
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return Chance(share, max(0.0, middle - half), min(1.0, middle + half), n)
