"""The answers of a case: what each is called in every file, its unit, and what it means. The only list of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class AnswerColumn:
    """One answer: its name in files, what it is called, its unit ("" for words and shares) and what it means."""

    key: str
    label: str
    unit: str
    meaning: str


ANSWERS: tuple[AnswerColumn, ...] = (
    AnswerColumn("turns_freely", "turns freely", "", "the opening passes over the corners without load"),
    AnswerColumn("torque_Nm", "torque", "N·m", "what the pair delivers: the lowest of its limits"),
    AnswerColumn("ended_by", "ended by", "", "the limit that is met first: grip, wrench, bolt or bar"),
    AnswerColumn("rotation_deg", "rotation", "deg", "of the wrench's head at that torque, from square"),
    AnswerColumn(
        "slip_torque_Nm", "slip torque", "N·m", "limit of the grip: the largest torque of the curve"
    ),
    AnswerColumn("slip_rotation_deg", "rotation at slip", "deg", "of the wrench's head, from square"),
    AnswerColumn("wrench_torque_Nm", "limit of the wrench", "N·m", "plastic limit of its head"),
    AnswerColumn(
        "twist_off_torque_Nm", "twist-off", "N·m", "of what is held below the head, at least strength"
    ),
    AnswerColumn("twist_off_low_Nm", "twist-off, low", "N·m", "lower end of its band"),
    AnswerColumn("twist_off_high_Nm", "twist-off, high", "N·m", "upper end of its band"),
    AnswerColumn("next_limit", "next limit", "", "what would end the pull next"),
    AnswerColumn("margin", "margin", "", "torque of the next limit over the torque delivered, less one"),
    AnswerColumn(
        "onset_torque_Nm", "onset torque", "N·m", "where the slope falls for good below 0.3 of its largest"
    ),
    AnswerColumn("onset_rotation_deg", "rotation at onset", "deg", "of the wrench's head, from square"),
    AnswerColumn("free_play_deg", "free play", "deg", "from square to first contact, one way"),
    AnswerColumn(
        "jaw_spread_um_per_Nm", "spread", "µm per N·m", "of the mouth, or of a ring across gripped corners"
    ),
    AnswerColumn(
        "flank_pressure_MPa_per_Nm", "flank pressure", "MPa per N·m", "mean on the most loaded flat"
    ),
    AnswerColumn(
        "flank_stress_MPa_per_Nm", "flank stress", "MPa per N·m", "largest von Mises along the opening"
    ),
    AnswerColumn("crushed_length_mm", "crushed length", "mm", "of surface at slip, all flats together"),
    AnswerColumn("crush_depth_um", "crush depth", "µm", "deepest place at slip"),
    AnswerColumn(
        "wrench_utilisation_at_slip",
        "utilisation of the wrench",
        "",
        "worst section at slip; 1 yields through",
    ),
)
NAMES: tuple[str, ...] = tuple(column.key for column in ANSWERS)
