"""What would have helped: one input changed at a time, and the torque solved again.

What leaves both bodies as they are is solved on them, another shape of the wrench on its mesh moved to that shape and a
fastener with other corners on a mesh of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from contactfe.case import CaseRecord, KnownPair, known_from
from contactfe.errors import ContactFEError, GeometryError, NotConverged
from contactfe.explain.limiting import delivered, delivered_near, reassembled
from contactfe.inputs import CaseInput
from contactfe.mesh import moved_mesh
from contactfe.profile import profile_pair
from contactfe.standards import opening_limits
from contactfe.turn import (
    BodyModel,
    BuiltPair,
    assemble,
    build_pair,
    fastener_body,
    torque_curve,
    wrench_flexibility,
)

OUT_OF_REACH = 1.25  # of the slip torque
MORE = 0.10  # by how much most inputs are changed
GRIPPIER = 0.05  # added to the friction
LESS_WEAR = 0.10  # taken from the rounding
RESHAPED = 0.05  # by how much dimensions of the opening are changed
SHARP = 0.01  # of the width across flats: corner radius of a sharp corner

How = Literal["same", "shape", "corners"]


@dataclass(frozen=True)
class ParameterEffect:
    """One input and how it was changed: ``change`` in words, the torque it adds (N m), and its share of the torque.

    ``choice``: something that a user may change; the constants of the model are none. ``shape``: another shape of the
    wrench, which its maker may give it.
    """

    key: str
    change: str
    gain_Nm: float
    gain_share: float
    choice: bool = True
    shape: bool = False


@dataclass(frozen=True)
class _Trial:
    """A changed case, and how it is solved: on the "same" bodies, with another "shape" of the wrench or its opening,
    or a fastener with other "corners"."""

    key: str
    change: str
    case: CaseInput
    how: How = "same"
    choice: bool = True
    back: CaseInput | None = None  # the change the other way, told where the first one does not help
    back_change: str = ""


def effects(record: CaseRecord) -> tuple[ParameterEffect, ...]:
    """The effect of each input on the torque delivered, the most helpful first."""
    if record.estimate.slip_torque_Nm is None or not record.curve.peak_inside:
        return ()
    solver = _Solver(record)
    found = []
    for trial in _trials(record.built.case, solver.judged):
        share, words = solver.share(trial.case, trial.how), trial.change
        if trial.back is not None and (share is None or share < 0):
            share, words = solver.share(trial.back, trial.how), trial.back_change
        if share is not None:
            gain, shape = share * solver.torque, trial.how == "shape"
            found.append(ParameterEffect(trial.key, words, gain, share, trial.choice, shape))
    return tuple(sorted(found, key=lambda effect: -effect.gain_share))


class _Solver:
    """Solves changed cases next to a record."""

    def __init__(self, record: CaseRecord) -> None:
        wrench = record.limit("wrench")
        # No single change raises the grip by more: a wrench that is stronger than that is not met.
        self.judged = wrench is not None and (wrench.torque_Nm or math.inf) < OUT_OF_REACH * (
            record.estimate.slip_torque_Nm or 0.0
        )
        self._record, self.torque = record, record.torque_Nm

    @cached_property
    def _known(self) -> KnownPair | None:
        return known_from(self._record)

    @cached_property
    def _itself(self) -> float:
        """The torque of the case, looked for as that of a changed one."""
        return self._near(self._record.built)

    def share(self, case: CaseInput, how: How) -> float | None:
        """By which share the torque of a changed case is larger; None where it cannot be built or solved."""
        try:
            if how == "corners":
                before, after = self.torque, self._anew(self._cornered(case))
            elif how == "same":
                before, after = self._itself, self._near(reassembled(self._record.built, case))
            else:
                moved = self._shaped(case)
                if moved is None:
                    before, after = self.torque, self._anew(build_pair(case))
                else:
                    before, after = self._itself, self._near(moved)
        except (GeometryError, NotConverged):
            return None  # a change that cannot be built is none that could be made
        return None if after is None or not before else after / before - 1.0

    def _near(self, built: BuiltPair) -> float:
        return delivered_near(built, self._known, self.judged)

    def _anew(self, built: BuiltPair) -> float | None:
        return delivered(built, torque_curve(built), self.judged)

    def _shaped(self, case: CaseInput) -> BuiltPair | None:
        """The pair with its wrench's mesh moved to another shape; None where that cannot be done."""
        built, pair = self._record.built, profile_pair(case)
        try:
            mesh = moved_mesh(built.wrench.mesh, pair.wrench)
        except GeometryError:
            return None
        nodes = built.wrench.flexibility.nodes
        body = BodyModel(mesh, wrench_flexibility(case, pair, mesh, nodes))
        return assemble(case, pair, built.fastener, body)

    def _cornered(self, case: CaseInput) -> BuiltPair:
        """The pair with another fastener, on the wrench as it is."""
        pair = profile_pair(case)
        return assemble(case, pair, fastener_body(case, pair), self._record.built.wrench)


