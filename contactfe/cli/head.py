"""What every answer of one case begins with: what is turned with what, what the pair delivers, and its limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from contactfe.cli.output import say, say_table, say_wrapped

if TYPE_CHECKING:
    from contactfe.case import CaseRecord
    from contactfe.report import Units


def say_head(record: CaseRecord, units: Units | None = None) -> None:
    """Print the head of a case: name, pair and what is held, the torque delivered and what ends it, all limits."""
    from contactfe.report import case_words as words
    from contactfe.report import console, number, shown
    from contactfe.report.reader_units import reader

    units = units or reader().units
    case = record.built.case
    say(case.name)
    say_wrapped(words.header(record, units), "  ")
    arm = case.load.lever_arm
    how = "pure couple" if arm is None else f"pulled at {arm:g} mm"
    depth, opening = (
        " ".join(shown(value, "mm", units)) if units == "inch" else f"{value:.5g} mm"
        for value in (case.fastener.engaged_depth, case.wrench.opening)
    )
    say(
        f"  engaged depth {depth}, opening {opening}, "
        f"friction {case.contact.friction:g}, {how}, {case.load.direction}"
    )
    say()
    at = "" if record.rotation_deg is None else f", at {number(record.rotation_deg)} deg"
    say(f"  {console(words.headline(record, units))}{at}")
    if not record.limits:
        say_wrapped("the opening passes over the corners at any torque, so there is no torque", "  ")
        return
    if sentence := words.end_sentence(record, units):
        say_wrapped(console(sentence), "  ")
    say()
    say("limits, the lowest torque first")
    lines = []
    for row in words.limit_rows(record, units):
        torque = f"{row.torque} ({row.band})" if row.band else row.torque
        unit = "deg" if row.rotation[:1].isdigit() else ""
        lines.append((row.name, console(torque), row.rotation, unit, row.margin, row.note))
    say_table(lines)
