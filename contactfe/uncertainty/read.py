"""Reading a case whose inputs may be distributions: a plain case, and what scatters about it."""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from contactfe.errors import ContactFEError, InputError, Problem, nearest
from contactfe.inputs import FIELDS, TABLES, CaseInput, Field, field_of, parse_case, read_value, set_path
from contactfe.uncertainty.distributions import Distribution, written
from contactfe.uncertainty.limits import friction_limits, standard_limits
from contactfe.units import KINDS

KEYS = ("nominal", "limits", "mean", "sd", "low", "high", "class")
_FORMS = 'write { nominal = ..., limits = "standard" }, { mean = ..., sd = ... } or { low = ..., high = ... }'
_WIDTH = "fastener.across_flats"


@dataclass(frozen=True, eq=False)
class UncertainCase:
    """A plain case (`base` as raw tables, `case` resolved) and its uncertain inputs in the order of the field list.

    `folder` is where its outlines are looked for, None when they are not checked.
    """

    base: Mapping[str, Any]
    case: CaseInput
    inputs: tuple[Distribution, ...]
    folder: Path | None = None

    def sample(self, values: Mapping[str, float]) -> CaseInput:
        """Return the case with some inputs (internal units, by path) set.

        Raises:
            InputError: the values do not make a case.
        """
        raw = copy.deepcopy(dict(self.base))
        part = raw.setdefault("fastener", {})
        worn = float(read_value(_field("fastener.undersize"), part.get("undersize", "0 mm")))
        if "fastener.undersize" in values:
            worn = values["fastener.undersize"]
        if _WIDTH in values:
            worn += self.case.fastener.across_flats_nominal - values[_WIDTH]
        if _WIDTH in values or "fastener.undersize" in values:
            part["undersize"] = written(_field("fastener.undersize"), max(worn, 0.0))
        for path, value in values.items():
            if path not in (_WIDTH, "fastener.undersize"):
                raw = set_path(raw, path, written(_field(path), value))
        return parse_case(raw, folder=self.folder, name=self.case.name)


def _field(path: str) -> Field:
    found = field_of(path)
    if found is None:
        raise KeyError(path)
    return found


def split_case(
    raw: Mapping[str, Any], source: str = "case", *, folder: Path | None = None, name: str = "case"
) -> UncertainCase:
    """Split raw tables into the plain case and its distributions. `source` heads the messages.

    The plain case takes the nominal value, the mean, or the middle of low and high; with limits alone what the
    absent key means. Raises InputError with every problem of distributions and case.
    """
    base, tables = _without(raw)
    problems: list[Problem] = []
    read: dict[str, dict[str, Any]] = {}
    for path, table in tables.items():
        numbers, bad = _numbers(_field(path), table)
        problems += bad
        if not bad:
            read[path] = numbers
            _put(base, path, numbers, table, problems)
    try:
        case = parse_case(base, source=source, folder=folder, name=name)
    except InputError as error:
        bad_places = {_field(path).where for path in tables if path not in read}
        lost = {"[fastener] size"} if _WIDTH in tables and _WIDTH not in read else set()
        problems += [
            p
            for p in error.problems
            if p.where not in bad_places and (p.where not in lost or p.message != "missing")
        ]
        raise InputError(problems, source=source) from error
    order = [entry.path for entry in FIELDS]
    inputs = []
    for path in sorted(read, key=order.index):
        try:
            inputs.append(_distribution(path, read[path], base, case))
        except InputError as error:
            problems += error.problems
        except ContactFEError as error:
            problems.append(Problem(_field(path).where, error.message, error.hint))
    if problems:
        raise InputError(problems, source=source)
    return UncertainCase(base, case, tuple(inputs), folder)


def value_of(case: CaseInput, path: str) -> float:
    """Return the value of an input of a resolved case in internal units, nan where the case has none."""
    table, _, key = path.partition(".")
    part = getattr(case, table)
    if table == "wrench" and key in case.wrench.dims:
        return case.wrench.dims[key]
    key = {"poisson_ratio": "poisson", "corner": "corner_radius"}.get(key, key)
    if key == "undersize":
        return case.fastener.across_flats_nominal - case.fastener.across_flats
    value = getattr(part, key, None)
    return math.nan if value is None else float(value)


