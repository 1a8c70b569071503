"""`contactfe sizes` and `contactfe grades`: the tables of standards in the package, with sources."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from contactfe.cli.output import say, say_json, say_table
from contactfe.errors import ContactFEError

if TYPE_CHECKING:
    from contactfe.standards import Grade, HexSize, OpeningLimits


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
            say_json([asdict(entry) | {"opening": asdict(_opening(entry))} for entry in found])
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
            say_json([asdict(row) for row in found])
        else:
            _say_grades(found)


def _opening(entry: HexSize) -> OpeningLimits:
    from contactfe.standards import opening_limits

    return opening_limits(entry.across_flats, entry.inch)


def _say_sizes(found: list[HexSize]) -> None:
    rows = []
    for entry in found:
        limits = _opening(entry)
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
                entry.source,
            )
        )
    say("lengths in mm: s across flats, e across corners, k height; opening of the wrench")
    say_table(rows, ("size", "s", "least s", "least e", "k", "tight", "middle", "loose", "source"))
    for source in sorted({_opening(entry).source for entry in found if not entry.name.endswith("nut")}):
        say(f"  openings: {source}")


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
    say_table(rows)
    say(f"  source: {entry.source}; opening: {limits.source}")


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
                hardness,
                row.material,
                row.source,
            )
        )
    say("strengths in MPa, diameters in mm (over, up to and including)")
    say_table(rows, ("grade", "diameter", "least yield", "least tensile", "hardness", "material", "source"))
