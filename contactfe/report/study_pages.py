"""The page of a study: torque of every case in one table, the figures, and all numbers of all cases."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from contactfe.case import ANSWERS, ENDS, SAFETY
from contactfe.report.inch_table import inch_table
from contactfe.report.page import Picture, picture, render, sha256_of
from contactfe.report.reader_units import Units, both, in_words, reader, reading
from contactfe.report.rows import (
    Row,
    Swept,
    answer,
    band_of,
    end_of,
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
from contactfe.report.study_finding import finding_of, weakest_rows
from contactfe.report.study_ranking import ranking_view
from contactfe.report.style import data_uri
from contactfe.report.words import BAND, PROFILES, PULLS, as_sentence, counts, number, plain
from contactfe.study import label, mark_words, measure_first, wear_words

NAMES = ("name", "case", "case_id", "id")  # where a row may carry the name of its case
_OWN = (
    "name",
    "question",
    "cautions",
    "units",
)  # entries of the study's description that have places of their own


@dataclass(frozen=True)
class Cell:
    """One torque in the table: its text, and "holds", "free" or "failed"."""

    text: str
    kind: str


def study_page(
    rows: Sequence[Row],
    meta: Mapping[str, Any],
    version: str,
    figures: Mapping[str, Figure] | None = None,
    odds: Sequence[Row] = (),
    csv: str = "",
) -> str:
    """Return the page of a study as HTML text. The same rows, description and version give the same text.

    Rows carry the names of the results table and the swept inputs by dotted path. Of `meta`, "name" heads
    the page, "question" stands below it, "cautions" (a list) join the general caution; the rest is listed at
    the end. Figures that are drawn already are not drawn again. `odds` are the pairs of profiles of a study with
    distributions; `csv` the text of the results table, for its download; it
    stays SI. With "units" = "inch" in `meta` the page is for a reader in inches, with a second table beside it.
    """
    units: Units = "inch" if meta.get("units") == "inch" else "si"
    with reading(units, (torque_of(row) or 0.0 for row in rows)):
        return _page(rows, meta, version, figures, (odds, csv))


def _page(
    rows: Sequence[Row],
    meta: Mapping[str, Any],
    version: str,
    figures: Mapping[str, Figure] | None,
    tables: tuple[Sequence[Row], str],
) -> str:
    odds, csv = tables
    charts = study_charts(rows) if figures is None else figures
    swept = swept_inputs(rows)
    across = horizontal(swept)
    head, where = _headline(rows, swept)
    # What answers the question of a study stands first, and its title is the finding.
    first = ("comparison", "best-wrench", "relative")
    ordered = sorted(
        charts.items(), key=lambda item: first.index(item[0]) if item[0] in first else len(first)
    )
    finding = finding_of(weakest_rows(rows, swept, across), across) if across is not None else ""
    return render(
        "study.html",
        script="study.js",
        title=str(meta.get("name") or "study"),
        question=str(meta.get("question") or ""),
        headline=head,
        finding=finding,
        wear=_sentence(wear_words(rows)),
        where=where,
        held=_held(rows),
        counts=f"{len(rows)} cases: {counts([end_of(row) for row in rows])}.",
        failed=[_failure(row, k) for k, row in enumerate(rows) if outcome(row) == "failed"],
        cautions=[
            *(as_sentence(in_words(str(text))) for text in meta.get("cautions") or ()),
            *_to_measure(rows),
            SAFETY,
        ],
        pivot=_pivot(rows, swept),
        bands=any(band_of(row) is not None for row in rows),
        odds=_odds(odds),
        marks=mark_words(mark_of(row) for row in rows),
        figures=[_picture(name, figure, finding) for name, figure in ordered],
        ranking=ranking_view(rows, swept, across),
        table=_all_cases(rows, swept),
        csv_address=data_uri(csv.encode(), "text/csv") if csv else "",
        inch_address=data_uri(inch_table(csv).encode(), "text/csv")
        if csv and reader().units == "inch"
        else "",
        torque_unit=reader().scale("N·m")[1],
        about=[
            (key.replace("_", " "), in_words(_about(value))) for key, value in meta.items() if key not in _OWN
        ],
        version=version,
        inputs_hash=sha256_of(
            [{key: str(value) for key, value in row.items() if "." in key} for row in rows]
        ),
        model="Two-dimensional sections, linear elasticity, capped pressure; torque over the engaged depth.",
    )


def _to_measure(rows: Sequence[Row]) -> list[str]:
    words = measure_first(rows)
    return [as_sentence(words)] if words else []


def _headline(rows: Sequence[Row], swept: Sequence[Swept]) -> tuple[str, str]:
    """The largest torque that a case of the study delivers with what ends it, and the case that has it."""
    holding = [row for row in rows if outcome(row) == "holds"]
    if not holding:
        return (
            "No case grips" if any(outcome(row) == "free" for row in rows) else "No case has an answer"
        ), ""
    best = max(holding, key=lambda row: torque_of(row) or 0.0)
    where, band = row_words(best, [item.path for item in swept]), band_of(best)
    torque = f"Largest torque: {both(torque_of(best) or 0.0)}"
    if band is not None:
        low, high = (reader().number(value, "N·m") for value in band[1:])
        unit = reader().scale("N·m")[1]
        reach = f"{low} to {high} {unit} in eight of ten pulls, with the model's own error"
        return torque, f"{where}; {reach}" if where else reach
    end = end_of(best)
    return torque if end == "grip" else f"{torque}, where {ENDS[end].event}", where


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].replace('N m', 'N·m')}." if text else ""


def _held(rows: Sequence[Row]) -> str:
    """What is held below the head, where bolts or bars end pulls; "" where the table does not say."""
    ends = {end_of(row) for row in rows}
    limited = [row for row in rows if answer(row, "twist_off_torque_Nm") is not None]
    if "bolt" in ends:
        count = sum(end_of(row) == "bolt" for row in rows)
        return f"Held below the head: bolts; their shanks end {count} of {len(rows)} pulls before the grip is lost."
    if "bar" in ends:
        count = sum(end_of(row) == "bar" for row in rows)
        return (
            f"Held below the head: solid bars; they end {count} of {len(rows)} pulls before the grip is lost."
        )
    return "What is held below the head is stronger than the grip in every case." if limited else ""


def _name(row: Row, k: int) -> str:
    return next((str(row[key]) for key in NAMES if row.get(key)), f"case {k + 1}")


def _failure(row: Row, k: int) -> str:
    reason = in_words(str(row.get("reason") or "").strip())
    return f"{_name(row, k)}: {reason}" if reason else _name(row, k)


def _pivot(rows: Sequence[Row], swept: Sequence[Swept]) -> Mapping[str, Any]:
    """Torque with the input of the figures' x axis along the top and the other swept inputs down the
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
    columns = [value_words(across.path, v) for v in values] if across is not None else ["torque"]
    return {
        "heads": [item.label for item in others],
        "across": across.label if across is not None else "",
        "columns": columns,
        "rows": [
            {"heads": heads, "cells": [_cell(found.get(v)) for v in values]} for heads, found in lines.items()
        ],
    }


