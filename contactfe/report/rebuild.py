"""Pages built again from stored results, without solving; two or more folders give one page that compares them."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import UndefinedError

from contactfe.errors import InputError, Problem
from contactfe.files import read_json, read_stored, write_text
from contactfe.report.band_files import BAND_PAGE
from contactfe.report.band_page import band_page_of
from contactfe.report.case_page import page_of
from contactfe.report.compare_page import Stored, cases_page, studies_page
from contactfe.report.files import PAGE
from contactfe.report.page import VIEW, Page, read_page
from contactfe.report.reader_units import Units
from contactfe.report.study_pages import study_page
from contactfe.study import read_rows

STUDY_PAGE = "study.html"


@dataclass(frozen=True)
class Found:
    """A folder of results: of one "case", of a "band", of a "study", or one whose "page" is kept as it was made."""

    folder: Path
    kind: str


def rebuilt(
    folders: Sequence[Path], version: str, out: Path | None = None, units: Units | None = None
) -> Path:
    """Write the page of one folder of results again, or one page that compares several, and return its path.

    Without `out` the page goes where it was, a comparison into "comparison.html" of the first folder. Without `units`
    the page is in those of the stored results; a comparison in inches where all of them are.

    Raises:
        InputError: a folder holds no results, or the folders hold different kinds of them; all problems at once. Or the
            page of one case or band was drawn in other units than those asked for.
    """
    found = _found(folders)
    if len(found) == 1:
        return _again(found[0], version, out, units)
    if units is None:
        units = "inch" if {_units(one) for one in found} == {"inch"} else "si"
    stored = [_case(one) if one.kind == "case" else _study(one) for one in found]
    make_page = cases_page if found[0].kind == "case" else studies_page
    page = make_page(stored, version, units)
    path = out or found[0].folder / "comparison.html"
    write_text(path, page)
    return path


def _found(folders: Sequence[Path]) -> list[Found]:
    found, problems = [], []
    for folder in folders:
        if _kept(folder) is not None:
            found.append(Found(folder, "page"))
        elif (folder / "results.csv").is_file():
            found.append(Found(folder, "study"))
        elif (folder / "band.json").is_file():
            found.append(Found(folder, "band"))
        elif (folder / "case.json").is_file():
            found.append(Found(folder, "case"))
        else:
            what = "holds no results" if folder.is_dir() else "is no folder"
            hint = "name a folder that `contactfe turn --out`, `band --out`, `sweep` or `screen` wrote"
            problems.append(Problem(str(folder), what, hint))
    if len({one.kind for one in found}) > 1:
        problems.append(
            Problem("", "cases and studies cannot stand on one page", "compare cases, or compare studies")
        )
    elif len(found) > 1 and found[0].kind == "page":
        problems.append(
            Problem("", "only cases and studies can stand on one page", "name one folder at a time")
        )
    elif len(found) > 1 and found[0].kind == "band":
        hint = "`contactfe band CASE.toml --against OTHER.toml` compares two bands on the same samples"
        problems.append(Problem("", "bands of several folders cannot stand on one page", hint))
    if problems:
        raise InputError(problems, source="report")
    return found


def _kept(folder: Path) -> tuple[Page, str] | None:
    """The page that a folder keeps as plain values, and the name of its file."""
    try:
        known = read_json(folder / VIEW)
    except (OSError, ValueError):
        return None
    return read_page(known) if isinstance(known, dict) else None


def _page_again(found: Found, units: Units | None) -> tuple[Path, str]:
    kept = _kept(found.folder)
    assert kept is not None
    page, name = kept
    if units not in (None, page.units):
        hint = f"ask the command that wrote it once more with --units {units}"
        problem = Problem("--units", f"{name} in {found.folder} is drawn in {page.units}", hint)
        raise InputError([problem], source="report")
    try:
        return found.folder / name, page.html()
    except (UndefinedError, TypeError) as error:
        problem = Problem("", "lacks what the page shows", "run the command that wrote it once more")
        raise InputError([problem], source=str(found.folder / VIEW)) from error


def _again(found: Found, version: str, out: Path | None, units: Units | None) -> Path:
    if found.kind == "page":
        own, text = _page_again(found, units)
        path = out or own
    elif found.kind == "study":
        path, text = out or found.folder / STUDY_PAGE, _study_again(found.folder, version, units)
    elif found.kind == "band":
        path, text = out or found.folder / BAND_PAGE, _drawn_again(found, band_page_of, units)
    else:
        path, text = out or found.folder / PAGE, _drawn_again(found, page_of, units)
    write_text(path, text)
    return path


def _drawn_again(found: Found, page: Callable[[Mapping[str, Any]], str], units: Units | None) -> str:
    """The page of a case or a band, whose figures and sentences are kept as they were drawn."""
    path = found.folder / VIEW
    command = "turn" if found.kind == "case" else "band"
    hint = f"ask once more with `contactfe {command} --out {found.folder}`"
    view = _json(path, hint)
    drawn = view.get("units", "si")
    if units not in (None, drawn):
        problem = Problem(
            "--units", f"the figures in {found.folder} are drawn in {drawn}", f"{hint} --units {units}"
        )
        raise InputError([problem], source="report")
    try:
        return page(view)
    except UndefinedError as error:
        problem = Problem("", "is from another version of contactfe, and lacks what the page shows", hint)
        raise InputError([problem], source=str(path)) from error


def _units(found: Found) -> Units:
    """The units of the reader that stored results were made for."""
    path = found.folder / ("plan.json" if found.kind == "study" else VIEW)
    told = _json(path, "").get("units") if path.is_file() else None
    return "inch" if told == "inch" else "si"


def _study_again(folder: Path, version: str, units: Units | None) -> str:
    rows = read_rows(folder / "results.csv")
    text = read_stored(folder / "results.csv")
    plan = _json(folder / "plan.json", "") if (folder / "plan.json").is_file() else {}
    meta = {"name": str(plan.get("name") or folder.name)}
    if isinstance(plan.get("band"), dict):
        meta["band"] = _band_words(plan["band"])
    meta["units"] = units or str(plan.get("units") or "si")
    return study_page(rows, meta, version, odds=_odds(folder), csv=text)


def _band_words(told: Mapping[str, Any]) -> str:
    """How the cases scatter, in a sentence; plans of older runs hold only the numbers."""
    target = told.get("target_torque_Nm")
    below = "" if target is None else f"; odds of ending below {target:.4g} N m"
    words = f"{told.get('samples')} samples of every case, seed {told.get('seed')}{below}"
    return str(told.get("words") or words)


def _odds(folder: Path) -> list[Mapping[str, Any]]:
    path = folder / "odds.csv"
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as stream:
        return [
            {key: None if cell == "" else cell for key, cell in row.items()} for row in csv.DictReader(stream)
        ]


def _json(path: Path, hint: str) -> dict[str, Any]:
    try:
        found = read_json(path)
    except (OSError, ValueError) as error:
        raise InputError([Problem("", f"cannot be read: {error}", hint)], source=str(path)) from error
    if not isinstance(found, dict):
        raise InputError([Problem("", "is not what a page is built from", hint)], source=str(path))
    return found


def _case(found: Found) -> Stored:
    return Stored(found.folder.name, (_json(found.folder / "case.json", "solve the case once more"),))


def _study(found: Found) -> Stored:
    return Stored(found.folder.name, tuple(read_rows(found.folder / "results.csv")))
