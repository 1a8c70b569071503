"""The page of a band: how far the torque scatters, the odds, and which input to measure first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from matplotlib.figure import Figure

from contactfe.case import SAFETY
from contactfe.report.page import Picture, picture, render
from contactfe.report.reader_units import both, in_words, reader
from contactfe.report.style import data_uri
from contactfe.report.words import as_sentence
from contactfe.uncertainty import (
    Band,
    Comparison,
    Crossover,
    Sensitivity,
    band_words,
    comparison_words,
    crossover_words,
    ends_words,
    inputs_words,
    plain_words,
    statements,
)

KIND = "band"  # how page.json says which page it is
_TEXTS = {
    "band": "Share of pulls that end below a torque, with the model's own error, and of the samples without it.",
    "one-at-a-time": "What each input moves by itself, from 10 % to 90 % of its distribution, the largest on top.",
    "comparison": "Torque of both cases in every sample; on the line they are equal.",
    "crossover": "Bands of both cases along the input, and where the samples change their ranking.",
}
LEFT_OUT = (
    "The band holds what scatters in the inputs and the model's own error, of which a part is judgement."
)


@dataclass(frozen=True, eq=False)
class BandAnswers:
    """Everything that one question about a band found; None what was not asked. ``target_Nm``: odds of ending below."""

    band: Band
    shares: Sensitivity | None = None
    comparison: Comparison | None = None
    crossover: Crossover | None = None
    target_Nm: float | None = None


def band_view(
    found: BandAnswers, version: str, figures: Mapping[str, Figure], files: Mapping[str, str]
) -> dict[str, Any]:
    """Return all that the page of a band shows, as plain values that go into a file.

    `figures` by name, `files` (the text of each by name) are offered for download. In the units of the reader.
    """
    band = found.band
    rule = "by rule, for the file names no distribution" if band.by_rule else "as the file says"
    return {
        "kind": KIND,
        "units": reader().units,
        "title": band.name,
        "sub": f"{band.samples} samples, seed {band.seed}; what scatters, {rule}",
        "headline": f"Delivers {both(band.median_Nm)} in the middle, {_reach(band)} in eight of ten pulls",
        "told": [in_words(text) for text in _sentences(found)],
        "odds": [
            [
                in_words(what).replace(" N m", " N·m"),
                odds.words() if odds is not None else f"not known: {why}",
            ]
            for what, odds, why in statements(band, found.target_Nm)
        ],
        "inputs": [[item.label, in_words(item.words())] for item in band.inputs],
        "figures": [asdict(_picture(name, figure)) for name, figure in figures.items()],
        "cautions": [*(as_sentence(in_words(text)) for text in band.cautions), LEFT_OUT, SAFETY],
        "downloads": [
            [name, data_uri(text.encode(), "application/json" if name.endswith("json") else "text/csv")]
            for name, text in files.items()
        ],
        "version": version,
        "model": "Two-dimensional sections, linear elasticity, capped pressure; torque over the engaged depth.",
    }


def band_page_of(view: Mapping[str, Any]) -> str:
    """Return the page of a band from its view: that of `band_view`, or the same read from a file."""
    return render("band.html", script="downloads.js", **{key: view[key] for key in view if key != "kind"})


def _reach(band: Band) -> str:
    unit = reader().scale("N·m")[1]
    return f"{reader().number(band.low_Nm, 'N·m')} to {reader().number(band.high_Nm, 'N·m')} {unit}"


def _sentences(found: BandAnswers) -> list[str]:
    texts = [
        band_words(found.band),
        inputs_words(found.band),
        ends_words(found.band),
        plain_words(found.band),
    ]
    if found.shares is not None:
        texts += [found.shares.sentence(), found.shares.group_sentence()]
    if found.comparison is not None:
        texts.append(comparison_words(found.comparison))
    if found.crossover is not None:
        texts.append(crossover_words(found.crossover))
    return [as_sentence(text) for text in texts if text]


def _picture(name: str, figure: Figure) -> Picture:
    text = _TEXTS.get(name, name)
    return picture(figure, name, (text, f"Chart. {text} The numbers stand in band.json."), png=True)
