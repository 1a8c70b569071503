"""Elastic materials of fasteners and wrenches."""

from __future__ import annotations

from dataclasses import dataclass

from .errors import ContactFEError, nearest

# Elastic modulus (MPa) and Poisson's ratio (-) by material, with source.
_ELASTIC: dict[str, tuple[float, float, str]] = {
    "steel": (206_000.0, 0.30, "from memory: 206 to 210 GPa, 0.29 to 0.30"),
    "stainless": (195_000.0, 0.30, "from memory: austenitic, 193 to 200 GPa"),
    "brass": (100_000.0, 0.31, "data sheets of C36000: 97 to 100 GPa, 0.31"),
    "aluminium": (70_000.0, 0.33, "from memory: 69 to 73 GPa, 0.33"),
}

WRENCH_YIELD = 1250.0
"""Default yield strength of a wrench (MPa)."""
WRENCH_YIELD_SOURCE = (
    "42 to 46 HRC quenched and tempered steel, tensile strength 1320 to 1500 MPa (ASTM A370 and E140 conversions), "
    "yield about 0.92 of it (published data of 4140 steel)"
)
"""Where `WRENCH_YIELD` comes from."""


@dataclass(frozen=True)
class Material:
    """A linear-elastic material with a yield strength. Stresses in MPa."""

    name: str
    elastic_modulus: float
    poisson: float
    yield_strength: float


def material(kind: str, yield_strength: float) -> Material:
    """Return steel, stainless, brass or aluminium with the given yield strength (MPa).

    Raises ContactFEError (slug "unknown-material") for another kind.
    """
    if kind not in _ELASTIC:
        raise ContactFEError(
            f'unknown material "{kind}"',
            hint=nearest(kind, _ELASTIC) or f"known: {', '.join(_ELASTIC)}",
            slug="unknown-material",
        )
    modulus, poisson, _ = _ELASTIC[kind]
    return Material(kind, modulus, poisson, yield_strength)


def elastic_source(kind: str) -> str:
    """Return where the elastic constants of a material come from."""
    return _ELASTIC[kind][2]
