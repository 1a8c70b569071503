"""Drawings made without the package: corners from plane geometry, roundings by tangent lengths, files as plain text."""

from __future__ import annotations

import math

Point = tuple[float, float]
Corner = tuple[Point, float]  # place and rounding radius
Loop = list[tuple[Point, float]]  # vertices of a closed polyline with the bulge that follows each


def rounded(corners: list[Corner]) -> Loop:
    """A closed polygon with its corners rounded, as a polyline with bulges.

    A rounding of radius r at a corner that turns by a begins r tan(a/2) before it; its bulge is tan(a/4).
    """
    out: Loop = []
    n = len(corners)
    for i, ((x, y), r) in enumerate(corners):
        (px, py), (qx, qy) = corners[i - 1][0], corners[(i + 1) % n][0]
        a0, a1 = math.atan2(y - py, x - px), math.atan2(qy - y, qx - x)
        turn = math.remainder(a1 - a0, math.tau)
        if r == 0:
            out.append(((x, y), 0.0))
            continue
        t = r * math.tan(abs(turn) / 2)
        out.append(((x - t * math.cos(a0), y - t * math.sin(a0)), math.tan(turn / 4)))
        out.append(((x + t * math.cos(a1), y + t * math.sin(a1)), 0.0))
    return out


def polar(r: float, degrees: float) -> Point:
    return r * math.cos(math.radians(degrees)), r * math.sin(math.radians(degrees))


def twelve_point(width: float, ridge: float, root: float) -> Loop:
    """Two hexagons of one width at 30 degrees: outer corners at 0, 30, ..., ridges where their sides cross."""
    half = width / 2
    inner, outer = half / math.cos(math.radians(15)), half / math.cos(math.radians(30))
    corners: list[Corner] = []
    for k in range(12):
        corners.append((polar(outer, 30 * k), root))
        corners.append((polar(inner, 30 * k + 15), ridge))
    return rounded(corners)


def spline_lobes(width: float, lobe: float, ridge: float, root: float) -> list[Corner]:
    """Corners of twelve lobes of the included angle `lobe` (deg) whose roundings `ridge` touch the flats of a hexagon.

    The rounding's centre lies half a width and a radius out along the flat's normal, at 15 degrees to it.
    """
    angle = math.radians(lobe / 2)
    corner = (width / 2 + ridge) / math.cos(math.radians(15)) - ridge / math.sin(angle)
    deep = corner * math.sin(angle) / math.sin(angle - math.radians(15))
    return [c for k in range(12) for c in ((polar(deep, 30 * k), root), (polar(corner, 30 * k + 15), ridge))]


def head(radius: float, handle: tuple[float, float], blend: float, way: tuple[float, float, float]) -> Loop:
    """A round head about (0, 0), anticlockwise from the angle way[0] to way[1] (deg), with a straight handle of a
    width and length beyond the head towards way[2] (deg), blended in by arcs.

    A blend touches head and handle: its centre lies `blend` above the handle's side, radius + blend from the middle.
    """
    h, r = handle[0] / 2, radius
    cx = -math.sqrt((r + blend) ** 2 - (h + blend) ** 2)
    turned = math.radians(way[2] - 180)
    touch = math.atan2(h + blend, cx)
    into = -math.tan((math.pi / 2 - math.atan2(h + blend, -cx)) / 4)
    end = -(r + handle[1])

    def place(x: float, y: float) -> Point:
        c, s = math.cos(turned), math.sin(turned)
        return c * x - s * y, s * x + c * y

    begin, last = math.radians(way[0]), math.radians(way[1])
    first = touch + turned - begin
    second = last - (math.tau - touch + turned)
    return [
        (polar(r, way[0]), math.tan(first / 4)),
        (place(r * math.cos(touch), r * math.sin(touch)), into),
        (place(cx, h), 0.0),
        (place(end, h), 0.0),
        (place(end, -h), 0.0),
        (place(cx, -h), into),
        (place(r * math.cos(touch), -r * math.sin(touch)), math.tan(second / 4)),
        (polar(r, way[1]), 0.0),
    ]


def ring_outside(radius: float, handle: tuple[float, float], blend: float) -> Loop:
    """A round head with a handle towards -x."""
    return head(radius, handle, blend, (0.0, 360.0, 180.0))[:-1]


def open_end(d: dict[str, float], opening: float) -> Loop:
    """Parallel jaws with the mouth towards +x, a throat, a round head and an offset handle; lengths by name, mm."""
    half, tip = opening / 2, opening / 2 + d["tip_width"]
    reach, deep, turn_in = d["jaw_reach"], -d["throat_depth"], -d["jaw_depth"]
    round_head = head(
        d["head_width"] / 2,
        (d["handle_width"], d["handle_length"]),
        d["handle_blend"],
        (72.0, 288.0, 180.0 + math.degrees(d["offset_angle"])),
    )
    round_head = [((x + d["head_centre"], y), b) for (x, y), b in round_head]
    top, bottom = round_head[0][0], round_head[-1][0]
    t = d["throat_radius"]
    corners: list[Corner] = [
        ((reach, tip), d["tip_radius"]),
        (top, 0.0),
        (bottom, 0.0),
        ((reach, -tip), d["tip_radius"]),
        ((reach, -half), d["edge_radius"]),
        ((turn_in, -half), t),
        ((deep, -0.4 * half), t),
        ((deep, 0.4 * half), t),
        ((turn_in, half), t),
        ((reach, half), d["edge_radius"]),
    ]
    loop = rounded(corners)
    at = next(i for i, (p, _) in enumerate(loop) if p == top)
    return [*loop[:at], *round_head, *loop[at + 2 :]]


def dxf(loops: list[Loop], units: int = 4, layer: str = "0", entities: str = "") -> str:
    """A minimal DXF file by its group codes: one LWPOLYLINE for each loop."""
    text = f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n9\n$INSUNITS\n70\n{units}\n0\nENDSEC\n"
    text += "0\nSECTION\n2\nENTITIES\n"
    for number, loop in enumerate(loops):
        text += f"0\nLWPOLYLINE\n5\n{256 + number:X}\n100\nAcDbEntity\n8\n{layer}\n"
        text += f"100\nAcDbPolyline\n90\n{len(loop)}\n70\n1\n"
        text += "".join(f"10\n{x!r}\n20\n{y!r}\n42\n{b!r}\n" for (x, y), b in loop)
    return text + entities + "0\nENDSEC\n0\nEOF\n"


def svg(loops: list[Loop], width: str = 'width="200mm" height="200mm" viewBox="-100 -100 200 200"') -> str:
    """An SVG file with one path for each loop; y points down there, so that the drawing is mirrored first."""
    paths = []
    for loop in loops:
        n = len(loop)
        data = f"M {loop[0][0][0]!r} {-loop[0][0][1]!r}"
        for i, ((x, y), b) in enumerate(loop):
            (qx, qy), _ = loop[(i + 1) % n]
            if b == 0:
                data += f" L {qx!r} {-qy!r}"
                continue
            chord = math.hypot(qx - x, qy - y)
            r = chord * (1 + b * b) / (4 * abs(b))
            data += f" A {r!r} {r!r} 0 {int(abs(b) > 1)} {int(b < 0)} {qx!r} {-qy!r}"
        paths.append(f'<path d="{data} Z"/>')
    return f'<svg xmlns="http://www.w3.org/2000/svg" {width}>{"".join(paths)}</svg>'
