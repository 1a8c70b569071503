"""The page of one case: what the pair delivers and what ends it, the turning player, figures, inputs and checks."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from matplotlib.figure import Figure

from contactfe.case import ANSWERS, CaseRecord
from contactfe.contact import LIMITS
from contactfe.inputs import to_dict
from contactfe.report.attempts import Attempts
from contactfe.report.case_more import CaseMore
from contactfe.report.case_words import end_sentence, headline, limit_rows, model_words
from contactfe.report.curve import curve_figure
from contactfe.report.drawing import drawing_figure
from contactfe.report.flanks import flanks_figure
from contactfe.report.inputs import InputRow, input_tables
from contactfe.report.mesh_table import mesh_table
from contactfe.report.page import Picture, picture, render, sha256_of
from contactfe.report.pair import pair_makers
from contactfe.report.player import player_view
from contactfe.report.reader_units import Units, in_words, reader, reading, shown, text_of
from contactfe.report.style import data_uri
from contactfe.report.words import as_sentence, case_words, number, plain

_AUDIT = {
    "force_balance": "forces on wrench, fastener and handle against each other, over all contact forces",
    "moment_balance": "their moments about the axis, over contact force times across flats",
    "pull": "largest pressure below zero, over the cap",
    "over_cap": "largest pressure above the cap, over the cap",
    "overlap": "deepest overlap where nothing is crushed, over across flats",
    "complementarity": "what is left of the contact conditions in the solver",
}
_IN_LIMITS = ("turns_freely", "ended_by", "twist_off_low_Nm", "twist_off_high_Nm", "next_limit", "margin")
"""Answers that the headline and the table of limits state already."""


MORE_TEXTS = {
    "band": (
        "Share of pulls that end below a torque, with the model's own error, and of the samples without it.",
        "Cumulated share of pulls and of samples against torque, with median, 10 to 90 % band and the plain case.",
    ),
    "pulls": (
        "Torque of each pull, and the corner before and after it.",
        "Torque of each pull on the same corners, and one corner enlarged, its outline before and after each pull.",
    ),
}
"""Caption and alternative text of the figures of a band and of further pulls."""


def case_figures(record: CaseRecord, attempts: Attempts | None = None) -> dict[str, Figure]:
    """Draw the figures of a case by name: "curve", "pair" at the end of the pull, "pair-at-slip" where that differs,
    "flanks" unless it turns freely, "drawing". With `attempts` one that fails is left out and noted there.
    """
    makers: dict[str, Callable[[], Figure | None]] = {
        "curve": lambda: curve_figure(record),
        **pair_makers(record),
    }
    if not record.estimate.turns_freely:
        makers["flanks"] = lambda: flanks_figure(record)
    makers["drawing"] = lambda: drawing_figure(record.built.case)
    drawn = {name: make() if attempts is None else attempts.draw(name, make) for name, make in makers.items()}
    return {name: figure for name, figure in drawn.items() if figure is not None}


def case_page(
    record: CaseRecord,
    version: str,
    figures: Mapping[str, Figure] | None = None,
    attempts: Attempts | None = None,
    units: Units = "si",
) -> str:
    """Return the page of a case as HTML text. The same record and version give the same text.

    Figures that are drawn already are not drawn again. With `attempts` a player that cannot be drawn is left out.
    """
    return page_of(case_view(record, version, figures, attempts, units))


def page_of(view: Mapping[str, Any]) -> str:
    """Return the page of a case from its view: that of `case_view`, or the same read from a file."""
    return render("case.html", script="player.js" if view["player"] else "", **view)


def case_view(
    record: CaseRecord,
    version: str,
    figures: Mapping[str, Figure] | None = None,
    attempts: Attempts | None = None,
    units: Units = "si",
    more: CaseMore | None = None,
) -> dict[str, Any]:
    """Return all that the page of a case shows, as plain values that go into a file."""
    with reading(units, [record.torque_Nm]):
        return _view(record, version, figures, attempts, more or CaseMore())


def _view(
    record: CaseRecord,
    version: str,
    figures: Mapping[str, Figure] | None,
    attempts: Attempts | None,
    more: CaseMore,
) -> dict[str, Any]:
    figures = case_figures(record, attempts) if figures is None else figures
    case, early = record.built.case, record.estimate.early
    player = player_view(record) if attempts is None else attempts.draw("player", lambda: player_view(record))
    return {
        "title": case.name,
        "words": f"{in_words(case_words(case))}; the wrench turns {case.load.direction}",
        "held": record.held,
        "headline": headline(record),
        "ended": end_sentence(record),
        "limits": [asdict(row) for row in limit_rows(record)],
        "answers": _answers(record),
        "more": [
            {"heading": heading, "told": [as_sentence(in_words(text)) for text in told]}
            for heading, told in more.sentences()
        ],
        "pulls": more.pull_rows(),
        "early": _early_note(early.torque_Nm) if early else "",
        "cautions": [in_words(text) for text in record.cautions()],
        "player": asdict(player) if player else None,
        "figures": [asdict(one) for one in _pictures(record, figures)],
        "inputs": {name: [_input(row) for row in rows] for name, rows in input_tables(case).items()},
        "audit": _audit_rows(record),
        "solved": len(record.curve.solutions),
        "torque_unit": reader().scale("N·m")[1],
        "units": reader().units,
        "mesh_rows": mesh_table({"fastener": record.built.fastener.mesh, "wrench": record.built.wrench.mesh}),
        "json_address": data_uri(record_json(record, version, more).encode(), "application/json"),
        "csv_address": data_uri(curve_csv(record).encode(), "text/csv"),
        "version": version,
        "inputs_hash": sha256_of(to_dict(case)),
        "model": model_words(record),
    }


def record_json(record: CaseRecord, version: str, more: CaseMore | None = None) -> str:
    """Return everything about a case as JSON text, keys in the order of the record."""
    told = record.to_dict(version) | (more.to_dict(version) if more else {})
    return json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def curve_csv(record: CaseRecord) -> str:
    """Return the curve as CSV text: rotation of the head in deg, torque in N m."""
    lines = ["rotation_deg,torque_Nm"]
    pairs = zip(record.curve.rotation.tolist(), record.curve.torque.tolist(), strict=True)
    lines += [f"{math.degrees(rotation):.9g},{torque:.9g}" for rotation, torque in pairs]
    return "\n".join(lines) + "\n"


def _answers(record: CaseRecord) -> list[Mapping[str, str]]:
    """The numbers of the case that stand in no other table of the page."""
    values = record.answers()
    rows: list[Mapping[str, str]] = []
    for answer in ANSWERS:
        value = values[answer.key]
        if answer.key in _IN_LIMITS:
            continue
        text, unit = ("none" if value is None else str(value)), answer.unit
        if isinstance(value, float | int) and not isinstance(value, bool):
            text, unit = shown(float(value), answer.unit)
        rows.append({"label": answer.label, "value": text, "unit": unit, "meaning": answer.meaning})
    return rows


def _input(row: InputRow) -> dict[str, str]:
    return {key: in_words(text) for key, text in asdict(row).items()}


def _early_note(torque: float) -> str:
    return (
        f"Spread, flank pressure and flank stress are read at {text_of(torque, 'N·m')}, early in the curve."
    )


def _pictures(record: CaseRecord, figures: Mapping[str, Figure]) -> list[Picture]:
    drawing = f"Drawing of {case_words(record.built.case)}, square in the opening, with its dimensions."
    found = []
    for name, figure in figures.items():
        if name.startswith("pair"):
            found.append(picture(figure, name, _pair_texts(record, name), "png"))
        elif name == "curve":
            found.append(picture(figure, name, _curve_texts(record), png=True))
        elif name == "flanks":
            found.append(picture(figure, name, _flank_texts(record), png=True))
        elif name in MORE_TEXTS:
            found.append(picture(figure, name, MORE_TEXTS[name], png=True))
        else:
            texts = ("The pair at zero rotation with its dimensions.", in_words(drawing))
            found.append(picture(figure, name, texts, png=True))
    return found


def _curve_texts(record: CaseRecord) -> tuple[str, str]:
    e = record.estimate
    caption = (
        "Torque over the engaged depth against the rotation of the wrench's head: full up to the torque delivered, "
        "dashed beyond."
    )
    if e.slip_torque_Nm is None:
        return caption, "Torque against rotation: no torque at any rotation, the wrench turns freely."
    return caption, (
        f"{headline(record)} and {number(record.rotation_deg or 0.0)} deg; free play to "
        f"{number(e.free_play_deg or 0.0)} deg, onset at {text_of(e.onset_torque_Nm or 0.0, 'N·m')}, slip at "
        f"{text_of(e.slip_torque_Nm, 'N·m')} and {number(e.slip_rotation_deg or 0.0)} deg."
    )


def _flank_texts(record: CaseRecord) -> tuple[str, str]:
    where = "at slip" if record.ended_by == "grip" else "where the pull ends"
    caption = f"Pressure along each flat {where}, with the share of the load that the flat carries."
    return (
        caption,
        f"Chart. {caption} One row for each flat, numbered as in the section; crushed parts hatched.",
    )


def _pair_texts(record: CaseRecord, name: str) -> tuple[str, str]:
    e = record.estimate
    if e.slip_torque_Nm is None:
        return (
            "The pair at zero rotation: nothing is pressed.",
            "Section of wrench and fastener as they stand, square; the corners pass the opening.",
        )
    at_slip = name != "pair" or record.ended_by == "grip"
    where = "at slip" if at_slip else f"at {text_of(record.torque_Nm, 'N·m')}, where the pull ends"
    crushed = f"; {text_of(e.crushed_length_mm or 0.0, 'mm')} of surface is crushed" if at_slip else ""
    unit = reader().scale("MPa")[1]
    return (
        f"The pair {where}, in the frame of the wrench's head; percentages: load share of each flat.",
        f"Section of wrench and fastener {where} with von Mises stress in {unit} and pressure on the flanks{crushed}.",
    )


def _audit_rows(record: CaseRecord) -> list[Mapping[str, str]]:
    rows: list[Mapping[str, str]] = []
    for name, value in asdict(record.curve.audit).items():
        limit = LIMITS.get(name)
        rows.append(
            {
                "name": name.replace("_", " "),
                "value": f"{value:.1e}",
                "limit": "" if limit is None else f"{limit:.0e}",
                "within": "" if limit is None else plain(value <= limit),
                "meaning": _AUDIT.get(name, ""),
            }
        )
    return rows
