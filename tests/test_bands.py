"""Bands: what scatters, how it is read and sampled, and the probabilities, against brute force and closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from contactfe.case import solve_case
from contactfe.errors import ContactFEError, InputError
from contactfe.inputs import parse_case
from contactfe.reference import hexagon
from contactfe.standards import grade, twist_off_torque
from contactfe.turn.engagement import engaged_fraction
from contactfe.uncertainty import (
    NO_MODEL,
    Band,
    Distribution,
    Ends,
    Sampling,
    band,
    band_record,
    column_values,
    compare,
    comparison_record,
    comparison_words,
    crossover,
    crossover_record,
    crossover_words,
    ends_words,
    plain_words,
    sensitivity,
    split_case,
    statements,
    typical_scatter,
)
from contactfe.uncertainty import solve as solving
from contactfe.uncertainty.compare import first_change
from contactfe.uncertainty.jobs import Job, plan_jobs
from contactfe.uncertainty.limits import standard_limits
from contactfe.uncertainty.probabilities import chance
from contactfe.uncertainty.sampling import SamplingPlan, sobol_points
from contactfe.uncertainty.surrogate import fit

Array = NDArray[np.float64]
STANDARD = {"limits": "standard"}
COARSE = {"edge_at_contact": "0.8 mm", "edge_max": "4 mm"}


def raw(profile: str = "ring-six", **tables: dict[str, Any]) -> dict[str, Any]:
    """A case with the given keys by table."""
    return {
        "format": 1,
        "name": profile,
        "fastener": {"size": "M10", "grade": "8.8", "stock": "bolt", **tables.get("fastener", {})},
        "wrench": {"profile": profile, **tables.get("wrench", {})},
        "contact": tables.get("contact", {}),
        "mesh": tables.get("mesh", COARSE),
    }


def rigid(job: Job) -> float:
    """A closed form in place of the curve: a crushed length of 0.05 s at each corner, at the angle of free play.

    It keeps what sampling has to get right: every input moves it, clearance not in proportion, and a loose pair spins.
    """
    f, contact = job.case.fastener, job.case.contact
    corner = hexagon.across_corners(f.across_flats, f.rounding)
    if job.case.wrench.opening >= corner:
        return 0.0
    play = hexagon.free_turn(f.across_flats, job.case.wrench.opening - f.across_flats, f.rounding)
    contacts = 2 if job.case.wrench.profile == "open-end" else 6
    force = contact.constraint_factor * f.yield_strength * 0.05 * f.across_flats * f.engaged_depth
    arm = corner / 2.0
    lean = hexagon.corner_half_angle(f.across_flats, f.rounding) - play
    return job.factor * contacts * force * arm * (math.sin(lean) + contact.friction * math.cos(lean)) / 1e3


def in_place(monkeypatch: pytest.MonkeyPatch, torque: Callable[[Job], float]) -> None:
    """Put a function in place of the curves; its wrenches stand everything."""
    monkeypatch.setattr(solving, "pair_torques", lambda job, folder=None: (torque(job), math.inf))


@pytest.fixture
def closed_form(monkeypatch: pytest.MonkeyPatch) -> None:
    in_place(monkeypatch, rigid)


# --- reading --------------------------------------------------------------------------------------------------------


SCATTER = {
    "fastener": {
        "across_flats": {"limits": "standard"},
        "yield_strength": {"nominal": "700 MPa", "limits": "standard"},
        "engaged_depth": {"limits": "standard"},
        "corner": {"limits": "standard"},
    },
    "wrench": {"opening": {"nominal": "loose", "limits": "standard"}},
    "contact": {
        "friction": {"limits": "standard", "class": "B"},
        "constraint_factor": {"mean": 1.15, "sd": 0.05},
    },
}


@pytest.mark.parametrize(
    ("path", "nominal", "low", "high", "source"),
    [
        # ISO 4014 M10: s 15.73 to 16, k 6.22 to 6.58; e_min = 1.13 s_min, a fillet of at most 0.08 s
        ("fastener.across_flats", 16.0, 15.73, 16.0, "ISO 4014"),
        ("fastener.engaged_depth", 6.4, 6.22, 6.58, "ISO 4014"),
        ("fastener.corner", 0.16, 0.16, 0.08 * 16.0, "ISO 4014"),
        # ISO 898-1: least yield 640, at 320 HV and 3.2 MPa per HV 1024 MPa tensile, yield in the same ratio
        ("fastener.yield_strength", 700.0, 640.0, 1024.0 * 0.8, "ISO 898-1"),
        # ISO 691 for 16 mm: 16.05 to 16.27; loose is the upper one
        ("wrench.opening", 16.27, 16.05, 16.27, "ISO 691"),
        # VDI 2230 class B: 0.08 to 0.16
        ("contact.friction", 0.12, 0.08, 0.16, "VDI 2230"),
    ],
)
def test_limits_of_standards(path: str, nominal: float, low: float, high: float, source: str) -> None:
    found = {item.path: item for item in split_case(raw(**SCATTER)).inputs}[path]
    assert (found.nominal, found.low, found.high) == pytest.approx((nominal, low, high), rel=2e-3)
    assert source in found.source and found.sd is None and found.label


def test_the_plain_case_takes_nominal_mean_or_middle() -> None:
    found = split_case(raw(**SCATTER)).case
    assert (found.fastener.across_flats, found.fastener.yield_strength, found.wrench.opening) == (
        16.0,
        700.0,
        16.27,
    )
    assert (found.contact.friction, found.contact.constraint_factor) == pytest.approx((0.12, 1.15))
    between = split_case(raw(contact={"friction": {"low": 0.1, "high": 0.2}})).case
    assert between.contact.friction == pytest.approx(0.15)
    plain = split_case(raw())
    assert plain.inputs == () and plain.case == parse_case(raw())


def test_inch_nominals_keep_their_standard() -> None:
    # ASME B18.2.2: 3/4 in opens 0.755 to 0.763 in
    tables = {
        "across_flats": {"nominal": "3/4 in", "low": "18.8 mm", "high": "19.05 mm"},
        "engaged_depth": "8 mm",
    }
    case = {"format": 1, "fastener": {**tables, "grade": "8.8"}, "wrench": {"profile": "open-end"}}
    case["wrench"]["opening"] = {"limits": "standard"}  # type: ignore[index]
    opening = split_case(case).inputs[1]
    assert (opening.low / 25.4, opening.high / 25.4) == pytest.approx((0.755, 0.763), abs=0.001)


@pytest.mark.parametrize(
    ("table", "key", "value", "message", "hint"),
    [
        ("fastener", "rounding", {"low": "30 %", "high": "10 %"}, "low is above high", "swap"),
        ("fastener", "rounding", {"low": "30 %", "high": "30 %"}, "low equals high", "value itself"),
        ("fastener", "rounding", {"low": "30 %"}, "not a complete distribution", "limits"),
        ("fastener", "rounding", {"limits": "standard"}, "no standard gives limits", "low and high"),
        ("fastener", "rounding", {"low": "10 %", "hihg": "30 %"}, "unknown key hihg", "did you mean high?"),
        ("fastener", "engaged_depth", {"mean": "6 mm", "sd": "-1 mm"}, "sd: is below 0", "above 0"),
        ("fastener", "engaged_depth", {"mean": "6 mm", "sd": "0 mm"}, "sd: is 0", "above 0"),
        ("fastener", "engaged_depth", {"mean": "6 mm", "sd": "1 MPa"}, "is a stress, but", "16 mm"),
        ("fastener", "engaged_depth", {"mean": "6 mm", "sd": 0.1}, "has no unit", "0.1 mm"),
        (
            "fastener",
            "across_flats",
            {"nominal": "17 mm", "limits": "standard"},
            "is not the width of M10",
            "leave",
        ),
        (
            "fastener",
            "across_flats",
            {"low": "15.8 mm", "high": "16.2 mm"},
            "above the nominal width",
            "ISO 4759",
        ),
        ("fastener", "yield_strength", {"nominal": "500 MPa", "limits": "standard"}, "is outside", "limits"),
        ("wrench", "thickness", {"limits": "standard"}, "no standard gives limits", "mean and sd"),
        ("wrench", "opening", {"limits": "standrd"}, "'standrd' is not known", "standard"),
        (
            "wrench",
            "opening",
            {"limits": "standard", "low": "16 mm"},
            "limits stands beside low",
            "one of the two",
        ),
        ("wrench", "opening", {"low": "loose", "high": "tight"}, "low is not below high", "swap"),
        ("contact", "friction", {"limits": "standard"}, "no class is named", 'class = "B"'),
        (
            "contact",
            "friction",
            {"limits": "standard", "nominal": 0.15},
            "class B (0.08 to 0.16) and C",
            "name one",
        ),
        ("contact", "friction", {"limits": "standard", "class": "E"}, "no upper limit", "low and high"),
        ("contact", "friction", {"limits": "standard", "class": "F"}, "no friction class", "A, B, C"),
        ("contact", "friction", {"mean": 2.0, "sd": 0.1}, "is above 1", "0 to 1"),
        ("contact", "friction", {"low": -0.1, "high": 0.1}, "below 0", "0 to 1"),
        ("mesh", "growth", {"low": 0.1, "high": 0.2}, "does not scatter", "one value"),
    ],
)
def test_a_bad_distribution_says_where_and_how_to_mend_it(
    table: str, key: str, value: dict[str, Any], message: str, hint: str
) -> None:
    with pytest.raises(InputError) as caught:
        split_case(raw(**{table: {key: value}}), "bad.toml")
    (problem,) = caught.value.problems
    assert problem.where.startswith(f"[{table}] {key}")
    assert message in str(problem) and hint in str(problem)
    assert caught.value.where == "bad.toml"


def test_all_problems_come_at_once_and_unknown_names_are_suggested() -> None:
    bad = raw(fastener={"size": "M11", "grade": "8.9", "across_flats": {"limits": "none"}})
    bad["wrench"]["opening"] = {"low": "3 MPa", "high": "16.2 mm"}
    with pytest.raises(InputError) as caught:
        split_case(bad)
    text = str(caught.value)
    assert len(caught.value.problems) == 4
    assert (
        "nearest: M10, M12" in text
        and "8.8" in text
        and "is a stress" in text
        and "'none' is not known" in text
    )


def test_limits_need_a_size_or_a_grade_that_has_them() -> None:
    soft = raw(fastener={"grade": "A2-70", "yield_strength": {"limits": "standard"}})
    with pytest.raises(InputError, match="no upper end for A2-70"):
        split_case(soft)
    bare = {
        "across_flats": "16 mm",
        "engaged_depth": {"nominal": "6 mm", "limits": "standard"},
        "grade": "8.8",
    }
    with pytest.raises(InputError, match="tells no size of a standard"):
        split_case({"format": 1, "fastener": bare, "wrench": {"profile": "ring-six"}})
    with pytest.raises(InputError, match="has no nominal width"):
        wide = {"across_flats": {"low": "15.8 mm", "high": "16 mm"}, "engaged_depth": "6 mm", "grade": "8.8"}
        split_case({"format": 1, "fastener": wide, "wrench": {"profile": "ring-six"}})


def test_a_plain_reader_names_a_distribution() -> None:
    with pytest.raises(InputError, match="is a distribution, but one value is needed"):
        parse_case(raw(contact={"friction": {"low": 0.1, "high": 0.2}}))


def test_typical_scatter_has_the_inputs_of_the_trade_with_their_source() -> None:
    found = {item.path: item for item in typical_scatter(split_case(raw("open-end")))}
    assert set(found) == {
        "fastener.across_flats", "fastener.yield_strength", "fastener.engaged_depth", "fastener.corner",
        "wrench.opening", "wrench.head_width", "wrench.thickness", "wrench.yield_strength", "contact.friction",
        "contact.constraint_factor", "wrench.throat_depth",
    }  # fmt: skip
    assert all(item.source and item.low < item.high for item in found.values())
    known = raw(
        "open-end", fastener={"yield_strength": "700 MPa", "rounding": "20 %"}, wrench={"opening": "16.1 mm"}
    )
    # What the file states of the tool does not scatter.
    measured = raw(
        "open-end",
        wrench={
            "thickness": "7 mm",
            "yield_strength": "1200 MPa",
            "head_width": "37 mm",
            "throat_depth": "10 mm",
        },
    )
    rest = {item.path for item in typical_scatter(split_case(measured))}
    tool = ("thickness", "yield_strength", "head_width", "throat_depth")
    assert rest == set(found) - {f"wrench.{key}" for key in tool}
    left = {item.path for item in typical_scatter(split_case(known))}
    assert left == set(found) - {"fastener.yield_strength", "fastener.corner", "wrench.opening"}


# --- sampling -------------------------------------------------------------------------------------------------------


def test_quantiles_of_the_distributions() -> None:
    even = Distribution("contact.friction", 0.15, 0.1, 0.2)
    assert even.at(np.array([0.1, 0.5, 0.9])) == pytest.approx([0.11, 0.15, 0.19])
    # standard normal table: the 90 % point is 1.2816 standard deviations above the mean
    normal = Distribution("contact.friction", 0.15, -math.inf, math.inf, 0.15, 0.02)
    assert normal.at(np.array([0.1, 0.5, 0.9])) == pytest.approx(
        0.15 + 0.02 * 1.2816 * np.array([-1, 0, 1]), abs=1e-5
    )
    cut = Distribution("contact.friction", 0.15, 0.15, math.inf, 0.15, 0.02)
    # the upper half of a normal distribution: its median is the 75 % point, 0.6745 standard deviations
    assert float(cut.at(np.array([0.5]))[0]) == pytest.approx(0.15 + 0.02 * 0.6745, abs=1e-5)


def test_points_are_balanced_and_the_same_to_the_bit() -> None:
    points = sobol_points(64, 5, 7)
    assert np.array_equal(points, sobol_points(64, 5, 7))
    assert not np.array_equal(points, sobol_points(64, 5, 8))
    for k in range(5):  # one point in each 64th of every axis: what makes it a (t, m, s)-net
        assert sorted(np.floor(64 * points[:, k]).astype(int).tolist()) == list(range(64))


@pytest.mark.parametrize(
    ("n", "hint"), [(100, "64 or 128"), (0, "2 or 4"), (1, "2 or 4"), (10**6, "8192 or 16384")]
)
def test_numbers_of_samples_that_do_not_balance_are_refused(n: int, hint: str) -> None:
    with pytest.raises(ContactFEError, match=f"{n} samples") as caught:
        sobol_points(n, 2, 1)
    assert hint in caught.value.hint
    with pytest.raises(ContactFEError, match="seed is -1"):
        sobol_points(4, 2, -1)


def test_two_wrenches_share_the_fastener_but_not_the_opening() -> None:
    one, two = (split_case(raw(profile, **SCATTER)).inputs for profile in ("ring-six", "open-end"))
    plan = SamplingPlan.of(16, 1, {item.path for item in (*one, *two)})
    first, second = plan.points("ring-six", one), plan.points("open-end", two)
    same = {item.path for item, a, b in zip(one, first.T, second.T, strict=False) if np.array_equal(a, b)}
    assert same == {item.path for item in one if not item.path.startswith("wrench.")}
    assert np.array_equal(first[:, -1], second[:, -1])  # of one bolt
    # Two wrenches of one profile are two pieces.
    other = plan.points("ring-six", one, piece=1)
    k = [item.path for item in one].index("wrench.opening")
    assert not np.array_equal(first[:, k], other[:, k])


def test_samples_that_make_no_case_are_told_with_their_number() -> None:
    tight = raw(wrench={"opening": {"low": "15.9 mm", "high": "16.2 mm"}})
    with pytest.raises(InputError) as caught:
        band(tight, n=8)
    (problem,) = caught.value.problems
    assert problem.where == "[wrench] opening" and "of 8 samples, first: opening" in problem.message


@pytest.mark.parametrize(
    ("profile", "path", "key"),
    [
        ("open-end", "wrench.throat_depth", "throat_depth"),
        ("ring-spline", "wrench.ridge_radius", "ridge_radius"),
    ],
)
def test_a_shape_that_nobody_measured_costs_few_curves(profile: str, path: str, key: str) -> None:
    """Of 128 samples at most a tenth more, and two bodies of the wrench, not one for each combination of levels."""
    plain = split_case(raw(profile, fastener={"stock": "bar"}))
    inputs = typical_scatter(plain)
    fewer = tuple(item for item in inputs if item.path != path)
    plans = [
        [
            plan_jobs(plain, some, points)
            for points in (sobol_points(128, len(some), 1), np.full((2 * len(some) + 1, len(some)), 0.5))
        ]
        for some in (inputs, fewer)
    ]
    with_it, without = (solving.in_order([job for plan in pair for job in plan.jobs]) for pair in plans)
    rows = 2  # one input at a time: at its 10 and at its 90 %
    assert len(without) < len(with_it) + rows <= 1.1 * len(without)
    assert len({job.wrench for job in with_it}) - len({job.wrench for job in without}) == 2
    (item,) = (item for item in inputs if item.path == path)
    assert item.low < item.nominal < item.high and plain.case.wrench.dims[key] == item.nominal


# --- what needs no other mesh ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("profile", "tables"),
    [
        ("open-end", {"fastener": {"across_flats": STANDARD}, "wrench": {"opening": STANDARD}}),
        ("ring-six", {"fastener": {"undersize": {"low": "0 mm", "high": "0.5 mm"}, "rounding": "20 %"}}),
        ("ring-twelve", {"fastener": {"rounding": {"low": "0 %", "high": "40 %"}}}),
        ("ring-six", {"wrench": {"outside_diameter": {"low": "23 mm", "high": "26 mm"}}}),
        (
            "ring-spline",
            {
                "wrench": {
                    "outside_diameter": {"low": "24.5 mm", "high": "26 mm"},
                    "ridge_radius": {"low": "0.48 mm", "high": "1.28 mm"},
                }
            },
        ),
        (
            "open-end",
            {
                "wrench": {
                    "head_width": {"low": "36 mm", "high": "40 mm"},
                    "throat_depth": {"low": "9.33 mm", "high": "11.2 mm"},
                }
            },
        ),
    ],
)
def test_samples_agree_with_meshing_every_one_of_them(profile: str, tables: dict[str, Any]) -> None:
    uncertain = split_case(raw(profile, mesh={"edge_at_contact": "0.35 mm", "edge_max": "3 mm"}, **tables))
    plan = plan_jobs(uncertain, uncertain.inputs, sobol_points(4, len(uncertain.inputs), 5)[:3])
    found = plan.torques(solving.solve_jobs(plan.jobs))
    for row, (slip, weak) in zip(plan.values, found, strict=True):
        values = {item.path: float(v) for item, v in zip(uncertain.inputs, row, strict=True)}
        record = solve_case(uncertain.sample(values))
        wrench = record.limit("wrench")
        assert wrench is not None and wrench.torque_Nm is not None
        # Meshes of about this size themselves differ by 1 % from one another.
        if math.isfinite(slip):
            assert slip == pytest.approx(record.estimate.slip_torque_Nm, rel=0.035)
        else:  # not looked for: the wrench gives way long before
            assert wrench.torque_Nm < 0.9 * (record.estimate.slip_torque_Nm or 0.0)
        if weak < slip:  # beyond slip the limit is in proportion to the loads there, and ends nothing
            assert weak == pytest.approx(wrench.torque_Nm, rel=0.035)
        else:
            assert wrench.torque_Nm > 0.965 * slip


def test_inputs_without_a_mesh_share_two_bodies() -> None:
    uncertain = split_case(
        raw(
            fastener={"across_flats": {"limits": "standard"}, "yield_strength": {"limits": "standard"}},
            wrench={
                "opening": {"limits": "standard"},
                "elastic_modulus": {"low": "200 GPa", "high": "210 GPa"},
            },
            contact={"friction": {"low": 0.1, "high": 0.2}},
        )
    )
    plan = plan_jobs(uncertain, uncertain.inputs, sobol_points(32, 5, 1))
    assert len({job.fastener for job in plan.jobs}) == 1 and len({job.wrench for job in plan.jobs}) == 1


# --- the band -------------------------------------------------------------------------------------------------------


def test_a_seed_reproduces_a_band_to_the_bit_on_any_number_of_workers() -> None:
    case = raw(
        "open-end",
        contact={"friction": {"low": 0.1, "high": 0.2}},
        wrench={"opening": {"limits": "standard"}},
    )
    one, again, other = band(case, n=8, seed=3), band(case, n=8, seed=3, workers=2), band(case, n=8, seed=4)
    assert one.torque_Nm.tobytes() == again.torque_Nm.tobytes()
    assert one.nominal_Nm == again.nominal_Nm and one.one_at_a_time == again.one_at_a_time
    assert not np.array_equal(one.torque_Nm, other.torque_Nm)
    # signs: friction helps, clearance hurts
    moved = {item.path: item for item in one.one_at_a_time}
    assert moved["contact.friction"].high_Nm > moved["contact.friction"].low_Nm
    assert moved["wrench.opening"].high_Nm < moved["wrench.opening"].low_Nm
    assert not one.torque_Nm.flags.writeable


def test_more_workers_than_this_program_can_watch_are_refused() -> None:
    with pytest.raises(ContactFEError, match="0 workers"):
        solving.solve_jobs([], 0)


BRUTE = {
    "fastener": {
        "across_flats": {"limits": "standard"},
        "yield_strength": {"limits": "standard"},
        "engaged_depth": {"limits": "standard"},
    },
    "wrench": {"opening": {"limits": "standard"}},
    "contact": {
        "friction": {"mean": 0.15, "sd": 0.03, "low": 0.08},
        "constraint_factor": {"low": 1.0, "high": 1.4},
    },
}


def brute(profile: str, n: int, seed: int, shared: Sequence[Array]) -> Array:
    """Torques of the closed form at n independent draws, from numpy's generator and none of the package's sampling."""
    rng = np.random.default_rng(seed)
    opening = rng.uniform(16.05, 16.27, n)
    width, strength, depth, friction, factor = shared
    lean = np.radians(30.0) - np.array(
        [hexagon.free_turn(s, S - s) for s, S in zip(width, opening, strict=True)]
    )
    force = factor * strength * 0.05 * width * depth
    contacts = 2 if profile == "open-end" else 6
    return contacts * force * width / math.sqrt(3.0) * (np.sin(lean) + friction * np.cos(lean)) / 1e3


def drawn(n: int, seed: int) -> tuple[Array, ...]:
    """Independent draws of what two wrenches share: width, yield, depth, friction, constraint factor."""
    rng = np.random.default_rng(seed)
    friction = rng.normal(0.15, 0.03, 2 * n)
    friction = friction[(friction >= 0.08) & (friction <= 1.0)][:n]
    strength = rng.uniform(640.0, 819.2, n)
    return (
        rng.uniform(15.73, 16.0, n),
        strength,
        rng.uniform(6.22, 6.58, n),
        friction,
        rng.uniform(1.0, 1.4, n),
    )


def test_probabilities_agree_with_brute_force(closed_form: None) -> None:
    # The closed form above in place of the curves, in both: 128 Sobol points against 4096 independent draws.
    n, many = 128, 4096
    shared = drawn(many, 11)
    ring, jaws = brute("ring-six", many, 12, shared), brute("open-end", many, 13, shared)
    found = band(raw("open-end", **BRUTE), n=n)
    # ISO 898-7: in proportion to the strength, which the sample has; what is left open is the core, least to nominal.
    low, high = twist_off_torque("M10", "8.8")
    strong = grade("8.8", 10.0)
    assert strong.tensile_upper is not None
    core = high / low * strong.tensile_min / strong.tensile_upper
    some = np.random.default_rng(6).uniform(1.0, core, many)
    shank = low * shared[1] / 640.0 * some
    bolts = band(raw("ring-six", **{**BRUTE, "fastener": {**BRUTE["fastener"], "stock": "bolt"}}), n=n)
    checks = [
        (alone(found).below(float(np.quantile(jaws, share))).share, share, n)
        for share in (0.1, 0.3, 0.5, 0.7, 0.9)
    ]
    first = bolts.twists_off_first()
    assert first is not None
    checks.append((first.share, float(np.mean(shank < ring)), n))
    checks += [
        (alone(bolts).below(float(np.quantile(np.minimum(ring, shank), share))).share, share, n)
        for share in (0.1, 0.5, 0.9)
    ]
    # A ring of a softer model constant, so that neither always wins
    weak = {**BRUTE, "contact": {**BRUTE["contact"], "constraint_factor": {"low": 0.5, "high": 0.54}}}
    low_factor = 0.5 + (shared[4] - 1.0) / 0.4 * 0.04
    weak_ring = brute("ring-six", many, 14, (*shared[:4], low_factor)) / 1.17
    both = compare(raw("ring-six", **weak, mesh=COARSE), raw("open-end", **BRUTE), Sampling(n))
    share = float(np.mean(both.first.torque_Nm / 1.17 > both.second.torque_Nm))
    # One random number for an input outside [wrench] in both cases, also where its limits are others, as in a study.
    other = brute("open-end", many, 15, shared)
    checks.append((share, float(np.mean(weak_ring > other)), n))
    assert "contact.constraint_factor" not in both.shared and "contact.friction" in both.shared
    for got, expected, count in checks:
        sampling = math.sqrt(max(expected * (1 - expected), 1e-3) * (1 / count + 1 / many))
        assert abs(got - expected) < 3.0 * sampling
    for share in (0.1, 0.5, 0.9):
        assert found.inputs_quantile_Nm(share) == pytest.approx(float(np.quantile(jaws, share)), rel=0.04)
    plainly = compare(raw("ring-six", **BRUTE), raw("open-end", **BRUTE)).first_beats_second()
    assert float(np.mean(ring > jaws)) == plainly.share == 1.0


def test_a_case_ties_with_itself_and_a_common_fastener_narrows_the_ratio(closed_form: None) -> None:
    only = {"contact": {"friction": {"low": 0.1, "high": 0.2}}}
    same = compare(raw(**only), raw(**only), Sampling(16))
    assert same.ties() == 16 and same.first_beats_second().share == 0.0 and same.ratio() == (1.0, 1.0, 1.0)
    assert "16 of 16 samples are ties" in comparison_words(same)
    bar = {**BRUTE, "fastener": {**BRUTE["fastener"], "stock": "bar"}}  # so that the grip ends every pull
    found = compare(raw("ring-six", **bar), raw("open-end", **bar), Sampling(64))
    middle, low, high = found.ratio()
    apart = found.first.torque_Nm[np.random.default_rng(1).permutation(64)] / found.second.torque_Nm
    assert (high - low) / middle < 0.5 * float(np.ptp(np.quantile(apart, [0.1, 0.9]))) / middle


def test_wilson_interval() -> None:
    # Wilson's interval for 1 of 10 at 95 %: 0.0179 to 0.4042 (textbook example; computed once more by hand)
    found = chance(np.array([True] + [False] * 9))
    assert (found.share, found.low, found.high) == pytest.approx((0.1, 0.0179, 0.4042), abs=1e-4)
    assert chance(np.zeros(8, dtype=bool)).low == 0.0 and "0 %" in chance(np.zeros(8, dtype=bool)).words()


def test_what_is_held_ends_the_pull_where_it_is_the_weakest(closed_form: None) -> None:
    friction = {"friction": {"low": 0.1, "high": 0.2}}
    found = band(raw(fastener={"stock": "bolt", "grade": "8.8"}, contact=friction), n=16)
    ends = found.ends
    assert ends.held == "bolt" and ends.held_Nm is not None
    assert np.array_equal(found.torque_Nm, np.minimum(ends.grip_Nm, ends.held_Nm))
    assert ends.ended_by == tuple(
        "bolt" if twist < grip else "grip" for twist, grip in zip(ends.held_Nm, ends.grip_Nm, strict=True)
    )
    # The plain case takes the least strength, ISO 898-7: 66 N m for an M10 8.8.
    assert found.nominal_Nm == pytest.approx(twist_off_torque("M10", "8.8")[0])
    assert found.nominal_ended_by == "bolt"
    assert sensitivity(found).shares[0].path == "held.strength"
    bar = band(raw(fastener={"stock": "bar"}, contact=friction), n=4)
    assert bar.ends.count("grip") == 4 and bar.twists_off_first() == bar.ends_by("bar")
    bare = raw(
        fastener={"across_flats": "16 mm", "engaged_depth": "6.4 mm", "stock": "bolt"}, contact=friction
    )
    del bare["fastener"]["size"]
    unknown = band(bare, n=4)
    assert unknown.twists_off_first() is None and "no thread size" in unknown.ends.unknown
    assert ("the bolt or bar twists off first", None, unknown.ends.unknown) in statements(unknown)


def test_a_wrench_that_gives_way_first_ends_the_pull(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wrench of 95 N m stands in for the curves: samples that hold more are ended by it."""

    def weak(job: Job, folder: Path | None = None) -> tuple[float, float]:
        grip = 50.0 * (1.0 + 10.0 * (job.case.contact.friction - 0.1))
        return grip, 75.0 if grip > 75.0 else math.inf

    monkeypatch.setattr(solving, "pair_torques", weak)
    found = band(raw(fastener={"stock": "bar"}, contact={"friction": {"low": 0.1, "high": 0.2}}), n=64)
    assert found.ends.count("wrench") == 32 == found.ends.count("grip") and found.torque_Nm.max() == 75.0
    assert found.ends_by("wrench").share == 0.5 == found.columns()["wrench_first_share"]
    assert ends_words(found).startswith(
        "of 64 samples, without the model's own error: 32 slip, 32 wrenches give way"
    )
    assert ("the wrench gives way first", found.ends_by("wrench"), "") in statements(found)


