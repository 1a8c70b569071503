"""Known answers: cases that run the package's own stages, and the numbers from outside that they have to meet."""

from contactfe.verify import (  # noqa: F401  (importing a module files its cases)
    conforming,
    geometry,
    independent,
    jaws,
    limits,
    line_contact,
    plates,
    punch_contact,
    rates,
    rings,
    trade,
)
from contactfe.verify.check import (
    CASES,
    GROUPS,
    Case,
    CaseAnswer,
    CaseReport,
    Check,
    Comparison,
    Report,
    run_case,
    run_cases,
    select,
)

__all__ = [
    "CASES",
    "GROUPS",
    "Case",
    "CaseAnswer",
    "CaseReport",
    "Check",
    "Comparison",
    "Report",
    "run_case",
    "run_cases",
    "select",
]
