"""The pages in a real browser: they load from a file without a network, say their answer, and log no error.

The browser is Debian's `chromium`. Where CI is set it must be there; elsewhere, without it, the same pages
are read with Python's own parser.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import pytest

from contactfe.case import solve_case
from contactfe.inputs import parse_case
from contactfe.report import case_page, study_page
from contactfe.report.words import number

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--enable-logging=stderr",
    "--v=0",
)
NO_NETWORK = (
    "--host-resolver-rules=MAP * ~NOTFOUND"  # no name leads anywhere: what is shown came from the file
)
WINDOW = (1200, 900)


def browser() -> str | None:
    """The browser's path; None where there is none and none is demanded."""
    found = shutil.which("chromium")
    if found is None and os.environ.get("CI"):
        pytest.fail("no chromium on PATH: install the package chromium (apt-get install -y chromium)")
    return found


@dataclass(frozen=True)
class Loaded:
    """A page after loading: its document, what it logged, and its picture (None without a browser)."""

    document: str
    errors: list[str]
    picture: bytes | None


def load(program: str, page: Path, folder: Path) -> Loaded:
    """Load a page twice from its file: once for the document and its log, once for a picture."""
    found = []
    picture = folder / "page.png"
    for k, what in enumerate(("--dump-dom", f"--screenshot={picture}")):
        command = [program, *FLAGS, NO_NETWORK, f"--user-data-dir={folder / f'profile-{k}'}"]
        command += [f"--window-size={WINDOW[0]},{WINDOW[1]}", what, page.as_uri()]
        found.append(subprocess.run(command, capture_output=True, text=True, timeout=120, check=True))
    errors = [line for run in found for line in run.stderr.splitlines() if "CONSOLE" in line]
    return Loaded(found[0].stdout, errors, picture.read_bytes())


class Reader(HTMLParser):
    """The text of a page, for machines without a browser."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "link", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag  # every element is closed in its place

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def shown(page: Path, folder: Path) -> Loaded:
    """The page in the browser, or as Python's parser reads it."""
    program = browser()
    if program is not None:
        return load(program, page, folder)
    reader = Reader()
    reader.feed(page.read_text(encoding="utf-8"))
    reader.close()
    assert reader.open == []
    return Loaded(" ".join(" ".join(reader.words).split()), [], None)


def check_picture(picture: bytes | None) -> None:
    """A picture of the window's size that is not blank: compressed, an empty page takes a few kilobytes."""
    if picture is None:
        return
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    size = int.from_bytes(picture[16:20], "big"), int.from_bytes(picture[20:24], "big")
    assert size == WINDOW
    assert len(picture) > 20_000


def test_the_page_of_a_case_in_the_browser(tmp_path: Path) -> None:
    case = parse_case(
        {
            "format": 1,
            "name": "worn",
            "fastener": {"size": "M10", "grade": "8.8", "rounding": "20 %"},
            "wrench": {"profile": "open-end"},
            "mesh": {"edge_at_contact": "0.48 mm"},
        }
    )
    record = solve_case(case)
    path = tmp_path / "case.html"
    path.write_text(case_page(record, "1.2.3"), encoding="utf-8")
    page = shown(path, tmp_path)
    assert record.estimate.slip_torque_Nm is not None
    assert f"Slips at {number(record.estimate.slip_torque_Nm)} N·m" in page.document
    assert "not a rating of any tool" in page.document
    assert page.errors == []
    check_picture(page.picture)


def test_the_page_of_a_study_in_the_browser(tmp_path: Path) -> None:
    rows = [
        {
            "name": f"{profile} {rounding}",
            "wrench.profile": profile,
            "fastener.rounding": f"{rounding} %",
            "torque_Nm": torque or 0.0,
            "ended_by": "turns-freely" if torque is None else "grip",
            "slip_torque_Nm": torque,
            "turns_freely": torque is None,
        }
        for profile, torques in (("open-end", (80.0, 60.0)), ("ring-twelve", (200.0, None)))
        for rounding, torque in zip((0, 70), torques, strict=True)
    ]
    path = tmp_path / "study.html"
    path.write_text(study_page(rows, {"name": "two profiles"}, "1.2.3"), encoding="utf-8")
    page = shown(path, tmp_path)
    assert "Largest torque: 200.0 N·m" in page.document
    assert "turns freely" in page.document
    assert page.errors == []
    check_picture(page.picture)


def test_a_request_would_be_noticed(tmp_path: Path) -> None:
    """The check can fail: the page's own policy refuses a picture from elsewhere, and that is logged."""
    answers = {"torque_Nm": 1.0, "ended_by": "grip", "slip_torque_Nm": 1.0, "turns_freely": False}
    html = study_page([{"name": "one", **answers}], {}, "1.2.3")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)
    assert policy is not None
    rules = policy.group(1).split("; ")
    assert rules[:3] == ["default-src 'none'", "img-src data:", "style-src 'unsafe-inline'"]
    assert len(rules) == 4 and re.fullmatch(r"script-src 'sha256-[A-Za-z0-9+/=]+'", rules[3])
    path = tmp_path / "asks.html"
    path.write_text(
        html.replace("</main>", '<img src="http://127.0.0.1:9/x.png" alt=""></main>'), encoding="utf-8"
    )
    page = shown(path, tmp_path)
    assert page.errors or page.picture is None


def test_a_missing_browser_is_an_error_only_where_ci_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CI", raising=False)
    assert browser() is None
    monkeypatch.setenv("CI", "1")
    with pytest.raises(pytest.fail.Exception, match="apt-get install -y chromium"):
        browser()
