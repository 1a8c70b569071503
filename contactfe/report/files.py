"""The folder of one case: numbers, fields, figures and page, written beside and moved in whole files."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.files import write_together
from contactfe.mesh import SectionMesh, write_fields
from contactfe.report.attempts import Attempts
from contactfe.report.case_more import CaseMore
from contactfe.report.case_page import case_figures, case_view, curve_csv, page_of, record_json
from contactfe.report.page import VIEW
from contactfe.report.reader_units import Units, reading
from contactfe.report.state import BodyState, SlipState, end_state
from contactfe.report.style import save

Array = NDArray[np.float64]
Part = tuple[SectionMesh, Mapping[str, Array], int]

FASTENER, WRENCH = 1, 2
"""The numbers of the bodies in the field file."""


def fields(record: CaseRecord, state: SlipState | None = None) -> list[Part]:
    """Return both bodies at the end of the pull for `contactfe.mesh.write_fields`: mesh, fields on its nodes, number of the
    body.

    Both stand in the frame of the wrench's undeformed head, the fastener at its rotation; nodes moved by the
    displacement lie where they press on each other. Fields: "displacement_mm" (n, 3); "von_mises_MPa";
    "principal_1_MPa" and "principal_2_MPa" (in the plane, larger first); "sxx_MPa", "syy_MPa", "sxy_MPa";
    "crush_depth_um". All zero when the wrench turns freely. A `state` that is known is not worked out again.
    """
    state = state or end_state(record)
    return [_part(state.fastener, FASTENER), _part(state.wrench, WRENCH)]


@dataclass(frozen=True)
class Written:
    """The files of a case that were written, and the pictures that could not be drawn, each with its reason."""

    paths: tuple[Path, ...]
    failures: tuple[str, ...]


NUMBERS = ("case.json", "curve.csv", "fields.vtu")
PICTURES = ("curve", "pair", "pair-at-slip", "flanks", "drawing")
PAGE = "case.html"


def write_case_folder(
    record: CaseRecord,
    folder: Path,
    version: str,
    kind: str = "png",
    units: Units = "si",
    more: CaseMore | None = None,
) -> Written:
    """Write numbers, pictures and page of a case into a folder, made if absent; pictures as "png", "svg" or "pdf".

    First the numbers (case.json, curve.csv, fields.vtu), then the pictures, the page and page.json, from which the page
    can be built again: a picture that cannot be drawn is left out and named. The band and the further pulls of ``more``
    go into case.json, the page and pictures of their own. Files are written beside first and then moved in one by one,
    so that none is ever half written.

    Raises:
        NotWritten: the folder cannot be made or written to, or is a file.
    """
    folder = Path(folder)
    attempts, more = Attempts(), more or CaseMore()
    numbers = write_together(folder, lambda part: _write_numbers(record, part, version, more))
    pictures = write_together(
        folder, lambda part: _write_pictures(record, part, (version, kind, units), attempts, more)
    )
    return Written((*numbers, *pictures), tuple(attempts.failures))


def _write_numbers(record: CaseRecord, folder: Path, version: str, more: CaseMore) -> None:
    (folder / "case.json").write_text(record_json(record, version, more), encoding="utf-8")
    (folder / "curve.csv").write_text(curve_csv(record), encoding="utf-8")
    write_fields(folder / "fields.vtu", fields(record))


def _write_pictures(
    record: CaseRecord, folder: Path, told: tuple[str, str, Units], attempts: Attempts, more: CaseMore
) -> None:
    version, kind, units = told
    with reading(units, [record.torque_Nm]):
        _draw(record, folder, (version, kind, units), attempts, more)


def _draw(
    record: CaseRecord, folder: Path, told: tuple[str, str, Units], attempts: Attempts, more: CaseMore
) -> None:
    version, kind, units = told
    figures = case_figures(record, attempts) | more.figures(attempts)
    for name, figure in figures.items():
        path = folder / f"{name}.{kind}"
        attempts.draw(path.name, lambda figure=figure, path=path: save(figure, path))  # type: ignore[misc]
    view = attempts.draw(PAGE, lambda: case_view(record, version, figures, attempts, units, more))
    if view is not None:
        (folder / VIEW).write_text(json.dumps(view, ensure_ascii=False) + "\n", encoding="utf-8")
        (folder / PAGE).write_text(page_of(view), encoding="utf-8")


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
