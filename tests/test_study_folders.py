"""The studies that come with the project: their files, their expected numbers, and what they are said to
show."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from contactfe.study import StudyPlan, load_plan, read_rows
from contactfe.study.tables import Row, columns_of, row_of
from contactfe.study.work import CaseTask, Outcome, needs_of, needs_or_failure, run_task

STUDIES = Path(__file__).resolve().parent.parent / "studies"
NAMES = sorted(p.parent.name for p in STUDIES.glob("*/study.toml"))

# Cases that are solved again, at the mesh of the study: few bodies, many rows.
AGAIN = {
    "clearance": lambda v: v["wrench.profile"] == "open-end" and v["fastener.rounding"] == "0 %",
    "friction": lambda v: v["wrench.profile"] == "open-end" and v["fastener.rounding"] == "0 %",
    "rounding-by-yield": lambda v: (
        v["wrench.profile"] == "ring-spline" and v["fastener.rounding"] in ("20 %", "70 %")
    ),
    "odds": lambda v: v["wrench.profile"] == "open-end",
    "scatter": lambda v: v["contact.friction"] < 0.107,
}


@pytest.fixture(scope="module")
def bodies(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bodies")


def planned(name: str) -> StudyPlan:
    return load_plan(STUDIES / name / "study.toml")


def expected(name: str) -> list[Row]:
    return read_rows(STUDIES / name / "expected.csv")


def test_every_study_is_tested() -> None:
    assert set(AGAIN) == set(NAMES) and {"rounding-by-yield", "clearance", "friction"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_study_has_a_question_a_sketch_a_finding_and_all_its_rows(name: str) -> None:
    text = (STUDIES / name / "README.md").read_text(encoding="utf-8")
    for heading in ("## Question", "## Sketch", "## Finding"):
        assert heading in text
    plan, rows = planned(name), expected(name)
    assert plan.name == name
    assert list(rows[0]) == list(columns_of(plan))
    assert [tuple(r[p] for p in plan.varied) for r in rows] == [c.values for c in plan.cases]
    assert all(r["status"] in ("ok", "turns freely") for r in rows)


@pytest.mark.parametrize("name", NAMES)
def test_some_of_its_cases_come_out_as_expected(name: str, bodies: Path) -> None:
    """Own regression: the numbers of the same program at the same mesh, on any machine."""
    plan, rows = planned(name), expected(name)
    picked = [c for c in plan.cases if AGAIN[name](dict(zip(plan.varied, c.values, strict=True)))]
    assert 3 <= len(picked) <= 8
    for case in picked:
        outcome = run_task(CaseTask(case.case_id, case.case, needs_of(case.case, case.wrench), str(bodies)))
        found, known = row_of(plan, case, outcome), rows[case.index]
        assert found["status"] == known["status"], found["reason"]
        for key in (
            "slip_torque_Nm",
            "onset_torque_Nm",
            "free_play_deg",
            "jaw_spread_um_per_Nm",
            "flank_pressure_MPa_per_Nm",
        ):
            assert found[key] == (None if known[key] is None else pytest.approx(known[key], rel=1e-4)), key


def test_a_band_comes_out_as_expected(bodies: Path) -> None:
    """Own regression, as above: one case with its samples. A sample at the target may fall on either side of it."""
    plan, rows = planned("odds"), expected("odds")
    case = next(c for c in plan.cases if c.values == ("open-end", "60 %"))
    needs = needs_or_failure(case)
    assert not isinstance(needs, Outcome)
    kept = frozenset(need.key for need in needs)
    task = CaseTask(case.case_id, case.case, needs[:2], str(bodies), band=case.band, kept=kept)
    found, known = row_of(plan, case, run_task(task)), rows[case.index]
    for key in ("median", "p10", "p90"):
        name = f"torque_{key}_Nm"
        assert found[name] == pytest.approx(known[name], rel=2e-3)
    for key in ("ends_below_target_share", "twist_off_first_share", "turns_freely_share"):
        assert found[key] == pytest.approx(known[key], abs=1 / 16)
    assert found["leading_input"] == known["leading_input"] == "contact.friction"


# --- what they are said to show -----------------------------------------------------------------------------------


def torques(rows: list[Row], *keys: str) -> dict[tuple[object, ...], float]:
    """Slip torque by some inputs; a wrench that turns freely counts as zero."""
    return {tuple(r[k] for k in keys): r["slip_torque_Nm"] or 0.0 for r in rows}


def test_slip_torque_falls_with_rounding_and_rises_with_the_grade() -> None:
    """Common practice, no source: what is worn slips earlier, and a harder head holds more."""
    found = torques(expected("rounding-by-yield"), "wrench.profile", "fastener.grade", "fastener.rounding")
    for profile in ("ring-six", "ring-twelve", "ring-spline", "flare-nut", "open-end"):
        for grade in ("8.8", "10.9"):
            curve = [found[profile, grade, f"{r} %"] for r in range(0, 80, 10)]
            # The first tenth takes the tip of the corner only, which six-point openings and jaws do not touch.
            assert all(b < 1.01 * a for a, b in pairwise(curve)) and curve[-1] < 0.6 * curve[0]
        assert all(
            found[profile, "10.9", f"{r} %"] >= found[profile, "8.8", f"{r} %"] for r in range(0, 80, 10)
        )


def test_new_hexes_rank_the_profiles_as_the_trade_does() -> None:
    """Six-point ring, twelve-point ring, spline, flare-nut, open end (common practice, no source)."""
    found = torques(expected("rounding-by-yield"), "wrench.profile", "fastener.grade", "fastener.rounding")
    for grade in ("8.8", "10.9"):
        new = [
            found[p, grade, "0 %"]
            for p in ("ring-six", "ring-twelve", "ring-spline", "flare-nut", "open-end")
        ]
        assert new == sorted(new, reverse=True)


def test_wrenches_that_give_way_before_their_grip_does() -> None:
    """What the study says of itself: no outside source knows these invented heads."""
    rows = expected("rounding-by-yield")
    found = {tuple(r[k] for k in ("wrench.profile", "fastener.grade", "fastener.rounding")): r for r in rows}
    for row in rows:
        if row["status"] == "ok":
            gives_way = row["ended_by"] == "wrench"
            assert gives_way == (row["torque_Nm"] < row["slip_torque_Nm"]) == ("gives way" in row["cautions"])
            assert row["wrench_utilisation_at_slip"] > 1 or not gives_way
    for r in range(0, 70, 10):
        slotted, jaws, ring = (found[p, "10.9", f"{r} %"] for p in ("flare-nut", "open-end", "ring-six"))
        assert slotted["ended_by"] == "wrench" and jaws["ended_by"] == "grip"
        assert (slotted["torque_Nm"] < jaws["torque_Nm"]) == (r <= 40)
        assert (ring["ended_by"] == "wrench") == (r <= 50)
    for grade in ("8.8", "10.9"):
        slotted, twelve = (found[p, grade, "60 %"] for p in ("flare-nut", "ring-twelve"))
        assert slotted["slip_torque_Nm"] > twelve["slip_torque_Nm"]


def test_twelve_points_turn_freely_past_their_limit() -> None:
    """On a hex that has become smaller than the circle within the ridges, whose tips are arcs of radius r
    that touch the flats of the opening S: diameter (S + 2 r) / cos 15 deg - 2 r (plane geometry)."""
    plan = planned("rounding-by-yield")
    for case, row in zip(plan.cases, expected("rounding-by-yield"), strict=True):
        head, wrench = case.case.fastener, case.case.wrench
        if wrench.profile in ("ring-twelve", "ring-spline"):
            e, r = 2 * head.across_flats / np.sqrt(3), wrench.dims["ridge_radius"]
            within = (wrench.opening + 2 * r) / np.cos(np.radians(15)) - 2 * r
            limit = (e - within) / (e - head.across_flats)
            assert 0.68 < limit < 0.7 and row["turns_freely"] == (head.rounding > limit)
        else:
            assert not row["turns_freely"]


def test_slip_torque_falls_with_clearance() -> None:
    """Common practice, no source."""
    found = torques(expected("clearance"), "wrench.profile", "fastener.rounding", "wrench.opening")
    for profile, rounding in {key[:2] for key in found}:
        assert (
            found[profile, rounding, "tight"]
            > found[profile, rounding, "middle"]
            > found[profile, rounding, "loose"]
        )


def test_slip_torque_rises_with_friction() -> None:
    """Common practice, no source."""
    found = torques(expected("friction"), "wrench.profile", "fastener.rounding", "contact.friction")
    for profile, rounding in {key[:2] for key in found}:
        curve = [found[profile, rounding, f] for f in sorted({key[2] for key in found})]
        assert len(curve) == 6 and curve == sorted(curve)


def test_scatter_goes_with_every_input_in_its_direction() -> None:
    """More yield, friction and depth help, more clearance does not (common practice, no source); they add
    up."""
    rows = expected("scatter")
    torque = np.array([r["slip_torque_Nm"] for r in rows])
    paths = ("contact.friction", "wrench.opening", "fastener.yield_strength", "fastener.engaged_depth")
    values = np.array([[float(str(r[p]).split()[0]) for p in paths] for r in rows])
    unit = np.column_stack([(values - values.mean(axis=0)) / values.std(axis=0), np.ones(len(rows))])
    slope = np.linalg.lstsq(unit, torque, rcond=None)[0]
    assert np.var(torque - unit @ slope) < 0.01 * np.var(torque)
    assert -slope[1] > max(slope[0], slope[2]) and min(slope[0], slope[2]) > slope[3] > 0
    middle = np.median(torque)
    assert np.mean(np.abs(torque / middle - 1) < 0.14) > 0.9


def test_wear_turns_the_odds_from_the_ring_to_the_open_end() -> None:
    """Twelve points run out of flat first: past their limit they turn freely, six points do not (plane geometry)."""
    with (STUDIES / "odds" / "expected-odds.csv").open(newline="") as file:
        odds = {
            row["fastener.rounding"]: float(row["share_first_beats_second"]) for row in csv.DictReader(file)
        }
    assert odds["50 %"] > odds["55 %"] > 0.6 > 0.4 > odds["60 %"]
    rows = {(r["wrench.profile"], r["fastener.rounding"]): r for r in expected("odds")}
    worn = rows["ring-twelve", "60 %"], rows["open-end", "60 %"]
    assert worn[0]["torque_p10_Nm"] < 0.5 * worn[0]["torque_median_Nm"] < worn[1]["torque_p10_Nm"]
    for profile in ("ring-twelve", "open-end"):
        below = [rows[profile, f"{r} %"]["ends_below_target_share"] for r in (50, 55, 60)]
        assert below == sorted(below) and 0 < below[0] < below[-1]
    assert all(rows["open-end", f"{r} %"]["turns_freely_share"] == 0 for r in (50, 55, 60))
    leading = {row["leading_input"] for (profile, _), row in rows.items() if profile == "ring-twelve"}
    assert leading == {"wrench.opening"}
