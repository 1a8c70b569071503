"""Torques to compare a slip torque with: twist-off of the bolt's shank, and test torques of wrenches."""

from __future__ import annotations

import math

from ..errors import ContactFEError, nearest
from ._tables import rows
from .grades import grade


def twist_off_torque(size: str, grade_name: str) -> tuple[float, float]:
    """Return the band (N*m) in which the free thread of a screw twists off, pure torsion without clamping.

    Low: ISO 898-7:1992, M = X Rm,min pi d3,min^3 / 16; above M10 the formula alone, outside the standard.
    High: the same with the tensile strength likely at the top of the hardness window and the nominal core
    diameter d - 1.22687 P (computed here, not a standard's figure). X is from memory. `size` is a metric size
    ("M10"), `grade_name` 8.8, 9.8, 10.9 or 12.9. Raises ContactFEError for others.
    """
    threads = {row["size"]: row for row in rows("twist_off.csv")}
    factors = {row["grade"]: float(row["x"]) for row in rows("twist_off_factors.csv")}
    thread = size.split()[0].upper() if size.split() else size
    if thread not in threads:
        raise ContactFEError(
            f'no twist-off torque for size "{size}"',
            hint=nearest(thread, threads) or f"known: {', '.join(threads)}",
            slug="twist-off",
        )
    if grade_name not in factors:
        raise ContactFEError(
            f'no twist-off torque for grade "{grade_name}"',
            hint=f"known: {', '.join(factors)}",
            slug="twist-off",
        )
    row, diameter = threads[thread], float(thread[1:])
    strength = grade(grade_name, diameter)
    core_min = float(row["d3_min"])
    core_nominal = diameter - 1.22687 * float(row["pitch"])
    low = factors[grade_name] * strength.tensile_min * math.pi / 16.0 * core_min**3 / 1000.0
    upper = strength.tensile_upper or strength.tensile_min
    return low, low * upper / strength.tensile_min * (core_nominal / core_min) ** 3


def wrench_test_torque_fit(across_flats_mm: float, series: str) -> float:
    """Return the test torque (N*m) of a wrench of nominal width `across_flats_mm` (mm) by a power-law fit.

    Series A rings, C double open ends, B = 1.25 C, D = 0.5 C (GOST 2838-80 groups). A fit to the rows that
    were read, within 0.6 % of them: quote as "about". Raises ContactFEError below 2.5 mm, above 50 mm (A) or
    30 mm (B, C, D).
    """
    fits = {row["series"]: row for row in rows("test_torque_fits.csv")}
    if series not in fits:
        raise ContactFEError(
            f'unknown series "{series}"', hint=f"known: {', '.join(fits)}", slug="test-torque"
        )
    factor, power, largest = (float(fits[series][key]) for key in ("factor", "power", "largest"))
    if not 2.5 <= across_flats_mm <= largest:
        raise ContactFEError(
            f"the fit of series {series} does not reach {across_flats_mm:g} mm",
            hint=f"it holds from 2.5 mm to {largest:g} mm",
            slug="test-torque",
        )
    return float(factor * across_flats_mm**power)