def may_scatter(field: Field) -> bool:
    """Whether an input can be a distribution: a quantity or a number, no word and no matter of the calculation."""
    return field.table != "" and (field.kind in KINDS or field.kind == "number")


def distribution_numbers(
    field: Field, table: Mapping[str, Any], where: str
) -> tuple[dict[str, Any], list[Problem]]:
    """The values of a distribution in internal units (words stay words), and what is wrong with it by itself, whatever
    the rest of the case is, told at a place."""
    numbers, problems = _numbers(field, table)
    return numbers, [replace(p, where=where + p.where.removeprefix(field.where)) for p in problems]


def _without(raw: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Mapping[str, Any]]]:
    """A copy of the raw tables without the distributions, and these by dotted path in the order of the file."""
    base: dict[str, Any] = {}
    tables: dict[str, Mapping[str, Any]] = {}
    for key, part in raw.items():
        if key not in TABLES or not isinstance(part, Mapping):
            base[key] = copy.deepcopy(part)
            continue
        base[key] = {}
        for name, value in part.items():
            field = field_of(f"{key}.{name}")
            if field is not None and may_scatter(field) and isinstance(value, Mapping):
                tables[f"{key}.{name}"] = value
            else:
                base[key][name] = copy.deepcopy(value)
    return base, tables


