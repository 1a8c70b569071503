"""A check: one computed number beside the one it has to come to; a case: what computes some checks at one go."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from contactfe.errors import ContactFEError

Array = NDArray[np.float64]
Origin = Literal[
    "exact",  # a solution in closed form
    "published",  # a number that stands in a publication
    "published formula",  # evaluated here
    "independent code",
    "formula against formula",  # the package's closed forms among each other, or with a search: no body is solved
    "self-audit",  # equilibrium and optimality of the package's own solution
    "common practice",
]
Group = Literal["elastic", "contact", "saturation", "limits", "geometry", "independent", "trade"]
GROUPS: tuple[Group, ...] = ("elastic", "contact", "saturation", "limits", "geometry", "independent", "trade")
State = Literal["met", "missed", "outside the model's reach", "changed"]
OUTSIDE: State = "outside the model's reach"
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Check:
    """One number of the package against one from outside.

    ``tolerance`` is relative to ``expected``, absolute in the unit of the number, or half the width of a band whose
    middle is ``expected``. ``origin`` says what kind of authority ``source`` is. ``note`` explains a miss or a limit.
    ``reach``: of a row that lies outside the model's reach, the number that the model is known to give and how far it may
    move; a sound installation gives that number.
    """

    name: str
    group: Group
    computed: float
    expected: float
    tolerance: float
    kind: Literal["relative", "absolute", "band"]
    origin: Origin
    source: str
    note: str = ""
    reach: tuple[float, float] | None = None

    @property
    def allowed(self) -> float:
        """Largest allowed difference, in the unit of the number."""
        return self.tolerance * abs(self.expected) if self.kind == "relative" else self.tolerance

    @property
    def difference(self) -> float:
        """Computed less expected: relative where the tolerance is, else in the unit of the number."""
        miss = self.computed - self.expected
        return miss / abs(self.expected) if self.kind == "relative" else miss

    @property
    def passed(self) -> bool:
        """True when the difference is within the tolerance; a number that is none never passes."""
        return math.isfinite(self.computed) and abs(self.computed - self.expected) <= self.allowed

    @property
    def state(self) -> State:
        """Whether the number is met, missed, outside the model's reach by a known size, or no longer by that size."""
        if self.reach is None:
            return "met" if self.passed else "missed"
        known, move = self.reach
        same = math.isfinite(self.computed) and abs(self.computed - known) <= move
        return OUTSIDE if same and not self.passed else "changed"

    @property
    def sound(self) -> bool:
        """Whether the row is as it has to be on a sound installation."""
        return self.state in ("met", OUTSIDE)

    def computed_text(self) -> str:
        """The computed number."""
        return f"{self.computed:.6g}" if math.isfinite(self.computed) else "no answer"

    def expected_text(self) -> str:
        """The expected number, or the band."""
        if self.kind == "band":
            return f"{self.expected - self.tolerance:.4g} to {self.expected + self.tolerance:.4g}"
        return f"{self.expected:.6g}"

    def difference_text(self) -> str:
        """The difference: in per cent, in the unit of the number, or the way outside a band."""
        if not math.isfinite(self.computed):
            return "no answer"
        if self.kind == "relative":
            return f"{100 * self.difference:+.2g} %"
        if self.kind == "band":
            outside = abs(self.difference) - self.tolerance
            return "inside" if outside <= 0 else f"outside by {outside:.2g}"
        return f"{self.difference:+.1e}"

    def tolerance_text(self) -> str:
        """The tolerance as a reader wants it."""
        if self.kind == "relative":
            return f"{100 * self.tolerance:.2g} %"
        return "band" if self.kind == "band" else f"{self.tolerance:.2g}"

    def to_dict(self) -> dict[str, Any]:
        """Everything as plain values."""
        return {
            "name": self.name,
            "group": self.group,
            "computed": self.computed if math.isfinite(self.computed) else None,
            "expected": self.expected,
            "difference": self.difference if math.isfinite(self.computed) else None,
            "tolerance": self.tolerance,
            "kind": self.kind,
            "origin": self.origin,
            "source": self.source,
            "note": self.note,
            "passed": self.passed,
            "state": self.state,
            "known": self.reach[0] if self.reach else None,
        }


