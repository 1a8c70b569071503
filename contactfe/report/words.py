"""Plain words for what the files call by short names: profiles, answers, and a case in one line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True)
class Answer:
    """One number of a case: the name in files, what it is called, its unit and what it means."""

    key: str
    label: str
    unit: str
    meaning: str


ANSWERS: tuple[Answer, ...] = (
    Answer("slip_torque_Nm", "slip torque", "N·m", "largest torque of the curve, over the engaged depth"),
    Answer(
        "reached_torque_Nm", "torque reached", "N·m", "slip torque, or less where the wrench gives way first"
    ),
    Answer("slip_rotation_deg", "rotation at slip", "deg", "of the wrench's head, from square"),
    Answer("onset_torque_Nm", "onset torque", "N·m", "where the grip begins to give for good"),
    Answer("onset_rotation_deg", "rotation at onset", "deg", "of the wrench's head, from square"),
    Answer("free_play_deg", "free play", "deg", "from square to first grip, one way"),
    Answer(
        "jaw_spread_um_per_Nm",
        "spread",
        "µm per N·m",
        "of the jaw's mouth, or of a ring across gripped corners",
    ),
    Answer("flank_pressure_MPa_per_Nm", "flank pressure", "MPa per N·m", "mean on the most loaded flat"),
    Answer(
        "flank_stress_MPa_per_Nm", "flank stress", "MPa per N·m", "largest von Mises stress along the opening"
    ),
    Answer("crushed_length_mm", "crushed length", "mm", "of surface at slip, all flats together"),
    Answer("crush_depth_um", "crush depth", "µm", "deepest place at slip"),
    Answer(
        "wrench_use_at_slip",
        "use of the wrench",
        "of yield",
        "most used section at slip; at 1 it yields through",
    ),
)

BAND: tuple[Answer, ...] = (
    Answer("slip_torque_median_Nm", "median", "N·m", "half of the samples slip below"),
    Answer("slip_torque_p10_Nm", "10 %", "N·m", "a tenth of the samples slip below"),
    Answer("slip_torque_p90_Nm", "90 %", "N·m", "nine tenths of the samples slip below"),
    Answer("slips_below_target_share", "slips below target", "share", "of the samples"),
    Answer("twists_off_first_share", "bolt twists off first", "share", "of the samples"),
    Answer("turns_freely_share", "turns freely", "share", "of the samples"),
    Answer("leading_input_share", "its share", "of variance", "Sobol index of first order"),
)
"""What the rows of a study with distributions hold beside the answers."""


def answer_named(key: str) -> Answer | None:
    """Return the answer a file calls `key`, None for another key."""
    return next((answer for answer in ANSWERS if answer.key == key), None)


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


def case_words(case: CaseInput) -> str:
    """Return what is turned with what in one line: profile, size, grade and wear."""
    f = case.fastener
    shape = SHAPES.get(f.shape, f.shape)
    size = f.size or f"{length(f.across_flats_nominal)} mm"
    strength = f"grade {f.grade}" if f.grade else f"yield {f.yield_strength:.0f} MPa"
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


def plain(value: Any) -> str:
    """Return a value of a record as text for a reader."""
    if value is None or value == "":
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value)
