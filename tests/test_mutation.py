"""The suite notices plausible mistakes, planted one at a time in a copy of the package."""

from __future__ import annotations

import pytest
from mutation import MUTATIONS, Mutation, run


def test_the_untouched_copy_passes() -> None:
    passed, words = run(None)
    assert passed, words


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: m.name.replace(" ", "-"))
def test_a_mistake_is_noticed(mutation: Mutation) -> None:
    passed, words = run(mutation)
    assert not passed
    assert words.startswith("missed"), words  # noticed by a check, not by a crash


def test_a_change_that_no_longer_fits_the_source_is_an_error() -> None:
    with pytest.raises(LookupError, match="no longer holds once"):
        run(Mutation("nothing", "errors.py", "a text that stands nowhere", ""))
