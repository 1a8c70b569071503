"""Scores: published censored data to their digits, a table worked by hand, intervals, ranks, incomplete boards."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student

from contactfe.cli import main
from contactfe.errors import ContactFEError, InputError
from contactfe.report import score_page
from contactfe.trial import Condition, Reading, Readings, score
from contactfe.trial.censored import fit, restricted_mean
from contactfe.trial.pooled import Cell, pooled_fit

M10 = Condition(size="M10", grade="8.8", rounding=0.0)
WORN = Condition(size="M10", grade="8.8", rounding=0.2)


def reading(design: str, condition: Condition, torque: float, ending: str = "slipped") -> Reading:
    return Reading(design, condition, torque, ending)  # type: ignore[arg-type]


def scored(*rows: Reading, seed: int = 1):  # type: ignore[no-untyped-def]
    return score(Readings("test", tuple(rows)), seed)


def sample(known: list[float], suspended: int, at: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array(known + [at] * suspended, float), np.array([False] * len(known) + [True] * suspended)


def test_lognormal_fit_of_censored_data() -> None:
    """Meeker and Escobar 1998, p. 199: five failures, fifteen units suspended at 500."""
    found = fit(*sample([252, 315, 369, 403, 474], 15, 500))
    assert (round(found.mu, 5), round(found.sigma, 5)) == (6.56426, 0.53405)
    assert np.round(found.covariance, 4).tolist() == [[0.0581, 0.0374], [0.0374, 0.0406]]


def test_weibull_fit_of_censored_data() -> None:
    """NIST/SEMATECH e-handbook, 8.4.1.3: ten failures, ten units suspended at 500."""
    data = sample([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], 10, 500)
    found = fit(*data, "weibull")
    assert (round(found.scale, 3), round(found.shape, 4)) == (606.528, 1.7208)
    assert round(fit(*data).aic, 2) == 154.39


def test_restricted_means() -> None:
    """The aml data of R's package survival, means restricted to 103 with their standard errors."""
    kept = (
        np.array([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], float),
        np.isin(np.arange(11), [2, 5, 8, 10]),
    )
    not_kept = np.array([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], float), np.isin(np.arange(12), [5])
    mean, error = restricted_mean(*kept, 103.0)
    assert (round(mean, 5), round(error, 6)) == (41.96818, 11.257627)
    mean, error = restricted_mean(*not_kept, 103.0)
    assert (round(mean, 5), round(error, 6)) == (22.70833, 4.180942)


def test_the_pooled_fit_is_the_fit_of_one_sample() -> None:
    """With one cell the likelihood is that of the published lognormal fit (its scatter before the correction)."""
    value, at_least = sample([252, 315, 369, 403, 474], 15, 500)
    found = pooled_fit([Cell(np.log(value), at_least)])
    assert found.mu[0] == pytest.approx(6.56426, abs=0.01)
    assert found.sigma / math.sqrt(5 / 4) == pytest.approx(0.53405, rel=0.01)


def test_intervals_are_students_where_nothing_is_at_least() -> None:
    rng = np.random.default_rng(2)
    cells = [Cell(rng.normal(4.0, 0.1, 4), np.zeros(4, bool)) for _ in range(3)]
    found = pooled_fit(cells)
    pooled = math.sqrt(sum(((c.y - c.y.mean()) ** 2).sum() for c in cells) / 9)
    reach = student.ppf(0.975, 9) * pooled / 2.0
    assert found.sigma == pytest.approx(pooled, rel=0.02)
    for cell, low, high in zip(cells, found.low, found.high, strict=True):
        assert (low, high) == pytest.approx((cell.y.mean() - reach, cell.y.mean() + reach), abs=0.01 * reach)


def test_a_table_worked_by_hand() -> None:
    """Geometric means: A 100 (80 and 125), B 80 (64 and 100) new; A 60, B 72 worn (two equal readings apart by 1.2 each
    way). Per cent of the best: new 100 and 80, worn 60/72 = 83.33 and 100. Averages 91.667 and 90."""
    found = scored(
        reading("A", M10, 80), reading("A", M10, 125), reading("B", M10, 64), reading("B", M10, 100),
        reading("A", WORN, 50), reading("A", WORN, 72), reading("B", WORN, 60), reading("B", WORN, 86.4),
    )  # fmt: skip
    means = {(e.design, e.condition): e.mean_Nm for e in found.entries}
    assert [means[k] for k in (("A", M10), ("B", M10), ("A", WORN), ("B", WORN))] == pytest.approx(
        [100, 80, 60, 72]
    )
    shares = {(e.design, e.condition): e.of_best for e in found.entries}
    assert shares["A", WORN] == pytest.approx(60 / 72) and shares["B", M10] == pytest.approx(0.8)
    assert [(s.design, round(100 * s.common, 3)) for s in found.standings] == [("A", 91.667), ("B", 90.0)]
    assert {loss.design: round(loss.change, 6) for loss in found.losses} == {"A": -0.4, "B": -0.1}
    # ln 1.25 = 0.22314 about each new mean, ln 1.2 = 0.18232 about each worn one, four degrees of freedom
    assert found.freedom == 4
    assert found.scatter == pytest.approx(math.sqrt((4 * 0.223144**2 + 4 * 0.182322**2) / 4), rel=0.02)


