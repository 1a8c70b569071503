"""The page of a plan of pulls: to be printed and filled in by hand."""

from __future__ import annotations

from contactfe.report.page import render
from contactfe.report.trial_pages import PageTable
from contactfe.report.words import as_sentence, number
from contactfe.trial import Plan


def plan_page(plan: Plan, version: str) -> str:
    """Return the page of a plan as HTML text, for A4 and Letter."""
    two, best = plan.sizes
    sub = (
        f"{len(plan.pulls)} pulls. To resolve {100 * plan.difference:.3g} % at a scatter of {100 * plan.scatter:.3g} %: "
        f"{two} specimens of each for two designs, {best} for the best against all others (power 80 %)."
    )
    return render(
        "plan.html",
        title=plan.name,
        sub=sub,
        cautions=list(plan.cautions),
        notes=[as_sentence(note) for note in plan.notes],
        tables=[_pulls(plan), _specimens(plan), _predictions(plan)],
        version=version,
        seed=plan.seed,
    )


def _pulls(plan: Plan) -> PageTable:
    heads = ("no.", "design", "condition", "pull", "bar", "expected (N·m)", "sensor (N·m)", "drive stops (N·m)", "energy (J)",
             "beware", "torque", "what happened", "width across flats")  # fmt: skip
    rows = tuple(
        (
            str(p.place), p.design, p.condition.words(), str(p.pull), p.bar, number(p.expected_Nm),
            f"{p.sensor_Nm:g} ({100 * p.sensor_use:.0f} %)", number(p.stop_Nm),
            "-" if p.energy_J is None else number(p.energy_J), "; ".join(p.warnings) or "-", "", "", "",
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
            s.condition.words(),
            str(s.count),
            f"{s.across_flats_mm:.2f}",
            "not turned" if s.diameter_mm is None else f"{s.diameter_mm:.2f} ± {s.tolerance_mm:.2f}",
            "",
        )
        for s in plan.specimens
    )
    heads = ("condition", "how many", "across flats (mm)", "corners turned down to (mm)", "made")
    return PageTable("Specimens", heads, rows, frozenset({1, 2, 3}), "Tolerance: 1 % of rounding either way.")


def _predictions(plan: Plan) -> PageTable:
    rows = tuple(
        (
            p.design,
            p.condition.words(),
            number(p.torque_Nm),
            f"{number(p.low_Nm)} to {number(p.high_Nm)}",
            p.ended_by,
            "-" if p.wrench_Nm is None else number(p.wrench_Nm),
            "-" if p.twist_off_Nm is None else f"{number(p.twist_off_Nm[0])} to {number(p.twist_off_Nm[1])}",
        )
        for p in plan.predictions
    )
    heads = ("design", "condition", "expected (N·m)", "8 of 10 (N·m)", "ended by", "wrench gives way (N·m)",
             "bolt twists off (N·m)")  # fmt: skip
    return PageTable("What is expected", heads, rows, frozenset({2, 3, 5, 6}))
