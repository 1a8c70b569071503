"""What a perfectly plastic edge carries: bounds by finite-element limit analysis round the closed forms.

Exact values: Prandtl 1920; Hill, The Mathematical Theory of Plasticity, 1950, ch. IX; Prager & Hodge 1951 (from
memory). Plane stress: the von Mises ellipse bounds any normal traction by 2/sqrt(3) times the yield strength.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from limit_analysis import SHEET, STRAIN, bevelled, half_punch, lower_bound, upper_bound, wedge

from contactfe.contact import friction_share
from contactfe.inputs import parse_case
from contactfe.reference import limit_load
from contactfe.turn import contact_law
from contactfe.turn.build import corner_share
from contactfe.verify.independent import LIMIT_BOUNDS

FRICTION = 0.15
# Body and the shear on its loaded edge over the pressure; below zero it points towards the edge of the corner.
BODIES = {
    "flat": (half_punch, 0.0),
    "corner": (functools.partial(wedge, 120.0), 0.0),
    "square corner": (functools.partial(wedge, 90.0), 0.0),
    "rubbed corner": (functools.partial(wedge, 120.0), -FRICTION),
    "corner rubbed backwards": (functools.partial(wedge, 120.0), FRICTION),
    "rubbed blunt corner": (functools.partial(wedge, 150.0), -FRICTION),
    "blunt corner rubbed backwards": (functools.partial(wedge, 150.0), FRICTION),
}
LAWS = {"strain": STRAIN, "sheet": SHEET}


@functools.cache
def bounds(body: str, law: str) -> tuple[float, float]:
    """Lower and upper bound, in shear yield (plane strain) or tensile yield (sheet)."""
    shape, shear = BODIES[body]
    made = shape()
    return lower_bound(made, LAWS[law], shear), upper_bound(made, LAWS[law], shear)


@pytest.mark.parametrize(
    ("body", "law", "exact"),
    [
        ("flat", "strain", limit_load.flat_limit(1.0)),
        ("corner", "strain", limit_load.wedge_limit(math.radians(120.0), 1.0)),
        ("square corner", "strain", limit_load.wedge_limit(math.radians(90.0), 1.0)),
        ("flat", "sheet", limit_load.sheet_cap(1.0)),
        ("corner", "sheet", limit_load.sheet_cap(1.0)),
    ],
)
def test_bounds_lie_within_three_per_cent_of_the_exact_pressure(body: str, law: str, exact: float) -> None:
    low, high = bounds(body, law)
    assert low <= exact * (1 + 1e-6)
    assert exact <= high * (1 + 1e-6)
    assert high - low < 0.03 * exact


def test_the_default_cap_is_what_a_sheet_carries_at_a_hexagon_corner() -> None:
    """In plane stress the corner carries as much as the middle of a flat, and that is the default factor."""
    case = parse_case(
        {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "ring-six"}},
        name="x",
    )
    low, high = bounds("corner", "sheet")
    assert low * 0.999 < case.contact.constraint_factor < high * 1.001


@pytest.mark.parametrize("bevel", [0.1, 0.2, 0.3, 0.5])
def test_a_bevel_gives_a_right_angle_its_limit_back(bevel: float) -> None:
    """Bounds of limit analysis on a right angle that is cut off: the law takes the lower ones."""
    body = bevelled(bevel)
    low, high = lower_bound(body, SHEET), upper_bound(body, SHEET)
    taken = corner_share(90.0, bevel) * 2.0 / math.sqrt(3.0)
    assert low - 2e-3 <= taken <= high and high - low < 0.035
    assert corner_share(120.0, bevel) == 1.0 and corner_share(90.0) == pytest.approx(math.sqrt(0.75))


def test_turned_square_heads_carry_more_than_sharp_ones() -> None:
    """The arc that turning leaves is a bevel: all of the cap is back where it is two fifths of what is crushed."""
    caps = []
    for rounding in ("0 %", "10 %", "20 %", "30 %"):
        head = {
            "shape": "square",
            "across_flats": "16 mm",
            "engaged_depth": "6 mm",
            "yield_strength": "640 MPa",
        }
        raw = {"format": 1, "fastener": {**head, "rounding": rounding}, "wrench": {"profile": "open-end"}}
        caps.append(contact_law(parse_case(raw)).cap)
    worn = {"shape": "square", "across_flats": "16 mm", "engaged_depth": "6 mm", "yield_strength": "640 MPa"}
    side = {**worn, "rounding": "30 %", "worn_side": "driven"}
    one_sided = contact_law(
        parse_case({"format": 1, "fastener": side, "wrench": {"profile": "open-end"}})
    ).cap
    ratio = 2.0 / math.sqrt(3.0)
    assert caps == sorted(caps) and caps[3] == pytest.approx(ratio * caps[0]) and one_sided == caps[0]
    # By hand: d = 1.3728 s, arc = d (pi/4 - acos(s/d)) = 0.0427 s, a sixth of 0.25 s: 1.058 + 0.071 * 0.46.
    assert caps[1] / caps[0] == pytest.approx(1.0908, abs=2e-3)


def test_a_square_corner_of_a_sheet_carries_only_its_yield_strength() -> None:
    """By hand: the free flank leaves one stress, s1 = Y. The cap 2/sqrt(3) overrates a square head's corner."""
    low, high = bounds("square corner", "sheet")
    assert low == pytest.approx(1.0, abs=2e-3)
    assert high == pytest.approx(1.0, abs=5e-3)


