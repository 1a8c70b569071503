"""The frames of the turning player: both bodies at every solved rotation, as whole numbers for a picture.

The fastener stands still and the wrench turns, as a person at the bench sees it. Places are whole multiples of
`Stage.unit`, x to the right and y down, so that a page can use them as they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.contact import ContactSolution
from contactfe.mesh import SectionMesh
from contactfe.report.player.events import Event, events_of
from contactfe.report.state import HeadMove, head_move, true_opening
from contactfe.turn import bearing_depth, fastener_states, load_share, spread_mm, state_at, wrench_states

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Whole = NDArray[np.int64]

UNIT = 5e-4  # of the width across flats: what one step of a place stands for
SHOWN = 0.06  # of the width across flats: about how far the largest displacement is drawn
PRESSURE = 0.16  # of the width across flats: length of a pressure bar at the cap
PLAY_FRAMES = 4  # pictures on the way through the free play
TURN, FAR = (
    math.radians(5.0),
    0.05,
)  # an outline keeps a node after so much of a turn, or of the width across flats
LEAST_ZONE = 2e-5  # of the width squared: smaller yielded spots are not drawn
_PARTS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])  # four straight triangles of a six-node one


@dataclass(frozen=True, eq=False)
class Frame:
    """The pair at one rotation of the head.

    ``place``: angle (deg, as SVG turns) and shift (2,) of the wrench against the fastener. ``wrench`` and ``fastener``:
    displacements (p, 2) of the points of `Stage`, magnified. ``bars`` (b, 4, 2): corners of the pressure bars on the
    wrench, those with ``crushed`` (b,) at the pressure cap. ``yielded``: rings of the wrench's yielded zone.
    ``load_N``: normal force on each flat. ``spread_um``: of the jaws, or growth of a ring.
    """

    rotation_deg: float
    torque_Nm: float
    spread_um: float
    load_N: tuple[float, ...]
    place: tuple[float, int, int]
    wrench: Whole
    fastener: Whole
    bars: Whole
    crushed: NDArray[np.bool_]
    yielded: tuple[Whole, ...]


@dataclass(frozen=True, eq=False)
class Stage:
    """What all frames share: undeformed outlines as loops of points (p, 2), the scale, events and frames.

    ``unit`` mm that a whole number stands for; ``magnification`` of the displacements; ``reach`` half the width of a
    picture that holds the head at every rotation; ``at_event`` the number of the frame of each event.
    """

    wrench: tuple[Whole, ...]
    fastener: tuple[Whole, ...]
    unit: float
    magnification: float
    reach: int
    flat_angles: tuple[float, ...]
    events: tuple[Event, ...]
    at_event: tuple[int, ...]
    frames: tuple[Frame, ...]


@dataclass(frozen=True, eq=False)
class _Stop:
    rotation_deg: float
    torque_Nm: float
    solution: ContactSolution | None
    event: int | None = None


def stage_of(record: CaseRecord) -> Stage | None:
    """Return the frames of a solved case; None when the wrench turns freely, so that nothing is ever pressed."""
    if not record.curve.solutions or record.estimate.turns_freely:
        return None
    built, events = record.built, events_of(record)
    stops = _stops(record, events)
    s = built.case.fastener.across_flats
    unit = UNIT * s
    meshes = built.wrench.mesh, built.fastener.mesh
    loops = [[_kept(mesh, loop, s) for loop in _loops(mesh)] for mesh in meshes]
    nodes = true_opening(built), meshes[1].nodes
    loaded = [stop.solution for stop in stops if stop.solution is not None and stop.solution.pressure.any()]
    wrench, fastener = wrench_states(built, loaded), fastener_states(built, loaded)
    moves = [head_move(built, one, u) for one, u in zip(loaded, wrench.displacement, strict=True)]
    left = np.stack(
        [move.left(meshes[0].nodes, u) for move, u in zip(moves, wrench.displacement, strict=True)]
    )
    used = [np.concatenate(body) for body in loops]
    largest = max(_largest(left, used[0], nodes[0], s), _largest(fastener.displacement, used[1], nodes[1], s))
    drawing = _Drawing(record, unit, magnification(SHOWN * s, largest), nodes[0])
    frames, k = [], 0
    for stop in stops:
        if stop.solution is None or not stop.solution.pressure.any():
            frames.append(drawing.idle(stop, len(used[0]), len(used[1])))
            continue
        moved = (left[k, used[0]], fastener.displacement[k, used[1]])
        frames.append(drawing.loaded(stop, moves[k], moved, wrench.von_mises[k]))
        k += 1
    at = {stop.event: i for i, stop in enumerate(stops) if stop.event is not None}
    return Stage(
        wrench=tuple(_screen(nodes[0][loop], unit) for loop in loops[0]),
        fastener=tuple(_screen(nodes[1][loop], unit) for loop in loops[1]),
        unit=unit,
        magnification=drawing.magnification,
        reach=_reach(nodes[0], s, unit),
        flat_angles=tuple(
            built.pair.first_flat + math.tau * k / built.pair.flats for k in range(built.pair.flats)
        ),
        events=events,
        at_event=tuple(at[i] for i in range(len(events))),
        frames=tuple(frames),
    )


def _stops(record: CaseRecord, events: Sequence[Event]) -> list[_Stop]:
    """Square, free play, every solved point of the curve, and each event at its own rotation, in order."""
    curve = record.curve
    play = record.estimate.free_play_deg or 0.0
    idle = [_Stop(play * k / PLAY_FRAMES, 0.0, None) for k in range(PLAY_FRAMES)] if play > 0 else []
    rotations = np.degrees(curve.rotation)
    stops = [
        *idle,
        *(_Stop(*of) for of in zip(rotations.tolist(), curve.torque.tolist(), curve.solutions, strict=True)),
    ]
    for number, event in enumerate(events):
        same = next(
            (
                i
                for i, stop in enumerate(stops)
                if stop.event is None
                and abs(stop.rotation_deg - event.rotation_deg) < 1e-9
                and abs(stop.torque_Nm - event.torque_Nm) < 1e-9
            ),
            None,
        )
        if same is not None:
            stop = stops[same]
            stops[same] = _Stop(stop.rotation_deg, stop.torque_Nm, stop.solution, number)
            continue
        top = max(range(len(stops)), key=lambda i: stops[i].torque_Nm)
        before = [i for i in range(top + 1) if stops[i].rotation_deg <= event.rotation_deg]
        place = before[-1] + 1 if before else 0
        solution = state_at(record.built, curve, min(max(event.rotation_deg, rotations[0]), rotations.max()))
        stops.insert(place, _Stop(event.rotation_deg, event.torque_Nm, solution, number))
    return stops


@dataclass(frozen=True, eq=False)
class _Drawing:
    """How states become frames."""

    record: CaseRecord
    unit: float
    magnification: float
    nodes: Array

    def idle(self, stop: _Stop, wrench: int, fastener: int) -> Frame:
        """A frame without load: the wrench about the fastener's axis."""
        pair = self.record.built.pair
        none = (np.zeros((wrench, 2), dtype=np.int64), np.zeros((fastener, 2), dtype=np.int64))
        return Frame(
            stop.rotation_deg, stop.torque_Nm, 0.0, (0.0,) * pair.flats,
            (-pair.sense * stop.rotation_deg, 0, 0), *none,
            np.zeros((0, 4, 2), dtype=np.int64), np.zeros(0, dtype=bool), (),
        )  # fmt: skip

    def loaded(self, stop: _Stop, move: HeadMove, moved: tuple[Array, Array], mises: Array) -> Frame:
        """A frame under load, from the displacements (p, 2) mm of both outlines."""
        built, solution = self.record.built, stop.solution
        assert solution is not None
        case = built.case
        force = float(solution.pressure @ solution.problem.length) * bearing_depth(case)
        bars, crushed = self._bars(solution)
        shift = _screen(-move.shift[None], self.unit)[0]
        return Frame(
            rotation_deg=stop.rotation_deg,
            torque_Nm=stop.torque_Nm,
            spread_um=1e3 * spread_mm(built, solution),
            load_N=tuple(force * part for part in load_share(built, solution)),
            place=(math.degrees(move.turn), int(shift[0]), int(shift[1])),
            wrench=_screen(self.magnification * moved[0], self.unit),
            fastener=_screen(self.magnification * moved[1], self.unit),
            bars=bars,
            crushed=crushed,
            yielded=self._yielded(mises),
        )

    def _bars(self, solution: ContactSolution) -> tuple[Whole, NDArray[np.bool_]]:
        """Bars from the flank into the wrench, as long as the pressure is high; the cells of the contact."""
        built, problem = self.record.built, solution.problem
        factor = built.case.wrench.opening / built.pair.opening
        on = solution.pressure > 1e-3 * solution.law.cap
        normal, centre = problem.normal[on], problem.centre[on] * factor
        half = 0.5 * problem.length[on, None] * np.column_stack([-normal[:, 1], normal[:, 0]])
        share = np.minimum(solution.pressure[on] / solution.law.cap, 1.0)
        end = -PRESSURE * built.case.fastener.across_flats * share[:, None] * normal
        corners = np.stack([centre - half, centre + half, centre + half + end, centre - half + end], axis=1)
        return _screen(corners.reshape(-1, 2), self.unit).reshape(-1, 4, 2), solution.capped[on]

    def _yielded(self, mises: Array) -> tuple[Whole, ...]:
        """Rings round the parts of the wrench where the stress of the linear model passes its yield strength."""
        built = self.record.built
        parts = built.wrench.mesh.cells[:, _PARTS].reshape(-1, 3)
        parts = parts[mises[parts].mean(axis=1) > built.case.wrench.yield_strength]
        if not len(parts):
            return ()
        s = built.case.fastener.across_flats
        zone = shapely.union_all(shapely.polygons(self.nodes[parts])).simplify(2e-3 * s)
        found = [part for part in getattr(zone, "geoms", [zone]) if part.area > LEAST_ZONE * s**2]
        rings = [ring for part in found for ring in (part.exterior, *part.interiors)]
        return tuple(_screen(np.array(ring.coords)[:-1], self.unit) for ring in rings)


