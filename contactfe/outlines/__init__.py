"""Outlines from drawings (DXF, SVG, CSV) and back: read, joined, fitted, named, measured and judged."""

from contactfe.outlines.chain import Fault, Gap
from contactfe.outlines.drawing import UNITS
from contactfe.outlines.envelope import Envelope, envelope
from contactfe.outlines.export import write_dxf, write_svg
from contactfe.outlines.findings import Findings, findings
from contactfe.outlines.measure import loop_area, outline_area
from contactfe.outlines.options import FIT, SNAP, DrawingFaults, ImportOptions
from contactfe.outlines.reading import SUFFIXES, ImportedOutline, import_outline, read_drawing
from contactfe.outlines.swing import Engagement, engagement
from contactfe.profile import register_drawings

register_drawings(read_drawing)

__all__ = [
    "FIT",
    "SNAP",
    "SUFFIXES",
    "UNITS",
    "DrawingFaults",
    "Engagement",
    "Envelope",
    "Fault",
    "Findings",
    "Gap",
    "ImportOptions",
    "ImportedOutline",
    "engagement",
    "envelope",
    "findings",
    "import_outline",
    "loop_area",
    "outline_area",
    "read_drawing",
    "write_dxf",
    "write_svg",
]
