"""The bench: the ordinary way gives the same curve, and the command writes what it measured."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from contactfe import build_pair, parse_case, torque_curve
from contactfe.bench import FullSystem, bench_study, compare_with_full

SOURCE = Path(__file__).resolve().parent.parent


def case_of(profile: str, **load: Any) -> Any:
    return parse_case({
        "format": 1,
        "fastener": {"size": "M10", "grade": "8.8", "rounding": "20 %"},
        "wrench": {"profile": profile},
        "mesh": {"edge_at_contact": "0.9 mm"},
        "load": load,
    })  # fmt: skip


@pytest.mark.parametrize(
    ("profile", "load"),
    [("ring-six", {"lever_arm": "150 mm"}), ("ring-twelve", {}), ("flare-nut", {"direction": "clockwise"})],
)
def test_the_whole_system_gives_the_torque_of_the_reduced_method(profile: str, load: dict[str, Any]) -> None:
    """Asked for: the same answer within 0.5 %. The two share mesh, gaps and law, so they agree far better."""
    built = build_pair(case_of(profile, **load))
    curve = torque_curve(built)
    picked = curve.solutions[len(curve.solutions) // 3 :: 6]
    system, before = FullSystem(built), None
    for solution in picked:
        before = system.solve(solution.problem, before)
        assert before.factorisations >= 1
        assert before.torque == pytest.approx(solution.torque, rel=1e-6)
        assert np.allclose(before.pressure * built.law.cap, solution.pressure, atol=1e-4 * built.law.cap)


def test_the_comparison_scales_to_the_whole_curve() -> None:
    found = compare_with_full(case_of("ring-spline"), most=2)
    assert found.solved_rotations == 2 < found.rotations
    assert found.difference < 1e-6
    assert found.ratio == pytest.approx(found.full_seconds / found.reduced_seconds)
    assert found.ratio > 1


@pytest.mark.parametrize(("cases", "bodies"), [(100, 5), (1000, 10), (2000, 10)])
def test_bench_studies_have_their_size(cases: int, bodies: int) -> None:
    """A thousand cases: 5 profiles, 10 roundings, 5 yields, 4 frictions."""
    plan = bench_study(cases)
    assert len(plan.cases) == cases
    roundings = {c.case.fastener.rounding for c in plan.cases}
    assert len(roundings) == bodies
    assert len({c.case_id for c in plan.cases}) == cases


def test_the_command_measures_and_writes(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(SOURCE)}
    command = [sys.executable, "-m", "contactfe", "bench", "--quick", "--out", "times.json"]
    ended = subprocess.run(
        command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=240
    )
    assert ended.returncode == 0, ended.stderr
    found = json.loads((tmp_path / "times.json").read_text())
    assert {s["profile"] for s in found["stages"]} == {c["profile"] for c in found["comparison"]}
    for stage in found["stages"]:
        assert (
            min(stage[k] for k in ("meshing", "assembly", "factorisation", "flexibility", "warm", "cold")) > 0
        )
    assert {q["profile"] for q in found["questions"]} == {s["profile"] for s in found["stages"]}
    assert all(q["explanation"] > 0 and q["band"] > 0 and q["samples"] == 8 for q in found["questions"])
    assert all(c["difference"] < 5e-3 for c in found["comparison"])
    assert [(s["cases"], s["workers"], s["failed"]) for s in found["studies"]] == [(10, 1, 0), (10, 2, 0)]
    assert all(s["peak_memory_MB"] > 50 for s in found["studies"])
    assert "times faster" in ended.stdout and ended.stdout.splitlines()[-1] == "written: times.json"
    assert os.uname().nodename not in json.dumps(found["machine"]).split('"')


def test_a_place_that_cannot_be_written_is_said_before_anything_is_measured(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(SOURCE)}
    command = [sys.executable, "-m", "contactfe", "bench", "--out", "absent/times.txt"]
    ended = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=20)
    assert (
        ended.returncode == 1 and "does not end in .json" in ended.stderr and "does not exist" in ended.stderr
    )
