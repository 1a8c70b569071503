"""Strength grades of fasteners, fittings and bar steels, and friction classes."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache

from ..errors import ContactFEError
from ._tables import number, rows
from .hardness import TENSILE_PER_HV, hardness_hv

_CONVERTED = ("HV", "HRC")  # scales of hardness that a conversion is kept for


@dataclass(frozen=True)
class Grade:
    """A strength grade over a range of diameters. Stresses in MPa, diameters in mm.

    `tensile_upper` and `yield_upper` are the strengths likely at the upper end (typical values for fittings),
    None where nothing is known. `material` names the elastic constants to use. `product` is "bar" for a bar steel,
    whose diameters are widths across flats, "" otherwise.
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
    product: str = ""

    @property
    def yield_typical(self) -> tuple[float, str] | None:
        """The yield strength (MPa) that is typical, and where it comes from; None where nothing is known.

        Fittings: the typical value of their source. Grades with a hardness window: 3.2 MPa per HV in its middle, in
        the ratio of the minima (a rule of thumb). Bars with a range of tensile strength: its middle, in that ratio.
        """
        if self.upper_source == "typical" and self.yield_upper is not None:
            return self.yield_upper, f"typical of {self.name}, {self.source}"
        if (
            self.upper_source == "by hardness"
            and self.hardness_min is not None
            and self.hardness_max is not None
        ):
            ends = [
                _tensile_of_hardness(self.hardness_scale, end)
                for end in (self.hardness_min, self.hardness_max)
            ]
            middle = (ends[0] + ends[1]) / 2.0 if ends[0] and ends[1] else None
            how = "3.2 MPa per HV in the middle of its hardness window, yield in the ratio of the minima: rule of thumb"
        else:
            middle = (self.tensile_min + self.tensile_upper) / 2.0 if self.tensile_upper else None
            how = "middle of its range of tensile strength, yield in the ratio of the minima: rule of thumb"
        if middle is None:
            return None
        value = max(middle * self.yield_min / self.tensile_min, self.yield_min)
        return value, f"typical of {self.name} ({how})"

    @property
    def upper_source(self) -> str:
        """Where the upper ends come from: "by hardness" (3.2 MPa per HV at the upper hardness, a rule of thumb, yield
        in the ratio of the minima), "of its range" of tensile strength (bar steels), "typical" (of the row's own source), ""
        where there are none."""
        if self.yield_upper is None:
            return ""
        by_hardness = self.hardness_max is not None and self.hardness_scale in _CONVERTED
        if by_hardness:
            return "by hardness"
        return "of its range" if self.product == "bar" and self.material == "steel" else "typical"


@dataclass(frozen=True)
class FrictionClass:
    """A friction class of VDI 2230: range of the coefficient (`high` None where open) and what is typical."""

    name: str
    low: float
    high: float | None
    typical: str
    source: str


class UnknownGrade(ContactFEError):
    """No grade has this name."""

    default_slug = "unknown-grade"


class NoGradeRow(ContactFEError):
    """The grade has no row for a diameter."""

    default_slug = "grade-diameter"


def grade(name: str, diameter_mm: float | None = None) -> Grade:
    """Return the grade called `name` ("8.8", "grade 5", "A2-70", "brass C36000") for a diameter in mm.

    Also "SAE grade 8", "Gr. 8", "class 8.8". Without a diameter the row of the smallest diameters is returned. Raises
    UnknownGrade with the nearest names, or NoGradeRow when the standard has no row for the diameter.
    """
    found = _rows_called(name)
    if not found:
        known = {entry.name.casefold(): entry.name for _, entry in _grades()}
        wanted = " ".join(name.split()).casefold()
        near = difflib.get_close_matches(wanted, list(known), n=3, cutoff=0.4) or list(known)[:6]
        if f"grade {wanted}" in known:  # "8" alone: the inch grade before spellings that only look like it
            near = [f"grade {wanted}", *near[:2]]
        raise UnknownGrade(
            f'unknown grade "{name}"',
            hint=f"nearest: {', '.join(known[key] for key in near)}; or give yield_strength or hardness",
        )
    if diameter_mm is None:
        return found[0]
    for entry in found:
        if entry.diameter_over < diameter_mm <= entry.diameter_to + 1e-6:
            return entry
    low, high = found[0].diameter_over, found[-1].diameter_to
    raise NoGradeRow(
        f'grade "{name}" has no row for a diameter of {diameter_mm:g} mm',
        hint=f"its rows reach from {low:g} to {high:g} mm; or give yield_strength",
    )


_PREFIX = re.compile(r"^(?:sae|astm|aisi|iso|j429|898-1|property|strength|class|steel|en)\b[ -]*")
_GRADE = re.compile(r"^gr(?:ade)?\b[. ]*|^gr(?:ade)?(?=[0-9])")


def _rows_called(name: str) -> list[Grade]:
    """Return the rows of a grade by any usual spelling: "Gr. 8", "SAE J429 grade 8", "class 8.8", "grade8"."""
    plain = " ".join(name.replace("_", " ").split()).casefold()
    spelt = [plain]
    bare = plain
    while _PREFIX.match(bare):
        bare = _PREFIX.sub("", bare, count=1)
    number = _GRADE.sub("", bare, count=1).strip()
    spelt += [bare] if bare != plain else []
    if number != bare:
        spelt += [f"grade {number}", number]
    elif "sae" in plain or "j429" in plain:
        spelt += [f"grade {number}"]
    for text in spelt:
        found = [entry for names, entry in _grades() if text in names]
        if found:
            return found
    return []


def grade_names() -> tuple[str, ...]:
    """Return the names of all grades, in the order of the table."""
    return tuple(dict.fromkeys(entry.name for _, entry in _grades()))


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
                        row["product"],
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
