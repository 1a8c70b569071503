"""`contactfe compare`: estimates of a study against readings, and calibration of a constant on them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, file_problems, folder_problems
from contactfe.cli.output import (
    UNITS,
    Shown,
    say,
    say_json,
    say_table,
    say_wrapped,
    tell,
    told,
    torque,
    torque_unit,
)
from contactfe.errors import InputError

if TYPE_CHECKING:
    from contactfe.trial import CalibratedStudy, ComparedStudy

_FITS = ("factor", "friction", "both")


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "compare", help="Compare the estimates of a study with readings; --calibrate fits a constant to them."
    )
    def compare(
        study: Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study, with its [designs].")],
        readings: Annotated[Path, typer.Argument(metavar="READINGS.csv", help="What was measured.")],
        calibrate: Annotated[
            Path | None,
            typer.Option(
                "--calibrate", metavar="FILE.toml", help="Fit a constant and write it into this file."
            ),
        ] = None,
        constant: Annotated[
            str, typer.Option("--constant", metavar="factor|friction|both", help="What --calibrate fits.")
        ] = "factor",
        samples: Annotated[
            int, typer.Option("--samples", "-n", metavar="N", help="Samples of each band, a power of two.")
        ] = 16,
        workers: Annotated[
            int | None, typer.Option("--workers", metavar="N", min=1, max=61, help="Worker processes.")
        ] = None,
        out: Annotated[
            Path | None, typer.Option("--out", metavar="DIR", help="Write page, JSON and figures here.")
        ] = None,
        quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only results.")] = False,
        units: Annotated[Shown | None, UNITS] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        if constant not in _FITS:
            raise typer.BadParameter(f'"{constant}" cannot be fitted; write factor, friction or both')
        problems = folder_problems(out) if out is not None else []
        problems += file_problems(calibrate, (".toml",), "--calibrate") if calibrate is not None else []
        if problems:
            raise InputError(problems)
        from contactfe import trial
        from contactfe.files import write_text

        programme, found = trial.load_study(study), trial.read_readings(readings)
        watch = None if quiet else tell
        fitted = None
        if calibrate is not None:
            fitted = trial.calibrate_study(programme, found, constant, watch)
            write_text(calibrate, trial.calibration_text(fitted))
        compared = trial.compare(programme, found, samples, workers or cores(), watch)
        from contactfe.report import reading

        with reading(units or programme.units, [case.high_Nm for case in compared.cases]):
            if out is not None:
                _write(compared, fitted, out)
            if as_json:
                record = {"comparison": compared.to_dict()}
                say_json(record | {"calibration": None if fitted is None else _plain(fitted)})
                return
            _say(compared)
            if fitted is not None:
                _say_fitted(fitted, calibrate)


def _plain(fitted: CalibratedStudy) -> dict[str, Any]:
    own = fitted.found
    return {
        "constants": {
            f.path: {"value": f.value, "low": f.low, "high": f.high, "before": f.before} for f in own.fits
        },
        "readings": own.readings,
        "error_before": own.error_before,
        "error_after": own.error_after,
        "left_out": own.left_out,
        "model_sigma": own.model_sigma,
        "correlation": own.correlation,
        "singular_ratio": own.singular_ratio,
        "notes": list(own.notes),
    }


def _write(found: ComparedStudy, fitted: CalibratedStudy | None, out: Path) -> None:
    from contactfe.files import make_folder, write_text
    from contactfe.report import parity_figure, profile_figure, readings_page, save

    make_folder(out)
    record = {"comparison": found.to_dict(), "calibration": None if fitted is None else _plain(fitted)}
    write_text(out / "comparison.json", json.dumps(record, indent=1) + "\n")
    figures = [("parity", parity_figure(found))]
    if fitted is not None:
        figures.append(("profile", profile_figure(fitted.found)))
    readings_page(found, __version__, figures, fitted).write(out / "comparison.html")
    for name, figure in figures:
        save(figure, out / f"{name}.png")
    tell(f"written: {out}")


def _say(found: ComparedStudy) -> None:
    say(f"{found.name}: estimate against measurement")
    rows = [
        (c.design, told(c.condition.words()), torque(c.estimate_Nm), torque(c.low_Nm), torque(c.high_Nm), torque(c.measured_Nm),
         str(len(c.readings)), f"{100 * c.error:+.1f}", f"{100 * c.u_val:.1f}", str(len(c.outside) or "-"), f"{c.area:.3f}")
        for c in found.cases
    ]  # fmt: skip
    heads = (
        "design",
        "condition",
        f"estimate {torque_unit()}",
        "10 %",
        "90 %",
        "measured",
        "readings",
        "E %",
        "u_val %",
        "outside",
        "area",
    )
    say_table(rows, heads)
    spread = "" if found.spread is None else f", spread {100 * found.spread:.1f} %"
    say_wrapped(
        f"bias {100 * found.bias:+.1f} %{spread}; chi-square {found.chi_square:.3g} on {len(found.cases)} (probability "
        f"{found.probability:.2g}); area metric of u = F(y) {found.pooled_area:.3g}"
    )
    for condition, rho in found.ranks:
        if rho is not None:
            say_wrapped(f"{told(condition.words())}: rank agreement of the designs {rho:+.2f} (Spearman)")
    for c in found.cases:
        if c.explanations:
            change = "; or ".join(e.words + ("" if e.usual else " (unusual)") for e in c.explanations)
            say_wrapped(
                told(
                    f"{c.design} on {c.condition.words()}, {100 * c.error:+.1f} %: {change} would bring it to the readings"
                )
            )
    for note in found.notes:
        say_wrapped(told(note))


def _say_fitted(fitted: CalibratedStudy, file: Path | None) -> None:
    own = fitted.found
    for fit in own.fits:
        say(
            f"fitted {fit.path} = {fit.value:.4g} (95 %: {fit.low:.4g} to {fit.high:.4g}), before {fit.before:.4g}"
        )
    left = "" if own.left_out is None else f", {100 * own.left_out:.1f} % for conditions that were left out"
    say_wrapped(
        f"error of {own.readings} readings {100 * own.error_before:.1f} % before, {100 * own.error_after:.1f} % after{left}"
    )
    say_wrapped(
        f"bands of cases that take this file have {100 * own.model_sigma:.1f} % for the model's own error"
    )
    if own.correlation is not None:
        say_wrapped(
            f"correlation of the two {own.correlation:+.3f}, ratio of the singular values {own.singular_ratio:.3g}"
        )
    if fitted.left_aside:
        say_wrapped(f"{fitted.left_aside} readings are only at least and were not fitted")
    for note in own.notes:
        say_wrapped(note)
    say(f'written: {file}; a case takes it by calibration = "{file}"')
