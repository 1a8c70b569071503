"""The record of a case is complete, or it is not built; its limits stand in order and its end is the first of them."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import pytest
from cases import PROFILES, built, case, solved

from contactfe.case import ANSWERS, CaseRecord, Limit, record_of, solve_case
from contactfe.case.limits import WrenchLimit, limits_of
from contactfe.errors import ContactFEError
from contactfe.inputs import CaseInput, parse_case
from contactfe.strength import TwistOff
from contactfe.turn import SlipEstimate, TorqueCurve

COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}


def record(c: CaseInput) -> CaseRecord:
    return record_of(built(c), solved(c)[0])


@pytest.fixture(scope="module")
def ring() -> CaseRecord:
    return record(case("ring-six", mesh=COARSE))


def test_a_record_without_its_end_cannot_be_built(ring: CaseRecord) -> None:
    with pytest.raises(TypeError):
        CaseRecord(ring.built, ring.curve, ring.estimate)  # type: ignore[call-arg]
    with pytest.raises(ValueError, match="needs that limit first"):
        replace(ring, limits=())
    with pytest.raises(ValueError, match="needs that limit first"):
        replace(ring, ended_by="turns-freely")
    with pytest.raises(ValueError, match="needs that limit first"):
        replace(ring, ended_by=ring.limits[1].kind)
    with pytest.raises(ValueError, match="needs that limit first"):
        replace(ring, estimate=SlipEstimate(turns_freely=True))
    with pytest.raises(ValueError, match="lowest torque up"):
        replace(ring, limits=(ring.limits[0], *reversed(ring.limits[1:])))
    with pytest.raises(FrozenInstanceError):
        ring.ended_by = "bolt"  # type: ignore[misc]


@pytest.mark.parametrize("profile", PROFILES)
def test_what_is_delivered_is_the_lowest_limit(profile: str) -> None:
    r = record(case(profile, mesh=COARSE))
    known = [limit.torque_Nm for limit in r.limits if limit.torque_Nm is not None]
    assert r.torque_Nm == min(known) == known[0] and known == sorted(known)
    assert r.ended_by == r.limits[0].kind
    assert {limit.kind for limit in r.limits} == {"grip", "wrench", "bar"}
    grip = r.limit("grip")
    assert grip is not None and grip.torque_Nm == r.estimate.slip_torque_Nm
    for limit in r.limits:  # on the rising branch up to slip, nowhere beyond
        assert limit.torque_Nm is not None
        assert (limit.rotation_deg is None) == (limit.torque_Nm > grip.torque_Nm)
    assert r.margin == pytest.approx(known[1] / known[0] - 1)


def test_answers_are_the_columns_and_none_is_missing(ring: CaseRecord) -> None:
    assert list(ring.answers()) == [column.key for column in ANSWERS]
    assert all(value is not None for key, value in ring.answers().items() if not key.startswith("twist_off_"))
    told = ring.to_dict("1")
    assert {key: told[key] for key in ring.answers()} == ring.answers()
    assert [limit["kind"] for limit in told["limits"]] == [limit.kind for limit in ring.limits]


def test_a_wrench_that_turns_freely_delivers_nothing() -> None:
    r = record(case("ring-six", fastener={"rounding": "98 %"}, mesh=COARSE))
    assert (r.torque_Nm, r.ended_by, r.limits, r.rotation_deg, r.next_limit, r.margin) == (
        0.0, "turns-freely", (), None, None, None,
    )  # fmt: skip
    assert r.answers()["torque_Nm"] == 0.0 and r.answers()["slip_torque_Nm"] is None


def test_the_bolt_or_the_bar_ends_the_pull_where_it_is_weaker_than_the_grip() -> None:
    # ISO 898-7: the free thread of an M10 8.8 bolt twists off at 66 N m at least; the ring holds several times that.
    bolt = record(case("ring-six", fastener={"stock": "bolt"}, mesh=COARSE))
    assert bolt.held == "bolt" and bolt.ended_by == "bolt" and bolt.torque_Nm < 90
    assert bolt.rotation_deg == pytest.approx(math.degrees(bolt.curve.rotation_at(bolt.torque_Nm)))
    bar = record(case("ring-six", fastener={"stock": "bar"}, mesh=COARSE))
    assert bar.held == "solid bar" and bar.estimate.slip_torque_Nm == bolt.estimate.slip_torque_Nm
    # 7/16 in bar of 634 MPa: twice the volume of the sand heap of slope k over the hexagon, k = 634 / sqrt 3 (Nadai 1923):
    # by hand 2 k A a / 3 with the area A = 106.9 mm2 and the half width a = 5.556 mm: 145 N m.
    small = {"across_flats": "7/16 in", "engaged_depth": "8 mm", "yield_strength": "634 MPa"}
    ring_six = {"profile": "ring-six", "outside_diameter": "22 mm"}
    short = solve_case(parse_case({"format": 1, "fastener": small, "wrench": ring_six, "mesh": COARSE}))
    assert short.ended_by == "bar"
    assert short.torque_Nm == pytest.approx(2 * 634 / math.sqrt(3) * 106.94 * 5.556 / 3 / 1e3, rel=2e-3)


def test_a_limit_that_is_not_known_stands_last_and_is_told(
    ring: CaseRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    unknown = TwistOff("bolt", None, None, None, "no rule")
    limits = limits_of(ring.curve, ring.estimate, WrenchLimit(None, "no sections"), unknown)
    assert [limit.kind for limit in limits] == ["grip", "wrench", "bolt"]
    assert limits[1:] == (
        Limit("wrench", None, None, None, "no sections"),
        Limit("bolt", None, None, None, "no rule"),
    )
    told = replace(ring, limits=limits, ended_by="grip", sections=None, shank=unknown)
    assert told.next_limit is None and told.margin is None
    text = " ".join(told.own_cautions())
    assert "no sections" in text and "no rule" in text

    def broken(*_: object) -> None:
        raise ContactFEError("no section of the wrench's head was found")

    monkeypatch.setattr("contactfe.case.limits.section_path", broken)
    again = record_of(ring.built, ring.curve)
    assert again.limit("wrench") == Limit(
        "wrench", None, None, None, "no section of the wrench's head was found"
    )
    assert again.answers()["wrench_torque_Nm"] is None and again.torque_Nm > 0


def test_an_empty_curve_has_no_limits() -> None:
    b = built(case("ring-six", mesh=COARSE))
    import numpy as np

    assert record_of(b, TorqueCurve(np.empty(0), np.empty(0), (), None)).ended_by == "turns-freely"
