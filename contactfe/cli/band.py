"""`contactfe band`: how far the torque scatters, what the odds are, and which input to measure first."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, folder_problems, read_case
from contactfe.cli.output import say, say_json, say_table, say_wrapped, tell
from contactfe.errors import ContactFEError, InputError, Problem
from contactfe.files import csv_text, make_folder, write_text

if TYPE_CHECKING:
    from contactfe.uncertainty import Band, Comparison, Crossover, Sensitivity

MODEL_CAUTION = (
    "the model's own error is a judgement until a calibration on readings takes its place; what ends a sample is told "
    "without it"
)
TOLD_EVERY = 5.0  # s between two lines of progress


@dataclass(frozen=True)
class _Answers:
    """What one run of the command found."""

    band: Band
    shares: Sensitivity | None
    comparison: Comparison | None
    crossover: Crossover | None
    target_Nm: float | None


_OUT = typer.Option("--out", metavar="DIR", help="Write JSON, samples and figures into this folder.")
_JSON = typer.Option("--json", help="Print JSON, and nothing else, on stdout.")


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "band", help="How far does the torque scatter, what are the odds, and what to measure first?"
    )
    def band(
        case: Annotated[
            Path,
            typer.Argument(
                metavar="CASE.toml", help="The case; inputs may be { low = ..., high = ... } and so on."
            ),
        ],
        against: Annotated[
            Path | None,
            typer.Option("--against", metavar="OTHER.toml", help="Another case, tried on the same samples."),
        ] = None,
        samples: Annotated[
            int, typer.Option("--samples", "-n", metavar="N", help="Samples, a power of two.")
        ] = 128,
        seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same samples.")] = 1,
        below: Annotated[
            str | None,
            typer.Option(
                "--below", metavar="TORQUE", help='Odds of ending below a torque, such as "60 N*m".'
            ),
        ] = None,
        calibration: Annotated[
            Path | None,
            typer.Option("--calibration", metavar="FILE", help="Constants that compare --calibrate wrote."),
        ] = None,
        crossing: Annotated[
            str | None,
            typer.Option(
                "--crossover",
                metavar="ROUNDINGS",
                help='With --against: where the ranking changes, such as "0 %, 20 %, 40 %".',
            ),
        ] = None,
        workers: Annotated[
            int | None,
            typer.Option(
                "--workers", metavar="N", min=1, max=61, help="Worker processes. Default: one per core."
            ),
        ] = None,
        out: Annotated[Path | None, _OUT] = None,
        as_json: Annotated[bool, _JSON] = False,
    ) -> None:
        problems = folder_problems(out) if out is not None else []
        if crossing is not None and against is None:
            raise typer.BadParameter("--crossover needs a second case: --against OTHER.toml")
        target = _torque(below, problems)
        raw = _read(case, problems, calibration)
        other = None if against is None else _read(against, [], calibration)
        how = (samples, seed, workers or cores())
        answers = _solve((raw, case.parent), (other, against), how, (target, crossing))
        if out is not None:
            _write(answers, out)
        if as_json:
            say_json(_record(answers))
        else:
            _say(answers)


def band_of(raw: dict[str, Any], folder: Path, samples: int, seed: int, workers: int) -> Band:
    """The band of a case for other commands, with progress on stderr."""
    from contactfe.uncertainty import band

    return band(raw, samples, seed, workers, folder=folder, watch=progress())


def say_band(found: Band) -> None:
    """Print a band in a few lines, for other commands: the band, the odds, and what to measure first."""
    from contactfe.uncertainty import band_words, ends_words, inputs_words, sensitivity

    say(f"band of {found.samples} samples, seed {found.seed}")
    say_wrapped(band_words(found))
    say_wrapped(inputs_words(found))
    say_wrapped(ends_words(found))
    _say_plain(found)
    _say_odds(found, None)
    if found.inputs:
        shares = sensitivity(found)
        say_wrapped(shares.sentence())
        if words := shares.group_sentence():
            say_wrapped(words)
    for caution in found.cautions:
        say_wrapped(caution)


def progress() -> Callable[[int, int], None]:
    """Return what tells on stderr how many curves are solved, every few seconds."""
    last = [time.monotonic()]

    def told(done: int, total: int) -> None:
        if time.monotonic() - last[0] > TOLD_EVERY:
            last[0] = time.monotonic()
            tell(f"solved: {done} of {total} curves")

    return told


def _torque(text: str | None, problems: list[Problem]) -> float | None:
    from contactfe.units import parse_quantity

    if text is None:
        return None
    try:
        return parse_quantity(text, "torque") / 1000.0
    except ContactFEError as error:
        problems.append(Problem("--below", error.message, error.hint))
        return None


def _read(path: Path, problems: Sequence[Problem], calibration: Path | None = None) -> dict[str, Any]:
    """Raw tables of a case file that is in order; its name where it says none."""
    from contactfe.uncertainty import split_case

    raw = read_case(path, calibration)
    try:
        split_case(raw, str(path), folder=path.parent, name=path.stem)
    except InputError as error:
        raise InputError([*error.problems, *problems], source=str(path), slug=error.slug) from error
    if problems:
        raise InputError(problems, source=str(path))
    return {**raw, "name": raw.get("name", path.stem)}


def _solve(
    first: tuple[dict[str, Any], Path],
    second: tuple[dict[str, Any] | None, Path | None],
    how: tuple[int, int, int],
    asked: tuple[float | None, str | None],
) -> _Answers:
    from contactfe.uncertainty import Sampling, compare, crossover, sensitivity

    (raw, folder), (other, path), (samples, seed, workers) = first, second, how
    target, crossing = asked
    if other is None or path is None:
        found = band_of(raw, folder, samples, seed, workers)
        return _Answers(found, sensitivity(found) if found.inputs else None, None, None, target)
    if path.parent.resolve() != folder.resolve() and "outline" in {
        **other.get("wrench", {}),
        **raw.get("wrench", {}),
    }:
        raise ContactFEError(
            "cases with drawn outlines stand in one folder", where=str(path), slug="band-folder"
        )
    sampling = Sampling(samples, seed, workers, folder, progress())
    both = compare(raw, other, sampling)
    crossed = None
    if crossing is not None:
        values = [text.strip() for text in crossing.split(",")]
        # One curve per value, sample and case: a quarter of the samples keeps the time in bounds.
        fewer = Sampling(max(2, samples // 4), seed, workers, folder, progress())
        crossed = crossover(raw, other, values, how=fewer)
    return _Answers(both.first, sensitivity(both.first) if both.first.inputs else None, both, crossed, target)


def _record(found: _Answers) -> dict[str, Any]:
    from contactfe.uncertainty import band_record, comparison_record, crossover_record

    record = band_record(found.band, __version__, found.shares, found.target_Nm)
    if found.comparison is not None:
        record["comparison"] = comparison_record(found.comparison, __version__)
    if found.crossover is not None:
        record["crossover"] = crossover_record(found.crossover, __version__)
    return record


def _write(found: _Answers, out: Path) -> None:
    from contactfe.report import band_figures, save

    # The answers first: a picture that fails costs no answer.
    make_folder(out)
    write_text(out / "band.json", json.dumps(_record(found), indent=1) + "\n")
    _write_samples(found.band, out / "samples.csv")
    figures = band_figures(found.band, found.comparison, found.crossover, found.target_Nm)
    for name, figure in figures.items():
        save(figure, out / name)
    tell(f"written: {out} ({', '.join(sorted([*figures, 'band.json', 'samples.csv']))})")


def _write_samples(found: Band, path: Path) -> None:
    from contactfe.uncertainty import column_values

    columns = column_values(found)
    write_text(path, csv_text(tuple(columns), zip(*columns.values(), strict=True)))


def _say(found: _Answers) -> None:
    from contactfe.uncertainty import (
        band_words,
        comparison_words,
        crossover_words,
        ends_words,
        inputs_words,
    )

    band = found.band
    say(band.name)
    rule = "by rule, for the file names no distribution" if band.by_rule else "as the file says"
    say(f"what scatters, {rule}")
    say_table([(item.label, item.words()) for item in band.inputs])
    say(f"band of {band.samples} samples, seed {band.seed}")
    say_wrapped(band_words(band))
    say_wrapped(inputs_words(band))
    say_wrapped(ends_words(band))
    _say_plain(band)
    _say_odds(band, found.target_Nm)
    if found.shares is not None:
        _say_shares(band, found.shares)
    if found.comparison is not None:
        say("against the other case, on the same samples")
        say_wrapped(comparison_words(found.comparison))
    if found.crossover is not None:
        say_wrapped(crossover_words(found.crossover))
    say("cautions")
    for caution in (*band.cautions, MODEL_CAUTION):
        say_wrapped(caution)


def _say_plain(found: Band) -> None:
    from contactfe.uncertainty import plain_words

    if words := plain_words(found):
        say_wrapped(words)


def _say_odds(found: Band, target: float | None) -> None:
    from contactfe.uncertainty import statements

    say("odds, with the interval that the number of samples leaves open (95 %)")
    rows = []
    for what, odds, why in statements(found, target):
        rows.append((what, odds.words() if odds is not None else f"not known: {why}"))
    say_table(rows)


def _say_shares(found: Band, shares: Sensitivity) -> None:
    from contactfe.uncertainty import label_of

    say("what each input moves (N m), alone from 10 % to 90 %; and its share of the inputs' variance")
    single = {item.path: (f"{item.low_Nm:.4g}", f"{item.high_Nm:.4g}") for item in found.one_at_a_time}
    rows = [
        (
            label_of(share.path),
            *single.get(share.path, ("-", "-")),
            f"{100 * share.first:.0f} %",
            f"{100 * share.total:.0f} %",
            f"{share.band_if_known_Nm:.3g}",
        )
        for share in shares.shares
    ]
    say_table(rows, ("input", "at 10 %", "at 90 %", "alone", "with others", "band if known"))
    say_wrapped(shares.sentence())
    if words := shares.group_sentence():
        say_wrapped(words)
    say_wrapped(
        f"shares by a polynomial of degree {shares.degree} fitted to the samples, leave-one-out error "
        f"{shares.error_Nm:.2g} N m ({100 * shares.explained:.1f} % of the variance explained)"
    )
