"""The folder of an explanation: numbers first, then pictures; one that cannot be drawn costs no answer."""

from __future__ import annotations

import json
from pathlib import Path

from contactfe import __version__
from contactfe.explain import Comparison, Explanation, comparison_dict
from contactfe.files import write_together
from contactfe.mesh import write_fields
from contactfe.report.attempts import Attempts
from contactfe.report.files import Written, fields
from contactfe.report.reader_units import Units, reading
from contactfe.report.state import end_state, pair_state
from contactfe.report.style import save
from contactfe.report.why_charts import modes_figure, shares_figure
from contactfe.report.why_figures import Shown, deformed_figure
from contactfe.turn import bearing_depth, state_at


def write_why_folder(
    found: Explanation,
    comparison: Comparison | None,
    folder: Path,
    rotation_deg: float | None = None,
    kind: str = "png",
    units: Units = "si",
) -> Written:
    """Write why.json and fields.vtu into a folder, then modes, state and, with a comparison, shares as pictures.

    State and fields are those at a rotation (deg from square), at the end of the pull when none is given. Of a wrench
    that turns freely there are no modes and no state. ``units`` are those of the pictures; the numbers stay SI.

    Raises:
        ContactFEError: the folder cannot be written to, or the rotation lies outside the curve.
    """
    shown = state_shown(found, rotation_deg)
    attempts = Attempts()
    numbers = write_together(folder, lambda part: _numbers(found, comparison, shown, part))
    with reading(units, [found.record.torque_Nm]):
        pictures = write_together(
            folder, lambda part: _pictures(found, comparison, shown, (part, kind), attempts)
        )
    return Written((*numbers, *pictures), tuple(attempts.failures))


def state_shown(found: Explanation, rotation_deg: float | None) -> Shown:
    """Return the state at a rotation (deg from square), or at the end of the pull.

    Raises:
        ContactFEError: the rotation lies outside the curve, or the wrench turns freely.
    """
    record = found.record
    if rotation_deg is None:
        return Shown(end_state(record), record.rotation_deg or 0.0, record.torque_Nm)
    solution = state_at(record.built, record.curve, rotation_deg)
    torque = solution.torque * bearing_depth(record.built.case) / 1e3
    return Shown(pair_state(record.built, solution), rotation_deg, torque)


def _numbers(found: Explanation, comparison: Comparison | None, shown: Shown, folder: Path) -> None:
    told = found.to_dict(__version__)
    if comparison is not None:
        told["against"] = comparison_dict(comparison)
    (folder / "why.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    write_fields(folder / "fields.vtu", fields(found.record, shown.state))


def _pictures(
    found: Explanation,
    comparison: Comparison | None,
    shown: Shown,
    where: tuple[Path, str],
    attempts: Attempts,
) -> None:
    makers = {}
    if comparison is not None:
        makers["shares"] = lambda: shares_figure(comparison)
    if found.modes.modes:
        makers |= {"modes": lambda: modes_figure(found), "state": lambda: deformed_figure(found, shown)}
    for name, make in makers.items():
        figure = attempts.draw(name, make)
        if figure is not None:
            save(figure, where[0] / f"{name}.{where[1]}")
