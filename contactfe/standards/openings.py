"""Limits of wrench openings: ISO 691 for metric widths, the rule of ASME B18.2.2 for inch widths."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import ContactFEError
from ..units import MM_PER_INCH
from ._tables import rows


@dataclass(frozen=True)
class OpeningLimits:
    """Least, middle and largest opening of a wrench (mm) and the standard they come from."""

    lower: float
    middle: float
    upper: float
    source: str


def opening_limits(across_flats_mm: float, inch: bool = False) -> OpeningLimits:
    """Return the limits of a machined opening for the nominal width `across_flats_mm` (mm).

    Metric: ISO 691; a width between two rows takes the row above it, and the source says so. Inch: the
    appendix of ASME B18.2.2, least opening 1.005 W + 0.001 in, tolerance 0.005 W + 0.004 in. Raises
    ContactFEError (slug "opening") for metric widths outside 3.2 to 210 mm and inch widths outside 1/4 to 4
    in.
    """
    if inch:
        width = across_flats_mm / MM_PER_INCH
        if not 0.2499 <= width <= 4.0001:
            raise _outside(across_flats_mm, "ASME B18.2.2 from 1/4 in to 4 in")
        lower = (1.005 * width + 0.001) * MM_PER_INCH
        upper = lower + (0.005 * width + 0.004) * MM_PER_INCH
        return OpeningLimits(lower, (lower + upper) / 2.0, upper, "ASME B18.2.2 appendix: 1.005 W + 0.001 in")
    return _metric(across_flats_mm)


def _metric(width: float) -> OpeningLimits:
    table = rows("openings_iso691.csv")
    if width >= float(table[0]["s_from"]) - 1e-9:
        for row in table:
            if width <= float(row["s_to"]) + 1e-9:
                lower, upper = width + float(row["lower"]), width + float(row["upper"])
                inside = width >= float(row["s_from"]) - 1e-9
                source = (
                    "ISO 691"
                    if inside
                    else f"ISO 691, deviations of {row['s_from']} mm taken for {width:g} mm"
                )
                return OpeningLimits(lower, (lower + upper) / 2.0, upper, source)
    raise _outside(width, "ISO 691 from 3.2 mm to 210 mm")


def _outside(width: float, reach: str) -> ContactFEError:
    return ContactFEError(
        f"no limits for the opening of a {width:g} mm hexagon: they reach in {reach}",
        hint='give the opening as a width such as "16.12 mm"',
        slug="opening",
    )
