"""The log reader: synthetic logs with known answers, records of others, events, bad files, and the command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from memory import PEAK_MIB
from trial_logs import DIALECTS, Truth, onset_of, samples, shape, write_log

from contactfe.cli import main
from contactfe.errors import ContactFEError, InputError
from contactfe.report import log_figure
from contactfe.trial import LogReading, append_logs, read_log, read_readings
from contactfe.turn import onset

DATA = Path(__file__).resolve().parent / "data"
PLAIN = "time (s),angle (deg),torque (N*m)\n"


def test_onset_is_read_by_the_code_of_the_model() -> None:
    """The code that reads the model's curve gives, on an exact curve, what the definition written anew gives."""
    for kind in range(3):
        u = np.linspace(0.0, 1.1, 221)
        at, torque = onset(SimpleNamespace(rotation=u, torque=shape(kind, u)))  # type: ignore[arg-type]
        assert (at, torque) == pytest.approx(onset_of(kind), rel=0.006)


def test_two_hundred_logs_in_all_dialects(tmp_path: Path) -> None:
    assert len(DIALECTS) >= 12
    names = list(DIALECTS)
    peak, first = [], []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        time, angle, torque, truth = samples(rng)
        if seed % 3 == 0:  # a drop-out during the rise
            at = int(rng.integers(len(time) // 3, 2 * len(time) // 3))
            keep = np.r_[0:at, at + 20 : len(time)]
            time, angle, torque = time[keep], angle[keep], torque[keep]
        found = read_log(write_log(tmp_path / "log.csv", names[seed % len(names)], time, angle, torque))
        peak.append(abs(found.peak.torque_Nm / truth.peak_Nm - 1.0))
        first.append(abs(found.onset.torque_Nm / truth.onset_Nm - 1.0))
        assert found.ending == "slipped" and found.over == "angle", names[seed % len(names)]
    assert sum(error <= 0.005 for error in peak) >= 190
    assert sum(error <= 0.02 for error in first) >= 190


def test_records_of_others() -> None:
    """Tensile records stand in for torque logs: preamble, row of units, a comma inside a heading; see SOURCE.txt."""
    columns = {"torque": "Tensile stress", "angle": "Tensile strain (Strain 1)", "unit": "N*m"}
    steel = read_log(DATA / "tensile" / "St1594.csv", **columns)
    assert round(steel.largest_Nm, 4) == 497.0183  # ultimate strength, the source's README
    assert steel.slope_Nm == pytest.approx(159.5514e3, rel=0.03)  # E, MPa, the same
    assert steel.dropouts == 1  # the rows that were left out
    aluminium = read_log(DATA / "tensile" / "Al5005.csv", **columns)
    assert aluminium.largest_Nm == 198.42616  # the largest row of the file


def log_of(folder: Path, truth_kind: int = 0, **change: object) -> LogReading:
    """A quiet log of 2000 samples: 1.5 deg of free play, peak 100 N m at 9.5 deg; `change` edits the arrays."""
    angle = np.concatenate([np.zeros(200), np.linspace(0.0, 11.0, 1800)])
    torque = 100.0 * shape(truth_kind, (angle - 1.5) / 8.0)
    torque += np.random.default_rng(5).normal(0.0, 0.2, len(angle))
    time = np.arange(len(angle)) * 0.01
    arrays = {"time": time, "angle": angle, "torque": torque}
    for name, edit in change.items():
        arrays[name] = edit(arrays[name])  # type: ignore[operator]
    return read_log(write_log(folder / "log.csv", "plain", arrays["time"], arrays["angle"], arrays["torque"]))


def let_go(torque: np.ndarray) -> np.ndarray:
    return np.where(np.arange(len(torque)) > 1900, 5.0, torque)


def test_a_clipped_sensor_leaves_at_least(tmp_path: Path) -> None:
    found = log_of(tmp_path, torque=lambda t: np.minimum(let_go(t), 80.0))
    assert found.ending == "sensor out of range" and found.clipped >= 5
    assert found.largest_Nm == pytest.approx(80.0, abs=0.1)
    assert any("at least" in caution for caution in found.cautions)


def test_a_coarse_sensor_with_a_flat_top_is_not_clipped(tmp_path: Path) -> None:
    found = log_of(
        tmp_path, torque=lambda t: np.round(let_go(100.0 * shape(0, np.arange(2000) / 1700.0 - 0.2)), 0)
    )
    assert found.clipped == 0 and found.ending == "slipped"


def test_time_that_runs_backwards_is_told_and_not_sorted(tmp_path: Path) -> None:
    found = log_of(tmp_path, torque=let_go, time=lambda t: np.where(np.arange(len(t)) > 1000, t - 5.0, t))
    assert found.backwards == 1
    assert any("time runs backwards 1 times, first at sample 1002" in caution for caution in found.cautions)
    assert found.peak.torque_Nm == pytest.approx(100.0, rel=0.005)


def test_a_gap_is_counted(tmp_path: Path) -> None:
    found = log_of(tmp_path, torque=let_go, time=lambda t: np.where(np.arange(len(t)) > 900, t + 1.0, t))
    assert found.dropouts == 1


def test_free_play_slope_and_deviation(tmp_path: Path) -> None:
    found = log_of(tmp_path, torque=let_go)
    assert found.free_play == pytest.approx(1.5, abs=0.05)
    # Between 10 and 40 % of the peak the parabola's mean slope is 0.3 T / (u2 - u1) with u = 1 - sqrt(1 - share).
    mean = 30.0 / (8.0 * (np.sqrt(0.9) - np.sqrt(0.6)))
    assert found.slope_Nm == pytest.approx(mean, rel=0.02)
    assert found.deviation is not None and 40.0 < found.deviation.torque_Nm < found.onset.torque_Nm


def test_a_drop_and_a_second_grip(tmp_path: Path) -> None:
    def again(torque: np.ndarray) -> np.ndarray:
        torque = torque.copy()
        torque[1750:] = np.concatenate([np.linspace(30.0, 70.0, 150), np.full(100, 10.0)])
        return torque

    found = log_of(tmp_path, torque=again)
    assert found.drop is not None and found.drop.torque_Nm == pytest.approx(30.0, abs=2.5)
    assert [round(place.torque_Nm, -1) for place in found.again] == [70.0]
    assert found.ending == "slipped"


def test_a_pull_that_is_unloaded_leaves_a_set_and_at_least(tmp_path: Path) -> None:
    angle = np.concatenate([np.zeros(100), np.linspace(0.0, 6.0, 900), np.linspace(6.0, 3.0, 500)])
    torque = np.where(np.arange(1500) < 1000, 100.0 * shape(0, (angle - 1.0) / 8.0), 0.0)
    high = torque.max()
    torque[1000:] = np.maximum(high * (angle[1000:] - 3.5) / 2.5, 0.0)
    path = write_log(tmp_path / "log.csv", "plain", np.arange(1500) * 0.01, angle, torque)
    found = read_log(path)
    assert found.ending == "stopped"
    assert found.set_at == pytest.approx(
        3.5 - 1.0, abs=0.06
    )  # back to nothing at 3.5 deg, first touch at 1 deg


def test_a_pull_that_never_falls_is_at_least(tmp_path: Path) -> None:
    found = log_of(tmp_path, torque=lambda t: np.maximum(np.arange(len(t)) - 500.0, 0.0) / 15.0)
    assert found.ending == "stopped"


def test_torque_over_time_alone(tmp_path: Path) -> None:
    angle = np.concatenate([np.zeros(200), np.linspace(0.0, 11.0, 1800)])
    torque = let_go(100.0 * shape(0, (angle - 1.5) / 8.0))
    rows = "\n".join(f"{0.01 * i:.2f}\t{t:.3f}" for i, t in enumerate(torque))
    path = tmp_path / "log.txt"
    path.write_text(f"time (s)\ttorque (N*m)\n{rows}\n", encoding="utf-8")
    found = read_log(path)
    assert found.over == "time" and found.peak.torque_Nm == pytest.approx(100.0, rel=0.005)
    assert any("no column of angle" in caution for caution in found.cautions)


BAD = {
    "empty": ("", "is empty"),
    "text": ("nothing here\nbut words\n", "no columns of numbers"),
    "unknown column": ("a,b\n1,2\n3,4\n5,6\n", "no column is named a torque"),
    "no unit": ("torque,angle\n" + "1,2\n" * 30, "nothing tells the unit of torque"),
    "unknown unit": ("torque (Nx),angle\n" + "1,2\n" * 30, 'unknown unit "Nx"'),
    "two torques": ("torque 1 (Nm),torque 2 (Nm)\n" + "1,2\n" * 30, "2 columns may be the torque"),
    "short": (PLAIN + "1,2,3\n" * 5, "holds 5 samples"),
    "no pull": (
        PLAIN + "".join(f"{i},{i},{x:.3f}\n" for i, x in enumerate(np.random.default_rng(1).normal(size=300))),
        "no torque rises"),
    "a 10 MB line": (PLAIN + "1,2,3\n" * 30 + "9" * 10_000_000 + "\n", "is longer than 100000 characters"),
}  # fmt: skip


@pytest.mark.parametrize("kind", BAD)
def test_bad_logs_are_told(tmp_path: Path, kind: str) -> None:
    text, told = BAD[kind]
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert told in str(caught.value)


def test_rows_that_were_cut_short_are_counted(tmp_path: Path) -> None:
    path = write_log(tmp_path / "log.csv", "plain", *samples(np.random.default_rng(1))[:3])
    path.write_text(path.read_text() + "1.0,2\n", encoding="utf-8")
    assert read_log(path).damaged == 1


def test_a_log_of_two_million_rows_in_a_gibibyte(tmp_path: Path) -> None:
    n = 2_000_000
    angle = np.linspace(0.0, 30.0, n)
    torque = np.where(angle < 20, 300.0 * shape(0, (angle - 4.0) / 14.0), 5.0)
    block = np.char.add(np.char.add(np.char.mod("%.3f;", angle), np.char.mod("%.3f;", torque)), "0")
    path = tmp_path / "big.csv"
    path.write_text("angle (deg);torque (Nm);x\n" + "\n".join(block.tolist()) + "\n", encoding="utf-8")
    code = PEAK_MIB + (
        "import sys\nfrom contactfe.trial import read_log\n"
        "found = read_log(sys.argv[1])\n"
        "print(found.samples, found.peak.torque_Nm, peak_mib())"
    )
    run = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    count, peak, mebibytes = map(float, run.stdout.split())
    assert count == n and peak == pytest.approx(300.0, rel=1e-3)
    assert mebibytes < 1024


def test_append_fills_the_row_that_waits_and_adds_others(tmp_path: Path) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "title = 'x'\n---\ndesign,size,rounding (%),pull,torque (lbf*ft),happened,note\nring A,M10,20,1,,,\n"
        "ring A,M10,20,2,44.0,slipped,by hand\n",
        encoding="utf-8",
    )
    log = log_of(tmp_path, torque=let_go)
    row = {"design": "ring A", "size": "M10", "rounding": "20 %", "pull": "1"}
    assert append_logs(readings, [log], row) == 1
    assert append_logs(readings, [log], row | {"pull": "3"}) == 0
    found = read_readings(readings).readings
    assert [r.pull for r in found] == [1, 2, 3]
    assert found[0].torque_Nm == pytest.approx(log.peak.torque_Nm, rel=1e-4)
    before = readings.read_bytes()
    with pytest.raises(InputError, match="stands in line"):
        append_logs(readings, [log], row | {"pull": "3"})
    assert readings.read_bytes() == before
    assert [p.name for p in tmp_path.glob("*.part")] == []


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paths = []
    for k, dialect in enumerate(("plain", "german")):
        time, angle, torque, _ = samples(np.random.default_rng(k))
        paths.append(str(write_log(tmp_path / f"pull-{k}.csv", dialect, time, angle, torque)))
    assert main(["log", *paths, "--out", str(tmp_path / "out"), "--quiet"]) == 0
    assert "pull-1.csv" in capsys.readouterr().out
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["logs.json", "pull-0.png", "pull-1.png"]
    record = json.loads((tmp_path / "out" / "logs.json").read_text(encoding="utf-8"))
    assert record[0]["peak"]["torque_Nm"] > 0 and record[0]["unit_of_at"] == "deg"
    assert main(["log", paths[0]]) == 0
    assert "slipped; peak" in capsys.readouterr().out
    (tmp_path / "bad.csv").write_text("", encoding="utf-8")
    assert main(["log", *paths, str(tmp_path / "bad.csv"), "--quiet"]) == 3
    assert "bad.csv" in capsys.readouterr().err
    assert main(["log", str(tmp_path / "bad.csv")]) == 1


def test_the_figure_marks_every_event(tmp_path: Path) -> None:
    figure = log_figure(log_of(tmp_path, torque=let_go))
    labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    for name in ("before first touch", "elastic slope", "first deviation", "onset", "peak", "drop"):
        assert any(label.startswith(name) for label in labels), name


def test_a_truth_is_what_it_says() -> None:
    truth = samples(np.random.default_rng(0), noise=0.0)[3]
    assert isinstance(truth, Truth) and 0 < truth.onset_Nm < truth.peak_Nm
    assert issubclass(InputError, ContactFEError)
