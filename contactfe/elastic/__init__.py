"""Linear elasticity of one section: stiffness, supports, flexibility of the boundary, stresses."""

from contactfe.elastic.body import Flexibility, HeldBody, edge_motions
from contactfe.elastic.cyclic import cyclic_flexibility
from contactfe.elastic.loads import given_displacements, pressed, side_loads, side_unknowns
from contactfe.elastic.plane import (
    PlaneMaterial,
    element_stresses,
    nodal_stresses,
    stiffness,
    stress_operator,
    von_mises,
)

__all__ = [
    "Flexibility",
    "HeldBody",
    "PlaneMaterial",
    "cyclic_flexibility",
    "edge_motions",
    "element_stresses",
    "given_displacements",
    "nodal_stresses",
    "pressed",
    "side_loads",
    "side_unknowns",
    "stiffness",
    "stress_operator",
    "von_mises",
]