def _screen(points: Array, unit: float) -> Whole:
    """Places (n, 2) mm as whole numbers, y down."""
    return np.asarray(np.rint(points * np.array([1.0, -1.0]) / unit), dtype=np.int64)


def _loops(mesh: SectionMesh) -> list[Index]:
    """The nodes of each loop of the mesh's boundary in running order."""
    first, out = 0, []
    for loop in mesh.outline.loops:
        sides = (mesh.boundary.piece >= first) & (mesh.boundary.piece < first + len(loop))
        out.append(mesh.boundary.nodes[sides][:, :2].ravel())
        first += len(loop)
    return out


def _kept(mesh: SectionMesh, loop: Index, s: float) -> Index:
    """The nodes of a loop that a picture needs: where the outline has turned, or gone on, by enough."""
    points = mesh.nodes[loop]
    step = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(step[:, 1], step[:, 0])
    kept, turned, gone = [0], 0.0, 0.0
    for i in range(1, len(loop)):
        bend = abs(math.remainder(heading[i] - heading[i - 1], math.tau))
        turned, gone = turned + bend, gone + float(np.hypot(*step[i - 1]))
        if bend > TURN or turned > TURN or gone > FAR * s:
            kept.append(i)
            turned = gone = 0.0
    return np.asarray(loop[kept])


def _largest(displacement: Array, used: Index, nodes: Array, s: float) -> float:
    """The largest displacement (mm) of an outline near the fastener, over all states."""
    near = used[np.linalg.norm(nodes[used], axis=1) < 1.1 * s]
    return float(np.linalg.norm(displacement[:, near], axis=2).max(initial=0.0))


def magnification(wanted: float, largest: float) -> float:
    """A round number that shows the largest displacement (mm) about as long as wanted (mm); at least 1."""
    if largest <= 0.0 or wanted <= largest:
        return 1.0
    step = 10.0 ** math.floor(math.log10(wanted / largest))
    return max(k * step for k in (1.0, 2.0, 5.0) if k * step <= wanted / largest * (1.0 + 1e-9))


def _reach(nodes: Array, s: float, unit: float) -> int:
    """Half the width of the picture: the head without most of its handle."""
    away = np.linalg.norm(nodes, axis=1)
    ahead = away[nodes[:, 0] > 0].max(initial=0.0)
    return int(1.04 * min(max(ahead, float(np.abs(nodes[:, 1]).max())), 1.5 * s) / unit)
