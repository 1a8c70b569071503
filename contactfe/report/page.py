"""What every page shares: the templates, pictures as data, downloads, and the policy that lets nothing in."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup
from matplotlib.figure import Figure

from contactfe.report.style import as_bytes, data_uri

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Picture:
    """A figure ready for a page: name of its file, its data: address, width and height in pixels, caption, alternative
    text, and the address of the same figure as PNG ("" for none).
    """

    name: str
    address: str
    width: int
    height: int
    caption: str
    alt: str
    png: str = ""


def picture(
    figure: Figure, name: str, texts: tuple[str, str], kind: str = "svg", *, png: bool = False
) -> Picture:
    """Return a figure as a picture for a page, kind "png" or "svg"; `texts` are caption and alternative text."""
    width, height = figure.get_size_inches()
    mime = "image/svg+xml" if kind == "svg" else "image/png"
    address = data_uri(as_bytes(figure, kind), mime)
    also = data_uri(as_bytes(figure, "png"), "image/png") if png and kind != "png" else ""
    return Picture(f"{name}.{kind}", address, round(100 * width), round(100 * height), *texts, also)


def render(template: str, script: str = "", **values: Any) -> str:
    """Return a template of this package filled in; every value is escaped.

    `script` names the one script of the page; its hash goes into the page's policy, so that no other runs.
    """
    text = _text(script) if script else ""
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(
        style=Markup(_text("page.css")), script=Markup(text), script_hash=Markup(digest), **values
    )


def sha256_of(values: Any) -> str:
    """Return the SHA-256 of plain values, independent of the order of keys."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


@lru_cache(maxsize=8)
def _text(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")
