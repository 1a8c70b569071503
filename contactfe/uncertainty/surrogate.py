"""A polynomial in the shares of the inputs, fitted to the samples of a band, with its leave-one-out error."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr

Array = NDArray[np.float64]

PER_TERM = 1.5  # samples that a term of the polynomial asks for


@dataclass(frozen=True, eq=False)
class Surrogate:
    """Polynomial of degree 1 or 2 (0: no more than the mean). `error` is the root mean square of the leave-one-out
    errors (in the unit of the answers) and `explained` the share of the variance that it predicts so."""

    degree: int
    coefficients: Array
    error: float
    explained: float

    def __call__(self, u: Array) -> Array:
        """Answers (n,) at shares u (n, d)."""
        return np.asarray(terms_of(u, self.degree) @ self.coefficients)


def fit(u: Array, y: Array) -> Surrogate:
    """Fit answers y (n,) at shares u (n, d) by least squares, of the degree with the least leave-one-out error.

    The leave-one-out errors are exact: residual over one minus leverage (Allen's PRESS, 1974, from memory).
    """
    best = _fitted(u, y, 0)
    for degree in (1, 2):
        if PER_TERM * terms_of(u[:1], degree).shape[1] <= len(y):
            other = _fitted(u, y, degree)
            best = other if other.error < best.error and best.explained < 1.0 else best
    return best


def _fitted(u: Array, y: Array, degree: int) -> Surrogate:
    q, r = np.linalg.qr(terms_of(u, degree))
    found = q.T @ y
    errors = (y - q @ found) / (1.0 - np.einsum("ij,ij->i", q, q))
    scatter = float(np.sum((y - y.mean()) ** 2))
    still = scatter <= len(y) * (1e-12 * np.abs(y).max(initial=0.0)) ** 2
    explained = 1.0 if still else 1.0 - float(errors @ errors) / scatter
    return Surrogate(
        degree, np.linalg.solve(r, found), float(np.sqrt(np.mean(errors**2))), max(0.0, explained)
    )


def telling(u: Array, count: int, degree: int = 2) -> NDArray[np.int64]:
    """Which (count,) of the shares u (n, d) tell a polynomial best, in order: so far apart that the others lie between.

    First as many as it has terms, by a pivoted factorisation; then, one by one, those where it is known least.
    """
    rows = terms_of(u, degree)
    chosen = qr(rows.T, mode="r", pivoting=True)[1][: rows.shape[1]].tolist()
    while len(chosen) < count:
        factor = np.asarray(np.linalg.qr(rows[chosen], mode="r"))
        unknown = np.linalg.norm(np.linalg.solve(factor.T, rows.T), axis=0)
        unknown[chosen] = 0.0
        chosen.append(int(np.argmax(unknown)))
    return np.sort(np.array(chosen[:count], dtype=np.int64))


def terms_of(u: Array, degree: int) -> Array:
    """Products of up to `degree` of the inputs, each from -1 to 1, as columns (n, k)."""
    x = 2.0 * np.asarray(u, dtype=float) - 1.0
    columns = [np.ones(len(x))]
    for k in range(1, degree + 1):
        columns += [
            np.prod(x[:, list(which)], axis=1)
            for which in combinations_with_replacement(range(x.shape[1]), k)
        ]
    return np.column_stack(columns)
