"""The page of a study in a real browser: sorting, filtering, ranking and downloads agree with its table."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from browser import cut_figures, opened, serious_findings, sideways
from playwright.sync_api import Page
from report_cases import VERSION

from contactfe.files import csv_text
from contactfe.report import study_charts, study_page
from contactfe.report.style import as_bytes
from contactfe.report.words import PROFILES, number


def table_of(roundings: int = 4, frictions: int = 1) -> list[dict[str, Any]]:
    """Invented rows: three profiles over rounding and strength; the twelve-point ring leads, then the six-point ring."""
    rows = []
    for profile, new, loss in (
        ("ring-six", 300.0, 1.0),
        ("ring-twelve", 330.0, 2.0),
        ("open-end", 90.0, 0.6),
    ):
        for grade, factor in (("8.8", 1.0), ("10.9", 1.3)):
            for k in range(roundings):
                for mu in range(frictions):
                    torque = new * factor * (1.0 - loss * 0.6 * k / max(roundings - 1, 1)) * (1 + 0.01 * mu)
                    free = torque <= 0
                    rows.append(
                        {
                            "case_id": f"{len(rows):05x}",
                            "name": f"case-{len(rows):03d}",
                            "wrench.profile": profile,
                            "fastener.grade": grade,
                            "fastener.rounding": f"{60 * k / max(roundings - 1, 1):.4g} %",
                            **({"contact.friction": 0.1 + 0.001 * mu} if frictions > 1 else {}),
                            "status": "turns freely" if free else "ok",
                            "reason": "",
                            "turns_freely": free,
                            "torque_Nm": 0.0 if free else torque,
                            "ended_by": "turns-freely" if free else "wrench" if k == 0 else "grip",
                            "slip_torque_Nm": None if free else 1.1 * torque if k == 0 else torque,
                        }
                    )
    return rows


def page_of(rows: list[dict[str, Any]], folder: Path) -> Path:
    path = folder / "study.html"
    text = csv_text(list(rows[0]), [list(row.values()) for row in rows])
    path.write_text(study_page(rows, {"name": "three profiles"}, VERSION, csv=text), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def rows() -> list[dict[str, Any]]:
    return table_of()


@pytest.fixture(scope="module")
def page_file(rows: list[dict[str, Any]], tmp_path_factory: pytest.TempPathFactory) -> Path:
    return page_of(rows, tmp_path_factory.mktemp("study"))


def column(page: Page, head: str) -> list[str]:
    heads = page.locator("#all thead th").all_inner_texts()
    k = next(i for i, text in enumerate(heads) if text.strip().startswith(head))
    return page.locator(f"#all tbody tr:not([hidden]) td:nth-child({k + 1})").all_inner_texts()


def test_the_table_sorts_and_filters(page_file: Path, rows: list[dict[str, Any]]) -> None:
    with opened(page_file) as shown:
        page = shown.page
        head = page.locator("#all thead th").filter(has_text="torque (N·m)").first
        head.locator("button").click()
        assert head.get_attribute("aria-sort") == "ascending"
        wanted = sorted(float(row["torque_Nm"]) for row in rows)
        assert column(page, "torque (N·m)") == [number(v) for v in wanted]
        head.locator("button").click()
        assert head.get_attribute("aria-sort") == "descending"
        assert column(page, "torque (N·m)") == [number(v) for v in reversed(wanted)]
        page.locator("#filter").fill("twelve 10.9")
        own = [r for r in rows if r["wrench.profile"] == "ring-twelve" and r["fastener.grade"] == "10.9"]
        assert len(column(page, "case")) == len(own)
        page.locator("#ends").select_option("turns-freely")
        free = [row["name"] for row in own if row["turns_freely"]]
        assert column(page, "case") == free and len(free) == 1
        assert page.locator("#shown").inner_text() == f"1 of {len(rows)} cases"
        assert shown.clean(), (shown.log, shown.requests)


def test_the_ranking_agrees_with_the_table(page_file: Path, rows: list[dict[str, Any]]) -> None:
    with opened(page_file) as shown:
        page = shown.page
        page.locator("[data-choice]").select_option(label="grade 10.9")
        slider = page.locator("#along")
        slider.focus()
        for rounding in ("0 %", "20 %", "40 %", "60 %"):
            assert page.locator("#along-value").inner_text() == rounding
            own = [r for r in rows if (r["fastener.grade"], r["fastener.rounding"]) == ("10.9", rounding)]
            own.sort(key=lambda row: -row["torque_Nm"])
            names = [f"{k}. {PROFILES[row['wrench.profile']]}" for k, row in enumerate(own, start=1)]
            assert page.locator("#bars th").all_inner_texts() == names
            assert page.locator("#bars .n").all_inner_texts() == [
                f"{number(r['torque_Nm'])} N·m" for r in own
            ]
            slider.press("ArrowRight")


def test_downloads_are_the_table_and_the_figures(page_file: Path, rows: list[dict[str, Any]]) -> None:
    figure = study_charts(rows)["comparison"]
    with opened(page_file) as shown:
        for name, content in (
            ("results.csv", csv_text(list(rows[0]), [list(row.values()) for row in rows]).encode()),
            ("comparison.svg", as_bytes(figure, "svg")),
            ("comparison.png", as_bytes(figure, "png")),
        ):
            with shown.page.expect_download() as waiting:
                shown.page.locator(f'a[download="{name}"]').click()
            assert waiting.value.path().read_bytes() == content
    lines = list(csv.reader(io.StringIO(csv_text(list(rows[0]), [list(row.values()) for row in rows]))))
    assert len(lines) == len(rows) + 1


@pytest.mark.parametrize("width", [390, 1440])
def test_the_page_fits_and_breaks_no_rule_of_accessibility(page_file: Path, width: int) -> None:
    for scheme in ("light", "dark"):
        with opened(page_file, width, color_scheme=scheme) as shown:
            assert sideways(shown.page) <= 0
            assert serious_findings(shown.page) == []
            assert shown.clean(), (shown.log, shown.requests)


def test_without_a_script_everything_stands_there(page_file: Path, rows: list[dict[str, Any]]) -> None:
    with opened(page_file, java_script_enabled=False) as shown:
        assert shown.page.locator("#all tbody tr").count() == len(rows)
        assert not shown.page.locator("#ranking").is_visible()
        assert shown.page.locator("figure img").first.is_visible()


def test_the_printed_page_cuts_no_figure(page_file: Path, tmp_path: Path) -> None:
    with opened(page_file, 794, 1123) as shown:
        assert cut_figures(shown.page, 1123 - 106) == []
        shown.page.pdf(path=tmp_path / "study.pdf", format="A4")
        assert (tmp_path / "study.pdf").stat().st_size > 50_000


def test_a_thousand_cases_stay_usable(tmp_path: Path) -> None:
    """Under 5 MB, and a sort is shown at once: 2 s is what a reader waits without wondering (common practice, no source)."""
    many = table_of(roundings=12, frictions=14)
    assert len(many) >= 1000
    path = page_of(many, tmp_path)
    assert path.stat().st_size < 5_000_000
    with opened(path) as shown:
        took = shown.page.evaluate(
            "() => { const t = performance.now(); document.querySelector('#all .sort').click();"
            " document.body.offsetHeight; return performance.now() - t; }"
        )
        assert took < 2000
        assert sideways(shown.page) <= 0
