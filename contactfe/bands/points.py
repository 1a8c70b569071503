"""Points of the unit cube: scrambled Sobol sequences with a stated seed, and inputs that two cases share."""

from __future__ import annotations

import inspect
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from contactfe.bands.distributions import Distribution
from contactfe.errors import ContactFEError

Array = NDArray[np.float64]

MOST_SAMPLES = 16384
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
    # The argument was renamed in scipy 1.15; a generator means the same under both names.
    name = "rng" if "rng" in inspect.signature(qmc.Sobol.__init__).parameters else "seed"
    engine = qmc.Sobol(dimensions, scramble=True, **{name: np.random.default_rng(seed)})
    return np.asarray(np.clip(engine.random(n), _EDGE, 1.0 - _EDGE), dtype=float)


Inputs = Sequence[Distribution]


def joint_columns(
    pairs: Sequence[tuple[Inputs, Inputs]],
) -> tuple[list[tuple[list[int], list[int]]], int, set[str]]:
    """Columns of the unit cube for the inputs of pairs of cases, how many there are, and the shared inputs.

    An input that has the same distribution in both cases of every pair, outside [wrench], is one column: both
    wrenches are tried on the same fastener under the same friction. Each wrench is a piece of its own, so its inputs
    never are. From pair to pair an input keeps its column.
    """
    own = [({item.path: item for item in a}, {item.path: item for item in b}) for a, b in pairs]
    both = {path for a, b in own for path in a if path in b and not path.startswith("wrench.")}
    shared = {path for path in both if all(a.get(path) == b.get(path) for a, b in own)}
    numbers: dict[tuple[int, str], int] = {}
    columns = []
    for a, b in own:
        sides = []
        for side, items in ((0, a), (1, b)):
            keys = [(-1 if path in shared else side, path) for path in items]
            sides.append([numbers.setdefault(key, len(numbers)) for key in keys])
        columns.append((sides[0], sides[1]))
    return columns, len(numbers), shared
