"""Cases drawn from the whole space of inputs, each from a seed and a number that name it for ever."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

from contactfe.inputs import CaseInput, parse_case
from contactfe.standards import sizes

MESHES = Path(__file__).resolve().parent.parent / "meshes"
RINGS = ("ring-six", "ring-six-relieved", "ring-twelve", "ring-spline")
WRENCHES = (*RINGS, "flare-nut", "open-end")
DRAWN_WRENCHES = (
    "flare-nut-16mm.toml",
    "hand-drawn-ring-16mm.toml",
    "open-end-16mm.toml",
    "ring-six-16mm.toml",
    "ring-six-relieved-16mm.toml",
    "ring-spline-16mm.toml",
    "ring-twelve-16mm.toml",
)
DRAWN_HEADS = ("hex-16mm.toml", "hex-16mm-rounded-40.toml")
GRADES = ("4.6", "5.8", "8.8", "10.9", "12.9")

Raw = dict[str, Any]


def draw(seed: int, number: int) -> Raw:
    """The raw tables of a case, meshed coarsely: what a user could have written. Most are sound, some are not."""
    dice = random.Random(f"{seed}/{number}")
    fastener, width = _fastener(dice)
    wrench = _wrench(dice, fastener, width)
    raw: Raw = {
        "format": 1,
        "name": f"drawn {seed} {number}",
        "fastener": fastener,
        "wrench": wrench,
        "contact": _contact(dice),
        "load": {"direction": dice.choice(["anticlockwise", "clockwise"])},
        "mesh": {"edge_at_contact": f"{0.03 * width:.5g} mm", "edge_max": f"{0.2 * width:.5g} mm"},
    }
    if dice.random() < 0.6:
        raw["load"]["lever_arm"] = f"{dice.uniform(2.5, 40) * width:.5g} mm"
    return raw


def parsed(raw: Raw) -> CaseInput:
    """The case of raw tables; outlines are looked for in the folder of drawn ones."""
    return parse_case(raw, folder=MESHES)


def toml(raw: Raw) -> str:
    """The raw tables as a case file, to try by hand what a drawn case did."""
    lines = [
        f"{key} = {value!r}".replace("'", '"') for key, value in raw.items() if not isinstance(value, dict)
    ]
    for table, keys in raw.items():
        if isinstance(keys, dict):
            lines.append(f"[{table}]")
            lines += [f"{key} = {value!r}".replace("'", '"') for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def mirrored(c: CaseInput) -> CaseInput:
    """The case seen from the back: turned the other way, with the handle's offset on the other side."""
    other = "anticlockwise" if c.load.direction == "clockwise" else "clockwise"
    dims = tuple((n, -v if n == "offset_angle" else v) for n, v in c.wrench.dims_items)
    return replace(c, wrench=replace(c.wrench, dims_items=dims), load=replace(c.load, direction=other))


def _fastener(dice: random.Random) -> tuple[Raw, float]:
    """The [fastener] table, and the nominal width across flats (mm)."""
    shape = dice.choices(["hex", "square", "double-hex", "outline"], [8, 1, 1, 1])[0]
    head: Raw = {"shape": shape}
    width = 16.0
    if shape == "hex" and dice.random() < 0.8:
        size = dice.choice(sizes())
        head["size"], width = size.name, size.across_flats
        head["stock"] = dice.choice(["bar", "bar", "bolt"])
    else:
        if shape == "outline":
            head["outline"] = dice.choice(DRAWN_HEADS)
        elif dice.random() < 0.3:
            head["across_flats"], width = "5/8 in", 15.875
        else:
            width = round(dice.uniform(5, 60), 2)
        head.setdefault("across_flats", f"{width} mm")
        head["engaged_depth"] = f"{dice.uniform(0.2, 0.8) * width:.4g} mm"
    if dice.random() < 0.5:
        head["grade"] = dice.choice(GRADES)
    else:
        head["yield_strength"] = f"{dice.uniform(120, 1300):.5g} MPa"
    if shape != "outline":
        head["rounding"] = f"{dice.choice([0, 0, 100, *[dice.uniform(0, 100)] * 6]):.4g} %"
        head["worn_side"] = dice.choice(["both", "driven"])
        if dice.random() < 0.2:
            head["undersize"] = f"{dice.uniform(0, 0.03) * width:.4g} mm"
        if dice.random() < 0.2:
            head["corner"] = dice.choice(["sharp", "minimum"] if "size" in head else ["sharp"])
        if dice.random() < 0.2:
            head["chamfer_angle"] = f"{dice.uniform(0, 35):.3g} deg"
    return head, width


def _wrench(dice: random.Random, fastener: Raw, width: float) -> Raw:
    """The [wrench] table for a head."""
    fits = {"square": ("open-end",), "double-hex": ("ring-twelve", "ring-spline")}
    wrench: Raw = {"profile": dice.choice(fits.get(fastener["shape"], WRENCHES))}
    if width == 16.0 and fastener["shape"] in ("hex", "outline") and dice.random() < 0.5:
        wrench = {"profile": "outline", "outline": dice.choice(DRAWN_WRENCHES), "thickness": "11 mm"}
    elif dice.random() < 0.5:
        wrench["opening"] = dice.choice(["tight", "middle", "loose"])
    else:
        wrench["opening"] = f"{width * (1 + dice.uniform(0.0005, 0.04)):.6g} mm"
    if dice.random() < 0.4:
        wrench["thickness"] = f"{dice.uniform(0.15, 1.0) * width:.4g} mm"
    if dice.random() < 0.4:
        wrench["yield_strength"] = f"{dice.uniform(300, 1800):.5g} MPa"
    if dice.random() < 0.2:
        wrench["lead_in"] = "standard"
    if wrench["profile"] in RINGS and dice.random() < 0.2:
        wrench["outside_diameter"] = f"{dice.uniform(1.3, 2.0) * width:.5g} mm"
    if wrench["profile"] == "open-end" and dice.random() < 0.4:
        wrench["offset_angle"] = f"{dice.uniform(-30, 30):.3g} deg"
    return wrench


def _contact(dice: random.Random) -> Raw:
    contact: Raw = {"friction": dice.choice([0.0, 0.5, *[round(dice.uniform(0, 0.5), 3)] * 5])}
    if dice.random() < 0.2:
        contact["constraint_factor"] = round(dice.uniform(0.8, 2.6), 3)
    if dice.random() < 0.2:
        contact["plane"] = "strain"
    return contact
