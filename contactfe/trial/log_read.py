"""What a torque log says: free play, elastic slope, first deviation, onset, peak, drop, re-engagements, set.

Free play ends, onset and peak are defined as on the model's curve, and read by the same code (`contactfe.turn`). The
rest are definitions of tests:

- elastic slope: least squares over the rise from 10 to 40 % of the peak;
- first deviation: where the rotation has left that line by 0.2 deg for the first time (over an angle only);
- drop: the lowest torque between the peak and what follows it; re-engagements: later rises by at least 5 % of the peak;
- permanent set: where the torque comes back to nothing while the angle goes back, less the first touch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from contactfe.trial.log_curve import LogCurve, Pull, find_pull, smooth_curve, touch
from contactfe.trial.log_table import LogTable, Wanted, read_table
from contactfe.trial.readings import Ending
from contactfe.trial.text import refused
from contactfe.turn import TorqueCurve, onset, peak

Array = NDArray[np.float64]

CLIPPED_RUN = 5  # equal samples at the extreme
DROPOUT = 3.0  # times the usual step of time
DEVIATION_DEG = 0.2
ELASTIC = (0.1, 0.4)  # of the peak
RISE_AGAIN = 0.05  # of the peak
BACK_DEG = 0.1  # of angle: what counts as going back
UNITS = {"angle": "deg", "time": "s", "sample": "samples"}


@dataclass(frozen=True)
class Place:
    """A point of the log: ``at`` deg, s or samples from its beginning, torque N m without offset."""

    at: float
    torque_Nm: float


@dataclass(frozen=True, eq=False)
class LogReading:
    """What one log says. `over` names what the curve is drawn over: angle (deg), time (s) or sample.

    `free_play` is the way from the beginning to first touch; `largest_Nm` the largest single sample; `set_at` the
    permanent set (deg), None where nothing unloads. `ending` is what the log alone can tell of the end.
    """

    source: str
    layout: str
    columns: tuple[str, ...]
    over: str
    samples: int
    zero: str
    offset_Nm: float
    drift_Nm: float
    noise_Nm: float
    free_play: float
    touch_at: float
    slope_Nm: float | None
    deviation: Place | None
    onset: Place
    peak: Place
    largest_Nm: float
    drop: Place | None
    again: tuple[Place, ...]
    set_at: float | None
    ending: Ending
    clipped: int
    dropouts: int
    damaged: int
    backwards: int
    cautions: tuple[str, ...]
    curve: LogCurve
    trace: LogCurve

    def to_dict(self) -> dict[str, Any]:
        """Everything but the arrays as plain values; positions in the unit of `over`."""
        found = {
            name: value
            for name, value in ((n, getattr(self, n)) for n in self.__dataclass_fields__)
            if name not in ("curve", "trace")
        }
        for name in ("deviation", "onset", "peak", "drop"):
            found[name] = None if found[name] is None else asdict(found[name])
        found["again"] = [asdict(place) for place in self.again]
        return found | {
            "columns": list(self.columns), "cautions": list(self.cautions), "unit_of_at": UNITS[self.over]
        }  # fmt: skip


def read_log(
    path: str | Path, *, torque: str | None = None, angle: str | None = None, unit: str | None = None
) -> LogReading:
    """Read a torque log of any ordinary logger. `torque` and `angle` name columns (or their numbers from 1), `unit`
    the unit of torque, where they are not found by themselves.

    Raises:
        InputError: it cannot be read, has no column of torque or no unit of it, or holds no pull.
    """
    return read_pull(read_table(Path(path), Wanted(torque, angle, None, unit)))


def read_pull(table: LogTable) -> LogReading:
    """What the samples of a log say.

    Raises:
        InputError: no torque rises out of the noise.
    """
    cautions: list[str] = []
    keep = np.isfinite(table.torque)
    if table.angle is not None:
        keep &= np.isfinite(table.angle)
    raw = table.torque[keep]
    time = None if table.time is None else table.time[keep]
    dropouts, backwards = _clock(time, cautions)
    dropouts += int((~keep).sum())
    over, x = _over(table, keep, time, backwards, cautions)
    level = float(np.median(raw[: max(5, len(raw) // 50)]))
    if level - raw.min() > raw.max() - level:
        raw = -raw
        cautions.append("the pull is negative in the file: its sign is turned")
    clipped = clipped_run(raw)
    pull = find_pull(x, raw)
    if not pull.smooth[pull.top] > 5.0 * pull.noise_Nm / np.sqrt(max(1, len(raw) // 400)):
        raise refused(Path(table.source), "no torque rises out of the noise", "check the column of torque")
    if over == "angle" and x[pull.top] < x[0]:
        x = -x
        pull = find_pull(x, raw)
    return _read(table, pull, (over, clipped, dropouts, backwards), cautions)


def _read(table: LogTable, pull: Pull, found: tuple[str, int, int, int], cautions: list[str]) -> LogReading:
    over, clipped, dropouts, backwards = found
    start = touch(pull)
    curve = smooth_curve(pull, start)
    as_model = cast(TorqueCurve, curve)  # rotation and torque are all that is read
    top, at_onset = Place(*peak(as_model)), Place(*onset(as_model))
    slope = _slope(pull, top)
    permanent = _set(pull, start) if over == "angle" else None
    ending = _ending(pull, clipped, permanent, cautions)
    if dropouts or table.damaged:
        cautions.append(f"{dropouts} gaps between samples, {table.damaged} rows cut short or not numbers")
    if pull.zero.note.startswith("no idle"):
        cautions.append(pull.zero.note)
    if over != "angle":
        cautions.append(f"no column of angle: positions are in {UNITS[over]}, and onset is read over them")
    drop, again = _after(pull, top)
    if again and max(place.torque_Nm for place in again) > top.torque_Nm:
        cautions.append(
            "it held more after it had slipped and gripped again: the peak is that of the first slip"
        )
    zero = float(pull.x[0])
    return LogReading(
        source=table.source,
        layout=table.dialect.words(),
        columns=table.columns,
        over=over,
        samples=len(pull.x),
        zero=pull.zero.note,
        offset_Nm=pull.zero.offset_Nm,
        drift_Nm=pull.zero.drift_Nm,
        noise_Nm=pull.noise_Nm,
        free_play=start - zero,
        touch_at=start,
        slope_Nm=slope,
        deviation=_deviation(curve, top, slope) if over == "angle" else None,
        onset=at_onset,
        peak=top,
        largest_Nm=float(pull.torque[: pull.end].max()),
        drop=drop,
        again=again,
        set_at=permanent,
        ending=ending,
        clipped=clipped,
        dropouts=dropouts,
        damaged=table.damaged,
        backwards=backwards,
        cautions=tuple(cautions),
        curve=curve,
        trace=_trace(pull),
    )


def _clock(time: Array | None, cautions: list[str]) -> tuple[int, int]:
    """Numbers of gaps in time and of steps backwards."""
    if time is None or not np.isfinite(time).all():
        return 0, 0
    step = np.diff(time)
    forward = step[step > 0]
    back = int((step < 0).sum())
    if back:
        row = int(np.flatnonzero(step < 0)[0]) + 2
        cautions.append(
            f"time runs backwards {back} times, first at sample {row}: samples are kept in the order of the file; "
            "check whether two logs were joined"
        )
    usual = float(np.median(forward)) if len(forward) else 0.0
    return (int((step > DROPOUT * usual).sum()) if usual > 0 else 0), back


def _over(
    table: LogTable, keep: NDArray[np.bool_], time: Array | None, backwards: int, cautions: list[str]
) -> tuple[str, Array]:
    """What the torque is read over: the angle where it moves, else the time, else the number of the sample."""
    if table.angle is not None:
        angle = table.angle[keep]
        if np.ptp(angle) > 0:
            return "angle", angle
        cautions.append("the angle never changes: it is left out")
    if time is not None and np.isfinite(time).all() and not backwards and np.ptp(time) > 0:
        return "time", time - time[0]
    return "sample", np.arange(int(keep.sum()), dtype=float)


def clipped_run(raw: Array) -> int:
    """Number of samples in a row at the largest value (n,) of a sensor that has reached its end; 0 where it has not.

    At least five equal samples, and next to none just below them: the flat top of a coarsely resolved curve has about
    as many one step lower.
    """
    largest = raw.max()
    at = np.flatnonzero(raw == largest)
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    longest = max(runs, key=len)
    if len(longest) < CLIPPED_RUN:
        return 0
    step = np.abs(np.diff(raw))
    quantum = step[step > 0].min() if (step > 0).any() else 0.0
    near = raw[max(0, longest[0] - len(longest)) : longest[-1] + 1 + len(longest)]
    below = int(((near < largest) & (near >= largest - 1.5 * quantum)).sum())
    return len(longest) if below < 0.2 * len(longest) else 0


def _ending(pull: Pull, clipped: int, permanent: float | None, cautions: list[str]) -> Ending:
    if clipped:
        cautions.append(f"the sensor was at its end for {clipped} samples: the torque is at least this")
        return "sensor out of range"
    if permanent is not None:
        cautions.append(
            "the angle goes back while the torque falls: it was unloaded, the torque is at least this"
        )
        return "stopped"
    if not pull.fell:
        cautions.append("the torque was not falling yet where the log ends: the torque is at least this")
        return "stopped"
    return "slipped"


def _slope(pull: Pull, top: Place) -> float | None:
    """Least-squares slope of the samples of the elastic rise, N m per unit of rotation."""
    rising = pull.smooth[pull.begin : pull.top + 1]
    first, last = (int(np.argmax(rising >= share * top.torque_Nm)) for share in ELASTIC)
    part = slice(pull.begin + first, pull.begin + last + 1)
    x, t = pull.x[part], pull.torque[part]
    return float(np.polyfit(x - x[0], t, 1)[0]) if len(x) > 2 and np.ptp(x) > 0 else None


def _deviation(curve: LogCurve, peak_at: Place, slope: float | None) -> Place | None:
    """Where the rotation first leaves the elastic line by 0.2 deg, above the stretch that the line was laid through."""
    if slope is None or slope <= 0:
        return None
    top = int(np.argmax(curve.torque))
    x, t = curve.rotation[: top + 1], curve.torque[: top + 1]
    inside = (t >= ELASTIC[0] * peak_at.torque_Nm) & (t <= ELASTIC[1] * peak_at.torque_Nm)
    shift = float(np.mean(x[inside] - t[inside] / slope))
    late = np.flatnonzero((x - t / slope - shift > DEVIATION_DEG) & (t > ELASTIC[1] * peak_at.torque_Nm))
    return Place(float(x[late[0]]), float(t[late[0]])) if len(late) else None


def _after(pull: Pull, top: Place) -> tuple[Place | None, tuple[Place, ...]]:
    """The lowest torque after the peak, before the next rise if there is one, and the later rises."""
    rest = pull.smooth[pull.end - 1 :]
    if len(rest) < 3 or not pull.fell:
        return None, ()
    least = max(RISE_AGAIN * top.torque_Nm, 3.0 * pull.noise_Nm)
    every = max(1, len(rest) // 5000)
    found, _ = find_peaks(rest[::every], prominence=least)
    low = int(np.argmin(rest[: found[0] * every + 1])) if len(found) else int(np.argmin(rest))
    place: Callable[[int], Place] = lambda i: Place(float(pull.x[pull.end - 1 + i]), float(rest[i]))  # noqa: E731
    return place(low), tuple(place(int(i) * every) for i in found)


def _set(pull: Pull, start: float) -> float | None:
    """Angle at which the torque of an unloaded pull comes back to nothing, less the first touch; None where the angle
    does not go back while the torque falls."""
    high = float(pull.smooth[pull.top])
    after = pull.smooth[pull.top :]
    down = np.flatnonzero(after < 0.1 * high)
    if not len(down):
        return None
    last = pull.top + int(down[0])
    x, t = pull.x[pull.top : last + 1], pull.smooth[pull.top : last + 1]
    part = (t > 0.1 * high) & (t < 0.5 * high)
    if part.sum() < 4 or np.polyfit(t[part], x[part], 1)[0] <= 0 or x[-1] > x[0] - BACK_DEG:
        return None
    return float(np.polyfit(t[part], x[part], 1)[1]) - start


def _trace(pull: Pull) -> LogCurve:
    """The whole log for a figure, at most 4000 samples."""
    every = max(1, len(pull.x) // 4000)
    return LogCurve(pull.x[::every].copy(), pull.torque[::every].copy())
