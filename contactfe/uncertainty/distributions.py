"""What an uncertain input may be: uniform between limits, or normal, cut off at limits where it has them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import truncnorm

from contactfe.inputs import Field, field_of
from contactfe.units import KINDS, format_quantity

Array = NDArray[np.float64]

# Words for tables, figures and sentences; other inputs are called by their key.
_WORDS = {
    "wrench.opening": "opening",
    "fastener.across_flats": "width across flats",
    "fastener.undersize": "undersize",
    "fastener.yield_strength": "yield strength",
    "wrench.yield_strength": "yield strength of the wrench",
    "fastener.engaged_depth": "engaged depth",
    "fastener.corner": "corner radius",
    "fastener.rounding": "rounding",
    "contact.friction": "friction",
    "contact.constraint_factor": "constraint factor",
    "wrench.outside_diameter": "outside diameter of the ring",
    "wrench.head_width": "width of the head",
    "wrench.thickness": "thickness of the head",
    "load.lever_arm": "lever arm",
    "held.strength": "strength of what is held",
}


@dataclass(frozen=True)
class Distribution:
    """One uncertain input in internal units (N, mm, MPa, rad; a share is a plain number).

    Uniform from `low` to `high` when `sd` is None (bounds are all that is known: JCGM 100:2008, 4.3.7), else
    normal with `mean` and `sd`, cut off at `low` and `high`, which may be infinite. `nominal` is the value of
    the plain case, `source` says where limits come from.
    """

    path: str
    nominal: float
    low: float
    high: float
    mean: float | None = None
    sd: float | None = None
    source: str = "given"

    def at(self, u: Array) -> Array:
        """Values (n,) at the shares u (n,) of the distribution, 0 < u < 1 (the inverse of its cumulation)."""
        u = np.asarray(u, dtype=float)
        if self.mean is None or self.sd is None:
            return np.asarray(self.low + u * (self.high - self.low))
        low, high = (self.low - self.mean) / self.sd, (self.high - self.mean) / self.sd
        return np.asarray(truncnorm.ppf(u, low, high, self.mean, self.sd))

    @property
    def field(self) -> Field:
        """The key of the case file."""
        found = field_of(self.path)
        if found is None:
            raise KeyError(self.path)
        return found

    @property
    def label(self) -> str:
        """What the input is called in words."""
        return label_of(self.path)

    def show(self, value: float) -> str:
        """Return a value as text that the case file takes, shortened for reading."""
        kind = self.field.kind
        if kind not in KINDS:
            return f"{value:.4g}"
        factor = KINDS[kind].shown_factor
        return format_quantity(float(f"{value / factor:.5g}") * factor, kind)

    def words(self) -> str:
        """Return the distribution in words: "16.05 mm to 16.27 mm (ISO 691)"."""
        limits = " to ".join(self.show(x) for x in (self.low, self.high) if math.isfinite(x))
        if self.mean is None or self.sd is None:
            return f"{limits} ({self.source})"
        cut = f", within {limits}" if limits else ""
        return f"mean {self.show(self.mean)}, standard deviation {self.show(self.sd)}{cut} ({self.source})"


def label_of(path: str) -> str:
    """Return what an input is called in words."""
    return _WORDS.get(path, path.rpartition(".")[2].replace("_", " "))


def written(field: Field, value: float) -> str | float:
    """Return a value as a case file takes it: text with a unit, or a number."""
    if field.kind in KINDS:
        return format_quantity(value, field.kind)
    return float(f"{value:.12g}")
