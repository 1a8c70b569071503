"""Studies whose inputs are distributions: samples, bands, odds between profiles, and how they are run."""

from __future__ import annotations

import copy
import csv
import json
import math
import os
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import lognorm
from sweeps import InProcess, end_of, environment, sweep

from contactfe.case import solve_case
from contactfe.errors import InputError
from contactfe.parallel import LocalProcesses
from contactfe.report import study_charts, study_page
from contactfe.report.study import comparison_chart, horizontal
from contactfe.study import (
    BodyDone,
    CaseDone,
    Event,
    StudyPlan,
    StudyStore,
    forecast,
    headline,
    parse_plan,
    pivots,
    read_rows,
    run_study,
)
from contactfe.study.banded import odds_rows
from contactfe.study.plan import SAMPLE_SHARE
from contactfe.study.scatter import MOST_CURVES, told_distribution
from contactfe.turn import build_pair, peak, torque_curve
from contactfe.uncertainty import Sampling, SamplingPlan, bands_at, compare
from contactfe.uncertainty.solve import solving

Array = NDArray[np.float64]

STUDY = """\
format = 1
name = "scattered"
[base.fastener]
size = "M10"
grade = "8.8"
stock = "bar"
yield_strength = { limits = "standard" }
[base.wrench]
opening = { limits = "standard" }
[base.contact]
friction = { low = 0.10, high = 0.20 }
[base.mesh]
edge_at_contact = "1.3 mm"
[sweep]
"wrench.profile" = ["open-end", "ring-six"]
"fastener.rounding" = ["0 %", "20 %"]
[band]
samples = 4
seed = 3
below = "150 N*m"
"""


def raw_of(text: str = STUDY) -> dict[str, Any]:
    return tomllib.loads(text)


def plan_of(text: str = STUDY) -> StudyPlan:
    return parse_plan(raw_of(text))


def problems_of(raw: dict[str, Any]) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_plan(raw, "study.toml")
    return [str(p) for p in caught.value.problems]


