"""Commented starting files, written from the field list."""

from __future__ import annotations

from typing import Literal

from ..standards import DIMENSIONS, PROFILES, design_table, head_defaults
from .fields import FORMAT, TABLES, Field, fields_of

# Keys a starting file sets, with the value it sets; every other key stands there as a comment.
_SET: dict[str, str] = {
    "fastener.size": '"M10"',
    "fastener.grade": '"8.8"',
    "fastener.stock": '"bar"',
    "fastener.rounding": '"0 %"',
    "wrench.profile": '"ring-twelve"',
    "wrench.opening": '"middle"',
    "contact.friction": "0.15",
    "load.lever_arm": '"none"',
}

_SWEEP: tuple[tuple[str, str], ...] = (
    ("wrench.profile", '["open-end", "ring-six", "ring-twelve"]'),
    ("fastener.rounding", '["0 %", "20 %", "40 %"]'),
)

_BAND = (
    "",
    "# [band]    # for a study with distributions, such as friction = { low = 0.10, high = 0.20 }",
    "# samples = 64    # of every case; a power of two",
    "# seed = 1",
    '# below = "60 N*m"    # also the odds of slipping below this torque',
)

_DESIGN = {key: words for key, _, words, _ in design_table() if key != "opening"}
"""The ranges of the design numbers, in words."""

_ABOUT = {
    "fastener": "the fastener that is turned",
    "wrench": "the head of the wrench",
    "contact": "how the two touch",
    "load": "how the wrench is pulled",
    "mesh": "fineness of the calculation",
}


def case_template(kind: Literal["turn", "sweep"]) -> str:
    """Return a commented starting file: "turn" is one case, "sweep" a case under [base] and a [sweep] table.

    Each key of [sweep] is a dotted path of the case with the list of values it takes.
    """
    lines = [
        '# Lengths, stresses, angles and shares are text with a unit: "16 mm", "5/16 in", "92 ksi", "20 %".',
        "# Keys behind # are not set; the value shown is an example or the default.",
        f"format = {FORMAT}",
        f'name = "my-{kind}"',
        *(line for entry in fields_of("") if entry.name == "calibration" for line in _lines(entry)),
    ]
    base = "base." if kind == "sweep" else ""
    for table in TABLES:
        lines += ["", f"[{base}{table}]    # {_ABOUT[table]}"]
        for entry in fields_of(table):
            lines += _lines(entry)
    if kind == "sweep":
        lines += ["", "[sweep]    # every combination of these values is one case"]
        lines += [f'"{path}" = {values}' for path, values in _SWEEP]
        lines += _BAND
    return "\n".join(lines) + "\n"


def _lines(entry: Field) -> list[str]:
    value = _SET.get(entry.path)
    text = value if value is not None else _quoted(entry, entry.default or entry.example)
    line = f"{entry.name} = {text}"
    return [("" if value is not None else "# ") + f"{line}    # {_comment(entry)}"]


def _quoted(entry: Field, text: str) -> str:
    return text if entry.kind in ("number", "integer") else f'"{text}"'


def _comment(entry: Field) -> str:
    """Return what a key means, the words it takes, and what its absence means."""
    parts = [entry.doc]
    if entry.choices:
        words = ", ".join(entry.choices)
        parts.append(words if entry.kind == "choice" else f"{words}, or a length such as {entry.example}")
    if entry.table == "wrench" and entry.name in DIMENSIONS:
        owners = _owners(entry)
        parts.append("for every profile" if len(owners) == len(PROFILES) - 1 else f"for {', '.join(owners)}")
    if entry.table == "wrench" and entry.name in _DESIGN:
        parts.append(f"usual {_DESIGN[entry.name]}")
    if entry.default is not None:
        parts.append(f"default {entry.default}")
    elif entry.rule:
        parts.append(f"if absent: {entry.rule}")
    return "; ".join(parts)


def _owners(entry: Field) -> list[str]:
    """Return the profiles that have a dimension; "outline" has none."""
    return [name for name in PROFILES if entry.name in head_defaults(name, 16.0, 16.16)]
