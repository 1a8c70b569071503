"""The shape numbers of each family: every head at either end of a range can be built, and defaults lie within."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from contactfe.errors import ContactFEError
from contactfe.inputs import case_template, parse_case
from contactfe.outlines import envelope
from contactfe.profile import profile_pair
from contactfe.standards import PROFILES, design_number, design_numbers, design_table, profile
from contactfe.units import format_quantity

FAMILIES = tuple(name for name in PROFILES if not profile(name).drawn)


def case(name: str, **wrench: Any) -> Any:
    raw = {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": name, **wrench}}
    return parse_case(raw)


@pytest.mark.parametrize("name", FAMILIES)
def test_heads_at_both_ends_of_every_range_can_be_built(name: str) -> None:
    assert {"opening", "thickness"} < {n.name for n in design_numbers(name)}
    for number in design_numbers(name):
        for value in number.bounds(16.0):
            text = int(value) if number.kind == "integer" else format_quantity(value, number.kind)
            profile_pair(case(name, **{number.name: text}))


@pytest.mark.parametrize("name", FAMILIES)
def test_defaults_lie_within_the_ranges(name: str) -> None:
    wrench = case(name).wrench
    values = {
        **wrench.dims,
        "thickness": wrench.thickness,
        "opening": wrench.opening,
        "points": wrench.points,
    }
    for number in design_numbers(name):
        low, high = number.bounds(16.0)
        assert low <= values[number.name] <= high, number.name


def test_the_table_names_each_number_once_and_init_shows_it() -> None:
    table = design_table()
    assert len({row[0] for row in table}) == len(table)
    assert {"bearing_reach", "relief_angle", "lobe_angle", "ridge_radius", "points"} <= {
        row[0] for row in table
    }
    text = case_template("turn")
    assert "usual 0.12 s to 0.24 s" in text and "usual 5 deg to 40 deg" in text
    with pytest.raises(ContactFEError, match="did you mean relief_angle"):
        design_number("ring-six-relieved", "relief_angel")
    assert design_numbers("outline") == ()


def test_the_table_in_the_readme_is_that_of_the_program() -> None:
    text = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| `")]
    told = []
    for key, doc, words, owners in design_table():
        profiles = "all" if owners == FAMILIES else ", ".join(owners)
        told.append(f"| `{key}` | {doc} | {words} | {profiles} |")
    assert rows == told


@pytest.mark.parametrize("name", ["ring-six", "ring-twelve"])
def test_envelope_of_a_ring_by_hand(name: str) -> None:
    """Outside radius and wall are those of the numbers: half the diameter, and that less the corner's reach."""
    built = case(name)
    found = envelope(profile_pair(built).wrench, built.wrench.thickness)
    d = built.wrench.dims
    assert found.outside_radius == pytest.approx(d["outside_diameter"] / 2, abs=1e-9)
    corner = built.wrench.opening / 2 / (3**0.5 / 2) - d["root_radius"] * (2 / 3**0.5 - 1)
    assert found.wall == pytest.approx(d["outside_diameter"] / 2 - corner, abs=2e-3)
    ring = 3.141592653589793 * found.outside_radius**2 - built.wrench.opening**2 * 3**0.5 / 2
    if name == "ring-six":
        assert found.area == pytest.approx(ring, rel=2e-3)
        assert found.mass == pytest.approx(ring * built.wrench.thickness * 7.85e-3, rel=2e-3)


def test_the_wall_of_an_open_end_is_behind_its_throat_or_beside_its_jaws() -> None:
    built = case("open-end")
    found = envelope(profile_pair(built).wrench, built.wrench.thickness)
    d = built.wrench.dims
    behind = d["head_width"] / 2 - d["head_centre"] - d["throat_depth"]
    assert 0.2 * behind < found.wall <= behind + 1e-6
    assert found.outside_radius > d["head_width"] / 2
