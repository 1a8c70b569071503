"""The rows of a study: as CSV, the same to the byte for the same answers, as Parquet, and as small tables."""

from __future__ import annotations

import csv
import importlib.util
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contactfe.case import ANSWERS as CASE_ANSWERS
from contactfe.case import counted_ends
from contactfe.errors import InputError, Problem
from contactfe.files import csv_cell, csv_text, read_stored, write_text, write_whole
from contactfe.inputs import field_of
from contactfe.standards import profile
from contactfe.study.plan import PROFILE, PlannedCase, StudyPlan
from contactfe.study.wear import PULLS, wear_words
from contactfe.study.work import FAILED, FREE, OK, Outcome

Row = dict[str, Any]

FIRST = ("case_id", "name")
STATE = ("status", "reason")
ANSWERS = tuple(column.key for column in CASE_ANSWERS)
CAUTIONS = "cautions"
UNMEASURED = "is a default: a fifth less"  # in the caution of an open head whose thickness nobody measured
MARKS = {
    "*": "the wrench gives way first (of a band: in at least half of its samples)",
    "^": "the bolt or bar twists off first (of a band: in at least half of its samples)",
    "+": "a section of the wrench yields through before the pull ends: it keeps a permanent set",
}
"""What stands behind a torque in small tables, and what it says."""
FIRST_TO_GO = ("*", "^")  # marks of pulls that end before the grip is lost


BAND = (
    "torque_median_Nm",
    "torque_p10_Nm",
    "torque_p90_Nm",
    "torque_inputs_median_Nm",
    "torque_inputs_p10_Nm",
    "torque_inputs_p90_Nm",
    "turns_freely_share",
    "wrench_first_share",
    "twist_off_first_share",
    "leading_input",
    "leading_input_share",
    "model_share",
    "band_samples",
)
TARGET = ("target_torque_Nm", "ends_below_target_share")
_WORDED = ("leading_input",)


def columns_of(plan: StudyPlan) -> tuple[str, ...]:
    """The columns of a study's table: address, name, varied inputs, status and reason, answers, cautions; of a study
    whose cases ask for further pulls what these leave, of one with distributions the bands, and the odds of ending
    below the target where there is one."""
    pulls = PULLS if plan.further_pulls else ()
    return (*FIRST, *plan.varied, *STATE, *ANSWERS, CAUTIONS, *pulls, *_band_columns(plan))


def _band_columns(plan: StudyPlan) -> tuple[str, ...]:
    if plan.band is None:
        return ()
    return BAND if plan.band.below_Nm is None else (*BAND, *TARGET)


def row_of(plan: StudyPlan, case: PlannedCase, outcome: Outcome) -> Row:
    """The row of one case; answers that it has not are None."""
    answers = dict(outcome.answers or {})
    if plan.band is not None and plan.band.below_Nm is not None and "band_samples" in answers:
        from contactfe.uncertainty import below_target

        record = (outcome.record or {}).get("band")
        if record is not None:
            numbers = (plan.band.below_Nm, below_target(record, plan.band.below_Nm))
            answers |= dict(zip(TARGET, numbers, strict=True))
    return {
        "case_id": case.case_id,
        "name": case.name,
        **dict(zip(plan.varied, case.values, strict=True)),
        "status": outcome.status,
        "reason": outcome.reason,
        **{name: answers.get(name) for name in (*ANSWERS, *_band_columns(plan))},
        **({name: answers.get(name) for name in PULLS} if plan.further_pulls else {}),
        CAUTIONS: answers.get(CAUTIONS) or "",
    }


def measure_first(rows: Iterable[Mapping[str, Any]]) -> str:
    """What has to be measured before profiles are ranked: heads whose thickness, which decides the rank of open heads, is a
    default; empty where none is compared."""
    rows = list(rows)
    profiles = {str(row.get(PROFILE)) for row in rows if row.get(PROFILE)}
    open_heads = {
        str(row[PROFILE]) for row in rows if row.get(PROFILE) and UNMEASURED in str(row.get(CAUTIONS) or "")
    }
    if len(profiles) < 2 or not open_heads:
        return ""
    names = " and ".join(sorted(profile(name).words for name in open_heads))
    return f"the rank of {names} rests on default dimensions of the head: measure its thickness before relying on it"


