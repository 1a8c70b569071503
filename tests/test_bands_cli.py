"""The command `band` and its figures: what it prints and writes, and how it refuses."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from contactfe.cli.band import register, say_band
from contactfe.cli.main import new_app
from contactfe.errors import ContactFEError, InputError
from contactfe.report.band_figures import band_figure, comparison_figure, crossover_figure, tornado_figure
from contactfe.report.style import as_bytes
from contactfe.uncertainty import Sampling, band, compare, crossover
from contactfe.uncertainty import solve as solving
from contactfe.uncertainty.jobs import Job

CASE = """
format = 1
[fastener]
size = "M10"
grade = "8.8"
yield_strength = { limits = "standard" }
[wrench]
profile = "PROFILE"
opening = { nominal = "middle", limits = "standard" }
[contact]
friction = { mean = 0.15, sd = 0.02 }
[mesh]
edge_at_contact = "0.8 mm"
edge_max = "4 mm"
"""


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    jaws, ring = tmp_path / "jaws.toml", tmp_path / "ring.toml"
    jaws.write_text(CASE.replace("PROFILE", "open-end"), encoding="utf-8")
    ring.write_text(CASE.replace("PROFILE", "ring-twelve"), encoding="utf-8")
    return jaws, ring


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line in place of the curve: these tests are about what is printed, not about torques."""

    def line(job: Job, folder: Path | None = None) -> tuple[float, float]:
        f, profile = job.case.fastener, job.case.wrench.profile
        lost = 1.8 * f.rounding if profile == "ring-twelve" else f.rounding
        return 0.1 * f.yield_strength * (1.3 - lost) * (1.0 + job.case.contact.friction), math.inf

    monkeypatch.setattr(solving, "pair_torques", line)


def run(*words: str | Path) -> Result:
    app = new_app()
    register(app)
    return CliRunner().invoke(app, [str(word) for word in words])


def test_a_band_from_the_file_to_the_folder(files: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = run(files[0], "-n", "4", "--workers", "1", "--below", "300 N*m", "--out", out, "--json")
    assert done.exit_code == 0, done.output
    record = json.loads(done.stdout)
    assert record == json.loads((out / "band.json").read_text(encoding="utf-8"))
    assert record["name"] == "jaws" and record["samples"] == 4 and record["seed"] == 1
    assert record["probabilities"][0] == {
        "what": "the pull ends below 300 N m", "share": 1.0, "low": pytest.approx(0.51, abs=0.01), "high": 1.0,
        "count": 4,
    }  # fmt: skip
    assert {p.name for p in out.iterdir()} == {
        "band.html", "band.json", "band.png", "one-at-a-time.png", "page.json", "samples.csv",
    }  # fmt: skip
    rows = list(csv.DictReader(io.StringIO((out / "samples.csv").read_text(encoding="utf-8"))))
    assert [float(row["torque_Nm"]) for row in rows] == record["torque_Nm"]
    assert all(640.0 <= float(row["fastener.yield_strength_MPa"]) <= 819.3 for row in rows)


def test_two_cases_against_each_other(files: tuple[Path, Path], quick: None) -> None:
    # So few that all are solved: samples of two heads that follow from polynomials are no ties to the last digit.
    done = run(files[0], "--against", files[1], "-n", "8", "--workers", "1", "--crossover", "0 %, 10 %, 20 %")
    assert done.exit_code == 0, done.output
    assert "jaws delivers more than ring with a probability of 0 %" in done.stdout
    assert "8 of 8 samples are ties" in done.stdout  # unworn, both lines are the same
    assert "yield strength" in done.stdout and "(ISO 691)" in done.stdout and "Measure the " in done.stdout
    last = " ".join(done.stdout.split())
    assert "changes in no sample from rounding 0 % to 20 %; there jaws delivers more than ring with" in last


def test_scatter_by_rule_is_said_to_be_so(files: tuple[Path, Path], quick: None) -> None:
    plain = files[0].read_text(encoding="utf-8")
    lines = [line for line in plain.splitlines() if "{" not in line]
    files[0].write_text("\n".join(lines), encoding="utf-8")
    done = run(files[0], "-n", "16", "--workers", "1")
    assert done.exit_code == 0, done.output
    assert "by rule, for the file names no distribution" in done.stdout
    assert "constraint factor" in done.stdout and "the wrench gives way first" in done.stdout


def test_every_problem_of_file_and_options_comes_at_once(files: tuple[Path, Path]) -> None:
    bad = (
        files[0]
        .read_text(encoding="utf-8")
        .replace('limits = "standard" }\n[wrench]', 'low = "1 mm" }\n[wrench]')
    )
    files[0].write_text(bad.replace("M10", "M11"), encoding="utf-8")
    done = run(files[0], "--below", "300", "--out", files[1])
    assert isinstance(done.exception, InputError)
    text = str(done.exception)
    for part in (
        "jaws.toml: 4 problems",
        "yield_strength, low",
        "M10, M12",
        "--below: 300 has no unit",
        "--out: ",
    ):
        assert part in text


def test_usage_and_numbers_that_make_no_sense(files: tuple[Path, Path]) -> None:
    assert run(files[0], "--crossover", "0 %, 10 %").exit_code == 2
    done = run(files[0], "-n", "100")
    assert isinstance(done.exception, ContactFEError) and "64 or 128" in done.exception.hint


def test_a_band_in_a_few_lines(quick: None, capsys: pytest.CaptureFixture[str]) -> None:
    case = {"format": 1, "fastener": {"size": "M10", "grade": "8.8"}, "wrench": {"profile": "open-end"}}
    say_band(band(case, n=16))
    said = capsys.readouterr()
    assert said.out.startswith("band of 16 samples, seed 1\n  - torque ") and not said.err


def test_figures_are_drawn_the_same_twice(quick: None) -> None:
    def case(profile: str) -> dict[str, object]:
        fastener = {"size": "M10", "grade": "8.8"}
        return {"format": 1, "name": profile, "fastener": fastener, "wrench": {"profile": profile}}

    found = band(case("open-end"), n=16)
    both = compare(case("open-end"), case("ring-twelve"), Sampling(8))
    crossed = crossover(case("ring-six"), case("ring-twelve"), ["0 %", "20 %"], how=Sampling(8))
    figure = tornado_figure(found)
    labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    spread = {item.path: item.spread_Nm for item in found.one_at_a_time}
    # the closed line moves with the yield strength most, with the friction next, and with nothing else
    assert labels[-2:] == ["friction", "yield strength"] and spread["wrench.opening"] == 0.0
    drawn = band_figure(found, 60.0)
    line = next(line for line in drawn.axes[0].lines if line.get_label() == "inputs alone: samples")
    assert np.array_equal(np.asarray(line.get_xdata()), np.sort(found.torque_Nm))
    for one in (drawn, figure, comparison_figure(both), crossover_figure(crossed)):
        assert as_bytes(one, "png") == as_bytes(one, "png")
