"""A plan of pulls that wastes no specimen and no tool: order, sensors, energy, what gives way first, specimens."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from contactfe.case import CaseRecord, solve_case
from contactfe.errors import ContactFEError
from contactfe.standards import ACROSS_CORNERS_SHARP, twist_off_torque
from contactfe.trial.readings import Condition
from contactfe.trial.sizes import specimens
from contactfe.trial.study import TrialCase, TrialStudy
from contactfe.uncertainty import band

LEAST_USE, MOST_USE = 0.2, 0.8  # of a sensor's range
TEST_LIMIT = (
    1.2  # times the upper end of the prediction: where the rig is set to stop (engineering judgement)
)
ROUNDING_TOLERANCE = 0.01  # of the rounding, either way
SAMPLES = 16
CAUTIONS = (
    "Hardened jaws break without warning and throw pieces: closed guard with interlock, remote drive, nobody in line with "
    "the handle, eye and face protection outside the guard as well.",
    "Never pull by hand on an extension. A hard stop catches the handle at release; the drive stops at the stated limit.",
    "Look for cracks before every pull. Scrap every wrench that was tested by cutting its jaws.",
    "Use every hex once. Set the sensor to zero before every pull.",
    "The torques are estimates, not ratings of any tool. Local rules and licensed practice decide.",
)


@dataclass(frozen=True)
class Prediction:
    """What is expected of a design in a condition: torque N m with its 10 and 90 % values, what ends the plain case,
    where the wrench gives way and a bolt of this size twists off (None: not known), elastic stiffness N m/rad."""

    design: str
    condition: Condition
    torque_Nm: float
    low_Nm: float
    high_Nm: float
    ended_by: str
    wrench_Nm: float | None
    twist_off_Nm: tuple[float, float] | None
    stiffness_Nm_per_rad: float | None

    @property
    def may_break(self) -> bool:
        """Whether the wrench may give way before the grip does."""
        return self.ended_by == "wrench" or (self.wrench_Nm is not None and self.wrench_Nm <= self.high_Nm)


@dataclass(frozen=True)
class PlannedPull:
    """One pull: its place in the order, number within design and condition, bar, sensor range N m and the share of it
    that is used, where the drive stops N m, energy J stored at slip, and what to beware of."""

    place: int
    design: str
    condition: Condition
    pull: int
    bar: str
    expected_Nm: float
    high_Nm: float
    sensor_Nm: float
    sensor_use: float
    stop_Nm: float
    energy_J: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Specimen:
    """Specimens of a condition: how many, across flats and the diameter that the corners are turned down to with its
    tolerance, mm; None for a hex that is not turned."""

    condition: Condition
    count: int
    across_flats_mm: float
    diameter_mm: float | None
    tolerance_mm: float | None


@dataclass(frozen=True)
class Plan:
    """The whole plan. `sizes` are specimens per design: for two designs, and for the best against all others."""

    name: str
    pulls: tuple[PlannedPull, ...]
    predictions: tuple[Prediction, ...]
    specimens: tuple[Specimen, ...]
    sizes: tuple[int, int]
    difference: float
    scatter: float
    seed: int
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def make_plan(
    study: TrialStudy, samples: int = SAMPLES, workers: int = 1, watch: Callable[[str], None] | None = None
) -> Plan:
    """Predict every case of a study and lay out its pulls.

    Raises:
        GeometryError, NotConverged: from solving a case.
    """
    found = []
    for case in study.cases:
        if watch is not None:
            watch(f"{case.design} on {case.condition.words()}")
        found.append(_prediction(case, study, samples, workers))
    return lay_out(study, found)


def _prediction(case: TrialCase, study: TrialStudy, samples: int, workers: int) -> Prediction:
    record = solve_case(case.case)
    if record.estimate.turns_freely:
        return Prediction(case.design, case.condition, 0.0, 0.0, 0.0, record.ended_by, None, None, None)
    wide = band(case.raw, samples, study.settings.seed, workers, folder=study.folder)
    wrench = record.limit("wrench")
    return Prediction(
        case.design,
        case.condition,
        record.torque_Nm,
        min(wide.low_Nm, record.torque_Nm),
        max(wide.high_Nm, record.torque_Nm),
        record.ended_by,
        None if wrench is None else wrench.torque_Nm,
        _twist_off(case),
        _stiffness(record),
    )


def _twist_off(case: TrialCase) -> tuple[float, float] | None:
    f = case.case.fastener
    if f.size is None or f.grade is None or f.size.endswith("nut"):
        return None
    try:
        return twist_off_torque(f.size, f.grade)
    except ContactFEError:
        return None


def _stiffness(record: CaseRecord) -> float | None:
    """Slope of the curve's rise to its onset, N m/rad."""
    e = record.estimate
    if e.onset_torque_Nm is None or e.onset_rotation_deg is None or e.free_play_deg is None:
        return None
    turned = math.radians(e.onset_rotation_deg - e.free_play_deg)
    return e.onset_torque_Nm / turned if turned > 0 else None


