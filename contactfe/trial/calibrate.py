"""Fitting one constant of the model, the same for all profiles, to measured torques.

Least squares on ln T. The scatter of the residuals stands for the error of the model as well as that of the readings,
so the interval is the profile SSR(x)/SSR_min <= 1 + F(1, n - p)/(n - p). Two constants are fitted on request, and
refused when the data cannot tell them apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtri, stdtrit
from scipy.stats import f as f_distribution

from contactfe.errors import ContactFEError

Array = NDArray[np.float64]
Response = Callable[[Array], float]

RANGES: dict[str, tuple[float, float]] = {
    "contact.constraint_factor": (0.8, 2.0),
    "contact.friction": (0.03, 0.5),
}
"""What may be fitted, and between which values."""
LEAST_READINGS = 3  # beyond the number of constants
MOST_ALIKE = 0.95  # correlation of two constants that are still told apart
PROFILE = 241


@dataclass(frozen=True)
class Fit:
    """One fitted constant: dotted path, value, 95 % profile interval, value before."""

    path: str
    value: float
    low: float
    high: float
    before: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """What was fitted, to how many readings; root mean square errors of ln T before and after, each condition predicted
    from the others (`left_out`, None with one condition), and the profile of each constant as (value, SSR/SSR_min)."""

    fits: tuple[Fit, ...]
    readings: int
    error_before: float
    error_after: float
    left_out: float | None
    correlation: float | None
    singular_ratio: float | None
    profiles: tuple[Array, ...]
    notes: tuple[str, ...]

    @property
    def model_sigma(self) -> float:
        """Sigma of the model's own error that the readings leave, for bands of further pulls.

        The residuals' standard deviation on n - p degrees of freedom, widened so that the 10 and 90 % ends are those of
        Student's t; what is open in the constants themselves is in their intervals. The inputs of the bench scatter in
        it as well, so that a band that adds the scatter of its own inputs is on the wide side.
        """
        free = self.readings - len(self.fits)
        deviation = self.error_after * math.sqrt(self.readings / free)
        return deviation * float(stdtrit(free, 0.9) / ndtri(0.9))


def response(points: Array, ln_torque: Array) -> Response:
    """A smooth function through solved torques: points (m, p) of the constants, ln T (m,).

    One constant: the polynomial through all points, in the logarithm of the constant. Two: a full quadratic.
    """
    x = np.log(points)
    if points.shape[1] == 1:
        line = np.polynomial.Polynomial.fit(x[:, 0], ln_torque, len(x) - 1)
        return lambda at: float(line(math.log(at[0])))
    centre = x.mean(axis=0)

    def terms(u: Array) -> Array:
        a, b = u[..., 0], u[..., 1]
        return np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], axis=-1)

    weights = np.linalg.lstsq(terms(x - centre), ln_torque, rcond=None)[0]
    return lambda at: float(terms(np.log(at) - centre) @ weights)


def calibrate(
    measured: Sequence[float], cell: Sequence[int], responses: Sequence[Response], paths: Sequence[str],
    before: Sequence[float], conditions: Sequence[int],
) -> Calibration:  # fmt: skip
    """Fit the constants at `paths` to measured torques (n,) N m. `cell` (n,) names the response of each reading,
    `before` the values that the model had, `conditions` (n,) the condition of each.

    Raises:
        ContactFEError: the data cannot tell; the message says why (slug "not-told").
    """
    y, which = np.log(np.asarray(measured, float)), np.asarray(cell)
    n, p = len(y), len(paths)
    if n < p + LEAST_READINGS:
        raise _refused(
            f"{n} readings that ended by slip for {p} constants", f"at least {p + LEAST_READINGS} are needed"
        )

    def residuals(ln_x: Array, keep: NDArray[np.bool_] | None = None) -> Array:
        values = np.array([r(np.exp(ln_x)) for r in responses])
        left = values[which] - y
        return np.asarray(left if keep is None else left[keep])

    box = np.log([RANGES[path] for path in paths]).T
    start = np.clip(np.log(before), box[0] + 1e-6, box[1] - 1e-6)
    found = least_squares(residuals, start, bounds=(box[0], box[1]))
    least = max(float(found.fun @ found.fun), 1e-12)
    u, sizes, vt = np.linalg.svd(found.jac, full_matrices=False)
    del u
    ratio = float(sizes[-1] / sizes[0]) if p > 1 and sizes[0] > 0 else None
    correlation = _correlation(sizes, vt) if p > 1 else None
    limit = 1.0 + float(f_distribution.ppf(0.95, 1, n - p)) / (n - p)
    profiles, fits = [], []
    for k, path in enumerate(paths):
        profile = _profile(residuals, found.x, k, box, least)
        low, high = _inside(profile, limit, path, correlation, ratio)
        profiles.append(profile)
        fits.append(Fit(path, float(np.exp(found.x[k])), low, high, float(before[k])))
    if correlation is not None and abs(correlation) > MOST_ALIKE:
        raise _alike(correlation, ratio)
    left_out = _left_out(residuals, start, box, np.asarray(conditions))
    notes = []
    if left_out is not None and left_out > _rms(residuals(np.log(np.asarray(before, float)))):
        notes.append(
            "conditions that were left out are predicted worse than before: the constant does not carry over"
        )
    return Calibration(
        tuple(fits), n, _rms(residuals(np.log(np.asarray(before, float)))), _rms(found.fun), left_out, correlation,
        ratio, tuple(profiles), tuple(notes),
    )  # fmt: skip


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _correlation(sizes: Array, vt: Array) -> float:
    """Of the two constants, from the singular values of the Jacobian."""
    covariance = vt.T @ np.diag(1.0 / np.maximum(sizes, 1e-12) ** 2) @ vt
    return float(covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1]))


def _profile(residuals: Callable[..., Array], best: Array, k: int, box: Array, least: float) -> Array:
    """SSR over its least value (m, 2) along constant k, the other one fitted anew at every value."""
    rows = []
    for ln_value in np.linspace(box[0, k], box[1, k], PROFILE):
        if len(best) == 1:
            left = residuals(np.array([ln_value]))
        else:
            other = 1 - k

            def of_other(v: Array, held: float = float(ln_value), at: int = other) -> Array:
                x = np.empty(2)
                x[at], x[1 - at] = v[0], held
                return residuals(x)

            left = least_squares(of_other, best[[other]], bounds=(box[0, [other]], box[1, [other]])).fun
        rows.append((math.exp(ln_value), float(left @ left) / least))
    found = np.array(rows)
    found.setflags(write=False)
    return found


def _inside(
    profile: Array, limit: float, path: str, correlation: float | None, ratio: float | None
) -> tuple[float, float]:
    """Ends of the interval, interpolated on the profile.

    Raises:
        ContactFEError: it does not close inside the range of the constant.
    """
    x, s = profile[:, 0], profile[:, 1]
    within = np.flatnonzero(s <= limit)
    if not len(within):  # narrower than the steps of the profile
        within = np.array([int(np.argmin(s))])
    first, last = int(within[0]), int(within[-1])
    if first == 0 or last == len(x) - 1:
        if correlation is not None:
            raise _alike(correlation, ratio)
        side = "below" if first == 0 else "above"
        low, high = RANGES[path]
        raise _refused(
            f"the interval of {path} does not close {side}, between {low:g} and {high:g}",
            "more readings, or conditions in which this constant matters more, are needed",
        )
    ends = []
    for inner, outer in ((first, first - 1), (last, last + 1)):
        share = (limit - s[inner]) / (s[outer] - s[inner]) if s[inner] <= limit < s[outer] else 1.0
        ends.append(float(x[inner] + share * (x[outer] - x[inner])))
    return ends[0], ends[1]


def _left_out(residuals: Callable[..., Array], start: Array, box: Array, conditions: Array) -> float | None:
    """Root mean square error of conditions that are predicted with what the others give."""
    names = np.unique(conditions)
    if len(names) < 2:
        return None
    errors = []
    for name in names:
        rest = conditions != name
        if rest.sum() <= len(start):
            return None
        own = least_squares(residuals, start, bounds=(box[0], box[1]), kwargs={"keep": rest})
        errors.append(residuals(own.x, ~rest))
    return _rms(np.concatenate(errors))


def _alike(correlation: float, ratio: float | None) -> ContactFEError:
    return _refused(
        f"the two constants cannot be told apart: correlation {correlation:.3f}, singular values {ratio or 0.0:.3g} to 1",
        "fit one of them, and hold the other at what was measured",
    )


def _refused(message: str, hint: str) -> ContactFEError:
    return ContactFEError(f"not calibrated: {message}", hint=hint, slug="not-told")
