"""Times of the stages of one case, and of the same curve by the whole finite-element system."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from statistics import median
from typing import Any, TypeVar

import numpy as np

from contactfe.bench.full import FullState, FullSystem
from contactfe.contact import ContactProblem
from contactfe.elastic import HeldBody, cyclic_flexibility, stiffness
from contactfe.inputs import CaseInput
from contactfe.mesh import mesh_fastener, mesh_outline, wrench_sizes
from contactfe.profile import profile_pair
from contactfe.turn import (
    BodyModel,
    BuiltPair,
    TorqueCurve,
    assemble,
    build_pair,
    fastener_body,
    fastener_material,
    slip_estimate,
    torque_curve,
    wrench_body,
    wrench_material,
)

T = TypeVar("T")


@dataclass(frozen=True)
class StageTimes:
    """Seconds of one case; assembly, factorisation and flexibility are of both bodies together, of the fastener one sector
    where its sectors are alike; its flexibility is timed with a factorisation of its own.

    ``cold``: from the inputs to the curve. ``warm``: the curve alone, bodies built before; median of several.
    ``estimate``: the answers from the curve. ``unknowns`` of both bodies, ``rotations`` of the curve.
    """

    profile: str
    unknowns: int
    rotations: int
    meshing: float
    assembly: float
    factorisation: float
    flexibility: float
    cold: float
    warm: float
    estimate: float


@dataclass(frozen=True)
class Comparison:
    """The same curve twice: seconds per curve by the reduced method (warm) and by the whole system.

    The whole system is solved at ``solved_rotations`` of the curve's ``rotations`` and its time scaled to
    all of them. ``difference``: largest difference in torque over the largest torque."""

    profile: str
    rotations: int
    solved_rotations: int
    factorisations_per_rotation: float
    reduced_seconds: float
    full_seconds: float
    ratio: float
    difference: float


def _timed(action: Callable[[], T]) -> tuple[float, T]:
    start = time.perf_counter()
    result = action()
    return time.perf_counter() - start, result


def _median_time(action: Callable[[], object], repeats: int) -> float:
    return median(_timed(action)[0] for _ in range(repeats))


def stage_times(case: CaseInput, repeats: int = 5) -> StageTimes:
    """Time the stages of one case.

    Raises:
        ContactFEError: the case cannot be solved.
    """
    cold, (built, curve) = _timed(lambda: _curve_from(case))
    pair = profile_pair(case)
    meshing, (whole, sector) = _timed(lambda: mesh_fastener(pair, case.mesh))
    meshing += _timed(lambda: mesh_outline(pair.wrench, wrench_sizes(pair, case.mesh)))[0]
    mesh = whole if sector is None else sector.mesh
    core = np.unique(mesh.boundary.nodes[mesh.sides_named("core")])
    end = built.wrench.mesh.sides_named("handle-end")
    supports: list[dict[str, Any]] = [{"clamped": core}, {"carried": end}]
    made = (mesh, fastener_material(case)), (built.wrench.mesh, wrench_material(case))
    assembly, factorisation, holders = 0.0, 0.0, []
    for (body, material), held in zip(made, supports, strict=True):
        own = _median_time(partial(stiffness, body, material), repeats)
        both, holder = _timed(partial(HeldBody, body, material, **held))
        assembly, factorisation = assembly + own, factorisation + max(both - own, 0.0)
        holders.append(holder)
    flexibility = _timed(partial(holders[1].flexibility, built.wrench.flexibility.nodes))[0]
    if sector is not None:
        flexibility += _timed(partial(cyclic_flexibility, sector, made[0][1], *sector.edges()))[0]
    # The wrench of a built pair refers to the engaged depth; one of its own thickness is put together anew.
    bodies = fastener_body(case, pair), wrench_body(case, pair)
    return StageTimes(
        profile=case.wrench.profile,
        unknowns=2 * (len(built.fastener.mesh.nodes) + len(built.wrench.mesh.nodes)),
        rotations=len(curve.rotation),
        meshing=meshing,
        assembly=assembly,
        factorisation=factorisation,
        flexibility=flexibility,
        cold=cold,
        warm=_median_time(lambda: torque_curve(assemble(case, pair, *_anew(bodies))), repeats),
        estimate=_median_time(lambda: slip_estimate(built, curve), repeats),
    )


def _anew(bodies: tuple[BodyModel, BodyModel]) -> list[BodyModel]:
    """The bodies as other objects, so that nothing is found that an earlier curve on them has left."""
    return [BodyModel(body.mesh, body.flexibility) for body in bodies]


def _curve_from(case: CaseInput) -> tuple[BuiltPair, TorqueCurve]:
    built = build_pair(case)
    return built, torque_curve(built)


def compare_with_full(case: CaseInput, most: int = 8) -> Comparison:
    """Solve the curve of a case both ways, the whole system at no more than `most` rotations, evenly picked.

    Raises:
        ContactFEError: the case cannot be solved.
    """
    pair = profile_pair(case)
    bodies = fastener_body(case, pair), wrench_body(case, pair)
    reduced = _median_time(lambda: torque_curve(assemble(case, pair, *_anew(bodies))), 5)
    built = assemble(case, pair, *bodies)
    curve = torque_curve(built)
    loaded = [s for s in curve.solutions if s.torque > 0]
    picked = sorted({round(i) for i in np.linspace(0, len(loaded) - 1, min(most, len(loaded)))})
    seconds, states = _timed(lambda: _full_states(built, [loaded[i].problem for i in picked]))
    full = seconds / len(picked) * len(loaded)
    peak = max(s.torque for s in loaded)
    return Comparison(
        profile=case.wrench.profile,
        rotations=len(loaded),
        solved_rotations=len(picked),
        factorisations_per_rotation=sum(s.factorisations for s in states) / len(states),
        reduced_seconds=reduced,
        full_seconds=full,
        ratio=full / reduced,
        difference=max(abs(s.torque - loaded[i].torque) for s, i in zip(states, picked, strict=True)) / peak,
    )


def _full_states(built: BuiltPair, problems: list[ContactProblem]) -> list[FullState]:
    system = FullSystem(built)
    states: list[FullState] = []
    for problem in problems:
        states.append(system.solve(problem, states[-1] if states else None))
    return states