def _cell(row: Row | None) -> Cell:
    return Cell("", "failed") if row is None else Cell(torque_words(row), outcome(row))


def _all_cases(rows: Sequence[Row], swept: Sequence[Swept]) -> Mapping[str, Any]:
    """Name, swept inputs and every answer of every case."""
    present = [a for a in (*ANSWERS, *PULLS, *BAND) if any(_is_number(row, a.key) for row in rows)]
    banded = any(band_of(row) is not None for row in rows)
    lines = []
    for k, row in enumerate(rows):
        end = end_of(row)
        became = "no answer" if end == "failed" else ENDS[end].one
        inputs = [Entry(value_words(i.path, v), v) for i in swept for v in (value_of(row, i.path),)]
        answers = [
            Entry(_number(v, a.unit), "" if v is None else v) for a in present for v in (answer(row, a.key),)
        ]
        leading = [label(str(row.get("leading_input") or ""))] if banded else []
        cells = [Entry(_name(row, k)), *inputs, Entry(became), *answers, *(Entry(text) for text in leading)]
        lines.append({"kind": outcome(row), "end": end, "cells": cells})
    columns = [
        "case",
        *(item.label for item in swept),
        "ended by",
        *(f"{a.label} ({reader().scale(a.unit)[1]})" if a.unit else a.label for a in present),
        *(["input that moves it most"] if banded else []),
    ]
    ends = [(key, words.one) for key, words in ENDS.items() if any(line["end"] == key for line in lines)]
    if any(line["end"] == "failed" for line in lines):
        ends.append(("failed", "no answer"))
    return {"columns": columns, "rows": lines, "ends": ends, "text_columns": 1 + len(swept)}


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


@dataclass(frozen=True)
class Entry:
    """One cell of the table of all cases: its text, and the value it is sorted by."""

    text: str
    value: Any = ""


def _is_number(row: Row, key: str) -> bool:
    return not isinstance(row.get(key), bool) and answer(row, key) is not None


def _number(value: float | None, unit: str) -> str:
    return "" if value is None else reader().number(value, unit)


def _about(value: Any) -> str:
    return (
        json.dumps(value, ensure_ascii=False, sort_keys=True, default=str)
        if isinstance(value, dict | list)
        else plain(value)
    )


def _picture(name: str, figure: Figure, finding: str) -> Picture:
    profile = name.removeprefix("torque-")
    if name == "comparison":
        text = "All profiles against each other at the lowest strength, relative to the best one when new."
        text = f"{finding}. {text}" if finding else text
    elif name == "best-wrench":
        text = "Which wrench for this hex: the best profile over two inputs, its lead over the second; hatched where open."
    elif name == "relative":
        text = "Each profile in percent of the best one under the same condition, at the lowest strength."
    elif profile in PROFILES:
        text = f"Torque delivered by the {PROFILES[profile]}, {reader().scale('N·m')[1]}; cases that turn freely stand at zero."
    else:
        text = f"Torque delivered in all cases, {reader().scale('N·m')[1]}; cases that turn freely stand at zero."
    alt = f"Chart. {text} The numbers stand in the table of all cases."
    return picture(figure, name, (text, alt), png=True)
