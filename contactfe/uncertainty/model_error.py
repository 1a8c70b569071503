"""How far the model itself may be off: a lognormal factor on the torque, its size by rule, and bands that hold it.

An estimate is wrong for two reasons: its inputs are not those of the part at hand, and the model leaves things out. A
band of the inputs alone holds too few readings. The factor's median is 1 and its sigma (standard deviation of the
logarithm) is put together from what is known of the model; a calibration on readings takes its place where there is one.

What is known, each as a range that nothing inside is preferred in (a uniform one: half width over sqrt 3), about:

- an independent solver of the same model (other elements, other contact): 0.1 to 1.5 % apart;
- yielding below the surface of the fastener, which the cap leaves out: 3 to 5 % less torque where corners crush,
  nothing for open ends;
- the wrench's limit by sections against a full elastoplastic wrench: -8 to +9 %, mostly within 3 %;
- the cap. A sheet carries 2/sqrt 3 of its yield strength, a deep head more: 1.0 to 1.4 are the limits of the factor,
  and the torque goes with it to the power of 0.54 (flare-nut) to 0.91 (six-point ring), 0.75 in the middle. Left out
  where ``constraint_factor`` is an input that scatters already;
- piling up and hardening where the crush is deep, and tilting of the wrench on the head: not modelled, 10 and 8 % by
  judgement;
- torsion of the shank: the plastic torsion of an exact section, 5 % by judgement (its strength is an input).

The published strip rule (within 50 %) bounds nothing tighter than that and is left out. No readings stand behind the
sum: it is a starting value, to be replaced by the calibration of the bench that has some.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri, stdtrit

from contactfe.errors import ContactFEError

Array = NDArray[np.float64]
Mode = Literal["grip", "wrench", "bolt", "bar"]

CAP_POWER = 0.75  # of the torque in the constraint factor, middle of 0.54 to 0.91
CAP_RANGE = 0.5 * math.log(1.4 / 1.0)  # half width of its logarithm
LEAST_READINGS = 3


@dataclass(frozen=True)
class Contribution:
    """One thing the model may be off by: half width of its range (of the logarithm of the torque) and the modes it is in."""

    name: str
    half_width: float
    modes: tuple[Mode, ...]
    reason: str

    @property
    def sigma(self) -> float:
        """Standard deviation of a uniform range."""
        return self.half_width / math.sqrt(3.0)


_HELD: tuple[Mode, ...] = ("grip", "wrench")
CONTRIBUTIONS: tuple[Contribution, ...] = (
    Contribution("solver", 0.015, _HELD, "independent solver of the same model: 0.1 to 1.5 %"),
    Contribution("subsurface", 0.05, ("grip",), "yielding below the surface, 3 to 5 % where corners crush"),
    Contribution("cap", CAP_POWER * CAP_RANGE, ("grip",), "constraint factor 1.0 to 1.4, power 0.75"),
    Contribution("deep crush", 0.10, ("grip",), "piling up and hardening are left out (judgement)"),
    Contribution("tilt", 0.08, _HELD, "the third dimension: a wrench that tilts on the head (judgement)"),
    Contribution("sections", 0.09, ("wrench",), "full elastoplastic wrench: -8 to +9 %"),
    Contribution("torsion", 0.05, ("bolt", "bar"), "plastic torsion of an exact section (judgement)"),
)


def default_sigma(mode: Mode = "grip", cap_scatters: bool = False) -> float:
    """Sigma of the model's own error where no calibration is named, by what ends the pull.

    ``cap_scatters``: ``constraint_factor`` is an input with a range, so its share is in the band already.

    >>> [round(default_sigma(mode), 3) for mode in ("grip", "wrench", "bolt")]
    [0.108, 0.07, 0.029]
    """
    parts = [c.sigma for c in CONTRIBUTIONS if mode in c.modes and not (cap_scatters and c.name == "cap")]
    return math.sqrt(math.fsum(s**2 for s in parts))


#: Of a pull that ends by losing the grip, with a fixed constraint factor: an 80 % band of the model alone is +-15 %.
DEFAULT_SIGMA = default_sigma()


@dataclass(frozen=True)
class ModelError:
    """A lognormal factor: reading = estimate x ``factor`` x exp(``sigma`` z). ``source`` says where it comes from."""

    factor: float
    sigma: float
    source: str

    def quantiles(self, torques: ArrayLike, shares: Sequence[float] = (0.1, 0.5, 0.9)) -> tuple[float, ...]:
        """Quantiles (N m) of the torque with inputs and model error together, see ``combined_quantiles``."""
        return combined_quantiles(np.asarray(torques, dtype=float) * self.factor, self.sigma, shares)

    def below(self, torques: ArrayLike, target: float) -> float:
        """Probability that the torque is below a target (N m)."""
        return probability_below(np.asarray(torques, dtype=float) * self.factor, self.sigma, target)

    def share(self, torques: ArrayLike) -> float:
        """Share of the band that is the model's own: of the variance of the logarithm of the torque, 0 to 1."""
        t = np.asarray(torques, dtype=float)
        own, inputs = self.sigma**2, float(np.var(np.log(t[t > 0]))) if (t > 0).any() else 0.0
        return own / (own + inputs) if own + inputs > 0 else 0.0


