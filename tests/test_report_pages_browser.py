"""The other pages in a real browser: comparing pages, further pulls, the bench side. They fit a telephone and a desk, print
without a cut figure, and break no serious rule of accessibility (axe-core)."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import cut_figures, opened, serious_findings, sideways
from report_cases import VERSION, case, solved
from test_report_rebuild import study_folder

from contactfe.case import solve_pulls
from contactfe.cli import main
from contactfe.report import CaseMore, rebuilt, write_case_folder

BENCH = Path(__file__).resolve().parents[1] / "studies" / "bench-loop"


def pulls_page(folder: Path) -> Path:
    record = solved("worn")
    more = CaseMore(pulls=solve_pulls(case("ring-twelve", "40 %"), 2, record))
    write_case_folder(record, folder / "pulls", VERSION, more=more)
    return folder / "pulls" / "case.html"


def cases_page(folder: Path) -> Path:
    for kind in ("open-end", "bolt"):
        write_case_folder(solved(kind), folder / kind, VERSION, units="inch")
    return rebuilt([folder / "open-end", folder / "bolt"], VERSION)


def studies_page(folder: Path) -> Path:
    return rebuilt([study_folder(folder / "one"), study_folder(folder / "two", 1.1)], VERSION)


def score_page(folder: Path) -> Path:
    assert main(["score", str(BENCH / "readings.csv"), "--out", str(folder / "board")]) == 0
    return folder / "board" / "score.html"


def plan_page(folder: Path) -> Path:
    programme = folder / "programme.toml"
    programme.write_text(
        'format = 1\nname = "short"\n[base.fastener]\nsize = "M10"\ngrade = "8.8"\n'
        '[base.mesh]\nedge_at_contact = "0.48 mm"\n'
        '[designs."ring"]\nprofile = "ring-twelve"\n[designs."open end"]\nprofile = "open-end"\n'
        '[sweep]\n"fastener.rounding" = ["20 %", "40 %"]\n[plan]\npulls = 2\nbars = ["A", "B"]\n'
        'sensors = ["100 N*m", "500 N*m"]\ndifference = "10 %"\nscatter = "4 %"\nrig_stiffness = 2000\nseed = 1\n',
        encoding="utf-8",
    )
    assert main(["plan", str(programme), "--out", str(folder / "plan")]) == 0
    return folder / "plan" / "plan.html"


@pytest.mark.parametrize("make", [pulls_page, cases_page, studies_page, score_page, plan_page])
def test_the_page_fits_prints_and_breaks_no_rule(make: object, tmp_path: Path) -> None:
    page = make(tmp_path)  # type: ignore[operator]
    for width, scheme in ((390, "light"), (1440, "dark")):
        with opened(page, width, color_scheme=scheme) as shown:
            assert sideways(shown.page) <= 0
            assert serious_findings(shown.page) == []
            assert shown.clean()
    with opened(page, 794, 1123) as shown:  # A4 at 96 dots to the inch
        assert cut_figures(shown.page, 1123 - 106) == []
