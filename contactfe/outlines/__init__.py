"""Outlines from drawings (DXF, SVG, CSV) and back: read, joined, fitted, named, measured and judged."""

from contactfe.outlines.chain import Fault, Gap
from contactfe.outlines.drawing import UNITS
from contactfe.outlines.export import write_dxf, write_svg
from contactfe.outlines.findings import Findings, findings
from contactfe.outlines.measure import loop_area, outline_area
from contactfe.outlines.reading import (
    FIT,
    SNAP,
    SUFFIXES,
    DrawingFaults,
    ImportedOutline,
    ImportOptions,
    import_outline,
    read_drawing,
)
from contactfe.profile import register_drawings

register_drawings(read_drawing)

__all__ = [
    "FIT",
    "SNAP",
    "SUFFIXES",
    "UNITS",
    "DrawingFaults",
    "Fault",
    "Findings",
    "Gap",
    "ImportOptions",
    "ImportedOutline",
    "findings",
    "import_outline",
    "loop_area",
    "outline_area",
    "read_drawing",
    "write_dxf",
    "write_svg",
]
