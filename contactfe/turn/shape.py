"""What of a case shapes its bodies, and what does not: cases that agree in the former share meshes and flexibilities."""

from __future__ import annotations

from dataclasses import replace

from contactfe.inputs import CaseInput
from contactfe.turn.build import BodyModel, meshed_case, scaled

# MPa at which shared flexibilities are solved; steel, so that most cases use them as they are.
MODULUS = 206_000.0


def shape_case(case: CaseInput) -> CaseInput:
    """The meshed case with everything that does not touch a body's mesh or flexibility set to one value.

    Names, grades, strengths, friction, depth, thickness, chamfers and the hand do not; nor does a modulus, because
    flexibility goes with one over it (see ``at_modulus``).
    """
    meshed = meshed_case(case)
    return replace(
        meshed,
        name="",
        cautions=(),
        fastener=replace(
            meshed.fastener,
            size=None,
            grade=None,
            stock="bar",
            engaged_depth=1.0,
            chamfer_angle=0.0,
            yield_strength=1.0,
            tensile_ratio=None,
            inch=False,
            elastic_modulus=MODULUS,
        ),
        wrench=replace(
            meshed.wrench,
            thickness=1.0,
            lead_in=0.0,
            yield_strength=1.0,
            elastic_modulus=MODULUS,
            rules_items=(),
        ),
        contact=replace(meshed.contact, friction=0.0, constraint_factor=1.0),
        load=replace(meshed.load, lever_arm=None),
    )


def at_modulus(body: BodyModel, modulus: float) -> BodyModel:
    """A body of ``shape_case`` at the modulus (MPa) of a case."""
    return scaled(body, MODULUS / modulus)
