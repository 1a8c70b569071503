"""Reading one value of a case file by its field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..errors import ContactFEError, nearest, shown
from ..standards import grade, meant_profile, parse_hardness, size
from ..units import KINDS, parse_number, parse_quantity, whole_text
from .fields import Field

_DISTRIBUTION = frozenset({"nominal", "limits", "mean", "sd", "low", "high"})


_LONGEST_TEXT = 200


def read_value(field: Field, raw: Any) -> Any:
    """Return the value of `raw` for `field`: a float in internal units, an int, a word, or text.

    Raises ContactFEError whose message and hint can stand behind the place of the key.
    """
    if isinstance(raw, Mapping) and _DISTRIBUTION & set(raw):
        raise ContactFEError(
            "is a distribution, but one value is needed here",
            hint=f'write one value such as "{field.example}"; bands take distributions',
            slug="distribution",
        )
    if field.kind in KINDS:
        if field.choices and isinstance(raw, str) and not raw.strip()[:1].isdigit():
            return _word_or_quantity(field, raw)
        _no_thread(field, raw)
        return _bounded(field, parse_quantity(raw, field.kind), whole_text(raw))
    if field.kind in ("number", "integer"):
        return _number(field, raw)
    text = _text(field, raw)
    if len(text) > _LONGEST_TEXT and field.name != "outline":
        raise ContactFEError(f'"{shown(text)}" is too long', hint=f'write "{field.example}"', slug="text")
    if field.kind == "choice":
        text = _choice(field, text)
    elif field.kind == "size":
        text = size(text).name
    elif field.kind == "grade":
        text = grade(text).name
    elif field.kind == "hardness":
        text = parse_hardness(text).text
    return text


def _no_thread(field: Field, raw: Any) -> None:
    """Refuse a thread size where a width across flats is asked: M10 has 16 mm across flats, not 10."""
    if field.path != "fastener.across_flats" or not isinstance(raw, str) or raw.strip()[:1] not in ("m", "M"):
        return
    try:
        known = size(raw)
    except ContactFEError:
        return
    raise ContactFEError(
        f'"{raw.strip()}" is a thread size, not a width',
        hint=f'write size = "{known.name}" in its place; it has {known.across_flats:g} mm across flats',
        slug="choice",
    )


def _word_or_quantity(field: Field, raw: str) -> Any:
    """Read a field that takes a word or a quantity, from a text that does not begin with a digit."""
    word = raw.strip()
    if word in field.choices:
        return word
    if word[:1] in "+-.":
        return _bounded(field, parse_quantity(raw, field.kind), word)  # type: ignore[arg-type]
    hint = nearest(word, field.choices) or f'write {_listed(field.choices)} or "{field.example}"'
    raise ContactFEError(f'"{shown(word)}" is not known here', hint=hint, slug="choice")


def _number(field: Field, raw: Any) -> float | int:
    """Read a number without unit, also when it is written as text."""
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        what = str(raw).lower() if isinstance(raw, bool) else f"a {_noun(raw)}"
        raise ContactFEError(f"{what} is not a number", hint=f"write {field.example}", slug="number")
    try:
        # Through text also for a number: TOML allows whole numbers that no float holds, and nan.
        value = parse_number(whole_text(raw))
    except ContactFEError as error:
        raise ContactFEError(
            f'"{shown(whole_text(raw))}" is not a plain number',
            hint=f"no unit here; write {field.example}",
            slug="number",
        ) from error
    if field.kind == "integer" and value != int(value):
        raise ContactFEError(
            f"{shown(raw)} is not a whole number", hint=f"write {field.example}", slug="number"
        )
    _bounded(field, value, whole_text(raw))
    return int(value) if field.kind == "integer" else value


def _text(field: Field, raw: Any) -> str:
    if isinstance(raw, str):
        text = raw.strip()
        if field.path == "name" and (len(text) > 80 or not text.isprintable() or set(text) & set("/\\")):
            raise ContactFEError(
                "cannot name a file", hint="write at most 80 characters without / and \\", slug="name"
            )
        if text:
            return text
        raise ContactFEError("is empty", hint=f'write "{field.example}"', slug="text")
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        example = whole_text(raw) if field.kind == "grade" else field.example
        raw = whole_text(raw)
        raise ContactFEError(
            f"{raw} is a number, but text is expected", hint=f'write "{example}"', slug="text"
        )
    raise ContactFEError(
        f"a {_noun(raw)} stands where text is expected", hint=f'write "{field.example}"', slug="text"
    )


def _choice(field: Field, text: str) -> str:
    if text in field.choices:
        return text
    near = meant_profile(text) if field.path == "wrench.profile" else nearest(text, field.choices)
    hint = near or f"write {_listed(field.choices)}"
    raise ContactFEError(f'"{shown(text)}" is not known here', hint=hint, slug="choice")


def _bounded(field: Field, value: float, text: str) -> float:
    """Return `value` when it lies within the field's range; NaN and infinity never do."""
    if not value >= field.low:
        raise ContactFEError(
            f"{shown(text)} is below {_bound(field, field.low)}", hint=_span(field), slug="range"
        )
    if not value <= field.high or value == float("inf"):
        raise ContactFEError(
            f"{shown(text)} is above {_bound(field, field.high)}", hint=_span(field), slug="range"
        )
    return value


def _bound(field: Field, value: float) -> str:
    return "0" if value == 0.0 else field.show(value)


def _span(field: Field) -> str:
    return f"it reaches from {field.show(field.low)} to {field.show(field.high)}"


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f'"{word}"' for word in words)


def _noun(raw: Any) -> str:
    return {"bool": "true or false", "dict": "table", "list": "list"}.get(
        type(raw).__name__, type(raw).__name__
    )
