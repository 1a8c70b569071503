"""Files are written as a whole or not at all, and a full disk is called that."""

from __future__ import annotations

import csv
import errno
import io
import os
from pathlib import Path

import pytest

from contactfe.files import (
    NotWritten,
    csv_cell,
    csv_text,
    write_folder,
    write_text,
    write_together,
    write_whole,
)


def half(part: Path) -> None:
    """Write the first half, then find the disk full."""
    part.write_text("half")
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def half_of_two(part: Path) -> None:
    """Write the first of two files, then find the disk full."""
    (part / "a.txt").write_text("new")
    half(part / "b.txt")


def test_a_full_disk_leaves_the_file_that_was_there(tmp_path: Path) -> None:
    file = tmp_path / "file"
    write_text(file, "before\n")
    with pytest.raises(NotWritten, match=r"the disk is full .*; what was done is kept") as caught:
        write_whole(file, half)
    assert caught.value.slug == "disk-full" and caught.value.where == str(file)
    assert file.read_bytes() == b"before\n" and [p.name for p in tmp_path.iterdir()] == ["file"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_device_that_is_full_says_so() -> None:
    with pytest.raises(OSError) as caught, open("/dev/full", "w") as full:
        full.write("x" * 100_000)
    assert caught.value.errno == errno.ENOSPC  # what `not_written` goes by


def test_files_that_belong_together_come_together(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    paths = write_together(folder, lambda part: (part / "a.txt").write_text("old"))
    assert paths == [folder / "a.txt"]
    with pytest.raises(NotWritten, match="disk is full") as caught:
        write_together(folder, half_of_two)
    assert caught.value.where == str(folder)
    assert (folder / "a.txt").read_text() == "old" and not (folder / "b.txt").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    file = tmp_path / "results"
    file.write_text("mine")
    with pytest.raises(NotWritten, match="is a file, not a folder; name another folder"):
        write_together(file, half_of_two)
    assert file.read_text() == "mine"


@pytest.mark.parametrize("whole", [True, False])
def test_a_folder_that_another_process_has_put_there_is_left_alone(whole: bool, tmp_path: Path) -> None:
    place = tmp_path / "bodies" / "key"
    place.mkdir(parents=True)
    (place / "x").write_text("theirs")
    write_folder(place, lambda part: (part / "x").write_text("mine"), lambda: whole)
    assert (place / "x").read_text() == ("theirs" if whole else "mine")
    assert [p.name for p in place.parent.iterdir()] == ["key"]


def test_a_cell_that_a_spreadsheet_would_reckon_out_is_made_harmless() -> None:
    """What spreadsheets take for formulas: = + - @, and the tab and return before them (CSV injection, OWASP)."""
    harmful = ["=1+2", "+cmd", "-5 deg", "@sum", "\t=1", "=HYPERLINK(1)"]
    fine = ["-5", "+1e3", "-0.25", "5 deg", "20 %", "", "'quoted", "a=b"]
    rows = list(
        csv.reader(io.StringIO(csv_text(["=name", "b"], [[text, None] for text in (*harmful, *fine)])))
    )
    assert rows[0] == ["'=name", "b"]
    assert [row[0] for row in rows[1:]] == [*(f"'{text}" for text in harmful), *fine]
    assert [csv_cell(row[0]) for row in rows[1:]] == [*harmful, *fine]
    numbers = csv_text(["a"], [[-1.5], [-2], [float("-inf")], [True], [None], [1e-300]])
    assert numbers.split("\n")[1:-1] == ["-1.5", "-2", "-inf", "true", '""', "1e-300"]
