"""Bands as plain values for files, and as sentences."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from contactfe.case import counted_ends
from contactfe.inputs import field_of
from contactfe.uncertainty.band import HIGH, LOW, Band
from contactfe.uncertainty.compare import Comparison, Crossover
from contactfe.uncertainty.distributions import Distribution, label_of, written
from contactfe.uncertainty.ends import CAUSES
from contactfe.uncertainty.probabilities import Chance
from contactfe.uncertainty.sensitivity import Sensitivity
from contactfe.units import KINDS

COMMON = "the model's own error is left out here, as most of it is common to both"
"""Stands wherever two cases are compared on the same samples."""
_UNITS = {"length": "_mm", "stress": "_MPa", "angle": "_deg", "fraction": "_percent"}


def band_words(found: Band) -> str:
    """Say the band in one sentence."""
    return (
        f"torque {found.median_Nm:.3g} N m (median), {found.low_Nm:.3g} to {found.high_Nm:.3g} N m in eight of "
        f"ten pulls, with the model's own error; plain case {found.nominal_Nm:.3g} N m"
    )


def inputs_words(found: Band) -> str:
    """Say the band of the inputs alone, and how large the model's own error is, in one sentence."""
    low, high = found.inputs_quantile_Nm(LOW), found.inputs_quantile_Nm(HIGH)
    return (
        f"of what scatters in the inputs alone {low:.3g} to {high:.3g} N m in eight of ten samples; the model's own "
        f"error, as a standard deviation: {found.model.words()}"
    )


def ends_words(found: Band) -> str:
    """Say what ends the pull in how many samples."""
    counted = (
        f"of {found.samples} samples, without the model's own error: {counted_ends(found.ends.ended_by)}"
    )
    return "; ".join(text for text in (counted, fit_words(found)) if text)


def fit_words(found: Band) -> str:
    """Say how many samples were solved, where the others follow from a polynomial; empty where all were."""
    if not found.fitted:
        return ""
    total = len(found.torque_Nm)
    return (
        f"{total - found.fitted} of {total} samples are solved, the others follow from a polynomial through them "
        f"(leave-one-out error {100 * found.fit_error:.2g} % of the torque)"
    )


def plain_words(found: Band) -> str:
    """Say where the plain case lies at an end of what scatters, and what the middle of everything gives; empty where
    it is the middle."""
    ends = []
    for item in found.inputs:
        if item.sd is None and item.nominal in (item.low, item.high):
            ends.append(f"{item.label} ({'least' if item.nominal == item.low else 'largest'})")
    if found.ends.held_Nm is not None and found.ends.count("bolt", "bar"):
        ends.append(f"strength of the {found.ends.held} (least)")
    if not ends or not math.isfinite(found.median_case_Nm):
        return ""
    return (
        f"the plain case takes nominal values, which for these inputs are an end of their range: {', '.join(ends)}; "
        f"with every input in the middle of its range the pair delivers {found.median_case_Nm:.3g} N m"
    )


def statements(found: Band, target_Nm: float | None = None) -> list[tuple[str, Chance | None, str]]:
    """The probabilities of a band as (what, chance or None, why there is none)."""
    rows: list[tuple[str, Chance | None, str]] = []
    if target_Nm is not None:
        rows.append((f"the pull ends below {target_Nm:.4g} N m", found.below(target_Nm), ""))
    held = found.ends.held or "bolt or bar"
    rows.append((f"the {held} twists off first", found.twists_off_first(), found.ends.unknown))
    rows.append(("the wrench gives way first", found.ends_by("wrench"), ""))
    rows.append(("the wrench turns freely", found.turns_freely(), ""))
    return rows


def comparison_words(found: Comparison) -> str:
    """Say in one sentence which of two cases delivers more, and by how much."""
    one, two = found.first.name, found.second.name
    middle, low, high = found.ratio()
    text = f"{one} delivers more than {two} with a probability of {found.first_beats_second().words()}"
    if math.isfinite(middle):
        text += f"; ratio of the torques {middle:.3g} ({low:.3g} to {high:.3g} in eight of ten samples)"
    ties = found.ties()
    text = f"{text}; {ties} of {int(found.known.sum())} samples are ties" if ties else text
    return f"{text}; {COMMON}"


def crossover_words(found: Crossover) -> str:
    """Say in one sentence where the ranking changes."""
    one, two = found.names
    label, shown = label_of(found.path), [_shown(found.path, float(v)) for v in found.values]
    place = found.place()
    before, after = (one, two) if found.first_leads_before() else (two, one)
    if place is None:
        return (
            f"the ranking changes in no sample from {label} {shown[0]} to {shown[-1]}; there {one} delivers more than "
            f"{two} with a probability of {found.leads[-1].words()}; {COMMON}"
        )
    middle, low, high = (_shown(found.path, v) for v in place)
    return (
        f"{before} is ahead at {label} {shown[0]}; {after} overtakes it with a probability of {found.changes.words()}, "
        f"at {middle} (median; {low} to {high} in eight of ten samples that change); {COMMON}"
    )


