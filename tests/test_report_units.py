"""Units of the reader, against their definitions: 1 in = 25.4 mm, 1 lbf = 0.45359237 kg times 9.80665 m/s2 (NIST SP 811)."""

from __future__ import annotations

import pytest
from report_cases import VERSION, check_offline, solved

from contactfe.cli.output import said_first
from contactfe.report import case_page
from contactfe.report.case_words import headline, limit_rows
from contactfe.report.reader_units import both, shown

POUND = 0.45359237 * 9.80665  # N
INCH = 0.0254  # m


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (100 * POUND * 12 * INCH, "N·m", ("100.0", "lbf·ft")),
        (20 * POUND * 12 * INCH, "N·m", ("20.0", "lbf·ft")),
        (120 * POUND * INCH, "N·m", ("120.0", "lbf·in")),
        (25.4, "mm", ("1.000", "in")),
        (25.4, "µm", ("1.00", "mil")),
        (100e3 * POUND / INCH**2 / 1e6, "MPa", ("100.0", "ksi")),
        (3.5, "deg", ("3.50", "deg")),
    ],
)
def test_a_reader_in_inches(value: float, unit: str, expected: tuple[str, str]) -> None:
    assert shown(value * (1 + 1e-12), unit, "inch") == expected


def test_per_unit_torque() -> None:
    """2 ksi under 4 lbf ft are 0.5 ksi per lbf ft."""
    ksi, feet = 1e3 * POUND / INCH**2 / 1e6, POUND * 12 * INCH
    assert shown(2 * ksi / (4 * feet), "MPa per N·m", "inch") == ("0.50", "ksi per lbf·ft")
    assert shown(3 * 25.4 / (2 * feet), "µm per N·m", "inch") == ("1.50", "mil per lbf·ft")


def test_the_readers_unit_comes_first() -> None:
    assert both(66.0) == "66.0 N·m (48.7 lbf·ft)"
    assert both(66.0, "inch") == "48.7 lbf·ft (66.0 N·m)"
    record = solved("bolt")
    assert headline(record, "inch").startswith("The bolt twists off at ")
    assert headline(record, "inch").endswith("N·m)")
    assert "lbf·ft" in limit_rows(record, "inch")[0].torque


def test_a_page_in_inches() -> None:
    record = solved("bolt")
    words = check_offline(case_page(record, VERSION, units="inch")).words
    assert both(record.torque_Nm, "inch") in words
    length = record.answers()["crushed_length_mm"]
    assert f"crushed length {' '.join(shown(length, 'mm', 'inch'))}" in words


def test_a_reader_that_goes_away_costs_no_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """`contactfe turn case.toml --out folder | head -1`: what is written after the talk is still written."""
    moved = []
    monkeypatch.setattr("contactfe.cli.output.os.dup2", lambda *ends: moved.append(ends))
    with said_first():
        raise BrokenPipeError
    assert len(moved) == 1
    with pytest.raises(ZeroDivisionError), said_first():
        raise ZeroDivisionError
