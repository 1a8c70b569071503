"""Plain words for what the files call by short names: profiles, answers, and a case in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from contactfe.case import ANSWERS, ENDS, AnswerColumn, counted_ends
from contactfe.inputs import CaseInput

PROFILES: Mapping[str, str] = {
    "open-end": "open-end wrench",
    "ring-six": "six-point ring",
    "ring-six-relieved": "six-point ring with relieved corners",
    "ring-twelve": "twelve-point ring",
    "ring-spline": "spline ring",
    "flare-nut": "flare-nut wrench",
    "outline": "drawn wrench",
}
SHAPES: Mapping[str, str] = {
    "hex": "hexagon",
    "square": "square",
    "double-hex": "double hexagon",
    "outline": "drawn fastener",
}


LBF_FT = 1.3558179483314004  # N m; exact: 0.45359237 kg, 9.80665 m/s2, 0.3048 m
LEAST_FT = 20.0  # lbf ft; smaller torques are read in lbf in


BAND: tuple[AnswerColumn, ...] = (
    AnswerColumn(
        "torque_median_Nm", "median", "N·m", "half of the pulls end below, with the model's own error"
    ),
    AnswerColumn(
        "torque_p10_Nm", "10 %", "N·m", "a tenth of the pulls end below, with the model's own error"
    ),
    AnswerColumn(
        "torque_p90_Nm", "90 %", "N·m", "nine tenths of the pulls end below, with the model's own error"
    ),
    AnswerColumn("torque_inputs_median_Nm", "median, inputs alone", "N·m", "half of the samples end below"),
    AnswerColumn("torque_inputs_p10_Nm", "10 %, inputs alone", "N·m", "a tenth of the samples end below"),
    AnswerColumn("torque_inputs_p90_Nm", "90 %, inputs alone", "N·m", "nine tenths of the samples end below"),
    AnswerColumn(
        "ends_below_target_share", "ends below target", "share", "of the pulls, with the model's own error"
    ),
    AnswerColumn("twist_off_first_share", "bolt twists off first", "share", "of the samples"),
    AnswerColumn("turns_freely_share", "turns freely", "share", "of the samples"),
    AnswerColumn("leading_input_share", "its share", "of the inputs' variance", "Sobol index of first order"),
    AnswerColumn(
        "model_share", "the model's own share", "of variance", "of ln torque, with the constants that scatter"
    ),
)
"""What the rows of a study with distributions hold beside the answers."""


PULLS: tuple[AnswerColumn, ...] = (
    AnswerColumn(
        "pulls_done", "pulls", "", "on the same corners, until something else than the grip ends one"
    ),
    AnswerColumn("second_pull_torque_Nm", "second pull", "N·m", "torque after one slip"),
    AnswerColumn("left_after_slip", "left after one slip", "share", "of the first torque"),
    AnswerColumn("rounding_after_slip", "rounding after one slip", "share", "equivalent, of material"),
    AnswerColumn("last_pull_torque_Nm", "last pull", "N·m", "torque of it"),
    AnswerColumn("same_torque_Nm", "same torque", "N·m", "the lowest that any of the wrenches delivers"),
    AnswerColumn("rounding_at_same_torque", "rounding at same torque", "share", "equivalent, of material"),
)
"""What the rows of a study with further pulls hold beside the answers."""


def answer_named(key: str) -> AnswerColumn | None:
    """Return the answer a file calls `key`, None for another key."""
    return next((answer for answer in (*ANSWERS, *BAND, *PULLS) if answer.key == key), None)


def counts(ends: Sequence[str]) -> str:
    """Return how many cases end in which way, and how many have no answer."""
    failed = sum(end not in ENDS for end in ends)
    parts = [counted_ends(ends), f"{failed} without an answer" if failed else ""]
    return ", ".join(part for part in parts if part)


def number(value: float) -> str:
    """Return a number with the digits a reader can use: three or four, never an exponent for common sizes."""
    size = abs(value)
    if value == 0:
        return "0"
    if size >= 1000:
        return f"{value:.0f}"
    return f"{value:.3g}" if size < 0.1 else f"{value:.2f}" if size < 10 else f"{value:.1f}"


def length(value: float) -> str:
    """Return a length in mm as a drawing shows it: at most two decimals, three below 1 mm."""
    return (f"{value:.3f}" if abs(value) < 1 else f"{value:.2f}").rstrip("0").rstrip(".") or "0"


def profile_words(case: CaseInput) -> str:
    """Return the profile of a case in plain words, a flare-nut wrench with its points."""
    words = PROFILES.get(case.wrench.profile, case.wrench.profile)
    count = {6: "six", 12: "twelve"}.get(case.wrench.points, "")
    return f"{count}-point {words}" if case.wrench.profile == "flare-nut" else words


def grade_words(name: str) -> str:
    """Return a strength grade as a reader says it: "grade 8.8", and "grade 5", which is a grade's whole name."""
    return name if name.lower().startswith("grade") else f"grade {name}"


def size_words(case: CaseInput) -> str:
    """Return thread size and width across flats, which are easily mixed up: "M10 (16 mm across flats)"."""
    f = case.fastener
    width = f"{length(f.across_flats_nominal)} mm across flats"
    return f"{f.size} ({width})" if f.size else width


def case_words(case: CaseInput) -> str:
    """Return what is turned with what in one line: profile, thread size and width across flats, grade and wear."""
    f = case.fastener
    shape = SHAPES.get(f.shape, f.shape)
    size = size_words(case)
    strength = grade_words(f.grade) if f.grade else f"yield {f.yield_strength:.0f} MPa"
    side = ", driven side only" if f.worn_side == "driven" else ""
    if f.shape == "outline":
        return f"{profile_words(case)} on {shape} {size}, {strength}"
    wear = f"corners {100 * f.rounding:.3g} % rounded{side}" if f.rounding > 0 else "corners not rounded"
    worn = (
        f", {length(f.across_flats_nominal - f.across_flats)} mm undersize"
        if f.across_flats < f.across_flats_nominal
        else ""
    )
    return f"{profile_words(case)} on {shape} {size}, {strength}, {wear}{worn}"


def console(text: str) -> str:
    """Return text of a page with units as the console writes them: "N m" for "N·m"."""
    return text.replace("N·m", "N m").replace("lbf·", "lbf ")


def as_sentence(text: str) -> str:
    """Return words as a sentence of a page: with a capital, a full stop, and units as pages write them."""
    return (
        f"{text[:1].upper()}{text[1:]}".rstrip(".").replace(" N m", " N·m").replace(" lbf ft", " lbf·ft")
        + "."
    )


def plain(value: Any) -> str:
    """Return a value of a record as text for a reader."""
    if value is None or value == "":
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value)
