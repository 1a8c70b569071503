"""The results table of a study for a reader in inches: every column's name carries its unit."""

from __future__ import annotations

import csv
import io

from contactfe.errors import ContactFEError
from contactfe.files import csv_text
from contactfe.inputs import field_of
from contactfe.report.reader_units import Reader, in_words, reading
from contactfe.units import KINDS, parse_quantity

NAME = "results-inch.csv"
_ENDINGS = (
    ("_um_per_Nm", "µm per N·m"),
    ("_MPa_per_Nm", "MPa per N·m"),
    ("_Nm", "N·m"),
    ("_mm", "mm"),
    ("_um", "µm"),
    ("_MPa", "MPa"),
)
_SWEPT = {"length": "mm", "stress": "MPa", "torque": "N·m"}


def inch_table(text: str) -> str:
    """Return the text of a study's results.csv in lbf ft, in, mil and ksi: "torque_Nm" becomes "torque_lbf_ft".

    All torques of a table take one unit, lbf in where every torque delivered stays below 20 lbf ft. Quantities that
    were swept stay text with their unit; what has the same unit for every reader stays as it is.
    """
    head, *lines = list(csv.reader(io.StringIO(text)))
    delivered = head.index("torque_Nm") if "torque_Nm" in head else None
    torques = [float(line[delivered]) for line in lines if delivered is not None and line[delivered]]
    with reading("inch", torques) as told:
        columns = [_column(name, told) for name in head]
        rows = [[_cell(name, cell, told) for name, cell in zip(head, line, strict=True)] for line in lines]
    return csv_text(columns, rows)


def _ending(name: str) -> tuple[str, str]:
    return next(((end, unit) for end, unit in _ENDINGS if "." not in name and name.endswith(end)), ("", ""))


def _column(name: str, told: Reader) -> str:
    end, unit = _ending(name)
    return (
        name
        if not unit
        else f"{name.removesuffix(end)}_{told.scale(unit)[1].replace('·', '_').replace(' ', '_')}"
    )


def _cell(name: str, cell: str, told: Reader) -> str:
    unit = _ending(name)[1]
    if unit:
        return f"{float(cell) / told.scale(unit)[0]:.9g}" if cell else cell
    field = field_of(name) if "." in name else None
    if field is not None and field.kind in KINDS and field.kind in _SWEPT:
        return _swept(cell, field.kind, told)
    return in_words(cell) if name in ("reason", "cautions") else cell


def _swept(cell: str, kind: str, told: Reader) -> str:
    factor, name = told.scale(_SWEPT[kind])
    try:
        value = parse_quantity(cell, kind) / KINDS[kind].shown_factor  # type: ignore[arg-type, index]
    except ContactFEError:
        return cell
    return f"{value / factor:.6g} {name.replace('·', ' ')}"