@dataclass(frozen=True)
class Source:
    """Where expected numbers come from: a group, an authority and its text; makes checks of the three kinds."""

    group: Group
    origin: Origin
    text: str

    def relative(
        self, name: str, computed: float, expected: float, tolerance: float, note: str = ""
    ) -> Check:
        """A check within a share of the expected number."""
        return self._check(name, computed, expected, (tolerance, "relative"), note)

    def absolute(
        self, name: str, computed: float, expected: float, tolerance: float, note: str = ""
    ) -> Check:
        """A check within a fixed difference."""
        return self._check(name, computed, expected, (tolerance, "absolute"), note)

    def band(self, name: str, computed: float, limits: tuple[float, float], note: str = "") -> Check:
        """A check between two limits."""
        low, high = limits
        return self._check(name, computed, 0.5 * (low + high), (0.5 * (high - low), "band"), note)

    def outside_reach(
        self, name: str, computed: float, limits: tuple[float, float], reach: tuple[float, float], note: str
    ) -> Check:
        """A band that the model is known to miss: the number it gives instead, and how far that may move."""
        return replace(self.band(name, computed, limits, note), reach=reach)

    def _check(
        self,
        name: str,
        computed: float,
        expected: float,
        allowed: tuple[float, Literal["relative", "absolute", "band"]],
        note: str,
    ) -> Check:
        tolerance, kind = allowed
        return Check(
            name, self.group, float(computed), float(expected), tolerance, kind, self.origin, self.text, note
        )


@dataclass(frozen=True, eq=False)
class Comparison:
    """A curve to draw: computed points over the exact line."""

    title: str
    x_label: str
    y_label: str
    points: tuple[Array, Array]
    line: tuple[Array, Array]

    def __post_init__(self) -> None:
        for a in (*self.points, *self.line):
            a.setflags(write=False)


@dataclass(frozen=True)
class CaseAnswer:
    """What a case gives: checks, and curves to draw."""

    checks: tuple[Check, ...]
    curves: tuple[Comparison, ...] = ()


Runner = Callable[[], CaseAnswer]


@dataclass(frozen=True)
class Case:
    """A known case: its name, group, whether it belongs to the quick set, and what runs it."""

    name: str
    group: Group
    quick: bool
    run: Runner


@dataclass(frozen=True)
class CaseReport:
    """A case that was run: its answer and the seconds it took."""

    case: Case
    answer: CaseAnswer
    seconds: float


@dataclass(frozen=True)
class Report:
    """Everything that was run."""

    reports: tuple[CaseReport, ...]

    @property
    def checks(self) -> tuple[Check, ...]:
        """All checks in order."""
        return tuple(c for r in self.reports for c in r.answer.checks)

    @property
    def curves(self) -> tuple[Comparison, ...]:
        """All curves in order."""
        return tuple(c for r in self.reports for c in r.answer.curves)

    @property
    def missed(self) -> tuple[Check, ...]:
        """Checks that are not as they have to be: missed, or a known miss that has changed."""
        return tuple(c for c in self.checks if not c.sound)

    @property
    def outside(self) -> tuple[Check, ...]:
        """Checks outside the model's reach, by the size that is known."""
        return tuple(c for c in self.checks if c.state == OUTSIDE)

    @property
    def seconds(self) -> float:
        """Time of all cases, s."""
        return sum(r.seconds for r in self.reports)

    def to_dict(self, version: str) -> dict[str, Any]:
        """Everything as plain values."""
        return {
            "version": version,
            "passed": not self.missed,
            "checks": [c.to_dict() for c in self.checks],
            "seconds": {r.case.name: round(r.seconds, 3) for r in self.reports},
        }


@dataclass(frozen=True)
class Registry:
    """The known cases by name."""

    cases: dict[str, Case] = field(default_factory=dict)

    def case(self, name: str, group: Group, quick: bool = True) -> Callable[[Runner], Runner]:
        """Decorator: file a function that runs a case."""

        def add(function: Runner) -> Runner:
            assert name not in self.cases, f"two cases are called {name}"
            self.cases[name] = Case(name, group, quick, function)
            return function

        return add


def run_case(case: Case) -> CaseReport:
    """Run one case; an error of the package becomes a check that failed."""
    start = time.perf_counter()
    try:
        answer = case.run()
    except ContactFEError as exc:
        failed = Source(case.group, "exact", "the case has to give an answer").absolute(
            f"{case.name}: runs", math.nan, 0.0, 0.0, str(exc)
        )
        answer = CaseAnswer((failed,))
    return CaseReport(case, answer, time.perf_counter() - start)


def run_cases(cases: Iterable[Case], progress: Callable[[CaseReport], None] | None = None) -> Report:
    """Run cases one after another."""
    done = []
    for case in cases:
        report = run_case(case)
        if progress is not None:
            progress(report)
        done.append(report)
    return Report(tuple(done))


def select(cases: Mapping[str, Case], quick: bool) -> tuple[Case, ...]:
    """The cases of a run, ordered by group: all, or only the quick ones."""
    wanted = [c for c in cases.values() if c.quick or not quick]
    return tuple(sorted(wanted, key=lambda c: GROUPS.index(c.group)))


CASES = Registry()
