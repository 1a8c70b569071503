"""The gain of a found head over samples of what scatters: start and found head meet the same ones, as in a study."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.design.screen import torque_samples
from contactfe.design.shape_plan import SearchPlan
from contactfe.errors import ContactFEError
from contactfe.parallel import Executor
from contactfe.study import StudyDone, StudyStore, run_study

Array = NDArray[np.float64]


class NoGainBand(ContactFEError):
    """The samples give no gain: a case of start or found head has no answer."""

    default_slug = "gain-band"


@dataclass(frozen=True)
class GainBand:
    """The gain (score over that of the start in the same sample, less one) over samples: median, 10 and 90 %, and the
    share of samples in which the found head holds more. The model's own error is left out: it is common to both."""

    samples: int
    median: float
    low: float
    high: float
    better: float

    def words(self) -> str:
        """In a sentence."""
        return (
            f"Over {self.samples} samples of what scatters: {100 * self.median:+.1f} % in the median, "
            f"{100 * self.low:+.1f} to {100 * self.high:+.1f} % in eight of ten; the found head holds more than the start "
            f"in {100 * self.better:.0f} % of them."
        )

    def told(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def gain_band(
    plan: SearchPlan,
    best: Mapping[str, str],
    score: Callable[[Array], Array],
    store: StudyStore,
    executor: Executor,
) -> GainBand:
    """Solve start and best head with their bands, as a study whose executor is closed at the end, and compare them.

    `score` makes scores (n,) of torques (conditions, n) N m. What moves is taken as made to its number in both heads.

    Raises:
        NoGainBand: a case of them has no answer.
        ContactFEError: the store cannot be written.
    """
    heads = plan.screen({"start": plan.start_numbers(), "found": best}, band=True)
    rows = next(
        event.rows for event in run_study(heads.study, store, executor) if isinstance(event, StudyDone)
    )
    torques = []
    for row, case in zip(rows, heads.study.cases, strict=True):
        if row["status"] == "failed":
            raise NoGainBand(f"{case.values[0]} on {case.values[1]}: {row['reason']}")
        outcome = store.load(case.case_id)
        torques.append(torque_samples(row, outcome.record if outcome is not None else None))
    return compared(torques, score)


def compared(torques: list[Array], score: Callable[[Array], Array]) -> GainBand:
    """The band of the gain from torques (n,) N m of the start's conditions and then of the found head's.

    Samples without an answer are left out. Raises NoGainBand where none is left.
    """
    table = np.array(np.broadcast_arrays(*torques))
    start, found = (score(part) for part in np.split(table, 2))
    good = np.isfinite(start) & np.isfinite(found) & (start > 0.0)
    if not good.any():
        raise NoGainBand("no sample has an answer in every condition")
    gain = found[good] / start[good] - 1.0
    low, median, high = (float(np.quantile(gain, q)) for q in (0.1, 0.5, 0.9))
    return GainBand(int(good.sum()), median, low, high, float((gain > 0.0).mean()))
