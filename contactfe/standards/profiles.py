"""One record per family of wrenches. A new family is one record here and its corners in `contactfe.profile`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..errors import ContactFEError, nearest
from .head_rules import JUDGEMENT, Rule, angle, ring, share, straight


@dataclass(frozen=True)
class Profile:
    """A family of wrenches: how many points it has, whether its head is open, and the rules of its head.

    `points` is 0 for parallel jaws and for drawn outlines; `points_choices` are the numbers a case may choose from.
    `is_ring`: a ring of wall lies round the corners, so the head has an outside diameter; `is_open`: it can open
    (jaws, or a ring with a slot). `drawn`: a file holds the whole head. `takes_square`: square heads go in.
    `wall` names the dimension that makes the wall, `key_dim` the one that sets the family's own shape (with words),
    both "" where there is none. `first_flat` (rad) is the direction of the normal of the first flat. `lead_in` is the
    standard lead-in over nominal across flats. `rules` give the default dimensions, `square_rules` replace some of
    them for square heads. `words` is what the family is called in a sentence, `also` what else people call it.
    """

    name: str
    words: str
    points: int = 0
    points_choices: tuple[int, ...] = ()
    is_ring: bool = False
    is_open: bool = False
    drawn: bool = False
    takes_square: bool = False
    wall: str = ""
    key_dim: tuple[str, str] = ("", "")
    first_flat: float = 0.0
    lead_in: float = 0.0
    rules: Mapping[str, Rule] = field(default_factory=dict)
    square_rules: Mapping[str, Rule] = field(default_factory=dict)
    also: tuple[str, ...] = ()

    def rules_for(self, shape: str) -> Mapping[str, Rule]:
        """Return the rules of the head's dimensions for the shape of a fastener."""
        return MappingProxyType({**self.rules, **(self.square_rules if shape == "square" else {})})

    def takes(self, points: int) -> bool:
        """Return whether a wrench of the family may have this number of points."""
        return points in (self.points_choices or (self.points,))


_ROOT = "engineering judgement: small enough to clear a sharp corner in the tightest opening of ISO 691"
# Lead-in over nominal across flats, engineering judgement: the countersink of a ring (ASME B107.100: 90 to
# 150 deg) just past its flanks; the broken edge of an open end.
_LEAD_IN_RING, _LEAD_IN_OPEN = 0.03, 0.02

_EVERY: dict[str, Rule] = {
    "edge_radius": share(0.02, "engineering judgement: broken edge of a broached or milled flank"),
    "handle_width": share(0.8),
    "handle_length": share(0.5),
    "handle_blend": share(0.4),
}
_RING: dict[str, Rule] = {
    "outside_diameter": ring("outside_diameter"),
    "thickness": ring("thickness"),
    "offset_angle": angle(0.0, "a ring has no preferred side"),
}