def band_record(
    found: Band, version: str, shares: Sensitivity | None = None, target_Nm: float | None = None
) -> dict[str, Any]:
    """Everything about a band as plain values; names carry their unit."""
    return {
        "name": found.name,
        **found.columns(),
        "torque_plain_case_Nm": _finite(found.nominal_Nm),
        "plain_case_ended_by": found.nominal_ended_by,
        "plain_case": plain_words(found),
        "torque_at_medians_Nm": _finite(found.median_case_Nm),
        "ended_by_counts": {cause: n for cause in CAUSES if (n := found.ends.count(cause))},
        "samples": found.samples,
        "solved_samples": len(found.torque_Nm) - found.fitted,
        "fit_error": found.fit_error,
        "seed": found.seed,
        "scatter_by_rule": found.by_rule,
        "inputs": [input_record(item) for item in found.inputs],
        "probabilities": [
            {"what": what, **(asdict(odds) if odds is not None else {"share": None, "why": why})}
            for what, odds, why in statements(found, target_Nm)
        ],
        "one_at_a_time": [
            {key: _finite(value) for key, value in asdict(item).items()} for item in found.one_at_a_time
        ],
        "model": {
            "source": found.model.source,
            "sigma": {"grip": found.model.grip, "wrench": found.model.wrench, "held": found.model.held},
        },
        "sensitivity": None if shares is None else _sensitivity_record(shares),
        "torque_Nm": [_finite(t) for t in found.torque_Nm.tolist()],
        "ended_by": list(found.ends.ended_by),
        "cautions": list(found.cautions),
        "version": version,
    }


def column_values(found: Band) -> dict[str, list[Any]]:
    """Every sample as columns whose names carry their unit: the inputs, the torque delivered and what ends it, and the
    limits that are known."""
    columns: dict[str, list[Any]] = {}
    for k, item in enumerate(found.inputs):
        kind = item.field.kind
        unit, factor = (_UNITS[kind], KINDS[kind].shown_factor) if kind in KINDS else ("", 1.0)
        columns[f"{item.path}{unit}"] = [float(f"{v / factor:.12g}") for v in found.values[:, k].tolist()]
    ends = found.ends
    columns["torque_Nm"] = [_finite(t) for t in ends.torque_Nm.tolist()]
    columns["ended_by"] = list(ends.ended_by)
    columns["slip_torque_Nm"] = [_finite(t) for t in ends.grip_Nm.tolist()]
    columns["wrench_torque_Nm"] = [_finite(t) for t in ends.wrench_Nm.tolist()]
    if ends.held_Nm is not None:
        columns["twist_off_torque_Nm"] = list(ends.held_Nm.tolist())
    return columns


def _sensitivity_record(found: Sensitivity) -> dict[str, Any]:
    shares = [asdict(share) | {"one_at_a_time_Nm": _finite(share.one_at_a_time_Nm)} for share in found.shares]
    return asdict(found) | {
        "shares": shares,
        "groups": [asdict(group) for group in found.groups],
        "sentence": found.sentence(),
        "groups_sentence": found.group_sentence(),
    }


def input_record(item: Distribution) -> dict[str, Any]:
    """A distribution as plain values with units."""

    def text(value: float | None) -> str | float | None:
        return None if value is None or not math.isfinite(value) else written(item.field, value)

    return {
        "input": item.path,
        "nominal": text(item.nominal),
        "low": text(item.low),
        "high": text(item.high),
        "mean": text(item.mean),
        "sd": text(item.sd),
        "source": item.source,
    }


def comparison_record(found: Comparison, version: str) -> dict[str, Any]:
    """A comparison as plain values."""
    middle, low, high = (x if math.isfinite(x) else None for x in found.ratio())
    return {
        "first": band_record(found.first, version),
        "second": band_record(found.second, version),
        "shared_inputs": list(found.shared),
        "first_beats_second": asdict(found.first_beats_second()),
        "model_error": COMMON,
        "ties": found.ties(),
        "ratio": {"median": middle, "p10": low, "p90": high},
    }


def crossover_record(found: Crossover, version: str) -> dict[str, Any]:
    """A crossover as plain values."""
    field = field_of(found.path)
    place = found.place()
    assert field is not None
    return {
        "input": found.path,
        "first": found.names[0],
        "second": found.names[1],
        "values": [written(field, float(v)) for v in found.values],
        "first_leads": [asdict(odds) for odds in found.leads],
        "ranking_changes": asdict(found.changes),
        "place": None
        if place is None
        else dict(zip(("median", "p10", "p90"), (written(field, v) for v in place), strict=True)),
        "shared_inputs": list(found.shared),
        "model_error": COMMON,
        "version": version,
    }


def _finite(value: Any) -> Any:
    """The value, None for a number that is not finite: JSON has no such numbers."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _shown(path: str, value: float) -> str:
    """A value in words, three digits."""
    field = field_of(path)
    if field is None or field.kind not in KINDS:
        return f"{value:.3g}"
    info = KINDS[field.kind]
    return f"{value / info.shown_factor:.3g} {info.shown}"
