"""Imports run one way, and outside packages stay behind one door each. A mistake here is an error, not a style."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "contactfe"

# A module may import from its own layer and from those before it; layers in one tuple do not know each other.
ORDER: tuple[tuple[str, ...], ...] = (
    ("errors",),
    ("units", "files", "parallel"),
    ("materials", "standards"),
    ("inputs",),
    ("profile",),
    ("outlines",),
    ("mesh",),
    ("elastic",),
    ("contact",),
    ("turn",),
    ("strength",),
    ("case",),
    ("explain", "uncertainty", "uncertainty"),
    ("study",),
    ("trial", "design"),
    ("verify", "bench"),
    ("report",),
    ("cli",),
)
LEVEL = {name: i for i, group in enumerate(ORDER) for name in group}
DOORS = {
    "skfem": {"elastic"},
    "meshio": {"mesh"},
    "matplotlib": {"report"},
    "jinja2": {"report"},
    "typer": {"cli"},
    "rich": {"cli"},
    "pint": {"units"},
    "ezdxf": {"outlines"},
    "fontTools": {"outlines"},
    "distributed": {"parallel"},
    "dask": {"parallel"},
}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def layer(path: Path) -> str:
    part = path.relative_to(PACKAGE).parts[0]
    return part.removesuffix(".py")


def imports(path: Path) -> list[tuple[int, str]]:
    """Line and absolute dotted name of everything a module imports, wherever in the module."""
    found = []
    package = ("contactfe", *path.relative_to(PACKAGE).parts[:-1])
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            name = ".".join(filter(None, [base, node.module or ""]))
            found.append((node.lineno, name))
            if name == "contactfe":
                found += [(node.lineno, f"contactfe.{alias.name}") for alias in node.names]
    return found


def test_the_walk_finds_the_package() -> None:
    assert len(modules()) > 40
    assert any(name.startswith("contactfe.contact") for _, name in imports(PACKAGE / "turn" / "build.py"))


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_one_way(path: Path) -> None:
    own = layer(path)
    if own in ("__init__", "__main__"):
        return
    for line, name in imports(path):
        parts = name.split(".")
        if parts[0] == "contactfe" and len(parts) > 1 and parts[1] not in ("__version__", own):
            other = parts[1]
            where = f"{path.relative_to(PACKAGE)}:{line} imports {name}"
            if own == "reference":
                assert other == "errors", where
            elif other == "reference":
                assert LEVEL[own] >= LEVEL["verify"], where
            else:
                assert own in LEVEL, f"{own} has no layer"
                assert other in LEVEL, where
                assert LEVEL[other] < LEVEL[own], where
        elif parts[0] in DOORS:
            assert own in DOORS[parts[0]], f"{path.relative_to(PACKAGE)}:{line} imports {name}"


MOST_DEEP = 14
"""Imports from a module of another package instead of its public names: few, and each for a reason."""


def test_packages_are_met_by_their_public_names() -> None:
    deep = [
        f"{path.relative_to(PACKAGE)}:{line} {name}"
        for path in modules()
        for line, name in imports(path)
        if name.count(".") >= 2 and name.split(".")[0] == "contactfe" and name.split(".")[1] != layer(path)
    ]
    assert len(deep) <= MOST_DEEP, "\n".join(deep)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_command_line_prints(path: Path) -> None:
    if layer(path) == "cli":
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "print", f"{path.relative_to(PACKAGE)}:{node.lineno} prints"