def ran(
    plan: StudyPlan, folder: Path, executor: Any | None = None
) -> tuple[list[Event], tuple[bytes, bytes]]:
    """All events of a run, and the bytes of both tables."""
    events = list(run_study(plan, StudyStore(folder), executor or InProcess()))
    return events, ((folder / "results.csv").read_bytes(), (folder / "odds.csv").read_bytes())


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run that nothing disturbed: two processes."""
    folder = tmp_path_factory.mktemp("whole")
    ran(plan_of(), folder, LocalProcesses(2))
    return folder


@pytest.fixture(scope="module")
def expected(whole: Path) -> tuple[bytes, bytes]:
    return (whole / "results.csv").read_bytes(), (whole / "odds.csv").read_bytes()


# --- samples ----------------------------------------------------------------------------------------------------------


def column(plan: StudyPlan, index: int, path: str) -> Array:
    """The shares that one case of a plan has of one of its inputs."""
    band = plan.cases[index].band
    assert band is not None
    return band.points[:, [item.path for item in band.uncertain.inputs].index(path)]


def test_two_wrenches_meet_the_same_fasteners_and_are_two_pieces() -> None:
    plan = plan_of(STUDY.replace("samples = 4", "samples = 64"))
    assert [c.values for c in plan.cases] == [
        ("open-end", "0 %"), ("open-end", "20 %"), ("ring-six", "0 %"), ("ring-six", "20 %"),
    ]  # fmt: skip
    for path in ("fastener.yield_strength", "contact.friction"):
        for other in (1, 2, 3):
            assert np.array_equal(column(plan, 0, path), column(plan, other, path))
    opening = "wrench.opening"
    assert np.array_equal(column(plan, 0, opening), column(plan, 1, opening))
    assert not np.array_equal(column(plan, 0, opening), column(plan, 2, opening))
    # Independent: the correlation of 64 pairs lies within 3 / sqrt(64) of 0 but once in 370 (normal approximation).
    assert abs(np.corrcoef(column(plan, 0, opening), column(plan, 2, opening))[0, 1]) < 3 / 8
    # One point in each of n equal strata of every input: scrambling keeps a net a net (Owen 1998).
    for index in (0, 2):
        for path in (opening, "contact.friction"):
            assert sorted((64 * column(plan, index, path)).astype(int).tolist()) == list(range(64))


def test_a_larger_study_keeps_the_samples_and_the_addresses_of_its_cases() -> None:
    plan = plan_of()
    more = plan_of(
        STUDY.replace('"ring-six"]', '"ring-six", "ring-twelve"]').replace('"20 %"]', '"20 %", "40 %"]')
    )
    known = {c.case_id: c for c in more.cases}
    assert len(more.cases) == 9 and all(c.case_id in known for c in plan.cases)
    for case in plan.cases:
        other = known[case.case_id].band
        assert case.band is not None and other is not None
        assert np.array_equal(case.band.points, other.points)


@pytest.mark.parametrize(
    ("old", "new", "same"),
    [
        ("samples = 4", "samples = 8", False),
        ("seed = 3", "seed = 4", False),
        ("high = 0.20", "high = 0.21", False),
        (
            'yield_strength = { limits = "standard" }',
            'yield_strength = { low = "640 MPa", high = "800 MPa" }',
            False,
        ),
        # The target is asked of the samples that are there.
        ('below = "150 N*m"', 'below = "90 N*m"', True),
        ('name = "scattered"', 'name = "other"', True),
    ],
)
def test_the_address_of_a_case_holds_its_distributions_number_and_seed(
    old: str, new: str, same: bool
) -> None:
    one, two = plan_of(), plan_of(STUDY.replace(old, new))
    assert [a.case_id == b.case_id for a, b in zip(one.cases, two.cases, strict=True)] == [same] * 4


def test_a_study_without_distributions_is_what_it_was() -> None:
    plain = raw_of()
    plain["base"]["fastener"].pop("yield_strength")
    plain["base"]["wrench"].pop("opening")
    plain["base"]["contact"].pop("friction")
    plain.pop("band")
    plan = parse_plan(plain)
    assert plan.band is None and all(c.band is None and c.curves == 1 for c in plan.cases)
    # Asked for a band, it scatters by rule: limits of standards and stated judgements.
    ruled = parse_plan({**plain, "band": {"samples": 2}})
    assert ruled.band is not None and ruled.band.by_rule
    bands = [c.band for c in ruled.cases]
    assert all(b is not None and b.by_rule for b in bands)
    paths = [{item.path for item in b.uncertain.inputs} for b in bands if b is not None]
    assert "wrench.head_width" in paths[0] and "wrench.outside_diameter" in paths[2]
    assert all({"contact.friction", "fastener.yield_strength", "wrench.opening"} <= p for p in paths)
    assert {a.case_id for a in plan.cases}.isdisjoint(b.case_id for b in ruled.cases)


def test_distributions_may_stand_on_an_axis_and_an_axis_fixes_them() -> None:
    raw = raw_of()
    raw["sweep"] = {"contact.friction": [{"low": 0.1, "high": 0.2}, {"mean": 0.15, "sd": 0.02}, 0.12]}
    raw["base"]["wrench"]["profile"] = "open-end"
    plan = parse_plan(raw)
    assert [c.values for c in plan.cases] == [("0.1 to 0.2",), ("mean 0.15, sd 0.02",), (0.12,)]
    inputs = [[item.path for item in c.band.uncertain.inputs] for c in plan.cases if c.band is not None]
    assert inputs == [
        ["fastener.yield_strength", "wrench.opening", "contact.friction"],
        ["fastener.yield_strength", "wrench.opening", "contact.friction"],
        ["fastener.yield_strength", "wrench.opening"],
    ]
    assert [c.case.contact.friction for c in plan.cases] == pytest.approx([0.15, 0.15, 0.12])
    # With nothing left that scatters, a case is its plain answer alone.
    raw["base"] = {"fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}
    assert [c.band is None for c in parse_plan(raw).cases] == [False, False, True]


def test_a_distribution_is_told_in_a_few_words() -> None:
    assert told_distribution({"nominal": "16 mm", "limits": "standard"}) == "standard limits, nominal 16 mm"
    assert told_distribution({"mean": "720 MPa", "sd": "35 MPa", "low": "640 MPa"}) == (
        "mean 720 MPa, sd 35 MPa, low 640 MPa"
    )
    assert told_distribution({"limits": "standard", "class": "B"}) == "standard limits, class B"


def test_all_problems_of_bands_come_at_once() -> None:
    raw = raw_of()
    raw["band"] = {"sample": 8, "samples": 60, "seed": "one", "below": "150"}
    raw["base"]["contact"]["friction"] = {"low": 0.2, "high": 0.1}
    raw["base"]["wrench"]["thickness"] = {"mean": "7 mm"}
    raw["sweep"]["fastener.undersize"] = [{"low": "0 mm", "hgh": "0.1 mm"}, "0 mm"]
    found = problems_of(raw)
    for wanted in (
        "[band] sample: unknown key; did you mean samples?",
        "[band] seed: 'one' is not a whole number; write seed = 1",
        '[band] below: 150 has no unit; write "150 N*m"',
        "[band] samples: 60 samples; a Sobol sequence is balanced at powers of two: 32 or 64",
        "[base.contact] friction: low is above high; swap them",
        "[base.wrench] thickness: is not a complete distribution",
        "[sweep] fastener.undersize, item 1: unknown key hgh; did you mean high?",
    ):
        assert any(wanted in p for p in found), (wanted, found)
    raw = raw_of()
    raw["band"] = {"samples": 60}
    assert problems_of(raw) == [
        "[band] samples: 60 samples; a Sobol sequence is balanced at powers of two: 32 or 64"
    ]
    assert problems_of({**raw, "band": 4})[0].startswith("[band]: is not a table")


def test_samples_that_make_no_case_are_told_with_their_number() -> None:
    """A 16 mm head does not go into an opening of 15.9 mm."""
    raw = raw_of(STUDY.replace("samples = 4", "samples = 16"))
    raw["base"]["wrench"]["opening"] = {"low": "15.9 mm", "high": "16.3 mm"}
    found = problems_of(raw)
    assert found and all(
        p.startswith("[base.wrench] opening") and "of 16 samples, first:" in p for p in found
    )


def test_more_curves_than_a_study_may_have_are_refused() -> None:
    raw = raw_of()
    raw["band"]["samples"] = 16384
    raw["sweep"]["fastener.rounding"] = ["0 %", "10 %", "20 %", "30 %"]
    assert problems_of(raw) == [
        f"[band] samples: 8 cases of 16384 samples are {8 * 16384} curves; at most {MOST_CURVES}; "
        "take fewer samples or shorten the lists"
    ]


# --- answers ----------------------------------------------------------------------------------------------------------


SHARED_MESH = 0.02
"""Samples share one mesh for all openings; at this coarse one that is within 2 % of a mesh of their own."""


def test_a_band_is_that_of_its_samples_solved_one_by_one(whole: Path) -> None:
    """Each sample as a case of its own, meshed for itself, at the values that the points stand for: uniform between
    limits is low + u (high - low) (JCGM 101:2008, 6.4.2)."""
    case = plan_of().cases[3]
    assert case.band is not None
    values = []
    for u in case.band.points[:, :3]:
        sample = {
            i.path: i.low + x * (i.high - i.low) for i, x in zip(case.band.uncertain.inputs, u, strict=True)
        }
        values.append(solve_case(case.band.uncertain.sample(sample)).torque_Nm)
    row = read_rows(whole / "results.csv")[3]
    assert row["band_samples"] == 4
    for key, share in (("median", 0.5), ("p10", 0.1), ("p90", 0.9)):
        assert row[f"torque_inputs_{key}_Nm"] == pytest.approx(np.quantile(values, share), rel=SHARED_MESH)
    below = json.loads(StudyStore(whole).path(case.case_id).read_text())["record"]["band"]["torque_Nm"]
    assert below == pytest.approx(values, rel=SHARED_MESH)
    assert row["target_torque_Nm"] == 150.0
    # With the model's own factor each sample is a lognormal distribution (scipy's) about its torque.
    record = json.loads(StudyStore(whole).path(case.case_id).read_text())["record"]["band"]
    sigma = [record["model"]["sigma"]["grip" if end == "grip" else "wrench"] for end in record["ended_by"]]
    assert set(record["ended_by"]) <= {"grip", "wrench"}
    chances = [lognorm(s, scale=v).cdf(150.0) for s, v in zip(sigma, below, strict=True)]
    assert row["ends_below_target_share"] == pytest.approx(np.mean(chances), abs=1e-9)
    assert (
        row["torque_p10_Nm"]
        < row["torque_inputs_p10_Nm"]
        < row["torque_inputs_p90_Nm"]
        < row["torque_p90_Nm"]
    )


def test_shapes_that_scatter_and_twist_off_are_those_of_the_command_band(tmp_path: Path) -> None:
    text = STUDY.replace("opening = {", 'outside_diameter = { low = "24 mm", high = "26 mm" }\nopening = {')
    text = text.replace('"open-end", "ring-six"', '"ring-six"').replace('["0 %", "20 %"]', '["20 %"]')
    plan = plan_of(text)
    assert plan.cases[0].band is not None
    list(run_study(plan, StudyStore(tmp_path), InProcess()))
    task = plan.cases[0].band
    found = bands_at([(task.uncertain, False, task.points)], 3, solving(), alone=False)[0]
    row = read_rows(tmp_path / "results.csv")[0]
    stored = json.loads(StudyStore(tmp_path).path(plan.cases[0].case_id).read_text())["record"]["band"]
    assert stored["torque_Nm"] == found.torque_Nm.tolist()
    first = found.twists_off_first()
    assert first is not None and row["twist_off_first_share"] == first.share
    # Three levels of the ring, each a body for all openings, and the plain case's, meshed at its own opening.
    assert (forecast(plan, 1).wrenches, forecast(plan, 1).fasteners) == (4, 1)
    assert not (tmp_path / "odds.csv").exists()


def test_rows_hold_the_band_beside_the_plain_answer(whole: Path) -> None:
    rows = read_rows(whole / "results.csv")
    assert list(rows[0])[-15:] == [
        "torque_median_Nm", "torque_p10_Nm", "torque_p90_Nm", "torque_inputs_median_Nm", "torque_inputs_p10_Nm",
        "torque_inputs_p90_Nm", "turns_freely_share", "wrench_first_share", "twist_off_first_share", "leading_input",
        "leading_input_share", "model_share", "band_samples", "target_torque_Nm", "ends_below_target_share",
    ]  # fmt: skip
    plain = raw_of()
    plain["base"]["fastener"].pop("yield_strength")
    plain["base"]["wrench"].pop("opening")
    plain["base"]["contact"]["friction"] = 0.15
    plain.pop("band")
    for row, case in zip(rows, parse_plan(plain).cases, strict=True):
        assert row["slip_torque_Nm"] == pytest.approx(peak(torque_curve(build_pair(case.case)))[1], rel=1e-12)
        assert row["torque_p10_Nm"] < row["torque_median_Nm"] < row["torque_p90_Nm"]
        assert row["leading_input"] in (None, "contact.friction", "fastener.yield_strength", "wrench.opening")
    tables = pivots(plan_of().varied, rows)
    low, high = rows[0]["torque_p10_Nm"], rows[0]["torque_p90_Nm"]
    assert tables[0].cells[0][0].rstrip() == f"{rows[0]['torque_median_Nm']:.3g} ({low:.3g} to {high:.3g})"


def test_a_band_whose_wrench_gives_way_first_is_marked() -> None:
    row = {
        "status": "ok", "wrench.profile": "flare-nut", "slip_torque_Nm": 90.0, "torque_Nm": 90.0, "ended_by": "grip",
        "torque_median_Nm": 88.0, "torque_p10_Nm": 80.0, "torque_p90_Nm": 99.0, "wrench_first_share": 0.75,
        "twist_off_first_share": 0.0, "wrench_utilisation_at_slip": 0.9,
    }  # fmt: skip
    found = pivots(("wrench.profile",), [row])[0]
    assert found.cells == (("88 (80 to 99)*",),) and "at least half of its samples" in found.notes[0]
    held = {**row, "wrench_first_share": 0.1, "twist_off_first_share": 0.5}
    assert pivots(("wrench.profile",), [held])[0].cells == (("88 (80 to 99)^",),)
    sturdy = {**row, "wrench_first_share": 0.25}
    assert pivots(("wrench.profile",), [sturdy])[0].cells == (("88 (80 to 99)",),)


def test_the_headline_counts_by_cause_and_names_twist_off_first() -> None:
    def row(cause: str, torque: float) -> dict[str, Any]:
        return {"ended_by": cause, "torque_Nm": torque}

    ring = [row("grip", 90.0)] * 20 + [row("wrench", 70.0)] * 18 + [row("turns-freely", 0.0)] * 2
    assert headline(ring) == "20 slip, 18 wrenches give way, 2 turn freely"
    bolts = [row("grip", 60.0), row("bolt", 66.0), row("bolt", 92.0), {"status": "failed"}]
    assert headline(bolts) == (
        "the bolt twists off first in 2 of 3 cases, at 66 to 92 N m; 1 slips, 2 bolts twist off"
    )
    assert headline([]) == ""


def test_parquet_holds_the_same_table(whole: Path) -> None:
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(whole / "results.parquet").to_pylist()
    same = [{**r, "leading_input": r["leading_input"] or ""} for r in read_rows(whole / "results.csv")]
    assert table == same


def test_odds_are_counted_sample_by_sample(whole: Path) -> None:
    plan, store = plan_of(), StudyStore(whole)
    samples = {c.name: json.loads(store.path(c.case_id).read_text())["record"]["band"] for c in plan.cases}
    with (whole / "odds.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(r["first"], r["second"], r["fastener.rounding"]) for r in rows] == [
        ("open-end", "ring-six", "0 %"), ("open-end", "ring-six", "20 %"),
    ]  # fmt: skip
    for row in rows:
        one, two = (samples[row[k]]["torque_Nm"] for k in ("first_case", "second_case"))
        wins = sum(a > b for a, b in zip(one, two, strict=True))
        assert (
            float(row["share_first_beats_second"]) == wins / 4
            and row["samples"] == "4"
            and row["ties"] == "0"
        )
        # Wilson's interval of 0 of 4 at 95 %: 0 to z^2 / (4 + z^2) (Wilson 1927, from memory).
        assert wins == 0 and float(row["share_high"]) == pytest.approx(
            1.959964**2 / (4 + 1.959964**2), rel=1e-4
        )
        ratio = np.median([a / b for a, b in zip(one, two, strict=True)])
        assert float(row["ratio_median"]) == pytest.approx(ratio)


def made_up(plan: StudyPlan, torques: Sequence[Sequence[float]]) -> list[dict[str, Any]]:
    return odds_rows(plan, zip(plan.cases, map(np.array, torques), strict=True))


def test_pairs_are_equal_in_everything_but_the_profile_and_its_companions() -> None:
    raw = raw_of()
    raw["sweep"] = {
        "contact.friction": [0.1, 0.2],
        "together": [
            {
                "wrench.profile": ["open-end", "ring-six", "ring-twelve"],
                "wrench.thickness": ["7 mm", "8 mm", "9 mm"],
            }
        ],
    }
    plan = parse_plan(raw)
    rows = made_up(plan, [[1.0, 2.0], [2.0, 2.0], [0.0, math.nan], [4.0, 1.0], [3.0, 2.0], [9.0, 9.0]])
    assert [(r["first_case"], r["second_case"], r["contact.friction"]) for r in rows] == [
        ("scattered-1", "scattered-2", 0.1), ("scattered-1", "scattered-3", 0.1), ("scattered-2", "scattered-3", 0.1),
        ("scattered-4", "scattered-5", 0.2), ("scattered-4", "scattered-6", 0.2), ("scattered-5", "scattered-6", 0.2),
    ]  # fmt: skip
    assert [(r["share_first_beats_second"], r["ties"], r["samples"]) for r in rows] == [
        (0.0, 1, 2), (1.0, 0, 1), (1.0, 0, 1), (0.5, 0, 2), (0.0, 0, 2), (0.0, 0, 2),
    ]  # fmt: skip
    assert rows[1]["ratio_median"] is None  # nothing to divide by: the second one turns freely
    # A companion that makes another fastener leaves no pair.
    raw["sweep"] = {
        "together": [{"wrench.profile": ["open-end", "ring-six"], "fastener.size": ["M8", "M10"]}]
    }
    assert made_up(parse_plan(raw), [[1.0, 2.0], [2.0, 2.0]]) == []


# --- running ----------------------------------------------------------------------------------------------------------


def test_one_worker_and_none_give_the_bytes_of_two(expected: tuple[bytes, bytes], tmp_path: Path) -> None:
    assert ran(plan_of(), tmp_path / "one", LocalProcesses(1))[1] == expected
    events, found = ran(plan_of(), tmp_path / "none")
    assert found == expected
    # Two heads for the ring and two for the open end; each wrench at its own opening, and once more with a mesh that the
    # openings of the samples share.
    assert [e.total for e in events if isinstance(e, BodyDone)][-1] == 8
    assert forecast(plan_of(), 1).meshes == 8


def test_a_killed_worker_costs_nothing_and_a_second_run_solves_nothing(
    expected: tuple[bytes, bytes], tmp_path: Path
) -> None:
    executor, killed = LocalProcesses(2), False
    store = StudyStore(tmp_path)
    for event in run_study(plan_of(), store, executor):
        if isinstance(event, CaseDone) and not killed:
            os.kill(executor.pids()[0], signal.SIGKILL)
            killed = True
    assert ((tmp_path / "results.csv").read_bytes(), (tmp_path / "odds.csv").read_bytes()) == expected
    again = InProcess()
    events, found = ran(plan_of(), tmp_path, again)
    assert found == expected and again.given == [] and end_of(events).reused == 4
    assert end_of(events).tables.odds == tmp_path / "odds.csv" and len(end_of(events).odds) == 2
    left = forecast(plan_of(), 1, store)
    assert (left.to_solve, left.curves, left.to_build) == (0, 0, 0)


def test_another_target_asks_the_samples_that_are_there(whole: Path, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(whole, tmp_path / "copy")
    executor = InProcess()
    ran(plan_of(STUDY.replace("150 N*m", "1000 N*m")), tmp_path / "copy", executor)
    rows = read_rows(tmp_path / "copy" / "results.csv")
    assert executor.given == [] and [r["ends_below_target_share"] for r in rows] == [pytest.approx(1.0)] * 4
    # A study without distributions in the same folder does not leave the odds of this one behind.
    plain = raw_of()
    plain["base"] = {"fastener": {"size": "M10", "grade": "8.8"}, "mesh": {"edge_at_contact": "1.3 mm"}}
    del plain["band"], plain["sweep"]["fastener.rounding"]
    list(run_study(parse_plan(plain), StudyStore(tmp_path / "copy"), InProcess()))
    assert not (tmp_path / "copy" / "odds.csv").exists()


def test_a_body_that_cannot_be_built_fails_the_case_with_its_reason(tmp_path: Path) -> None:
    raw = raw_of()
    raw["sweep"] = {"contact.friction": [0.1, 0.2]}
    raw["base"]["wrench"] = {"profile": "ring-six", "handle_blend": {"low": "6 mm", "high": "60 mm"}}
    list(run_study(parse_plan(raw), StudyStore(tmp_path), InProcess()))
    rows = read_rows(tmp_path / "results.csv")
    assert [r["status"] for r in rows] == ["failed"] * 2 and rows[0]["torque_median_Nm"] is None
    assert rows[0]["reason"] and "unexpected" not in rows[0]["reason"]


def test_the_forecast_counts_samples() -> None:
    plan, more = plan_of(), plan_of(STUDY.replace("samples = 4", "samples = 64"))
    # Three inputs that change no shape: 16 of 64 samples are solved, the others follow from a polynomial.
    assert (forecast(plan, 1).curves, forecast(more, 1).curves) == (4 * 5, 4 * 17)
    # Seconds beyond bodies and start go with the samples: a share of a curve each, 16 mm / 1.3 mm being a coarser mesh.
    one, two = forecast(plan, 1).seconds, forecast(more, 1).seconds
    assert two - one == pytest.approx(SAMPLE_SHARE * (68 - 20) * one_curve(plan), rel=1e-9)
    assert forecast(more, 2).seconds < two


def one_curve(plan: StudyPlan) -> float:
    from contactfe.mesh.sizing import STANDARD_CONTACT_EDGE
    from contactfe.study.forecast import CASE_SECONDS

    case = plan.cases[0].case
    return CASE_SECONDS * STANDARD_CONTACT_EDGE * case.fastener.across_flats / case.mesh.edge_at_contact


# --- as it is run -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def home(whole: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the study and, in out, a copy of its results."""
    import shutil

    folder = tmp_path_factory.mktemp("home")
    (folder / "study.toml").write_text(STUDY)
    shutil.copytree(whole, folder / "out")
    return folder


