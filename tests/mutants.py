"""A sampled mutation run: one operator, comparison or constant changed at a time, in a copy of the package.

    python tests/mutants.py --sample 40 --seed 1 [--only strength]

For every group of modules the tests named beside it run on each mutant, until the first that fails. What no test notices
is printed as a survivor with its place. Not part of the suite: a mutant costs as much as the tests of its group.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

GROUPS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "curve": (
        ("turn/marks.py", "turn/curve.py", "turn/states.py"),
        ("test_turn_marks.py", "test_turn_refusals.py", "test_turn_events.py", "test_case_record.py"),
    ),
    "strength": (
        (
            "strength/sections.py",
            "strength/plastic_limit.py",
            "strength/wrench.py",
            "strength/torsion.py",
            "case/limits.py",
        ),
        ("test_strength_torsion.py", "test_strength.py", "test_case_record.py", "test_regression.py"),
    ),
    "contact": (
        (
            "contact/problem.py",
            "contact/solver.py",
            "contact/path.py",
            "contact/audit.py",
            "contact/slide.py",
        ),
        ("test_turn_refusals.py", "test_regression.py", "test_mutation.py", "test_turn_laws.py"),
    ),
    "uncertainty": (
        (
            "uncertainty/distributions.py",
            "uncertainty/band.py",
            "uncertainty/sensitivity.py",
            "uncertainty/probabilities.py",
            "uncertainty/groups.py",
            "uncertainty/model_error.py",
        ),
        ("test_model_error.py", "test_bands.py", "test_band_model.py"),
    ),
}
"""Of each group the modules that are changed, and the tests that have to notice, the fastest first."""

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}
OPERATED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
CALLED = {
    "min": "max",
    "max": "min",
    "maximum": "minimum",
    "minimum": "maximum",
    "argmax": "argmin",
    "argmin": "argmax",
}


@dataclass(frozen=True)
class Mutant:
    """One change: the file below the package, the line, what it was in words, and the whole changed text."""

    file: str
    line: int
    words: str
    text: str


def places(tree: ast.Module) -> list[ast.AST]:
    """Nodes that can be changed, in the order of the file; annotations and docstrings are left alone."""
    found = []
    for node in ast.walk(tree):
        if (
            (isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED)
            or (isinstance(node, ast.BinOp) and type(node.op) in OPERATED)
            or (
                isinstance(node, ast.Constant)
                and type(node.value) in (int, float)
                and node.value not in (0, 0.0)
            )
        ):
            found.append(node)
        elif isinstance(node, ast.Call):
            name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if name in CALLED:
                found.append(node)
    return sorted(found, key=lambda node: (node.lineno, node.col_offset))  # type: ignore[attr-defined]


def changed(node: ast.AST) -> str:
    """Change a node in place; returns what was done in words."""
    if isinstance(node, ast.Compare):
        before = type(node.ops[0])
        node.ops[0] = COMPARED[before]()
        return f"{before.__name__} to {type(node.ops[0]).__name__}"
    if isinstance(node, ast.BinOp):
        operator = type(node.op)
        node.op = OPERATED[operator]()
        return f"{operator.__name__} to {type(node.op).__name__}"
    if isinstance(node, ast.Constant):
        value = node.value
        node.value = value + 1 if isinstance(value, int) else value * 1.3
        return f"{value!r} to {node.value!r}"
    assert isinstance(node, ast.Call)
    if isinstance(node.func, ast.Name):
        before_name, node.func.id = node.func.id, CALLED[node.func.id]
        return f"{before_name} to {node.func.id}"
    assert isinstance(node.func, ast.Attribute)
    before_name, node.func.attr = node.func.attr, CALLED[node.func.attr]
    return f"{before_name} to {node.func.attr}"


def mutants(package: Path, files: tuple[str, ...], sample: int, seed: int) -> list[Mutant]:
    """A sample of the mutants of some files, the same for the same seed."""
    every = []
    for file in files:
        source = (package / file).read_text(encoding="utf-8")
        every += [(file, source, k) for k in range(len(places(ast.parse(source))))]
    found = []
    for file, source, k in random.Random(seed).sample(every, min(sample, len(every))):
        tree = ast.parse(source)
        node = places(tree)[k]
        line = node.lineno  # type: ignore[attr-defined]
        words = changed(node)
        found.append(Mutant(file, line, words, ast.unparse(tree)))
    return found


def survives(mutant: Mutant, tests: tuple[str, ...], seconds: int) -> bool:
    """Whether no test notices the mutant; one that takes too long is noticed."""
    with tempfile.TemporaryDirectory(prefix="contactfe-mutant-") as folder:
        copy = Path(folder)
        for name in ("contactfe", "tests", "meshes", "studies"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", copy)
        (copy / "contactfe" / mutant.file).write_text(mutant.text, encoding="utf-8")
        environment = os.environ | {
            "PYTHONPATH": folder,
            "PYTHONDONTWRITEBYTECODE": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider"]
        for test in tests:
            try:
                done = subprocess.run(
                    [*command, f"tests/{test}"],
                    cwd=folder,
                    env=environment,
                    capture_output=True,
                    timeout=seconds,
                    check=False,
                )
            except subprocess.TimeoutExpired:
                return False
            if done.returncode != 0:
                return False
    return True


def main() -> int:
    """Run the sample; 0 when nothing survives."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=25, help="mutants of each group")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=sorted(GROUPS))
    parser.add_argument("--seconds", type=int, default=300, help="for the tests of one mutant")
    asked = parser.parse_args()
    left = 0
    for group, (files, tests) in GROUPS.items():
        if asked.only not in (None, group):
            continue
        chosen = mutants(ROOT / "contactfe", files, asked.sample, asked.seed)
        survivors = []
        for mutant in chosen:
            if survives(mutant, tests, asked.seconds):
                survivors.append(mutant)
                print(f"survives: {mutant.file}:{mutant.line} {mutant.words}", flush=True)
        print(f"{group}: {len(chosen) - len(survivors)} of {len(chosen)} mutants noticed", flush=True)
        left += len(survivors)
    return 0 if left == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
