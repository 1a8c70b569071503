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