def _trials(case: CaseInput, judged: bool) -> Iterator[_Trial]:
    yield from _contact_trials(case, judged)
    yield from _depth_trials(case)
    yield from _wear_trials(case)
    yield from _head_trials(case)


def _contact_trials(case: CaseInput, judged: bool) -> Iterator[_Trial]:
    f, w, c = case.fastener, case.wrench, case.contact
    tight = _tightest(case)
    if tight is not None:
        opening, why = tight
        yield _Trial(
            "clearance",
            f"opening {w.opening:.5g} to {opening:.5g} mm ({why})",
            replace(case, wrench=replace(w, opening=opening)),
            how="shape",
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
    if judged or w.yield_strength < f.yield_strength:
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
    if w.family.drawn:
        return None
    try:
        lower = opening_limits(f.across_flats_nominal, f.inch).lower
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
            how="corners",
        )
    elif f.corner_radius > 1.01 * SHARP * f.across_flats:
        sharp = SHARP * f.across_flats
        yield _Trial(
            "corner-radius",
            f"corner radius {f.corner_radius:.3g} to {sharp:.3g} mm",
            replace(case, fastener=replace(f, corner_radius=sharp)),
            how="corners",
        )


def _head_trials(case: CaseInput) -> Iterator[_Trial]:
    """Changes of shape that are a maker's choice: a thicker wall, and what the profile bears with."""
    dims, opening = case.wrench.dims, case.wrench.opening
    if "outside_diameter" in dims:
        wall = dims["outside_diameter"] / 2 - opening / math.sqrt(3.0)
        yield _dim(case, "outside_diameter", 2 * MORE * wall, "wall", "outside diameter", "wall 10 % thicker")
    elif "head_width" in dims:
        wall = (dims["head_width"] - opening) / 2
        yield _dim(case, "head_width", 2 * MORE * wall, "wall", "width of the head", "jaws 10 % stronger")
    # What other families have beside the wall moves the torque by no more than the mesh does (measured: radius of the
    # ridges, reach of the jaws, slot), so their records name no dimension.
    name, words = case.wrench.family.key_dim
    if name in dims:
        more = RESHAPED * dims[name]
        if name == "throat_depth":  # the corner of the fastener has to clear it
            more = min(more, dims[name] - case.fastener.across_flats / math.sqrt(3.0))
        if more > 0:
            sign = 1 if name == "lobe_angle" else -1  # what helps as a rule is tried first
            yield _dim(case, name, sign * more, name.replace("_", "-"), words, "")


def _dim(case: CaseInput, name: str, more: float, key: str, words: str, why: str) -> _Trial:
    """A dimension made larger, or smaller where that helps."""
    old = case.wrench.dims[name]
    degree = name.endswith("angle")

    def changed(value: float) -> tuple[CaseInput, str]:
        items = tuple((n, value if n == name else v) for n, v in case.wrench.dims_items)
        shown = [math.degrees(x) if degree else x for x in (old, value)]
        text = f"{words} {shown[0]:.4g} to {shown[1]:.4g} {'deg' if degree else 'mm'}"
        note = f"a change of shape: {why}" if why and value > old else "a change of shape"
        return replace(case, wrench=replace(case.wrench, dims_items=items)), f"{text} ({note})"

    (larger, told), (smaller, told_back) = changed(old + more), changed(old - more)
    # A thinner wall is no choice: it never helps.
    back = (None, "") if key == "wall" else (smaller, told_back)
    return _Trial(key, told, larger, "shape", True, *back)
