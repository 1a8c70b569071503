"""How much of a band belongs to the fastener, the wrench, friction and the model: shares of the variance of ln torque."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.uncertainty.sampling import sobol_points
from contactfe.uncertainty.surrogate import fit

Array = NDArray[np.float64]

POINTS = 2048
MODEL = "model"
_GROUPS = {"contact.friction": "friction", "contact.constraint_factor": MODEL}


@dataclass(frozen=True)
class GroupShare:
    """What a group of inputs, or the model with its constants, contributes to the variance of ln torque: `first` is what
    would go if the whole group were known, `total` what would stay if it alone were unknown."""

    name: str
    first: float
    total: float


def group_of(path: str) -> str:
    """The group of an input: its table, but friction by itself and the constants of the model with the model."""
    return _GROUPS.get(path) or path.partition(".")[0].replace("held", "fastener")


def group_shares(
    paths: Sequence[str], u: Array, torque_Nm: Array, sigma: Array, seed: int
) -> tuple[GroupShare, ...]:
    """Shares of the groups of inputs at `paths` and of the model, the largest first.

    Args:
        u: shares (n, d) of the inputs.
        torque_Nm: torques (n,) of the samples; those at zero, where the wrench turns freely, are left out.
        sigma: (n,) of the model's own factor.

    A polynomial is fitted to ln torque; its indices of whole groups are Jansen's (first order and total, from memory:
    Saltelli et al. 2010). The variance of the inputs is that of the samples, and that of the factor is added to it.
    Empty where fewer than two samples grip or nothing scatters; where the fit tells nothing, the inputs are one group.
    """
    grips = torque_Nm > 0.0
    if grips.sum() < 2:
        return ()
    log, own = np.log(torque_Nm[grips]), float(np.mean(sigma[grips] ** 2))
    inputs = float(np.var(log))
    whole = inputs + own
    if whole <= 0.0:
        return ()
    found = {name: (0.0, 0.0) for name in dict.fromkeys(map(group_of, paths))}
    model = fit(u[grips], log)
    if model.degree == 0:
        found = {"inputs": (1.0, 1.0)}
    else:
        cloud = sobol_points(POINTS, 2 * len(paths), seed)
        a, b = cloud[:, : len(paths)], cloud[:, len(paths) :]
        at_a, at_b = model(a), model(b)
        spread = float(np.var(np.concatenate([at_a, at_b])))
        for name in found:
            mixed = a.copy()
            columns = [k for k, path in enumerate(paths) if group_of(path) == name]
            mixed[:, columns] = b[:, columns]
            at_mixed = model(mixed)
            first = 1.0 - float(np.mean((at_b - at_mixed) ** 2)) / (2.0 * spread)
            total = float(np.mean((at_a - at_mixed) ** 2)) / (2.0 * spread)
            found[name] = (min(max(first, 0.0), 1.0), min(max(total, 0.0), 1.0))
    found = {name: (first * inputs / whole, total * inputs / whole) for name, (first, total) in found.items()}
    if own > 0.0:
        first, total = found.get(MODEL, (0.0, 0.0))
        found[MODEL] = (first + own / whole, total + own / whole)
    shares = [GroupShare(name, *pair) for name, pair in found.items()]
    return tuple(sorted(shares, key=lambda share: -share.first))


def groups_words(shares: Sequence[GroupShare]) -> str:
    """Say in one line how much of the band belongs to what; empty without shares."""
    if not shares:
        return ""
    parts = [f"{share.name} {100 * share.first:.0f} %" for share in shares]
    rest = max(0.0, 1.0 - sum(share.first for share in shares))
    return f"Of the variance of ln torque: {', '.join(parts)}, interactions {100 * rest:.0f} %."
