"""Outlines from SVG files: paths and basic shapes under their transforms, arcs kept exact, in the file's own units.

Elements, transforms, the view box and the conversion of arcs follow SVG 1.1 (W3C Recommendation), chapters 7 to 9
and appendix F.6; absolute units follow CSS Values and Units. Documents with a DOCTYPE or entities are refused.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

import numpy as np

from contactfe.errors import InputError
from contactfe.outlines.drawing import MOST_DEPTH, UNITS, Collector, Drawing, fault, read_bytes
from contactfe.outlines.shapes import SHAPES, NotAShape, strokes_of
from contactfe.outlines.strokes import Array

MOST_ELEMENTS = 50_000
MOST_TEXT = 4_000_000  # characters in one attribute
ABSOLUTE = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "Q": 0.25, "q": 0.25}
_LENGTH = re.compile(r"\s*([0-9]*\.?[0-9]+(?:[eE][+-]?[0-9]+)?)\s*(mm|cm|in|pt|pc|Q|q|px|%|)\s*")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_CALL = re.compile(r"([a-zA-Z]+)\s*\(([^()]*)\)")
REFUSED = {
    "script": "a script",
    "foreignObject": "foreign content",
    "handler": "a script",
    "use": "a clone (use)",
}
UNDRAWN = frozenset(
    [
        "defs",
        "clipPath",
        "mask",
        "pattern",
        "marker",
        "symbol",
        "linearGradient",
        "radialGradient",
        "filter",
        "style",
        "metadata",
        "title",
        "desc",
    ]
)
PASSED_OVER = frozenset(["text", "image", "tspan", "flowRoot", "switch", "a", "animate", "set"])


@dataclass(frozen=True, eq=False)
class _Frame:
    """One open element: the map from its coordinates to the document's, and the layer it belongs to."""

    matrix: Array
    shift: Array
    layer: str
    drawn: bool


def read_svg(path: Path, layers: tuple[str, ...] = ()) -> Drawing:
    """The strokes of an SVG file, of the groups with the given labels or of all.

    Raises:
        InputError: not readable, not XML, with a DOCTYPE, an entity or a script, a transform or path that cannot
            be read, too large or too deep.
    """
    data = read_bytes(path)
    reader = _Reader(str(path), layers)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = reader.doctype
    parser.EntityDeclHandler = reader.doctype
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    try:
        with np.errstate(invalid="ignore", over="ignore"):  # what is not finite is refused when it is taken
            parser.Parse(data, True)
    except expat.ExpatError as error:
        raise fault(
            str(path),
            f"line {error.lineno}",
            f"is not SVG: {expat.ErrorString(error.code)}",
            "save it anew as plain SVG",
        ) from error
    except (ValueError, LookupError) as error:  # an encoding that the parser does not know
        raise fault(str(path), "", f"cannot be read: {error}", "save it as UTF-8") from error
    return reader.result()


