"""`contactfe turn`: one case from its file to a table, JSON, and a folder of results."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from contactfe import __version__
from contactfe.cli.checks import checked_case, cores, folder_problems, read_case
from contactfe.cli.head import say_head
from contactfe.cli.output import (
    UNITS,
    Shown,
    number,
    said_first,
    say,
    say_json,
    say_table,
    say_wrapped,
    tell,
    tell_page,
    told,
)
from contactfe.errors import InputError, Problem

if TYPE_CHECKING:
    from contactfe.case import CaseRecord
    from contactfe.inputs import CaseInput, Field
    from contactfe.report import CaseMore, Units
    from contactfe.uncertainty import Band

Picture = Literal["png", "svg", "pdf"]

_ABSENT = {"across_flats": "across_flats_nominal", "corner": "corner_radius"}
"""Keys of a case file that the record writes under another name."""


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "turn", help="Solve one case: the torque that the pair delivers, what ends it, and every limit."
    )
    def turn(
        case: Annotated[
            Path, typer.Argument(metavar="CASE.toml", help="The case; `contactfe init` writes one.")
        ],
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="DIR", help="Write JSON, curve, fields and figures into this folder."
            ),
        ] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
        samples: Annotated[
            int | None,
            typer.Option(
                "--band",
                metavar="N",
                min=2,
                help="Also the band of the torque from N samples, such as 128.",
            ),
        ] = None,
        pulls: Annotated[
            int | None,
            typer.Option(
                "--pulls",
                metavar="N",
                min=1,
                max=20,
                help="Pulls on the same corners, one after the other; in the file [load] pulls.",
            ),
        ] = None,
        calibration: Annotated[
            Path | None,
            typer.Option("--calibration", metavar="FILE", help="Constants that compare --calibrate wrote."),
        ] = None,
        kind: Annotated[Picture, typer.Option("--format", help="Of the pictures that --out writes.")] = "png",
        units: Annotated[Shown, UNITS] = "si",
    ) -> None:
        problems = folder_problems(out) if out is not None else []
        raw, checked = (
            checked_case(case, problems, calibration)
            if samples is None
            else _plain_case(read_case(case, calibration), case, problems)
        )
        from contactfe.case import solve_case

        record = solve_case(checked)
        asked = None if samples is None else _band(read_case(case, calibration), case, samples)
        more = _more(record, checked.load.pulls if pulls is None else pulls, asked)
        with said_first():
            if as_json:
                say_json(record.to_dict(__version__) | more.to_dict(__version__))
            else:
                from contactfe.report import reading

                with reading(units, [record.torque_Nm]):
                    _say_record(record, raw, units)
                    _say_more(more)
        if out is not None:
            _write(record, out, kind, units, more)


def _more(record: CaseRecord, pulls: int, band: Band | None) -> CaseMore:
    """The band and the further pulls that were asked for."""
    from contactfe.report import CaseMore

    if pulls == 1:
        return CaseMore(band)
    from contactfe.case import solve_pulls

    return CaseMore(band, solve_pulls(record.built.case, pulls, record))


def _say_more(more: CaseMore) -> None:
    if more.pulls is not None:
        from contactfe.cli.pulls import say_pulls

        say_pulls(more.pulls)
    if more.band is not None:
        from contactfe.cli.band import say_band

        say_band(more.band)


def _plain_case(
    raw: dict[str, Any], path: Path, problems: Sequence[Problem]
) -> tuple[dict[str, Any], CaseInput]:
    """Return the raw tables and the case of a file whose inputs may be distributions, at their middles."""
    from contactfe.uncertainty import split_case

    try:
        uncertain = split_case(raw, source=str(path), folder=path.parent, name=path.stem)
    except InputError as error:
        raise InputError([*error.problems, *problems], source=str(path), slug=error.slug) from error
    if problems:
        raise InputError(problems, source=str(path))
    return dict(uncertain.base), uncertain.case


def _band(raw: dict[str, Any], path: Path, samples: int) -> Band:
    from contactfe.cli.band import band_of

    return band_of(raw, path.parent, samples, 1, cores())


def _write(record: CaseRecord, out: Path, kind: str, units: Units, more: CaseMore) -> None:
    """Write the folder; a picture that fails is an error only after everything else is there."""
    from contactfe.report import check_drawn, write_case_folder

    written = write_case_folder(record, out, __version__, kind, units, more)
    tell(f"written: {out} ({', '.join(sorted(path.name for path in written.paths))})")
    tell_page(out / "case.html")
    check_drawn(written.failures, str(out))


def _say_record(record: CaseRecord, raw: dict[str, Any], units: Units) -> None:
    """Print the answers first, then what limits them, then how they came about."""
    say_head(record, units)
    if record.limits:
        say()
        say("further answers")
        say_table(_answers(record, units))
    say()
    say("cautions")
    for caution in record.cautions():
        say_wrapped(told(caution))
    say(f"audit: {_audit(record)}")
    say(f"mesh: {_mesh(record)}")
    say("inputs not in the file, by rule")
    say_table(defaults_used(record.built.case, raw))


def _answers(record: CaseRecord, units: Units) -> list[tuple[str, str, str]]:
    """The answers beside the limits as rows of name, value and unit."""
    from contactfe.report import console, shown

    a = record.answers()
    share = ", ".join(f"{100.0 * part:.0f}" for part in record.estimate.load_share)
    asked = (
        ("onset of slip", "onset_torque_Nm", "N·m", f"at {number(a['onset_rotation_deg'], 3)} deg"),
        ("free play", "free_play_deg", "deg", "from square, each way"),
        ("jaw spread", "jaw_spread_um_per_Nm", "µm per N·m", ""),
        ("flank pressure", "flank_pressure_MPa_per_Nm", "MPa per N·m", "on the most loaded flat"),
        ("flank stress", "flank_stress_MPa_per_Nm", "MPa per N·m", "von Mises, along the opening"),
        ("crushed at slip", "crushed_length_mm", "mm", "of all flats together"),
        ("crush depth", "crush_depth_um", "µm", "at the deepest place"),
    )
    rows = []
    for name, key, unit, note in asked:
        text, shown_unit = ("-", unit) if a[key] is None else shown(float(a[key]), unit, units)
        rows.append((name, text, f"{console(shown_unit)}{f'    {note}' if note else ''}".replace("µ", "u")))
    return [*rows, ("load share", "", f"%    of each flat at slip, anticlockwise: {share}")]


def _audit(record: CaseRecord) -> str:
    from dataclasses import asdict

    audit = record.curve.audit
    verdict = "passed" if audit.passed() else "FAILED"
    return (
        f"{verdict} (" + ", ".join(f"{k.replace('_', ' ')} {v:.0e}" for k, v in asdict(audit).items()) + ")"
    )


def _mesh(record: CaseRecord) -> str:
    parts = []
    for name, body in (("fastener", record.built.fastener), ("wrench", record.built.wrench)):
        q = body.mesh.quality()
        parts.append(f"{name} {q.triangles} triangles, smallest angle {q.smallest_angle_deg:.0f} deg")
    return "; ".join(parts)


def defaults_used(case: CaseInput, raw: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Return every input that the file leaves out as (place, value, rule), in the order of the field list."""
    from contactfe.inputs import FIELDS, to_dict

    record, found = to_dict(case), []
    for field in FIELDS:
        given = raw.get(field.table, {})
        if not field.table or field.name in given:
            continue
        value = record[field.table].get(_ABSENT.get(field.name, field.name))
        if value is None or (field.name == "points" and case.wrench.profile != "flare-nut"):
            continue
        if field.name == "outline" or (field.name == "across_flats" and "size" not in given):
            continue
        found.append((field.where, str(value), _rule(case, field)))
    return found


def _rule(case: CaseInput, field: Field) -> str:
    """Return in words why an input that was not given has its value."""
    return case.origins.get(field.path) or field.rule or "default"
