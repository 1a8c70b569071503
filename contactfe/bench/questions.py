"""Times of what a user waits for: an explanation and a band."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from contactfe.case import solve_case
from contactfe.explain import explain
from contactfe.inputs import parse_case
from contactfe.uncertainty import band


@dataclass(frozen=True)
class QuestionTimes:
    """Seconds from the inputs to an explanation on one core, and to a band of some samples on some workers."""

    profile: str
    explanation: float
    samples: int
    workers: int
    band: float


def question_times(raw: Mapping[str, Any], samples: int = 128, workers: int = 2) -> QuestionTimes:
    """Ask both questions of a case given by its raw tables.

    Raises:
        ContactFEError: the case cannot be solved.
    """
    case = parse_case(raw, name="bench")
    start = time.perf_counter()
    explain(solve_case(case))
    middle = time.perf_counter()
    band(raw, samples, workers=workers)
    return QuestionTimes(
        profile=case.wrench.profile,
        explanation=middle - start,
        samples=samples,
        workers=workers,
        band=time.perf_counter() - middle,
    )
