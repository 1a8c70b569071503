"""Which input makes the band as wide as it is, and how much narrower it would be if that one were known."""

from __future__ import annotations

import inspect
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import sobol_indices, uniform

from contactfe.errors import ContactFEError
from contactfe.uncertainty.band import HIGH, LOW, Band
from contactfe.uncertainty.distributions import label_of
from contactfe.uncertainty.groups import GroupShare, group_shares, groups_words
from contactfe.uncertainty.sampling import sobol_points
from contactfe.uncertainty.surrogate import Surrogate, fit

Array = NDArray[np.float64]

POINTS = 2048  # of the surrogate, per index
KNOWN_AT = 33  # values at which an input is taken as known
ENOUGH = 0.9  # share of the variance below which the indices are called rough
FACTORS = 16  # equally likely values of the model's own factor that stand for it in widths of bands
_CONSTANTS = ("contact.constraint_factor",)
HELD = "held.strength"  # what is held below the head, where it ends pulls


@dataclass(frozen=True)
class InputShare:
    """What one input contributes. `first` is its Sobol index of first order, the share of the variance that would go
    if it were known; `total` the share that would stay if it alone were unknown. `band_if_known_Nm` is the expected
    width of the 10 to 90 % band with this input known, `one_at_a_time_Nm` how far its own 10 to 90 % moves it."""

    path: str
    first: float
    total: float
    band_if_known_Nm: float
    one_at_a_time_Nm: float


@dataclass(frozen=True)
class Sensitivity:
    """Shares of all inputs in the variance that they make, the largest first-order index in front, the surrogate that
    they come from, and the shares of `groups` with the model's own error in the variance of ln torque."""

    shares: tuple[InputShare, ...]
    band_Nm: float
    degree: int
    error_Nm: float
    explained: float
    groups: tuple[GroupShare, ...]

    def group_sentence(self) -> str:
        """Say in one line how much of the band belongs to what; empty where nothing can be told."""
        return groups_words(self.groups)

    def sentence(self) -> str:
        """Say which input to measure first, and what that would bring."""
        if self.degree == 0:
            if self.explained > 0.5:  # a constant explains everything there is
                return "Nothing to measure: the torque does not scatter."
            return "Too few samples to tell which input to measure first: take more."
        best = self.shares[0]
        verb = "Calibrate" if best.path in _CONSTANTS else "Measure"
        text = (
            f"{verb} the {label_of(best.path)} first: known exactly, it would narrow the 10 to 90 % band from "
            f"{self.band_Nm:.3g} to about {best.band_if_known_Nm:.3g} N m ({100 * best.first:.0f} % of the inputs' variance)."
        )
        if verb == "Calibrate" and len(self.shares) > 1:
            second = next((s for s in self.shares if s.path not in _CONSTANTS), None)
            if second is not None:
                text += (
                    f" Of what a gauge can measure, take the {label_of(second.path)}: "
                    f"{self.band_Nm:.3g} to about {second.band_if_known_Nm:.3g} N m."
                )
        if self.explained < ENOUGH:
            text += f" Rough: the fit explains only {100 * self.explained:.0f} % of the variance; take more samples."
        return text


def sensitivity(found: Band) -> Sensitivity:
    """Sobol indices of a band's inputs on a polynomial fitted to its samples (Saltelli's estimators of scipy).

    The share of an input of first order is what makes it worth knowing (Saltelli et al. 2004, "factor
    prioritisation", from memory). Raises ContactFEError (slug "no-inputs") when nothing scatters.
    """
    if not found.inputs:
        raise ContactFEError(
            "nothing scatters in this case",
            hint="give an input as { low = ..., high = ... }",
            slug="no-inputs",
        )
    paths, known = [item.path for item in found.inputs], found.known
    spread = {item.path: item.spread_Nm for item in found.one_at_a_time}
    u = found.u
    if found.ends.count("bolt", "bar"):  # then how strong that is moves the torque as well
        paths, u = [*paths, HELD], np.column_stack([u, found.strong])
    model = fit(u[known], found.torque_Nm[known])
    d = len(paths)
    first, total = _indices(model, d, found.seed)
    cloud = sobol_points(POINTS, d, found.seed)
    # The samples tell the width; the fit, how much of it would be left.
    width = found.high_Nm - found.low_Nm
    factors = _factors(found.sigma[known])
    fitted = _width(model(cloud), factors)
    scale = width / fitted if fitted > 0.0 else 0.0
    shares = [
        InputShare(
            path,
            float(first[k]),
            float(total[k]),
            scale * _width_if_known(model, cloud, k, factors),
            spread.get(path, math.nan),
        )
        for k, path in enumerate(paths)
    ]
    shares.sort(key=lambda share: -share.first)
    groups = group_shares(paths, u[known], found.torque_Nm[known], found.sigma[known], found.seed)
    return Sensitivity(tuple(shares), width, model.degree, model.error, model.explained, groups)


def _indices(model: Surrogate, d: int, seed: int) -> tuple[Array, Array]:
    """Sobol indices (d,) of first and of total order."""
    if d == 1:  # there is nothing to share with; the estimators want two inputs
        alone = np.array([1.0 if model.degree > 0 else 0.0])
        return alone, alone
    name = "rng" if "rng" in inspect.signature(sobol_indices).parameters else "random_state"
    found = sobol_indices(
        func=lambda x: model(np.clip(x.T, 0.0, 1.0)),
        n=POINTS,
        dists=[uniform()] * d,
        **{name: np.random.default_rng(seed)},
    )
    first = np.clip(np.nan_to_num(np.atleast_1d(found.first_order)), 0.0, 1.0)
    total = np.clip(np.nan_to_num(np.atleast_1d(found.total_order)), 0.0, 1.0)
    return first, total


def _factors(sigma: Array) -> Array:
    """Equally likely values of the model's own factor, of the root mean square sigma of the samples."""
    middle = (np.arange(FACTORS) + 0.5) / FACTORS
    size = float(np.sqrt(np.mean(sigma**2)))
    return np.asarray(np.exp(size * ndtri(middle)) if size > 0.0 else np.ones(1))


def _width(torque: Array, factors: Array) -> float:
    """Width of the 10 to 90 % band of torques (n,) times each of the factors."""
    return float(np.ptp(np.quantile(np.outer(torque, factors), [LOW, HIGH])))


def _width_if_known(model: Surrogate, cloud: Array, k: int, factors: Array) -> float:
    """Mean width of the band (N m) over values of input k, with that value known."""
    widths = []
    for share in (np.arange(KNOWN_AT) + 0.5) / KNOWN_AT:
        points = cloud.copy()
        points[:, k] = share
        widths.append(_width(model(points), factors))
    return float(np.mean(widths))
