"""Pages: one self-contained HTML file for a case or a study. Nothing in them is fetched from anywhere."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import jinja2
from matplotlib.figure import Figure

from contactfe.case import ANSWERS, CaseRecord
from contactfe.contact.audit import LIMITS
from contactfe.inputs import to_dict
from contactfe.report.curve import curve_figure
from contactfe.report.drawing import drawing_figure
from contactfe.report.inputs import input_tables
from contactfe.report.pair import pair_figure
from contactfe.report.state import SlipState
from contactfe.report.style import as_bytes, data_uri
from contactfe.report.words import ENDED, case_words, number, plain

_AUDIT = {
    "force_balance": "forces on wrench, fastener and handle against each other, over all contact forces",
    "moment_balance": "their moments about the axis, over contact force times across flats",
    "pull": "largest pressure below zero, over the cap",
    "over_cap": "largest pressure above the cap, over the cap",
    "overlap": "deepest overlap where nothing is crushed, over across flats",
    "complementarity": "what is left of the contact conditions in the solver",
}
_MESH = {
    "triangles": "triangles",
    "nodes": "nodes",
    "smallest_angle_deg": "smallest angle (deg)",
    "shortest_edge_mm": "shortest edge (mm)",
    "longest_edge_mm": "longest edge (mm)",
    "boundary_sides": "sides on the outline",
}


@dataclass(frozen=True)
class Picture:
    """A figure ready for a page: its data: address, width and height in pixels, caption and alternative
    text.
    """

    address: str
    width: int
    height: int
    caption: str
    alt: str


@dataclass(frozen=True, eq=False)
class CaseFigures:
    """The three figures of a case."""

    curve: Figure
    pair: Figure
    drawing: Figure


def case_figures(record: CaseRecord, state: SlipState | None = None) -> CaseFigures:
    """Draw the figures of a case; a `state` at slip that is known already is not worked out again."""
    return CaseFigures(
        curve_figure(record), pair_figure(record, state=state), drawing_figure(record.built.case)
    )


def case_page(record: CaseRecord, version: str, figures: CaseFigures | None = None) -> str:
    """Return the page of a case as HTML text. The same record and version give the same text.

    Figures that are drawn already are not drawn again.
    """
    figures = figures or case_figures(record)
    case, early = record.built.case, record.estimate.early
    return render(
        "case.html",
        title=case.name,
        words=f"{case_words(case)}; the wrench turns {case.load.direction}",
        headline=headline(record),
        answers=_answers(record),
        early=_early_note(early.torque_Nm) if early else "",
        cautions=record.cautions(),
        figures=_pictures(record, figures),
        shares=[f"{100 * part:.1f}" for part in record.estimate.load_share],
        first_flat=f"{math.degrees(record.built.pair.first_flat):.0f}",
        inputs=input_tables(case),
        audit=_audit_rows(record),
        solved=len(record.curve.solutions),
        mesh_columns=list(_MESH.values()),
        meshes=_mesh_rows(record),
        json_address=data_uri(record_json(record, version).encode(), "application/json"),
        csv_address=data_uri(curve_csv(record).encode(), "text/csv"),
        version=version,
        inputs_hash=sha256_of(to_dict(case)),
        model=_model_words(record),
    )


def headline(record: CaseRecord) -> str:
    """Return the answer of a case in a few words."""
    slip = record.estimate.slip_torque_Nm
    if slip is None:
        return "Turns freely: it does not grip"
    first = f"{ENDED[record.ended_by]} at {number(record.torque_Nm)} N·m"
    return first if record.ended_by == "grip" else f"{first}, before it slips at {number(slip)} N·m"


def record_json(record: CaseRecord, version: str) -> str:
    """Return everything about a case as JSON text, keys in the order of the record."""
    return json.dumps(record.to_dict(version), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def curve_csv(record: CaseRecord) -> str:
    """Return the curve as CSV text: rotation of the head in deg, torque in N m."""
    lines = ["rotation_deg,torque_Nm"]
    pairs = zip(record.curve.rotation.tolist(), record.curve.torque.tolist(), strict=True)
    lines += [f"{math.degrees(rotation):.9g},{torque:.9g}" for rotation, torque in pairs]
    return "\n".join(lines) + "\n"


def sha256_of(values: Any) -> str:
    """Return the SHA-256 of plain values, independent of the order of keys."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def render(template: str, **values: Any) -> str:
    """Return a template of this package filled in; every value is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(**values)


def picture(figure: Figure, kind: str, caption: str, alt: str) -> Picture:
    """Return a figure as a picture for a page, kind "png" or "svg"."""
    width, height = figure.get_size_inches()
    mime = "image/svg+xml" if kind == "svg" else "image/png"
    return Picture(
        data_uri(as_bytes(figure, kind), mime), round(100 * width), round(100 * height), caption, alt
    )


def _answers(record: CaseRecord) -> list[Mapping[str, str]]:
    values = record.answers()
    rows: list[Mapping[str, str]] = []
    for answer in ANSWERS:
        value = values[answer.key]
        shown = "none" if value is None else number(value) if isinstance(value, float) else plain(value)
        rows.append({"label": answer.label, "value": shown, "unit": answer.unit, "meaning": answer.meaning})
    return rows


def _early_note(torque: float) -> str:
    return f"Spread, flank pressure and flank stress are read at {number(torque)} N·m, early in the curve."


def _pictures(record: CaseRecord, figures: CaseFigures) -> list[Picture]:
    e, case = record.estimate, record.built.case
    if e.slip_torque_Nm is None:
        curve = "Torque against rotation: no torque at any rotation, the wrench turns freely."
        pair = "Section of wrench and fastener as they stand, square; the corners pass the opening."
        below = "The pair at zero rotation: nothing is pressed."
    else:
        curve = (
            f"Torque against rotation: free play to {number(e.free_play_deg or 0.0)} deg, onset at "
            f"{number(e.onset_torque_Nm or 0.0)} N·m, slip at {number(e.slip_torque_Nm)} N·m and "
            f"{number(e.slip_rotation_deg or 0.0)} deg."
        )
        pair = (
            "Section of wrench and fastener at slip with von Mises stress in MPa and pressure on the flanks; "
            f"{number(e.crushed_length_mm or 0.0)} mm of surface is crushed."
        )
        below = "The pair at slip, in the frame of the wrench's head; percentages: load share of each flat."
    drawing = f"Drawing of {case_words(case)}, square in the opening, with its dimensions in mm."
    return [
        picture(
            figures.curve,
            "svg",
            "Torque over the engaged depth against the rotation of the wrench's head.",
            curve,
        ),
        picture(figures.pair, "png", below, pair),
        picture(figures.drawing, "svg", "The pair at zero rotation with its dimensions in mm.", drawing),
    ]


def _audit_rows(record: CaseRecord) -> list[Mapping[str, str]]:
    rows: list[Mapping[str, str]] = []
    for name, value in asdict(record.curve.audit).items():
        limit = LIMITS.get(name)
        rows.append(
            {
                "name": name.replace("_", " "),
                "value": f"{value:.1e}",
                "limit": "" if limit is None else f"{limit:.0e}",
                "within": "" if limit is None else plain(value <= limit),
                "meaning": _AUDIT.get(name, ""),
            }
        )
    return rows


def _mesh_rows(record: CaseRecord) -> Mapping[str, Sequence[str]]:
    bodies = {"fastener": record.built.fastener.mesh, "wrench": record.built.wrench.mesh}
    return {
        body: [
            f"{asdict(mesh.quality())[name]:.4g}"
            if name.endswith(("deg", "mm"))
            else str(asdict(mesh.quality())[name])
            for name in _MESH
        ]
        for body, mesh in bodies.items()
    }


def _model_words(record: CaseRecord) -> str:
    case = record.built.case
    return (
        f"Two-dimensional sections in plane {case.contact.plane}, linear elasticity, contact pressure "
        f"at most {number(record.built.law.cap)} MPa, friction {case.contact.friction:g}; "
        "torque over the engaged depth."
    )
