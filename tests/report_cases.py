"""What the tests of figures and pages share: solved cases, the texts a reader sees, what a page holds."""

from __future__ import annotations

import base64
import itertools
import re
from collections.abc import Iterator
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure
from matplotlib.text import Text

from contactfe.case import CaseRecord, solve_case
from contactfe.inputs import CaseInput, parse_case

VERSION = "1.2.3"
RINGS = ("ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
PROFILES = ("open-end", *RINGS)
MESHES = Path(__file__).resolve().parents[1] / "meshes"


def case(profile: str, rounding: str = "0 %", *, stock: str = "bar", **tables: dict[str, Any]) -> CaseInput:
    """A case on a coarse mesh; further keys by table replace or join the usual ones."""
    fastener = tables.get("fastener", {"size": "M10", "grade": "8.8", "rounding": rounding, "stock": stock})
    return parse_case(
        {
            "format": 1,
            "name": f"{profile} {rounding}".replace("%", "pc"),
            "fastener": fastener,
            "wrench": {"profile": profile, **tables.get("wrench", {})},
            "load": tables.get("load", {}),
            "mesh": {"edge_at_contact": "0.48 mm"} if "fastener" not in tables else {},
        },
        folder=MESHES,
    )


@lru_cache(maxsize=16)
def solved(kind: str) -> CaseRecord:
    """A solved case by profile, or by one of the names below."""
    special = {
        "free": case("ring-twelve", "70 %"),
        "worn": case("ring-twelve", "40 %"),
        "lever": case(
            "open-end", wrench={"opening": "loose"}, load={"lever_arm": "150 mm", "direction": "clockwise"}
        ),
        "soft-wrench": case("ring-six", wrench={"yield_strength": "500 MPa"}),
        "points-12": case("flare-nut", wrench={"points": 12}),
        "bolt": case("ring-twelve", "20 %", stock="bolt"),
    }
    return solve_case(special.get(kind) or case(kind))


def shown_texts(figure: Figure) -> list[tuple[str, Any]]:
    """Every text a reader sees, with its box in pixels; tick labels of hidden axes are not seen."""
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    figure.draw(renderer)
    hidden = {
        id(t)
        for ax in figure.axes
        for axis, (low, high) in ((ax.xaxis, sorted(ax.get_xlim())), (ax.yaxis, sorted(ax.get_ylim())))
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks())
        for t in (tick.label1, tick.label2)
        if not ax.axison or not low - 1e-9 <= tick.get_loc() <= high + 1e-9
    }
    texts = [
        t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip() and id(t) not in hidden
    ]
    return [
        (t.get_text(), t.get_window_extent(renderer)) for t in texts if t.axes is None or t.axes.get_visible()
    ]


def meetings(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes overlap, and texts that leave the figure."""
    texts = shown_texts(figure)
    found = [(a, b) for (a, p), (b, q) in itertools.combinations(texts, 2) if p.overlaps(q)]
    sheet = figure.bbox
    return found + [
        (a, "edge of the figure")
        for a, box in texts
        if box.x0 < sheet.x0 or box.x1 > sheet.x1 or box.y0 < sheet.y0 or box.y1 > sheet.y1
    ]


class Page(HTMLParser):
    """What a page holds: ids, links, images, text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.alts: list[str] = []
        self.tags: list[str] = []
        self.text: list[str] = []
        self.scripts: list[str] = []
        self._script = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        self._script = tag == "script"
        if tag == "script":
            self.scripts.append("" if found.get("type") is None else str(found["type"]))
        if tag == "svg" and found.get("role") == "img":
            self.alts.append(found.get("aria-label") or "")
        self.ids += [found["id"] or ""] if "id" in found else []
        self.links += [found["href"] or ""] if "href" in found else []
        self.sources += [found["src"] or ""] if "src" in found else []
        if tag == "img":
            self.alts.append(found.get("alt") or "")

    def handle_data(self, data: str) -> None:
        if not self._script and (not self.tags or self.tags[-1] != "style"):
            self.text.append(data)

    def handle_endtag(self, tag: str) -> None:
        self._script = False

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def check_offline(html: str) -> Page:
    """Everything a page shows is inside it, every anchor leads somewhere, every picture is described."""
    page = Page(html)
    assert len(html.encode()) < 5_000_000
    assert all(source.startswith("data:image/") for source in page.sources)
    assert all(link.startswith(("#", "data:")) for link in page.links)
    assert {link[1:] for link in page.links if link.startswith("#")} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert page.alts and all(len(alt) > 20 for alt in page.alts)
    # One script of our own at most, let in by its hash; data beside it are not run.
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)
    assert policy is not None and policy.group(1).startswith("default-src 'none'; img-src data:;")
    assert [kind for kind in page.scripts if not kind] == [""] * ("sha256-" in policy.group(1))
    assert set(page.scripts) <= {"", "application/json"}
    assert not re.search(r"url\(|@import", html)
    assert "@media print" in html
    return page


def inline_pictures(page: Page) -> Iterator[bytes]:
    for source in page.sources:
        yield base64.b64decode(source.partition(",")[2])
