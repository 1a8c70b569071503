"""What scatters in a case that says nothing about scatter: limits of standards, and a few stated judgements."""

from __future__ import annotations

from contactfe.errors import ContactFEError
from contactfe.inputs import FIELDS, constants_of
from contactfe.uncertainty.distributions import Distribution
from contactfe.uncertainty.limits import standard_limits
from contactfe.uncertainty.read import UncertainCase, value_of

JUDGED: dict[str, tuple[float, float, str]] = {
    "contact.friction": (0.08, 0.24, "VDI 2230, classes B and C together"),
    "contact.constraint_factor": (1.0, 1.4, "model constant in plane stress, engineering judgement"),
}
"""Ranges taken when the case's value lies in them: low, high, and why."""
OTHERWISE = 0.3
"""Share by which friction and constraint factor scatter about a value outside these ranges."""
WALL_BELOW = 0.05
"""The tables of rings give the largest ones: real ones are taken up to this share smaller. The rule of open heads is
a middle: they scatter by this share about it (engineering judgement)."""
THICKNESS = 0.2
"""Share by which the thickness of a head that nobody measured scatters about the rule (engineering judgement, wide)."""
WRENCH_STRENGTH = (1100.0, 1450.0)
"""MPa: yield strength of hardened tool steel whose hardness nobody measured (engineering judgement, wide)."""
SHAPES: dict[str, tuple[str, float, float]] = {
    "open-end": ("throat_depth", 0.94, 1.13),
    "ring-spline": ("ridge_radius", 0.6, 1.6),
}
"""The one other shape of a wrench that scatters where nobody measured it: low and high over the rule (0.58 to 0.70 s and
0.03 to 0.08 s, engineering judgement). Each costs levels of its own, so that those that hardly move the torque stay at
the rule. M10 of 8.8, mesh of 0.4 mm: the depth of the throat +3 and -7 %, the ridges of a spline -4 and +3 %; but the
depth of the jaws 0.30 to 0.42 s +1 and -2 %, the radius of the throat 0.05 to 0.16 s 0.2 %, the ridges of a twelve-point
ring 0.01 to 0.04 s 0.2 %, the corners of a six-point ring 0.006 to 0.03 s 0.1 %."""
_TOOL = ("wrench.thickness", "wrench.yield_strength")
_WALLS = ("wrench.head_width", "wrench.outside_diameter")
_STANDARD = (
    "fastener.across_flats",
    "fastener.engaged_depth",
    "fastener.yield_strength",
    "fastener.corner",
    "wrench.opening",
)
BY_RULE = (*_STANDARD, *JUDGED, *_WALLS, *_TOOL, *(f"wrench.{key}" for key, _, _ in SHAPES.values()))
"""Every input that may scatter by rule."""


def typical_scatter(plain: UncertainCase) -> tuple[Distribution, ...]:
    """The inputs that scatter by rule in a case without distributions, in the order of the field list.

    What the case states itself is taken as known, except friction; so are the corner of a worn head, and the width
    of one that rust has taken from.
    """
    case = plain.case
    found: list[Distribution] = []
    for path in _STANDARD:
        if _known(plain, path):
            continue
        try:
            low, high, source = standard_limits(path, plain.base, case, {})
        except ContactFEError:
            continue
        nominal = value_of(case, path)
        if low < high and low - 1e-9 <= nominal <= high + 1e-9:
            found.append(Distribution(path, nominal, low, high, source=source))
    fitted = constants_of(plain.base, plain.folder)
    for path, (low, high, source) in JUDGED.items():
        nominal = value_of(case, path)
        if path in fitted:
            low, high, source = fitted[path].low, fitted[path].high, "95 % interval of the calibration"
        elif not low <= nominal <= high:
            low, high = (1.0 - OTHERWISE) * nominal, (1.0 + OTHERWISE) * nominal
            source = f"{100 * OTHERWISE:.0f} % about the value given, engineering judgement"
        if low < high:
            found.append(Distribution(path, nominal, low, high, source=source))
    wall = case.wrench.family.wall
    if case.wrench.rules.get(wall, "given") != "given":
        most = case.wrench.dims[wall]
        how, high = ("about", (1.0 + WALL_BELOW) * most) if wall == "head_width" else ("at most below", most)
        source = f"{100 * WALL_BELOW:.0f} % {how} the rule, engineering judgement"
        found.append(Distribution(f"wrench.{wall}", most, (1.0 - WALL_BELOW) * most, high, source=source))
    found += _tool(plain)
    found += _shape(plain)
    order = [entry.path for entry in FIELDS]
    return tuple(sorted(found, key=lambda item: order.index(item.path)))


def _tool(plain: UncertainCase) -> list[Distribution]:
    """What of the wrench nobody measured: the thickness of its head and its strength. Neither needs another mesh."""
    case = plain.case
    found = []
    if not case.stated("wrench.thickness"):
        nominal = case.wrench.thickness
        source = f"{100 * THICKNESS:.0f} % about the rule, not measured, engineering judgement"
        low, high = (1.0 - THICKNESS) * nominal, (1.0 + THICKNESS) * nominal
        found.append(Distribution("wrench.thickness", nominal, low, high, source=source))
    low, high = WRENCH_STRENGTH
    strength = case.wrench.yield_strength
    if (
        not (case.stated("wrench.yield_strength") or case.stated("wrench.hardness"))
        and low <= strength <= high
    ):
        source = "hardened tool steel, not measured, engineering judgement"
        found.append(Distribution("wrench.yield_strength", strength, low, high, source=source))
    return found


def _shape(plain: UncertainCase) -> list[Distribution]:
    """The one shape of the wrench beside its wall that nobody measured."""
    wrench = plain.case.wrench
    if wrench.profile not in SHAPES:
        return []
    key, low, high = SHAPES[wrench.profile]
    if wrench.rules.get(key, "given") == "given":
        return []
    nominal = wrench.dims[key]
    source = "about the rule, not measured, engineering judgement"
    return [Distribution(f"wrench.{key}", nominal, low * nominal, high * nominal, source=source)]


def _known(plain: UncertainCase, path: str) -> bool:
    """Whether an input that a standard limits is known, or has no limits of its own in this case."""
    f = plain.case.fastener
    table, _, key = path.partition(".")
    given = plain.base.get(table, {}).get(key)
    if path == "fastener.yield_strength" and plain.case.stated("fastener.hardness"):
        return True
    if path == "fastener.across_flats":
        return f.shape != "hex" or f.across_flats < f.across_flats_nominal - 1e-9
    if path == "fastener.corner" and (f.rounding > 0.0 or f.shape != "hex"):
        return True
    return given is not None and given != "middle"
