"""The torque-rotation curve as inline SVG, with a cursor that the script moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from contactfe.case import CaseRecord
from contactfe.report.player.frames import Stage
from contactfe.report.reader_units import Reader, reader, text_of
from contactfe.report.words import LBF_FT, LEAST_FT, number
from contactfe.turn import smooth_through

Array = NDArray[np.float64]

WIDTH, HEIGHT = 460, 290
LEFT, RIGHT, TOP, BOTTOM = 48, 12, 14, 42
POINTS = 160


@dataclass(frozen=True)
class Tick:
    """One tick of an axis: its place along the axis and its text."""

    at: str
    text: str


@dataclass(frozen=True)
class Dot:
    """One event on the curve."""

    number: int
    x: str
    y: str
    ends: bool


@dataclass(frozen=True)
class CurveView:
    """Paths and ticks of the curve. ``across`` and ``up``: place = first + value * second, for deg and N m."""

    width: int
    height: int
    full: str
    dashed: str
    ticks_x: tuple[Tick, ...]
    ticks_y: tuple[Tick, ...]
    dots: tuple[Dot, ...]
    left: int
    right: int
    top: int
    bottom: int
    across: tuple[float, float]
    up: tuple[float, float]
    torque_unit: str
    alt: str


def curve_view(record: CaseRecord, stage: Stage) -> CurveView:
    """Return the curve with the events of a stage; full up to the torque delivered, dashed beyond."""
    rotation, torque = np.degrees(record.curve.rotation), record.curve.torque
    most_x, most_y = 1.03 * float(rotation.max()), 1.12 * float(torque.max())
    across = (float(LEFT), (WIDTH - LEFT - RIGHT) / most_x)
    up = (float(HEIGHT - BOTTOM), -(HEIGHT - TOP - BOTTOM) / most_y)
    end = record.rotation_deg if record.rotation_deg is not None else float(rotation.max())
    factor, unit = reader_of(record).scale("N·m")
    play = record.estimate.free_play_deg or 0.0
    smooth = smooth_through(rotation, torque)
    last = float(rotation.max())
    along = np.linspace(float(rotation[0]), last, POINTS)
    along = np.unique(np.append(along, end))
    values = np.interp(along, rotation, torque) if smooth is None else smooth(along)
    rising = along <= end + 1e-12
    x, y = across[0] + across[1] * along, up[0] + up[1] * values
    start = f"M{LEFT},{up[0]:.1f} {across[0] + across[1] * play:.1f},{up[0]:.1f} "
    beyond = np.flatnonzero(~rising)
    dashed = "M" + _line(x[beyond[0] - 1 :], y[beyond[0] - 1 :]) if beyond.size else ""
    return CurveView(
        width=WIDTH,
        height=HEIGHT,
        full=start + _line(x[rising], y[rising]),
        dashed=dashed,
        ticks_x=_ticks(most_x, across),
        ticks_y=_ticks(most_y / factor, (up[0], up[1] * factor)),
        dots=tuple(
            Dot(
                k + 1,
                f"{across[0] + across[1] * e.rotation_deg:.1f}",
                f"{up[0] + up[1] * e.torque_Nm:.1f}",
                e.ends,
            )
            for k, e in enumerate(stage.events)
        ),
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=HEIGHT - BOTTOM,
        across=(round(across[0], 3), round(across[1], 5)),
        up=(round(up[0], 3), round(up[1], 5)),
        torque_unit=unit,
        alt=(
            f"Torque against rotation of the head: {text_of(record.torque_Nm, 'N·m')} delivered at {number(end)} deg, "
            f"full line up to there, dashed beyond."
        ),
    )


def reader_of(record: CaseRecord) -> Reader:
    """Who reads the curve: in lbf in where it stays below 20 lbf ft."""
    return Reader(reader().units, float(record.curve.torque.max()) < LEAST_FT * LBF_FT)


def _line(x: Array, y: Array) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))


def _ticks(most: float, axis: tuple[float, float]) -> tuple[Tick, ...]:
    values = [float(v) for v in MaxNLocator(6).tick_values(0.0, most) if 0.0 <= v <= most]
    return tuple(Tick(f"{axis[0] + axis[1] * v:.1f}", f"{v:g}") for v in values)
