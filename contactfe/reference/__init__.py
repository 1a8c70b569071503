"""Closed forms with known answers, each with its formula, source, range and units.

Forces are per unit thickness (N/mm), lengths mm, stresses and moduli MPa, angles rad, unless a docstring says
otherwise. "From memory" beside a source means that the page or equation number was not checked against the
book; the formula itself is checked in the tests by equilibrium, by its limits or by an independent
computation.

Modules: rings, ring_series, curved_bars, plates, hertz, punches, pins, capped, limit_load, hexagon, trade.
"""

from contactfe.reference.hertz import HertzLine, contact_modulus, hertz_load, relative_radius
from contactfe.reference.plane import PlaneElastic

__all__ = ["HertzLine", "PlaneElastic", "contact_modulus", "hertz_load", "relative_radius"]
