"""Limits looked for near those of a solved pair, against the whole curve of the same case."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contactfe.case import KnownPair, known_pair, limits_near
from contactfe.inputs import CaseInput, parse_case
from contactfe.turn import Bodies, BuiltPair, solve_from
from contactfe.uncertainty.sampling import sobol_points

WITHIN = 6e-3  # one sample, far from the known one: another hump of its top may be a little higher
ON_AVERAGE = 1.5e-3  # root mean square of samples as far apart as those of a band
PROFILES = ("open-end", "ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
BODIES = Bodies()
KNOWN: dict[str, KnownPair | None] = {}


def plain(profile: str) -> CaseInput:
    return parse_case(
        {
            "format": 1,
            "fastener": {"size": "M10", "grade": "8.8", "rounding": "10 %"},
            "wrench": {"profile": profile},
            "mesh": {"edge_at_contact": "0.4 mm"},
        }
    )


def built(case: CaseInput) -> BuiltPair:
    return BODIES.build(case, "openings")


def known(profile: str) -> KnownPair:
    if profile not in KNOWN:
        KNOWN[profile] = known_pair(built(plain(profile)))
    found = KNOWN[profile]
    assert found is not None
    return found


def changed(case: CaseInput, yields: tuple[float, float], friction: float, wider: float) -> CaseInput:
    """Strengths of fastener and wrench times two factors, another friction, and a wider opening (mm)."""
    f, w = case.fastener, case.wrench
    return replace(
        case,
        fastener=replace(f, yield_strength=yields[0] * f.yield_strength, engaged_depth=0.9 * f.engaged_depth),
        wrench=replace(w, yield_strength=yields[1] * w.yield_strength, opening=w.opening + wider),
        contact=replace(case.contact, friction=friction),
    )


@pytest.mark.parametrize("profile", PROFILES)
@settings(max_examples=10, deadline=None)
@given(
    fastener=st.floats(0.7, 1.4),
    wrench=st.floats(0.5, 1.5),
    friction=st.floats(0.05, 0.3),
    wider=st.floats(-0.15, 0.15),
)
def test_near_a_known_pair_and_by_the_whole_curve_the_limits_are_the_same(
    profile: str, fastener: float, wrench: float, friction: float, wider: float
) -> None:
    case = changed(plain(profile), (fastener, wrench), friction, wider)
    grip, weak = limits_near(built(case), known(profile))
    whole, whole_weak = limits_near(built(case), None)
    if math.isfinite(grip):
        assert grip == pytest.approx(whole, rel=WITHIN)
    else:  # not looked for: the wrench gives way long before
        assert weak is not None and weak < 0.95 * whole
    if weak is not None and whole_weak is not None:
        assert min(grip, weak) == pytest.approx(min(whole, whole_weak), rel=WITHIN)
    else:  # far above slip, and not looked at, or at the edge of that
        assert min(weak or 9e9, whole_weak or 9e9) > 1.2 * grip


@pytest.mark.parametrize("profile", PROFILES)
def test_on_average_the_limits_near_a_known_pair_are_those_of_whole_curves(profile: str) -> None:
    off = []
    for share in sobol_points(16, 4, 1):
        yields, friction, wider = (
            (0.9 + 0.2 * share[0], 0.85 + 0.3 * share[1]),
            0.1 + 0.1 * share[2],
            0.2 * share[3],
        )
        pair = built(changed(plain(profile), yields, friction, wider - 0.1))
        near, whole = limits_near(pair, known(profile)), limits_near(pair, None)
        off.append(min(near[0], near[1] or math.inf) / min(whole[0], whole[1] or math.inf) - 1.0)
    assert np.sqrt(np.mean(np.square(off))) < ON_AVERAGE
    assert abs(np.mean(off)) < 0.6 * ON_AVERAGE


def test_a_wrench_that_turns_freely_near_one_that_hardly_grips() -> None:
    case = plain("ring-six")
    worn = replace(case, fastener=replace(case.fastener, rounding=0.88))
    near = known_pair(built(worn))
    assert near is not None
    loose = replace(worn, wrench=replace(worn.wrench, opening=worn.wrench.opening + 0.15))
    assert limits_near(built(loose), near) == (0.0, None)


def test_near_itself_a_pair_has_its_own_limits() -> None:
    pair = built(plain("ring-spline"))
    grip, weak = limits_near(pair, known("ring-spline"))
    whole, whole_weak = limits_near(pair, None)
    assert grip == pytest.approx(whole, rel=1e-3)
    assert weak == pytest.approx(whole_weak, rel=WITHIN)  # beyond slip, in proportion to the loads at the top


def test_a_state_of_another_law_is_a_start_close_by() -> None:
    """Crushed cells start at the cap, whatever rounding makes of the proportion of the two caps: as cells between their
    bounds they would have to be found crushed one by one."""
    pair = built(plain("ring-six"))
    top = max(known("ring-six").curve.solutions, key=lambda s: s.torque)
    for strength in (0.97, 1.013, 1.03):
        case = changed(plain("ring-six"), (strength, 1.0), 0.16, 0.0)
        found = solve_from(built(case), top.rotation, top)
        assert int(top.capped.sum()) > 40
        assert found.report.method == "path" and found.report.iterations < 25
    assert solve_from(pair, top.rotation, top).report.iterations <= 2


def test_a_wrench_that_gives_way_early_is_found_without_the_top() -> None:
    case = plain("ring-six")
    weak = replace(case, wrench=replace(case.wrench, yield_strength=0.5 * case.wrench.yield_strength))
    near = known_pair(built(weak))
    assert near is not None and near.course is not None and near.course.use[-1] > 1.25
    for friction, wider in ((0.1, 0.05), (0.2, -0.05)):
        pair = built(changed(weak, (1.05, 0.95), friction, wider))
        grip, torque = limits_near(pair, near)
        whole, whole_weak = limits_near(pair, None)
        assert grip == math.inf and whole_weak is not None and whole_weak < whole
        assert torque == pytest.approx(whole_weak, rel=5e-3)
