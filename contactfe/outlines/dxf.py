"""Outlines from DXF files: exact lines, arcs and bulges in world coordinates; blocks are taken apart within bounds.

Group codes and the meaning of $INSUNITS: the published DXF reference. The reader of the file format is ezdxf
(extra `dxf`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from contactfe.errors import ContactFEError
from contactfe.outlines.drawing import (
    MOST_DEPTH,
    MOST_STROKES,
    Collector,
    Drawing,
    fault,
    read_bytes,
    too_many,
)
from contactfe.outlines.strokes import SAMPLES, Array, Conic, Line, Sampled, Stroke, bulged

INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
SOLIDS = ("3DFACE", "3DSOLID", "BODY", "REGION", "SURFACE", "MESH", "POLYFACE", "ACIS")
FLAT = 1e-6  # of the size of a vector: how far it may leave the xy plane


def read_dxf(path: Path, layers: tuple[str, ...] = ()) -> Drawing:
    """The strokes of the model space of a DXF file, of the given layers or of all that are shown.

    Raises:
        InputError: not readable, not DXF, solids instead of outlines, out of the xy plane, blocks that include
            themselves, too large.
        ContactFEError: ezdxf is not installed.
    """
    read_bytes(path)
    document = _document(path)
    units = document.header.get("$INSUNITS", 0)
    reader = _Reader(path, layers, _hidden_layers(document))
    try:
        with np.errstate(invalid="ignore", over="ignore"):  # what is not finite is refused when it is taken
            reader.take(document.modelspace(), "", ())
    except RecursionError as error:
        raise reader.problem("", "has blocks that include each other", "take the blocks apart") from error
    return reader.found.drawing(INSUNITS.get(units), f"$INSUNITS = {units}" if units in INSUNITS else "")


def _document(path: Path) -> Any:
    try:
        import ezdxf
    except ImportError as error:
        raise ContactFEError(
            "reading and writing DXF needs the package ezdxf",
            where=str(path),
            hint="install contactfe with the extra dxf: pip install 'contactfe[dxf]'",
            slug="no-dxf",
        ) from error
    try:
        return ezdxf.readfile(path)  # type: ignore[attr-defined]
    except Exception as error:  # the reader meets arbitrary bytes and fails in many ways
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise fault(
            str(path), "", f"cannot be read as DXF: {reason}", "save it anew as DXF, with lines and arcs"
        ) from error


def _hidden_layers(document: Any) -> frozenset[str]:
    return frozenset(layer.dxf.name for layer in document.layers if layer.is_off() or layer.is_frozen())


class _Reader:
    """Takes entities apart, one block in another, never deeper or more than the bounds allow."""

    def __init__(self, path: Path, layers: tuple[str, ...], hidden: frozenset[str]) -> None:
        self.source, self.hidden = str(path), hidden
        self.found = Collector(self.source, layers)
        self.wanted = layers
        self.seen = 0

    def problem(self, where: str, message: str, hint: str = "") -> Exception:
        return fault(self.source, where, message, hint)

    def take(self, entities: Iterable[Any], layer_above: str, blocks: tuple[str, ...]) -> None:
        """Take the strokes of entities; those of a block on layer "0" belong to the layer of its insert."""
        for entity in entities:
            self.seen += 1
            if self.seen > MOST_STROKES:
                raise too_many(self.source)
            layer = str(entity.dxf.get("layer", "0"))
            layer = layer_above if layer == "0" and layer_above else layer
            if layer in self.hidden and layer not in self.wanted:
                self.found.passed_over[f"on the hidden layer {layer}"] += 1
                continue
            kind = entity.dxftype()
            if kind == "INSERT":
                self._insert(entity, layer, blocks)
            elif kind in _STROKES:
                self.found.add(self._strokes(entity, kind), layer)
            elif any(kind.endswith(name) for name in SOLIDS):
                raise self.problem(
                    f"{kind} on layer {layer}", "is a solid or a face, not an outline", "draw its section"
                )
            else:
                self.found.passed_over[kind] += 1

    def _insert(self, entity: Any, layer: str, blocks: tuple[str, ...]) -> None:
        name = str(entity.dxf.get("name", ""))
        if name in blocks:
            raise self.problem(f"block {name}", "includes itself", "take the block apart in the drawing")
        if len(blocks) >= MOST_DEPTH:
            raise self.problem(
                f"block {name}", f"lies more than {MOST_DEPTH} blocks deep", "take the blocks apart"
            )
        if entity.mcount > MOST_STROKES:
            raise too_many(self.source)
        inserts = entity.multi_insert() if entity.mcount > 1 else (entity,)
        for one in inserts:
            self.take(self._members(one, name), layer, (*blocks, name))

    def _members(self, insert: Any, name: str) -> Iterable[Any]:
        try:
            yield from insert.virtual_entities()
        except RecursionError:
            raise
        except ArithmeticError as error:
            raise self.problem(f"block {name}", f"cannot be placed: {error}", "take it apart") from error

    def _strokes(self, entity: Any, kind: str) -> list[Stroke]:
        try:
            return _STROKES[kind](entity)
        except _NotFlat as error:
            raise self.problem(
                f"{kind} on layer {entity.dxf.get('layer', '0')}",
                "does not lie in the xy plane",
                "draw the outline flat",
            ) from error
        except (ArithmeticError, ValueError, TypeError, AttributeError, IndexError) as error:
            raise self.problem(
                f"{kind} on layer {entity.dxf.get('layer', '0')}",
                f"cannot be read: {' '.join(str(error).split())[:100]}",
                "draw it anew",
            ) from error


class _NotFlat(Exception):
    pass


def _plane(vector: Any) -> Array:
    """A direction or half axis in the xy plane."""
    size = max(abs(vector.x), abs(vector.y), abs(vector.z))
    if abs(vector.z) > FLAT * max(size, 1e-300):
        raise _NotFlat
    return np.array([vector.x, vector.y], dtype=float)


def _place(point: Any) -> Array:
    return np.array([point.x, point.y], dtype=float)


def _line(entity: Any) -> list[Stroke]:
    start, end = entity.dxf.start, entity.dxf.end
    if abs(start.z - end.z) > FLAT * max((end - start).magnitude, 1e-300):
        raise _NotFlat
    return [Line(_place(start), _place(end))]


def _circular(entity: Any) -> list[Stroke]:
    """A circle or arc: its own plane may look from below (extrusion 0, 0, -1), as in mirrored blocks."""
    ocs, radius = entity.ocs(), float(entity.dxf.radius)
    centre = _place(ocs.to_wcs(entity.dxf.center))
    u, v = (radius * _plane(ocs.to_wcs(axis)) for axis in ((1, 0, 0), (0, 1, 0)))
    if radius <= 0:
        raise ValueError(f"its radius is {radius:g}")
    if entity.dxftype() == "CIRCLE":
        return [Conic(centre, u, v, 0.0, math.pi), Conic(centre, u, v, math.pi, math.tau)]
    begin = math.radians(float(entity.dxf.start_angle))
    sweep = (math.radians(float(entity.dxf.end_angle)) - begin) % math.tau or math.tau
    if sweep > math.pi * 1.999999:
        return [
            Conic(centre, u, v, begin, begin + sweep / 2),
            Conic(centre, u, v, begin + sweep / 2, begin + sweep),
        ]
    return [Conic(centre, u, v, begin, begin + sweep)]


def _polyline(entity: Any) -> list[Stroke]:
    """A polyline with bulges; one that is a mesh or leaves the plane is refused."""
    ocs = entity.ocs()
    if entity.dxftype() == "LWPOLYLINE":
        rows = [(x, y, float(entity.dxf.elevation or 0.0), b) for x, y, b in entity.get_points("xyb")]
        closed = bool(entity.closed)
    else:
        if entity.is_poly_face_mesh or entity.is_polygon_mesh:
            raise _NotFlat
        vertices = [(v.dxf.location, float(v.dxf.get("bulge", 0.0))) for v in entity.vertices]
        rows = [(p.x, p.y, p.z, b) for p, b in vertices]
        closed = bool(entity.is_closed)
        if rows and max(r[2] for r in rows) - min(r[2] for r in rows) > 1e-6:
            raise _NotFlat
        if entity.is_3d_polyline:
            ocs = None
    if ocs is not None:
        across = _plane(ocs.to_wcs((1, 0, 0)))
        along = _plane(ocs.to_wcs((0, 1, 0)))
        seen_from = math.copysign(1.0, float(across[0] * along[1] - across[1] * along[0]))
        points = [_place(ocs.to_wcs(r[:3])) for r in rows]
    else:
        seen_from, points = 1.0, [np.array(r[:2], dtype=float) for r in rows]
    count = len(points) if closed else len(points) - 1
    return [bulged(points[i], points[(i + 1) % len(points)], seen_from * rows[i][3]) for i in range(count)]


def _ellipse(entity: Any) -> list[Stroke]:
    major, minor = _plane(entity.dxf.major_axis), _plane(entity.minor_axis)
    begin = float(entity.dxf.start_param)
    sweep = (float(entity.dxf.end_param) - begin) % math.tau or math.tau
    centre = _place(entity.dxf.center)
    half = begin + sweep / 2
    return [Conic(centre, major, minor, begin, half), Conic(centre, major, minor, half, begin + sweep)]


def _spline(entity: Any) -> list[Stroke]:
    """The spans of a spline between its knots, each by many points and tangents."""
    tool = entity.construction_tool()
    if tool.count > 5000:
        raise ValueError(f"it has {tool.count} control points, more than 5000")
    knots = np.asarray(tool.knots(), dtype=float)
    inside = knots[tool.order - 1 : len(knots) - tool.order + 1]
    found: list[Stroke] = []
    for a, b in itertools.pairwise(inside):
        if not b - a > 1e-12 * max(1.0, float(np.ptp(knots))):
            continue
        t = np.linspace(a, b, SAMPLES + 1)
        pairs = [tool.derivative(x, 1) for x in t]
        pairs[-1][1] = tool.derivative(b - 1e-9 * (b - a), 1)[1]  # at a knot it belongs to the next span
        points = np.array([[p[0].x, p[0].y] for p in pairs])
        if max(abs(p[0].z - pairs[0][0].z) for p in pairs) > 1e-6:
            raise _NotFlat
        found.append(Sampled(points, np.array([[p[1].x, p[1].y] for p in pairs])))
    return found


_STROKES: dict[str, Callable[[Any], list[Stroke]]] = {
    "LINE": _line,
    "CIRCLE": _circular,
    "ARC": _circular,
    "LWPOLYLINE": _polyline,
    "POLYLINE": _polyline,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
}
