"""What the closed forms share: the elastic constants of a plane body, and the check of a stated range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contactfe.errors import ContactFEError

Array = NDArray[np.float64]
PlaneState = Literal["stress", "strain"]
Rule = tuple[bool, str]


def require(where: str, *rules: Rule) -> None:
    """Raise one ContactFEError that names every rule of `rules` that does not hold."""
    broken = [text for holds, text in rules if not holds]
    if broken:
        raise ContactFEError(
            "; ".join(broken),
            where=where,
            hint="this closed form holds only in the range that its description states",
            slug="reference-range",
        )


def positive(name: str, value: float) -> Rule:
    """Rule: `value` is finite and above zero."""
    return bool(0.0 < value < np.inf), f"{name} is {value:g}, must be above 0 and finite"


def within(name: str, value: ArrayLike, low: float, high: float) -> Rule:
    """Rule: every entry of `value` lies from `low` to `high`, both included; 1e-12 relative is forgiven."""
    numbers = np.asarray(value, dtype=float)
    if numbers.size == 0:
        return True, f"{name} is empty"
    slack = 1e-12 * max(abs(low), abs(high), 1e-300) if np.isfinite([low, high]).all() else 0.0
    holds = bool(np.all((numbers >= low - slack) & (numbers <= high + slack)))
    shown = f"{float(numbers):g}" if numbers.ndim == 0 else f"{numbers.min():g} to {numbers.max():g}"
    return holds, f"{name} is {shown}, must lie in {low:g} to {high:g}"


def below(name: str, value: float, limit: float, limit_name: str) -> Rule:
    """Rule: `value` is less than `limit`."""
    return bool(value < limit), f"{name} is {value:g}, must be below {limit_name} = {limit:g}"


@dataclass(frozen=True)
class PlaneElastic:
    """An isotropic plane body: Young's modulus (MPa), Poisson's ratio, plane "stress" or "strain".

    Every plane-stress formula holds in plane strain with E' = E / (1 - nu^2) and nu' = nu / (1 - nu).
    Source: Timoshenko & Goodier, Theory of Elasticity, 3rd ed. 1970, art. 17 (from memory).

    >>> round(PlaneElastic(1000.0, 0.3, "strain").modulus, 2)
    1098.9
    """

    youngs: float
    poisson: float
    plane: PlaneState = "stress"

    def __post_init__(self) -> None:
        require(
            "PlaneElastic",
            positive("Young's modulus", self.youngs),
            (
                -1.0 < self.poisson <= 0.5,
                f"Poisson's ratio is {self.poisson:g}, must be above -1 and at most 0.5",
            ),
            (self.plane in ("stress", "strain"), f'plane is {self.plane!r}, must be "stress" or "strain"'),
        )

    @property
    def modulus(self) -> float:
        """E' in MPa: E or, in plane strain, E / (1 - nu^2); also the contact modulus against a rigid body."""
        return self.youngs if self.plane == "stress" else self.youngs / (1.0 - self.poisson**2)

    @property
    def ratio(self) -> float:
        """nu': nu in plane stress, nu / (1 - nu) in plane strain."""
        return self.poisson if self.plane == "stress" else self.poisson / (1.0 - self.poisson)
