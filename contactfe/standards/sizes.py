"""Hexagon heads and nuts: the tables of ISO 4014, ISO 4032, ASME B18.2.1 and B18.2.2, and the rules behind
them."""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache

from ..errors import ContactFEError
from ..units import MM_PER_INCH, parse_number, tidy
from ._tables import number, rows
from .threads import split_thread, thread

ACROSS_CORNERS_SHARP = 2.0 / math.sqrt(3.0)
"""Across corners over across flats of a sharp hexagon (exact)."""

# ISO 286-1 tolerance grades in mm by size (over, up to and including), from memory; every row of the tables
# read from ISO 4014 and ISO 4032 is consistent with them.
_IT: dict[int, tuple[tuple[float, float], ...]] = {
    11: ((6, 0.075), (10, 0.090), (18, 0.110), (30, 0.130), (50, 0.160), (80, 0.190)),
    13: ((6, 0.18), (10, 0.22), (18, 0.27), (30, 0.33), (50, 0.39), (80, 0.46)),
    14: ((6, 0.30), (10, 0.36), (18, 0.43), (30, 0.52), (50, 0.62), (80, 0.74)),
    15: ((6, 0.48), (10, 0.58), (18, 0.70), (30, 0.84), (50, 1.00), (80, 1.20)),
}


@dataclass(frozen=True)
class HexSize:
    """A hexagon head or nut. All lengths in mm.

    `across_flats` is the nominal (and largest) width, `across_corners_min` the least width the standard
    allows over the corners. `height` is the nominal head height, or the largest nut height for a metric nut
    and the middle of its limits for an inch nut. `wrenching_height_min` is None where it is not known.
    """

    name: str
    system: str
    item: str
    product_grade: str
    diameter: float
    across_flats: float
    across_flats_min: float
    across_corners_min: float
    height: float
    height_min: float
    height_max: float
    wrenching_height_min: float | None
    source: str

    @property
    def across_corners(self) -> float:
        """Across corners of a sharp hexagon of the nominal width (mm), 2 s / sqrt(3)."""
        return ACROSS_CORNERS_SHARP * self.across_flats

    @property
    def inch(self) -> bool:
        """Whether the size belongs to the inch series."""
        return self.system == "inch"


class UnknownSize(ContactFEError):
    """No head or nut of the tables has this name."""

    default_slug = "unknown-size"


def sizes() -> tuple[HexSize, ...]:
    """Return every head and nut of the tables: metric heads, old widths, inch heads, metric and inch nuts."""
    return tuple(_catalogue().values())


def size(name: str) -> HexSize:
    """Return the size called `name`: "M10", "1/2 in", "1/2", "M16 B" (grade B head), "M10 DIN" (old width),
    "M10 nut", "1/2 in nut"; with its pitch "M10x1.5", "7/16-14", a fine one "M10x1.25", "7/16-20 nut".

    A fine thread has the head of the coarse one and keeps its pitch in its name. Raises UnknownSize with the nearest
    names, ContactFEError (slug "thread") for a pitch that is not of the standard series.
    """
    catalogue = _catalogue()
    wanted = _canonical(name)
    if wanted in catalogue:
        return catalogue[wanted]
    fine = _with_pitch(name, catalogue)
    if fine is not None:
        return fine
    raise UnknownSize(f'unknown size "{name}"', hint=_size_hint(name, wanted, catalogue))


def across_flats_min(width: float, product_grade: str) -> float:
    """Return the least width across flats (mm) by ISO 4759-1 for the nominal `width` (mm, 3 to 80).

    Grade "A": IT13 to 32 mm (ISO 4014 has no size between 30 and 34 mm; 32 mm as in DIN 475-1), IT14 above.
    Grade "B": IT14 to 18 mm, IT15 to 60 mm. Rounded to 0.01 mm. Raises ContactFEError outside these ranges.
    """
    fine, coarse, change = (13, 14, 32.0) if product_grade == "A" else (14, 15, 18.0)
    step = fine if width <= change else coarse
    if product_grade not in ("A", "B") or (product_grade == "B" and width > 60.0):
        raise ContactFEError(
            f"no width tolerance for grade {product_grade} at {width:g} mm",
            hint="use grade A, or grade B up to 60 mm",
            slug="tolerance",
        )
    return round(width - it_tolerance(step, width), 2)


