"""The study that `contactfe sweep --demo` runs: standard sizes and default dimensions, no real tool."""

DEMO = """\
# Rounding by yield: five profiles on an M10 head that is worn more and more, in two strength classes.
format = 1
name = "rounding-by-yield"

[base.fastener]
size = "M10"

[sweep]
"wrench.profile" = ["ring-six", "ring-twelve", "ring-spline", "flare-nut", "open-end"]
"fastener.rounding" = { from = "0 %", to = "70 %", step = "10 %" }
"fastener.grade" = ["8.8", "10.9"]
"""

DEMO_BAND = """\
# One case of the study with what a tester cannot hold: strength, opening and friction.
format = 1
name = "twelve-point ring on M10 8.8, corners rounded by 20 %"

[fastener]
size = "M10"
grade = "8.8"
rounding = "20 %"
yield_strength = { limits = "standard" }

[wrench]
profile = "ring-twelve"
opening = { limits = "standard" }

[contact]
friction = { low = 0.08, high = 0.24 }
"""