@pytest.mark.parametrize("n", [2, 4, 32])
def test_a_single_uncertain_input_is_all_there_is(n: int, closed_form: None) -> None:
    found = band(raw(fastener={"stock": "bar"}, contact={"friction": {"low": 0.1, "high": 0.2}}), n=n)
    shares = sensitivity(found)
    assert [share.path for share in shares.shares] == ["contact.friction"]
    if shares.degree > 0:
        (only,) = shares.shares
        assert (only.first, only.total) == (1.0, 1.0)
        # Known, nothing is left but the model's own factor.
        left = only.band_if_known_Nm / found.median_Nm
        assert left == pytest.approx(2 * 1.2816 * float(np.sqrt(np.mean(found.sigma**2))), rel=0.08)
    assert shares.sentence() and band_record(found, "0", shares)["sensitivity"]
    known = band(raw(fastener={"yield_strength": "700 MPa"}, contact={"friction": 0.15}), n=n)
    assert known.by_rule  # with nothing uncertain in the file the rules say what scatters


def test_a_line_says_what_the_band_belongs_to(closed_form: None) -> None:
    found = band(raw(fastener={"stock": "bar"}), n=128)
    shares = sensitivity(found)
    groups = {group.name: group for group in shares.groups}
    assert set(groups) == {"fastener", "wrench", "friction", "model"}
    # The constraint factor scatters as well: the model's share is more than that of sigma squared.
    known, sigma = found.torque_Nm[found.torque_Nm > 0], found.sigma[found.torque_Nm > 0]
    own = np.mean(sigma**2) / (np.mean(sigma**2) + np.var(np.log(known)))
    assert groups["model"].first > own > 0.05
    assert 0.9 < sum(group.first for group in shares.groups) < 1.05
    assert all(group.total >= group.first - 0.02 for group in shares.groups)
    words = shares.group_sentence()
    assert words.startswith("Of the variance of ln torque: ") and " %, interactions " in words