def bar_across_flats_min(width: float) -> float:
    """Return the least width across flats (mm) of a cold drawn hexagon or square bar of nominal `width` (mm, 3 to 80).

    h11: nominal to nominal less IT11 (EN 10278 for drawn hexagons to 80 mm, ISO 286-1; both from memory). Inch bars by
    ASTM A108 lie inside it (from memory). Raises ContactFEError (slug "tolerance") outside this range.
    """
    return round(width - it_tolerance(11, width), 3)


def across_corners_min(width_min: float) -> float:
    """Return the least width across corners (mm) by ISO 4759-1: 1.13 times the least width across flats
    (mm)."""
    return round(1.13 * width_min, 2)


def height_limits(height: float, product_grade: str) -> tuple[float, float]:
    """Return the limits (mm) of a head of nominal `height` (mm) by ISO 4759-1: js14 for grade A, js15 for
    grade B."""
    half = it_tolerance(14 if product_grade == "A" else 15, height) / 2.0
    return round(height - half, 3), round(height + half, 3)


def wrenching_height_min(height_min: float) -> float:
    """Return the least wrenching height (mm) of a head by ISO 4759-1: 0.7 times its least height (mm)."""
    return 0.7 * height_min


def it_tolerance(step: int, length: float) -> float:
    """Return the tolerance IT11, IT13, IT14 or IT15 (mm) for a `length` of 3 to 80 mm (ISO 286-1, from memory).

    Raises ContactFEError (slug "tolerance") outside this range.
    """
    if step in _IT and 3.0 <= length <= 80.0:
        for upper, tolerance in _IT[step]:
            if length <= upper:
                return tolerance
    raise ContactFEError(
        f"no tolerance IT{step} for {length:g} mm",
        hint="known: IT11, IT13 to IT15 for 3 to 80 mm",
        slug="tolerance",
    )


def _canonical(name: str) -> str:
    """Return the catalogue's spelling of a size name."""
    words = name.strip().split()
    nut = bool(words) and words[-1].lower() == "nut"
    text = " ".join(words[:-1] if nut else words)
    for ending in ("inches", "inch", "in", '"') if text[:1].isdigit() else ():
        if text.lower().endswith(ending):
            text = text[: -len(ending)].strip()
            break
    if text[:1].isdigit():
        text = f"{text.replace(' ', '-')} in"
    elif text[:1] in ("m", "M"):
        text = text.upper()
    return f"{text} nut" if nut else text


def _with_pitch(name: str, catalogue: dict[str, HexSize]) -> HexSize | None:
    """Return the size of a name with its pitch, None where it has none or the diameter is unknown."""
    words = name.strip().split()
    nut = " nut" if words and words[-1].lower() == "nut" else ""
    text = " ".join(words[:-1] if nut else words)
    plain, pitch = split_thread(text)
    known = catalogue.get(f"{plain}{nut}")
    if pitch is None or known is None:
        return None
    found = thread(text)
    return known if found.coarse else replace(known, name=f"{found.name}{' in' if found.inch else ''}{nut}")


def _size_hint(name: str, wanted: str, catalogue: dict[str, HexSize]) -> str:
    """Return what an unknown size may have meant: a thread, or a width across flats, which are easily mixed up."""
    text = name.strip()
    width = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*(mm)?", text)
    if width is not None and (width[2] or float(width[1]) > 2.0):
        mm = float(width[1])
        alike = [
            e.name
            for e in catalogue.values()
            if e.across_flats == mm and e.item == "head" and " " not in e.name
        ]
        thread_of = f"; {' and '.join(alike)} has that width" if alike else ""
        return f'a size is a thread such as "M10"; a width is written across_flats = "{mm:g} mm"{thread_of}'
    near = _nearest(wanted, catalogue)
    hint = f"nearest: {', '.join(near)}" if near else 'write a size such as "M10" or "1/2 in"'
    return f"{hint}; or give across_flats and engaged_depth"


