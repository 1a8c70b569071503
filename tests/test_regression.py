"""Stored numbers belong to the revision that gave them: answers do not change without a new revision."""

from __future__ import annotations

import json

import pytest
from regression import CASES, FILE, answers

from contactfe.turn import SOLVER_REVISION

STORED = json.loads(FILE.read_text(encoding="utf-8"))
MACHINE = 3e-4  # of a number: two processors were seen to differ by 6e-5, in the onset of a lever case


def test_the_stored_numbers_are_those_of_this_revision() -> None:
    assert STORED["solver_revision"] == SOLVER_REVISION, "store them anew: python tests/regression.py"
    assert list(STORED["answers"]) == list(CASES)


@pytest.mark.parametrize("name", CASES)
def test_answers_change_only_with_the_revision(name: str) -> None:
    found, stored = answers(name), STORED["answers"][name]
    words = (
        "answers have changed: raise SOLVER_REVISION, say why in DEVELOPERS.md, python tests/regression.py"
    )
    assert found["ended_by"] == stored["ended_by"], words
    for key, value in stored.items():
        if isinstance(value, float):
            assert found[key] == pytest.approx(value, rel=MACHINE), f"{key}: {words}"
