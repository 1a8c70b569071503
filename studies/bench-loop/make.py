"""Makes the invented readings and logs of this folder: the model with another constraint factor, and scatter.

Run from the top of the project: python studies/bench-loop/make.py
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from contactfe.case import solve_case
from contactfe.trial import load_study
from contactfe.turn import smooth_through

HERE = Path(__file__).resolve().parent
FACTOR, SCATTER, SEED = 1.30, 0.04, 7
INVENTED = "invented: made by the model with a constraint factor of 1.30 and 4 % scatter; no tool was pulled"


def main() -> None:
    study = load_study(HERE / "programme.toml")
    rng = np.random.default_rng(SEED)
    rows, records = [], {}
    for case in study.cases:
        own = replace(case.case, contact=replace(case.case.contact, constraint_factor=FACTOR))
        record = solve_case(own)
        slip = record.estimate.slip_torque_Nm
        assert slip is not None
        percent = round(100 * (case.condition.rounding or 0.0))
        records[case.design, percent] = record
        for pull in (1, 2, 3):
            torque, happened, note = slip * math.exp(rng.normal(0.0, SCATTER)), "", ""
            if (case.design, percent, pull) == ("open end", 0, 3):
                torque, happened, note = 0.9 * slip, "wrench broke", "jaw cracked at the root"
            if (case.design, percent, pull) == ("ring six", 0, 2):
                torque, happened, note = 0.85 * slip, "sensor out of range", "see logs/pull-3.csv"
            rows.append(f"{case.design},{percent},{pull},{torque:.1f},{happened},{'ABC'[pull - 1]},{note}")
    head = ["format = 1", 'title = "bench loop, invented"', "[every]", 'size = "M10"', 'grade = "8.8"', "---"]
    columns = "design,rounding (%),pull,torque (N*m),happened,bar,note"
    (HERE / "readings.csv").write_text(
        "\n".join([f"# {INVENTED}", *head, columns, *rows]) + "\n", encoding="utf-8"
    )
    logs = (
        ("pull-1.csv", "open end", 20, None),
        ("pull-2.csv", "ring twelve", 40, None),
        ("pull-3.csv", "ring six", 0, 0.85),
    )
    for k, (name, design, percent, clip) in enumerate(logs):
        write_log(HERE / "logs" / name, records[design, percent], clip, k)


def write_log(path: Path, record, clip: float | None, k: int) -> None:  # type: ignore[no-untyped-def]
    """One pull at 2 deg/s, 50 samples a second, with noise, an offset, and the wrench letting go after the peak."""
    rng = np.random.default_rng(100 + k)
    smooth = smooth_through(record.curve.rotation, record.curve.torque)
    last = math.degrees(smooth.x[-1])
    angle = np.concatenate([np.zeros(100), np.arange(0.0, last, 0.04), np.full(80, last)])
    torque = np.where(angle <= math.degrees(smooth.x[0]), 0.0, smooth(np.radians(np.minimum(angle, last))))
    torque[-80:] = 0.0
    top = float(torque.max())
    torque = torque + rng.normal(0.0, 0.005 * top, len(torque)) + 0.6
    if clip is not None:
        torque = np.minimum(torque, clip * top)
    time = np.arange(len(angle)) / 50.0
    if k == 1:  # as a logger with decimal commas writes it
        lines = ["Zeit [s];Winkel [°];Drehmoment [Nm]"]
        lines += [
            f"{t:.2f};{a:.3f};{m:.2f}".replace(".", ",") for t, a, m in zip(time, angle, torque, strict=True)
        ]
    else:
        lines = ["time (s),angle (deg),torque (N*m)"]
        lines += [f"{t:.2f},{a:.3f},{m:.2f}" for t, a, m in zip(time, angle, torque, strict=True)]
    path.write_text("\n".join([f"# {INVENTED}", *lines]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