def test_what_a_study_says_of_its_bands(home: Path) -> None:
    ended = sweep("study.toml", "--out", "out", folder=home)
    assert ended.returncode == 0, ended.stderr
    lines = ended.stdout.splitlines()
    assert lines[0] == "scattered: 3 slip, 1 wrench gives way"
    assert lines[1] == "held below the head: solid bar"
    assert lines[2] == "torque in N m, median (10 to 90 %): profile by rounding"
    assert any(
        line.startswith("bands: 4 samples of every case, seed 3; what scatters, as the file says")
        for line in lines
    )
    text = ended.stdout
    for wanted in ("ends below 150 N m", "bolt or bar twists off first", "open-end over ring-six", "0 % (0 to 49 %)",
                   "odds:    out/odds.csv"):  # fmt: skip
        assert wanted in text, text
    html = (home / "out" / "study.html").read_text(encoding="utf-8")
    assert (
        "median (10 to 90 %, with the model&#39;s own error)" in html
        or "median (10 to 90 %, with the model's own error)" in html
    )
    assert "Which profile delivers more" in html
    said = json.loads(sweep("study.toml", "--out", "out", "--json", folder=home).stdout)
    assert said["band"] == {"samples": 4, "seed": 3, "by_rule": False, "target_torque_Nm": 150.0}
    assert len(said["odds"]) == 2 and said["rows"][0]["torque_median_Nm"] > 0