def test_the_plain_case_says_where_it_stands(closed_form: None) -> None:
    found = band(
        raw(fastener={"across_flats": STANDARD}, contact={"friction": {"low": 0.1, "high": 0.2}}), n=8
    )
    words = plain_words(found)
    assert (
        "width across flats (largest)" in words
        and "friction" not in words.partition(":")[2].partition(";")[0]
    )
    assert f"{found.median_case_Nm:.3g} N m" in words
    assert (
        plain_words(
            band(raw(fastener={"stock": "bar"}, contact={"friction": {"low": 0.1, "high": 0.2}}), n=8)
        )
        == ""
    )


def test_wrenches_that_turn_freely_count_as_slipping_at_nothing(closed_form: None) -> None:
    worn = raw(fastener={"rounding": {"low": "60 %", "high": "100 %"}})
    found = band(worn, n=32)
    free = found.turns_freely()
    # plane geometry: a hexagon of 16 mm in 16.16 mm spins where e - r (e - s) = 16.16 mm
    expected = (1.0 - hexagon.spin_rounding(16.0, 0.16)) / 0.4
    assert free.share == pytest.approx(expected, abs=0.13)  # the rounding is snapped to levels a tenth apart
    assert found.below(1e-6).share == free.share


def alone(found: Band) -> Band:
    """The band of the inputs alone."""
    return replace(found, model=NO_MODEL)


