"""How many specimens a test needs, by the non-central t distribution."""

from __future__ import annotations

import math

from scipy.stats import nct
from scipy.stats import t as student

from contactfe.errors import ContactFEError

MOST = 10_000


def specimens(
    difference: float, scatter: float, comparisons: int = 1, power: float = 0.8, risk: float = 0.05
) -> int:
    """Specimens per design that resolve a relative difference at a relative scatter (both > 0) with a power.

    Two-sided t test of two means; with several `comparisons` (best against each other: designs less one) the risk is
    shared between them (Bonferroni).

    Raises:
        ContactFEError: the difference or the scatter is not above 0, or more than 10000 would be needed.
    """
    if not (difference > 0 and scatter > 0):
        raise ContactFEError(
            "difference and scatter must be above 0", hint='write "10 %"', slug="sample-size"
        )
    for n in range(2, MOST):
        freedom = 2 * n - 2
        limit = float(student.ppf(1.0 - risk / comparisons / 2.0, freedom))
        shift = difference / scatter * math.sqrt(n / 2.0)
        if shift < limit - 3.0:
            continue
        found = float(nct.sf(limit, freedom, shift)) + float(nct.cdf(-limit, freedom, shift))
        if found >= power:
            return n
    raise ContactFEError(
        f"a difference of {100 * difference:.3g} % at a scatter of {100 * scatter:.3g} % needs more than {MOST} specimens",
        hint="ask for a larger difference",
        slug="sample-size",
    )
