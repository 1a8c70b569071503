"""Numbers of other programs: the stored ones are those that the package shows, and the programs still give them.

`independent/stored.json` is written by the scripts beside it. The integral equation needs numpy only and is solved
here every time; the finite-element library is asked again wherever it is installed.
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from independent import layer_reference, ngsolve_reference

from contactfe.profile import profile_pair
from contactfe.turn import build_pair
from contactfe.verify import CASES, independent, run_case

STORED: dict[str, Any] = json.loads(
    (Path(__file__).parent / "independent" / "stored.json").read_text(encoding="utf-8")
)
LIBRARY_IS_HERE = importlib.util.find_spec("ngsolve") is not None


def test_the_package_shows_the_stored_numbers() -> None:
    shown = {
        ("open_end", "opening_mm"): independent.OPEN_END_OPENING_MM,
        ("hexagon_in_jaws", "torque_per_turn_N"): independent.JAWS_STIFFNESS_N,
        ("hexagon_in_jaws", "resultant_over_half_flat"): independent.JAWS_RESULTANT,
        ("receding_layer", "half_width_over_height"): independent.LAYER_HALF_WIDTH,
        ("receding_layer", "middle_pressure_h_over_P"): independent.LAYER_PRESSURE,
    }
    for (problem, key), number in shown.items():
        assert STORED[problem]["answer"][key] == pytest.approx(number, rel=1e-5), (problem, key)


def test_every_stored_number_names_its_program_and_mesh() -> None:
    for problem, entry in STORED.items():
        assert entry["answer"]["library"], problem
        assert {"unknowns", "cells"} & set(entry["answer"]), problem


def test_the_library_was_given_the_outline_that_the_package_meshes() -> None:
    """The opening is one of those that are meshed, so the pair's own outline is what is solved."""
    built = build_pair(independent.open_end_case())
    pieces = built.wrench.mesh.outline.pieces
    given = STORED["open_end"]["input"]["pieces"]
    assert [p["name"] for p in given] == [p.name for p in pieces]
    for key in ("start", "end", "radius", "turn"):
        np.testing.assert_allclose([p[key] for p in given], [getattr(p, key) for p in pieces], atol=1e-9)
    assert profile_pair(independent.open_end_case()).opening == pytest.approx(16.16)


@pytest.mark.parametrize("case", ["open end spread by its flanks", "hexagon in rigid jaws"])
def test_the_package_comes_within_two_per_cent(case: str) -> None:
    compared = [c for c in run_case(CASES.cases[case]).answer.checks if c.origin == "independent code"]
    assert compared
    for check in compared:
        assert check.computed == pytest.approx(check.expected, rel=0.02), check.name


def test_the_integral_equation_gives_its_numbers_again() -> None:
    again = layer_reference.receding_layer()
    for key, number in again.items():
        assert STORED["receding_layer"]["answer"][key] == pytest.approx(number, rel=1e-6)


def test_the_layer_takes_the_load_and_lifts_at_the_edge() -> None:
    """Equilibrium of the stored problem's own solution: the cells carry the unit load, and none of them pulls."""
    k = np.linspace(2e-3, 60.0, 6001)
    wave = (k, np.full(len(k), k[1] - k[0]), np.array([layer_reference.layer_answer(float(q)) for q in k]))
    found, width = layer_reference.pressures(1.32, wave)
    assert 2.0 * found @ width == pytest.approx(1.0)
    assert found.min() >= -1e-3


def test_the_library_gives_its_numbers_again_where_it_is_installed() -> None:
    asked = []
    if LIBRARY_IS_HERE:
        head = STORED["open_end"]["input"]
        asked = [
            (
                ngsolve_reference.open_end(head["pieces"], head["young_MPa"], head["poisson"]),
                "open_end",
                "opening_mm",
            ),
            (
                ngsolve_reference.hexagon_in_jaws(**STORED["hexagon_in_jaws"]["input"]),
                "hexagon_in_jaws",
                "torque_per_turn_N",
            ),
        ]
    assert len(asked) == (2 if LIBRARY_IS_HERE else 0)
    for found, problem, key in asked:
        assert found[key] == pytest.approx(STORED[problem]["answer"][key], rel=1e-3)
