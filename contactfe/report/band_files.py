"""The folder of a band: numbers first, then pictures and page; one that cannot be drawn costs no answer."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from contactfe.files import csv_text, write_together
from contactfe.report.attempts import Attempts
from contactfe.report.band_figures import band_figures
from contactfe.report.band_page import BandAnswers, band_page_of, band_view
from contactfe.report.files import Written
from contactfe.report.page import VIEW
from contactfe.report.reader_units import Units, reading
from contactfe.report.style import save
from contactfe.uncertainty import band_record, column_values, comparison_record, crossover_record

BAND_PAGE = "band.html"


def band_answers_record(found: BandAnswers, version: str) -> dict[str, Any]:
    """Everything that was asked about a band as plain values, as band.json and `contactfe band --json` hold it."""
    record = band_record(found.band, version, found.shares, found.target_Nm)
    if found.comparison is not None:
        record["comparison"] = comparison_record(found.comparison, version)
    if found.crossover is not None:
        record["crossover"] = crossover_record(found.crossover, version)
    return record


def write_band_folder(
    found: BandAnswers, folder: Path, version: str, kind: str = "png", units: Units = "si"
) -> Written:
    """Write band.json and samples.csv into a folder, made if absent, then pictures ("png", "svg" or "pdf"), band.html and
    page.json, from which the page can be built again. ``units`` are those of pictures and page; numbers stay SI.

    Raises:
        NotWritten: the folder cannot be made or written to, or is a file.
    """
    columns = column_values(found.band)
    texts = {
        "band.json": json.dumps(band_answers_record(found, version), indent=1) + "\n",
        "samples.csv": csv_text(tuple(columns), zip(*columns.values(), strict=True)),
    }
    attempts = Attempts()
    numbers = write_together(folder, lambda part: _texts(part, texts))
    with reading(units, found.band.torque_Nm[found.band.known].tolist()):
        pictures = write_together(
            folder, lambda part: _pictures(found, part, (version, kind), texts, attempts)
        )
    return Written((*numbers, *pictures), tuple(attempts.failures))


def _texts(folder: Path, texts: dict[str, str]) -> None:
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")


def _pictures(
    found: BandAnswers, folder: Path, told: tuple[str, str], texts: dict[str, str], attempts: Attempts
) -> None:
    version, kind = told
    figures = attempts.draw(
        "figures", lambda: band_figures(found.band, found.comparison, found.crossover, found.target_Nm)
    )
    for name, figure in (figures or {}).items():
        path = folder / f"{name}.{kind}"
        attempts.draw(path.name, lambda figure=figure, path=path: save(figure, path))  # type: ignore[misc]
    view = attempts.draw(BAND_PAGE, lambda: band_view(found, version, figures or {}, texts))
    if view is not None:
        _texts(folder, {VIEW: json.dumps(view, ensure_ascii=False) + "\n", BAND_PAGE: band_page_of(view)})
