"""What a page, a figure or the console says about one case, in sentences and rows."""

from __future__ import annotations

from dataclasses import dataclass

from contactfe.case import ENDS, CaseRecord, Limit
from contactfe.report.reader_units import Units, both, in_words, reader, text_of
from contactfe.report.words import case_words, number

LIMIT_NAMES = {
    "grip": "grip (slip)",
    "wrench": "wrench (plastic limit of its head)",
    "bolt": "bolt (twist-off)",
    "bar": "bar (yields through in torsion)",
}


@dataclass(frozen=True)
class LimitRow:
    """One limit as a table shows it; ``other``: the torque in the units of the other reader; ``ends``: it ends the pull."""

    name: str
    torque: str
    other: str
    band: str
    rotation: str
    margin: str
    note: str
    ends: bool


def headline(record: CaseRecord, units: Units | None = None) -> str:
    """Return what the pair delivers and what ends it, in a few words: "Slips at 103.2 N·m (76.1 lbf·ft)"."""
    if record.ended_by == "turns-freely":
        return "Turns freely: it does not grip"
    return f"{ENDS[record.ended_by].headline} {both(record.torque_Nm, units)}"


def end_sentence(record: CaseRecord, units: Units | None = None) -> str:
    """Return by what margin the next limit follows, "" where nothing does."""
    following, margin = record.next_limit, record.margin
    if following is None or following.torque_Nm is None or margin is None:
        return ""
    name = LIMIT_NAMES[following.kind]
    return f"Next limit: {name} at {both(following.torque_Nm, units)}, {100 * margin:.0f} % higher."


def limit_rows(record: CaseRecord, units: Units | None = None) -> list[LimitRow]:
    """Return the limits, the lowest torque first, each with its margin over the torque delivered."""
    return [_limit_row(record, limit, units) for limit in record.limits]


def _limit_row(record: CaseRecord, limit: Limit, units: Units | None) -> LimitRow:
    ends = limit is record.limits[0]
    torque, other = "not known", ""
    if limit.torque_Nm is not None:
        swapped: Units = "si" if (units or reader().units) == "inch" else "inch"
        torque, other = (text_of(limit.torque_Nm, "N·m", one) for one in (units, swapped))
    band = ""
    if limit.band_Nm is not None:
        band = " to ".join(text_of(value, "N·m", units) for value in limit.band_Nm)
    over = "" if limit.torque_Nm is None else f"{100 * (limit.torque_Nm / record.torque_Nm - 1):+.0f} %"
    rotation = "beyond slip" if limit.rotation_deg is None else number(limit.rotation_deg)
    if limit.torque_Nm is None:
        rotation = ""
    name, margin = LIMIT_NAMES[limit.kind], "ends the pull" if ends else over
    return LimitRow(name, torque, other, band, rotation, margin, in_words(limit.note, units), ends)


def model_words(record: CaseRecord) -> str:
    """Return the model in one sentence."""
    case = record.built.case
    return (
        f"Two-dimensional sections in plane {case.contact.plane}, linear elasticity, contact pressure "
        f"at most {text_of(record.built.law.cap, 'MPa')}, friction {case.contact.friction:g}; "
        "torque over the engaged depth."
    )


def header(record: CaseRecord, units: Units | None = None) -> str:
    """Return what is turned with what, and what is held below the head."""
    return f"{in_words(case_words(record.built.case), units)}; held below the head: {record.held}"
