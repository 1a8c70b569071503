"""What would have helped: one input changed at a time, and the curve solved again.

What leaves both bodies as they are is solved on them; a change of shape on a coarser model of the pair, beside the
case itself on that model.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from contactfe.errors import ContactFEError, GeometryError, NotConverged
from contactfe.explain.alone import reassembled, top_of
from contactfe.explain.bodies import SharedBodies
from contactfe.explain.ligaments import wrench_limits
from contactfe.inputs import CaseInput
from contactfe.standards import opening_limits, size
from contactfe.turn import BuiltPair, CaseRecord, torque_curve
from contactfe.turn.estimate import SlipEstimate

COARSER = (
    2.5  # times the case's edge lengths where a body has to be meshed anew: good to 1 % of the torque or so
)
MORE = 0.10  # by how much most inputs are changed
GRIPPIER = 0.05  # added to the friction
LESS_WEAR = 0.10  # taken from the rounding
SHARP = 0.01  # of the width across flats: corner radius of a sharp corner

Change = Callable[[CaseInput], CaseInput]


@dataclass(frozen=True)
class Lever:
    """One input and how it was changed: ``change`` in words, the torque it adds (N m), and its share of the torque.

    ``choice``: something that a user may change; the constants of the model are none.
    """

    key: str
    change: str
    gain_Nm: float
    gain_share: float
    choice: bool = True


@dataclass(frozen=True)
class _Trial:
    key: str
    change: str
    case: CaseInput
    remesh: bool = False
    choice: bool = True


def levers(record: CaseRecord, capped: bool = False) -> tuple[Lever, ...]:
    """The effect of each input on the torque, the most helpful first.

    Args:
        capped: the wrench gives way before slip: the torque at which it does is what counts.

    Raises:
        NotConverged, GeometryError: the coarser model of the case itself cannot be solved.
    """
    torque = record.estimate.slip_torque_Nm
    if torque is None:
        return ()
    answer = _delivered if capped else _slip
    bodies = SharedBodies()
    base = {False: record.built, True: bodies.build(coarser(record.built.case))}
    before = {remesh: answer(built) for remesh, built in base.items()}
    found = []
    for remesh, built in base.items():
        own = before[remesh]
        for trial in _trials(built.case, capped):
            if trial.remesh is not remesh or not own:
                continue
            try:
                after = answer(bodies.build(trial.case) if remesh else reassembled(built, trial.case))
            except (GeometryError, NotConverged):
                continue  # a change that cannot be built is none that could be made
            if after is not None:
                share = after / own - 1.0
                found.append(Lever(trial.key, trial.change, share * torque, share, trial.choice))
    return tuple(sorted(found, key=lambda lever: -lever.gain_share))


def coarser(case: CaseInput) -> CaseInput:
    """The case on a coarser mesh."""
    mesh = case.mesh
    return replace(
        case,
        mesh=replace(
            mesh,
            edge_at_contact=COARSER * mesh.edge_at_contact,
            edge_max=min(COARSER * mesh.edge_max, 0.2 * case.fastener.across_flats),
        ),
    )


def _slip(built: BuiltPair) -> float | None:
    return top_of(torque_curve(built))


def _delivered(built: BuiltPair) -> float | None:
    curve = torque_curve(built)
    top = top_of(curve)
    if not top:
        return top
    limits = wrench_limits(CaseRecord(built, curve, SlipEstimate(False, slip_torque_Nm=top)))
    return top if limits is None else min(top, limits.collapse_Nm)


def _trials(case: CaseInput, capped: bool) -> Iterator[_Trial]:
    yield from _contact_trials(case, capped)
    yield from _depth_trials(case)
    yield from _wear_trials(case)
    yield from _head_trials(case)


def _contact_trials(case: CaseInput, capped: bool) -> Iterator[_Trial]:
    f, w, c = case.fastener, case.wrench, case.contact
    tight = _tightest(case)
    if tight is not None:
        opening, why = tight
        yield _Trial(
            "clearance",
            f"opening {w.opening:.5g} to {opening:.5g} mm ({why})",
            replace(case, wrench=replace(w, opening=opening)),
        )
    friction = c.friction + GRIPPIER
    yield _Trial(
        "friction",
        f"friction {c.friction:g} to {friction:.3g}",
        replace(case, contact=replace(c, friction=friction)),
    )
    harder = f.yield_strength * (1 + MORE)
    if f.yield_strength <= w.yield_strength:
        yield _Trial(
            "fastener-yield",
            f"yield strength of the fastener {f.yield_strength:.4g} to {harder:.4g} MPa",
            replace(case, fastener=replace(f, yield_strength=harder)),
        )
    if capped or w.yield_strength < f.yield_strength:
        harder = w.yield_strength * (1 + MORE)
        yield _Trial(
            "wrench-yield",
            f"yield strength of the wrench {w.yield_strength:.4g} to {harder:.4g} MPa",
            replace(case, wrench=replace(w, yield_strength=harder)),
        )
    factor = c.constraint_factor * (1 + MORE)
    yield _Trial(
        "constraint-factor",
        f"pressure cap {c.constraint_factor:.4g} to {factor:.4g} of yield (a constant of the model)",
        replace(case, contact=replace(c, constraint_factor=factor)),
        choice=False,
    )


def _tightest(case: CaseInput) -> tuple[float, str] | None:
    """A tighter opening and why it: the standard's tightest, or half the clearance where that is not tighter."""
    f, w = case.fastener, case.wrench
    if w.profile == "outline":
        return None
    try:
        inch = size(f.size).inch if f.size else False
        lower = opening_limits(f.across_flats_nominal, inch).lower
    except ContactFEError:
        lower = math.inf
    if f.across_flats < lower < w.opening - 1e-3:
        return lower, "the tightest of the standard"
    half = 0.5 * (w.opening + f.across_flats)
    return (half, "half the clearance") if w.opening - f.across_flats > 2e-3 * f.across_flats else None


