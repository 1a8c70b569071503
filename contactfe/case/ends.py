"""What ends a pull, in words: the only place that names it, for tables, sentences and counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class End:
    """How one end of a pull is called: as an event, in a headline before its torque, and for one case or many."""

    event: str
    headline: str
    one: str
    many: str


ENDS: Mapping[str, End] = MappingProxyType(
    {
        "grip": End("slip: the grip is lost", "Slips at", "slips", "slip"),
        "wrench": End(
            "the wrench gives way", "The wrench gives way at", "wrench gives way", "wrenches give way"
        ),
        "bolt": End("the bolt twists off", "The bolt twists off at", "bolt twists off", "bolts twist off"),
        "bar": End("the bar twists off", "The bar twists off at", "bar twists off", "bars twist off"),
        "turns-freely": End("turns freely", "Turns freely", "turns freely", "turn freely"),
    }
)
"""By the value of ``ended_by``, in the order in which they are counted."""


def counted_ends(ends: Iterable[str | None]) -> str:
    """How many pulls end in which way: "20 slip, 18 wrenches give way, 2 turn freely"; what has no end is left out."""
    count = Counter(ends)
    found = [f"{n} {words.one if n == 1 else words.many}" for key, words in ENDS.items() if (n := count[key])]
    return ", ".join(found)
