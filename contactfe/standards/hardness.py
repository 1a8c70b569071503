"""Hardness of steel: how it is written, and what it says about strength."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from ..errors import ContactFEError
from ._tables import number, rows

TENSILE_PER_HV = 3.2
"""Tensile strength (MPa) per HV: a rule of thumb that ties ISO 898-1's own pairs, 250 to 800, 385 to 1232."""
HV_PER_HB = 1.05
"""HV per HBW: ISO 898-1 pairs them so (250 HV, 238 HBW; from memory)."""
TOOL_YIELD_SHARE = 0.92
"""Yield over tensile strength of quenched and tempered tool steel (published data of 4140: 0.88 to 0.93)."""
_SCALES = ("HRC", "HV", "HRB", "HB")
_WRITTEN = re.compile(
    r"(?:(?P<before>HRC|HRB|HV|HBW|HB|BHN|C|B)\s*)?(?P<value>[0-9]+(?:\.[0-9]+)?)\s*(?P<after>HRC|HRB|HV|HBW|HB|BHN)?"
    r"(?:[0-9/ ]*)",
    re.IGNORECASE,
)
_SAME = {"HBW": "HB", "BHN": "HB", "C": "HRC", "B": "HRB"}


class BadHardness(ContactFEError):
    """A hardness that cannot be read or is outside the conversion tables."""

    default_slug = "hardness"


@dataclass(frozen=True)
class Hardness:
    """A hardness: `value` on its `scale` (HRC, HV, HRB or HB), and the Vickers hardness `hv` it converts to."""

    value: float
    scale: str
    hv: float

    @property
    def text(self) -> str:
        """The hardness as it is written, "33 HRC"."""
        return f"{self.value:g} {self.scale}"


def parse_hardness(text: str) -> Hardness:
    """Return the hardness written as "33 HRC", "HRC 33", "320 HV", "95 HRB" or "300 HB".

    HRC by ASTM E140, HRB by the pairs of ISO 898-1, HB as 1/1.05 of HV (ISO 898-1). Raises BadHardness.
    """
    match = _WRITTEN.fullmatch(text.strip())
    scale = (match["before"] or match["after"] or "").upper() if match else ""
    if match is None or not scale or (match["before"] and match["after"]):
        raise BadHardness(
            f'"{text}" is not a hardness', hint='write "33 HRC", "320 HV", "95 HRB" or "300 HB"'
        )
    scale = _SAME.get(scale, scale)
    value = float(match["value"])
    if scale == "HRC":
        hv = hardness_hv(value)
    elif scale == "HRB":
        hv = _between(_pairs("hardness_hrb.csv", "hrb", "hv"), value, "HRB")
    else:
        hv = value * (HV_PER_HB if scale == "HB" else 1.0)
        if not 80.0 <= hv <= 600.0:
            raise BadHardness(f"{value:g} {scale} is outside 80 to 600 HV", hint="give the strength itself")
    return Hardness(value, scale, hv)


def hardness_hv(hrc: float) -> float:
    """Return HV for a Rockwell C hardness of 22 to 55, linear between the rows of ASTM E140.

    Raises BadHardness outside this range.
    """
    return _between(_pairs("hardness.csv", "hrc", "hv"), hrc, "HRC")


def tensile_from_hrc(hrc: float) -> tuple[float, float]:
    """Return the tensile strengths (MPa) of steel by two published conversions, low to high, for 40 to 55
    HRC.

    They carry +-5 % to 45 HRC and +-10 % above. Raises BadHardness outside this range.
    """
    pair = [
        _between(_pairs("hardness.csv", "hrc", key), hrc, "HRC") for key in ("tensile_a370", "tensile_e140")
    ]
    return min(pair), max(pair)


def tensile_from_hv(hv: float) -> float:
    """Return the tensile strength (MPa) of steel of a Vickers hardness.

    From 392 HV (40 HRC) the mean of ASTM A370's and E140's columns, from 248 HV E140's, below 3.2 MPa per HV (which
    meets E140 at 248 HV within 0.1 %). +-5 % to 446 HV (45 HRC), +-10 % above.
    """
    curve = _hv_tensile()
    if hv < curve[0][0]:
        return curve[0][1] * hv / curve[0][0]
    if hv > curve[-1][0]:
        return curve[-1][1] * hv / curve[-1][0]
    return _between(curve, hv, "HV")


def yield_from_hv(hv: float) -> float:
    """Return the yield strength (MPa) likely for a steel of a Vickers hardness whose treatment is not known.

    2.876 HV - 90.7: regression over 150 steels (Pavlina & Van Tyne, J. Mater. Eng. Perform. 17 (2008) 888, from
    memory). Take +-15 %: quenched and tempered steel lies above it, annealed steel below.
    """
    return 2.876 * hv - 90.7


@cache
def _hv_tensile() -> tuple[tuple[float, float], ...]:
    found = []
    for row in rows("hardness.csv"):
        both = [
            value for value in (number(row["tensile_a370"]), number(row["tensile_e140"])) if value is not None
        ]
        found.append((float(row["hv"]), sum(both) / len(both)))
    return tuple(found)


@cache
def _pairs(file: str, x: str, y: str) -> tuple[tuple[float, float], ...]:
    return tuple((float(row[x]), float(row[y])) for row in rows(file) if row[y])


def _between(pairs: tuple[tuple[float, float], ...], x: float, scale: str) -> float:
    if not pairs[0][0] <= x <= pairs[-1][0]:
        raise BadHardness(
            f"{x:g} {scale} is outside {pairs[0][0]:g} to {pairs[-1][0]:g} {scale}",
            hint="give the strength itself",
        )
    for (x0, y0), (x1, y1) in pairwise(pairs):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return pairs[-1][1]
