"""Every known answer of `contactfe verify`, as tests; each check carries its own source."""

from __future__ import annotations

import functools
import json
import math
import re
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from contactfe.cli import verify as command
from contactfe.errors import ContactFEError
from contactfe.report.comparison import comparison_figure, comparison_page
from contactfe.verify import CASES, GROUPS, CaseAnswer, CaseReport, Report, run_case, run_cases, select
from contactfe.verify.check import NO_SOURCE, Case, Check, Registry, Source


@functools.cache
def ran(name: str) -> CaseReport:
    return run_case(CASES.cases[name])


@functools.cache
def everything() -> Report:
    return Report(tuple(ran(case.name) for case in select(CASES.cases, quick=False)))


@pytest.mark.parametrize("name", CASES.cases)
def test_the_known_answers_are_met(name: str) -> None:
    checks = ran(name).answer.checks
    assert checks
    for check in checks:
        words = f"{check.name}: {check.computed} against {check.expected_text()}, {check.source} {check.note}"
        assert check.sound, words
        assert check.passed or check.note, "a miss is explained"


def test_there_are_enough_checks_of_every_origin() -> None:
    checks = everything().checks
    assert len(checks) >= 40
    assert sum(c.origin == "published" for c in checks) >= 12
    assert sum(c.origin == "independent code" for c in checks) >= 2
    assert {c.group for c in checks} == set(GROUPS)


def test_audits_and_formulas_among_each_other_are_called_that() -> None:
    own = {c.name for c in everything().checks if c.origin in ("self-audit", "formula against formula")}
    assert "contact law: complementarity, over the cap" in own
    assert "cylinder with a cap: load carried, N/mm" in own
    assert "default constraint factor" in own
    assert "hexagon in rigid jaws: upper force over lower, less one" in own


def test_no_tolerance_lets_half_or_double_of_the_expected_number_pass() -> None:
    for check in everything().checks:
        if check.expected and check.group != "trade" and check.kind != "band":
            assert check.allowed < 0.25 * abs(check.expected), check.name


def test_every_check_names_its_source_and_only_itself() -> None:
    checks = everything().checks
    assert len({c.name for c in checks}) == len(checks)
    for check in checks:
        assert check.source.strip()
        assert (check.origin == "common practice") == (check.source == NO_SOURCE)
        assert check.tolerance >= 0.0
        assert check.group == "trade" or check.kind != "band" or check.origin == "independent code"


def test_the_quick_set_has_no_trade_and_most_of_the_rest() -> None:
    quick = select(CASES.cases, quick=True)
    assert not any(case.group == "trade" for case in quick)
    assert {case.group for case in quick} == set(GROUPS) - {"trade"}


# --- the check itself ---------------------------------------------------------------------------------------------

SOURCE = Source("contact", "exact", "by hand")


def test_tolerances_are_relative_absolute_or_a_band() -> None:
    assert SOURCE.relative("a", 102.0, 100.0, 0.02).passed
    assert not SOURCE.relative("a", -102.1, -100.0, 0.02).passed
    assert SOURCE.absolute("a", 0.5, 0.0, 0.5).passed
    assert not SOURCE.absolute("a", 0.51, 0.0, 0.5).passed
    assert SOURCE.band("a", 1.5, (0.5, 1.5)).passed
    assert not SOURCE.band("a", 0.49, (0.5, 1.5)).passed


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_never_passes(number: float) -> None:
    for check in (SOURCE.relative("a", number, 1.0, 1e9), SOURCE.absolute("a", number, 1.0, math.inf)):
        assert not check.passed
        assert check.difference_text() == "no answer"
        assert check.to_dict()["computed"] is None


def test_texts_say_what_the_numbers_say() -> None:
    assert SOURCE.relative("a", 102.0, 100.0, 0.05).difference_text() == "+2 %"
    assert SOURCE.relative("a", 2.0879121, 100.0, 0.05).computed_text() == "2.08791"
    assert SOURCE.relative("a", 102.0, 100.0, 0.05).tolerance_text() == "5 %"
    assert SOURCE.band("a", 2.0, (0.5, 1.5)).difference_text() == "outside by 0.5"
    assert SOURCE.band("a", 1.0, (0.5, 1.5)).difference_text() == "inside"
    assert SOURCE.band("a", 1.0, (0.5, 1.5)).expected_text() == "0.5 to 1.5"
    assert SOURCE.absolute("a", 1.25, 1.0, 0.5).difference_text() == "+2.5e-01"


