"""Rules of the trade for the order of magnitude of a slip torque. Coarse: sanity bands, never a verification.

No measured slip-torque data for external hexagons in open, ring, spline or flare-nut profiles were found in
the peer-reviewed literature. The strip rule is the best published estimate that was found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

from contactfe.reference.plane import positive, require

#: Coefficient of the strip rule. Published; secondary citation: quoted in an engineering forum from G. S.
#: Case, "Stresses on Bolts - Nut Dimensions - Wrench Design", Mechanical Engineering (ASME), date not seen.
STRIP_COEFFICIENT = 0.103


@dataclass(frozen=True)
class TradeBand:
    """A range that the trade would call normal, with where it comes from."""

    low: float
    high: float
    origin: str


#: Pairs of driving contacts N_C of the strip rule. Three for a hexagon is published (secondary citation, as
#: above).
STRIP_PAIRS = MappingProxyType(
    {
        "six-point ring": TradeBand(3.0, 3.0, "published, secondary citation"),
        "open end": TradeBand(1.0, 1.0, "extension of the strip rule: one pair; common practice, no source"),
        "flare nut": TradeBand(
            2.0, 2.5, "extension of the strip rule: a ring with one gap; common practice, no source"
        ),
    }
)
#: Slip torque over the strip rule at full engagement, nominal clearance and friction about 0.15.
STRIP_RATIO = TradeBand(0.5, 1.5, "common practice, no source")
#: Thickness of the wrench head over the engaged depth, by kind of head.
HEAD_THICKNESS_RATIO = MappingProxyType(
    {
        "ring": TradeBand(1.5, 1.8, "common practice, no source"),
        "open end": TradeBand(1.1, 1.1, "common practice, no source"),
    }
)


def strip_torque_Nm(flats: float, depth: float, tensile: float, pairs: float) -> float:
    """Torque (N m) that strips a hexagon: 0.103 s^2 h Rm N_C.

    `flats` s and wrenching `depth` h in mm, `tensile` strength Rm of the fastener in MPa, `pairs` N_C of
    driving contacts (3 for a six-point ring, see `STRIP_PAIRS`). Source: see `STRIP_COEFFICIENT` (published,
    secondary citation). Range: full engagement, nominal clearance; +-50 %. Raises ContactFEError unless all
    are positive and N_C <= 3.

    Three pairs and one pair on 16 mm, 6.4 mm deep, 800 MPa (0.103 * 256 * 6.4 * 800 * N_C / 1000, by hand):

    >>> round(strip_torque_Nm(16.0, 6.4, 800.0, 3)), round(strip_torque_Nm(16.0, 6.4, 800.0, 1))
    (405, 135)
    """
    require(
        "strip_torque_Nm",
        positive("width across flats", flats),
        positive("depth", depth),
        positive("tensile strength", tensile),
        (0.0 < pairs <= 3.0, f"number of pairs is {pairs:g}, must be above 0 and at most 3"),
    )
    return STRIP_COEFFICIENT * flats**2 * depth * tensile * pairs / 1000.0


def strip_band_Nm(flats: float, depth: float, tensile: float, kind: str) -> tuple[float, float]:
    """Lowest and highest plausible slip torque (N m) for a `kind` of opening in `STRIP_PAIRS`.

    The rule with the fewest pairs times 0.5, and with the most pairs times 1.5 (common practice, no source).
    Arguments and range as `strip_torque_Nm`; raises ContactFEError for an unknown kind.

    >>> [round(torque, 1) for torque in strip_band_Nm(16.0, 6.4, 800.0, "open end")]  # by hand
    [67.5, 202.5]
    """
    known = ", ".join(f'"{name}"' for name in STRIP_PAIRS)
    require("strip_band_Nm", (kind in STRIP_PAIRS, f"kind is {kind!r}, must be one of {known}"))
    pairs = STRIP_PAIRS[kind]
    low = STRIP_RATIO.low * strip_torque_Nm(flats, depth, tensile, pairs.low)
    return low, STRIP_RATIO.high * strip_torque_Nm(flats, depth, tensile, pairs.high)


def strip_bearing_length(flats: float) -> float:
    """Length of flat (mm) at the tensile strength that gives the strip rule: 0.103 sqrt(3) s.

    The pair's arm is s/sqrt(3) (corner contact, tight fit), so the length is 0.178 s; derived from the rule.

    >>> round(strip_bearing_length(1.0), 3)
    0.178
    """
    require("strip_bearing_length", positive("width across flats", flats))
    return STRIP_COEFFICIENT * math.sqrt(3.0) * flats
