"""Points of the unit cube for the cases of a grid: what two cases share has one random number in both."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from contactfe.bands.distributions import Distribution
from contactfe.bands.points import sobol_points
from contactfe.inputs import FIELDS
from contactfe.standards import PROFILES

Array = NDArray[np.float64]


@dataclass(frozen=True)
class GridPoints:
    """`n` points of a `seed` for every case of a grid in which the inputs `paths` may scatter.

    An input outside [wrench] is one column for all cases, so that wrenches are tried on the same fasteners under the
    same friction; so is the shank. Inputs of the wrench have columns of their own for each profile: wrenches of
    two profiles are two pieces. Which columns there are depends on `paths` alone, not on the cases, so that a grid may
    grow and every case keeps its points.
    """

    n: int
    seed: int
    paths: tuple[str, ...]

    @classmethod
    def of(cls, n: int, seed: int, paths: Iterable[str]) -> GridPoints:
        """For inputs in any order."""
        wanted = set(paths)
        return cls(n, seed, tuple(entry.path for entry in FIELDS if entry.path in wanted))

    def points(self, profile: str, inputs: Sequence[Distribution]) -> Array:
        """Points (n, d + 1) of a case: a column for each input, the last one for the shank.

        Raises:
            ContactFEError: a number of samples or a seed that makes no sense (see `sobol_points`).
        """
        common = [path for path in self.paths if not path.startswith("wrench.")]
        own = [path for path in self.paths if path.startswith("wrench.")]
        first = len(common) + 1 + PROFILES.index(profile) * len(own)
        at = {path: k for k, path in enumerate(common)} | {path: first + k for k, path in enumerate(own)}
        cube = _cube(self.n, len(common) + 1 + len(PROFILES) * len(own), self.seed)
        return np.ascontiguousarray(cube[:, [*(at[item.path] for item in inputs), len(common)]])


@lru_cache(maxsize=4)
def _cube(n: int, dimensions: int, seed: int) -> Array:
    return sobol_points(n, dimensions, seed)
