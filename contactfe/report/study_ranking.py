"""The ranking of a study's page: profiles as bars with bands at one value of an input, which a slider chooses."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from contactfe.case import ENDS
from contactfe.report.reader_units import reader
from contactfe.report.rows import PROFILE, Row, Swept, band_of, end_of, torque_of, value_of, value_words
from contactfe.report.words import PROFILES


@dataclass(frozen=True)
class Choice:
    """Another swept input that the reader sets: its name, and its values in words."""

    label: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class RankingView:
    """What the template asks for: the input on the slider, its values in words, the other inputs, and the data."""

    label: str
    first: str
    last: int
    choices: tuple[Choice, ...]
    data: str


def ranking_view(rows: Sequence[Row], swept: Sequence[Swept], across: Swept | None) -> RankingView | None:
    """Return the view of the ranking; None where profiles or the input along the axis are not swept."""
    profiles = any(item.path == PROFILE for item in swept)
    if across is None or across.path == PROFILE or not profiles:
        return None
    others = [item for item in swept if item.path not in (PROFILE, across.path)]
    entries = []
    for row in rows:
        torque = torque_of(row)
        if torque is None or value_of(row, across.path) not in across.values:
            continue
        place = [item.values.index(value_of(row, item.path)) for item in others]
        entries.append(_entry(row, across.values.index(value_of(row, across.path)), place, torque))
    words = [value_words(across.path, v) for v in across.values]
    data: dict[str, Any] = {"values": words, "unit": reader().scale("N·m"), "rows": entries}
    return RankingView(
        label=across.label,
        first=words[0],
        last=len(words) - 1,
        choices=tuple(Choice(i.label, tuple(value_words(i.path, v) for v in i.values)) for i in others),
        data=json.dumps(data, separators=(",", ":"), ensure_ascii=False).replace("<", "\\u003c"),
    )


def _entry(row: Row, at: int, place: list[int], torque: float) -> dict[str, Any]:
    profile = str(value_of(row, PROFILE))
    band = band_of(row)
    end = end_of(row)
    return {
        "p": PROFILES.get(profile, profile),
        "x": at,
        "o": place,
        "t": torque,
        "b": None if band is None else [band[1], band[2]],
        "e": ENDS[end].one if end in ENDS else "",
    }