def test_a_dry_run_counts_samples(home: Path) -> None:
    ended = sweep("study.toml", "--dry-run", "--out", "none", folder=home)
    assert ended.returncode == 0 and not (home / "none").exists()
    line = next(line for line in ended.stdout.splitlines() if "curves" in line)
    assert line.split()[:2] == ["curves", "20"] and "4 cases with a band of 4 samples, seed 3" in line


def test_bad_bands_are_one_message(home: Path) -> None:
    (home / "bad.toml").write_text(
        STUDY.replace("samples = 4", "samples = 5").replace("high = 0.20", "hi = 0.2")
    )
    ended = sweep("bad.toml", folder=home)
    assert ended.returncode == 1 and ended.stdout == "" and "Traceback" not in ended.stderr
    assert (
        "[band] samples: 5 samples" in ended.stderr
        and "[base.contact] friction: unknown key hi" in ended.stderr
    )


def test_a_local_cluster_gives_the_same_rows(home: Path, expected: tuple[bytes, bytes]) -> None:
    ended = sweep(
        "study.toml", "--out", "local", "--cluster", "local", "--workers", "2", "--quiet", folder=home
    )
    assert ended.returncode == 0 and ended.stderr == ""
    found = [(home / "local" / name).read_bytes() for name in ("results.csv", "odds.csv")]
    assert tuple(found) == expected


