"""The turning player in a real browser: it says what the curve says, jumps to events, works by key, touch and not at all."""

from __future__ import annotations

import csv
import io
import itertools
import math
import re
from pathlib import Path

import pytest
from browser import cut_figures, opened, serious_findings, sideways
from playwright.sync_api import Page
from report_cases import VERSION, solved

from contactfe.report import case_page, player_view, stage_of
from contactfe.report.case_page import curve_csv
from contactfe.report.reader_units import both, text_of
from contactfe.report.words import number
from contactfe.turn import load_share

KIND = "soft-wrench"  # the wrench gives way, slip lies beyond: both ends have their marks


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("player") / "case.html"
    path.write_text(case_page(solved(KIND), VERSION), encoding="utf-8")
    return path


def text(page: Page, name: str) -> str:
    return page.locator(f"#{name}").inner_text()


def test_frames_are_the_solved_curve() -> None:
    record = solved(KIND)
    stage = stage_of(record)
    assert stage is not None
    told = [(frame.rotation_deg, frame.torque_Nm) for frame in stage.frames]
    for rotation, torque in zip(record.curve.rotation, record.curve.torque, strict=True):
        assert (pytest.approx(math.degrees(rotation)), pytest.approx(torque)) in told
    # Up to the top the rotation never goes back, and events lie at their own rotation and torque.
    top = max(range(len(told)), key=lambda i: told[i][1])
    assert all(a[0] <= b[0] for a, b in itertools.pairwise(told[: top + 1]))
    for event, at in zip(stage.events, stage.at_event, strict=True):
        assert told[at] == (event.rotation_deg, event.torque_Nm)
    assert {"free-play", "first-contact", "wrench", "grip"} <= {event.key for event in stage.events}
    assert [event.key for event in stage.events if event.ends] == ["wrench"]


def test_the_forces_on_the_flats_carry_the_torque() -> None:
    """Each flat's force is its share of all pressure on the flanks; the wrench turns as far as the head does."""
    record = solved(KIND)
    stage = stage_of(record)
    assert stage is not None
    depth = record.built.case.fastener.engaged_depth
    for solution, torque in zip(record.curve.solutions, record.curve.torque, strict=True):
        frame = min(stage.frames, key=lambda f: abs(f.torque_Nm - torque))
        force = float(solution.pressure @ solution.problem.length) * depth
        assert sum(frame.load_N) == pytest.approx(force, rel=0.05)
        if force > 0 and frame.torque_Nm == pytest.approx(torque):
            assert frame.load_N == pytest.approx([force * s for s in load_share(record.built, solution)])
    turned = [(-record.built.pair.sense * f.rotation_deg, f.place[0]) for f in stage.frames]
    for wanted, found in turned:
        assert found == pytest.approx(wanted, abs=0.1)


