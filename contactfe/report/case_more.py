"""What a case was asked beyond its plain answer: the band of the torque, and further pulls on the same corners."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from contactfe.case import NOT_PILED, PullSeries
from contactfe.report.attempts import Attempts
from contactfe.report.band_figures import band_figure
from contactfe.report.pulls_figure import pulls_figure
from contactfe.report.reader_units import reader
from contactfe.uncertainty import (
    Band,
    band_record,
    band_words,
    ends_words,
    inputs_words,
    plain_words,
    sensitivity,
)


@dataclass(frozen=True, eq=False)
class CaseMore:
    """The band of a case and its pulls; None what was not asked."""

    band: Band | None = None
    pulls: PullSeries | None = None

    def to_dict(self, version: str) -> dict[str, Any]:
        """Both as plain values: "band" as `contactfe band --json` says it, "pulls"."""
        found: dict[str, Any] = {}
        if self.band is not None:
            shares = sensitivity(self.band) if self.band.inputs else None
            found["band"] = band_record(self.band, version, shares)
        if self.pulls is not None:
            found["pulls"] = self.pulls.to_dict()
        return found

    def figures(self, attempts: Attempts) -> dict[str, Figure]:
        """Figures by name; one that fails is left out and noted."""
        found = {}
        if self.band is not None:
            found["band"] = attempts.draw("band", lambda: band_figure(self.band))  # type: ignore[arg-type]
        if self.pulls is not None:
            found["pulls"] = attempts.draw("pulls", lambda: pulls_figure(self.pulls))  # type: ignore[arg-type]
        return {name: figure for name, figure in found.items() if figure is not None}

    def sentences(self) -> list[tuple[str, list[str]]]:
        """Headings with their sentences, for the page."""
        found = []
        if self.band is not None:
            band = self.band
            told = [band_words(band), inputs_words(band), ends_words(band), plain_words(band)]
            if band.inputs:
                shares = sensitivity(band)
                told += [shares.sentence(), shares.group_sentence()]
            told += band.cautions
            found.append(("Band", [text for text in told if text]))
        if self.pulls is not None:
            found.append(("Further pulls on the same corners", [*self.pulls.sentences(), NOT_PILED]))
        return found

    def pull_rows(self) -> list[list[str]]:
        """Rows of the table of pulls as text: number, torque, what is left, what ended it, rounding before."""
        if self.pulls is None:
            return []
        return [
            [
                str(row["pull"]),
                reader().number(row["torque_Nm"], "N·m"),
                f"{100 * row['left']:.0f}",
                str(row["ended_by"]).replace("-", " "),
                f"{100 * row['rounding_before']:.0f}",
            ]
            for row in self.pulls.rows()
        ]
