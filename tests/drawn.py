"""Cases drawn from the whole space of inputs, and how many a run takes of them."""

from __future__ import annotations

from dataclasses import replace

from cases import COARSE, PROFILES, case
from hypothesis import Phase
from hypothesis import strategies as st

from contactfe.inputs import CaseInput

LONG = 2000  # cases of a run with -m long
QUICK = [Phase.explicit, Phase.generate]  # shrinking a failing solve would take minutes

SIZES = ("M6", "M10", "M16", "M10 nut", "1/2 in")
WEAR = st.sampled_from(["both", "driven"])


@st.composite
def drawn_cases(draw: st.DrawFn) -> CaseInput:
    """A case with drawn profile, head, wear, clearance, strengths, friction, hand and direction, meshed coarsely."""
    profile = draw(st.sampled_from(PROFILES))
    shapes = ["hex", "hex", "hex", "double-hex"] if "twelve" in profile or "spline" in profile else ["hex"]
    fastener = {
        "shape": draw(st.sampled_from(shapes + ["square"] * (profile == "open-end"))),
        "rounding": f"{draw(st.sampled_from([0, 0, 10, 40, 70, 97, 100]))} %",
        "worn_side": draw(WEAR),
        "yield_strength": f"{draw(st.floats(150, 1100)):.6g} MPa",
    }
    clearance = draw(st.floats(0.001, 0.03))
    found = case(
        profile,
        size="M10",
        fastener=fastener,
        contact={"friction": draw(st.sampled_from([0.0, 0.05, 0.15, 0.3]))},
        load={
            "lever_arm": draw(st.sampled_from(["none", "80 mm", "250 mm"])),
            "direction": draw(st.sampled_from(["anticlockwise", "clockwise"])),
        },
        mesh=COARSE,
    )
    s = found.fastener.across_flats_nominal
    return replace(found, wrench=replace(found.wrench, opening=s * (1.0 + clearance)))


def mirrored_case(c: CaseInput) -> CaseInput:
    """The case seen from the back: turned the other way, with the handle's offset on the other side."""
    other = "anticlockwise" if c.load.direction == "clockwise" else "clockwise"
    dims = tuple((n, -v if n == "offset_angle" else v) for n, v in c.wrench.dims_items)
    return replace(c, wrench=replace(c.wrench, dims_items=dims), load=replace(c.load, direction=other))
