"""Bands with the model's own error: against draws from the distributions it stands for, and where it is from."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from contactfe.errors import InputError
from contactfe.inputs import calibrated_sigma, read_calibration
from contactfe.trial.calibrate import Calibration, Fit
from contactfe.uncertainty import (
    COMMON,
    NO_MODEL,
    Band,
    Ends,
    Sampling,
    band,
    band_record,
    band_words,
    below_target,
    compare,
    comparison_record,
    comparison_words,
    default_sigma,
    inputs_words,
    model_sigma,
    sensitivity,
    split_case,
)
from contactfe.uncertainty.groups import group_shares

CASE: dict[str, Any] = {
    "format": 1,
    "name": "demo",
    "fastener": {"size": "M10", "grade": "8.8", "stock": "bar"},
    "wrench": {"profile": "open-end"},
    "contact": {"friction": {"low": 0.1, "high": 0.2}},
    "mesh": {"edge_at_contact": "0.8 mm", "edge_max": "4 mm"},
}
FILE = 'format = 1\nmodel_sigma = {}\n["contact.constraint_factor"]\nvalue = 1.3\nlow = 1.25\nhigh = 1.36\n'


@pytest.fixture(scope="module")
def found() -> Band:
    """A band with samples that end by all there is."""
    solved = band(CASE, n=16)
    torque = np.linspace(40.0, 60.0, 16)
    torque[0] = 0.0
    wrench, bar = np.full(16, np.inf), np.full(16, 55.0)
    wrench[3:6] = 43.0
    return replace(solved, ends=Ends(torque, wrench, bar, "bar"))


def drawn(found: Band, count: int = 4000) -> np.ndarray:
    """Every sample with many draws of its own factor."""
    rng = np.random.default_rng(7)
    return (
        found.torque_Nm[:, None] * np.exp(found.sigma[:, None] * rng.standard_normal((16, count)))
    ).ravel()


def test_the_band_is_that_of_the_samples_times_the_factor(found: Band) -> None:
    """Against draws by numpy; the factor is by what ends a sample."""
    assert {"turns-freely", "grip", "wrench", "bar"} == set(found.ends.ended_by)
    assert found.sigma[0] == 0.0 and found.sigma[-1] == default_sigma("bar")
    cloud = drawn(found)
    for share in (0.1, 0.5, 0.9):
        assert found.quantile_Nm(share) == pytest.approx(float(np.quantile(cloud, share)), rel=0.01)
    for target in (30.0, 45.0, 52.0):
        assert found.below(target).share == pytest.approx(float(np.mean(cloud < target)), abs=0.01)
    assert found.low_Nm < found.inputs_quantile_Nm(0.1) and found.high_Nm > found.inputs_quantile_Nm(0.9)
    assert found.turns_freely().share == 1 / 16  # no factor helps


def test_columns_record_and_words_hold_both_under_their_own_names(found: Band) -> None:
    columns, record = found.columns(), band_record(found, "0", sensitivity(found), 45.0)
    samples = found.torque_Nm
    assert (
        columns["torque_inputs_p10_Nm"] == float(np.quantile(samples, 0.1)) == record["torque_inputs_p10_Nm"]
    )
    assert columns["torque_inputs_p90_Nm"] == float(np.quantile(samples, 0.9))
    assert columns["torque_p10_Nm"] == found.low_Nm and columns["torque_p90_Nm"] == found.high_Nm
    assert record["model"]["sigma"] == {
        "grip": found.model.grip,
        "wrench": found.model.wrench,
        "held": found.model.held,
    }
    assert below_target(record, 45.0) == pytest.approx(found.below(45.0).share, rel=1e-12)
    assert f"{found.low_Nm:.3g} to {found.high_Nm:.3g} N m in eight of ten pulls" in band_words(found)
    assert f"inputs alone {columns['torque_inputs_p10_Nm']:.3g} to" in inputs_words(found)


def test_without_it_the_band_is_that_of_the_samples(found: Band) -> None:
    none = replace(found, model=NO_MODEL)
    assert none.low_Nm == none.inputs_quantile_Nm(0.1) and none.below(45.0).share == np.mean(
        found.torque_Nm < 45.0
    )


def test_no_more_is_solved_for_it_and_two_bands_are_the_same() -> None:
    counts: list[int] = []
    one, other = (band(CASE, n=4, watch=lambda done, total: counts.append(total)) for _ in range(2))
    assert one.low_Nm == other.low_Nm and one.quantile_Nm(0.3) == other.quantile_Nm(0.3)
    # 4 samples, two ends of the one input, its middle and the plain case, which is the middle too
    assert set(counts) <= {7, 8}


def test_two_wrenches_on_the_same_samples_leave_it_out() -> None:
    ring = CASE | {"name": "ring", "wrench": {"profile": "ring-six"}}
    both = compare(ring, CASE, Sampling(4))
    wide = replace(
        both, first=replace(both.first, model=NO_MODEL), second=replace(both.second, model=NO_MODEL)
    )
    assert both.first_beats_second() == wide.first_beats_second() and both.ratio() == wide.ratio()
    assert COMMON in comparison_words(both) and comparison_record(both, "0")["model_error"] == COMMON


def test_shares_of_groups_by_the_formula_of_a_product() -> None:
    """ln T = 0.2 x + 0.1 y + 0.1 z, x y z uniform from -1 to 1 (variance 1/3), and a factor of sigma 0.1: of
    0.02 + 0.01 in all the first group has 4/6 of 0.02, the second 2/6, the model a third of the whole."""
    rng = np.random.default_rng(1)
    u = rng.random((256, 3))
    log = (2 * u - 1) @ [0.2, 0.1, 0.1]
    paths = ["fastener.yield_strength", "wrench.opening", "wrench.thickness"]
    shares = {g.name: g for g in group_shares(paths, u, np.exp(log), np.full(256, 0.1), 1)}
    whole = float(np.var(log)) + 0.01
    assert shares["model"].first == shares["model"].total == pytest.approx(0.01 / whole, rel=1e-9)
    assert shares["fastener"].first == pytest.approx(4 / 6 * np.var(log) / whole, abs=0.01)
    assert shares["wrench"].total == pytest.approx(2 / 6 * np.var(log) / whole, abs=0.01)
    assert sum(g.first for g in shares.values()) == pytest.approx(1.0, abs=0.01)
    # What acts together is in the totals alone: x y of symmetric x, y
    both = {
        g.name: g
        for g in group_shares(
            paths[:2], u[:, :2], np.exp(np.prod(2 * u[:, :2] - 1, axis=1)), np.zeros(256), 1
        )
    }
    assert both["fastener"].first < 0.03 and both["fastener"].total == pytest.approx(1.0, abs=0.05)


def test_the_cap_is_not_counted_twice() -> None:
    scatters = CASE | {"contact": {"constraint_factor": {"low": 1.0, "high": 1.4}}}
    found, other = (model_sigma(split_case(case)) for case in (scatters, CASE))
    assert found.grip == default_sigma("grip", cap_scatters=True) < default_sigma("grip") == other.grip
    assert found.source.startswith("by rule")


def test_a_calibration_brings_its_own(tmp_path: Path) -> None:
    (tmp_path / "fit.toml").write_text(FILE.format(0.06), encoding="utf-8")
    case = CASE | {"calibration": "fit.toml", "contact": {"friction": 0.15}}
    found = model_sigma(split_case(case, folder=tmp_path))
    assert found.grip == 0.06 and "fit.toml" in found.source and found.wrench == default_sigma("wrench")
    # A case that writes the constant itself is about another model; an older file holds no scatter.
    own = case | {"contact": {"constraint_factor": 1.2}}
    assert model_sigma(split_case(own, folder=tmp_path)).grip == default_sigma("grip")
    text = "\n".join(line for line in FILE.splitlines() if "sigma" not in line)
    (tmp_path / "fit.toml").write_text(text, encoding="utf-8")
    assert calibrated_sigma(case, tmp_path) is None and calibrated_sigma(CASE, tmp_path) is None


@pytest.mark.parametrize("text", ["0.0", "-0.1", "'much'", "2.0", "true"])
def test_a_scatter_that_is_none_is_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "fit.toml").write_text(FILE.format(text), encoding="utf-8")
    with pytest.raises(InputError, match="is not a scatter"):
        read_calibration(tmp_path / "fit.toml")


def test_what_a_calibration_writes_holds_a_further_reading_in_eight_of_ten() -> None:
    """Residuals of a fit of one constant to n readings of a known scatter; a further reading about the right value. By
    Student's t the band holds 80 %, less what the constant's own interval covers: n = 12 is a third of a per cent."""
    rng, n, inside, trials = np.random.default_rng(3), 12, 0, 4000
    for _ in range(trials):
        ratio = 0.1 * rng.standard_normal(n)
        error = float(np.sqrt(np.mean((ratio - ratio.mean()) ** 2)))
        fit = Fit("contact.constraint_factor", 1.2, 1.1, 1.3, 1.155)
        sigma = Calibration((fit,), n, 0.1, error, None, None, None, (), ()).model_sigma
        inside += abs(0.1 * rng.standard_normal()) < 1.2816 * sigma
    assert inside / trials == pytest.approx(0.80, abs=0.02)
    assert math.isclose(default_sigma("grip"), 0.108, abs_tol=0.001)
