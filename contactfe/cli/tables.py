"""`contactfe sizes` and `contactfe grades`: the tables of standards in the package, with sources."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe.cli.output import say, say_json, say_table
from contactfe.errors import ContactFEError

if TYPE_CHECKING:
    from contactfe.standards import Grade, HeadChamfer, HexSize, OpeningLimits, OutsideSize


def register(app: typer.Typer) -> None:
    """Add both commands to an application."""

    @app.command("sizes", help="Show the hexagon sizes and their wrench openings, or one size.")
    def sizes(
        name: Annotated[
            str | None, typer.Argument(metavar="SIZE", help='Such as M10, "M10 nut" or 1/2.')
        ] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON on stdout (lengths in mm).")
        ] = False,
    ) -> None:
        from contactfe import standards

        found = [standards.size(name)] if name else list(standards.sizes())
        if as_json:
            say_json([_size_record(entry) for entry in found])
        elif name:
            _say_size(found[0])
        else:
            _say_sizes(found)

    @app.command("grades", help="Show the strength grades, or one grade.")
    def grades(
        name: Annotated[str | None, typer.Argument(metavar="GRADE", help='Such as 8.8 or "grade 5".')] = None,
        as_json: Annotated[bool, typer.Option("--json", help="Print JSON on stdout (MPa, mm).")] = False,
    ) -> None:
        from contactfe.standards import grade_names

        found = [row for each in ([name] if name else grade_names()) for row in grade_rows(each)]
        if as_json:
            say_json([asdict(row) | {"upper_source": row.upper_source or None} for row in found])
        else:
            _say_grades(found)


def _opening(entry: HexSize) -> OpeningLimits:
    from contactfe.standards import opening_limits

    return opening_limits(entry.across_flats, entry.inch)


def _chamfer(entry: HexSize) -> HeadChamfer:
    from contactfe.standards import head_chamfer

    return head_chamfer(entry.item)


def _ring(entry: HexSize) -> OutsideSize | None:
    from contactfe.standards import ring_outside

    return ring_outside(entry.across_flats, entry.inch)


def _size_record(entry: HexSize) -> dict[str, Any]:
    """A size with its opening, its chamfer (angles in degrees, circle in mm) and the largest ring head (mm)."""
    chamfer, ring = _chamfer(entry), _ring(entry)
    low, high = _circle(entry, chamfer)
    return asdict(entry) | {
        "opening": asdict(_opening(entry)),
        "chamfer": {
            "angle_low_deg": round(math.degrees(chamfer.angle_low), 9),
            "angle_high_deg": round(math.degrees(chamfer.angle_high), 9),
            "circle_low_mm": low,
            "circle_high_mm": high,
            "faces": chamfer.faces,
            "source": chamfer.source,
        },
        "ring": None if ring is None else asdict(ring),
    }


def _circle(entry: HexSize, chamfer: HeadChamfer) -> tuple[float, float]:
    """Limits of the chamfer circle, mm."""
    return chamfer.circle_low * entry.across_flats, chamfer.circle_high * entry.across_flats


def _say_sizes(found: list[HexSize]) -> None:
    rows = []
    for entry in found:
        limits, ring = _opening(entry), _ring(entry)
        rows.append(
            (
                entry.name,
                f"{entry.across_flats:.2f}",
                f"{entry.across_flats_min:.2f}",
                f"{entry.across_corners_min:.2f}",
                f"{entry.height:.2f}",
                f"{limits.lower:.2f}",
                f"{limits.middle:.2f}",
                f"{limits.upper:.2f}",
                "-" if ring is None else f"{ring.outside_diameter:.2f}",
                "-" if ring is None else f"{ring.thickness:.2f}",
                entry.source,
            )
        )
    say("lengths in mm: s across flats, e across corners, k height; opening of the wrench, tight to loose;")
    say("largest ring head: outside diameter d and thickness t, - where no standard has a row for s")
    heads = ("size", "s", "least s", "least e", "k", "tight", "middle", "loose", "ring d", "ring t", "source")
    say_table(rows, heads)
    for source in sorted({_opening(entry).source for entry in found if not entry.name.endswith("nut")}):
        say(f"  openings: {source}")
    for source in sorted({ring.source for entry in found if (ring := _ring(entry)) is not None}):
        say(f"  ring heads: {source}")
    for item, chamfer in {entry.item: _chamfer(entry) for entry in found}.items():
        say(f"  chamfer of a {item}: {_angles(chamfer)}; circle {_share(chamfer)} of s; {_faces(chamfer)}")
        say(f"    {chamfer.source}")


def _angles(chamfer: HeadChamfer) -> str:
    low, high = math.degrees(chamfer.angle_low), math.degrees(chamfer.angle_high)
    return f"{low:.4g} to {high:.4g} deg to the face"


def _share(chamfer: HeadChamfer) -> str:
    return f"{100 * chamfer.circle_low:.4g} to {100 * chamfer.circle_high:.4g} %"


def _faces(chamfer: HeadChamfer) -> str:
    return "both faces" if chamfer.faces == 2 else "one face"


def _say_size(entry: HexSize) -> None:
    limits, wrenching = _opening(entry), entry.wrenching_height_min
    kind = f"{entry.item}, product grade {entry.product_grade}" if entry.product_grade else entry.item
    say(f"{entry.name} ({kind})")
    rows = [
        ("across flats", f"{entry.across_flats:.3f}", "mm", f"least {entry.across_flats_min:.3f}"),
        (
            "across corners",
            f"{entry.across_corners:.3f}",
            "mm",
            f"sharp; least {entry.across_corners_min:.3f}",
        ),
        ("height", f"{entry.height:.3f}", "mm", f"{entry.height_min:.3f} to {entry.height_max:.3f}"),
        ("least wrenching height", "-" if wrenching is None else f"{wrenching:.3f}", "mm", ""),
        ("thread diameter", f"{entry.diameter:.3f}", "mm", ""),
        (
            "opening",
            f"{limits.middle:.3f}",
            "mm",
            f"{limits.lower:.3f} (tight) to {limits.upper:.3f} (loose)",
        ),
    ]
    chamfer, ring = _chamfer(entry), _ring(entry)
    low, high = _circle(entry, chamfer)
    rows.append(
        ("chamfer circle", f"{high:.3f}", "mm", f"least {low:.3f}; {_angles(chamfer)}, {_faces(chamfer)}")
    )
    if ring is not None:
        rows.append(("ring outside", f"{ring.outside_diameter:.3f}", "mm", "largest"))
        rows.append(("ring thickness", f"{ring.thickness:.3f}", "mm", "largest"))
    say_table(rows)
    say(f"  source: {entry.source}; opening: {limits.source}")
    say(f"  chamfer: {chamfer.source}")
    say(f"  ring: {ring.source}" if ring is not None else "  ring: no standard has a row for this width")


def grade_rows(name: str) -> list[Grade]:
    """Return every row of a grade, from small to large diameters. Raises ContactFEError when unknown."""
    from contactfe.standards import grade

    rows = [grade(name)]
    while True:
        try:
            rows.append(grade(name, 1.0001 * rows[-1].diameter_to))
        except ContactFEError:
            return rows


def _say_grades(found: list[Grade]) -> None:
    rows = []
    for row in found:
        hardness = "-"
        if row.hardness_min is not None and row.hardness_max is not None:
            hardness = f"{row.hardness_min:g} to {row.hardness_max:g} {row.hardness_scale}"
        reach = f"{row.diameter_over:g} to {row.diameter_to:g}"
        rows.append(
            (
                row.name,
                reach,
                f"{row.yield_min:g}",
                f"{row.tensile_min:g}",
                "-" if row.yield_upper is None else f"{row.yield_upper:.0f}",
                row.upper_source or "-",
                hardness,
                row.material,
                row.source,
            )
        )
    say("strengths in MPa, diameters in mm (over, up to and including)")
    heads = ("grade", "diameter", "least yield", "least tensile", "likely upper yield", "from", "hardness")
    say_table(rows, (*heads, "material", "source"))
    say(
        "  upper yield by hardness: 3.2 MPa of tensile strength per HV at the upper hardness, yield in the ratio of"
    )
    say(
        "  the least strengths (rule of thumb, which the pairs of ISO 898-1 keep); typical: as the source says"
    )