def test_slider_and_keys_say_what_the_curve_says(page_file: Path) -> None:
    rows = [tuple(map(float, row)) for row in list(csv.reader(io.StringIO(curve_csv(solved(KIND)))))[1:]]
    with opened(page_file) as shown:
        slider = shown.page.locator("#turn")
        slider.focus()
        said = {}
        for _ in range(int(slider.get_attribute("max") or "0")):
            slider.press("ArrowRight")
            move = shown.page.locator("#stage .turning").first.get_attribute("transform") or ""
            angle = re.match(r"rotate\((-?[\d.]+)\)", move)
            assert angle is not None
            said[(text(shown.page, "now-rotation"), text(shown.page, "now-torque"))] = (
                abs(float(angle.group(1))),
                slider.get_attribute("aria-valuetext"),
            )
        for rotation, torque in (rows[1], rows[len(rows) // 2], rows[-1]):
            key = (f"{number(rotation)}°", both(torque))
            assert key in said
            assert said[key][0] == pytest.approx(rotation, abs=0.1)
            assert said[key][1] == f"{number(rotation)} deg, {both(torque)}"
        slider.press("Home")
        assert text(shown.page, "now-torque") == f"0 N·m ({text_of(0.0, 'N·m', 'inch')})"
        assert shown.clean(), (shown.log, shown.requests)


def test_event_marks_jump(page_file: Path) -> None:
    stage = stage_of(solved(KIND))
    assert stage is not None
    with opened(page_file) as shown:
        marks = shown.page.locator(".marks button")
        assert marks.count() == len(stage.events)
        for k, event in enumerate(stage.events):
            marks.nth(k).click()
            assert text(shown.page, "now-torque") == both(event.torque_Nm)
            assert text(shown.page, "now-rotation") == f"{number(event.rotation_deg)}°"
            assert event.words in marks.nth(k).inner_text()
        shown.page.locator(".ticks span").first.click()
        assert text(shown.page, "now-torque") == both(stage.events[0].torque_Nm)


def test_it_plays_and_pauses(page_file: Path) -> None:
    with opened(page_file, reduced_motion="no-preference") as shown:
        play = shown.page.locator("#play")
        assert text(shown.page, "now-rotation") == "0°"  # nothing moves by itself
        play.click()
        for _ in range(100):  # the page's policy forbids conditions that are evaluated as text
            if text(shown.page, "now-rotation") != "0°":
                break
            shown.page.wait_for_timeout(100)
        assert text(shown.page, "now-rotation") != "0°"
        assert play.inner_text() == "Pause"
        play.click()
        first = text(shown.page, "now-rotation")
        shown.page.wait_for_timeout(300)
        assert text(shown.page, "now-rotation") == first and play.inner_text() == "Play"


def test_reduced_motion_goes_in_steps(page_file: Path) -> None:
    stage = stage_of(solved(KIND))
    assert stage is not None
    whole = {f"{number(frame.rotation_deg)}°" for frame in stage.frames}
    with opened(page_file, reduced_motion="reduce") as shown:
        shown.page.locator("#play").click()
        seen = set()
        for _ in range(12):
            seen.add(text(shown.page, "now-rotation"))
            shown.page.wait_for_timeout(100)
        assert len(seen) >= 2 and seen <= whole


def test_a_finger_on_the_curve_moves_the_wrench(page_file: Path) -> None:
    with opened(page_file, 390, 844, has_touch=True) as shown:
        curve = shown.page.locator("#curve")
        curve.scroll_into_view_if_needed()
        box = curve.bounding_box()
        assert box is not None
        shown.page.touchscreen.tap(box["x"] + 0.9 * box["width"], box["y"] + 0.5 * box["height"])
        assert float(text(shown.page, "now-rotation").rstrip("°")) > 1.0


def test_without_a_script_there_is_a_strip_of_six_pictures(page_file: Path) -> None:
    with opened(page_file, java_script_enabled=False) as shown:
        assert shown.page.locator(".strip figure").count() == 6
        assert shown.page.locator(".strip svg").first.is_visible()
        assert not shown.page.locator(".player").is_visible()
    with opened(page_file) as shown:
        assert not shown.page.locator(".strip").is_visible()
        assert shown.page.locator(".player").is_visible()


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_fits_and_breaks_no_rule_of_accessibility(page_file: Path, width: int, scheme: str) -> None:
    with opened(page_file, width, color_scheme=scheme) as shown:
        assert sideways(shown.page) <= 0
        assert serious_findings(shown.page) == []
        assert shown.clean(), (shown.log, shown.requests)


def test_only_the_pages_own_script_runs(page_file: Path, tmp_path: Path) -> None:
    """The check can fail: a script that is not the page's is refused by its hash, and that is logged."""
    html = page_file.read_text(encoding="utf-8").replace(
        "</main>", "</main><script>document.title = 'taken'</script>"
    )
    (tmp_path / "other.html").write_text(html, encoding="utf-8")
    with opened(tmp_path / "other.html") as shown:
        assert shown.page.title() != "taken"
        assert any("Content Security Policy" in line for line in shown.log)


def test_the_printed_page_cuts_no_figure(page_file: Path, tmp_path: Path) -> None:
    with opened(page_file, 794, 1123) as shown:  # A4 at 96 dots to the inch
        assert cut_figures(shown.page, 1123 - 106) == []
        shown.page.pdf(path=tmp_path / "case.pdf", format="A4")
        assert (tmp_path / "case.pdf").stat().st_size > 50_000


def test_downloads_are_the_files(page_file: Path) -> None:
    with opened(page_file) as shown:
        with shown.page.expect_download() as waiting:
            shown.page.locator('a[download="curve.csv"]').click()
        assert waiting.value.path().read_text(encoding="utf-8") == curve_csv(solved(KIND))


def test_a_wrench_that_turns_freely_has_no_player() -> None:
    record = solved("free")
    assert player_view(record) is None and stage_of(record) is None
    assert 'id="stage"' not in case_page(record, VERSION)
