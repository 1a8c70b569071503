"""The folder of one case: numbers, fields, figures and page, written beside and moved in whole files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.files import write_together
from contactfe.mesh import SectionMesh, write_fields
from contactfe.report.pages import case_figures, case_page, curve_csv, record_json
from contactfe.report.state import BodyState, SlipState, slip_state
from contactfe.report.style import save

Array = NDArray[np.float64]
Part = tuple[SectionMesh, Mapping[str, Array], int]

FASTENER, WRENCH = 1, 2
"""The numbers of the bodies in the field file."""


def fields(record: CaseRecord, state: SlipState | None = None) -> list[Part]:
    """Return both bodies at slip for `contactfe.mesh.write_fields`: mesh, fields on its nodes, number of the
    body.

    Both stand in the frame of the wrench's undeformed head, the fastener at its rotation; nodes moved by the
    displacement lie where they press on each other. Fields: "displacement_mm" (n, 3); "von_mises_MPa";
    "principal_1_MPa" and "principal_2_MPa" (in the plane, larger first); "sxx_MPa", "syy_MPa", "sxy_MPa";
    "crush_depth_um". All zero when the wrench turns freely. A `state` that is known is not worked out again.
    """
    state = state or slip_state(record)
    return [_part(state.fastener, FASTENER), _part(state.wrench, WRENCH)]


def write_case_folder(record: CaseRecord, folder: Path, version: str) -> list[Path]:
    """Write case.json, curve.csv, fields.vtu, curve.png, pair.png and case.html into a folder, made if
    absent.

    Everything is written into a folder beside it first and then moved in file by file, so that no file is
    ever half written. Returns the paths of the files.

    Raises:
        ContactFEError: the folder cannot be made or written to, or is a file.
    """
    folder = Path(folder)
    write_together(folder, lambda part: _write_all(record, part, version))
    return [folder / name for name in FILES]


FILES = ("case.json", "curve.csv", "fields.vtu", "curve.png", "pair.png", "case.html")
"""The files of a case's folder."""


def _write_all(record: CaseRecord, folder: Path, version: str) -> None:
    state = slip_state(record)
    figures = case_figures(record, state)
    (folder / "case.json").write_text(record_json(record, version), encoding="utf-8")
    (folder / "curve.csv").write_text(curve_csv(record), encoding="utf-8")
    write_fields(folder / "fields.vtu", fields(record, state))
    save(figures.curve, folder / "curve.png")
    save(figures.pair, folder / "pair.png")
    (folder / "case.html").write_text(case_page(record, version, figures), encoding="utf-8")


def _part(body: BodyState, number: int) -> Part:
    mesh = SectionMesh(np.array(body.nodes), body.mesh.cells, body.mesh.boundary, body.mesh.outline)
    sxx, syy, sxy = body.stress[:, 0], body.stress[:, 1], body.stress[:, 2]
    mean, radius = 0.5 * (sxx + syy), np.hypot(0.5 * (sxx - syy), sxy)
    values = {
        "displacement_mm": np.column_stack([body.displacement, np.zeros(len(body.displacement))]),
        "von_mises_MPa": body.mises,
        "principal_1_MPa": mean + radius,
        "principal_2_MPa": mean - radius,
        "sxx_MPa": np.array(sxx),
        "syy_MPa": np.array(syy),
        "sxy_MPa": np.array(sxy),
        "crush_depth_um": 1e3 * body.crush,
    }
    return mesh, values, number
