"""Threads of the sizes: pitch and stress area, and how a size with its pitch is written."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ..errors import ContactFEError
from ..units import MM_PER_INCH, parse_number, tidy
from ._tables import rows

_METRIC = re.compile(r"(?P<size>[mM][0-9.]+)\s*[xX×*]\s*(?P<pitch>[0-9]*\.?[0-9]+)")
_INCH = re.compile(
    r"(?P<size>[0-9]+-[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+)(?:\s*(?:in|inch|\"))?\s*[-–]\s*(?P<pitch>[0-9]+)"
    r"(?:\s*(?:UNC|UNF|UN))?(?:-[0-9][AB])?(?:\s*(?:in|inch|\"))?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Thread:
    """A screw thread: `diameter` and `pitch` in mm, `name` as it is written ("M10x1.5", "7/16-14")."""

    name: str
    diameter: float
    pitch: float
    inch: bool
    coarse: bool

    @property
    def stress_diameter(self) -> float:
        """Diameter (mm) of the stress area: d - 0.9382 P (ISO 898-1), inch D - 0.9743 P (ASME B1.1)."""
        return self.diameter - (0.9743 if self.inch else 0.9382) * self.pitch

    @property
    def stress_area(self) -> float:
        """Tensile stress area (mm^2), pi/4 times the square of `stress_diameter`."""
        return math.pi / 4.0 * self.stress_diameter**2

    @property
    def source(self) -> str:
        """The standard that defines the stress area."""
        return "ASME B1.1" if self.inch else "ISO 898-1"


def split_thread(text: str) -> tuple[str, str | None]:
    """Return (size, pitch) of a size written with its pitch ("M10x1.5", "7/16-14", "1/2-13 UNC"), else (text, None).

    "1-1/2" is one and a half inches, "1-8" is one inch with eight threads.
    """
    stripped = text.strip()
    match = _METRIC.fullmatch(stripped)
    if match:
        return match["size"].upper(), f"{float(match['pitch']):g}"
    match = _INCH.fullmatch(stripped)
    if match:
        return f"{match['size']} in", match["pitch"]
    return stripped, None


def thread(size_name: str) -> Thread:
    """Return the thread of a size by the name `contactfe.standards.size` gives it; without a pitch the coarse one.

    Raises ContactFEError (slug "thread") for a size or a pitch that is not in the table.
    """
    text = size_name.removesuffix(" nut")
    plain, pitch = split_thread(text)
    if pitch is None:
        plain = plain.partition(" ")[0] if plain[:1] in ("m", "M") else plain
    table = {row["size"]: row["pitches"].split(";") for row in rows("threads.csv")}
    if plain not in table:
        raise ContactFEError(
            f'no thread is known for size "{size_name}"',
            hint="give a size such as M10 or 7/16-14",
            slug="thread",
        )
    known = table[plain]
    if pitch is not None and pitch not in known:
        names = [_thread(plain, one, known[0]).name for one in known]
        raise ContactFEError(
            f'"{text}" is not a thread of the standard series',
            hint=f"known for this diameter: {', '.join(names)}",
            slug="thread",
        )
    return _thread(plain, pitch or known[0], known[0])


def _thread(plain: str, pitch: str, coarse: str) -> Thread:
    if plain.endswith(" in"):
        inches = plain.removesuffix(" in")
        diameter = tidy(parse_number(inches) * MM_PER_INCH)
        return Thread(f"{inches}-{pitch}", diameter, MM_PER_INCH / float(pitch), True, pitch == coarse)
    return Thread(f"{plain}x{pitch}", float(plain[1:]), float(pitch), False, pitch == coarse)
