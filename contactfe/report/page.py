"""What every page shares: the templates, pictures as data, downloads, and the policy that lets nothing in."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup
from matplotlib.figure import Figure

from contactfe.files import write_text
from contactfe.report.reader_units import Units, reader
from contactfe.report.style import as_bytes, data_uri

HERE = Path(__file__).parent
VIEW = "page.json"  # beside a page: what it shows, as plain values


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


SCRIPTS = {"screen.html": "downloads.js", "trial.html": "", "plan.html": ""}
"""Pages that are kept as plain values, by template, with their one script."""


@dataclass(frozen=True)
class Page:
    """A page as plain values, one of `SCRIPTS`, in the `units` of its reader: `write` keeps them beside it, and `read_page`
    makes it again of them."""

    template: str
    values: Mapping[str, Any]
    units: Units = field(default_factory=lambda: reader().units)

    def html(self) -> str:
        """The page as HTML text."""
        return render(self.template, SCRIPTS[self.template], **self.values)

    def write(self, path: Path) -> None:
        """Write the page, and `page.json` in the same folder.

        Raises:
            ContactFEError: one of them cannot be written.
        """
        kept = {
            "template": self.template,
            "file": path.name,
            "units": self.units,
            "values": self.values,
        }
        write_text(path.with_name(VIEW), json.dumps(kept, indent=1, default=_plain) + "\n")
        write_text(path, self.html())


def read_page(kept: Mapping[str, Any]) -> tuple[Page, str] | None:
    """A page of the values that `Page.write` kept, and the name of its file; None where these are something else."""
    template, name, values = (kept.get(key) for key in ("template", "file", "values"))
    if template not in SCRIPTS or not isinstance(values, dict) or not isinstance(name, str):
        return None
    units: Units = "inch" if kept.get("units") == "inch" else "si"
    return Page(template, values, units), Path(name).name


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: getattr(value, f.name) for f in fields(value)}
    return sorted(value)  # the columns of a table that hold numbers


def sha256_of(values: Any) -> str:
    """Return the SHA-256 of plain values, independent of the order of keys."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


@lru_cache(maxsize=8)
def _text(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")