# --- sensitivity ----------------------------------------------------------------------------------------------------


def with_torques(found: Band, torque: Array) -> Band:
    """The band with other torques, without an error of the model."""
    none = np.full(len(torque), np.inf)
    return replace(found, ends=Ends(torque.copy(), none, None, None), model=NO_MODEL)


def test_sobol_indices_of_a_sum_are_its_shares_of_variance(closed_form: None) -> None:
    found = band(raw(**BRUTE), n=64)
    weights = np.array([1.0, 2.0, 0.0, 4.0, 3.0, 0.5])
    shares = sensitivity(with_torques(found, 100.0 + found.u @ weights))
    # variance of a sum of independent uniform inputs: the squares of the weights
    expected = dict(zip((item.path for item in found.inputs), weights**2 / np.sum(weights**2), strict=True))
    for share in shares.shares:
        assert share.first == pytest.approx(expected[share.path], abs=0.02)
        assert share.total == pytest.approx(expected[share.path], abs=0.02)
    assert shares.shares[0].path == found.inputs[3].path
    assert shares.error_Nm < 1e-9 and shares.explained == pytest.approx(1.0)
    assert shares.shares[0].band_if_known_Nm < 0.75 * shares.band_Nm
    assert shares.sentence().startswith(f"Measure the {found.inputs[3].label} first")