def test_an_incomplete_condition_is_named_and_left_out_of_the_common_average() -> None:
    found = scored(
        *(reading(d, M10, t) for d in "AB" for t in (100, 104)),
        reading("A", WORN, 60),
        reading("A", WORN, 61),
    )
    assert found.common == (M10,)
    assert any("incomplete, without B" in note for note in found.notes)
    assert {s.design: s.missing for s in found.standings}["B"] == (WORN,)


def test_a_reading_that_is_at_least_raises_the_mean_and_is_not_dropped() -> None:
    plain = [reading("A", M10, t) for t in (100, 104, 96)] + [reading("B", M10, t) for t in (90, 93)]
    without = scored(*plain)
    with_one = scored(*plain, reading("A", M10, 110, "wrench broke"))
    as_slip = scored(*plain, reading("A", M10, 110))
    mean = {
        k: next(e.mean_Nm for e in s.entries if e.design == "A")
        for k, s in enumerate((without, with_one, as_slip))
    }
    assert mean[1] > mean[2] > mean[0]
    assert any("1 of 6 readings are at-least values" in note for note in with_one.notes)


def test_a_design_with_nothing_but_a_bound_is_at_least() -> None:
    found = scored(*(reading("A", M10, t) for t in (100, 104)), reading("B", M10, 120, "wrench bent"))
    entry = next(e for e in found.entries if e.design == "B")
    assert entry.mean_Nm is None and entry.at_least_Nm == 120 and entry.rank is None
    assert any("no longer the best" in note for note in found.notes)


def test_all_readings_at_least_is_an_error() -> None:
    with pytest.raises(InputError, match="nothing slipped"):
        scored(reading("A", M10, 100, "stopped"), reading("B", M10, 90, "wrench broke"))


def test_one_reading_each_gives_means_without_intervals() -> None:
    found = scored(reading("A", M10, 100), reading("B", M10, 90))
    assert [e.mean_Nm for e in found.entries] == pytest.approx([100, 90])
    assert all(e.low_Nm is None for e in found.entries) and found.scatter is None
    assert any("no design was pulled twice" in note for note in found.notes)


def test_one_reading_and_one_bound_below_it_do_not_make_a_scatter() -> None:
    found = scored(reading("A", M10, 100), reading("A", M10, 90, "stopped"), reading("B", M10, 80))
    assert found.scatter is None


def test_a_scatter_needs_two_values() -> None:
    with pytest.raises(ContactFEError, match="fewer than two"):
        fit(np.array([100.0, 120.0]), np.array([False, True]))


def test_ties_and_ranks_follow_the_scatter_and_the_seed() -> None:
    rng = np.random.default_rng(3)
    rows = [
        reading(d, M10, m * math.exp(rng.normal(0, 0.05)))
        for d, m in (("A", 100), ("B", 99), ("C", 60))
        for _ in range(5)
    ]
    found, again = scored(*rows), scored(*rows)
    assert found == again and scored(*rows, seed=2) != found
    entries = {e.design: e for e in found.entries}
    second = sorted(found.entries, key=lambda e: e.rank or 0)[1]
    assert second.ties and not entries["C"].ties
    assert (entries["C"].rank_low, entries["C"].rank_high) == (3, 3)
    assert 0.5 < next(e.beats_next for e in found.entries if e.rank == 1) < 0.99


def test_intervals_cover_what_the_readings_were_drawn_from() -> None:
    """Of 200 seeded boards with a fifth of the readings cut off, about 95 % of the intervals hold the true mean."""
    inside = total = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        cells = []
        for _ in range(4):
            y = rng.normal(4.0, 0.06, 5)
            bound = 4.0 + 0.06 * 0.84
            cells.append(Cell(np.minimum(y, bound), y > bound))
        cells = [c for c in cells if c.known]
        found = pooled_fit(cells)
        inside += int(((found.low <= 4.0) & (found.high >= 4.0)).sum())
        total += len(cells)
    assert 0.92 < inside / total < 0.975


def test_the_command_and_its_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "readings.csv"
    rows = [f"{d},M10,{r},{t}" for d in ("ring <A>", "open B") for r in (0, 20) for t in (100 - r, 104 - r)]
    path.write_text("design,size,rounding (%),torque (N*m)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert main(["score", str(path), "--out", str(tmp_path / "out")]) == 0
    assert "% of best" in capsys.readouterr().out
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == [
        "means.png",
        "means.svg",
        "page.json",
        "score.csv",
        "score.html",
        "score.json",
        "standing.png",
        "standing.svg",
    ]
    page = (tmp_path / "out" / "score.html").read_text(encoding="utf-8")
    assert (
        "ring &lt;A&gt;" in page
        and "<A>" not in page
        and "http" not in page.replace("http-equiv", "").replace("http://www.w3.org", "")
    )
    assert main(["score", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["readings"] == 8
    assert score_page(scored(reading("A", M10, 1.0)), "1").html().startswith("<!doctype html>")
