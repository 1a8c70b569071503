"""The folder of a study: one small file per solved case, a journal, the flexibilities, and the tables.

    cases/3f/3f09...json   what is known of one case, by its address; written beside and renamed
    journal.jsonl          what happened when: one line per event, only ever appended
    bodies/                see `contactfe.turn.BodyStore`
    plan.json              the cases of the study that ran here last, in order
    results.csv            one row per case in plan order, and results.parquet where pyarrow is installed
    odds.csv               where the cases have bands: one row per pair of profiles that are equal in everything else

The case files are the truth; the journal is history that may be lost without harm.
"""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contactfe import __version__
from contactfe.files import (
    clear_parts,
    json_of,
    make_folder,
    not_written,
    open_regular,
    read_json,
    remove,
    write_text,
)
from contactfe.study.plan import StudyPlan
from contactfe.study.tables import Row, columns_of, row_of, write_csv, write_parquet
from contactfe.study.wear import with_wear
from contactfe.study.work import Outcome
from contactfe.turn import SOLVER_REVISION, BodyStore, digest

FORMAT = 1
SYNC_EVERY = 2.0  # s between two flushes of the journal to the disk itself


@dataclass(frozen=True)
class Tables:
    """Where the tables of a study are; ``parquet`` is None where pyarrow is not installed, ``odds`` where no profiles
    are compared."""

    csv: Path
    parquet: Path | None
    odds: Path | None = None


class StudyStore:
    """The folder of a study."""

    def __init__(self, folder: str | Path) -> None:
        """Open a folder, and make it where it is missing.

        Raises:
            ContactFEError: it cannot be made or written.
        """
        self.folder = Path(folder)
        self.bodies = BodyStore(self.folder / "bodies")
        self._journal = self.folder / "journal.jsonl"
        self._synced = 0.0
        make_folder(self.folder / "cases")

    def path(self, case_id: str) -> Path:
        """The file of a case."""
        return self.folder / "cases" / case_id[:2] / f"{case_id}.json"

    def load(self, case_id: str) -> Outcome | None:
        """What is known of a case; None when there is nothing, or nothing that verifies."""
        return read_outcome(self.path(case_id), case_id)

    def save(self, case_id: str, outcome: Outcome) -> None:
        """Keep an outcome.

        Raises:
            ContactFEError: it cannot be written.
        """
        body = {
            "format": FORMAT,
            "case_id": case_id,
            "status": outcome.status,
            "reason": outcome.reason,
            "lasting": outcome.lasting,
            "answers": outcome.answers,
            "record": outcome.record,
        }
        path = self.path(case_id)
        make_folder(path.parent)
        write_text(path, json.dumps({**body, "check": digest(body)}, indent=1) + "\n")

    def note(self, event: str, **more: Any) -> None:
        """Append one line to the journal.

        Raises:
            ContactFEError: it cannot be written.
        """
        line = json.dumps(
            {
                "time": round(time.time(), 3),
                "event": event,
                "host": socket.gethostname(),
                "pid": os.getpid(),
                **more,
            }
        )
        try:
            # A line that a full disk or a kill cut short ends where the next one begins.
            torn = (
                self._journal.exists() and self._journal.stat().st_size > 0 and not _ends_line(self._journal)
            )
            with self._journal.open("a", encoding="utf-8", newline="\n") as file:
                file.write(("\n" if torn else "") + line + "\n")
                file.flush()
                if time.monotonic() - self._synced > SYNC_EVERY:
                    os.fsync(file.fileno())
                    self._synced = time.monotonic()
        except OSError as error:
            raise not_written(self._journal, error) from error

    def history(self) -> Iterator[dict[str, Any]]:
        """The lines of the journal that can be read, oldest first."""
        try:
            with open_regular(self._journal) as file:
                text = file.read().decode("utf-8", errors="replace")
        except OSError:
            return
        for line in text.splitlines():
            try:
                entry = json_of(line)
            except ValueError:
                continue
            if isinstance(entry, dict):
                yield entry

    def begin(self, plan: StudyPlan) -> None:
        """Write down the plan and that a run begins; clear away what killed runs left."""
        clear_parts(self.folder)
        note = {
            "format": FORMAT,
            "name": plan.name,
            "solver_revision": SOLVER_REVISION,
            "version": __version__,
            "varied": list(plan.varied),
            "units": plan.units,
            "band": None if plan.band is None else plan.band.told() | {"words": plan.band.words()},
            "cases": [{"case_id": c.case_id, "name": c.name, "values": list(c.values)} for c in plan.cases],
        }
        write_text(self.folder / "plan.json", json.dumps(note, indent=1) + "\n")
        self.note(
            "begin",
            name=plan.name,
            cases=len(plan.cases),
            solver_revision=SOLVER_REVISION,
            version=__version__,
        )

    def rows(self, plan: StudyPlan) -> list[Row]:
        """The rows of all cases of a plan that are known, in plan order."""
        rows = []
        for case in plan.cases:
            outcome = self.load(case.case_id)
            if outcome is not None:
                rows.append(row_of(plan, case, outcome))
        return self.with_wear(plan, rows)

    def with_wear(self, plan: StudyPlan, rows: Sequence[Row]) -> list[Row]:
        """Rows with what each wrench leaves of the corners at one torque, where the plan asks for further pulls."""
        return with_wear(plan, rows, lambda case_id: found.record if (found := self.load(case_id)) else None)

    def odds(self, plan: StudyPlan) -> list[Row]:
        """The odds between the profiles of a plan whose cases have bands, of the cases that are known."""
        if plan.band is None:
            return []
        from contactfe.study.banded import odds_rows, samples_of  # takes a while to import

        return odds_rows(
            plan,
            ((c, samples_of(found.record) if (found := self.load(c.case_id)) else None) for c in plan.cases),
        )

    def write_tables(self, plan: StudyPlan, rows: Iterable[Row], odds: Sequence[Row] = ()) -> Tables:
        """Write ``results.csv``, ``results.parquet`` where pyarrow is installed, and ``odds.csv`` where there are odds.

        Raises:
            ContactFEError: they cannot be written.
        """
        rows, columns = list(rows), columns_of(plan)
        csv = self.folder / "results.csv"
        write_csv(csv, columns, rows)
        parquet = self.folder / "results.parquet"
        written = write_parquet(parquet, columns, rows)
        pairs = self.folder / "odds.csv"
        if odds:
            write_csv(pairs, tuple(odds[0]), odds)
        else:
            remove(pairs)  # of another study that ran here
        return Tables(csv, parquet if written else None, pairs if odds else None)


def read_outcome(path: Path, case_id: str) -> Outcome | None:
    """The outcome in a case file, or None when it is missing, foreign, cut short or changed."""
    try:
        body = read_json(path)
        check = body.pop("check")
        if body["format"] != FORMAT or body["case_id"] != case_id or digest(body) != check:
            return None
        return Outcome(body["status"], body["reason"], body["answers"], body["record"], body["lasting"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _ends_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"
