"""Units of the reader: answers are kept in SI; a reader may see torque in lbf ft, lengths in inches, stress in ksi."""

from __future__ import annotations

from typing import Literal

from contactfe.report.words import LBF_FT, LEAST_FT, number

Units = Literal["si", "inch"]

INCH = 25.4  # mm; exact
KSI = 6.894757293168361  # MPa; exact: 0.45359237 kg, 9.80665 m/s2 over the square of 0.0254 m, times 1000
_FACTORS = {
    "mm": (INCH, "in"),
    "µm": (INCH, "mil"),  # a thousandth of an inch
    "MPa": (KSI, "ksi"),
    "MPa per N·m": (KSI / LBF_FT, "ksi per lbf·ft"),
    "µm per N·m": (INCH / LBF_FT, "mil per lbf·ft"),
}


def shown(value: float, unit: str, units: Units = "si") -> tuple[str, str]:
    """Return a value as text with its unit for a reader: 66.0 N·m is ("48.7", "lbf·ft"); below 20 lbf ft in lbf in.

    Units that are the same for every reader, as degrees, stay.
    """
    if units == "inch":
        if unit == "N·m":
            feet = value / LBF_FT
            return (number(12 * feet), "lbf·in") if abs(feet) < LEAST_FT else (number(feet), "lbf·ft")
        if unit in _FACTORS:
            factor, name = _FACTORS[unit]
            text = f"{value / factor:.3f}" if name == "in" else number(value / factor)
            return text, name
    return number(value), unit


def both(torque_Nm: float, units: Units = "si") -> str:
    """Return a torque in both units, that of the reader first: "66.0 N·m (48.7 lbf·ft)"."""
    metric, inch = (" ".join(shown(torque_Nm, "N·m", one)) for one in ("si", "inch"))
    return f"{inch} ({metric})" if units == "inch" else f"{metric} ({inch})"
