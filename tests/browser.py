"""A real browser for the tests of pages: Debian's chromium, driven by playwright, without a network.

Where CI is set it must be there. Elsewhere the tests that need it are skipped, and say what is missing.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, sync_playwright

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",  # no name leads anywhere: what is shown came from the file
)
AXE_RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice")


def program() -> str:
    """The browser's path."""
    found = shutil.which("chromium")
    if found is None:
        missing = "no chromium on PATH: install the package chromium (apt-get install -y chromium)"
        pytest.fail(missing) if os.environ.get("CI") else pytest.skip(missing)
    return str(found)


@dataclass
class Opened:
    """A page that is open in the browser, what it has logged, and what it has asked for beside its own file."""

    page: Page
    log: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def clean(self) -> bool:
        """Whether nothing was logged and nothing left the file."""
        return not self.log and not [url for url in self.requests if not url.startswith(("data:", "blob:"))]


@contextmanager
def opened(path: Path, width: int = 1440, height: int = 1000, **settings: Any) -> Iterator[Opened]:
    """A page opened from its file; `settings` are those of playwright's browser context."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program(), args=list(FLAGS))
        try:
            context = browser.new_context(viewport={"width": width, "height": height}, **settings)
            found = Opened(context.new_page())
            address = path.resolve().as_uri()
            found.page.on("console", lambda message: found.log.append(message.text))
            found.page.on("pageerror", lambda error: found.log.append(str(error)))
            found.page.on(
                "request",
                lambda request: found.requests.append(request.url) if request.url != address else None,
            )
            found.page.goto(address)
            yield found
        finally:
            browser.close()


def sideways(page: Page) -> int:
    """By how many pixels the page is wider than its window."""
    return int(page.evaluate("document.documentElement.scrollWidth - window.innerWidth"))


def serious_findings(page: Page) -> list[str]:
    """What axe-core's rules find that is serious or worse: rule and the first element of each."""
    import axe_playwright_python

    source = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text(encoding="utf-8")
    page.evaluate(source)
    found = page.evaluate("rules => axe.run({ runOnly: rules })", list(AXE_RULES))
    return [
        f"{one['id']}: {one['nodes'][0]['target']} {one['nodes'][0].get('failureSummary', '')}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]


def cut_figures(page: Page, tallest: int) -> list[str]:
    """Figures that are taller than a printed page of a height in pixels, or wider than the page, when printed."""
    page.emulate_media(media="print")
    boxes = page.evaluate(
        "[...document.querySelectorAll('figure, table')].filter((f) => f.tagName === 'FIGURE')"
        ".map((f) => f.getBoundingClientRect()).map((b) => [b.width, b.height, b.right])"
    )
    wide = page.evaluate("document.documentElement.clientWidth")
    page.emulate_media(media="screen")
    return [str(box) for box in boxes if box[1] > tallest or box[2] > wide + 1]
