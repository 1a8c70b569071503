"""Plans: sample sizes, the order with a tool that breaks, sensors, specimens, the readings file, the printed page."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import pytest
from browser import program as browser_program

from contactfe.cli import main
from contactfe.errors import ContactFEError, InputError
from contactfe.report import plan_page
from contactfe.trial import (
    Condition,
    Plan,
    Prediction,
    Reading,
    TrialStudy,
    lay_out,
    load_study,
    read_readings,
    readings_of,
    specimens,
)

# Specimens per design for CV 3, 5, 8, 10 % (rows) and differences of 5, 10, 15, 20 %: two designs; the best of six
# (5 comparisons); all 15 pairs. Two-sided t test, power 0.80: computed independently by the non-central t.
SIZES = {
    3: ((7, 11, 13), (3, 5, 5), (3, 3, 4), (2, 3, 3)),
    5: ((17, 26, 31), (6, 8, 10), (4, 5, 6), (3, 4, 5)),
    8: ((42, 62, 76), (12, 17, 21), (6, 9, 11), (4, 6, 7)),
    10: ((64, 96, 117), (17, 26, 31), (9, 13, 15), (6, 8, 10)),
}


@pytest.mark.parametrize("scatter", SIZES)
def test_sample_sizes(scatter: int) -> None:
    for difference, expected in zip((5, 10, 15, 20), SIZES[scatter], strict=True):
        assert tuple(specimens(difference / 100, scatter / 100, k) for k in (1, 5, 15)) == expected


def test_a_sample_size_without_end_is_told() -> None:
    with pytest.raises(ContactFEError, match="more than 10000"):
        specimens(0.0001, 0.5)
    with pytest.raises(ContactFEError, match="above 0"):
        specimens(0.0, 0.1)


STUDY = """\
format = 1
name = "two rings"
[base.fastener]
size = "M10"
grade = "8.8"
[base.mesh]
edge_at_contact = "0.8 mm"
[designs."ring A"]
profile = "ring-six"
[designs."open B"]
profile = "open-end"
[sweep]
"fastener.rounding" = ["0 %", "20 %", "40 %"]
[plan]
pulls = 2
bars = ["X", "Y"]
sensors = ["100 N*m", "300 N*m"]
rig_stiffness = 2000
seed = 4
"""


def study_of(folder: Path, text: str = STUDY) -> TrialStudy:
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return load_study(path)


def by_hand(study: TrialStudy) -> Plan:
    """Ring A holds 150, 100, 60 N m, its wrench 140; open B holds 80, 60, 40 and never breaks."""
    torque = {"ring A": (150.0, 100.0, 60.0), "open B": (80.0, 60.0, 40.0)}
    found = []
    for case in study.cases:
        t = torque[case.design][round(5 * (case.condition.rounding or 0.0))]
        wrench = 140.0 if case.design == "ring A" else None
        ended = "wrench" if wrench is not None and wrench < t else "grip"
        t = min(t, wrench or t)
        found.append(
            Prediction(case.design, case.condition, t, 0.9 * t, 1.1 * t, ended, wrench, (68.0, 90.0), 1000.0)
        )
    return lay_out(study, found)


def test_the_order_of_pulls(tmp_path: Path) -> None:
    plan = by_hand(study_of(tmp_path))
    order = [(p.design, p.condition.rounding) for p in plan.pulls]
    assert len(order) == 12
    assert order[-2:] == [("ring A", 0.0)] * 2  # may break the tool: after everything else
    for design in ("ring A", "open B"):
        own = [p.expected_Nm for p in plan.pulls if p.design == design]
        assert own == sorted(own)  # low before high
        worn = [p.condition.rounding for p in plan.pulls if p.design == design]
        assert worn == sorted(worn, reverse=True)  # worn hexes before the new one
    # Each level on each bar is a block with every design once.
    assert [{p.design for p in plan.pulls[i : i + 2]} for i in (0, 2, 4, 6)] == [{"ring A", "open B"}] * 4
    assert [p.bar for p in plan.pulls[:4]] == ["X", "X", "Y", "Y"]
    assert any("the wrench may give way first at about 140 N m" in note for note in plan.notes)
    assert any("hold solid stock" in note for note in plan.notes)
    assert any("do not resolve 10 %" in note for note in plan.notes)


def test_sensors_stops_and_energy(tmp_path: Path) -> None:
    plan = by_hand(study_of(tmp_path))
    low = next(p for p in plan.pulls if p.design == "open B" and p.condition.rounding == 0.4)
    assert low.sensor_Nm == 100.0 and low.sensor_use == pytest.approx(0.4)  # 44 N m is below 80 % of 100
    high = plan.pulls[-1]
    assert high.sensor_Nm == 300.0 and high.stop_Nm == pytest.approx(1.2 * 154.0)
    # E = T^2/2 (1/1000 + 1/2000) at the upper end, 154 N m
    assert high.energy_J == pytest.approx(154.0**2 / 2 * 1.5e-3)
    tight = study_of(tmp_path, STUDY.replace('["100 N*m", "300 N*m"]', '["50 N*m"]'))
    assert any("of the largest sensor" in w for p in by_hand(tight).pulls for w in p.warnings)
    wide = study_of(tmp_path, STUDY.replace('["100 N*m", "300 N*m"]', '["2000 N*m"]'))
    assert all(any("% of the sensor" in w for w in p.warnings) for p in by_hand(wide).pulls)


def test_turned_diameters(tmp_path: Path) -> None:
    plan = by_hand(study_of(tmp_path))
    found = {s.condition.rounding: s for s in plan.specimens}
    # M10: 16 mm across flats, e = 32/sqrt 3 = 18.475 mm; 20 %: 18.475 - 0.2 x 2.475 = 17.980 mm; 1 %: 0.025 mm
    assert found[0.2].diameter_mm == pytest.approx(17.980, abs=5e-4)
    assert found[0.2].tolerance_mm == pytest.approx(0.01 * (32 / math.sqrt(3) - 16))
    assert found[0.0].diameter_mm is None and found[0.4].count == 4


def test_the_same_seed_gives_the_same_order_and_another_one_another(tmp_path: Path) -> None:
    orders = {
        seed: [
            (p.design, p.pull)
            for p in by_hand(study_of(tmp_path, STUDY.replace("seed = 4", f"seed = {seed}"))).pulls
        ]
        for seed in (4, 5, 6, 7)
    }
    assert orders[4] == [(p.design, p.pull) for p in by_hand(study_of(tmp_path)).pulls]
    assert len({str(order) for order in orders.values()}) > 1


def test_the_readings_file_is_ready_to_be_filled_in(tmp_path: Path) -> None:
    plan = by_hand(study_of(tmp_path))
    path = tmp_path / "readings.csv"
    path.write_text(readings_of(plan), encoding="utf-8")
    with pytest.raises(InputError, match="no reading is filled in yet"):
        read_readings(path)
    lines = path.read_text(encoding="utf-8").splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith(("ring A", "open B")))
    cells = lines[first].split(",")
    cells[5] = "55.5"
    path.write_text("\n".join([*lines[:first], ",".join(cells), *lines[first + 1 :]]), encoding="utf-8")
    found = read_readings(path)
    assert len(found.readings) == 1 and len(found.pending) == 11


def test_readings_find_their_case(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    found = study.case_of(Reading("ring A", Condition(size="M10", rounding=0.2), 60.0))
    assert (found.design, found.condition.rounding) == ("ring A", 0.2)
    for condition, told in (
        (Condition(size="M10"), "fits 3 cases"),
        (Condition(rounding=0.3), "does not know the condition 30 % rounded"),
        (Condition(size="M12", rounding=0.2), "does not know the condition M12"),
    ):
        with pytest.raises(ContactFEError, match=told):
            study.case_of(Reading("ring A", condition, 60.0))
    with pytest.raises(ContactFEError, match="did you mean ring A"):
        study.case_of(Reading("ring a", Condition(rounding=0.2), 60.0))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("pulls = 2", "pulls = 0"), "[plan] pulls"),
        (("pulls = 2", "puls = 2"), "did you mean pulls?"),
        (('"300 N*m"', '"300 mm"'), "[plan] sensors"),
        (('profile = "open-end"', 'profile = "open"'), "design open B"),
        (
            ('"fastener.rounding"', '"wrench.opening" = ["tight"]\n"fastener.rounding"'),
            "is varied beside [designs]",
        ),
    ],
)
def test_a_bad_study_is_told(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    with pytest.raises(InputError) as caught:
        study_of(tmp_path, STUDY.replace(*change))
    assert told in str(caught.value)


def test_the_page_prints_without_a_cut_row(tmp_path: Path) -> None:
    """Printed on A4 and on Letter by the browser, both ends of every row stand on one page."""
    program = browser_program()
    import pypdf

    plan = by_hand(study_of(tmp_path, STUDY.replace("pulls = 2", "pulls = 9")))
    html = plan_page(plan, "1.2.3").html()
    for k in range(len(plan.pulls)):  # markers at both ends of a cell that takes several lines
        html = html.replace('<td class="box"></td>', f"<td>begin{k}q{'<br>x' * 9}<br>end{k}q</td>", 1)
    cut = {}
    for name, rule in (("A4", ""), ("letter", ""), ("broken", "tr { break-inside: auto !important; }")):
        size = "A4" if name == "broken" else name
        path = tmp_path / f"{name}.html"
        path.write_text(
            html.replace("</style>", f"@page {{ size: {size}; }} {rule}</style>", 1), encoding="utf-8"
        )
        pdf = tmp_path / f"{name}.pdf"
        command = [
            program,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            f"--user-data-dir={tmp_path / name}",
        ]
        command += [f"--print-to-pdf={pdf}", "--no-pdf-header-footer", path.as_uri()]
        subprocess.run(command, capture_output=True, timeout=120, check=True)
        pages = ["".join(page.extract_text().split()) for page in pypdf.PdfReader(str(pdf)).pages]
        assert len(pages) > 1
        whole = [
            any(f"begin{k}q" in text and f"end{k}q" in text for text in pages) for k in range(len(plan.pulls))
        ]
        seen = [any(f"begin{k}q" in text for text in pages) for k in range(len(plan.pulls))]
        assert all(seen), name
        cut[name] = whole.count(False)
    assert cut["A4"] == cut["letter"] == 0
    assert cut["broken"] > 0  # without the rule a row is cut: the check can fail


def test_the_page_is_no_wider_than_the_paper(tmp_path: Path) -> None:
    """A4 less its margins is 186 mm wide, 703 px: the browser says how wide the tables are."""
    program = browser_program()
    html = plan_page(by_hand(study_of(tmp_path)), "1.2.3").html()
    html = html.replace("default-src 'none';", "default-src 'none'; script-src 'unsafe-inline';")
    script = "document.title = [...document.querySelectorAll('.wide')].map(w => w.scrollWidth).join(' ')"
    html = html.replace("<main", "<main style='width:703px;padding:0'", 1).replace(
        "</body>", f"<script>{script}</script></body>"
    )
    path = tmp_path / "plan.html"
    path.write_text(html, encoding="utf-8")
    command = [program, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'user'}"]
    run = subprocess.run(
        [*command, "--window-size=1200,900", "--dump-dom", path.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    widths = [int(w) for w in run.stdout.partition("<title>")[2].partition("</title>")[0].split()]
    assert len(widths) == 3 and max(widths) <= 703


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "study.toml"
    text = STUDY.replace('["0 %", "20 %", "40 %"]', '["40 %"]').replace(
        '[designs."open B"]\nprofile = "open-end"\n', ""
    )
    path.write_text(text, encoding="utf-8")
    assert (
        main(["plan", str(path), "--out", str(tmp_path / "out"), "-n", "4", "--workers", "1", "--quiet"]) == 0
    )
    assert "turned down" in capsys.readouterr().out
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "page.json",
        "plan.html",
        "plan.json",
        "readings.csv",
    ]
    assert "2 pulls" in (tmp_path / "out" / "plan.html").read_text(encoding="utf-8")