def test_a_known_miss_is_sound_only_while_its_size_stays() -> None:
    def row(computed: float) -> Check:
        return SOURCE.outside_reach("a", computed, (0.0, 1.0), (-0.2, 0.05), "no effect")

    assert row(-0.22).state == "outside the model's reach" and row(-0.22).sound and not row(-0.22).passed
    for computed in (-0.3, 0.5, -0.1, math.nan):  # larger, met, smaller, none
        assert row(computed).state == "changed" and not row(computed).sound
    answer = CaseAnswer((row(-0.2), row(0.5), SOURCE.absolute("b", 1.0, 1.0, 0.1)))
    report = Report((CaseReport(Case("a", "contact", True, lambda: answer), answer, 0.0),))
    assert [c.computed for c in report.missed] == [0.5] and [c.computed for c in report.outside] == [-0.2]


def no_answer() -> CaseAnswer:
    raise ContactFEError("nothing converged")


def good() -> CaseAnswer:
    return CaseAnswer((SOURCE.relative("good one", 1.0, 1.0, 0.1),), CASES.cases["flat punch"].run().curves)


def test_a_case_that_ends_in_an_error_is_a_failed_check() -> None:
    (check,) = run_case(Case("broken", "contact", True, no_answer)).answer.checks
    assert not check.passed
    assert "nothing converged" in check.note


def test_running_reports_each_case_once() -> None:
    cases = [Case("good", "contact", True, good), Case("broken", "contact", True, no_answer)]
    seen: list[str] = []
    report = run_cases(cases, lambda done: seen.append(done.case.name))
    assert seen == ["good", "broken"]
    assert [c.name for c in report.missed] == ["broken: runs"]
    assert report.to_dict("1.2")["passed"] is False


# --- the page and the command -------------------------------------------------------------------------------------


def test_the_page_is_whole_and_fetches_nothing() -> None:
    report = Report((ran("cylinder on a flat"), ran("flat punch with a pressure cap")))
    page = comparison_page(report, "1.2", quick=True)
    for check in report.checks:
        assert check.name in page
        assert check.source in page
    addresses = re.findall(r'(?:src|href)="([^"]*)"', page)
    assert addresses
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert page.count("<img") == len(report.curves) == 2
    assert all(f'id="{a[1:]}"' in page for a in addresses if a.startswith("#"))
    assert page == comparison_page(report, "1.2", quick=True)


def test_the_figure_shows_points_and_line_as_they_are() -> None:
    (curve,) = ran("cylinder on a flat").answer.curves
    line, points = comparison_figure(curve).axes[0].lines
    assert line.get_xdata().tolist() == curve.line[0].tolist()
    assert points.get_ydata().tolist() == curve.points[1].tolist()
    assert comparison_figure(curve).axes[0].get_ylim()[1] > curve.points[1].max()


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> typer.Typer:
    """The command on two made-up cases: a quick good one and a slow one without an answer."""
    cases = {"good": Case("good", "contact", True, good), "bad": Case("bad", "trade", False, no_answer)}
    monkeypatch.setattr("contactfe.verify.CASES", Registry(cases))
    made = typer.Typer()
    command.register(made)
    made.command("other")(lambda: None)
    return made


def test_the_command_prints_the_table_and_ends_well_when_all_is_met(app: typer.Typer) -> None:
    done = CliRunner().invoke(app, ["verify", "--quick"])
    assert done.exit_code == 0, done.output
    assert re.search(r"good one +1 +1 +\+0 % +10 % +exact \[1\]", done.stdout)
    assert "[1] by hand" in done.stdout
    assert "1 checks: 1 met, 0 outside the model's reach (known), 0 missed or changed" in done.stdout


def test_the_command_ends_with_4_when_one_is_missed(app: typer.Typer) -> None:
    done = CliRunner().invoke(app, ["verify"])
    assert done.exit_code == 4
    assert "MISSED" in done.stdout
    assert "nothing converged" in done.stdout


def test_json_is_all_that_stands_on_stdout(app: typer.Typer) -> None:
    done = CliRunner().invoke(app, ["verify", "--json"])
    found = json.loads(done.stdout)
    assert done.exit_code == 4
    assert found["passed"] is False
    assert [c["passed"] for c in found["checks"]] == [True, False]
    assert found["checks"][1]["computed"] is None
    assert found["quick"] is False


def test_the_folder_gets_one_plot_per_curve_and_the_page(app: typer.Typer, tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["verify", "--quick", "--out", str(tmp_path / "new")])
    assert done.exit_code == 0, done.output
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == ["sharp-flat-punch.png", "verify.html"]


def test_a_folder_that_cannot_be_made_is_told_before_anything_runs(app: typer.Typer, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = CliRunner().invoke(app, ["verify", "--out", str(tmp_path / "file")])
    assert isinstance(done.exception, ContactFEError)
    assert "is a file" in str(done.exception)
