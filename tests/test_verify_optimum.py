"""The bounded contact problem against an independent convex solver, and the laws that its optimum obeys."""

from __future__ import annotations

import clarabel
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.sparse import csc_matrix

from contactfe.contact import BoundedProblem, Dense, complementarity, solve_bounded

Array = NDArray[np.float64]


def random_problem(seed: int, cells: int, rows: int, load: float) -> BoundedProblem:
    """A convex problem like those of contact: definite flexibility, mixed gaps, unequal caps, a net force."""
    rng = np.random.default_rng(seed)
    root = rng.standard_normal((cells, cells)) / np.sqrt(cells)
    x = np.linspace(0.0, 1.0, cells)
    near = np.exp(-5.0 * np.abs(x[:, None] - x[None]))  # neighbours answer alike, as on a boundary
    cap = rng.uniform(0.5, 2.0, cells)
    balance = np.vstack([rng.uniform(0.5, 1.0, cells), rng.standard_normal(cells)])[:rows]
    inside = rng.uniform(0.0, 1.0, cells) * cap  # some admissible pressure carries the force
    return BoundedProblem(
        matrix=Dense(near + 0.1 * root @ root.T),
        gap=rng.normal(0.0, 1.0, cells),
        balance=balance,
        balance_n=balance,
        cap=cap,
        force=balance @ (inside * load),
    )


def by_conic_solver(problem: BoundedProblem) -> Array:
    """min p'Mp/2 + g'p with 0 <= p <= cap and B p = F."""
    n, m = len(problem.gap), len(problem.force)
    eye = np.eye(n)
    settings_ = clarabel.DefaultSettings()
    settings_.verbose = False
    settings_.tol_gap_abs = settings_.tol_gap_rel = settings_.tol_feas = 1e-11
    solver = clarabel.DefaultSolver(
        csc_matrix(np.triu(problem.matrix.columns(np.arange(n)))),
        problem.gap,
        csc_matrix(np.vstack([problem.balance, eye, -eye])),
        np.concatenate([problem.force, problem.cap, np.zeros(n)]),
        [clarabel.ZeroConeT(m), clarabel.NonnegativeConeT(2 * n)],
        settings_,
    )
    answer = solver.solve()
    assert str(answer.status) in ("Solved", "AlmostSolved")
    return np.array(answer.x)


def energy(problem: BoundedProblem, p: Array) -> float:
    return float(0.5 * p @ problem.matrix.apply(p) + problem.gap @ p)


cases = {
    "seed": st.integers(0, 10_000),
    "cells": st.integers(3, 40),
    "rows": st.integers(1, 2),
    "load": st.floats(0.05, 0.95),
}


@settings(max_examples=60, deadline=None, derandomize=True)
@given(**cases)
def test_the_optimum_is_that_of_an_independent_solver(seed: int, cells: int, rows: int, load: float) -> None:
    problem = random_problem(seed, cells, rows, load)
    p, motion, report = solve_bounded(problem)
    other = by_conic_solver(problem)
    assert report.converged
    assert np.abs(p - other).max() < 1e-5 * problem.cap.max()
    assert energy(problem, p) <= energy(problem, other) + 1e-8 * (1 + abs(energy(problem, other)))
    assert complementarity(problem, p, motion) < 1e-8


@settings(max_examples=40, deadline=None, derandomize=True)
@given(**cases)
def test_the_start_does_not_matter(seed: int, cells: int, rows: int, load: float) -> None:
    problem = random_problem(seed, cells, rows, load)
    p, motion, _ = solve_bounded(problem)
    elsewhere = np.random.default_rng(seed + 1).uniform(-0.2, 1.2, cells) * problem.cap
    q, _, _ = solve_bounded(problem, elsewhere, motion + 1.0)
    np.testing.assert_allclose(q, p, atol=1e-7 * float(problem.cap.max()))


@settings(max_examples=40, deadline=None, derandomize=True)
@given(**cases)
def test_units_do_not_matter(seed: int, cells: int, rows: int, load: float) -> None:
    """Pressures in other units and lengths in other units: the same answer in those units."""
    problem = random_problem(seed, cells, rows, load)
    stress, length = 145.0377, 1.0 / 25.4
    other = BoundedProblem(
        matrix=Dense(problem.matrix.columns(np.arange(cells)) * length**2 / stress),
        gap=problem.gap * length**2,
        balance=problem.balance * length,
        balance_n=problem.balance_n * length,
        cap=problem.cap * stress,
        force=problem.force * stress * length,
    )
    np.testing.assert_allclose(
        solve_bounded(other)[0] / stress, solve_bounded(problem)[0], atol=1e-7 * float(problem.cap.max())
    )


@settings(max_examples=30, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), cells=st.integers(3, 30))
def test_a_higher_cap_never_costs_energy(seed: int, cells: int) -> None:
    problem = random_problem(seed, cells, 1, 0.5)
    wider = BoundedProblem(
        problem.matrix, problem.gap, problem.balance, problem.balance_n, 1.5 * problem.cap, problem.force
    )
    low, high = (energy(q, solve_bounded(q)[0]) for q in (wider, problem))
    assert low <= high + 1e-9 * (1 + abs(high))


def test_a_cap_that_is_reached_is_not_passed() -> None:
    """Three equal cells without coupling, gap 0, cap 1, force 3: by hand, all at the cap."""
    problem = BoundedProblem(
        Dense(np.eye(3)), np.zeros(3), np.ones((1, 3)), np.ones((1, 3)), np.ones(3), np.array([3.0 - 1e-9])
    )
    p, _, _ = solve_bounded(problem)
    assert p == pytest.approx([1.0, 1.0, 1.0], abs=1e-6)
    assert p.max() <= 1.0