def lay_out(study: TrialStudy, predictions: Sequence[Prediction]) -> Plan:
    """The plan for given predictions.

    Within a tool low torques come before high ones, worn hexes before less worn; pulls that may break a tool come after
    all others. The designs of one level on one bar are a block, in an order that the seed draws.
    """
    s, notes = study.settings, []
    grips = [p for p in predictions if p.torque_Nm > 0]
    designs = len({p.design for p in grips})
    sizes = (specimens(s.difference, s.scatter), specimens(s.difference, s.scatter, max(1, designs - 1)))
    each = s.pulls or sizes[1]
    if each < sizes[1]:
        notes.append(
            f"{each} pulls of each do not resolve {100 * s.difference:.3g} % at a scatter of {100 * s.scatter:.3g} %: "
            f"{sizes[1]} would (power 80 %, the best against {max(1, designs - 1)} others)"
        )
    for p in predictions:
        if p not in grips:
            notes.append(f"{p.design} on {p.condition.words()} turns freely: it is not pulled")
        elif p.may_break:
            at = "" if p.wrench_Nm is None else f" at about {p.wrench_Nm:.4g} N m"
            notes.append(
                f"{p.design} on {p.condition.words()}: the wrench may give way first{at}; pulled after all others, and each "
                "of its pulls may need a tool of its own"
            )
    notes += _twist_off_notes(grips)
    rng = np.random.default_rng(s.seed)
    rows: list[tuple[Prediction, int, str]] = []
    for breaking in (False, True):
        tools = {
            name: sorted(
                (p for p in grips if p.design == name and p.may_break == breaking),
                key=lambda p: (p.torque_Nm, -(p.condition.rounding or 0.0)),
            )
            for name in study.designs()
        }
        for level in range(max(map(len, tools.values()), default=0)):
            here = [tool[level] for tool in tools.values() if len(tool) > level]
            for number in range(1, each + 1):
                bar = s.bars[(number - 1) % len(s.bars)]
                rows += [(here[int(k)], number, bar) for k in rng.permutation(len(here))]
    pulls = tuple(_pull(i, row, study) for i, row in enumerate(rows, 1))
    listed = tuple(_specimen(study, c, pulls) for c in dict.fromkeys(p.condition for p in pulls))
    return Plan(
        study.name, pulls, tuple(predictions), listed, sizes, s.difference, s.scatter, s.seed, tuple(notes)
    )


def _twist_off_notes(grips: Sequence[Prediction]) -> list[str]:
    """Where a bolt in place of solid stock would twist off before the estimate's upper end; equal torques in one note."""
    found: dict[tuple[float, float], list[str]] = {}
    for p in grips:
        if p.twist_off_Nm is not None and p.twist_off_Nm[0] <= p.high_Nm:
            found.setdefault(p.twist_off_Nm, []).append(f"{p.design} on {p.condition.words()}")
    return [
        f"a bolt may twist off first, at {low:.3g} to {high:.3g} N m: hold solid stock, or lock a nut "
        f"({'in all pulls' if len(where) == len(grips) else '; '.join(where)})"
        for (low, high), where in found.items()
    ]


def _pull(place: int, row: tuple[Prediction, int, str], study: TrialStudy) -> PlannedPull:
    p, number, bar = row
    fitting = [r for r in study.settings.sensors_Nm if p.high_Nm <= MOST_USE * r]
    sensor = fitting[0] if fitting else study.settings.sensors_Nm[-1]
    warnings = []
    if p.high_Nm > MOST_USE * sensor:
        warnings.append(f"up to {100 * p.high_Nm / sensor:.0f} % of the largest sensor")
    if p.torque_Nm < LEAST_USE * sensor:
        warnings.append(f"only {100 * p.torque_Nm / sensor:.0f} % of the sensor")
    if p.may_break:
        warnings.append("the wrench may give way first")
    energy = None
    if p.stiffness_Nm_per_rad is not None:
        soft = 1.0 / p.stiffness_Nm_per_rad + (
            1.0 / study.settings.rig_Nm_per_rad if study.settings.rig_Nm_per_rad else 0.0
        )
        energy = 0.5 * p.high_Nm**2 * soft
    return PlannedPull(
        place, p.design, p.condition, number, bar, p.torque_Nm, p.high_Nm, sensor, p.torque_Nm / sensor,
        TEST_LIMIT * p.high_Nm, energy, tuple(warnings),
    )  # fmt: skip


def _specimen(study: TrialStudy, condition: Condition, pulls: Sequence[PlannedPull]) -> Specimen:
    """What has to be turned: d = e - r (e - s), e across sharp corners."""
    s = next(case.case.fastener.across_flats for case in study.cases if case.condition == condition)
    e = ACROSS_CORNERS_SHARP * s
    r = condition.rounding or 0.0
    count = sum(p.condition == condition for p in pulls)
    if r == 0.0:
        return Specimen(condition, count, s, None, None)
    return Specimen(condition, count, s, e - r * (e - s), ROUNDING_TOLERANCE * (e - s))


def readings_of(plan: Plan) -> str:
    """A readings file that is ready to be filled in, in the order of the pulls."""
    first = plan.pulls[0].condition if plan.pulls else Condition()
    names = [
        "size" if first.size else "across_flats (mm)",
        "grade" if first.grade else "yield_strength (MPa)",
    ]
    lines = [
        "# Ready to be filled in: the largest torque, and what happened if the wrench did not slip.",
        "format = 1",
        f'title = "{plan.name}"',
        "---",
        ",".join(["design", *names, "rounding (%)", "pull", "torque (N*m)", "happened", "bar", "note"]),
    ]
    for p in plan.pulls:
        c = p.condition
        cells = [p.design, c.size or f"{c.across_flats_mm:.6g}", c.grade or f"{c.yield_MPa:.6g}",
                 f"{100 * (c.rounding or 0.0):.6g}", str(p.pull), "", "", p.bar, f"place {p.place}"]  # fmt: skip
        lines.append(",".join(f'"{cell}"' if "," in cell else cell for cell in cells))
    return "\n".join(lines) + "\n"
