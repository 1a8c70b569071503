"""How default dimensions of wrench heads are computed: shares of the width, fixed angles, tables of standards."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from ..units import MM_PER_INCH, parse_number, tidy
from ._tables import rows

JUDGEMENT = "engineering judgement"
_DEG = math.pi / 180.0


@dataclass(frozen=True)
class DefaultDim:
    """A default dimension: `value` in mm or rad, `rule` the rule it came from."""

    value: float
    rule: str


@dataclass(frozen=True)
class OutsideSize:
    """Largest outside diameter and thickness of a ring head (mm) by a standard, and which one."""

    outside_diameter: float
    thickness: float
    source: str


@dataclass(frozen=True)
class HeadOf:
    """What a head is made for: nominal width across flats `s` and `opening` (mm), and whether the width is an inch
    width, which decides the table its outside is taken from."""

    s: float
    opening: float
    inch: bool = False


Rule = Callable[[HeadOf], DefaultDim]


def share(factor: float, why: str = JUDGEMENT) -> Rule:
    """Return the rule of a length that is a share of the nominal width."""
    return lambda head: DefaultDim(factor * head.s, f"{factor:g} s ({why})")


def angle(degrees: float, why: str = JUDGEMENT) -> Rule:
    """Return the rule of a fixed angle."""
    return lambda head: DefaultDim(degrees * _DEG, f"{degrees:g} deg ({why})")


def straight(factor: float, more: float, why: str) -> Rule:
    """Return the rule of a length that is a straight line in the nominal width (mm)."""
    return lambda head: DefaultDim(factor * head.s + more, f"{factor:g} s + {more:g} mm ({why})")


def ring(column: str, factor: float = 1.0) -> Rule:
    """Return the rule of a ring's "outside_diameter" or "thickness" from the table of the head's own series.

    Metric widths: JIS B 4632. Inch widths: A-A-1346A. Between the rows linear in s, beyond them the least-squares
    line of the table. `factor` scales the table's value (engineering judgement).
    """

    def rule(head: HeadOf) -> DefaultDim:
        table = tuple(
            (row[0], row[1 if column == "outside_diameter" else 2]) for row in outside_table(head.inch)
        )
        value, how = _between(table, head.s)
        words = f"{'A-A-1346A' if head.inch else 'JIS B 4632'} {how}"
        if factor != 1.0:
            words = f"{factor:g} times the {words} ({JUDGEMENT})"
        return DefaultDim(factor * value, words)

    return rule


@cache
def outside_table(inch: bool) -> tuple[tuple[float, float, float], ...]:
    """Return the rows (s, largest outside diameter, thickness) of ring heads in mm, metric or inch."""
    unit = MM_PER_INCH if inch else 1.0
    table = rows("head_outside_inch.csv" if inch else "head_outside.csv")
    cells = [[tidy(parse_number(text) * unit) for text in row.values()] for row in table]
    return tuple((s, outside, thick) for s, outside, thick in cells)


def ring_outside(across_flats_mm: float, inch: bool = False) -> OutsideSize | None:
    """Return the largest ring head a standard gives for a nominal width (mm), None where it has no row.

    Metric: JIS B 4632-1986. Inch: A-A-1346A.
    """
    for width, outside, thick in outside_table(inch):
        if abs(width - across_flats_mm) < 1e-3:
            return OutsideSize(outside, thick, "A-A-1346A, largest" if inch else "JIS B 4632, largest")
    return None


def _between(table: tuple[tuple[float, float], ...], s: float) -> tuple[float, str]:
    """Return the table's value at s and how it was found."""
    xs, ys = [row[0] for row in table], [row[1] for row in table]
    if xs[0] - 1e-6 <= s <= xs[-1] + 1e-6:
        for (x0, y0), (x1, y1) in pairwise(table):
            if s <= x1 + 1e-6:
                return y0 + (y1 - y0) * (s - x0) / (x1 - x0), "table, interpolated in s"
    x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
    rise = sum((x - x_mean) * (y - y_mean) for x, y in table)
    slope = rise / sum((x - x_mean) ** 2 for x in xs)
    return y_mean + slope * (s - x_mean), "least-squares line beyond its table"
