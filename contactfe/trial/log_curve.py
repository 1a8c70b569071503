"""From the samples of a log to a smooth curve of torque against rotation, which is then read as the model's curve is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.linalg import cholesky, eigh, solve_triangular
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

Array = NDArray[np.float64]

FALL = 0.965  # of the peak: where the rise has ended, as the model's march ends
IDLE = 0.03  # of the peak: what counts as nothing yet
MOST_DRIFT = 0.015  # of the peak: more that is left after the pull is a torque, not a drift of the sensor
BINS = 240
KNOTS = 40  # stretches of the spline behind it
POINTS = 400  # of the smooth curve
TOE = 0.3  # of the peak: how far up the start of the rise is looked for


@dataclass(frozen=True, eq=False)
class LogCurve:
    """Torque (n,) N m against rotation (n,) deg, s or samples, from first touch to just past the peak; the names are
    those of the model's curve, so that the same code reads both."""

    rotation: Array
    torque: Array

    def __post_init__(self) -> None:
        self.rotation.setflags(write=False)
        self.torque.setflags(write=False)


@dataclass(frozen=True)
class Zero:
    """What is taken off every sample: ``offset_Nm`` at the first sample, ``drift_Nm`` more at the last; `note` says
    where it comes from."""

    offset_Nm: float
    drift_Nm: float
    note: str


@dataclass(frozen=True, eq=False)
class Pull:
    """A log without its zero: ``torque`` (n,) N m, positive in the sense of the pull, ``x`` (n,), ``smooth`` (n,) the
    torque averaged over a few samples; the samples at which the rise begins, is highest, and has ended.
    `fell`: it did end. `noise_Nm` is the standard deviation of one sample."""

    x: Array
    torque: Array
    smooth: Array
    begin: int
    top: int
    end: int
    fell: bool
    noise_Nm: float
    zero: Zero


def noise_of(torque: Array) -> float:
    """Standard deviation of a sample, from the differences of neighbours (n,): robust against jumps and slopes."""
    step = np.diff(torque)
    return float(1.4826 * np.median(np.abs(step - np.median(step))) / np.sqrt(2.0))


