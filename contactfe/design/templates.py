"""Commented starting files for a screening and for a search; both run as they are."""

from __future__ import annotations

from contactfe.design.shape_plan import EVALUATIONS, LIMITS, MOST_EVALUATIONS, SEED
from contactfe.inputs import FORMAT
from contactfe.standards import design_numbers

FAMILY = "ring-six-relieved"
"""The family that both files start from."""
MOVING = ("bearing_reach", "relief_angle")
"""The numbers that the search moves; the others of the family stand as comments."""

_TOP = f"""\
# Lengths, stresses, angles and shares are text with a unit: "16 mm", "5/16 in", "92 ksi", "20 %".
# Keys behind # are not set; the value shown is an example or the default.
format = {FORMAT}
"""

_SCATTER = """
[base.contact]    # what holds in every case: any table of a case, such as [base.fastener] or [base.mesh]
friction = { low = 0.10, high = 0.20 }    # what nobody has measured: all heads meet the same samples of it
"""

_DUTY = """
[[condition]]    # a part of the duty: keys of [fastener], with a weight
name = "new"
weight = 2
size = "M10"
grade = "8.8"

[[condition]]
name = "worn"
weight = 1
size = "M10"
grade = "8.8"
rounding = "40 %"
"""

_BAND = """
[band]    # without it, and without distributions, heads are compared by their plain cases
samples = {samples}    # a power of two{more}
# seed = 1
"""


def screen_template() -> str:
    """A starting file for `contactfe screen`."""
    return f"""{_TOP}name = "my-screen"
{_SCATTER}
# [duty]
# working_torque = "40 N*m"    # also the crush at this torque, and who does not reach it

[[candidate]]    # a head to try: a name and keys of [wrench]
name = "plain"
profile = "ring-six"

[[candidate]]
name = "relieved"
profile = "{FAMILY}"
bearing_reach = "3 mm"    # half length of flat that bears; contactfe init turn lists all keys

# [[candidate]]
# name = "drawn"
# outline = "mine.dxf"    # a drawing; contactfe import mine.dxf says what it reads
# thickness = "11 mm"
{_DUTY}{_BAND.format(samples=32, more="")}"""


def search_template() -> str:
    """A starting file for `contactfe search`."""
    more = "; start and found head are compared over them at the end"
    return f"""{_TOP}name = "my-search"

[base.wrench]    # the start: a family, and keys of [wrench] that do not stay at their defaults
profile = "{FAMILY}"
{_SCATTER}
[numbers]    # what moves, each within its usual range {{}} or {{ low = "...", high = "..." }}
{_numbers()}
# [limits]    # what a head has to keep, the worst of the duty
{_limits()}{_DUTY}
[search]
evaluations = 60    # heads that are tried, default {EVALUATIONS}, at most {MOST_EVALUATIONS}
# seed = {SEED}    # another seed tries other heads: the same end twice is a reason to trust it
{_BAND.format(samples=32, more=more)}"""


def _numbers() -> str:
    lines = []
    for number in design_numbers(FAMILY):
        if number.kind != "integer":
            mark = "" if number.name in MOVING else "# "
            lines.append(f"{mark}{number.name} = {{}}    # {number.doc}; usual {number.words()}")
    return "".join(f"{line}\n" for line in lines)


_EXAMPLES = {
    "wrench_margin": "0.1    # at least: limit of the wrench over that of the grip, less one",
    "outside_radius": '"13 mm"    # at most, without the handle',
    "mass_g": "28    # at most, of the head",
    "jaw_spread_um_per_Nm": "0.1    # at most",
    "smallest_radius": '"0.3 mm"    # at least, of the pieces that touch',
}


def _limits() -> str:
    return "".join(f"# {key} = {_EXAMPLES[key]}\n" for key in LIMITS)
