"""Laws over the whole space of inputs: an audited answer or a named error, and never a torque below zero.

Some drawn cases in ordinary runs, thousands with ``-m long`` (`seeds`). The seed is printed with every failure, and by the
first test. A case is drawn from the seed and its number alone, so that any of them can be had again:
``drawn.toml(drawn.draw(seed, number))`` is its case file.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import COARSE, case
from drawn import draw, mirrored, parsed, toml
from seeds import LONG, LONG_FROM, ORDINARY, seed_of

from contactfe.case import CaseRecord, solve_case
from contactfe.errors import ContactFEError, InputError, NotConverged, SlidesOff
from contactfe.inputs import CaseInput

FEW, FEW_LAWS = 200, 8  # of half a second and 3 s of one core
MANY, MANY_LAWS = 2000, 400
BATCH = 50  # cases of one test of the long run
MOST_NEGATIVE = 0.1  # of the peak: more of it turns freely
LEAST_SOUND = 0.9  # share of drawn cases that are answered, or the long run tries nothing


def answer(number: int) -> CaseRecord | ContactFEError:
    """The record of a drawn case, or the named error that it ends in."""
    raw = draw(seed_of(number), number)
    try:
        return solve_case(parsed(raw))
    except ContactFEError as error:
        named = isinstance(error, InputError) or error.slug not in ("error", "")
        assert named and str(error), told(number)
        return error
    except Exception as error:
        pytest.fail(f"{type(error).__name__}: {error}\n{told(number)}")


def told(number: int) -> str:
    seed = seed_of(number)
    return f"CONTACTFE_SEED={seed}, case {number}:\n{toml(draw(seed, number))}"


def check_answer(record: CaseRecord, number: int) -> None:
    """Finite, audited, nothing below zero, and the torque delivered is the lowest limit."""
    values = record.answers()
    numbers = {name: value for name, value in values.items() if isinstance(value, float)}
    assert all(np.isfinite(value) for value in numbers.values()), (numbers, told(number))
    below = [name for name, value in numbers.items() if name.endswith("_Nm") and value < 0]
    assert not [name for name in below if not name.startswith("jaw_spread")], (below, told(number))
    assert record.curve.audit.passed(), told(number)
    if values["turns_freely"]:
        assert values["torque_Nm"] == 0.0 and values["slip_torque_Nm"] is None, told(number)
        return
    torque = record.curve.torque
    assert np.isfinite(torque).all() and np.isfinite(record.curve.rotation).all(), told(number)
    assert torque.min() > -MOST_NEGATIVE * torque.max(), told(number)
    assert record.torque_Nm > 0, told(number)
    assert 0 < values["onset_torque_Nm"] <= values["slip_torque_Nm"] * (1 + 1e-3), told(number)
    assert record.torque_Nm <= values["slip_torque_Nm"], told(number)


def slip_of(c: CaseInput) -> float | None:
    """Slip torque, 0 where the wrench turns freely, None for a named error."""
    try:
        return solve_case(c).estimate.slip_torque_Nm or 0.0
    except ContactFEError:
        return None


def check_laws(number: int) -> None:
    """Mirror image, and no less torque with more yield strength or friction.

    A mirror image is meshed apart, so it agrees only within what the coarse mesh allows.
    """
    record = answer(number)
    if not isinstance(record, CaseRecord):
        return
    check_answer(record, number)
    c, own = record.built.case, record.estimate.slip_torque_Nm or 0.0
    f, w = c.fastener, c.wrench
    if f.outline is None and w.outline is None:  # a drawn one is not its own mirror image
        other = slip_of(mirrored(c))
        assert other is None or other == pytest.approx(own, rel=0.02, abs=0.02), told(number)
    harder = replace(
        c,
        fastener=replace(f, yield_strength=1.15 * f.yield_strength),
        wrench=replace(w, yield_strength=1.15 * w.yield_strength),
    )
    stronger = slip_of(harder)
    assert stronger is None or stronger >= 0.99 * own, told(number)
    rougher = slip_of(replace(c, contact=replace(c.contact, friction=c.contact.friction + 0.03)))
    assert rougher is None or rougher >= 0.97 * own, told(number)


def test_the_seed_of_the_drawn_cases_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        print(f"\nseed of the drawn cases: CONTACTFE_SEED={ORDINARY}, in a long run {LONG}")
    assert draw(ORDINARY, 0) == draw(ORDINARY, 0) != draw(ORDINARY, 1)


@pytest.mark.parametrize("number", range(FEW))
def test_a_drawn_case_has_an_audited_answer_or_a_named_error(number: int) -> None:
    found = answer(number)
    if isinstance(found, CaseRecord):
        check_answer(found, number)


@pytest.mark.parametrize("number", range(FEW, FEW + FEW_LAWS))
def test_a_drawn_case_obeys_mirror_yield_and_friction(number: int) -> None:
    check_laws(number)


@pytest.mark.long
@pytest.mark.parametrize("first", range(LONG_FROM, LONG_FROM + MANY, BATCH))
def test_thousands_of_drawn_cases_have_an_audited_answer_or_a_named_error(first: int) -> None:
    answered = failed = 0
    for number in range(first, first + BATCH):
        found = answer(number)
        if isinstance(found, CaseRecord):
            check_answer(found, number)
            answered += 1
        failed += type(found) is NotConverged
    assert answered >= LEAST_SOUND * BATCH
    assert failed <= 0.02 * BATCH  # of one batch; over all of them it is far below one in a hundred


@pytest.mark.long
@pytest.mark.parametrize("first", range(LONG_FROM + MANY, LONG_FROM + MANY + MANY_LAWS, BATCH))
def test_hundreds_of_drawn_cases_obey_mirror_yield_and_friction(first: int) -> None:
    for number in range(first, first + BATCH):
        check_laws(number)


def test_a_named_error_is_not_taken_for_an_answer() -> None:
    c = case("open-end", mesh=COARSE, contact={"friction": 0.0}, load={"lever_arm": "40 mm"})
    assert slip_of(c) is None
    with pytest.raises(SlidesOff):
        solve_case(c)
