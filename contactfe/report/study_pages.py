"""The page of a study: slip torque of every case in one table, the figures, and all numbers of all cases."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from contactfe.case import ANSWERS, SAFETY
from contactfe.report.page import Picture, picture, render, sha256_of
from contactfe.report.rows import (
    Row,
    Swept,
    answer,
    band_of,
    cause,
    mark_of,
    outcome,
    row_words,
    swept_inputs,
    torque_of,
    torque_words,
    value_of,
    value_words,
)
from contactfe.report.study import horizontal, study_charts
from contactfe.report.words import BAND, PROFILES, number, plain
from contactfe.study.tables import label, mark_words
from contactfe.uncertainty import counted_words

NAMES = ("name", "case", "case_id", "id")  # where a row may carry the name of its case
_OWN = ("name", "question", "cautions")  # entries of the study's description that have places of their own


@dataclass(frozen=True)
class Cell:
    """One slip torque in the table: its text, and "slips", "free" or "failed"."""

    text: str
    kind: str


def study_page(
    rows: Sequence[Row],
    meta: Mapping[str, Any],
    version: str,
    figures: Mapping[str, Figure] | None = None,
    odds: Sequence[Row] = (),
) -> str:
    """Return the page of a study as HTML text. The same rows, description and version give the same text.

    Rows carry the names of the results table and the swept inputs by dotted path. Of `meta`, "name" heads
    the page, "question" stands below it, "cautions" (a list) join the general caution; the rest is listed at
    the end. Figures that are drawn already are not drawn again. `odds` are the pairs of profiles of a study with
    distributions.
    """
    charts = study_charts(rows) if figures is None else figures
    swept = swept_inputs(rows)
    head, where = _headline(rows, swept)
    # The comparison answers the question of a study, so it stands first.
    ordered = sorted(charts.items(), key=lambda item: item[0] != "comparison")
    return render(
        "study.html",
        title=str(meta.get("name") or "study"),
        question=str(meta.get("question") or ""),
        headline=head,
        where=where,
        counts=_counts(rows),
        failed=[_failure(row, k) for k, row in enumerate(rows) if outcome(row) == "failed"],
        cautions=[*map(str, meta.get("cautions") or ()), SAFETY],
        pivot=_pivot(rows, swept),
        bands=any(band_of(row) is not None for row in rows),
        odds=_odds(odds),
        marks=mark_words(mark_of(row) for row in rows),
        figures=[_picture(name, figure) for name, figure in ordered],
        table=_all_cases(rows, swept),
        about=[(key.replace("_", " "), _about(value)) for key, value in meta.items() if key not in _OWN],
        version=version,
        inputs_hash=sha256_of(
            [{key: str(value) for key, value in row.items() if "." in key} for row in rows]
        ),
        model="Two-dimensional sections, linear elasticity, capped pressure; torque over the engaged depth.",
    )


_ENDS = {
    "grip": "the grip is lost",
    "wrench": "the wrench gives way",
    "bolt": "the bolt twists off",
    "bar": "the bar twists off",
}


def _headline(rows: Sequence[Row], swept: Sequence[Swept]) -> tuple[str, str]:
    """The largest torque that a case of the study reaches, and the case that has it."""
    slipping = [row for row in rows if outcome(row) == "slips"]
    if not slipping:
        return (
            "No case grips" if any(outcome(row) == "free" for row in rows) else "No case has an answer"
        ), ""
    best = max(slipping, key=lambda row: torque_of(row) or 0.0)
    where, band = row_words(best, [item.path for item in swept]), band_of(best)
    torque = f"{number(torque_of(best) or 0.0)} N·m"
    if band is not None:
        reach = f"{number(band[1])} to {number(band[2])} N·m in eight of ten samples"
        return f"Largest torque: {torque}", f"{where}; {reach}" if where else reach
    return f"Largest torque: {torque}, where {_ENDS[cause(best)]}", where


def _counts(rows: Sequence[Row]) -> str:
    failed = sum(outcome(row) == "failed" for row in rows)
    parts = [counted_words(cause(row) for row in rows), f"{failed} without an answer" if failed else ""]
    return f"{len(rows)} cases: {', '.join(part for part in parts if part)}."


def _name(row: Row, k: int) -> str:
    return next((str(row[key]) for key in NAMES if row.get(key)), f"case {k + 1}")


def _failure(row: Row, k: int) -> str:
    reason = str(row.get("reason") or "").strip()
    return f"{_name(row, k)}: {reason}" if reason else _name(row, k)


def _pivot(rows: Sequence[Row], swept: Sequence[Swept]) -> Mapping[str, Any]:
    """Slip torque with the input of the figures' x axis along the top and the other swept inputs down the
    side.
    """
    across = horizontal(swept)
    others = [item for item in swept if across is None or item.path != across.path]
    values = across.values if across is not None else ("",)
    lines: dict[tuple[Any, ...], dict[Any, Row]] = {}
    for row in sorted(
        rows,
        key=lambda r: [
            item.values.index(value_of(r, item.path)) if value_of(r, item.path) in item.values else -1
            for item in others
        ],
    ):
        heads = tuple(value_words(item.path, value_of(row, item.path)) for item in others)
        lines.setdefault(heads, {})[value_of(row, across.path) if across is not None else ""] = row
    columns = [value_words(across.path, v) for v in values] if across is not None else ["slip torque"]
    if across is not None:
        columns[0] = f"{across.label}: {columns[0]}"
    return {
        "heads": [item.label for item in others],
        "columns": columns,
        "rows": [
            {"heads": heads, "cells": [_cell(found.get(v)) for v in values]} for heads, found in lines.items()
        ],
    }


def _cell(row: Row | None) -> Cell:
    return Cell("", "failed") if row is None else Cell(torque_words(row), outcome(row))


def _all_cases(rows: Sequence[Row], swept: Sequence[Swept]) -> Mapping[str, Any]:
    """Name, swept inputs and every answer of every case."""
    present = [a for a in (*ANSWERS, *BAND) if any(answer(row, a.key) is not None for row in rows)]
    banded = any(band_of(row) is not None for row in rows)
    lines = []
    for k, row in enumerate(rows):
        inputs = [value_words(item.path, value_of(row, item.path)) for item in swept]
        answers = [_number(answer(row, a.key)) for a in present]
        became = {"slips": "slips", "free": "turns freely", "failed": "no answer"}[outcome(row)]
        leading = [label(str(row.get("leading_input") or ""))] if banded else []
        lines.append([_name(row, k), *inputs, became, *answers, *leading])
    columns = [
        "case",
        *(item.label for item in swept),
        "outcome",
        *(f"{a.label} ({a.unit})" for a in present),
        *(["input that moves it most"] if banded else []),
    ]
    return {"columns": columns, "rows": lines}


def _odds(odds: Sequence[Row]) -> Mapping[str, Any] | None:
    """The pairs of profiles as a table, None where there are none."""
    if not odds:
        return None
    equal = [path for path in odds[0] if "." in path]
    lines = []
    for row in odds:
        first, second = (PROFILES.get(str(row[key]), str(row[key])) for key in ("first", "second"))
        share, low, high = (100.0 * float(row[f"share_{k}"]) for k in ("first_beats_second", "low", "high"))
        ratio = "" if row["ratio_median"] is None else number(float(row["ratio_median"]))
        held = [value_words(path, value_of(row, path)) for path in equal]
        lines.append([first, second, *held, f"{share:.0f} % ({low:.0f} to {high:.0f} %)", ratio])
    heads = ["first", "second", *(label(path) for path in equal)]
    return {"columns": [*heads, "first delivers more", "ratio, median"], "rows": lines}


def _number(value: float | None) -> str:
    return "" if value is None else number(value)


def _about(value: Any) -> str:
    return (
        json.dumps(value, ensure_ascii=False, sort_keys=True, default=str)
        if isinstance(value, dict | list)
        else plain(value)
    )


def _picture(name: str, figure: Figure) -> Picture:
    profile = name.removeprefix("slip-torque-")
    if name == "comparison":
        text = "All profiles against each other at the lowest strength, relative to the best one when new."
    elif profile in PROFILES:
        text = f"Slip torque of the {PROFILES[profile]}, N·m; cases that turn freely stand at zero."
    else:
        text = "Slip torque of all cases, N·m; cases that turn freely stand at zero."
    return picture(
        figure, name, (text, f"Chart. {text} The numbers stand in the table of all cases."), png=True
    )
