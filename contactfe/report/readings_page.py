"""The page of a comparison of estimates with readings."""

from __future__ import annotations

from matplotlib.figure import Figure

from contactfe.report.page import Page, picture
from contactfe.report.reader_units import in_words, torque, torque_unit
from contactfe.report.trial_pages import PageTable, percent
from contactfe.report.words import as_sentence
from contactfe.trial import CalibratedStudy, ComparedStudy


def readings_page(
    found: ComparedStudy,
    version: str,
    figures: list[tuple[str, Figure]],
    fitted: CalibratedStudy | None = None,
) -> Page:
    """Return the page; `figures` are named."""
    inside = sum(c.explained for c in found.cases)
    tables = [
        _cases(found),
        *([_explained(found)] if any(c.explanations for c in found.cases) else []),
        _ranks(found),
    ]
    if fitted is not None:
        tables.insert(0, _fitted(fitted))
    captions = {"parity": "Estimate against measurement.", "profile": "Profile of the fitted constant."}
    return Page(
        "trial.html",
        dict(
            title=found.name,
            sub=f"{sum(len(c.readings) for c in found.cases)} readings of {len(found.cases)} cases {found.calibration}",
            headline=f"{_bias(found.bias)}; {inside} of {len(found.cases)} errors lie inside twice their uncertainty",
            cautions=[
                *(as_sentence(in_words(note)) for note in found.notes),
                "This is an estimate, not a rating of any tool; local rules and licensed practice decide.",
            ],
            figures=[picture(figure, name, (captions[name], captions[name])) for name, figure in figures],
            tables=tables,
            version=version,
            foot=[
                f"All errors together: chi-square {found.chi_square:.3g} on {len(found.cases)}, probability "
                f"{found.probability:.3g}. Area metric of u = F(y): {found.pooled_area:.3g}.",
            ],
        ),
    )


def _bias(bias: float) -> str:
    """The mean of ln of estimate over measurement in words."""
    return f"The estimate lies {abs(100 * bias):.1f} % {'below' if bias < 0 else 'above'} the readings on average"


def _cases(found: ComparedStudy) -> PageTable:
    rows = tuple(
        (
            in_words(c.condition.words()), c.design, torque(c.estimate_Nm), f"{torque(c.low_Nm)} to {torque(c.high_Nm)}",
            torque(c.measured_Nm), str(len(c.readings)), f"{100 * c.error:+.1f} %", percent(c.u_val), str(len(c.outside)),
            f"{c.area:.3f}",
        )
        for c in found.cases
    )  # fmt: skip
    u = torque_unit()
    heads = ("condition", "design", f"estimate ({u})", "8 of 10", f"measured ({u})", "readings", "E", "u_val", "outside the band",
             "area")  # fmt: skip
    note = (
        "E = ln of estimate over measurement; u_val: one standard uncertainty of E; 8 of 10: the band of the estimate; "
        "outside the band: readings; area: how far the readings stray from the estimated distribution, 0 is best"
    )
    return PageTable("Cases", heads, rows, frozenset({2, 4, 5, 6, 7, 8, 9}), note)


def _explained(found: ComparedStudy) -> PageTable:
    rows = tuple(
        (
            in_words(c.condition.words()),
            c.design,
            f"{100 * c.error:+.1f} %",
            "; or ".join(in_words(e.words) + ("" if e.usual else " (unusual)") for e in c.explanations),
        )
        for c in found.cases
        if c.explanations
    )
    heads = ("condition", "design", "E", "one of these alone")
    note = "Unusual: beyond the range in which the input is taken to scatter."
    return PageTable("What would bring the estimate to the readings", heads, rows, frozenset({2}), note)


def _ranks(found: ComparedStudy) -> PageTable:
    rows = tuple((in_words(c.words()), "-" if rho is None else f"{rho:+.2f}") for c, rho in found.ranks)
    return PageTable("Rank agreement", ("condition", "Spearman's coefficient"), rows, frozenset({1}))


def _fitted(fitted: CalibratedStudy) -> PageTable:
    own = fitted.found
    rows = [(f.path, f"{f.value:.4g}", f"{f.low:.4g} to {f.high:.4g}", f"{f.before:.4g}") for f in own.fits]
    left = "-" if own.left_out is None else f"{100 * own.left_out:.1f} %"
    note = (
        f"{own.readings} readings; error {100 * own.error_before:.1f} % before, {100 * own.error_after:.1f} % after, {left} for "
        "conditions that were left out"
    )
    return PageTable(
        "Calibration",
        ("constant", "fitted", "95 % interval", "before"),
        tuple(rows),
        frozenset({1, 2, 3}),
        note,
    )