def test_more_material_beside_the_flank_carries_more() -> None:
    """Plane strain, in yield strength: corner of a hexagon, its flat, and the sheet below both."""
    corner, flat = (bounds(name, "strain")[0] / math.sqrt(3.0) for name in ("corner", "flat"))
    assert bounds("corner", "sheet")[1] < corner < flat


@pytest.mark.parametrize("body", [name for name in BODIES if "rubbed" in name])
def test_the_cap_of_a_sheet_with_friction_lies_between_bounds(body: str) -> None:
    """Both directions of the shear, at the corner of a new hexagon and at the blunt edge of one turned down."""
    low, high = bounds(body, "sheet")
    case = parse_case(
        {
            "format": 1,
            "fastener": {"size": "M10", "yield_strength": "640 MPa"},
            "wrench": {"profile": "ring-six"},
            "contact": {"friction": FRICTION},
        },
        name="x",
    )
    cap = contact_law(case).cap / 640.0
    assert high - low < 0.006
    assert low * 0.999 < cap < high * 1.001
    assert cap == pytest.approx(limit_load.sheet_cap(1.0, FRICTION), rel=5e-4)  # 1.155 stands for 2/sqrt(3)


@pytest.mark.parametrize(("body", "degrees"), [("rubbed corner", 120.0), ("rubbed blunt corner", 150.0)])
def test_the_share_that_friction_leaves_in_plane_strain_lies_between_bounds(
    body: str, degrees: float
) -> None:
    """The share of the 120 degree corner, which the law takes everywhere, is within 1.5 % of that at 150 degrees."""
    without = limit_load.wedge_limit(math.radians(degrees), 1.0)
    low, high = (bound / without for bound in bounds(body, "strain"))
    assert high - low < 0.025
    slack = 1e-6 if degrees == 120.0 else 0.015
    assert low * (1 - 1e-6) < friction_share(FRICTION, "strain") < high * (1 + slack)


def test_a_shear_away_from_the_edge_costs_a_plane_strain_corner_nothing() -> None:
    """Why one direction is enough: the wrench drags the flank towards the corner it drives, the weaker way."""
    assert bounds("corner rubbed backwards", "strain")[0] > bounds("corner", "strain")[1]


def test_less_friction_always_leaves_a_higher_cap() -> None:
    for plane in ("stress", "strain"):
        shares = [friction_share(mu, plane) for mu in np.linspace(0.0, 1.0, 21)]
        assert shares[0] == 1.0
        assert (np.diff(shares) < 0).all()
        assert friction_share(1e-7, plane) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("key", sorted(LIMIT_BOUNDS))
def test_the_bounds_that_verify_shows_are_those_found_here(key: tuple[str, str]) -> None:
    np.testing.assert_allclose(LIMIT_BOUNDS[key], bounds(*key), rtol=5e-4)


@pytest.mark.parametrize(
    ("degrees", "yields"), [(95.0, 1.058), (105.0, 1.139), (110.0, 1.1547), (135.0, 1.1547)]
)
def test_from_110_degrees_on_a_corner_of_a_sheet_costs_nothing(degrees: float, yields: float) -> None:
    """No outside source: the two bounds meet at these numbers, which the page on the constraint factor states."""
    body = wedge(degrees)
    low, high = lower_bound(body, SHEET), upper_bound(body, SHEET)
    assert low == pytest.approx(yields, rel=4e-3)
    assert high == pytest.approx(yields, rel=4e-3)
    assert low <= high * (1 + 1e-6)
