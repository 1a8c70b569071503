"""Plausible mistakes, planted one at a time in a copy of the package: does the suite notice?

    python tests/mutation.py

copies the package to a temporary folder, changes one place of its source, runs some of the quick known answers in a
process of its own, and says which check failed first. A mistake that none of them notices is a hole in the suite.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "contactfe"

#: The known answers that are run, the fastest first: elasticity, contact, cap, geometry, and a real pair end to end.
CASES = (
    "patch test",
    "contact patch test",
    "ring under pressure",
    "section of a rounded hexagon",
    "flat punch with a pressure cap",
    "corner statics with friction",
    "open end spread by its flanks",
    "free play",
    "rigid limit of a six-point ring",
)

_RUN = """
import sys
import contactfe
from contactfe.verify import CASES, run_case
print("from", contactfe.__file__)
for name in sys.argv[1:]:
    for check in run_case(CASES.cases[name]).answer.checks:
        if not check.passed:
            print("missed", check.name, check.difference_text(), check.note)
            sys.exit(4)
"""


@dataclass(frozen=True)
class Mutation:
    """A mistake: the file, the text that stands there once, and what it becomes."""

    name: str
    file: str
    right: str
    wrong: str


MUTATIONS = (
    Mutation("sign of the friction moment", "contact/problem.py", "arm_t=arms[1],", "arm_t=-arms[1],"),
    Mutation(
        "plane stress for plane strain",
        "elastic/plane.py",
        "return e * nu / ((1 + nu) * (1 - 2 * nu))",
        "return e * nu / (1 - nu**2)",
    ),
    Mutation(
        "thickness taken twice",
        "turn/build.py",
        "scaled(wrench, depth / case.wrench.thickness)",
        "scaled(wrench, (depth / case.wrench.thickness) ** 2)",
    ),
    Mutation(
        "opening a hundredth too wide",
        "profile/wrenches.py",
        "corner = w.opening / 2 / math.cos(math.pi / 6)",
        "corner = 1.01 * w.opening / 2 / math.cos(math.pi / 6)",
    ),
    Mutation(
        "cap ignored",
        "contact/problem.py",
        "caps = np.broadcast_to(np.asarray(cap, dtype=float), self.gap.shape)",
        "caps = np.broadcast_to(1e3 * np.asarray(cap, dtype=float), self.gap.shape)",
    ),
    Mutation(
        "a cell that is half in contact counts as open",
        "contact/problem.py",
        "gap=self.gap - 0.5 * partial,",
        "gap=self.gap,",
    ),
    Mutation(
        "normal of the flank reversed",
        "contact/search.py",
        "self.normal = np.column_stack([self.direction[:, 1], -self.direction[:, 0]])",
        "self.normal = np.column_stack([-self.direction[:, 1], self.direction[:, 0]])",
    ),
    Mutation(
        "wrench not free to move",
        "contact/problem.py",
        "balance_n=self.balance_n,",
        "balance_n=0.0 * self.balance_n,",
    ),
    Mutation(
        "wrong radius of the turned hexagon",
        "profile/fasteners.py",
        "return e - rounding * (e - across_flats)",
        "return e - rounding * (e - across_flats) / 2",
    ),
    Mutation(
        "depth of the wrench instead of the engaged one",
        "turn/curve.py",
        "depth = bearing_depth(built.case)",
        "depth = built.case.wrench.thickness",
    ),
    Mutation(
        "middle node of a side off its arc",
        "mesh/mesher.py",
        "middle[at[i]] = pieces[k].points(np.array([0.5 * (u0 + u1)]))[0]",
        "middle[at[i]] = pieces[k].points(np.array([u0, u1])).mean(axis=0)",
    ),
)


def run(mutation: Mutation | None) -> tuple[bool, str]:
    """Whether the suite passes with a mistake (or none) planted, and its last words."""
    with tempfile.TemporaryDirectory(prefix="contactfe-mutation-") as folder:
        copy = Path(folder) / "contactfe"
        shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
        if mutation is not None:
            file = copy / mutation.file
            text = file.read_text(encoding="utf-8")
            if text.count(mutation.right) != 1:
                raise LookupError(f"{mutation.name}: {mutation.file} no longer holds once: {mutation.right}")
            file.write_text(text.replace(mutation.right, mutation.wrong), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", _RUN, *CASES],
            cwd=folder,
            env=os.environ
            | {"PYTHONPATH": folder, "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        if str(copy) not in done.stdout:
            raise RuntimeError(f"the copy was not the one that ran: {done.stdout}{done.stderr}")
        said = [*done.stdout.strip().splitlines()[1:], *done.stderr.strip().splitlines()]
        return done.returncode == 0, said[-1] if said else ""


def main() -> int:
    """Plant every mistake; 0 when the untouched package passes and every mistake is noticed."""
    good = True
    for mutation in (None, *MUTATIONS):
        passed, words = run(mutation)
        name = mutation.name if mutation else "nothing changed"
        print(f"{name}: {'passes' if passed else 'fails'} {words}")
        good &= passed == (mutation is None)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