def _numbers(field: Field, table: Mapping[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """The values of a distribution in internal units (words stay words), and what is wrong with it by itself."""
    where = field.where
    if field.table == "mesh":
        return {}, [Problem(where, "is a matter of the calculation, it does not scatter", "write one value")]
    unknown = [str(key) for key in table if key not in KEYS]
    problems = [Problem(where, f"unknown key {key}", nearest(key, KEYS) or _FORMS) for key in unknown]
    if "limits" in table and table["limits"] != "standard":
        problems.append(
            Problem(f"{where}, limits", f"{table['limits']!r} is not known", 'write limits = "standard"')
        )
    if "class" in table and field.path != "contact.friction":
        problems.append(Problem(f"{where}, class", "only friction has classes", "remove it"))
    found: dict[str, Any] = {key: table[key] for key in ("limits", "class") if key in table}
    free = Field(field.table, field.name, field.kind, field.doc, field.example, -math.inf)
    for key in ("nominal", "mean", "sd", "low", "high"):
        if key in table:
            try:
                found[key] = read_value(free if key == "sd" else field, table[key])
            except ContactFEError as error:
                problems.append(Problem(f"{where}, {key}", error.message, error.hint))
    return found, problems or _form(where, found)


def _form(where: str, found: Mapping[str, Any]) -> list[Problem]:
    """What the keys of one distribution mean together."""
    keys = set(found) - {"nominal", "class"}
    if "limits" in keys:
        extra = sorted(keys - {"limits"})
        return (
            [Problem(where, f"limits stands beside {', '.join(extra)}", "keep one of the two")]
            if extra
            else []
        )
    normal = keys & {"mean", "sd"}
    if normal != {"mean", "sd"} and (normal or keys != {"low", "high"}):
        return [Problem(where, "is not a complete distribution", _FORMS)]
    if "class" in found:
        return [Problem(f"{where}, class", "tells limits", 'write limits = "standard" beside it')]
    if normal and isinstance(found["mean"], str):
        return [Problem(f"{where}, mean", f'"{found["mean"]}" is a word', "write the value itself")]
    if normal and not found["sd"] > 0.0:
        told = "is below 0" if found["sd"] < 0.0 else "is 0: that is one value"
        return [Problem(f"{where}, sd", told, "write the standard deviation, above 0")]
    low, high = found.get("low"), found.get("high")
    if isinstance(low, float) and isinstance(high, float) and not low < high:
        how = "low is above high" if low > high else "low equals high: that is one value"
        return [Problem(where, how, "swap them" if low > high else "write the value itself")]
    return []


def _put(
    base: dict[str, Any],
    path: str,
    numbers: Mapping[str, Any],
    table: Mapping[str, Any],
    problems: list[Problem],
) -> None:
    """Write the plain value of a distribution into the base; nothing where the absent key means it."""
    name, _, key = path.partition(".")
    part = base.setdefault(name, {})
    if path == _WIDTH:
        if "size" not in part:
            if "nominal" not in table:
                hint = 'write nominal = "16 mm" in it, or a size'
                problems.append(Problem("[fastener] across_flats", "has no nominal width", hint))
            # Any width will do for the rest of the case to be checked.
            part[key] = table.get("nominal", "16 mm")
    elif "nominal" in table:
        part[key] = table["nominal"]
    elif "mean" in numbers:
        part[key] = table["mean"]
    elif isinstance(numbers.get("low"), float) and isinstance(numbers.get("high"), float):
        part[key] = written(_field(path), 0.5 * (numbers["low"] + numbers["high"]))
    elif path == "fastener.chamfer_angle" and "limits" in numbers:
        part[key] = "standard"  # a head that has a chamfer has one in the plain case as well
    elif path == "contact.friction" and "class" in numbers:
        try:
            low, high, _ = friction_limits(numbers)
        except ContactFEError:
            return  # told when the limits are looked up
        part[key] = written(_field(path), 0.5 * (low + high))


def _distribution(
    path: str, numbers: Mapping[str, Any], base: Mapping[str, Any], case: CaseInput
) -> Distribution:
    """Put one distribution together in the light of the whole case.

    Raises:
        ContactFEError: no limits, or values outside what the key takes.
    """
    field = _field(path)
    nominal = case.fastener.across_flats_nominal if path == _WIDTH else value_of(case, path)
    mean, sd = numbers.get("mean"), numbers.get("sd")
    source = "given"
    if "limits" in numbers:
        low, high, source = standard_limits(path, base, case, numbers)
    else:
        low, high = (
            _number(path, numbers.get(key, end), base)
            for key, end in (("low", -math.inf), ("high", math.inf))
        )
    if not low < high:
        raise ContactFEError("low is not below high", hint="swap them", slug="distribution")
    if path == _WIDTH:
        _check_width(numbers, case, high)
        high = min(high, nominal)  # tolerances of widths are all minus
    low, high = (
        max(low, field.low if mean is not None else low),
        min(high, field.high if mean is not None else high),
    )
    for value in (low, high) if mean is None else (mean,):
        if not field.low <= value <= field.high or (mean is not None and not low <= value <= high):
            raise ContactFEError(
                f"{field.show(value)} is out of range",
                hint=f"it reaches from {field.show(max(low, field.low))} to {field.show(min(high, field.high))}",
                slug="range",
            )
    if path != _WIDTH and numbers.get("nominal") is not None and not low - 1e-9 <= nominal <= high + 1e-9:
        raise ContactFEError(
            f"nominal {field.show(nominal)} is outside {field.show(low)} to {field.show(high)} ({source})",
            hint="write limits that hold it",
            slug="nominal",
        )
    return Distribution(path, nominal, low, high, mean, sd, source)


def _number(path: str, value: Any, base: Mapping[str, Any]) -> float:
    """A bound as a number; a word such as "tight" is looked up in the case."""
    if isinstance(value, str):
        return value_of(parse_case(set_path(base, path, value)), path)
    return float(value)


def _check_width(numbers: Mapping[str, Any], case: CaseInput, high: float) -> None:
    f = case.fastener
    given = numbers.get("nominal")
    if given is not None and abs(given - f.across_flats_nominal) > 1e-6:
        raise ContactFEError(
            f"nominal {given:g} mm is not the width of {f.size}, {f.across_flats_nominal:g} mm",
            hint="leave nominal out beside a size",
            slug="nominal",
        )
    if numbers.get("mean") is None and high > f.across_flats_nominal + 1e-9:
        raise ContactFEError(
            f"{high:g} mm is above the nominal width, {f.across_flats_nominal:g} mm",
            hint="widths across flats are nominal or less (ISO 4759-1)",
            slug="range",
        )
