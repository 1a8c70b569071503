"""`contactfe band`: how far the torque scatters, what the odds are, and which input to measure first."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from contactfe import __version__
from contactfe.cli.checks import cores, folder_problems, read_case
from contactfe.cli.output import (
    UNITS,
    Shown,
    said_first,
    say,
    say_json,
    say_table,
    say_wrapped,
    tell,
    tell_page,
    told,
)
from contactfe.errors import ContactFEError, InputError, Problem

if TYPE_CHECKING:
    from contactfe.report import BandAnswers
    from contactfe.uncertainty import Band, Sensitivity

Picture = Literal["png", "svg", "pdf"]

MODEL_CAUTION = (
    "the model's own error is a judgement until a calibration on readings takes its place; what ends a sample is told "
    "without it"
)
TOLD_EVERY = 5.0  # s between two lines of progress


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
        kind: Annotated[Picture, typer.Option("--format", help="Of the pictures that --out writes.")] = "png",
        units: Annotated[Shown, UNITS] = "si",
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
        with said_first():
            if as_json:
                from contactfe.report import band_answers_record

                say_json(band_answers_record(answers, __version__))
            else:
                from contactfe.report import reading

                with reading(units, answers.band.torque_Nm[answers.band.known].tolist()):
                    _say(answers)
        if out is not None:
            _write(answers, out, kind, units)


def band_of(raw: dict[str, Any], folder: Path, samples: int, seed: int, workers: int) -> Band:
    """The band of a case for other commands, with progress on stderr."""
    from contactfe.uncertainty import band

    return band(raw, samples, seed, workers, folder=folder, watch=progress())


def say_band(found: Band) -> None:
    """Print a band in a few lines, for other commands: the band, the odds, and what to measure first."""
    from contactfe.uncertainty import band_words, ends_words, inputs_words, sensitivity

    say(f"band of {found.samples} samples, seed {found.seed}")
    say_wrapped(told(band_words(found)))
    say_wrapped(told(inputs_words(found)))
    say_wrapped(ends_words(found))
    _say_plain(found)
    _say_odds(found, None)
    if found.inputs:
        shares = sensitivity(found)
        say_wrapped(told(shares.sentence()))
        if words := shares.group_sentence():
            say_wrapped(words)
    for caution in found.cautions:
        say_wrapped(told(caution))


def progress() -> Callable[[int, int], None]:
    """Return what tells on stderr how many curves are solved, every few seconds."""
    last = [time.monotonic()]

    def watch(done: int, total: int) -> None:
        if time.monotonic() - last[0] > TOLD_EVERY:
            last[0] = time.monotonic()
            tell(f"solved: {done} of {total} curves")

    return watch


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
) -> BandAnswers:
    from contactfe.report import BandAnswers
    from contactfe.uncertainty import Sampling, compare, crossover, sensitivity

    (raw, folder), (other, path), (samples, seed, workers) = first, second, how
    target, crossing = asked
    if other is None or path is None:
        found = band_of(raw, folder, samples, seed, workers)
        return BandAnswers(found, sensitivity(found) if found.inputs else None, None, None, target)
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
    return BandAnswers(
        both.first, sensitivity(both.first) if both.first.inputs else None, both, crossed, target
    )


def _write(found: BandAnswers, out: Path, kind: str, units: Shown) -> None:
    """Write the folder; a picture that fails is an error only after everything else is there."""
    from contactfe.report import check_drawn, write_band_folder

    written = write_band_folder(found, out, __version__, kind, units)
    tell(f"written: {out} ({', '.join(sorted(path.name for path in written.paths))})")
    tell_page(out / "band.html")
    check_drawn(written.failures, str(out))


def _say(found: BandAnswers) -> None:
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
    say_table([(item.label, told(item.words())) for item in band.inputs])
    say(f"band of {band.samples} samples, seed {band.seed}")
    say_wrapped(told(band_words(band)))
    say_wrapped(told(inputs_words(band)))
    say_wrapped(ends_words(band))
    _say_plain(band)
    _say_odds(band, found.target_Nm)
    if found.shares is not None:
        _say_shares(band, found.shares)
    if found.comparison is not None:
        say("against the other case, on the same samples")
        say_wrapped(comparison_words(found.comparison))
    if found.crossover is not None:
        say_wrapped(told(crossover_words(found.crossover)))
    say("cautions")
    for caution in (*band.cautions, MODEL_CAUTION):
        say_wrapped(told(caution))


def _say_plain(found: Band) -> None:
    from contactfe.uncertainty import plain_words

    if words := plain_words(found):
        say_wrapped(told(words))


def _say_odds(found: Band, target: float | None) -> None:
    from contactfe.uncertainty import statements

    say("odds, with the interval that the number of samples leaves open (95 %)")
    rows = []
    for what, odds, why in statements(found, target):
        rows.append((told(what), odds.words() if odds is not None else f"not known: {why}"))
    say_table(rows)


def _say_shares(found: Band, shares: Sensitivity) -> None:
    from contactfe.report import console, reader
    from contactfe.uncertainty import label_of

    per, unit = reader().scale("N·m")
    say(
        f"what each input moves ({console(unit)}), alone from 10 % to 90 %; and its share of the inputs' variance"
    )
    single = {
        item.path: (f"{item.low_Nm / per:.4g}", f"{item.high_Nm / per:.4g}") for item in found.one_at_a_time
    }
    rows = [
        (
            label_of(share.path),
            *single.get(share.path, ("-", "-")),
            f"{100 * share.first:.0f} %",
            f"{100 * share.total:.0f} %",
            f"{share.band_if_known_Nm / per:.3g}",
        )
        for share in shares.shares
    ]
    say_table(rows, ("input", "at 10 %", "at 90 %", "alone", "with others", "band if known"))
    say_wrapped(told(shares.sentence()))
    if words := shares.group_sentence():
        say_wrapped(words)
    say_wrapped(
        f"shares by a polynomial of degree {shares.degree} fitted to the samples, leave-one-out error "
        f"{told(f'{shares.error_Nm:.2g} N m')} ({100 * shares.explained:.1f} % of the variance explained)"
    )
