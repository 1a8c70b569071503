"""The pydantic models of a case file, built from the field list, and their problems in our own words."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Annotated, Any

from ..errors import ContactFEError, Problem, nearest
from ..units import is_inch
from .fields import FIELDS, FORMAT, TABLES, field_of, fields_of
from .values import read_value

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class Checked:
    """What the keys of a case say, one by one.

    `values` holds the good keys by dotted path, `bad` the paths that have a problem (also the key a misspelt
    one was meant to be, so that it is not called missing as well), `problems` what they are. `inch` says
    whether the width across flats was written in inches.
    """

    values: Mapping[str, Any]
    bad: frozenset[str]
    problems: tuple[Problem, ...]
    inch: bool = False


def check_keys(raw: Mapping[str, Any]) -> Checked:
    """Read every key of a raw case; never stops at the first problem. What keys mean together is not looked
    at."""
    problem = _format_problem(raw)
    if problem is not None:
        return Checked({}, frozenset(["format"]), (problem,))
    from pydantic import ValidationError

    data: dict[str, Any] = {
        key: dict(part) if isinstance(part, Mapping) else part for key, part in raw.items()
    }
    found: list[tuple[tuple[str, ...], Problem]] = []
    try:
        model = _case_model().model_validate(data)
    except ValidationError as error:
        for line in error.errors(include_url=False):
            place = tuple(str(part) for part in line["loc"][:2])
            found.append((place, _problem(place, line)))
            holder = data if len(place) == 1 else data[place[0]]
            holder.pop(place[-1], None)
        model = _case_model().model_validate(data)
    order = _file_order(raw)
    found.sort(key=lambda item: order.get(item[0], len(order)))
    bad = frozenset(path for place, _ in found for path in _meant(place))
    fastener = raw.get("fastener")
    inch = isinstance(fastener, Mapping) and is_inch(fastener.get("across_flats"))
    return Checked(_values(model), bad, tuple(problem for _, problem in found), inch)


def _format_problem(raw: Mapping[str, Any]) -> Problem | None:
    """Return what is wrong with the format number; a file of another format is not read any further."""
    if "format" not in raw:
        return Problem("format", "missing", f"write format = {FORMAT} at the top")
    given = raw["format"]
    if isinstance(given, bool) or not isinstance(given, int):
        return Problem("format", f"{given!r} is not a whole number", f"write format = {FORMAT}")
    if given > FORMAT:
        return Problem(
            "format",
            f"{given} is newer than this version reads",
            f"install a later version, or write the file in format {FORMAT}",
        )
    if given < FORMAT:
        return Problem("format", f"{given} is not a format of this file", f"write format = {FORMAT}")
    return None


@lru_cache(maxsize=1)
def _case_model() -> type[BaseModel]:
    """Return the model of a whole case: one sub-model per table, unknown keys forbidden everywhere."""
    from pydantic import ConfigDict, create_model

    config = ConfigDict(extra="forbid", frozen=True)
    parts: dict[str, Any] = {}
    for table in TABLES:
        keys = {entry.name: (_annotated(entry.path), None) for entry in fields_of(table)}
        parts[table] = (create_model(f"{table.capitalize()}Keys", __config__=config, **keys) | None, None)  # type: ignore[call-overload]
    for entry in fields_of(""):
        parts[entry.name] = (_annotated(entry.path), None)
    model: type[BaseModel] = create_model("CaseKeys", __config__=config, **parts)
    return model


def _annotated(path: str) -> Any:
    from pydantic import BeforeValidator

    return Annotated[Any, BeforeValidator(partial(_validate, path))]


def _validate(path: str, raw: Any) -> Any:
    """Run our own reader inside pydantic, which collects what it raises."""
    from pydantic_core import PydanticCustomError

    field = field_of(path)
    if field is None:
        raise KeyError(path)
    try:
        return read_value(field, raw)
    except ContactFEError as error:
        context = {"message": error.message, "hint": error.hint}
        raise PydanticCustomError("contactfe", "{message}", context) from error


def _problem(place: tuple[str, ...], line: Mapping[str, Any]) -> Problem:
    """Turn one line of pydantic into a Problem."""
    where = f"[{place[0]}] {place[1]}" if len(place) == 2 else place[0]
    if line["type"] == "contactfe":
        return Problem(where, line["ctx"]["message"], line["ctx"]["hint"])
    if line["type"] == "extra_forbidden":
        return _unknown_key(where, place)
    return Problem(
        f"[{place[0]}]", "is not a table", f"write [{place[0]}] on a line of its own, keys below it"
    )


def _unknown_key(where: str, place: tuple[str, ...]) -> Problem:
    name = place[-1]
    table = place[0] if len(place) == 2 else ""
    known = [entry.name for entry in fields_of(table)] + (list(TABLES) if not table else [])
    homes = [entry.table for entry in FIELDS if entry.name == name]
    if homes:
        home = f"[{homes[0]}]" if homes[0] else "the top of the file, above every table"
        return Problem(where, "unknown key", f"{name} belongs to {home}")
    return Problem(where, "unknown key", nearest(name, known) or f"known: {', '.join(known)}")


def _meant(place: tuple[str, ...]) -> list[str]:
    """Return the dotted path of a bad key, and of the known key it was probably meant to be."""
    path = ".".join(place)
    if field_of(path) is not None or path in TABLES:
        return [path]
    names = TABLES if len(place) == 1 else tuple(entry.name for entry in fields_of(place[0]))
    close = difflib.get_close_matches(place[-1], names, n=1, cutoff=0.6)
    return [path, *(".".join([*place[:-1], name]) for name in close)]


def _values(model: BaseModel) -> dict[str, Any]:
    """Flatten the model to dotted paths, only the keys that were given."""
    found: dict[str, Any] = {}
    for name in model.model_fields_set:
        part = getattr(model, name)
        if name in TABLES:
            if part is not None:
                found.update({f"{name}.{key}": getattr(part, key) for key in part.model_fields_set})
        else:
            found[name] = part
    return found


def _file_order(raw: Mapping[str, Any]) -> dict[tuple[str, ...], int]:
    places: list[tuple[str, ...]] = []
    for key, part in raw.items():
        places.append((str(key),))
        if isinstance(part, Mapping):
            places.extend((str(key), str(name)) for name in part)
    return {place: index for index, place in enumerate(places)}
