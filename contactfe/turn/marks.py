"""Onset and peak: the two places that are read off a torque-rotation curve."""

from __future__ import annotations

import numpy as np

from contactfe.turn.curve import TorqueCurve, smooth_through

ONSET_SHARE = 0.3  # of the largest tangent of the curve: a lobe that settles into its seat stays above it
# Of the rotation from first touch to nine tenths of the peak: what a tangent is taken over.
TANGENT_SPAN = 0.5


def peak(curve: TorqueCurve) -> tuple[float, float]:
    """Rotation (rad) and torque (N m) at the top of the curve: of the parabola through the three highest neighbours."""
    top = int(np.argmax(curve.torque))
    x, y = curve.rotation[max(top - 1, 0) : top + 2], curve.torque[max(top - 1, 0) : top + 2]
    own = float(curve.rotation[top]), float(curve.torque[top])
    if len(x) < 3 or not x[0] < x[1] < x[2]:
        return own
    left, right = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
    if not left > right:
        return own
    # The slope falls in proportion from the middle of one interval to that of the other.
    at = 0.5 * (x[0] + x[1]) + 0.5 * (x[2] - x[0]) * left / (left - right)
    bend = (right - left) / (x[2] - x[0])
    return float(at), float(y[1] - bend * (at - x[1]) ** 2)


def onset(curve: TorqueCurve) -> tuple[float, float]:
    """Rotation (rad) and torque (N m) where the tangent falls for good below 0.3 of its largest value.

    The tangent is the slope of the secant over half of the rotation from first touch to nine tenths of the
    largest torque, so that the first touch of an edge, steep but carrying nothing, does not count as the stiffness
    of the grip. (The rotation of the peak itself is a poor yardstick: the top of the curve is flat.)
    """
    top = int(np.argmax(curve.torque))
    x, y = curve.rotation[: top + 1], curve.torque[: top + 1]
    smooth = smooth_through(x, y)
    if smooth is None or len(smooth.x) < 4:
        return float(x[-1]), float(y[-1])
    x, y = smooth.x, smooth(smooth.x)
    at = np.linspace(x[0], x[-1], 401)
    most = at[int(np.argmax(smooth(at) >= 0.9 * y[-1]))]
    half = TANGENT_SPAN / 2 * (most - x[0])
    if half <= 0.0:  # the first touch holds nine tenths already
        return float(x[-1]), float(y[-1])
    low, high = np.maximum(at - half, x[0]), np.minimum(at + half, x[-1])
    slope = (smooth(high) - smooth(low)) / (high - low)
    # The last place that is still steep: a lobe that settles into its seat softens the curve early, for a while.
    i = int(np.flatnonzero(slope >= ONSET_SHARE * slope.max())[-1])
    return float(at[i]), float(smooth(at[i]))
