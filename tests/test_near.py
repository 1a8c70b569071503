"""Limits looked for near those of a solved pair, against the whole curve of the same case."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contactfe.case import KnownPair, known_pair, limits_near
from contactfe.inputs import CaseInput, parse_case
from contactfe.turn import Bodies, BuiltPair

WITHIN = 4e-3  # the scatter of a top that is read off other rotations
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
    assert grip == pytest.approx(whole, rel=WITHIN)
    if weak is not None and whole_weak is not None:
        assert min(grip, weak) == pytest.approx(min(whole, whole_weak), rel=WITHIN)
    else:  # far above slip, and not looked at, or at the edge of that
        assert min(weak or 9e9, whole_weak or 9e9) > 1.2 * grip


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
