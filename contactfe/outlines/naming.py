"""Names for the pieces of a drawing: what bears on the fastener, what is outside, where the handle is held."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from contactfe.errors import nearest
from contactfe.outlines.chain import Fault
from contactfe.outlines.opening import PARALLEL, PLAIN_RADIUS, SLOT, Mouth, facing
from contactfe.profile import WRENCH_NAMES, Outline, Piece

Array = NDArray[np.float64]
BEARS = 1.06
"""Of the half width: parts of an open jaw that come closer than this to the hexagon are flanks, others throat."""
HANDLE_OUT = 1.05
"""Of the opening's width: how far from the axis the end of a handle lies at least."""
LEAST_FLAT = 0.25
"""Of the largest radius: straight pieces of a fastener that are longer are flats."""


def width_at(points: Array, first_flat: float, flats: int = 6) -> float:
    """Width across flats (mm) of the largest regular polygon with a flat at an angle that leaves all points (n, 2)
    outside."""
    angles = first_flat + math.tau * np.arange(flats) / flats
    reach = points @ np.vstack([np.cos(angles), np.sin(angles)])
    return 2.0 * float(reach.max(axis=1).min())


def seat_of(pieces: Sequence[Piece], handle: float, flats: int = 6) -> tuple[float, float]:
    """Direction of a flat (rad) and width (mm) of the largest regular polygon about the axis in an opening.

    Re-entrant roundings, which corners clear, are left out. Of equal seats the one with a flat nearest to the
    direction opposite to the `handle` (rad) is taken.
    """
    u = np.linspace(0.0, 1.0, 65)
    plain = [p for p in pieces if not (p.is_arc and p.turn < 0 and p.radius < 0.1 * _reach(pieces))]
    points = np.vstack([p.points(u) for p in plain or pieces])
    pitch = math.tau / flats
    normals = [math.atan2(*p.normals(np.array([0.5]))[0][::-1]) + math.pi for p in plain if not p.is_arc]
    grid = np.arange(0.0, pitch, math.radians(0.25))
    widths = np.array([width_at(points, a, flats) for a in grid])
    around = grid[widths > 0.98 * widths.max()]
    peaks = [
        minimize_scalar(
            lambda a: -width_at(points, a, flats),
            bounds=(a - 0.005, a + 0.005),
            method="bounded",
            options={"xatol": 1e-7},
        ).x
        for a in around
        if width_at(points, a, flats)
        >= max(width_at(points, a - 0.0044, flats), width_at(points, a + 0.0044, flats))
    ]
    front = handle + math.pi
    best = max(width_at(points, a, flats) for a in [*normals, *peaks, *grid.tolist()])
    good = [a for a in [*normals, *peaks] if width_at(points, a, flats) > best * (1 - 2e-5)] or peaks
    seat = min(good, key=lambda a: round(abs(math.remainder(a - front, pitch)), 6))
    # Exact directions of flanks come first: the seat is put where the flat looks closest to the front.
    return round(math.remainder(front + math.remainder(seat - front, pitch), math.tau), 10) + 0.0, best


def _reach(pieces: Sequence[Piece]) -> float:
    return float(np.mean([math.hypot(*p.start) for p in pieces]))


def named_wrench(outline: Outline, mouth: Mouth | None, faults: list[Fault]) -> tuple[Outline, float, float]:
    """The wrench with names, the direction of its seat's first flat (rad) and the width of its opening (mm).

    The axis is (0, 0); a mouth looks along +x. What is missing goes to `faults`.
    """
    number, chain = facing(outline, mouth)
    if not chain:
        faults.append(
            Fault("", "no opening is found around the axis", 'state the axis: --axis "X,Y"', (0.0, 0.0))
        )
        return outline, 0.0, 0.0
    loop = outline.loops[number]
    opening = [loop[k] for k in chain]
    ring = mouth is None or number > 0
    plain = opening if ring else [p for p in opening if not _is_slot(p, opening)]
    flat, width = seat_of(plain, math.pi)
    names: dict[tuple[int, int], str] = {}
    for k, piece in zip(chain, opening, strict=True):
        names[number, k] = _opening_name(piece, opening, width, None if ring else flat)
    if not ring:
        _name_edges(number, chain, opening, names)
    outer = outline.loops[0]
    end = _handle_end(outer, {k for n, k in names if n == 0}, width, mouth)
    if end is None:
        faults.append(
            Fault(
                "",
                "no end of a handle is found: a straight edge that faces away from the axis",
                'name it: --name "X,Y=handle-end", or cut the handle: --cut "40 mm"',
            )
        )
    for n, ring_ in enumerate(outline.loops):
        for k, p in enumerate(ring_):
            plain_name = "blend" if n == 0 and p.is_arc and p.turn < 0 else "outside"
            names.setdefault((n, k), "handle-end" if (n, k) == (0, end) else plain_name)
    named = tuple(
        tuple(replace(p, name=names[n, k]) for k, p in enumerate(ring_))
        for n, ring_ in enumerate(outline.loops)
    )
    return Outline(named), flat, width


def _is_slot(p: Piece, opening: Sequence[Piece]) -> bool:
    """Whether a straight side along the mouth (+x) passes a tube only: much narrower than what lies behind it."""
    if (
        p.is_arc
        or abs(math.remainder(math.atan2(p.end[1] - p.start[1], p.end[0] - p.start[0]), math.pi)) > PARALLEL
    ):
        return False
    half = max(abs(q.points(np.array([0.5]))[0, 1]) for q in opening)
    ahead = min(p.start[0], p.end[0]) > 0.3 * half
    return bool(ahead and abs(p.start[1]) < 2 * SLOT * half)


