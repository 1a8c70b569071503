"""What the curve says: slip onset and slip torque, and the early answers per unit torque."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from contactfe.contact import ContactSolution
from contactfe.elastic import von_mises
from contactfe.mesh import SectionMesh
from contactfe.profile import TOUCHING
from contactfe.turn.build import BuiltPair
from contactfe.turn.curve import TorqueCurve, spread_mm
from contactfe.turn.engagement import bearing_depth
from contactfe.turn.marks import onset, peak
from contactfe.turn.states import wrench_state

Array = NDArray[np.float64]
Index = NDArray[np.int64]

EARLY_SHARE = 0.2  # of the slip torque: where the answers per unit torque are taken
AVERAGING_LENGTH = 0.05  # of the width across flats: surface stresses are means over this length


@dataclass(frozen=True)
class EarlyAnswer:
    """Answers per N m in the early, nearly linear part of the curve, at a fifth of the slip torque.

    ``pressure``: normal force of the most loaded flat over its length that is left, MPa per N m. ``stress``: largest
    von Mises stress on the surface of the wrench's opening, as a mean over 0.05 of the width across flats, MPa per
    N m. ``spread``: opening of the jaw mouth, or growth of a ring across the gripped corners, um per N m.
    ``share``: part of the normal force on each flat, anticlockwise from the first one.
    """

    torque_Nm: float
    pressure: float
    stress: float
    spread: float
    share: tuple[float, ...]


@dataclass(frozen=True)
class SlipEstimate:
    """The answer of one case. ``turns_freely`` leaves everything else None or empty. Units as in the names."""

    turns_freely: bool
    free_play_deg: float | None = None
    slip_torque_Nm: float | None = None
    slip_rotation_deg: float | None = None
    onset_torque_Nm: float | None = None
    onset_rotation_deg: float | None = None
    early: EarlyAnswer | None = None
    load_share: tuple[float, ...] = ()
    crushed_length_mm: float | None = None
    crush_depth_um: float | None = None
    cautions: tuple[str, ...] = ()


def crush_of(solution: ContactSolution) -> tuple[float, float]:
    """Length of surface (mm) that is crushed in a state, all flats together, and how deep the deepest place is (um)."""
    capped = solution.capped
    depth = float(np.max(-solution.gap[capped], initial=0.0))
    return float(solution.problem.length[capped].sum()), 1e3 * depth


def slip_estimate(built: BuiltPair, curve: TorqueCurve) -> SlipEstimate:
    """Slip onset, slip torque and the early answers of a solved curve.

    Raises:
        NotConverged: the state at a small torque cannot be solved.
    """
    if curve.free_play is None:
        return SlipEstimate(turns_freely=True)
    cautions = []
    if not curve.peak_inside:
        cautions.append(
            "the torque was still not falling where the solution ends: the slip torque is a lower bound"
        )
    rotation, torque = peak(curve)
    at_peak = curve.nearest(rotation)
    onset_rotation, onset_torque = onset(curve)
    crushed, depth_um = crush_of(at_peak)
    depth = depth_um / 1e3
    if depth > 0.02 * built.case.fastener.across_flats:
        cautions.append(
            f"at slip the crush is {depth:.2f} mm deep: material piles up and strains are large there, "
            "which this model leaves out"
        )
    return SlipEstimate(
        turns_freely=False,
        free_play_deg=math.degrees(curve.free_play),
        slip_torque_Nm=torque,
        slip_rotation_deg=math.degrees(rotation),
        onset_torque_Nm=onset_torque,
        onset_rotation_deg=math.degrees(onset_rotation),
        early=early_answer(built, curve, EARLY_SHARE * torque),
        load_share=load_share(built, at_peak),
        crushed_length_mm=crushed,
        crush_depth_um=depth_um,
        cautions=tuple(cautions),
    )


def load_share(built: BuiltPair, solution: ContactSolution) -> tuple[float, ...]:
    """Part of the normal force on each flat of the fastener, by the direction of the wrench's normal there."""
    n, pair = solution.problem.normal, built.pair
    angle = np.arctan2(-n[:, 1], -n[:, 0]) + pair.sense * solution.rotation - pair.first_flat
    flat = np.round(angle / (math.tau / pair.flats)).astype(int) % pair.flats
    force = np.bincount(flat, solution.pressure * solution.problem.length, minlength=pair.flats)
    total = force.sum()
    return tuple(float(f / total) for f in force) if total > 0 else ()


def early_answer(built: BuiltPair, curve: TorqueCurve, torque: float) -> EarlyAnswer | None:
    """Solve at the rotation that gives about the asked torque (N m) and read pressure, stress and spread there.

    None when nothing bears there yet.
    """
    top = int(np.argmax(curve.torque)) + 1
    drive = np.array([p.rotation for p in curve.solutions[:top]])
    rotation = float(np.interp(torque, np.maximum.accumulate(curve.torque[:top]), drive))
    near = curve.solutions[int(np.argmin(np.abs(drive - rotation)))]
    solution = built.rig.solve(rotation, built.law, near if near.pressure.any() else None)
    case = built.case
    reached = solution.torque * bearing_depth(case) / 1e3
    share = load_share(built, solution)
    if not share or reached <= 0:
        return None
    force = float(solution.pressure @ solution.problem.length)
    flat = flat_length(built)
    return EarlyAnswer(
        torque_Nm=reached,
        pressure=max(share) * force / flat / reached,
        stress=opening_stress(built, solution) / reached,
        spread=1e3 * spread_mm(built, solution) / reached,
        share=share,
    )


def flat_length(built: BuiltPair) -> float:
    """Mean length of flat that the fastener has left, mm; of a fastener without flats, its side's length."""
    lengths = [p.length for p in built.pair.fastener.pieces if p.name.startswith("flat")]
    return float(np.mean(lengths)) if lengths else math.pi * built.pair.across_flats / built.pair.flats


def opening_stress(built: BuiltPair, solution: ContactSolution) -> float:
    """Largest von Mises stress along the wrench's opening, each a mean over a short length of surface, MPa."""
    _, stress = wrench_state(built, solution)
    window = AVERAGING_LENGTH * built.pair.across_flats
    return surface_peak(built.wrench.mesh, von_mises(stress), window)


def surface_peak(mesh: SectionMesh, mises: Array, window: float) -> float:
    """Largest mean of nodal stresses (n,) over a length (mm) of the surface that may touch, MPa."""
    sides = np.sort(mesh.sides_named(*TOUCHING))
    runs = np.split(sides, np.flatnonzero(np.diff(sides) != 1) + 1)
    return max(_highest_mean(mesh, mises, run, window) for run in runs)


def _highest_mean(mesh: SectionMesh, value: Array, run: Index, window: float) -> float:
    """Largest mean of nodal values (n,) over a length (mm) of surface along consecutive sides, (k,)."""
    triple = mesh.boundary.nodes[run]
    if triple[0, 0] == triple[-1, 2]:  # closed: the window may lie across its seam
        triple = np.vstack([triple, triple])
    length = np.linalg.norm(mesh.nodes[triple[:, 2]] - mesh.nodes[triple[:, 0]], axis=1)
    mean = value[triple] @ np.array([1.0, 4.0, 1.0]) / 6.0
    s, total = (np.concatenate([[0.0], np.cumsum(part)]) for part in (length, mean * length))
    if s[-1] <= window:
        return float(total[-1] / s[-1])
    begin = np.clip(np.concatenate([s, s - window]), 0.0, s[-1] - window)
    return float((np.interp(begin + window, s, total) - np.interp(begin, s, total)).max() / window)
