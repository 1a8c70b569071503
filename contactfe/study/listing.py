"""Plans of cases that are listed one by one instead of being combined from axes: same addresses, store and runner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contactfe.errors import InputError, Problem
from contactfe.inputs import TABLES, field_of, parse_case
from contactfe.study.identity import case_id
from contactfe.study.plan import PlannedCase, StudyPlan
from contactfe.study.scatter import BandSettings, read_band

MOST_TOLD = 20


@dataclass(frozen=True)
class Listed:
    """One case of a list: the values of the columns that tell it apart, and its raw tables."""

    values: tuple[str, ...]
    raw: Mapping[str, Any]


def listed_plan(
    name: str, columns: Sequence[str], cases: Sequence[Listed], band: Any = None, folder: Path | None = None
) -> StudyPlan:
    """The plan of listed cases; `band` is a raw [band] table, None for none.

    All cases meet the same samples: which column of the sequence an input takes follows from the inputs that are
    distributions in any of them.

    Raises:
        InputError: with the problems of every case, each with the values that tell the case apart.
    """

    settings, problems = read_band(band, {path for one in cases for path in _scattering(one.raw)})
    if problems:
        raise InputError(problems)
    digits = len(str(len(cases)))
    planned: list[PlannedCase] = []
    found: dict[Problem, None] = {}
    for index, one in enumerate(cases):
        try:
            planned.append(_planned(index, f"{name}-{index + 1:0{digits}d}", one, settings, folder))
        except InputError as error:
            label = ", ".join(one.values)
            for p in error.problems:
                found.setdefault(Problem(f"{label}: {p.where}" if p.where else label, p.message, p.hint))
    if found:
        told = list(found)[:MOST_TOLD]
        more = len(found) - len(told)
        raise InputError([*told, *([Problem("", f"and {more} more like these")] if more else [])])
    return StudyPlan(name, tuple(columns), tuple(planned), settings)


def _planned(
    index: int, own: str, one: Listed, settings: BandSettings | None, folder: Path | None
) -> PlannedCase:
    if settings is None:
        case, band = parse_case(one.raw, folder=folder, name=own), None
    else:
        from contactfe.study.scatter import case_band
        from contactfe.uncertainty import split_case

        uncertain = split_case(one.raw, folder=folder, name=own)
        case, band = uncertain.case, case_band(settings, uncertain)
    address = case_id(case, band=None if band is None else band.key())
    return PlannedCase(index, address, own, one.values, case, band)


def _scattering(raw: Mapping[str, Any]) -> set[str]:
    """Paths of the keys of a raw case that hold a distribution."""
    tables = {name: raw[name] for name in TABLES if isinstance(raw.get(name), Mapping)}
    paths = {
        f"{name}.{key}"
        for name, part in tables.items()
        for key, value in part.items()
        if isinstance(value, Mapping)
    }
    return {path for path in paths if field_of(path) is not None}
