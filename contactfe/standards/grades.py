"""Strength grades of fasteners and fittings, hardness conversion, and friction classes."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from ..errors import ContactFEError
from ._tables import number, rows

TENSILE_PER_HV = 3.2
"""Tensile strength (MPa) per HV: a rule of thumb that ties ISO 898-1's own pairs, 250 to 800, 385 to 1232."""
_CONVERTED = ("HV", "HRC")  # scales of hardness that a conversion is kept for


@dataclass(frozen=True)
class Grade:
    """A strength grade over a range of diameters. Stresses in MPa, diameters in mm.

    `tensile_upper` and `yield_upper` are the strengths likely at the upper end (typical values for fittings),
    None where nothing is known. `material` names the elastic constants to use.
    """

    name: str
    material: str
    diameter_over: float
    diameter_to: float
    yield_min: float
    tensile_min: float
    hardness_scale: str
    hardness_min: float | None
    hardness_max: float | None
    tensile_upper: float | None
    yield_upper: float | None
    source: str

    @property
    def upper_source(self) -> str:
        """Where the upper ends come from: "by hardness" (3.2 MPa per HV at the upper hardness, a rule of thumb, yield
        in the ratio of the minima), "typical" (of the row's own source), "" where there are none."""
        if self.yield_upper is None:
            return ""
        by_hardness = self.hardness_max is not None and self.hardness_scale in _CONVERTED
        return "by hardness" if by_hardness else "typical"


@dataclass(frozen=True)
class FrictionClass:
    """A friction class of VDI 2230: range of the coefficient (`high` None where open) and what is typical."""

    name: str
    low: float
    high: float | None
    typical: str
    source: str


def grade(name: str, diameter_mm: float | None = None) -> Grade:
    """Return the grade called `name` ("8.8", "grade 5", "A2-70", "brass C36000") for a diameter in mm.

    Without a diameter the row of the smallest diameters is returned. Raises ContactFEError with the nearest
    names (slug "unknown-grade"), or when the standard has no row for the diameter (slug "grade-diameter").
    """
    wanted = " ".join(name.split()).casefold()
    found = [entry for names, entry in _grades() if wanted in names]
    if not found:
        known = {entry.name.casefold(): entry.name for _, entry in _grades()}
        near = difflib.get_close_matches(wanted, list(known), n=3, cutoff=0.4) or list(known)[:6]
        raise ContactFEError(
            f'unknown grade "{name}"',
            hint=f"nearest: {', '.join(known[key] for key in near)}; or give yield_strength",
            slug="unknown-grade",
        )
    if diameter_mm is None:
        return found[0]
    for entry in found:
        if entry.diameter_over < diameter_mm <= entry.diameter_to + 1e-6:
            return entry
    low, high = found[0].diameter_over, found[-1].diameter_to
    raise ContactFEError(
        f'grade "{name}" has no row for a diameter of {diameter_mm:g} mm',
        hint=f"its rows reach from {low:g} to {high:g} mm; or give yield_strength",
        slug="grade-diameter",
    )


def grade_names() -> tuple[str, ...]:
    """Return the names of all grades, in the order of the table."""
    return tuple(dict.fromkeys(entry.name for _, entry in _grades()))


def hardness_hv(hrc: float) -> float:
    """Return HV for a Rockwell C hardness of 22 to 55, linear between the rows of ASTM E140.

    Raises ContactFEError (slug "hardness") outside this range.
    """
    return _interpolate("hv", hrc)


def tensile_from_hrc(hrc: float) -> tuple[float, float]:
    """Return the tensile strengths (MPa) of steel by two published conversions, low to high, for 40 to 55
    HRC.

    They carry +-5 % to 45 HRC and +-10 % above. Raises ContactFEError (slug "hardness") outside this range.
    """
    pair = _interpolate("tensile_a370", hrc), _interpolate("tensile_e140", hrc)
    return min(pair), max(pair)


@lru_cache(maxsize=1)
def friction_classes() -> tuple[FrictionClass, ...]:
    """Return the friction classes A to E of VDI 2230 part 1."""
    return tuple(
        FrictionClass(row["class"], float(row["low"]), number(row["high"]), row["typical"], "VDI 2230 part 1")
        for row in rows("friction.csv")
    )


@lru_cache(maxsize=1)
def _grades() -> tuple[tuple[frozenset[str], Grade], ...]:
    found: list[tuple[frozenset[str], Grade]] = []
    for row in rows("grades.csv"):
        names = row["names"].split(";")
        yield_min, tensile_min = float(row["yield_min"]), float(row["tensile_min"])
        tensile_upper = number(row["tensile_upper"]) or _tensile_of_hardness(
            row["scale"], number(row["hardness_max"])
        )
        yield_upper = number(row["yield_upper"])
        if yield_upper is None and tensile_upper is not None:
            yield_upper = tensile_upper * yield_min / tensile_min
        for name in names if row["source"].startswith("ISO 3506") else names[:1]:
            accepted = [name] if row["source"].startswith("ISO 3506") else names
            found.append(
                (
                    frozenset(text.casefold() for text in accepted),
                    Grade(
                        name,
                        row["material"],
                        float(row["diameter_over"]),
                        float(row["diameter_to"]),
                        yield_min,
                        tensile_min,
                        row["scale"],
                        number(row["hardness_min"]),
                        number(row["hardness_max"]),
                        tensile_upper,
                        yield_upper,
                        row["source"],
                    ),
                )
            )
    return tuple(found)


def _tensile_of_hardness(scale: str, hardness: float | None) -> float | None:
    """Return 3.2 HV (MPa) for a hardness in HV or HRC; None for other scales, for which no conversion is
    kept."""
    if hardness is None or scale not in _CONVERTED:
        return None
    return TENSILE_PER_HV * (hardness if scale == "HV" else hardness_hv(hardness))


def _interpolate(column: str, hrc: float) -> float:
    pairs = [(float(row["hrc"]), float(row[column])) for row in rows("hardness.csv") if row[column]]
    if not pairs[0][0] <= hrc <= pairs[-1][0]:
        raise ContactFEError(
            f"{hrc:g} HRC is outside {pairs[0][0]:g} to {pairs[-1][0]:g} HRC",
            hint="give the strength itself",
            slug="hardness",
        )
    for (x0, y0), (x1, y1) in pairwise(pairs):
        if hrc <= x1:
            return y0 + (y1 - y0) * (hrc - x0) / (x1 - x0)
    return pairs[-1][1]