def test_a_product_is_told_apart_from_a_sum(closed_form: None) -> None:
    found = band(raw(**BRUTE), n=64)
    x = 2.0 * found.u - 1.0
    product = sensitivity(with_torques(found, 100.0 + x[:, 0] * x[:, 1]))
    by_path = {share.path: share for share in product.shares}
    # x y of symmetric x, y: neither alone explains anything, each takes part in everything
    for k in (0, 1):
        share = by_path[found.inputs[k].path]
        assert share.first < 0.03 and share.total == pytest.approx(1.0, abs=0.05)
    assert product.degree == 2


def test_leave_one_out_errors_are_those_of_refitting() -> None:
    rng = np.random.default_rng(2)
    u = rng.random((20, 2))
    y = np.sin(3 * u[:, 0]) + u[:, 1] ** 3
    model = fit(u, y)
    errors = []
    for k in range(20):
        rest = np.arange(20) != k
        x = 2 * u - 1
        terms = np.column_stack([np.ones(20), x, x[:, :1] ** 2, x[:, :1] * x[:, 1:], x[:, 1:] ** 2])
        terms = terms if model.degree == 2 else terms[:, :3]
        found = np.linalg.lstsq(terms[rest], y[rest], rcond=None)[0]
        errors.append(y[k] - terms[k] @ found)
    assert model.error == pytest.approx(float(np.sqrt(np.mean(np.square(errors)))), rel=1e-9)


