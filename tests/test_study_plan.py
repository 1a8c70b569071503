"""Study files: what becomes of them, and what is said of bad ones."""

from __future__ import annotations

import copy
import doctest
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from contactfe.errors import InputError
from contactfe.study import DEMO, StudyPlan, forecast, load_plan, parse_plan
from contactfe.study import plan as plan_module
from contactfe.study.identity import case_id
from contactfe.turn.revision import SOLVER_REVISION

BASE: dict[str, Any] = {"fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}


def study(**tables: Any) -> dict[str, Any]:
    return {"format": 1, "name": "try", "base": copy.deepcopy(BASE), **tables}


def plan_of(**tables: Any) -> StudyPlan:
    return parse_plan(study(**tables))


def problems_of(raw: dict[str, Any]) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_plan(raw, "study.toml")
    return [str(p) for p in caught.value.problems]


def test_the_example_of_the_documentation_runs() -> None:
    failed, tried = doctest.testmod(plan_module)
    assert (failed, tried) == (0, 5)


def test_a_grid_has_every_combination_with_the_last_key_fastest() -> None:
    plan = plan_of(sweep={"fastener.rounding": ["0 %", "20 %"], "contact.friction": [0.1, 0.2, 0.3]})
    assert plan.varied == ("fastener.rounding", "contact.friction")
    assert [c.values for c in plan.cases] == [(r, f) for r in ("0 %", "20 %") for f in (0.1, 0.2, 0.3)]
    assert [c.case.fastener.rounding for c in plan.cases] == [0.0] * 3 + [0.2] * 3
    assert [c.name for c in plan.cases] == [f"try-{i}" for i in range(1, 7)]
    assert all(c.case.name == c.name for c in plan.cases)


@pytest.mark.parametrize(
    ("path", "bounds", "values"),
    [
        ("fastener.rounding", ("0 %", "70 %", "10 %"), [f"{v} %" for v in range(0, 80, 10)]),
        ("fastener.yield_strength", ("92 ksi", "100 ksi", "4 ksi"), ["92 ksi", "96 ksi", "100 ksi"]),
        (
            "fastener.engaged_depth",
            ("1/4 in", "6.4 mm", "0.01 mm"),
            ["6.35 mm", "6.36 mm", "6.37 mm", "6.38 mm", "6.39 mm", "6.4 mm"],
        ),
        ("contact.friction", (0.1, 0.34, 0.1), [0.1, 0.2, 0.3]),
        ("wrench.offset_angle", ("-5 deg", "5 deg", "5 deg"), ["-5 deg", "0 deg", "5 deg"]),
    ],
)
def test_a_range_holds_both_ends_and_keeps_its_unit(
    path: str, bounds: tuple[Any, ...], values: list[Any]
) -> None:
    plan = plan_of(sweep={path: dict(zip(("from", "to", "step"), bounds, strict=True))})
    assert [c.values[0] for c in plan.cases] == values


def test_a_range_gives_the_same_cases_as_its_list() -> None:
    listed = plan_of(sweep={"fastener.rounding": ["0 %", "10 %", "20 %", "30 %"]})
    ranged = plan_of(sweep={"fastener.rounding": {"from": "0 %", "to": "30 %", "step": "10 %"}})
    assert [c.case_id for c in listed.cases] == [c.case_id for c in ranged.cases]


def test_lists_that_go_together_advance_together() -> None:
    together = [{"fastener.size": ["M8", "M10"], "wrench.thickness": ["6 mm", "7 mm"]}]
    plan = plan_of(sweep={"contact.friction": [0.1, 0.2], "together": together})
    assert [c.values for c in plan.cases] == [
        (0.1, "M8", "6 mm"), (0.1, "M10", "7 mm"), (0.2, "M8", "6 mm"), (0.2, "M10", "7 mm"),
    ]  # fmt: skip


@pytest.mark.parametrize("method", ["latin-hypercube", "sobol"])
def test_samples_fill_every_stratum_and_come_again_with_their_seed(method: str) -> None:
    """Latin hypercube: one point in each of n equal strata of every input (McKay, Beckman and Conover
    1979). A scrambled Sobol sequence of 2^k points has the same property (Owen 1998: scrambling keeps a net
    a net)."""
    sample = {"method": method, "n": 32, "seed": 5, "contact.friction": {"low": 0.1, "high": 0.2},
              "fastener.yield_strength": {"low": "600 MPa", "high": "700 MPa"}}  # fmt: skip
    first, again = plan_of(sample=sample), plan_of(sample=sample)
    other = plan_of(sample={**sample, "seed": 6})
    assert [c.case_id for c in first.cases] == [c.case_id for c in again.cases]
    assert not {c.case_id for c in first.cases} & {c.case_id for c in other.cases}
    friction = np.array([c.case.contact.friction for c in first.cases])
    strength = np.array([c.case.fastener.yield_strength for c in first.cases])
    for values, low, width in ((friction, 0.1, 0.1), (strength, 600.0, 100.0)):
        assert sorted(np.floor((values - low) / width * 32).astype(int).tolist()) == list(range(32))


def test_normal_samples_have_their_mean_and_spread_and_bounds_cut_them() -> None:
    """A normal distribution cut at its mean has the mean m + s sqrt(2/pi) (half-normal distribution)."""
    sample = {"method": "latin-hypercube", "n": 400, "seed": 1,
              "fastener.yield_strength": {"mean": "700 MPa", "sd": "30 MPa"},
              "wrench.yield_strength": {"mean": "1250 MPa", "sd": "40 MPa", "low": "1250 MPa"}}  # fmt: skip
    plan = plan_of(sample=sample)
    strength = np.array([c.case.fastener.yield_strength for c in plan.cases])
    cut = np.array([c.case.wrench.yield_strength for c in plan.cases])
    assert strength.mean() == pytest.approx(700.0, abs=0.1)
    assert strength.std() == pytest.approx(30.0, rel=0.01)
    assert cut.min() >= 1250.0
    assert cut.mean() == pytest.approx(1250.0 + 40.0 * np.sqrt(2 / np.pi), rel=1e-3)


def test_a_grid_is_crossed_with_the_samples() -> None:
    plan = plan_of(
        sweep={"fastener.rounding": ["0 %", "20 %"]},
        sample={"method": "sobol", "n": 4, "seed": 1, "contact.friction": {"low": 0.1, "high": 0.2}},
    )
    assert len(plan.cases) == 8
    assert [c.values[1] for c in plan.cases[:4]] == [c.values[1] for c in plan.cases[4:]]


def test_all_problems_come_at_once_with_their_places() -> None:
    raw = {
        "format": 1,
        "base": {"fastener": {"size": "M10"}, "wrenhc": {}},
        "sweep": {
            "fastener.rouding": ["0 %"],
            "fastener.rounding": ["0 %", "20", "0.0 %", "120 %"],
            "contact.friction": {"from": 0.2, "to": 0.1, "step": 0.1},
            "together": [{"fastener.grade": ["8.8", "10.9"], "wrench.thickness": ["3 mm"]}],
        },
        "sample": {"method": "sobl", "n": 10, "load.lever_arm": {"mean": "200 mm", "sd": "20"}},
    }
    found = problems_of(raw)
    for expected in (
        "[base] wrenhc: unknown key; did you mean wrench?",
        "[sweep] fastener.rouding: no such key in a case; did you mean fastener.rounding?",
        '[sweep] fastener.rounding, item 2: 20 has no unit; write "20 %"',
        "[sweep] fastener.rounding, item 3: repeats item 1; remove one of them",
        "[sweep] fastener.rounding, item 4: 120 % is above 100 %; it reaches from 0 % to 100 %",
        "[sweep] contact.friction: the range does not go upward; write from below to, and a step above 0",
        "[[sweep.together]] 1: lists of different lengths: fastener.grade has 2, wrench.thickness has 1; "
        "lists that go together are equally long",
        "[sample] method: 'sobl' is not known; did you mean sobol?",
        "[sample] seed: missing; write seed = 1, so that the same points come again",
        '[sample] load.lever_arm, sd: 20 has no unit; write "20 mm" or "1/2 in"',
        '[base.wrench] profile: missing; write profile = "ring-twelve"',
    ):
        assert expected in found, found


FRICTION = {"contact.friction": [0.1]}
SOBOL = {"method": "sobol", "n": 8, "seed": 1}


def sampled(**settings: Any) -> dict[str, Any]:
    """A study that samples; an underscore stands for the dot of a path."""
    renamed = {k.replace("__", "."): v for k, v in settings.items()}
    return {"sample": {**SOBOL, **renamed}}


@pytest.mark.parametrize(
    ("tables", "expected"),
    [
        ({}, "[sweep]: nothing is varied"),
        ({"sweep": {"name": ["a", "b"]}}, "[sweep] name: name cannot be varied"),
        (
            {"sweep": {"contact.friction": 0.1}},
            "[sweep] contact.friction: is one value; write a list, or set it in [base.contact]",
        ),
        ({"sweep": {"contact.friction": []}}, "[sweep] contact.friction: is an empty list"),
        (
            {"sweep": {"contact.friction": {"from": 0.1, "to": 0.2}}},
            "[sweep] contact.friction: the range has no step",
        ),
        (
            {"sweep": {"contact.friction": {"from": 0, "to": 1, "step": 1e-6}}},
            "[sweep] contact.friction: the range has more than 10000 values",
        ),
        (
            {"sweep": {"wrench.profile": {"from": "a", "to": "b", "step": "c"}}},
            "[sweep] wrench.profile: a range needs numbers",
        ),
        (
            {"sweep": {**FRICTION, "together": [FRICTION]}},
            "[sweep] contact.friction: is varied in two places",
        ),
        ({"sweep": {"together": [[]]}}, "[[sweep.together]] 1: is not a table with lists"),
        ({"sweep": []}, "[sweep]: is not a table"),
        ({"swep": {}, "sweep": FRICTION}, "swep: unknown key; did you mean sweep?"),
        (
            {"fastener": {"size": "M10"}, "sweep": FRICTION},
            "[fastener]: stands at the top of a study; write [base.fastener]",
        ),
        (sampled(n=10, contact__friction={"low": 0.1, "high": 0.2}), "[sample] n: 10 is not a power of two"),
        (sampled(), "[sample]: samples no input"),
        (sampled(frction={}), "[sample] frction: unknown key"),
        (sampled(wrench__profile={"low": 1, "high": 2}), "[sample] wrench.profile: cannot be sampled"),
        (sampled(contact__friction=0.1), "[sample] contact.friction: is not a distribution"),
        (
            sampled(contact__friction={"low": 0.2, "high": 0.1}),
            "[sample] contact.friction: low is above high",
        ),
        (
            sampled(contact__friction={"mean": 0.2}),
            "[sample] contact.friction: is not a complete distribution",
        ),
        (sampled(contact__friction={"mean": 0.2, "sd": 0}), "[sample] contact.friction, sd: is 0"),
        (sampled(contact__friction={"mean": 0.1, "sd": 0.3}), "of 8 sampled values are out of range"),
    ],
)
def test_what_is_said_of_a_bad_study(tables: dict[str, Any], expected: str) -> None:
    found = problems_of(study(**tables))
    assert any(expected in p for p in found), found


@pytest.mark.parametrize(
    ("given", "expected"), [(None, "missing"), (2, "2 is newer"), ("1", "not a format"), (0, "not a format")]
)
def test_the_format_is_checked_first(given: Any, expected: str) -> None:
    raw = study(sweep={"nonsense": 1})
    raw["format"] = given
    found = problems_of({k: v for k, v in raw.items() if v is not None})
    assert len(found) == 1 and expected in found[0]


def test_a_problem_of_some_combinations_says_of_which() -> None:
    raw = study(sweep={"fastener.size": ["M8", "M10", "M12"], "contact.friction": [0.1, 0.2]})
    raw["base"]["wrench"]["opening"] = "16.2 mm"
    found = problems_of(raw)
    assert any(
        "is smaller than the fastener" in p
        and "in 2 of 6 cases, first: fastener.size = M12, contact.friction = 0.1" in p
        for p in found
    )
    assert any("spin freely" in p and "fastener.size = M8" in p for p in found)
    assert all(p.startswith("[base.wrench] opening") for p in found)


def test_a_long_list_of_problems_is_cut() -> None:
    raw = study(sweep={"load.lever_arm": {"from": "1 mm", "to": "31 mm", "step": "1 mm"}})
    found = problems_of(raw)
    assert len(found) == 21 and found[-1] == "and 11 more like these"


def test_too_many_cases_are_refused() -> None:
    steps = {"from": 0.0, "to": 0.999, "step": 0.001}
    raw = study(
        sweep={"contact.friction": steps, "wrench.yield_strength": [f"{v} MPa" for v in range(1000, 1101)]}
    )
    assert problems_of(raw) == ["[sweep]: the study has 101000 cases; at most 100000; shorten the lists"]


def test_a_files_name_and_place_are_used(tmp_path: Path) -> None:
    file = tmp_path / "wear.toml"
    file.write_text('format = 1\n[base.fastener]\nsize = "M10"\ngrade = "8.8"\n[base.wrench]\nprofile = "open-end"\n'
                    '[sweep]\n"contact.friction" = [0.1]\n')  # fmt: skip
    assert load_plan(file).name == "wear"
    file.write_text("format = 1\n[sweep\n")
    with pytest.raises(InputError, match=r"wear\.toml"):
        load_plan(file)


def test_the_address_of_a_case_is_what_is_asked_and_by_which_solver(tmp_path: Path) -> None:
    case = plan_of(sweep={"contact.friction": [0.15]}).cases[0].case
    own = case_id(case)
    assert case_id(replace(case, name="other", cautions=("x",))) == own
    assert case_id(case, revision=SOLVER_REVISION + 1) != own
    for changed in (
        replace(case, fastener=replace(case.fastener, yield_strength=np.nextafter(640.0, 641.0))),
        replace(case, wrench=replace(case.wrench, thickness=9.0)),
        replace(case, contact=replace(case.contact, plane="strain")),
        replace(case, load=replace(case.load, lever_arm=200.0)),
        replace(case, mesh=replace(case.mesh, growth=0.2)),
    ):
        assert case_id(changed) != own
    # Of an outline the content counts, not the place.
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_text("same")
    a, b = (
        case_id(replace(case, wrench=replace(case.wrench, outline=str(tmp_path / n))))
        for n in ("a.toml", "b.toml")
    )
    (tmp_path / "b.toml").write_text("changed")
    c = case_id(replace(case, wrench=replace(case.wrench, outline=str(tmp_path / "b.toml"))))
    assert a == b != c


def test_the_forecast_counts_what_is_distinct() -> None:
    """Yield, friction, depth and modulus need no mesh of their own; every opening has one."""
    plan = plan_of(sweep={
        "fastener.rounding": ["0 %", "30 %"], "contact.friction": [0.1, 0.2], "wrench.opening": ["tight", "loose"],
        "fastener.engaged_depth": ["5 mm", "6 mm"], "wrench.elastic_modulus": ["206 GPa", "210 GPa"],
        "fastener.yield_strength": ["640 MPa", "940 MPa"],
    })  # fmt: skip
    seen = forecast(plan, workers=1)
    assert (seen.cases, seen.fasteners, seen.wrenches, seen.meshes, seen.to_build) == (64, 2, 2, 4, 4)
    assert forecast(plan, workers=2).seconds < seen.seconds
    assert seen.impossible == 0 and not seen.measured and seen.memory_MB > 100 and seen.disk_MB > 1
    import tomllib

    demo = forecast(parse_plan(tomllib.loads(DEMO)), workers=2)
    # An open end is entered a twelfth of a turn further on, so its fasteners are meshed apart.
    assert (demo.cases, demo.fasteners, demo.wrenches) == (80, 16, 5)