def _depth_trials(case: CaseInput) -> Iterator[_Trial]:
    f, w = case.fastener, case.wrench
    deeper, thicker = f.engaged_depth * (1 + MORE), w.thickness * (1 + MORE)
    yield _Trial(
        "depth",
        f"engaged depth {f.engaged_depth:.4g} to {deeper:.4g} mm",
        replace(case, fastener=replace(f, engaged_depth=deeper)),
    )
    yield _Trial(
        "thickness",
        f"thickness of the head {w.thickness:.4g} to {thicker:.4g} mm",
        replace(case, wrench=replace(w, thickness=thicker)),
    )


def _wear_trials(case: CaseInput) -> Iterator[_Trial]:
    f = case.fastener
    if f.shape == "outline":
        return
    if f.rounding > 0:
        less = max(0.0, f.rounding - LESS_WEAR)
        yield _Trial(
            "corner-wear",
            f"corners rounded by {100 * f.rounding:.3g} to {100 * less:.3g} %",
            replace(case, fastener=replace(f, rounding=less)),
            remesh=True,
        )
    elif f.corner_radius > 1.01 * SHARP * f.across_flats:
        sharp = SHARP * f.across_flats
        yield _Trial(
            "corner-radius",
            f"corner radius {f.corner_radius:.3g} to {sharp:.3g} mm",
            replace(case, fastener=replace(f, corner_radius=sharp)),
            remesh=True,
        )


def _head_trials(case: CaseInput) -> Iterator[_Trial]:
    """A thicker wall."""
    dims, opening = case.wrench.dims, case.wrench.opening
    if "outside_diameter" in dims:
        wall = dims["outside_diameter"] / 2 - opening / math.sqrt(3.0)
        yield _dim(
            case,
            "outside_diameter",
            dims["outside_diameter"] + 2 * MORE * wall,
            "wall",
            "outside diameter",
            ": wall 10 % thicker",
        )
    elif "head_width" in dims:
        wall = (dims["head_width"] - opening) / 2
        yield _dim(
            case,
            "head_width",
            dims["head_width"] + 2 * MORE * wall,
            "wall",
            "width of the head",
            ": jaws 10 % stronger",
        )


def _dim(case: CaseInput, name: str, value: float, key: str, words: str, why: str) -> _Trial:
    old = case.wrench.dims[name]
    items = tuple((n, value if n == name else v) for n, v in case.wrench.dims_items)
    changed = replace(case, wrench=replace(case.wrench, dims_items=items))
    return _Trial(key, f"{words} {old:.4g} to {value:.4g} mm{why}", changed, remesh=True)
