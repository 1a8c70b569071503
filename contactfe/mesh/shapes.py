"""Shape functions of six-node triangles and of their three-node sides, and their derivatives: once for all packages."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Reference coordinates of the six nodes: corners, then the middles of sides 01, 12, 20.
NODES = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.5, 0.0], [0.5, 0.5], [0.0, 0.5]])


def shapes(local: Array) -> Array:
    """The six shape functions at reference coordinates (k, 2), as (k, 6)."""
    r, s = local.T
    q = 1.0 - r - s
    return np.column_stack(
        [q * (2 * q - 1), r * (2 * r - 1), s * (2 * s - 1), 4 * q * r, 4 * r * s, 4 * s * q]
    )


def slopes(local: Array) -> Array:
    """Their derivatives along both reference coordinates, (2, k, 6)."""
    r, s = local.T
    q, o = 1.0 - r - s, np.zeros(len(local))
    along_r = np.column_stack([1 - 4 * q, 4 * r - 1, o, 4 * (q - r), 4 * s, -4 * s])
    along_s = np.column_stack([1 - 4 * q, o, 4 * s - 1, -4 * r, 4 * r, 4 * (q - s)])
    return np.stack([along_r, along_s])


def side_shapes(s: Array) -> Array:
    """The three shape functions (start, middle, end) at fractions (q,) along a side, as (q, 3)."""
    return np.column_stack([(1 - s) * (1 - 2 * s), 4 * s * (1 - s), s * (2 * s - 1)])


def side_slopes(s: Array) -> Array:
    """Their derivatives along the fraction, (q, 3)."""
    return np.column_stack([4 * s - 3, 4 - 8 * s, 4 * s - 1])