def headline(rows: Iterable[Mapping[str, Any]]) -> str:
    """What ends the pulls of a study, in a line, and which profile wears the fastener least where further pulls are asked
    for; that bolts or bars twist off before the grip is lost stands first."""
    found = [row for row in rows if row.get("ended_by")]
    words = counted_ends(str(row["ended_by"]) for row in found)
    for kind in ("bolt", "bar"):
        torques = sorted(
            t for row in found if row["ended_by"] == kind and (t := delivered_torque(row)) is not None
        )
        if torques:
            reach = f"{torques[0]:.3g}" if len(torques) == 1 else f"{torques[0]:.3g} to {torques[-1]:.3g}"
            words = f"the {kind} twists off first in {len(torques)} of {len(found)} cases, at {reach} N m; {words}"
    wear = wear_words(found)
    return f"{words}; {wear}" if wear else words


def delivered_torque(row: Mapping[str, Any]) -> float | None:
    """Torque (N m) that the pair of a row delivers; None without an answer."""
    found = row.get("torque_Nm")
    return None if found in (None, "") else float(found)


def mark(row: Mapping[str, Any]) -> str:
    """The mark of `MARKS` behind the torque of a row, or nothing."""
    if row.get("torque_median_Nm") not in (None, ""):
        shares = {"*": row.get("wrench_first_share"), "^": row.get("twist_off_first_share")}
        return next((sign for sign, share in shares.items() if share is not None and float(share) >= 0.5), "")
    ended = row.get("ended_by")
    if ended in ("wrench", "bolt", "bar"):
        return "*" if ended == "wrench" else "^"
    use = row.get("wrench_utilisation_at_slip")
    return "+" if ended == "grip" and use not in (None, "") and float(use) >= 1.0 else ""


def mark_words(marks: Iterable[str]) -> list[str]:
    """One line for every mark that occurs."""
    found = set(marks)
    return [f"{sign} {words}" for sign, words in MARKS.items() if sign in found]


