"""What the page fills in for the turning player: static pictures, the curve, marks, and the data of the frames."""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.report.player.curve import CurveView, curve_view
from contactfe.report.player.frames import Frame, Stage, stage_of
from contactfe.report.reader_units import both, in_words, reader, text_of
from contactfe.report.words import number

Whole = NDArray[np.int64]

STRIP = 6  # pictures of the strip that stands for the player where no script runs


@dataclass(frozen=True)
class Still:
    """One picture of the pair: SVG paths and the transform of the wrench, what it shows and its alternative text."""

    transform: str
    wrench: str
    fastener: str
    pressed: str
    crushed: str
    edge: str
    yielded: str
    caption: str
    alt: str


@dataclass(frozen=True)
class Mark:
    """One event on the slider: its number, the frame it stands for, its place (percent) and words."""

    number: int
    frame: int
    left: str
    words: str
    value: str
    ends: bool


@dataclass(frozen=True)
class FlatLabel:
    """Where the number of a flat stands in the picture."""

    number: int
    x: int
    y: int


@dataclass(frozen=True)
class PlayerView:
    """Everything the template of the player asks for."""

    box: str
    wrench: str
    fastener: str
    magnification: str
    stills: tuple[Still, ...]
    marks: tuple[Mark, ...]
    flats: tuple[FlatLabel, ...]
    size: int
    last: int
    first_text: str
    spread_name: str
    spread_none: str
    load_none: str
    curve: CurveView
    data: str


def player_view(record: CaseRecord, stage: Stage | None = None) -> PlayerView | None:
    """Return the view of the player; None when the wrench turns freely."""
    stage = stage or stage_of(record)
    if stage is None:
        return None
    r, last = stage.reach, len(stage.frames) - 1
    curve = curve_view(record, stage)
    opens = any(piece.name == "tip" for piece in record.built.pair.wrench.pieces)
    return PlayerView(
        box=f"{-r} {-r} {2 * r} {2 * r}",
        wrench=path_of(stage.wrench),
        fastener=path_of(stage.fastener),
        magnification=f"{stage.magnification:g}",
        stills=tuple(_still(stage, k) for k in strip_frames(stage)),
        marks=tuple(_mark(stage, i, last) for i in range(len(stage.events))),
        flats=tuple(
            FlatLabel(k + 1, round(860 * np.cos(a)), round(-860 * np.sin(a)))
            for k, a in enumerate(stage.flat_angles)
        ),
        size=r,
        last=last,
        first_text=value_text(stage.frames[0]),
        spread_name="opening of the mouth" if opens else "growth across the gripped corners",
        spread_none=f"0 {reader().scale('µm')[1]}",
        load_none=f"0 {_force_unit()[1]}",
        curve=curve,
        data=json.dumps(_data(stage, curve), separators=(",", ":")).replace("<", "\\u003c"),
    )


def value_text(frame: Frame) -> str:
    """Return rotation and torque of a frame as the slider says them."""
    return f"{number(frame.rotation_deg)} deg, {both(frame.torque_Nm)}"


def strip_frames(stage: Stage) -> list[int]:
    """Return the frames of the strip: square, the end of the pull, the last, the other events, then what lies between."""
    last = len(stage.frames) - 1
    ends = [at for at, event in zip(stage.at_event, stage.events, strict=True) if event.ends]
    chosen = list(dict.fromkeys([0, *ends, last, *stage.at_event]))[:STRIP]
    while len(chosen) < min(STRIP, last + 1):
        ordered = sorted(chosen)
        gaps = [(b - a, a) for a, b in itertools.pairwise(ordered)]
        wide, start = max(gaps)
        chosen.append(start + wide // 2)
    return sorted(chosen)


def path_of(loops: Sequence[Whole]) -> str:
    """Return closed loops of points (p, 2) as the text of an SVG path."""
    return "".join("M" + " ".join(f"{x},{y}" for x, y in loop.tolist()) + "Z" for loop in loops)


def transform_of(frame: Frame) -> str:
    """Return where the wrench stands as an SVG transform."""
    angle, x, y = frame.place
    return f"rotate({angle:.3f}) translate({x} {y})"


def _still(stage: Stage, k: int) -> Still:
    frame = stage.frames[k]
    named = [e.words for e, at in zip(stage.events, stage.at_event, strict=True) if at == k]
    what = in_words("; ".join(named)) or (
        "square, unloaded" if k == 0 else "past slip" if _past(stage, k) else "on the way"
    )
    return Still(
        transform=transform_of(frame),
        wrench=path_of(_moved(stage.wrench, frame.wrench)),
        fastener=path_of(_moved(stage.fastener, frame.fastener)),
        pressed=path_of(list(frame.bars[~frame.crushed])),
        crushed=path_of(list(frame.bars[frame.crushed])),
        edge="".join(f"M{a[0]},{a[1]} {b[0]},{b[1]}" for a, b in frame.bars[frame.crushed][:, :2].tolist()),
        yielded=path_of(frame.yielded),
        caption=f"{number(frame.rotation_deg)}°, {text_of(frame.torque_Nm, 'N·m')}: {what}",
        alt=(
            f"Section of wrench and fastener at {number(frame.rotation_deg)} deg and {text_of(frame.torque_Nm, 'N·m')}: "
            f"{what}; {int(frame.crushed.sum())} of {len(frame.bars)} loaded cells of the flanks are crushed."
        ),
    )


def _past(stage: Stage, k: int) -> bool:
    return k > max(range(len(stage.frames)), key=lambda i: stage.frames[i].torque_Nm)


def _moved(loops: Sequence[Whole], displacement: Whole) -> list[Whole]:
    out, first = [], 0
    for loop in loops:
        out.append(loop + displacement[first : first + len(loop)])
        first += len(loop)
    return out


def _mark(stage: Stage, i: int, last: int) -> Mark:
    event, at = stage.events[i], stage.at_event[i]
    value = f"{number(event.rotation_deg)}°, {both(event.torque_Nm)}"
    return Mark(i + 1, at, f"{100.0 * at / last:.2f}", in_words(event.words), value, event.ends)


def _force_unit() -> tuple[float, str]:
    """What a force in N is divided by, and the unit it then has."""
    return (1e3, "kN") if reader().units == "si" else reader().scale("N")


def _data(stage: Stage, curve: CurveView) -> dict[str, Any]:
    """The frames as short plain values: what the page's script reads."""
    return {
        "w": [loop.ravel().tolist() for loop in stage.wrench],
        "f": [loop.ravel().tolist() for loop in stage.fastener],
        "inch": reader().units == "inch",
        "su": reader().scale("µm"),
        "lu": _force_unit(),
        "x": curve.across,
        "y": curve.up,
        "frames": [
            {
                "r": round(frame.rotation_deg, 6),
                "t": float(f"{frame.torque_Nm:.9g}"),
                "s": round(frame.spread_um, 3),
                "l": [round(force, 1) for force in frame.load_N],
                "p": [round(frame.place[0], 4), *frame.place[1:]],
                "w": frame.wrench.ravel().tolist(),
                "f": frame.fastener.ravel().tolist(),
                "b": frame.bars.reshape(-1).tolist(),
                "c": "".join("1" if one else "0" for one in frame.crushed.tolist()),
                "z": [ring.ravel().tolist() for ring in frame.yielded],
            }
            for frame in stage.frames
        ],
    }