def test_a_constant_of_the_model_is_calibrated_and_a_rough_fit_says_so(closed_form: None) -> None:
    found = band(raw(**BRUTE), n=32)
    noise = np.random.default_rng(3).normal(0.0, 1.0, 32)
    assert "Too few samples" in sensitivity(with_torques(found, 100.0 + noise)).sentence()
    rough = sensitivity(with_torques(found, 100.0 + 5.0 * found.u[:, 0] + noise))
    assert 0.3 < rough.explained < 0.9 and "Rough: the fit explains only" in rough.sentence()
    by_factor = sensitivity(with_torques(found, 100.0 + 10.0 * found.u[:, -1] + found.u[:, 0]))
    assert by_factor.sentence().startswith("Calibrate the constraint factor first")
    assert f"take the {found.inputs[0].label}" in by_factor.sentence()
    still = sensitivity(with_torques(found, np.full(32, 100.0)))
    assert still.sentence().startswith("Nothing to measure")


def test_nothing_scatters_is_told() -> None:
    found = Band(
        "x", (), True, 1, np.empty((2, 0)), np.empty((2, 0)), np.ones(2), 1.0, 1.0, (), None, "", (), NO_MODEL
    )
    with pytest.raises(ContactFEError, match="nothing scatters"):
        sensitivity(found)


