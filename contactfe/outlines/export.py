"""Drawings of a pair for other programs: DXF with exact lines and arcs on a layer for each body, SVG at true size."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from html import escape
from pathlib import Path

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.profile import Outline, Piece

DIGITS = 9  # behind the point, mm


def write_dxf(path: Path, bodies: Mapping[str, Outline]) -> None:
    """Write outlines (mm) as lines and arcs, each body on the layer of its name; $INSUNITS says millimetres.

    Raises:
        ContactFEError: ezdxf is not installed, or the file cannot be written.
    """
    try:
        import ezdxf
    except ImportError as error:
        raise ContactFEError(
            "writing DXF needs the package ezdxf",
            where=str(path),
            hint="install contactfe with the extra dxf: pip install 'contactfe[dxf]'",
            slug="no-dxf",
        ) from error
    document = ezdxf.new("R2000")  # type: ignore[attr-defined]
    document.header["$INSUNITS"] = 4
    document.header["$MEASUREMENT"] = 1
    space = document.modelspace()
    for colour, (name, outline) in enumerate(bodies.items(), start=5):
        document.layers.add(name, color=colour)
        for p in outline.pieces:
            if not p.is_arc:
                space.add_line(p.start, p.end, dxfattribs={"layer": name})
                continue
            begin, end = (math.degrees(a) for a in _angles(p))
            space.add_arc(p.centre, p.radius, begin, end, dxfattribs={"layer": name})
    beside = path.with_name(path.name + ".part")
    try:
        document.saveas(beside)
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise _not_written(path, error) from error


def _angles(p: Piece) -> tuple[float, float]:
    """Start and end angle (rad) of an arc run anticlockwise."""
    begin = math.atan2(p.start[1] - p.centre[1], p.start[0] - p.centre[0])
    return (begin, begin + p.turn) if p.turn > 0 else (begin + p.turn, begin)


def write_svg(path: Path, bodies: Mapping[str, Outline]) -> None:
    """Write outlines (mm) as one path each at true size: a user unit is a millimetre, arcs are exact.

    Raises:
        ContactFEError: the file cannot be written.
    """
    points = np.vstack([ring for outline in bodies.values() for ring in outline.polygon(0.2)])
    low, high = points.min(axis=0) - 2.0, points.max(axis=0) + 2.0
    width, height = (high - low).tolist()
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.4f}mm" height="{height:.4f}mm" '
        f'viewBox="{low[0]:.4f} {-high[1]:.4f} {width:.4f} {height:.4f}">'
    ]
    for name, outline in bodies.items():
        data = " ".join(_loop_data(loop) for loop in outline.loops)
        lines.append(
            f'<g id="{escape(name)}"><path fill="none" stroke="black" stroke-width="0.1" d="{data}"/></g>'
        )
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text("\n".join([*lines, "</svg>", ""]), encoding="utf-8")
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise _not_written(path, error) from error


def _loop_data(loop: tuple[Piece, ...]) -> str:
    """The commands of one closed loop; y points down in SVG, so that arcs change their sense."""
    parts = [f"M {_xy(loop[0].start)}"]
    for p in loop:
        if not p.is_arc:
            parts.append(f"L {_xy(p.end)}")
            continue
        halves = (
            2 if abs(p.turn) > math.pi * 0.999 else 1
        )  # near half a circle the centre would be ill-defined
        for k in range(1, halves + 1):
            x, y = p.points(np.array([k / halves]))[0].tolist() if k < halves else p.end
            large = int(abs(p.turn) / halves > math.pi)
            parts.append(
                f"A {p.radius:.{DIGITS}f} {p.radius:.{DIGITS}f} 0 {large} {int(p.turn < 0)} {_xy((x, y))}"
            )
    return " ".join([*parts, "Z"])


def _xy(point: tuple[float, float]) -> str:
    return f"{point[0]:.{DIGITS}f} {-point[1]:.{DIGITS}f}"


def _not_written(path: Path, error: OSError) -> ContactFEError:
    return ContactFEError(
        f"cannot be written: {error.strerror}",
        where=str(path),
        hint="choose another folder",
        slug="not-writable",
    )