def _nearest(wanted: str, catalogue: dict[str, HexSize]) -> list[str]:
    """Return up to three names: of the nearest diameter where the name is a diameter, of like spelling
    otherwise."""
    text = wanted.removesuffix(" nut")
    system = "inch" if text.endswith(" in") else "metric"
    item = "nut" if wanted.endswith(" nut") else "head"
    try:
        diameter = (
            _inches(text.removesuffix(" in")) if system == "inch" else parse_number(text.removeprefix("M"))
        )
    except ContactFEError:
        return difflib.get_close_matches(wanted, list(catalogue), n=3, cutoff=0.5)
    alike = [entry for entry in catalogue.values() if entry.system == system and entry.item == item]
    alike.sort(key=lambda entry: abs(entry.diameter - diameter))
    return [entry.name for entry in alike[:3]]


@lru_cache(maxsize=1)
def _catalogue() -> dict[str, HexSize]:
    entries = [*_metric_heads(), *_old_heads(), *_inch_heads(), *_metric_nuts(), *_inch_nuts()]
    return {entry.name: entry for entry in entries}


def _metric_heads() -> list[HexSize]:
    seen: set[str] = set()
    found: list[HexSize] = []
    for row in rows("hex_bolts_metric.csv"):
        name = row["size"] if row["size"] not in seen else f"{row['size']} {row['grade']}"
        seen.add(row["size"])
        found.append(_metric_head(row, name, "ISO 4014 / ISO 4017"))
    return found


def _old_heads() -> list[HexSize]:
    source = "width before ISO 272:1982 (DIN 931 / DIN 933, withdrawn)"
    return [_metric_head(row, f"{row['size']} DIN", source) for row in rows("hex_bolts_old.csv")]


def _metric_head(row: dict[str, str], name: str, source: str) -> HexSize:
    return HexSize(
        name,
        "metric",
        "head",
        row["grade"],
        float(row["size"][1:]),
        float(row["s_nom"]),
        float(row["s_min"]),
        float(row["e_min"]),
        float(row["k_nom"]),
        float(row["k_min"]),
        float(row["k_max"]),
        float(row["k_w_min"]),
        source,
    )


def _metric_nuts() -> list[HexSize]:
    return [
        HexSize(
            f"{row['size']} nut",
            "metric",
            "nut",
            row["grade"],
            float(row["size"][1:]),
            float(row["s_nom"]),
            float(row["s_min"]),
            float(row["e_min"]),
            float(row["m_max"]),
            float(row["m_min"]),
            float(row["m_max"]),
            number(row["m_w_min"]),
            "ISO 4032" + (f" ({row['mark']})" if row["mark"] else ""),
        )
        for row in rows("hex_nuts_metric.csv")
    ]


def _inch_heads() -> list[HexSize]:
    return [
        HexSize(
            f"{row['size']} in",
            "inch",
            "head",
            "",
            _inches(row["size"]),
            _inches(row["f_nom"]),
            _inches(row["f_min"]),
            _inches(row["g_min"]),
            _inches(row["h_nom"]),
            _inches(row["h_min"]),
            _inches(row["h_max"]),
            _inches(row["j_min"]),
            "ASME B18.2.1",
        )
        for row in rows("hex_screws_inch.csv")
    ]


def _inch_nuts() -> list[HexSize]:
    found: list[HexSize] = []
    for row in rows("hex_nuts_inch.csv"):
        low, high = _inches(row["h_min"]), _inches(row["h_max"])
        found.append(
            HexSize(
                f"{row['size']} in nut",
                "inch",
                "nut",
                "",
                _inches(row["size"]),
                _inches(row["f_nom"]),
                _inches(row["f_min"]),
                _inches(row["g_min"]),
                (low + high) / 2.0,
                low,
                high,
                None,
                "ASME B18.2.2",
            )
        )
    return found


def _inches(text: str) -> float:
    """Return inches written as a fraction or decimal in mm."""
    return tidy(parse_number(text) * MM_PER_INCH)