# --- crossovers -----------------------------------------------------------------------------------------------------


def test_the_first_change_of_sign() -> None:
    values = np.array([0.0, 0.2, 0.4, 0.6])
    up, flat = np.array([12.0, 11.0, 9.0, 8.0]), np.full(4, 10.0)
    # (11 - 10)/21 and (9 - 10)/19 are zero between at 0.2 + 0.2 (1/21)/(1/21 + 1/19) = 0.295
    assert first_change(values, up, flat) == pytest.approx(0.295)
    assert math.isnan(first_change(values, flat + 1.0, flat))
    assert first_change(values, np.array([10.0, 9.0, 9.0, 11.0]), flat) == pytest.approx(0.5, abs=0.006)
    assert math.isnan(first_change(values, np.array([2.0, 1.0, 0.0, 0.0]), np.array([1.0, 0.5, 0.0, 0.0])))


def test_a_planted_crossover_is_found_with_its_band(monkeypatch: pytest.MonkeyPatch) -> None:
    def planted(job: Job) -> float:
        r, mu = job.case.fastener.rounding, job.case.contact.friction
        # Equal where r = 2 mu; friction is shared, so each sample crosses at twice its own.
        return 100.0 * (1.0 - r) if job.case.wrench.profile == "ring-six" else 100.0 * (1.0 - 2.0 * mu)

    in_place(monkeypatch, planted)
    only = {"fastener": {"stock": "bar"}, "contact": {"friction": {"low": 0.1, "high": 0.2}}}
    values = [f"{k} %" for k in range(0, 61, 5)]
    found = crossover(raw("ring-six", **only), raw("ring-twelve", **only), values, how=Sampling(32))
    place = found.place()
    assert place is not None and found.changes.share == 1.0
    # 2 mu for mu uniform in 0.1 to 0.2: median 0.30, 10 to 90 % from 0.22 to 0.38
    assert place == pytest.approx((0.30, 0.22, 0.38), abs=0.012)
    assert found.leads[0].share == 1.0 and found.leads[-1].share == 0.0
    assert crossover_words(found).startswith(
        "ring-six is ahead at rounding 0 %; ring-twelve overtakes it with"
    )
    record = crossover_record(found, "0")
    assert record["place"]["median"].endswith("%") and len(record["first_leads"]) == 13
    early = crossover(raw("ring-six", **only), raw("ring-twelve", **only), ["0 %", "10 %"], how=Sampling(8))
    assert early.place() is None and "changes in no sample" in crossover_words(early)


def test_samples_keep_their_values_along_a_sweep(closed_form: None) -> None:
    # At no rounding the corner scatters by rule, at a rounding it does not: the other inputs stay as they were.
    one, two = (raw(profile, fastener={"stock": "bar"}) for profile in ("ring-six", "open-end"))
    found = crossover(one, two, ["0 %", "10 %", "20 %"], how=Sampling(16))
    assert (np.diff(found.first_Nm, axis=1) < 0).all() and (np.diff(found.second_Nm, axis=1) < 0).all()
    order = np.argsort(found.first_Nm[:, 0])
    assert np.corrcoef(found.first_Nm[order, 0], found.first_Nm[order, 2])[0, 1] > 0.99


@pytest.mark.parametrize(
    ("path", "values", "message"),
    [
        ("fastener.rounding", ["20 %"], "two at least"),
        ("fastener.rounding", ["20 %", "10 %"], "go upward"),
        ("fastener.roundness", ["0 %", "10 %"], "no such input"),
        ("fastener.rounding", ["0 %", "10"], "has no unit"),
    ],
)
def test_bad_sweeps_are_refused(path: str, values: list[str], message: str) -> None:
    with pytest.raises(ContactFEError, match=message):
        crossover(raw(), raw("open-end"), values, path)


# --- records --------------------------------------------------------------------------------------------------------


