"""The one sampling scheme: scrambled Sobol sequences with a stated seed, and which inputs share a column."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from contactfe.errors import ContactFEError
from contactfe.inputs import FIELDS
from contactfe.standards import PROFILES
from contactfe.uncertainty.distributions import Distribution

Array = NDArray[np.float64]

METHODS = ("latin-hypercube", "sobol")
MOST_SAMPLES = 16384
PIECES = 2  # wrenches of one profile that may stand against each other
_EDGE = 1e-9  # keeps a normal distribution finite


def sobol_points(n: int, dimensions: int, seed: int) -> Array:
    """Points (n, dimensions) strictly inside the unit cube, the same to the bit for the same seed.

    A scrambled Sobol sequence (Owen's scrambling, as in scipy.stats.qmc). Raises ContactFEError (slug
    "samples") unless n is a power of two from 2 to 16384 and the seed is not negative.
    """
    if n & (n - 1) or not 2 <= n <= MOST_SAMPLES:
        lower = max(2, min(1 << (max(n, 1).bit_length() - 1), MOST_SAMPLES // 2))
        raise ContactFEError(
            f"{n} samples",
            hint=f"a Sobol sequence is balanced at powers of two: {lower} or {2 * lower}",
            slug="samples",
        )
    if seed < 0:
        raise ContactFEError(f"the seed is {seed}", hint="write a whole number from 0 up", slug="samples")
    return unit_points("sobol", n, dimensions, seed)


def unit_points(method: str, n: int, dimensions: int, seed: int) -> Array:
    """Points (n, dimensions) strictly inside the unit cube by one of `METHODS`, the same to the bit for the same seed.

    A Latin hypercube has one point in each of n equal strata of every input (McKay, Beckman and Conover 1979).
    """
    kind = qmc.LatinHypercube if method == "latin-hypercube" else qmc.Sobol
    # The argument was renamed in scipy 1.15; a generator means the same under both names.
    name = "rng" if "rng" in inspect.signature(kind.__init__).parameters else "seed"
    engine = kind(dimensions, scramble=True, **{name: np.random.default_rng(seed)})
    return np.asarray(np.clip(engine.random(n), _EDGE, 1.0 - _EDGE), dtype=float)


@dataclass(frozen=True)
class SamplingPlan:
    """`n` points of a `seed` for all cases that are looked at together, in which the inputs `paths` may scatter.

    An input outside [wrench] is one column for all cases, so that wrenches are tried on the same fasteners under the
    same friction; so is the strength of what is held. Inputs of the wrench have columns of their own for each profile:
    wrenches of two profiles are two pieces. So are two of one profile that stand against each other: the second is
    another `piece`. Which columns there are depends on `paths` alone, not on the cases: a study may grow and every
    case keeps its samples, and the same inputs with the same seed give the same samples in a band, in two bands
    against each other and in a study.
    """

    n: int
    seed: int
    paths: tuple[str, ...]

    @classmethod
    def of(cls, n: int, seed: int, paths: Iterable[str]) -> SamplingPlan:
        """For inputs in any order."""
        wanted = set(paths)
        return cls(n, seed, tuple(entry.path for entry in FIELDS if entry.path in wanted))

    def points(self, profile: str, inputs: Sequence[Distribution], piece: int = 0) -> Array:
        """Points (n, d + 1) of a case: a column for each input, the last one for the strength of what is held.

        Raises:
            ContactFEError: a number of samples or a seed that makes no sense (see `sobol_points`).
        """
        common = [path for path in self.paths if not path.startswith("wrench.")]
        own = [path for path in self.paths if path.startswith("wrench.")]
        kinds = len(PROFILES)
        first = len(common) + 1 + (piece * kinds + PROFILES.index(profile)) * len(own)
        at = {path: k for k, path in enumerate(common)} | {path: first + k for k, path in enumerate(own)}
        cube = _cube(self.n, len(common) + 1 + PIECES * kinds * len(own), self.seed)
        return np.ascontiguousarray(cube[:, [*(at[item.path] for item in inputs), len(common)]])


@lru_cache(maxsize=4)
def _cube(n: int, dimensions: int, seed: int) -> Array:
    return sobol_points(n, dimensions, seed)