class _Reader:
    def __init__(self, source: str, layers: tuple[str, ...]) -> None:
        self.source = source
        self.found = Collector(source, layers)
        self.open: list[_Frame] = []
        self.elements = 0
        self.unit: str | None = None
        self.stated = ""

    def problem(self, where: str, message: str, hint: str = "") -> InputError:
        return fault(self.source, where, message, hint)

    def doctype(self, *declared: object) -> None:
        """Refuse any document type or entity: they can be made to grow without end."""
        raise self.problem("", "declares a DOCTYPE or an entity", "save it as plain SVG without a DOCTYPE")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Open an element, and take its strokes where it is a shape."""
        self.elements += 1
        name = tag.rpartition(":")[2]
        if self.elements > MOST_ELEMENTS:
            raise self.problem(
                "", f"has more than {MOST_ELEMENTS:,} elements", "keep the outline of one head only"
            )
        if len(self.open) > 4 * MOST_DEPTH:
            raise self.problem("", f"has groups more than {4 * MOST_DEPTH} deep", "take the groups apart")
        if any(len(text) > MOST_TEXT for text in attributes.values()):
            raise self.problem(f"<{name}>", "is too long", "keep the outline of one head only")
        if name in REFUSED:
            raise self.problem(
                f"<{name}>", f"is {REFUSED[name]}, not an outline", "save it as plain SVG, clones unlinked"
            )
        if not self.open:
            self.open.append(self._root(name, attributes))
            return
        above = self.open[-1]
        frame = self._frame(above, name, attributes)
        self.open.append(frame)
        if not frame.drawn:
            return
        if name in SHAPES:
            self._shape(name, attributes, frame)
        elif name in PASSED_OVER:
            self.found.passed_over[name] += 1

    def end(self, tag: str) -> None:
        """Close an element."""
        self.open.pop()

    def result(self) -> Drawing:
        """What was gathered."""
        return self.found.drawing(self.unit, self.stated)

    def _frame(self, above: _Frame, name: str, attributes: dict[str, str]) -> _Frame:
        matrix, shift = above.matrix, above.shift
        if name == "svg":
            raise self.problem("<svg>", "stands inside another one", "take the inner drawing out")
        if attributes.get("transform"):
            own, by = self._transform(attributes["transform"], name)
            matrix, shift = matrix @ own, matrix @ by + shift
        layer = above.layer
        if name == "g":
            label = next((v for k, v in attributes.items() if k.rpartition(":")[2] == "label"), None)
            layer = label or attributes.get("id") or layer
        style = attributes.get("style", "").replace(" ", "")
        hidden = "display:none" in style or attributes.get("display") == "none"
        return _Frame(matrix, shift, layer, above.drawn and not hidden and name not in UNDRAWN)

    def _shape(self, name: str, attributes: dict[str, str], frame: _Frame) -> None:
        try:
            strokes = strokes_of(name, attributes)
        except NotAShape as error:
            which = f"<{name}> {attributes['id']}" if "id" in attributes else f"<{name}>"
            raise self.problem(which[:60], str(error)[:160], "draw it anew") from error
        self.found.add((s.moved(frame.matrix, frame.shift) for s in strokes), frame.layer)

    def _root(self, name: str, attributes: dict[str, str]) -> _Frame:
        """The outermost element: its view box and width state the unit; y points down in it."""
        if name != "svg":
            raise self.problem("", f"begins with <{name}>, not <svg>", "save it as plain SVG")
        width, unit = self._length(attributes, "width")
        height, _ = self._length(attributes, "height")
        scale = 1.0
        if attributes.get("viewBox"):
            box = [float(v) for v in _NUMBER.findall(attributes["viewBox"])]
            if len(box) != 4 or not all(map(math.isfinite, box)) or min(box[2:]) <= 0:
                raise self.problem("viewBox", "is not four numbers", 'write viewBox="0 0 100 80"')
            scale = self._scale(attributes, box, width, height)
        if unit in ABSOLUTE and width:
            # Lengths in user units are then known in mm.
            user = scale if attributes.get("viewBox") else UNITS["px"]
            self.unit, self.stated = "mm", f'width="{attributes["width"].strip()}"'
            return _Frame(np.diag([user, -user]), np.zeros(2), "", True)
        return _Frame(np.diag([1.0, -1.0]), np.zeros(2), "", True)

    def _scale(self, attributes: dict[str, str], box: list[float], width: float, height: float) -> float:
        """Length in mm of a unit of the view box where the width is in mm; 1 where nothing is stated."""
        along = width / box[2] if width else 0.0
        across = height / box[3] if height else along
        if not along:
            return 1.0
        if abs(along - across) > 1e-6 * along and attributes.get("preserveAspectRatio", "").startswith(
            "none"
        ):
            raise self.problem(
                "viewBox", "stretches x and y differently", "let width and height follow the view box"
            )
        return min(along, across)

    def _length(self, attributes: dict[str, str], key: str) -> tuple[float, str]:
        """A length of the root in mm, 0 where it states none, and its unit."""
        text = attributes.get(key, "")
        match = _LENGTH.fullmatch(text)
        if not text or match is None or match[2] not in ABSOLUTE:
            if text and match is None:
                raise self.problem(key, f'"{text[:30]}" is not a length', f'write {key}="100mm"')
            return 0.0, ""
        value = float(match[1]) * ABSOLUTE[match[2]]
        if not 0 < value < 1e7:
            raise self.problem(key, f'"{text[:30]}" is not a usable length', f'write {key}="100mm"')
        return value, match[2]

    def _transform(self, text: str, name: str) -> tuple[Array, Array]:
        """Matrix (2, 2) and shift (2,) of a transform attribute."""
        matrix, shift = np.eye(2), np.zeros(2)
        rest = _CALL.sub("", text).strip(" ,\t\r\n")
        calls = _CALL.findall(text)
        if rest or not calls or len(calls) > 100:
            raise self.problem(f"<{name}> transform", f'"{text[:40]}" cannot be read', "save it as plain SVG")
        for kind, arguments in calls:
            values = [float(v) for v in _NUMBER.findall(arguments)]
            own = _one_transform(kind, values)
            if own is None or not all(np.all(np.isfinite(part)) for part in own):
                raise self.problem(
                    f"<{name}> transform",
                    f'"{kind}({arguments[:30]})" cannot be read',
                    "save it as plain SVG",
                )
            matrix, shift = matrix @ own[0], matrix @ own[1] + shift
        return matrix, shift


def _one_transform(kind: str, v: list[float]) -> tuple[Array, Array] | None:
    zero = np.zeros(2)
    if kind == "matrix" and len(v) == 6:
        return np.array([[v[0], v[2]], [v[1], v[3]]]), np.array(v[4:])
    if kind == "translate" and len(v) in (1, 2):
        return np.eye(2), np.array([v[0], v[1] if len(v) == 2 else 0.0])
    if kind == "scale" and len(v) in (1, 2):
        return np.diag([v[0], v[-1]]), zero
    if kind == "rotate" and len(v) in (1, 3):
        c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
        turn = np.array([[c, -s], [s, c]])
        about = np.array(v[1:]) if len(v) == 3 else zero
        return turn, about - turn @ about
    if kind in ("skewX", "skewY") and len(v) == 1:
        lean = math.tan(math.radians(v[0]))
        return (
            np.array([[1.0, lean], [0.0, 1.0]]) if kind == "skewX" else np.array([[1.0, 0.0], [lean, 1.0]])
        ), zero
    return None
