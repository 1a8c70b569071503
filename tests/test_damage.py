"""Files with bytes flipped, cut or doubled, and stores with every file damaged in every way: a named error, or the
same content as before."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from seeds import LONG_FROM, seed_of
from test_study_bodies import case_of

from contactfe.errors import ContactFEError
from contactfe.inputs import load_case
from contactfe.profile.files import read_outline
from contactfe.study.plan import load_plan
from contactfe.study.store import StudyStore
from contactfe.study.work import Outcome
from contactfe.trial.read import read_sheet
from contactfe.turn import Bodies, BodyStore, body_keys, outlines

ROOT = Path(__file__).resolve().parent.parent
FEW, MANY, BATCH = 500, 5000, 500
CASE = b"""format = 1
[fastener]
size = "M10"
grade = "8.8"
rounding = "20 %"
[wrench]
profile = "open-end"
opening = "16.2 mm"
[contact]
friction = 0.15
[load]
lever_arm = "200 mm"
"""
FILES: dict[str, tuple[bytes, Callable[[Path], Any]]] = {
    "case.toml": (CASE, load_case),
    "study.toml": ((ROOT / "studies" / "friction" / "study.toml").read_bytes(), load_plan),
    "ring.toml": (
        (ROOT / "meshes" / "hand-drawn-ring-16mm.toml").read_bytes(),
        lambda path: read_outline(path, "wrench"),
    ),
    "readings.csv": ((ROOT / "studies" / "bench-loop" / "readings.csv").read_bytes(), read_sheet),
}
WORDS = (
    b'"',
    b"[",
    b"]",
    b"=",
    b"\n",
    b"1e999",
    b"-",
    b"nan",
    b"\xff",
    b"\0",
    b"{",
    b",",
    b"'''",
    b"\xef\xbb\xbf",
)


def mutated(data: bytes, dice: random.Random) -> bytes:
    """The bytes with one to four changes."""
    for _ in range(dice.randint(1, 4)):
        at = dice.randrange(len(data) + 1)
        end = min(len(data), at + dice.choice([1, 1, 4, 40]))
        kind = dice.choice(["flip", "word", "cut", "double", "end"])
        if kind == "flip" and at < len(data):
            data = data[:at] + bytes([data[at] ^ (1 << dice.randrange(8))]) + data[at + 1 :]
        elif kind == "word":
            data = data[:at] + dice.choice(WORDS) + data[at:]
        elif kind == "cut":
            data = data[:at] + data[end:]
        elif kind == "double":
            data = data[:end] + data[at:end] * dice.choice([1, 1, 50]) + data[end:]
        elif kind == "end" and dice.random() < 0.3:
            data = data[:at]
    return data


def try_mutants(numbers: range, folder: Path) -> None:
    for number in numbers:
        seed = seed_of(number)
        dice = random.Random(f"{seed}/{number}")
        name = dice.choice(list(FILES))
        whole, read = FILES[name]
        (folder / name).write_bytes(mutated(whole, dice))
        try:
            read(folder / name)
        except ContactFEError as error:
            assert str(error) and len(str(error)) < 200_000
        except Exception as error:
            pytest.fail(f"CONTACTFE_SEED={seed}, mutant {number} of {name}: {type(error).__name__}: {error}")


@pytest.mark.parametrize("name", FILES)
def test_the_files_are_sound_before_they_are_changed(name: str, tmp_path: Path) -> None:
    whole, read = FILES[name]
    (tmp_path / name).write_bytes(whole)
    assert read(tmp_path / name)


def test_a_changed_file_is_read_or_refused_by_name(tmp_path: Path) -> None:
    try_mutants(range(FEW), tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("first", range(LONG_FROM, LONG_FROM + MANY, BATCH))
def test_thousands_of_changed_files_are_read_or_refused_by_name(first: int, tmp_path: Path) -> None:
    try_mutants(range(first, first + BATCH), tmp_path)


def _flip(data: bytes) -> bytes:
    return data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 1]) + data[len(data) // 2 + 1 :]


DAMAGE: dict[str, Callable[[bytes, bytes], bytes | None]] = {
    "cut": lambda own, other: own[: len(own) // 2],
    "flipped": lambda own, other: _flip(own),
    "empty": lambda own, other: b"",
    "gone": lambda own, other: None,
    "swapped": lambda own, other: other,
    "nested": lambda own, other: b"[" * 100_000,
}


def damage(file: Path, other: Path, kind: str) -> None:
    found = DAMAGE[kind](file.read_bytes(), other.read_bytes())
    if found is None:
        file.unlink()
    else:
        file.write_bytes(found)


@pytest.mark.parametrize("kind", DAMAGE)
def test_every_file_of_a_stored_body_may_be_damaged(kind: str, tmp_path: Path) -> None:
    case = case_of()
    key, outline = body_keys(case).wrench, outlines(case).wrench
    body = Bodies(BodyStore(tmp_path)).body(case, "wrench")
    matrix = np.array(body.flexibility.matrix)
    files = sorted((tmp_path / key).iterdir())
    assert len(files) > 5
    for k, file in enumerate(files):
        BodyStore(tmp_path).save(key, body)
        damage(tmp_path / key / file.name, tmp_path / key / files[k - 1].name, kind)
        found = BodyStore(tmp_path).load(key, outline)
        assert found is None or np.array_equal(found.flexibility.matrix, matrix), file.name


@pytest.mark.parametrize("kind", DAMAGE)
def test_every_other_file_of_a_store_may_be_damaged(kind: str, tmp_path: Path) -> None:
    plan = load_plan(ROOT / "studies" / "friction" / "study.toml")
    kept = {c.case_id: Outcome("failed", f"reason {k}") for k, c in enumerate(plan.cases[:2])}
    first, second = (StudyStore(tmp_path).path(case_id) for case_id in kept)
    for name in ("journal.jsonl", "plan.json", str(first), str(second)):
        store = StudyStore(tmp_path)
        store.begin(plan)
        for case_id, outcome in kept.items():
            store.save(case_id, outcome)
        damage(tmp_path / name, second if name == str(first) else first, kind)
        again = StudyStore(tmp_path)
        for case_id, outcome in kept.items():
            found = again.load(case_id)
            assert found is None or found.reason == outcome.reason, name
        assert all(isinstance(line, dict) for line in again.history())
        again.begin(plan)  # what is damaged stands in no way
        assert list(again.history())[-1]["event"] == "begin"
