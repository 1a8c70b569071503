"""Input files that are no ordinary text files, and values no message should repeat in full."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from contactfe.errors import ContactFEError, InputError, Problem, shown
from contactfe.files import read_json, read_stored
from contactfe.inputs import NotToml, UnreadableFile, load_case, parse_case, read_text, read_toml
from contactfe.outlines.drawing import read_bytes
from contactfe.trial.text import encoding_of
from contactfe.units import parse_quantity

CASE = 'format = 1\n[fastener]\nsize = "M10"\ngrade = "8.8"\n[wrench]\nprofile = "ring-six"\n'


def test_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    file = tmp_path / "marked.toml"
    file.write_bytes(b"\xef\xbb\xbf" + CASE.encode())
    assert load_case(file).fastener.size == "M10"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    caught: list[BaseException] = []

    def read() -> None:
        try:
            read_toml(pipe)
        except UnreadableFile as error:
            caught.append(error)

    waiting = threading.Thread(target=read, daemon=True)
    waiting.start()
    waiting.join(5.0)
    assert not waiting.is_alive()
    assert "is not a regular file" in str(caught[0])


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no devices here")
def test_a_link_to_a_device_is_refused(tmp_path: Path) -> None:
    link = tmp_path / "endless.toml"
    link.symlink_to("/dev/zero")
    with pytest.raises(UnreadableFile, match="is not a regular file"):
        read_toml(link)


def test_a_file_that_is_too_large_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "large.toml"
    file.write_bytes(b"#" * 2001)
    with pytest.raises(UnreadableFile, match="is larger than"):
        read_text(file, largest=2000)
    assert len(read_text(file, largest=2001)) == 2001


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 50 + "]" * 50,
        "a = " + "{b=" * 30 + "1" + "}" * 30,
        "[" + ".".join("a" * 40) + "]\nx = 1\n",
    ],
)
def test_deep_nesting_is_refused(text: str, tmp_path: Path) -> None:
    file = tmp_path / "deep.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(NotToml, match="more than 20 deep"):
        load_case(file)


def test_names_no_file_can_have() -> None:
    with pytest.raises(UnreadableFile, match="cannot be read"):
        read_toml("a\0b.toml")


@pytest.mark.parametrize(
    "path", ["fastener.engaged_depth", "contact.friction", "fastener.size", "fastener.grade", "name"]
)
@pytest.mark.parametrize(
    "value", [10**4000, "1" * 16_000, "1 " + "m" * 16_000, "1 " + "mm*" * 8_000 + "mm", "x " * 8_000]
)
def test_values_of_thousands_of_characters_end_in_short_messages(path: str, value: Any) -> None:
    raw: dict[str, Any] = {
        "format": 1,
        "fastener": {"size": "M10", "grade": "8.8"},
        "wrench": {"profile": "ring-six"},
    }
    table, _, key = path.rpartition(".")
    (raw[table] if table in raw else raw.setdefault(table, {}) if table else raw)[key] = value
    with pytest.raises(InputError) as caught:
        parse_case(raw)
    assert len(caught.value.problems) == 1
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize(
    "raw", [{"format": 10**4000}, {"format": 1, "k" * 9000: 1}, {"format": 1, "wrench": {"k" * 9000: 1}}]
)
def test_long_keys_and_formats_end_in_short_messages(raw: dict[str, Any]) -> None:
    with pytest.raises(InputError) as caught:
        parse_case(raw)
    assert all(len(str(problem)) < 500 for problem in caught.value.problems)


def test_messages_hold_no_control_characters() -> None:
    for raw in ("16 \x1b[2Jmm", "\x07", "16 mm\x9b31m"):
        with pytest.raises(ContactFEError) as caught:
            parse_quantity(raw, "length")
        assert str(caught.value).isprintable()
    problem = Problem("[a] \x1b", "b\n\x08", "c\r")
    assert str(problem).isprintable()


def test_shown_keeps_both_ends() -> None:
    assert shown("M10") == "M10"
    long = shown("a" * 500 + "end")
    assert len(long) < 70
    assert long.startswith("aaa")
    assert long.endswith("end")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
@pytest.mark.parametrize("read", [encoding_of, read_bytes, read_stored], ids=["log", "drawing", "stored"])
def test_every_reader_refuses_pipes_and_devices(read: Callable[[Path], Any], tmp_path: Path) -> None:
    pipe, endless = tmp_path / "pipe.csv", tmp_path / "endless.csv"
    os.mkfifo(pipe)
    endless.symlink_to("/dev/zero")
    for path in (pipe, endless):
        with pytest.raises((ContactFEError, OSError), match="not a regular file"):
            read(path)


def test_a_stored_file_that_is_too_large_or_too_deep_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "stored.json"
    file.write_text('{"a": ' * 100_000 + "1" + "}" * 100_000)
    with pytest.raises(ValueError, match="nested too deeply"):
        read_json(file)
    with pytest.raises(OSError, match="larger than"):
        read_stored(file, most=1000)


def test_a_whole_number_of_thousands_of_digits_is_told_without_python_words(tmp_path: Path) -> None:
    file = tmp_path / "digits.toml"
    file.write_text("format = " + "9" * 5000)
    with pytest.raises(NotToml, match="holds a whole number of thousands of digits"):
        read_toml(file)