def _opening_name(p: Piece, opening: Sequence[Piece], width: float, open_flat: float | None) -> str:
    """A name by the shape: small arcs are ridges or roots, the rest flanks; an open jaw ends where the throat begins."""
    if open_flat is not None and _is_slot(p, opening):
        return "slot"
    small = p.is_arc and p.radius < PLAIN_RADIUS * width
    slotted = open_flat is not None and any(_is_slot(q, opening) for q in opening)
    if open_flat is not None and not slotted:
        gauge = width_at(p.points(np.linspace(0.02, 0.98, 25)), open_flat)
        if gauge > BEARS * width or (small and p.turn < 0):
            return "throat"
        return "ridge" if small else "flank"
    if small:
        return "ridge" if p.turn > 0 else "root"
    return "flank"


def _name_edges(
    number: int, chain: Sequence[int], opening: Sequence[Piece], names: dict[tuple[int, int], str]
) -> None:
    """Protruding roundings at the ends of an open head and beside its slot are tips."""
    last = len(chain) - 1
    for i, (k, piece) in enumerate(zip(chain, opening, strict=True)):
        beside = {names[number, chain[j]] for j in (i - 1, i + 1) if 0 <= j <= last}
        if piece.is_arc and piece.turn > 0 and (i in (0, last) or "slot" in beside):
            names[number, k] = "tip"


def _handle_end(outer: Sequence[Piece], taken: set[int], width: float, mouth: Mouth | None) -> int | None:
    """The straight edge of the outside that lies farthest out, faces away from the axis and ends the outline."""
    points = np.vstack([p.points(np.linspace(0, 1, 9)) for p in outer])
    best, found = HANDLE_OUT * width, None
    for k, p in enumerate(outer):
        if p.is_arc or k in taken:
            continue
        normal, middle = p.normals(np.array([0.5]))[0], p.points(np.array([0.5]))[0]
        out = float(normal @ middle)
        outward = out > 0.9 * float(np.hypot(*middle)) and float((points @ normal).max()) < out * (1 + 1e-6)
        beside = mouth is None or normal[0] < 0.5
        if outward and beside and out > best:
            best, found = out, k
    return found


def renamed(outline: Outline, wanted: Mapping[tuple[float, float], str], faults: list[Fault]) -> Outline:
    """The outline with the piece nearest to each point (mm) given another name; a new handle-end takes the place
    of the one that was found."""
    loops = [list(loop) for loop in outline.loops]
    for place, name in wanted.items():
        if name not in WRENCH_NAMES:
            hint = nearest(name, WRENCH_NAMES) or f"known: {', '.join(WRENCH_NAMES)}"
            faults.append(Fault("--name", f'"{name}" is not a name of a wrench\'s pieces', hint, place))
            continue
        if name == "handle-end" and "handle-end" not in wanted.values():
            continue
        _, n, k = min(
            (float(np.hypot(*(p.points(np.linspace(0, 1, 33)) - place).T).min()), n, k)
            for n, loop in enumerate(loops)
            for k, p in enumerate(loop)
        )
        loops[n][k] = replace(loops[n][k], name=name)
    ends = [place for place, name in wanted.items() if name == "handle-end"]
    if ends:
        near = {id(p) for place in ends for p in [_nearest_piece(loops, place)]}
        loops = [
            [replace(p, name="outside") if p.name == "handle-end" and id(p) not in near else p for p in loop]
            for loop in loops
        ]
    return Outline(tuple(tuple(loop) for loop in loops))


def _nearest_piece(loops: Sequence[Sequence[Piece]], place: tuple[float, float]) -> Piece:
    return min(
        (p for loop in loops for p in loop),
        key=lambda p: float(np.hypot(*(p.points(np.linspace(0, 1, 33)) - place).T).min()),
    )


def named_fastener(outline: Outline, faults: list[Fault]) -> tuple[Outline, float, float, int]:
    """The fastener with names, the direction of its first flat (rad), its width across flats (mm) and how many
    flats it has: the long straight pieces. Holes are left out, for the case sets the core that is held."""
    loop = outline.loops[0]
    size = max(math.hypot(*p.start) for p in loop)
    flats = [k for k, p in enumerate(loop) if not p.is_arc and p.length > LEAST_FLAT * size]
    if len(flats) < 3:
        faults.append(
            Fault(
                "",
                f"has {len(flats)} long straight edges, three or more are needed",
                "draw its flats as lines",
            )
        )
        return outline, 0.0, 0.0, 0
    named, flat = [], 0
    for k in range(len(loop)):
        piece = loop[(flats[0] + k) % len(loop)]
        is_flat = (flats[0] + k) % len(loop) in flats
        flat += int(is_flat)
        named.append(replace(piece, name=f"flat-{flat}" if is_flat else f"corner-{flat}"))
    reach = [
        abs(p.start[0] * p.end[1] - p.start[1] * p.end[0]) / p.length
        for p in named
        if p.name.startswith("flat")
    ]
    normal = named[0].normals(np.array([0.5]))[0]
    first = math.atan2(normal[1], normal[0])
    sides = 4 if len(flats) == 4 else 6
    return Outline((tuple(named),)), first, 2.0 * float(np.mean(reach)), sides
