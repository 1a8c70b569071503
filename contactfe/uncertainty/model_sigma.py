"""The model's own error in a band: how wide its lognormal factor is for what ends each sample, and where that is from.

Nothing is drawn and nothing is solved for it: see `combined_quantiles`. The factor belongs to the torque that a sample
delivers. Which limit is the lowest in a sample is told by the limits as they are solved: where the wrench gives way
beyond the loss of the grip is not known, so that no error of it could be weighed against that of the grip.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.inputs import calibrated_sigma
from contactfe.uncertainty.model_error import default_sigma, probability_below
from contactfe.uncertainty.read import UncertainCase

Array = NDArray[np.float64]

CAP = "contact.constraint_factor"


@dataclass(frozen=True)
class ModelSigma:
    """Standard deviation of the logarithm of the model's factor where a pull ends by the grip, by the wrench, or by what
    is held below the head. `source` says where it comes from."""

    grip: float
    wrench: float
    held: float
    source: str

    def of(self, ended_by: Iterable[str | None]) -> Array:
        """Sigma (n,) of samples by what ends them; 0 where the wrench turns freely, or a sample has no answer."""
        by = {"grip": self.grip, "wrench": self.wrench, "bolt": self.held, "bar": self.held}
        return np.array([by.get(str(cause), 0.0) for cause in ended_by], dtype=float)

    def words(self) -> str:
        """Say how large it is, as a standard deviation in per cent, and where it is from."""
        sizes = f"{100 * self.grip:.1f} % where the grip is lost, {100 * self.wrench:.1f} % where the wrench gives way, "
        return f"{sizes}{100 * self.held:.1f} % where the bolt or bar twists off ({self.source})"


NO_MODEL = ModelSigma(0.0, 0.0, 0.0, "left out")
"""A band of the inputs alone."""


def model_sigma(uncertain: UncertainCase) -> ModelSigma:
    """The model's error for a case: by rule, or for a loss of the grip by the calibration that the case takes.

    The constraint factor is no part of it where it scatters as an input. A calibration is fitted to pulls that ended by
    slip, so that it tells of no other end.
    """
    scatters = any(item.path == CAP for item in uncertain.inputs)
    wrench, held = default_sigma("wrench"), default_sigma("bar")
    found = calibrated_sigma(uncertain.base, uncertain.folder)
    if found is None:
        return ModelSigma(
            default_sigma("grip", scatters), wrench, held, "by rule, from known answers and judgement"
        )
    sigma, name = found
    return ModelSigma(
        sigma, wrench, held, f"loss of the grip by the readings of calibration {name}, the others by rule"
    )


def below_target(record: Mapping[str, Any], target_Nm: float) -> float:
    """Probability that the torque lies below a target (N m), from a band's record: with the model's error, over the
    samples that have an answer."""
    model = ModelSigma(**record["model"]["sigma"], source="")
    known = [k for k, torque in enumerate(record["torque_Nm"]) if torque is not None]
    torque = [record["torque_Nm"][k] for k in known]
    return probability_below(torque, model.of(record["ended_by"][k] for k in known), target_Nm)