def test_records_hold_plain_values_with_units(closed_form: None) -> None:
    import json

    found = band(raw(**BRUTE), n=16)
    record = band_record(found, "0", sensitivity(found), 50.0)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert record["torque_p10_Nm"] < record["torque_median_Nm"] < record["torque_p90_Nm"]
    assert record["inputs"][0]["low"] == "15.73 mm" and record["seed"] == 1 and len(record["torque_Nm"]) == 16
    assert record["probabilities"][0]["what"] == "the pull ends below 50 N m"
    columns = column_values(found)
    assert list(columns)[:2] == ["fastener.across_flats_mm", "fastener.yield_strength_MPa"]
    assert all(len(column) == 16 for column in columns.values())
    json.dumps(
        comparison_record(compare(raw(**BRUTE), raw("open-end", **BRUTE), Sampling(4)), "0"), allow_nan=False
    )


# --- real engagement ------------------------------------------------------------------------------------------------


def test_a_chamfer_takes_depth_off_the_corners_only() -> None:
    # by hand: M10, e/2 = 9.238 mm, chamfer circle 0.925 s = 14.8 mm, 30 deg: (9.238 - 7.4) tan 30 = 1.061 of 6.4 mm
    share = engaged_fraction(parse_case(raw(fastener={"chamfer_angle": "standard"})))
    assert share is not None
    at = np.array([[9.2376, 0.0], [0.0, 8.0], [5.0, 5.0], [0.0, 0.0]])
    assert share(at) == pytest.approx(
        [1 - 1.0610 / 6.4, 1 - 0.6 * math.tan(math.pi / 6) / 6.4, 1.0, 1.0], abs=1e-4
    )


def test_stock_has_no_chamfer_a_nut_has_two_and_the_lead_in_takes_the_same_everywhere() -> None:
    given = {"chamfer_angle": "standard"}
    assert engaged_fraction(parse_case(raw())) is None
    assert engaged_fraction(parse_case(raw(fastener={**given, "stock": "bar"}))) is None
    bar = {
        "format": 1,
        "fastener": {"across_flats": "16 mm", "engaged_depth": "6 mm", "grade": "8.8", **given},
    }
    assert engaged_fraction(parse_case({**bar, "wrench": {"profile": "ring-six"}})) is None
    corner = np.array([[0.0, 9.2376]])
    head, nut = (
        engaged_fraction(parse_case(raw(fastener={**given, "size": name, "engaged_depth": "6.4 mm"})))
        for name in ("M10", "M10 nut")
    )
    assert head is not None and nut is not None
    assert 1.0 - nut(corner)[0] == pytest.approx(2.0 * (1.0 - head(corner)[0]))
    led = engaged_fraction(parse_case(raw(wrench={"lead_in": "0.64 mm"})))
    assert led is not None and led(np.array([[9.0, 0.0], [1.0, 1.0]])) == pytest.approx([0.9, 0.9])
    rule = parse_case(raw(wrench={"lead_in": "standard"})).wrench.lead_in
    assert rule == pytest.approx(0.03 * 16.0)
    with pytest.raises(InputError, match="more than half of the engaged depth"):
        parse_case(raw(wrench={"lead_in": "4 mm"}))


def test_a_lead_in_is_a_lower_cap_and_a_chamfer_takes_most_from_new_corners() -> None:
    def torque(**tables: dict[str, Any]) -> float:
        return float(solve_case(parse_case(raw(**tables))).estimate.slip_torque_Nm or 0.0)

    plain = torque()
    # A tenth of the depth off every cell is the same problem as a cap of nine tenths.
    led = torque(wrench={"lead_in": "0.64 mm"})
    assert led == pytest.approx(torque(contact={"constraint_factor": 0.9 * 1.155}), rel=1e-9)
    # Between nothing and the whole corner's loss of 1.061 of 6.4 mm
    chamfered = torque(fastener={"chamfer_angle": "standard"})
    assert 1.0 - 1.061 / 6.4 < chamfered / plain < 0.99
    assert torque(fastener={"chamfer_angle": "standard", "stock": "bar"}) == plain


def test_a_chamfer_that_scatters_is_there_in_the_plain_case() -> None:
    found = split_case(raw(fastener={"chamfer_angle": {"limits": "standard"}}))
    assert math.degrees(found.case.fastener.chamfer_angle) == pytest.approx(30.0)
    (item,) = found.inputs
    assert (math.degrees(item.low), math.degrees(item.high)) == pytest.approx((15.0, 30.0))


def test_the_least_corner_of_the_standard() -> None:
    # ISO 4014 M10: e_min = 17.77 mm of 18.475 mm: a fillet of r takes r (2/sqrt 3 - 1) off each corner
    corner = parse_case(raw(fastener={"corner": "minimum", "undersize": "0.27 mm"})).fastener
    left = 2.0 / math.sqrt(3.0) * corner.across_flats - 2.0 * corner.corner_radius * (
        2.0 / math.sqrt(3.0) - 1.0
    )
    assert left == pytest.approx(17.77, abs=0.01)


def test_a_bar_scatters_by_the_tolerance_of_bars_and_a_bolt_by_that_of_heads() -> None:
    # h11 for 16 mm is 0.110 mm (ISO 286-1, from memory); ISO 4014 M10: 15.73 mm
    for stock, least in (("bar", 15.89), ("bolt", 15.73)):
        case = split_case(raw(fastener={"stock": stock})).case
        low, high, source = standard_limits("fastener.across_flats", {}, case, {})
        assert (low, high) == pytest.approx((least, 16.0), abs=1e-9)
        assert source.startswith("h11" if stock == "bar" else "ISO 4014")


def test_a_measured_hardness_does_not_scatter_by_the_grade_and_can_be_sampled() -> None:
    plain = split_case(raw(fastener={"hardness": "28 HRC"}))
    assert "fastener.yield_strength" not in [item.path for item in typical_scatter(plain)]
    assert plain.sample({"fastener.yield_strength": 700.0}).fastener.yield_strength == pytest.approx(700.0)
