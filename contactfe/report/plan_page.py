"""The page of a plan of pulls: to be printed and filled in by hand."""

from __future__ import annotations

from contactfe.report.page import Page
from contactfe.report.reader_units import in_words, made_length, reader, torque, torque_unit
from contactfe.report.trial_pages import PageTable
from contactfe.report.words import as_sentence, number
from contactfe.trial import Plan


def plan_page(plan: Plan, version: str) -> Page:
    """Return the page of a plan for A4 and Letter."""
    two, best = plan.sizes
    sub = (
        f"{len(plan.pulls)} pulls. To resolve {100 * plan.difference:.3g} % at a scatter of {100 * plan.scatter:.3g} %: "
        f"{two} specimens of each for two designs, {best} for the best against all others (power 80 %)."
    )
    return Page(
        "plan.html",
        dict(
            title=plan.name,
            sub=sub,
            cautions=[in_words(text) for text in plan.cautions],
            notes=[as_sentence(in_words(note)) for note in plan.notes],
            tables=[_pulls(plan), _specimens(plan), _predictions(plan)],
            version=version,
            seed=plan.seed,
        ),
    )


def _pulls(plan: Plan) -> PageTable:
    u = torque_unit()
    heads = ("no.", "design", "condition", "pull", "bar", f"expected ({u})", f"sensor ({u})", f"drive stops ({u})", "energy (J)",
             "beware", "torque", "what happened", "width across flats")  # fmt: skip
    rows = tuple(
        (
            str(p.place), p.design, in_words(p.condition.words()), str(p.pull), p.bar, torque(p.expected_Nm),
            f"{float(torque(p.sensor_Nm)):g} ({100 * p.sensor_use:.0f} %)", torque(p.stop_Nm),
            "-" if p.energy_J is None else number(p.energy_J), in_words("; ".join(p.warnings)) or "-", "", "", "",
        )
        for p in plan.pulls
    )  # fmt: skip
    note = (
        "In this order: low torques before high ones for every tool, worn hexes first, pulls that may break a tool last. "
        "A new hex for each pull. Energy: stored in wrench, fastener and rig at the upper end of the estimate."
    )
    return PageTable("Pulls", heads, rows, frozenset({0, 3, 5, 6, 7, 8}), note)


def _specimens(plan: Plan) -> PageTable:
    rows = tuple(
        (
            in_words(s.condition.words()),
            str(s.count),
            made_length(s.across_flats_mm),
            "not turned"
            if s.diameter_mm is None
            else f"{made_length(s.diameter_mm)} ± {made_length(s.tolerance_mm or 0.0)}",
            "",
        )
        for s in plan.specimens
    )
    unit = reader().scale("mm")[1]
    heads = ("condition", "how many", f"across flats ({unit})", f"corners turned down to ({unit})", "made")
    return PageTable("Specimens", heads, rows, frozenset({1, 2, 3}), "Tolerance: 1 % of rounding either way.")


def _predictions(plan: Plan) -> PageTable:
    rows = tuple(
        (
            p.design,
            in_words(p.condition.words()),
            torque(p.torque_Nm),
            f"{torque(p.low_Nm)} to {torque(p.high_Nm)}",
            p.ended_by,
            "-" if p.wrench_Nm is None else torque(p.wrench_Nm),
            "-" if p.twist_off_Nm is None else f"{torque(p.twist_off_Nm[0])} to {torque(p.twist_off_Nm[1])}",
        )
        for p in plan.predictions
    )
    u = torque_unit()
    heads = ("design", "condition", f"expected ({u})", f"8 of 10 ({u})", "ended by", f"wrench gives way ({u})",
             f"bolt twists off ({u})")  # fmt: skip
    return PageTable("What is expected", heads, rows, frozenset({2, 3, 5, 6}))