def write_csv(path: Path, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Write rows as CSV, see `csv_text`.

    Raises:
        ContactFEError: it cannot be written.
    """
    write_text(path, csv_text(columns, ([row[c] for c in columns] for row in rows)))


def read_rows(path: str | Path) -> list[Row]:
    """The rows of a ``results.csv``: numbers as numbers, quantities as text with their unit, None where a
    cell is empty.

    Raises:
        InputError: it cannot be read, or is not a table of a study.
    """
    try:
        table = list(csv.reader(io.StringIO(read_stored(path), newline=""), strict=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            [Problem("", f"cannot be read: {error}", "give the results.csv of a study")],
            source=str(path),
            slug="file",
        ) from error
    if not table or table[0][:2] != list(FIRST) or any(len(line) != len(table[0]) for line in table):
        raise InputError(
            [Problem("", "is not a table of a study", "give the results.csv of a study")],
            source=str(path),
            slug="file",
        )
    return [
        {c: _read(c, csv_cell(cell)) for c, cell in zip(table[0], line, strict=True)} for line in table[1:]
    ]


def _read(column: str, cell: str) -> Any:
    if column in (*FIRST, *STATE, CAUTIONS):
        return cell
    if cell in _WORDS:
        return _WORDS[cell]
    field = field_of(column)
    if field is not None and field.kind not in ("number", "integer"):
        return cell
    try:
        return float(cell)
    except ValueError:
        return cell


def write_parquet(path: Path, columns: Sequence[str], rows: Sequence[Row]) -> bool:
    """Write rows as Parquet; False, and nothing written, where pyarrow is not installed.

    Raises:
        ContactFEError: it cannot be written.
    """
    if importlib.util.find_spec("pyarrow") is None:
        return False
    import pyarrow
    import pyarrow.parquet

    arrays = []
    for column in columns:
        values = [row[column] for row in rows]
        if column == "turns_freely":
            arrays.append(pyarrow.array(values, pyarrow.bool_()))
        elif column in _NUMBERS or all(isinstance(v, int | float) for v in values):
            arrays.append(pyarrow.array([None if v is None else float(v) for v in values], pyarrow.float64()))
        else:
            arrays.append(pyarrow.array(["" if v is None else str(v) for v in values], pyarrow.string()))
    table = pyarrow.Table.from_arrays(arrays, names=list(columns))
    write_whole(path, lambda part: pyarrow.parquet.write_table(table, part))
    return True


_NUMBERS = frozenset((*ANSWERS, *BAND, *TARGET, *PULLS)) - {
    "turns_freely",
    "ended_by",
    "next_limit",
    *_WORDED,
}
_WORDS = {"": None, "true": True, "false": False}


@dataclass(frozen=True)
class Pivot:
    """Torque delivered, laid out as text: ``title`` says what is held, ``cells`` are rows by columns, ``notes`` say
    what the marks behind torques mean."""

    title: str
    row_name: str
    column_name: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


def pivots(varied: Sequence[str], rows: Sequence[Row], per: float = 1.0) -> list[Pivot]:
    """Torque delivered in N m (of a band its median and its 10 to 90 %) by the profile (or the first varied input)
    down and the rounding (or the next one) across.

    One table for each combination of the other inputs. A single varied input stands down the side. `per`: N m that
    one unit of the table stands for.
    """
    down = "wrench.profile" if "wrench.profile" in varied else varied[0]
    others = [n for n in varied if n != down]
    across = next((n for n in others if n == "fastener.rounding"), others[0] if others else "")
    held = [n for n in others if n != across]
    groups: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        groups.setdefault(tuple(row[n] for n in held), []).append(row)
    return [_pivot(held, key, (down, across), group, per) for key, group in groups.items()]


def _pivot(
    held: Sequence[str], key: Sequence[Any], axes: tuple[str, str], rows: Sequence[Row], per: float
) -> Pivot:
    down, across = axes
    side = list(dict.fromkeys(row[down] for row in rows))
    top = list(dict.fromkeys(row.get(across, "") for row in rows))
    at: Mapping[tuple[Any, Any], Row] = {(row[down], row.get(across, "")): row for row in rows}
    notes = mark_words(mark(row) for row in rows)
    return Pivot(
        title=", ".join(f"{label(n)} {_short(v)}" for n, v in zip(held, key, strict=True)),
        row_name=label(down),
        column_name=label(across) if across else "",
        rows=tuple(_short(v) for v in side),
        columns=tuple(_short(v) for v in top) if across else ("torque",),
        cells=tuple(tuple(_torque(at.get((s, t)), bool(notes), per) for t in top) for s in side),
        notes=tuple(notes),
    )


def label(path: str) -> str:
    """A varied input's name for people: ``fastener.rounding`` is "rounding"; strengths say whose they are."""
    table, _, name = path.rpartition(".")
    plain = name.replace("_", " ")
    return (
        f"{table} {plain}"
        if name in ("yield_strength", "elastic_modulus", "poisson_ratio", "outline")
        else plain
    )


def _short(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _torque(row: Row | None, marked: bool, per: float) -> str:
    """The text of a row's torque; with marks elsewhere in the table, one without leaves room for it."""
    if row is None:
        return ""
    if row.get("torque_median_Nm") is not None:
        middle, low, high = (row[f"torque_{k}_Nm"] / per for k in ("median", "p10", "p90"))
        return f"{middle:.3g} ({low:.3g} to {high:.3g}){mark(row) or ' ' * marked}"
    if row["status"] == OK:
        return f"{(delivered_torque(row) or 0.0) / per:.4g}{mark(row) or ' ' * marked}"
    return {FREE: "turns freely", FAILED: "failed"}[row["status"]]
