"""Heads drawn without the package give the torque of the built-in ones: the drawing is read as it is meant."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from drawn_by_hand import Loop, dxf, head, open_end, ring_outside, rounded, spline_lobes, svg, twelve_point

from contactfe.case import CaseRecord, solve_case
from contactfe.inputs import CaseInput, parse_case

OPENING = 16.16  # mm: the drawings and the built-in wrenches have this width


def case(folder: Path, **wrench: Any) -> CaseInput:
    fastener = {"size": "M10", "grade": "8.8", "rounding": "20 %"}
    return parse_case({"format": 1, "fastener": fastener, "wrench": wrench}, folder=folder)


def torque(found: CaseRecord) -> float:
    """The torque at which the grip is lost, N m: what the shape of the opening decides."""
    grip = next(limit for limit in found.limits if limit.kind == "grip")
    assert grip.torque_Nm is not None
    return grip.torque_Nm


def built_in(folder: Path, profile: str) -> tuple[float, CaseInput]:
    plain = case(folder, profile=profile, opening=f"{OPENING} mm")
    return torque(solve_case(plain)), plain


def drawn(folder: Path, name: str, text: str, thickness: float) -> float:
    (folder / name).write_text(text, encoding="utf-8")
    return torque(solve_case(case(folder, profile="outline", outline=name, thickness=f"{thickness} mm")))


def ring(d: dict[str, float]) -> Loop:
    handle = (d["handle_width"], d["handle_length"])
    return ring_outside(d["outside_diameter"] / 2, handle, d["handle_blend"])


def test_a_twelve_point_ring_drawn_as_dxf_and_svg_holds_like_the_built_in_one(tmp_path: Path) -> None:
    expected, plain = built_in(tmp_path, "ring-twelve")
    d = dict(plain.wrench.dims)
    loops = [ring(d), twelve_point(OPENING, d["ridge_radius"], d["root_radius"])]
    for name, text in (("ring.dxf", dxf(loops)), ("ring.svg", svg(loops))):
        assert drawn(tmp_path, name, text, plain.wrench.thickness) == pytest.approx(expected, rel=0.005), name


def test_an_open_end_drawn_as_dxf_and_svg_holds_like_the_built_in_one(tmp_path: Path) -> None:
    expected, plain = built_in(tmp_path, "open-end")
    loops = [open_end(dict(plain.wrench.dims), OPENING)]
    for name, text in (("open.dxf", dxf(loops)), ("open.svg", svg(loops))):
        assert drawn(tmp_path, name, text, plain.wrench.thickness) == pytest.approx(expected, rel=0.005), name


def cubic(a: tuple[float, float], b: tuple[float, float], bulge: float) -> list[tuple[float, float]]:
    """Control points of the usual cubic for an arc: handles of 4/3 tan(a/4) radii along the tangents."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    if bulge == 0:
        return [(a[0] + k * dx / 3, a[1] + k * dy / 3) for k in range(4)]
    half = 2 * math.atan(bulge)
    r = math.hypot(dx, dy) / (2 * math.sin(abs(half)))
    k = 4 / 3 * math.tan(abs(half) / 2) * r
    along = math.atan2(dy, dx)
    a0, a1 = along - half, along + half
    return [
        a,
        (a[0] + k * math.cos(a0), a[1] + k * math.sin(a0)),
        (b[0] - k * math.cos(a1), b[1] - k * math.sin(a1)),
        b,
    ]


def as_spline(loop: Loop) -> str:
    """A closed polyline with bulges as ONE cubic spline with threefold knots, by its group codes."""
    control = [loop[0][0]]
    for i, (p, bulge) in enumerate(loop):
        control += cubic(p, loop[(i + 1) % len(loop)][0], bulge)[1:]
    spans = len(loop)
    knots = [0.0] + [float(k) for k in range(spans + 1) for _ in range(3)] + [float(spans)]
    text = "0\nSPLINE\n5\nFFF\n100\nAcDbEntity\n8\n0\n100\nAcDbSpline\n70\n8\n71\n3\n"
    text += f"72\n{len(knots)}\n73\n{len(control)}\n74\n0\n" + "".join(f"40\n{k!r}\n" for k in knots)
    return text + "".join(f"10\n{x!r}\n20\n{y!r}\n30\n0.0\n" for x, y in control)


def test_an_opening_drawn_as_one_spline_holds_like_the_built_in_one(tmp_path: Path) -> None:
    expected, plain = built_in(tmp_path, "ring-spline")
    d = dict(plain.wrench.dims)
    lobes = spline_lobes(OPENING, math.degrees(d["lobe_angle"]), d["ridge_radius"], d["root_radius"])
    text = dxf([ring(d)], entities=as_spline(rounded(lobes)))
    assert drawn(tmp_path, "spline.dxf", text, plain.wrench.thickness) == pytest.approx(expected, rel=0.01)


def test_the_hand_drawn_head_closes() -> None:
    """The drawing tool of these tests itself: the blend leaves the head where the head ends."""
    loop = head(13.0, (12.8, 8.0), 6.4, (0.0, 360.0, 180.0))
    assert math.dist(loop[0][0], loop[-1][0]) < 1e-9
    assert all(math.hypot(*loop[k][0]) == pytest.approx(13.0) for k in (0, 1, 6))