_OPEN_END = Profile(
    "open-end",
    "open-end wrench",
    is_open=True,
    takes_square=True,
    wall="head_width",
    key_dim=("throat_depth", "depth of the throat"),
    first_flat=math.pi / 2.0,
    lead_in=_LEAD_IN_OPEN,
    rules={
        "head_width": straight(2.1, 4.0, "3 mm below the largest, 2.1 s + 7 mm of ISO 3318, from memory"),
        "thickness": share(0.44),
        "jaw_reach": share(0.42),
        "throat_depth": share(0.62),
        "tip_width": share(0.35),
        "tip_radius": share(0.1),
        "jaw_depth": share(0.36, "engineering judgement: the flank reaches past the flat's end at 0.29 s"),
        "throat_radius": share(0.1),
        "head_centre": share(-0.15, "engineering judgement: the round head lies behind the axis"),
        "offset_angle": angle(15.0, "common practice, no source"),
        **_EVERY,
    },
    # A square's flat is as long as it is wide: jaws and throat have to reach past its corners.
    square_rules={
        "jaw_reach": share(0.62, "engineering judgement, square: past the corner at 0.5 s"),
        "jaw_depth": share(0.58, "engineering judgement, square: past the corner at 0.5 s"),
        "throat_depth": share(0.78, "engineering judgement, square: clears the flat behind"),
        "head_centre": share(-0.1, "engineering judgement, square"),
    },
    also=("open", "open end", "open-ended", "spanner", "jaw"),
)
_RING_SIX = Profile(
    "ring-six",
    "six-point ring",
    6,
    is_ring=True,
    wall="outside_diameter",
    lead_in=_LEAD_IN_RING,
    rules={**_RING, "root_radius": share(0.012, _ROOT), **_EVERY},
    also=("6-point", "six-point", "box-end", "box end", "box", "ring", "ring-6", "socket", "hex"),
)
_RING_SIX_RELIEVED = Profile(
    "ring-six-relieved",
    "six-point ring with relieved corners",
    6,
    is_ring=True,
    wall="outside_diameter",
    key_dim=("bearing_reach", "bearing reach"),
    lead_in=_LEAD_IN_RING,
    rules={
        **_RING,
        "bearing_reach": share(0.22),
        "relief_angle": angle(15.0),
        "root_radius": share(0.06),
        **_EVERY,
    },
    also=("relieved", "off-corner"),
)
_RING_TWELVE = Profile(
    "ring-twelve",
    "twelve-point ring",
    12,
    is_ring=True,
    wall="outside_diameter",
    lead_in=_LEAD_IN_RING,
    rules={**_RING, "ridge_radius": share(0.02), "root_radius": share(0.012, _ROOT), **_EVERY},
    also=(
        "12-point",
        "twelve-point",
        "box-end",
        "box end",
        "box",
        "ring",
        "ring-12",
        "socket",
        "bi-hex",
        "bihexagon",
    ),
)
_RING_SPLINE = Profile(
    "ring-spline",
    "spline ring",
    12,
    is_ring=True,
    wall="outside_diameter",
    key_dim=("lobe_angle", "angle of the lobes"),
    lead_in=_LEAD_IN_RING,
    rules={
        **_RING,
        "lobe_angle": angle(120.0),
        "ridge_radius": share(0.05),
        "root_radius": share(0.06),
        **_EVERY,
    },
    also=("spline", "splined"),
)
_FLARE_NUT = Profile(
    "flare-nut",
    "flare-nut wrench",
    6,
    (6, 12),
    is_ring=True,
    is_open=True,
    wall="outside_diameter",
    lead_in=_LEAD_IN_RING,
    rules={
        **_RING,
        "outside_diameter": ring("outside_diameter", 1.12),
        "slot_width": share(0.6, "engineering judgement: passes tubes up to 0.6 s"),
        "root_radius": share(0.012, _ROOT),
        "ridge_radius": share(0.02, f"{JUDGEMENT}; used with 12 points"),
        **_EVERY,
    },
    also=("flare", "flare nut", "line", "line wrench", "brake line", "crow-foot", "slotted ring"),
)
_OUTLINE = Profile(
    "outline", "drawn wrench", drawn=True, takes_square=True, also=("file", "drawing", "drawn")
)

_BY_NAME: dict[str, Profile] = {
    record.name: record
    for record in (_OPEN_END, _RING_SIX, _RING_SIX_RELIEVED, _RING_TWELVE, _RING_SPLINE, _FLARE_NUT, _OUTLINE)
}

PROFILES: tuple[str, ...] = tuple(_BY_NAME)
"""The names of the wrench families; "outline" is read from a file and has no dimensions."""


class UnknownProfile(ContactFEError):
    """No family of wrenches has this name."""

    default_slug = "unknown-profile"


def profile(name: str) -> Profile:
    """Return the record of a family. Raises UnknownProfile with the families the name may mean."""
    if name not in _BY_NAME:
        hint = meant_profile(name) or f"known: {', '.join(_BY_NAME)}"
        raise UnknownProfile(f'unknown profile "{name}"', hint=hint)
    return _BY_NAME[name]


def meant_profile(text: str) -> str:
    """Return "did you mean ...?" for what people call a family ("box-end" is a ring), "" where nothing is near.

    What the trade calls it counts before how it is spelt: "box-end" looks like "open-end" but is a ring.
    """
    plain = " ".join(text.casefold().replace("_", " ").split())
    plain = plain.removesuffix(" wrench").removesuffix(" spanner").strip()
    spelt = {plain, plain.replace(" ", "-")}
    called = [record.name for record in _BY_NAME.values() if spelt & {*record.also, record.name}]
    if called:
        return f"did you mean {' or '.join(called)}?"
    if "box" in plain or "ring" in plain.split():
        return "did you mean ring-six or ring-twelve?"
    return nearest(plain.replace(" ", "-"), _BY_NAME)