def test_an_interrupted_study_goes_on_where_it_was(home: Path, expected: tuple[bytes, bytes]) -> None:
    command = [
        sys.executable,
        "-m",
        "contactfe",
        "sweep",
        "study.toml",
        "--out",
        "cut",
        "--workers",
        "1",
        "--quiet",
    ]
    run = subprocess.Popen(
        command, cwd=home, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    end = time.monotonic() + 60
    while not list((home / "cut").glob("cases/*/*.json")) and time.monotonic() < end:
        time.sleep(0.05)
    run.send_signal(signal.SIGINT)
    run.communicate(timeout=60)
    assert run.returncode in (0, 130)
    known = len(list((home / "cut").glob("cases/*/*.json")))
    assert known >= 1
    ended = sweep("study.toml", "--out", "cut", "--workers", "1", "--quiet", folder=home)
    assert f"{4 - known} solved, {known} were known" in ended.stdout or known == 4
    assert tuple((home / "cut" / name).read_bytes() for name in ("results.csv", "odds.csv")) == expected


# --- figures and page -------------------------------------------------------------------------------------------------


def banded_rows(profiles: Sequence[str]) -> list[dict[str, Any]]:
    """Rows as a table holds them: invented medians, a tenth less and a fifth more as the band."""
    rows = []
    for k, profile in enumerate(profiles):
        for rounding in (0, 20, 40):
            middle = 100.0 * (k + 1) - rounding
            rows.append(
                {
                    "name": f"{profile}-{rounding}",
                    "wrench.profile": profile,
                    "fastener.rounding": f"{rounding} %",
                    "turns_freely": False,
                    "slip_torque_Nm": middle + 3.0,
                    "torque_median_Nm": middle,
                    "torque_p10_Nm": 0.9 * middle,
                    "torque_p90_Nm": 1.2 * middle,
                    "band_samples": 64.0,
                    "leading_input": "contact.friction",
                    "leading_input_share": 0.5,
                }
            )
    return rows


def test_few_lines_have_areas_and_many_have_bars() -> None:
    from contactfe.report.rows import swept_inputs

    few = study_charts(banded_rows(["open-end", "ring-six"]))
    axes = few["torque-ring-six"].axes[0]
    area = axes.collections[0].get_paths()[0].vertices
    assert {(0.0, 180.0), (0.0, 240.0), (40.0, 144.0), (40.0, 192.0)} <= {
        (float(x), float(y)) for x, y in area
    }
    markers = [line for line in axes.lines if line.get_linestyle() == "None"]
    assert [tuple(p) for p in markers[0].get_xydata()] == [(0.0, 200.0), (20.0, 180.0), (40.0, 160.0)]
    rows = banded_rows(["open-end", "ring-six", "ring-twelve", "ring-spline", "flare-nut"])
    swept = swept_inputs(rows)
    across = horizontal(swept)
    assert across is not None
    chart = comparison_chart(rows, swept, across)
    assert chart is not None
    bars = [c for c in chart.axes[0].containers if c.has_yerr]
    assert len(bars) == 5
    # Every bar at a place of its own, though five stand at each rounding.
    places = Counter(round(float(s[0][0]), 3) for bar in bars for c in bar.lines[2] for s in c.get_segments())
    assert set(places.values()) == {1}
    texts = [t.get_text() for t in chart.axes[0].get_legend().get_texts()]
    assert "median and 10 to 90 % of pulls" in texts


def test_a_band_that_turns_freely_in_most_samples_stands_hollow_at_zero() -> None:
    rows = banded_rows(["ring-twelve"])
    rows[2].update(torque_median_Nm=0.0, torque_p10_Nm=0.0)
    axes = study_charts(rows)["slip-torque"].axes[0] if "slip-torque" in study_charts(rows) else None
    axes = axes or next(iter(study_charts(rows).values())).axes[0]
    hollow = [line for line in axes.lines if line.get_markerfacecolor() == "white" and len(line.get_xydata())]
    assert [tuple(p) for line in hollow for p in line.get_xydata()] == [(40.0, 0.0)]


def test_the_page_tells_bands_and_odds() -> None:
    rows = banded_rows(["open-end", "ring-six"])
    odds = [
        {"first": "open-end", "second": "ring-six", "first_case": "a", "second_case": "b", "fastener.rounding": "20 %",
         "share_first_beats_second": 0.03, "share_low": 0.01, "share_high": 0.11, "ties": 0, "samples": 64,
         "ratio_median": 0.44, "ratio_p10": 0.4, "ratio_p90": 0.5}
    ]  # fmt: skip
    html = study_page(rows, {"name": "bands"}, "0", odds=odds)
    assert study_page(rows, {"name": "bands"}, "0", odds=odds) == html
    for wanted in ("Largest torque: 200.0 N·m", "180.0 to 240.0 N·m in eight of ten pulls, with the model",
                   "200.0 (180.0 to 240.0)", "3 % (1 to 11 %)", "input that moves it most"):  # fmt: skip
        assert wanted in html, wanted
    assert "Which profile delivers more" not in study_page(rows, {}, "0")


def test_points_of_a_grid_need_no_order_of_inputs() -> None:
    one = SamplingPlan.of(8, 1, {"wrench.opening", "contact.friction"})
    two = SamplingPlan.of(8, 1, ("contact.friction", "wrench.opening"))
    assert one == two and one.paths == ("wrench.opening", "contact.friction")
    band = plan_of().cases[0].band
    assert band is not None
    twin = replace(band, points=copy.deepcopy(band.points))
    assert twin.key() == band.key() and replace(band, seed=4).key() != band.key()
    for a, b in combinations((band, replace(band, seed=4), replace(band, points=band.points[::-1])), 2):
        assert a.key() != b.key()


def test_a_study_and_two_bands_against_each_other_draw_the_same_samples(whole: Path) -> None:
    """One sampling scheme: the same inputs and the same seed give the same heads, frictions and wrenches."""
    plan = plan_of()
    cases = {case.case.wrench.profile: case for case in plan.cases if "0 %" in case.values}
    assert len(cases) == 2 and plan.band is not None
    one, two = cases.values()
    assert one.band is not None and two.band is not None
    written = tomllib.loads(STUDY)
    pair = []
    for case in (one, two):
        raw = {"format": 1, **{k: dict(v) for k, v in written["base"].items()}}
        for path, value in zip(plan.varied, case.values, strict=True):
            table, _, key = path.partition(".")
            raw.setdefault(table, {})[key] = value
        pair.append(raw)
    found = compare(pair[0], pair[1], Sampling(plan.band.grid.n, plan.band.grid.seed))
    for case, band in ((one, found.first), (two, found.second)):
        assert case.band is not None
        assert np.array_equal(case.band.points[:, :-1], band.u)
        assert np.array_equal(case.band.points[:, -1], band.strong)
        stored = json.loads(StudyStore(whole).path(case.case_id).read_text())["record"]["band"]
        assert stored["torque_Nm"] == pytest.approx(band.torque_Nm.tolist(), rel=1e-9)
        assert stored["ended_by"] == list(band.ends.ended_by)
