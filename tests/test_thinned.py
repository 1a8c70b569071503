"""Samples that follow from a polynomial through others: as good as solved ones, or all are solved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from contactfe.uncertainty import Job, band, fit_words
from contactfe.uncertainty.band import sampling_of, uncertain_case
from contactfe.uncertainty.jobs import plan_jobs
from contactfe.uncertainty.sampling import sobol_points
from contactfe.uncertainty.surrogate import telling, terms_of
from contactfe.uncertainty.thinned import GOOD, solve_plans

RAW: dict[str, Any] = {
    "format": 1,
    "fastener": {"size": "M10", "grade": "8.8", "yield_strength": {"low": "640 MPa", "high": "740 MPa"}},
    "wrench": {"profile": "ring-six"},
    "contact": {"friction": {"low": 0.1, "high": 0.2}},
    "mesh": {"edge_at_contact": "0.6 mm", "edge_max": "3 mm"},
}


def planned(n: int, raw: dict[str, Any] = RAW) -> tuple[Any, np.ndarray]:
    uncertain, by_rule = uncertain_case(raw)
    plan = sampling_of(n, 1, (uncertain, by_rule))
    u = plan.points(uncertain.case.wrench.profile, uncertain.inputs)[:, : len(uncertain.inputs)]
    return plan_jobs(uncertain, uncertain.inputs, u), u


class Answers:
    """Torques of jobs by a formula in yield strength and friction, and how many jobs were asked for at a time."""

    def __init__(self, formula: Any) -> None:
        self.formula, self.asked = formula, []

    def __call__(self, jobs: Sequence[Job]) -> np.ndarray:
        self.asked.append(len(jobs))
        rows = [self.formula(j.case.fastener.yield_strength, j.case.contact.friction) for j in jobs]
        return np.array(rows, dtype=float).reshape(-1, 2)


def others(u: np.ndarray, count: int) -> np.ndarray:
    return np.setdiff1d(np.arange(len(u)), telling(u, count))


def test_the_samples_that_are_solved_lie_around_the_others() -> None:
    for n, d, count in ((32, 3, 16), (64, 2, 12), (128, 1, 9)):
        u = sobol_points(n, d, 4)
        chosen = telling(u, count)
        assert len(np.unique(chosen)) == count and (np.diff(chosen) > 0).all()
        rows = terms_of(u, 2)
        inverse = np.linalg.inv(rows[chosen].T @ rows[chosen])
        unknown = np.einsum("ij,jk,ik->i", rows, inverse, rows)  # variance of the fit over that of one answer
        inside = others(u, count)
        assert unknown[chosen].max() < 0.95
        assert np.median(unknown[inside]) < np.median(unknown[chosen])
        assert unknown[inside].max() < 1.5


def test_a_smooth_answer_is_solved_at_twelve_of_32_samples() -> None:
    plan, u = planned(32)
    solve = Answers(lambda y, mu: (0.4 * y * (1 + mu) ** 2, 300.0 + 50 * mu))
    found = solve_plans([(plan, u)], solve)[0]
    assert solve.asked == [12]
    assert found.fitted == 20 and 0.0 < found.error < 1e-3
    exact = Answers(solve.formula)(plan.jobs)
    np.testing.assert_allclose(found.torques, exact, rtol=1e-3)


def test_a_kink_and_a_wrench_that_turns_freely_are_solved_everywhere() -> None:
    plan, u = planned(32)
    for formula in (
        lambda y, mu: (200.0 + 2000 * max(mu - 0.15, 0.0), np.inf),
        lambda y, mu: (0.0 if mu < 0.12 else 100.0, np.inf),
        lambda y, mu: (1000.0 * (mu - 0.09), np.inf),  # a part may turn freely
        lambda y, mu: (np.nan if y > 690 else y, np.inf),
    ):
        solve = Answers(formula)
        found = solve_plans([(plan, u)], solve)[0]
        np.testing.assert_array_equal(found.torques, Answers(formula)(plan.jobs))
        assert found.fitted == 0
        assert solve.asked == [12, 20]


def test_a_wrench_far_above_the_grip_need_not_be_smooth_and_one_that_decides_has_to_be() -> None:
    plan, u = planned(32)
    far = solve_plans([(plan, u)], Answers(lambda y, mu: (0.3 * y, np.inf if mu > 0.15 else 0.45 * y)))[0]
    assert far.fitted == 20 and np.isinf(far.torques[:, 1]).sum() >= 20
    jump = Answers(lambda y, mu: (0.3 * y, 0.29 * y * (1.1 if mu > 0.15 else 1.0)))
    assert solve_plans([(plan, u)], jump)[0].fitted == 0


def test_a_wrench_whose_limit_has_a_kink_at_slip_is_told_by_the_samples_it_ends() -> None:
    def formula(y: float, mu: float) -> tuple[float, float]:
        grip, weak = 0.3 * y * (1 + mu), 240.0 * (1 - 0.2 * mu)
        return grip, weak if weak < grip else grip * (weak / grip) ** 0.3  # an extrapolation beyond slip

    plan, u = planned(32)
    solve = Answers(formula)
    found = solve_plans([(plan, u)], solve)[0]
    exact = Answers(formula)(plan.jobs)
    ended = exact[:, 1] < exact[:, 0]
    assert 8 < ended.sum() < 24
    assert found.fitted > 0 and found.error < GOOD
    np.testing.assert_allclose(found.torques.min(axis=1), exact.min(axis=1), rtol=GOOD)


def test_few_samples_many_inputs_and_other_shapes_are_solved_everywhere() -> None:
    formula = lambda y, mu: (0.4 * y, np.inf)  # noqa: E731
    few, u = planned(8)
    assert solve_plans([(few, u)], Answers(formula))[0].fitted == 0
    shaped = {**RAW, "fastener": {**RAW["fastener"], "rounding": {"low": "10 %", "high": "20 %"}}}
    plan, u = planned(64, shaped)
    assert plan.ratios
    assert solve_plans([(plan, u)], Answers(formula))[0].fitted == 0
    by_rule, u = planned(64, {**RAW, "fastener": {"size": "M10", "grade": "8.8"}, "contact": {}})
    assert solve_plans([(by_rule, u)], Answers(formula))[0].fitted == 0


def test_a_band_of_few_inputs_is_that_of_solving_every_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    thinned = band(RAW, 32)
    assert thinned.fitted == 20
    assert "12 of 32 samples are solved" in fit_words(thinned)
    monkeypatch.setattr("contactfe.uncertainty.thinned.MOST_INPUTS", 0)
    every = band(RAW, 32)
    assert every.fitted == 0 and not fit_words(every)
    solved = telling((every.values - every.values.min(axis=0)) / np.ptp(every.values, axis=0), 12)
    np.testing.assert_array_equal(thinned.torque_Nm[solved], every.torque_Nm[solved])
    np.testing.assert_allclose(thinned.torque_Nm, every.torque_Nm, rtol=GOOD)
    for share in (0.1, 0.5, 0.9):
        assert thinned.quantile_Nm(share) == pytest.approx(every.quantile_Nm(share), rel=3e-3)
