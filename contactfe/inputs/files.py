"""From a file or a raw table to a resolved case, and changing one key of a raw table."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import InputError, Problem, nearest
from .fields import FIELDS, TABLES, field_of
from .model import CaseInput
from .reading import read_toml
from .resolve import resolve
from .schema import check_keys

SAME_IN_ANOTHER_WAY: dict[str, tuple[str, ...]] = {
    "fastener.rounding": ("across_corners",),
    "fastener.across_corners": ("rounding",),
    "fastener.yield_strength": ("hardness", "yield"),
    "fastener.hardness": ("yield_strength", "yield"),
    "fastener.yield": ("yield_strength", "hardness"),
    "wrench.yield_strength": ("hardness",),
    "wrench.hardness": ("yield_strength",),
}
"""Keys of the same table that a key takes the place of, by its dotted path."""


def load_case(path: str | Path) -> CaseInput:
    """Read a case file. Outlines it names are looked for beside it.

    Raises InputError with every problem of the file.
    """
    file = Path(path)
    return parse_case(read_toml(file), source=str(path), folder=file.parent, name=file.stem)


def parse_case(
    raw: Mapping[str, Any], source: str = "case", *, folder: Path | None = None, name: str = "case"
) -> CaseInput:
    """Resolve the raw tables of a case. `source` heads the messages, `name` stands in for an absent name.

    With a `folder`, outlines are looked for there and must exist. Raises InputError with every problem.
    """
    checked = check_keys(raw)
    case, problems = resolve(checked, name=name, folder=folder)
    if case is None:
        raise InputError(problems, source=source)
    return case


def set_path(raw: Mapping[str, Any], path: str, value: Any) -> dict[str, Any]:
    """Return a copy of the raw tables with the key at a dotted `path` ("fastener.rounding") set to `value`.

    Keys that say the same in another way go: a yield strength takes the place of a hardness. The value
    is checked only when the case is parsed. Raises InputError when no key has this path.
    """
    if field_of(path) is None or path == "format":
        paths = [entry.path for entry in FIELDS if entry.path != "format"]
        same_name = [known for known in paths if known.rpartition(".")[2] == path.rpartition(".")[2]]
        hint = f"did you mean {same_name[0]}?" if same_name else nearest(path, paths)
        problem = Problem(
            path, "no such key in a case", hint or f"write table.key; tables: {', '.join(TABLES)}"
        )
        raise InputError([problem], slug="unknown-path")
    changed = copy.deepcopy(dict(raw))
    table, _, key = path.rpartition(".")
    if not table:
        changed[key] = value
        return changed
    part = changed.setdefault(table, {})
    if not isinstance(part, dict):
        raise InputError([Problem(f"[{table}]", "is not a table", f"write [{table}] on a line of its own")])
    part[key] = value
    for other in SAME_IN_ANOTHER_WAY.get(path, ()):
        part.pop(other, None)
    return changed