def find_pull(x: Array, raw: Array) -> Pull:
    """Take the zero off and find the rise: x (n,), raw torque (n,) with the pull positive, both finite."""
    torque = median_filter(raw, 5, mode="nearest") if len(raw) > 200 else raw  # single spikes are no torque
    noise = noise_of(raw)
    smooth = uniform_filter1d(torque, max(1, len(raw) // 400), mode="nearest")
    zero = _zero(torque, smooth, noise)
    own = raw - zero.offset_Nm - zero.drift_Nm * np.linspace(0.0, 1.0, len(raw))
    smooth = smooth - zero.offset_Nm - zero.drift_Nm * np.linspace(0.0, 1.0, len(raw))
    filtered = torque - zero.offset_Nm - zero.drift_Nm * np.linspace(0.0, 1.0, len(raw))
    end, fell = _end(filtered, smooth, noise)
    top = int(np.argmax(smooth[:end]))
    begin = _begin(smooth, top, noise)
    return Pull(x, own, smooth, begin, top, end, fell, noise, zero)


def _zero(torque: Array, smooth: Array, noise: float) -> Zero:
    """Median of the idle part before the pull; where it is idle after it as well, a straight line through both."""
    n = len(torque)
    level = float(np.median(torque[: max(5, n // 50)]))
    top = int(np.argmax(smooth))
    rise = float(smooth[top]) - level
    limit = max(IDLE * rise, 3.0 * noise)
    away = np.flatnonzero(np.abs(smooth - level) > limit)
    first = int(away[0]) if len(away) else 0
    before = int(0.8 * first)
    if before < 5:
        return Zero(0.0, 0.0, "no idle part before the pull: the zero of the sensor is taken as it is")
    offset = float(np.median(torque[:before]))
    after = n - 1 - int(away[-1])
    tail = int(0.8 * after)
    if tail < max(5, n // 50):
        return Zero(offset, 0.0, f"median of the {before} samples before the pull")
    late = float(np.median(torque[n - tail :]))
    at, later = (before - 1) / 2 / (n - 1), 1.0 - (tail - 1) / 2 / (n - 1)
    drift = (late - offset) / (later - at)
    error = noise * np.sqrt(1.0 / before + 1.0 / tail)
    if abs(late - offset) > MOST_DRIFT * rise + 3.0 * error:
        return Zero(
            offset,
            0.0,
            f"median of the {before} samples before the pull; {late - offset:.3g} N m are left after it",
        )
    if abs(late - offset) < 3.0 * error:
        return Zero(offset, 0.0, f"median of the {before} samples before the pull; the same after it")
    return Zero(
        offset - drift * at, drift, f"a line through {before} samples before the pull and {tail} after it"
    )


def _end(torque: Array, smooth: Array, noise: float) -> tuple[int, bool]:
    """The sample after which the torque has fallen below 0.965 of the highest before, for some samples in a row, and
    whether it ever has."""
    best = np.maximum.accumulate(smooth)
    ahead = maximum_filter1d(torque, 5, origin=-2, mode="nearest") if len(torque) > 200 else torque
    fallen = (ahead < FALL * best - noise) & (best > 0.2 * smooth.max())
    where = np.flatnonzero(fallen)
    return (max(int(where[0]), 2), True) if len(where) else (len(torque), False)


def _begin(smooth: Array, top: int, noise: float) -> int:
    """The last sample before the rise that carries nothing."""
    limit = max(IDLE * float(smooth[top]), 2.0 * noise)
    idle = np.flatnonzero(smooth[: top + 1] < limit)
    return int(idle[-1]) if len(idle) else 0


def touch(pull: Pull) -> float:
    """Where the torque begins to rise: the break of a continuous line of two straight pieces, by least squares, over
    the idle part and the lower part of the rise."""
    high = TOE * float(pull.smooth[pull.top])
    over = np.flatnonzero(pull.smooth[pull.begin : pull.top + 1] > high)
    last = pull.begin + (int(over[0]) if len(over) else pull.top - pull.begin) + 1
    first = max(0, pull.begin - 2 * (last - pull.begin))
    x, t = _thinned(pull.x[first:last], pull.torque[first:last])
    if len(x) < 4 or not np.ptp(x) > 0:
        return float(pull.x[pull.begin])
    best, at = np.inf, float(x[0])
    for place in np.unique(np.concatenate([x[:-2], np.linspace(x[0], x[-3], 200)])):
        ramp = np.maximum(x - place, 0.0)
        slope = float(ramp @ t) / float(ramp @ ramp)
        left = float(((t - slope * ramp) ** 2).sum())
        if left < best:
            best, at = left, float(place)
    return at


def _thinned(x: Array, t: Array) -> tuple[Array, Array]:
    """At most 400 means of neighbouring samples, in order of x."""
    order = np.argsort(x, kind="stable")
    parts = np.array_split(order, min(400, len(order)))
    return np.array([x[p].mean() for p in parts]), np.array([t[p].mean() for p in parts])


def smooth_curve(pull: Pull, start: float) -> LogCurve:
    """The curve from first touch to the end of the rise, smoothed as much as its noise asks for.

    Means of bins over the rotation carry a cubic spline whose penalty on second differences is chosen by generalised
    cross-validation (Craven and Wahba 1979; Eilers and Marx 1996).
    """
    x, t = pull.x[pull.begin : pull.end], pull.torque[pull.begin : pull.end]
    keep = x >= start
    x, t = x[keep], t[keep]
    if len(x) < 8 or not np.ptp(x) > 0:
        return LogCurve(pull.x[pull.begin : pull.end].copy(), pull.torque[pull.begin : pull.end].copy())
    count = int(min(BINS, max(6, len(x) // 2)))
    place = np.minimum(((x - start) / (x.max() - start) * count).astype(int), count - 1)
    weight = np.bincount(place, minlength=count).astype(float)
    used = weight > 0
    at = np.bincount(place, x, minlength=count)[used] / weight[used]
    mean = np.bincount(place, t, minlength=count)[used] / weight[used]
    ahead = np.concatenate([[True], np.diff(at) > 1e-9 * np.ptp(x)])
    at, mean, weight = at[ahead], mean[ahead], weight[used][ahead]
    along = np.linspace(start, float(at[-1]), POINTS)
    if len(at) < 6:
        return LogCurve(along, np.interp(along, at, mean))
    # The curve begins with nothing at first touch: as heavy as ten bins.
    at, mean = np.concatenate([[start - 1e-6 * np.ptp(x)], at]), np.concatenate([[0.0], mean])
    weight = np.concatenate([[10.0 * weight.mean()], weight])
    scale = float(np.ptp(at))
    spline = _penalised((at - at[0]) / scale, mean, weight / weight.mean())
    return LogCurve(along, np.asarray(spline(np.clip((along - at[0]) / scale, 0.0, 1.0))))


def _penalised(u: Array, y: Array, weight: Array) -> BSpline:
    """Spline through y (n,) at u (n,) from 0 to 1 with weights (n,), as smooth as its own noise asks for."""
    pieces = min(KNOTS, max(3, len(u) // 2))
    knots = np.arange(-3, pieces + 4) / pieces
    basis = BSpline.design_matrix(np.clip(u, 0.0, 1.0), knots, 3).toarray()
    rough = np.diff(np.eye(basis.shape[1]), 2, axis=0)
    penalty = rough.T @ rough
    gram = basis.T @ (weight[:, None] * basis)
    # A little of the penalty keeps stretches without samples from having no answer at all.
    low = cholesky(gram + 1e-9 * np.trace(gram) * (penalty + 1e-6 * np.eye(len(gram))), lower=True)
    half = solve_triangular(low, solve_triangular(low, penalty, lower=True).T, lower=True)
    size, turn = eigh(half)
    size = np.maximum(size, 0.0)
    own = turn.T @ solve_triangular(low, basis.T @ (weight * y), lower=True)
    best, taken = np.inf, np.ones_like(size)
    for strength in np.logspace(-6, 6, 73):
        share = 1.0 / (1.0 + strength * size)
        left = float(weight @ y**2 - 2.0 * (share * own) @ own + ((share * own) ** 2).sum())
        score = max(left, 0.0) / max(len(u) - share.sum(), 1e-9) ** 2
        if score < best:
            best, taken = score, share
    return BSpline(knots, solve_triangular(low.T, turn @ (taken * own), lower=False), 3)
