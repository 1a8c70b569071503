"""Synthetic torque logs in the dialects of ordinary loggers, made from curves whose answers are known."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Truth:
    """What a log was made from: free play deg, peak and onset torque N m."""

    free_play_deg: float
    peak_Nm: float
    onset_Nm: float
    onset_deg: float


def shape(kind: int, u: Array) -> Array:
    """Torque over its peak against rotation from first touch over rotation at the peak (u = 1)."""
    v = np.clip(u, 0.0, None)
    if kind == 0:  # parabola
        return v * (2.0 - v)
    if kind == 1:  # sine
        return np.sin(np.clip(v, 0.0, 2.0) * np.pi / 2)
    # stiff start and long knee: u (1 + p)/(u + p) times a factor that gives u = 1 a horizontal tangent
    p = 0.6
    line = v * (1.0 + p) / (v + p)
    return line - (p / (1.0 + p)) * v**2 * (v - 1.0)


def onset_of(kind: int) -> tuple[float, float]:
    """Rotation and torque, as shares of those at the peak, where the tangent falls for good below 0.3 of its largest.

    Written down anew from the definition: secants over half of the rotation to nine tenths of the peak, within
    the rise; evaluated on the exact curve.
    """
    u = np.linspace(0.0, 1.0, 20001)
    t = shape(kind, u)
    half = 0.25 * u[np.argmax(t >= 0.9)]
    low, high = np.maximum(u - half, 0.0), np.minimum(u + half, 1.0)
    slope = (shape(kind, high) - shape(kind, low)) / (high - low)
    last = int(np.flatnonzero(slope >= 0.3 * slope.max())[-1])
    return float(u[last]), float(t[last])


def samples(rng: np.random.Generator, noise: float = 0.01) -> tuple[Array, Array, Array, Truth]:
    """Time s, angle deg, torque N m of one pull with offset and drift, and what it was made from."""
    kind = int(rng.integers(3))
    peak, play, reach = rng.uniform(20, 900), rng.uniform(1.0, 12.0), rng.uniform(4.0, 15.0)
    n = int(rng.integers(2500, 6000))
    end = 1.0 + rng.uniform(0.06, 0.3)  # how far past the peak before the wrench lets go
    turned = np.concatenate(
        [np.zeros(n // 10), np.linspace(0.0, play + reach * end, n), np.full(n // 8, play + reach * end)]
    )
    torque = peak * shape(kind, (turned - play) / reach)
    torque[n // 10 + n :] = 0.0
    torque += rng.normal(0.0, noise * peak, len(torque))
    torque += rng.uniform(-0.05, 0.05) * peak + rng.uniform(-0.01, 0.01) * peak * np.linspace(
        0, 1, len(torque)
    )
    angle = turned + rng.uniform(-5, 90) + rng.normal(0.0, 0.01, len(turned))
    time = np.arange(len(turned)) * 0.005
    at, share = onset_of(kind)
    return time, angle, torque, Truth(play, peak, share * peak, play + at * reach)


def _number(value: float, decimal: str, digits: int = 4) -> str:
    return f"{value:.{digits}f}".replace(".", decimal)


def _grouped(value: float) -> str:
    return f"{value:,.3f}"


def _table(
    head: str, delimiter: str, cells: Callable[[float, float, float], list[str]]
) -> Callable[..., str]:
    def write(time: Array, angle: Array, torque: Array) -> str:
        out = io.StringIO()
        out.write(head)
        for row in zip(time.tolist(), angle.tolist(), torque.tolist(), strict=True):
            out.write(delimiter.join(cells(*row)) + "\n")
        return out.getvalue()

    return write


def _stamp(t: float) -> str:
    seconds = 36000 + t
    return f"{int(seconds // 3600):02d}:{int(seconds // 60) % 60:02d}:{seconds % 60:06.3f}"


FT_LB = 1.3558179483
DIALECTS: dict[str, tuple[Callable[..., str], str]] = {
    "plain": (
        _table(
            "time (s),angle (deg),torque (N*m)\n",
            ",",
            lambda t, a, m: [_number(t, "."), _number(a, "."), _number(m, ".")],
        ),
        "utf-8",
    ),
    "german": (
        _table(
            "Zeit [s];Winkel [°];Drehmoment [Nm]\n",
            ";",
            lambda t, a, m: [_number(t, ","), _number(a, ","), _number(m, ",")],
        ),
        "cp1252",
    ),
    "tabs and units row": (
        _table(
            "Time\tAngle\tTorque\n(s)\t(deg)\t(N.m)\n",
            "\t",
            lambda t, a, m: [_number(t, "."), _number(a, "."), _number(m, ".")],
        ),
        "utf-8",
    ),
    "preamble": (
        _table(
            "Rig : one, left\nOperator,none,,\n\n,,,\nTime,Angle,Torque\n(s),(deg),(Nm)\n",
            ",",
            lambda t, a, m: [_number(t, "."), _number(a, "."), _number(m, ".")],
        ),
        "utf-8-sig",
    ),
    "comments and blanks": (
        _table(
            "# logger of somebody\n# 3 channels\n#   Time_s   Angle_deg   Torque_Nm\n",
            "   ",
            lambda t, a, m: [f"{t:12.4f}", f"{a:12.4f}", f"{m:12.4f}"],
        ),
        "utf-8",
    ),
    "quoted decimal commas": (
        _table(
            '"Zeit (s)","Winkel (Grad)","Moment (N m)"\n',
            ",",
            lambda t, a, m: [f'"{_number(x, ",")}"' for x in (t, a, m)],
        ),
        "utf-8",
    ),
    "time stamps": (
        _table(
            "Date,Clock,Angle (deg),Torque (Nm)\n",
            ",",
            lambda t, a, m: ["2026-03-02", _stamp(t), _number(a, "."), _number(m, ".")],
        ),
        "utf-8",
    ),
    "one stamp": (
        _table(
            "Timestamp;Torque (Nm);Angle (deg)\n",
            ";",
            lambda t, a, m: [f"2026-03-02 {_stamp(t)}".replace(".", ","), _number(m, ","), _number(a, ",")],
        ),
        "utf-8",
    ),
    "pound feet": (
        _table(
            "t,angle,torque (ft-lb)\n",
            ",",
            lambda t, a, m: [_number(t, "."), _number(a, "."), _number(m / FT_LB, ".")],
        ),
        "utf-8",
    ),
    "bars and radians": (
        _table(
            "torque [N·m]|rotation [rad]|time [ms]\n",
            "|",
            lambda t, a, m: [_number(m, "."), _number(np.radians(a), ".", 6), _number(1e3 * t, ".")],
        ),
        "utf-16",
    ),
    "comma is both": (
        _table(
            "time (s),angle (deg),torque (N*m)\n",
            ",",
            lambda t, a, m: [_number(t, ","), _number(a, ","), _number(m, ",")],
        ),
        "utf-8",
    ),
    "thousands marks": (
        _table(
            "n;angle (deg);torque (N*mm)\n",
            ";",
            lambda t, a, m: [str(round(t / 0.005)), _number(a, "."), _grouped(1e3 * m)],
        ),
        "utf-8",
    ),
    "trailing delimiter and exponents": (
        _table("Angle (deg);Torque (Nm);\n", ";", lambda t, a, m: [f"{a:.6E}", f"{m:.6E}", ""]),
        "utf-8",
    ),
    "left-hand pull in newton millimetres": (
        _table("angle_deg,torque_Nmm\n", ",", lambda t, a, m: [_number(-a, "."), _number(-1e3 * m, ".", 1)]),
        "utf-8",
    ),
}


def write_log(path: Path, dialect: str, time: Array, angle: Array, torque: Array) -> Path:
    text, encoding = DIALECTS[dialect]
    path.write_bytes(text(time, angle, torque).encode(encoding))
    return path
