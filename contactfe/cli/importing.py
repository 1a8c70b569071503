"""`contactfe import`: a drawing read, measured and judged, and written as an outline that a case can name."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe.cli.checks import file_problems
from contactfe.cli.output import say, say_json, say_table, say_wrapped, tell
from contactfe.errors import ContactFEError, InputError, Problem

if TYPE_CHECKING:
    from contactfe.outlines import Findings, ImportedOutline, ImportOptions

INCH = 25.4
_HELP = "Read an outline from a drawing (DXF, SVG, CSV of points, outline TOML) and write it for a case."


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command("import", help=_HELP)
    def import_(
        drawing: Annotated[
            Path, typer.Argument(metavar="FILE", help="The drawing: .dxf, .svg, .csv or .toml.")
        ],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE.toml", help="Outline to write. Default: FILE.toml in this folder."
            ),
        ] = None,
        picture: Annotated[
            Path | None,
            typer.Option(
                "--picture", metavar="FILE", help="Picture, .png or .svg. Default: beside the outline."
            ),
        ] = None,
        unit: Annotated[
            str | None,
            typer.Option("--unit", metavar="UNIT", help="Unit of the drawing: mm, cm, m, in, ft, px, pt."),
        ] = None,
        layer: Annotated[
            list[str] | None,
            typer.Option("--layer", metavar="NAME", help="Layer of the outline; may be repeated."),
        ] = None,
        body: Annotated[str, typer.Option("--body", metavar="BODY", help="wrench or fastener.")] = "wrench",
        size: Annotated[
            str | None,
            typer.Option("--size", metavar="SIZE", help='Fastener to try in the opening, such as "M10".'),
        ] = None,
        axis: Annotated[
            str | None, typer.Option("--axis", metavar="X,Y", help="The fastener's axis in the drawing, mm.")
        ] = None,
        name: Annotated[
            list[str] | None,
            typer.Option(
                "--name", metavar="X,Y=NAME", help="Name of the edge nearest to a place, mm; may be repeated."
            ),
        ] = None,
        fit: Annotated[
            str, typer.Option("--fit", metavar="LENGTH", help="How far arcs may lie from a curve.")
        ] = "0.001 mm",
        snap: Annotated[
            str, typer.Option("--snap", metavar="LENGTH", help="Widest gap that is closed.")
        ] = "0.01 mm",
        smooth: Annotated[
            bool, typer.Option("--smooth", help="Fit loops of short lines by arcs; corners stay.")
        ] = False,
        edge_radius: Annotated[
            str | None,
            typer.Option("--edge-radius", metavar="LENGTH", help="Round every sharp edge of the material."),
        ] = None,
        cut: Annotated[
            str | None,
            typer.Option("--cut", metavar="LENGTH", help="Cut the handle off this far from the axis."),
        ] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print the findings as JSON on stdout.")
        ] = False,
    ) -> None:
        outline = out or Path(f"{drawing.stem}.toml")
        figure = picture or outline.with_suffix(".png")
        problems = [
            *file_problems(outline, (".toml",)),
            *file_problems(figure, (".png", ".svg"), "--picture"),
        ]
        if outline.resolve() == drawing.resolve():
            problems.append(Problem("--out", f"{outline} is the drawing itself", "name another file"))
        given = {"fit": fit, "snap": snap, "edge_radius": edge_radius, "cut": cut}
        words = {
            "body": body,
            "unit": unit,
            "axis": axis,
            "name": name or [],
            "layer": layer or [],
            "smooth": smooth,
        }
        options = _options(given, words, problems)
        fastener = _fastener(size, problems)
        if problems or options is None:
            raise InputError(problems, source=str(drawing))
        _run(drawing, options, (outline, figure), (size, fastener), as_json)


def _options(
    lengths: dict[str, str | None], words: dict[str, Any], problems: list[Problem]
) -> ImportOptions | None:
    """The options as numbers; what cannot be read goes to `problems`."""
    from contactfe.outlines import UNITS, ImportOptions
    from contactfe.units import parse_quantity

    values: dict[str, float] = {}
    for key, text in lengths.items():
        option = f"--{key.replace('_', '-')}"
        try:
            value = parse_quantity(text, "length") if text is not None else 0.0
        except ContactFEError as error:
            problems.append(Problem(option, error.message, error.hint))
            continue
        least = 1e-6 if key == "fit" else 0.0
        if not least <= value <= 500.0 or (key in ("fit", "snap") and value > 1.0):
            problems.append(Problem(option, f'"{text}" is out of range', 'write a length such as "0.01 mm"'))
        values[key] = value
    if words["body"] not in ("wrench", "fastener"):
        problems.append(Problem("--body", f'"{words["body"]}" is not known', "write wrench or fastener"))
    if words["unit"] is not None and words["unit"] not in UNITS:
        problems.append(Problem("--unit", f'"{words["unit"]}" is not known', f"known: {', '.join(UNITS)}"))
    axis = _place(words["axis"], "--axis", problems) if words["axis"] is not None else None
    names = []
    for text in words["name"]:
        place, equals, name = text.partition("=")
        if not equals:
            problems.append(Problem("--name", f'"{text}" names nothing', 'write --name "8.1,0=flank"'))
            continue
        at = _place(place, "--name", problems)
        if at is not None:
            names.append((at, name.strip()))
    if problems:
        return None
    return ImportOptions(
        words["body"], words["unit"], tuple(words["layer"]), axis, tuple(names), values["fit"], values["snap"],
        words["smooth"], values["edge_radius"], values["cut"],
    )  # fmt: skip


def _place(text: str, option: str, problems: list[Problem]) -> tuple[float, float] | None:
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (abs(x) < 1e7 and abs(y) < 1e7):
        problems.append(Problem(option, f'"{text}" is not a place', 'write two numbers in mm: "12.5,-3"'))
        return None
    return x, y


def _fastener(size: str | None, problems: list[Problem]) -> Any:
    """The outline of a named fastener with a flat towards +x, None without a name."""
    if size is None:
        return None
    from contactfe.inputs import parse_case
    from contactfe.profile import fastener_outline

    raw = {"format": 1, "fastener": {"size": size, "grade": "8.8"}, "wrench": {"profile": "ring-six"}}
    try:
        return fastener_outline(parse_case(raw).fastener)
    except InputError as error:
        problems += [Problem("--size", p.message, p.hint) for p in error.problems[:1]]
        return None


def _run(
    drawing: Path,
    options: ImportOptions,
    files: tuple[Path, Path],
    fit: tuple[str | None, Any],
    as_json: bool,
) -> None:
    """Read, write and tell; a drawing that gives no outline is drawn with its faults marked."""
    from contactfe.outlines import DrawingFaults, findings, import_outline
    from contactfe.profile import write_outline

    outline, figure = files
    try:
        found = import_outline(drawing, options)
    except DrawingFaults as faults:
        _draw_faults(faults, drawing, figure)
        raise
    facts = findings(found, fit[1])
    title = f"Outline of a {found.body}, read from {drawing.name}."
    write_outline(
        outline, found.outline, found.body, first_flat=found.first_flat, flats=found.flats or 6, title=title
    )
    if as_json:
        say_json(_plain(found, facts))
    else:
        _say(drawing, found, facts, fit[0])
        _say_use(outline, found.body)
    tell(f"written: {outline}")
    _draw(found, title, figure)


def _draw(found: ImportedOutline, title: str, figure: Path) -> None:
    from contactfe.report import imported_figure, save

    save(imported_figure(found, title), figure)
    tell(f"written: {figure}")


def _draw_faults(faults: Any, drawing: Path, figure: Path) -> None:
    """Draw the faults where there is something to be drawn; a picture that fails costs no message."""
    if not faults.pieces:
        return
    from contactfe.report import faults_figure, save

    marked = figure.with_name(f"{figure.stem}-faults{figure.suffix}")
    try:
        save(faults_figure(faults, f"What is wrong with {drawing.name}"), marked)
        tell(f"written: {marked} (the faults, marked)")
    except (ContactFEError, ValueError, OSError) as error:
        tell(f"no picture of the faults: {error}")


def _say(drawing: Path, found: ImportedOutline, facts: Findings, size: str | None) -> None:
    width, height = facts.size
    say(f"{drawing.name}: outline of a {found.body}")
    rows = [
        ("unit", f"{found.unit} (stated by {found.stated})"),
        (
            "size over all",
            f"{width:.4f} x {height:.4f} mm ({width / INCH:.4f} x {height / INCH:.4f} in)",
        ),
        ("area of the material", f"{facts.area:.4f} mm2"),
        (
            "width of the opening" if found.body == "wrench" else "width across flats",
            f"{found.width:.4f} mm ({found.width / INCH:.4f} in)",
        ),
        ("a flat looks to", f"{math.degrees(found.first_flat):.4g} deg"),
    ]
    if facts.handle is not None:
        rows.append(("handle towards", f"{math.degrees(facts.handle):.4g} deg"))
    if found.turned:
        rows.append(
            ("drawing turned by", f"{math.degrees(found.turned):.4g} deg, so that its mouth looks along x")
        )
    rows += _fit_rows(facts, size)
    rows.append(("edges", ", ".join(f"{count} {name}" for name, count in sorted(facts.names.items()))))
    say_table(rows)
    header = (
        "loop",
        "closed",
        "pieces",
        "arcs",
        "least radius mm",
        "area mm2",
        "perimeter mm",
        "runs",
        "repeats",
        "mirror",
    )
    say_table(
        [
            (
                f.what,
                "yes",
                str(f.pieces),
                str(f.arcs),
                f"{f.smallest_radius:.4g}" if f.arcs else "-",
                f"{f.area:.3f}",
                f"{f.perimeter:.3f}",
                f.turn,
                f"{f.fold}-fold" if f.fold > 1 else "no",
                "-" if f.mirror is None else f"{math.degrees(f.mirror):.4g} deg",
            )
            for f in facts.loops
        ],
        header,
    )
    for gap in found.gaps[:8]:
        say_wrapped(f"gap of {gap.width:.4g} mm closed near ({gap.at[0]:.3f}, {gap.at[1]:.3f}) mm")
    for note in found.notes:
        say_wrapped(note)


def _fit_rows(facts: Findings, size: str | None) -> list[tuple[str, str]]:
    if size is None:
        return []
    if facts.fit is None:
        return [(f"on {size}", facts.fit_problem or "no opening to try it in")]
    fit = facts.fit
    return [
        (f"free play on {size}, new and sharp", f"{math.degrees(fit.free_play):.3f} deg in all"),
        (
            "swing to re-engage",
            f"{math.degrees(fit.swing):.3g} deg; turned over after each stroke {math.degrees(fit.swing_over):.3g} deg",
        ),
    ]


def _say_use(outline: Path, body: str) -> None:
    key = "profile" if body == "wrench" else "shape"
    more = ', thickness = "..."' if body == "wrench" else ""
    say_wrapped(f'in a case: [{body}] {key} = "outline", outline = "{outline.name}"{more}')


def _plain(found: ImportedOutline, facts: Findings) -> dict[str, Any]:
    degrees = math.degrees
    fit = facts.fit
    return {
        "body": found.body,
        "unit": found.unit,
        "unit_stated_by": found.stated,
        "size_mm": list(facts.size),
        "size_in": [v / INCH for v in facts.size],
        "area_mm2": facts.area,
        "width_mm": found.width,
        "first_flat_deg": degrees(found.first_flat),
        "handle_deg": None if facts.handle is None else degrees(facts.handle),
        "turned_deg": degrees(found.turned),
        "axis_mm": list(found.axis),
        "free_play_deg": None if fit is None else degrees(fit.free_play),
        "swing_deg": None if fit is None else degrees(fit.swing),
        "swing_turned_over_deg": None if fit is None else degrees(fit.swing_over),
        "edges": facts.names,
        "loops": [asdict(loop) for loop in facts.loops],
        "gaps": [asdict(gap) for gap in found.gaps],
        "notes": list(found.notes),
        "layers": dict(found.layers),
    }
