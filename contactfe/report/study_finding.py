"""What a study found, in one sentence: which profile leads, and where another one takes over."""

from __future__ import annotations

from collections.abc import Sequence

from contactfe.report.rows import (
    PROFILE,
    ROUNDING,
    STRENGTHS,
    Row,
    Swept,
    strength_of,
    torque_of,
    value_of,
    value_words,
)
from contactfe.report.words import PROFILES


def weakest_rows(rows: Sequence[Row], swept: Sequence[Swept], across: Swept) -> list[Row]:
    """Return the rows of the lowest strength and the first value of every other input but profile and `across`."""
    weakest = min(strength_of(row) for row in rows)
    chosen = [row for row in rows if strength_of(row) == weakest]
    for item in swept:
        if item.path not in (PROFILE, across.path, *STRENGTHS):
            first = next(v for v in item.values if any(value_of(row, item.path) == v for row in chosen))
            chosen = [row for row in chosen if value_of(row, item.path) == first]
    return chosen


def finding_of(rows: Sequence[Row], across: Swept) -> str:
    """Return the finding of rows that differ in profile and one input, "" where it takes none.

    The leader at the first value, and where along the input the first other profile passes it: by straight lines
    between the solved values.
    """
    lines = _lines(rows, across)
    if len(lines) < 2 or not across.values:
        return ""
    first = across.values[0]
    known = {name: line for name, line in lines.items() if line.get(first)}
    if not known:
        return ""
    leader = max(known, key=lambda name: known[name][first])
    change = _takes_over(lines, leader, across)
    if change is not None:
        return f"The {_name(leader)} falls behind the {_name(change[0])} beyond {_place(across, change[1])}"
    most = "rounding" if across.path == ROUNDING else across.label
    text = f"The {_name(leader)} delivers most at every {most}"
    rest = {name: line for name, line in known.items() if name != leader}
    if not rest:
        return text
    second = max(rest, key=lambda name: rest[name][first])
    change = _takes_over({n: line for n, line in lines.items() if n != leader}, second, across)
    if change is None:
        return f"{text}, the {_name(second)} comes second"
    return (
        f"{text}; of the others the {_name(second)} falls behind the {_name(change[0])} beyond "
        f"{_place(across, change[1])}"
    )


def _lines(rows: Sequence[Row], across: Swept) -> dict[str, dict[object, float]]:
    found: dict[str, dict[object, float]] = {}
    for row in rows:
        torque = torque_of(row)
        if torque is not None:
            found.setdefault(str(value_of(row, PROFILE)), {})[value_of(row, across.path)] = torque
    return found


def _takes_over(
    lines: dict[str, dict[object, float]], leader: str, across: Swept
) -> tuple[str, object] | None:
    """The first profile that passes the leader, and where; by words the value at which it is ahead."""
    own = lines[leader]
    values = [v for v in across.values if v in own]
    for before, after in zip([values[0], *values], values, strict=False):
        ahead = {
            name: line[after] - own[after]
            for name, line in lines.items()
            if line.get(after, 0.0) > own[after]
        }
        if not ahead:
            continue
        places = {}
        for name, lead in ahead.items():
            behind = own[before] - lines[name].get(before, 0.0)
            share = behind / (behind + lead) if behind + lead > 0 else 1.0
            places[name] = before + share * (after - before) if across.numeric else after
        name = (
            min(places, key=lambda n: (places[n], -ahead[n]))
            if across.numeric
            else max(ahead, key=lambda n: ahead[n])
        )
        return name, places[name]
    return None


def _place(across: Swept, value: object) -> str:
    if across.path == ROUNDING and isinstance(value, float):
        return f"{value:.0f} % rounding"
    text = (
        f"{value:.3g} {across.unit}".strip() if isinstance(value, float) else value_words(across.path, value)
    )
    return f"{across.label} {text}"


def _name(profile: str) -> str:
    return PROFILES.get(profile, profile)
