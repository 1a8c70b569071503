"""Drawings: read by machine as a reader would read them, and against plane geometry."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from report_cases import PROFILES, case, meetings, shown_texts

from contactfe.inputs import CaseInput
from contactfe.profile import Outline, profile_pair, write_outline
from contactfe.profile.files import drawn_wrench
from contactfe.report import drawing_figure, table_rows
from contactfe.report.dimensions import across_corners, wall_of

SQUARE = {"shape": "square", "across_flats": "16 mm", "engaged_depth": "8 mm", "grade": "8.8"}
DRAWN: dict[str, CaseInput] = {
    **{f"{p} new": case(p) for p in PROFILES},
    **{f"{p} rounded": case(p, "40 %") for p in PROFILES},
    **{
        f"{p} one-sided": case(
            p, fastener={"size": "M10", "grade": "8.8", "rounding": "40 %", "worn_side": "driven"}
        )
        for p in ("open-end", "ring-six-relieved")
    },
    "flare-nut 12 points": case("flare-nut", "40 %", wrench={"points": 12}),
    "square": case("open-end", fastener=SQUARE),
    "square rounded": case("open-end", fastener={**SQUARE, "rounding": "40 %"}),
    "double hexagon": case("ring-twelve", fastener={**SQUARE, "shape": "double-hex"}),
    "round": case("open-end", "100 %"),
    "M5 rusted": case("ring-six", fastener={"size": "M5", "grade": "8.8", "undersize": "0.3 mm"}),
    "M36": case("open-end", fastener={"size": "M36", "grade": "10.9"}),
    "inch": case("ring-twelve", fastener={"size": "1-1/8 in", "grade": "grade 5"}),
    "small nut": case("flare-nut", fastener={"size": "1/4 in nut", "grade": "grade 5"}),
    "drawn ring": case("outline", wrench={"outline": "hand-drawn-ring-16mm.toml", "thickness": "11 mm"}),
    "drawn pair": case(
        "outline",
        fastener={**SQUARE, "shape": "outline", "outline": "hex-16mm-rounded-40.toml"},
        wrench={"outline": "open-end-16mm.toml", "thickness": "7 mm"},
    ),
}


@pytest.mark.parametrize("name", DRAWN)
def test_drawings_are_readable(name: str) -> None:
    figure = drawing_figure(DRAWN[name])
    assert meetings(figure) == []
    words = " ".join(text for text, _ in shown_texts(figure))
    for wanted in (
        "across flats s",
        "opening S",
        "least wall",
        "thickness",
        "engaged depth",
        "Lengths in mm",
    ):
        assert wanted in words


@pytest.mark.parametrize("profile", PROFILES)
def test_a_drawing_carries_every_dimension_of_the_head(profile: str) -> None:
    c = case(profile)
    rows = dict(table_rows(c, profile_pair(c)))
    unused = {"ridge_radius"} if profile == "flare-nut" else set()  # only used with twelve points
    for name, value in c.wrench.dims.items():
        if name in unused:
            continue
        shown = float(re.match(r"-?[\d.]+", rows[name.replace("_", " ")]).group())  # type: ignore[union-attr]
        expected = math.degrees(value) if name.endswith("angle") else value
        assert shown == pytest.approx(expected, abs=0.006)


def test_dimensions_against_plane_geometry() -> None:
    """Across corners of a filleted hexagon is 2 s/sqrt(3) less 2 r (2/sqrt(3) - 1); the turned one is the
    circle's diameter e - r (e - s); a ring's wall is half of what the outside diameter leaves over the
    filleted corner.
    """
    s, blunt = 16.0, 2.0 / math.sqrt(3.0) - 1.0
    new = case("ring-six")
    pair = profile_pair(new)
    e = 2.0 * s / math.sqrt(3.0)
    assert across_corners(new, pair, pair.fastener) == pytest.approx(e - 2.0 * 0.16 * blunt, abs=2e-3)
    worn = case("ring-six", "40 %")
    assert across_corners(worn, profile_pair(worn), profile_pair(worn).fastener) == pytest.approx(
        e - 0.4 * (e - s), abs=2e-3
    )
    square = DRAWN["square"]
    # A fillet takes r (sqrt(2) - 1) off each corner of a square.
    assert across_corners(square, profile_pair(square), profile_pair(square).fastener) == pytest.approx(
        s * math.sqrt(2.0) - 2.0 * 0.16 * (math.sqrt(2.0) - 1.0), abs=2e-3
    )
    dims, opening = new.wrench.dims, new.wrench.opening
    wall = dims["outside_diameter"] / 2 - opening / math.sqrt(3.0) + dims["root_radius"] * blunt
    assert wall_of(new, pair)[0] == pytest.approx(wall, abs=2e-3)
    # The wall of an open end behind the axis ends on the round of its head.
    open_end = case("open-end")
    radius, centre = open_end.wrench.dims["head_width"] / 2, open_end.wrench.dims["head_centre"]
    _, inner, outer = wall_of(open_end, profile_pair(open_end))
    assert math.dist(outer, (centre, 0.0)) == pytest.approx(radius, abs=2e-3)
    assert inner[0] < 0 < inner[1]


def _turned(name: str, angle: float, folder: Path) -> CaseInput:
    """A drawn wrench turned about the fastener's axis; its tips are called outside, as in a file that names none."""
    raw: dict[str, Any] = {"outline": f"{name}.toml", "thickness": "7 mm"}
    fastener = {"across_flats": "16 mm", "grade": "8.8", "engaged_depth": "6 mm"}
    drawn = drawn_wrench(case("outline", fastener=fastener, wrench=raw).wrench)
    loops = tuple(
        tuple(replace(piece, name="outside" if piece.name == "tip" else piece.name) for piece in loop)
        for loop in drawn.outline.loops
    )
    file = folder / f"{name}-{math.degrees(angle):.0f}.toml"
    first = (drawn.first_flat + angle) % math.tau
    write_outline(file, Outline(loops).rotated(angle), "wrench", first_flat=first, flats=drawn.flats)
    return case("outline", fastener=fastener, wrench={**raw, "outline": str(file)})


@pytest.mark.parametrize("name", ["open-end-16mm", "hand-drawn-ring-16mm", "flare-nut-16mm"])
def test_a_drawn_wrench_can_be_drawn_at_every_angle(name: str, tmp_path: Path) -> None:
    """A mouth upwards once ended in a division by zero. The wall behind the axis turns with the head."""
    walls = []
    for degrees in range(0, 360, 15):
        turned = _turned(name, math.radians(degrees), tmp_path)
        assert drawing_figure(turned).axes
        walls.append(wall_of(turned, profile_pair(turned))[0])
    assert min(walls) > 0.5  # mm: thinner walls are not in these files


def test_the_wall_of_a_drawn_ring_does_not_depend_on_how_it_is_turned(tmp_path: Path) -> None:
    turned = [_turned("hand-drawn-ring-16mm", math.radians(60 * k), tmp_path) for k in range(3)]
    walls = [wall_of(one, profile_pair(one))[0] for one in turned]
    assert walls == pytest.approx([walls[0]] * 3, rel=0.03)