def default_error(mode: Mode = "grip", cap_scatters: bool = False) -> ModelError:
    """The model's own error by rule."""
    return ModelError(1.0, default_sigma(mode, cap_scatters), "by rule, from known answers and judgement")


def probability_below(torques: ArrayLike, sigma: float | Array, target: float) -> float:
    """Probability that torque times lognormal factor is below a target, exact for the given samples.

    Args:
        torques: samples (n,) of the torque over the inputs, N m; 0 where the wrench turns freely.
        sigma: of the factor, one or one for each sample (n,).
    """
    t = np.asarray(torques, dtype=float)
    s = np.broadcast_to(np.asarray(sigma, dtype=float), t.shape)
    if target <= 0.0:
        return 0.0
    found = np.where(t < target, 1.0, 0.0)
    spread = (t > 0) & (s > 0)
    found[spread] = ndtr(np.log(target / t[spread]) / s[spread])
    return float(found.mean())


def combined_quantiles(
    torques: ArrayLike, sigma: float | Array, shares: Sequence[float] = (0.1, 0.5, 0.9)
) -> tuple[float, ...]:
    """Quantiles (N m) of samples of the torque times a lognormal factor.

    The distribution is the mean of one lognormal for each sample, and its quantiles are found on that: nothing is drawn,
    so the same samples always give the same band. Where the wrench turns freely (0) no factor helps. Without a model
    error (``sigma`` 0) the quantiles are those of the samples.

    Raises:
        ContactFEError: no samples, or one that is negative or not finite.
    """
    t = np.sort(np.asarray(torques, dtype=float)) if np.ndim(sigma) == 0 else np.asarray(torques, dtype=float)
    s = np.broadcast_to(np.asarray(sigma, dtype=float), t.shape)
    if not len(t) or not np.isfinite(t).all() or t.min() < 0:
        raise ContactFEError(
            "a band needs torques that are finite and not negative", where="samples", slug="torques"
        )
    if not s.any():
        return tuple(float(q) for q in np.quantile(t, shares))
    idle = float(np.mean(t <= 0))
    found = []
    for share in shares:
        if share <= idle:
            found.append(0.0)
            continue
        low = math.log(t[t > 0].min()) - 9.0 * float(s.max())
        high = math.log(t.max()) + 9.0 * float(s.max())
        at = brentq(lambda x, p=share: probability_below(t, s, math.exp(x)) - p, low, high, xtol=1e-12)
        found.append(math.exp(at))
    return tuple(found)


def calibrated(
    estimates: ArrayLike, readings: ArrayLike, input_sigma: ArrayLike = 0.0, source: str = "calibration"
) -> ModelError:
    """The model's error from readings of pulls that were estimated before.

    The factor is the mean ratio of reading to estimate (of the logarithms). The scatter of the ratios is that of the
    inputs and the model together; what the inputs explain is taken off. As the factor and the scatter are known from few
    readings, sigma is widened so that the 10 and 90 % ends are those of a prediction by Student's t.

    Args:
        estimates: medians of the bands (n,), N m.
        readings: measured torques (n,), N m.
        input_sigma: standard deviation of the logarithm of each band's samples, one or (n,).

    Raises:
        ContactFEError: fewer than three pairs, different numbers, or a torque that is not positive.
    """
    e, r = np.asarray(estimates, dtype=float), np.asarray(readings, dtype=float)
    if e.shape != r.shape or e.ndim != 1 or len(e) < LEAST_READINGS:
        raise ContactFEError(
            f"a calibration needs {LEAST_READINGS} or more readings, each with its estimate",
            where="calibration",
            hint="add readings, or leave the calibration out",
            slug="few-readings",
        )
    if not (np.isfinite(e).all() and np.isfinite(r).all() and e.min() > 0 and r.min() > 0):
        raise ContactFEError("readings and estimates must be positive", where="calibration", slug="torques")
    ratio, count = np.log(r / e), len(e)
    explained = float(np.mean(np.broadcast_to(np.asarray(input_sigma, dtype=float), e.shape) ** 2))
    widened = math.sqrt(1.0 + 1.0 / count) * float(stdtrit(count - 1, 0.9) / ndtri(0.9))
    total = float(np.var(ratio, ddof=1)) * widened**2
    return ModelError(float(np.exp(ratio.mean())), math.sqrt(max(total - explained, 0.0)), source)
