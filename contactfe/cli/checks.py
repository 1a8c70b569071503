"""Everything that can be wrong before a case is solved, in one message: file, outlines, where results go."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contactfe.errors import GeometryError, InputError, Problem

if TYPE_CHECKING:
    from contactfe.inputs import CaseInput

_BODIES = (("fastener", "shape"), ("wrench", "profile"))


def read_case(path: Path, calibration: Path | None = None) -> dict[str, Any]:
    """Return the raw tables of a case file, with the calibration of the command line in place of its own."""
    from contactfe.inputs import read_toml

    raw = read_toml(path)
    return raw if calibration is None else {**raw, "calibration": str(calibration.resolve())}


def checked_case(
    path: Path, more: Sequence[Problem] = (), calibration: Path | None = None
) -> tuple[dict[str, Any], CaseInput]:
    """Return the raw tables of a case file and the case, whose outlines have been built once to check them.

    Raises InputError with every problem of the file, its outlines and the pair, and `more` behind them.
    """
    from contactfe.inputs import parse_case

    try:
        raw = read_case(path, calibration)
    except InputError as error:
        raise InputError([*error.problems, *more], source=str(path), slug=error.slug) from error
    problems: list[Problem] = []
    case = None
    try:
        case = parse_case(raw, source=str(path), folder=path.parent, name=path.stem)
    except InputError as error:
        problems += error.problems
    problems += _outline_problems(raw, path.parent)
    if case is not None and not problems:
        problems += _pair_problems(case)
    problems += more
    if problems or case is None:
        raise InputError(problems, source=str(path))
    return raw, case


def _outline_problems(raw: Mapping[str, Any], folder: Path) -> list[Problem]:
    """Return what is wrong with the outline files a case names, as far as they are there."""
    found: list[Problem] = []
    for body, key in _BODIES:
        table = raw.get(body)
        name = table.get("outline") if isinstance(table, Mapping) and table.get(key) == "outline" else None
        if not isinstance(name, str) or not (folder / name).is_file():
            continue
        from contactfe.profile import read_outline

        try:
            read_outline(folder / name, body)
        except InputError as error:
            found += [_in_file(folder / name, problem) for problem in error.problems]
    return found


def _in_file(file: Path, problem: Problem) -> Problem:
    where = f"{file}, {problem.where}" if problem.where else str(file)
    return Problem(where, problem.message, problem.hint)


def _pair_problems(case: CaseInput) -> list[Problem]:
    """Return what keeps the two outlines from being built or put together."""
    from contactfe.profile import profile_pair

    try:
        profile_pair(case)
    except GeometryError as error:
        return [Problem(error.where, error.message, error.hint)]
    return []


def folder_problems(folder: Path, option: str = "--out") -> list[Problem]:
    """Return why results cannot be written into a folder, which need not be there yet but whose parent must.

    Permissions are found out by trying: for some users and some file systems they cannot be read off.
    """
    if folder.is_dir():
        return _trial(folder, option, f"{folder} cannot be written to")
    if os.path.lexists(folder):
        return [
            Problem(option, f"{folder} is a file, not a folder", "name another folder, or remove the file")
        ]
    parent = folder.parent
    if not parent.is_dir():
        what = "is not a folder" if os.path.lexists(parent) else "does not exist"
        return [
            Problem(
                option, f"{folder} cannot be made: {parent} {what}", "make it first, or name another folder"
            )
        ]
    return _trial(parent, option, f"{folder} cannot be made")


def file_problems(file: Path, endings: Sequence[str], option: str = "--out") -> list[Problem]:
    """Return why one file cannot be written: its ending, its folder, or a folder of the same name."""
    found: list[Problem] = []
    if file.suffix.lower() not in endings:
        known = " or ".join(endings)
        found.append(
            Problem(
                option,
                f'"{file.name}" does not end in {known}',
                f"name it {file.stem or 'figure'}{endings[0]}",
            )
        )
    if file.is_dir():
        return [*found, Problem(option, f"{file} is a folder", "name a file in it")]
    if not file.parent.is_dir():
        what = "is not a folder" if os.path.lexists(file.parent) else "does not exist"
        return [
            *found,
            Problem(option, f"{file} cannot be written: {file.parent} {what}", "name another folder"),
        ]
    return [*found, *_trial(file.parent, option, f"{file} cannot be written")]


def _trial(folder: Path, option: str, message: str) -> list[Problem]:
    """Try to make something in a folder that is there."""
    try:
        os.rmdir(tempfile.mkdtemp(prefix=".contactfe-", dir=folder))
    except OSError as error:
        return [
            Problem(option, f"{message}: {error.strerror}", "name another folder, or change its permissions")
        ]
    return []


def cores() -> int:
    """The cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not every system tells
        return os.cpu_count() or 1
