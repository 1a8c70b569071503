"""Bodies of many cases that differ a little, each meshed and factorised once."""

from __future__ import annotations

from dataclasses import replace

from contactfe.inputs import CaseInput
from contactfe.profile import ProfilePair, profile_pair
from contactfe.turn import BodyModel, BuiltPair, assemble, at_modulus, fastener_body, shape_case, wrench_body


class SharedBodies:
    """Builds pairs and keeps their bodies: yield, friction, depth, thickness, moduli and hand make no other body."""

    def __init__(self) -> None:
        self._fasteners: dict[CaseInput, BodyModel] = {}
        self._wrenches: dict[CaseInput, BodyModel] = {}

    def build(self, case: CaseInput) -> BuiltPair:
        """The pair of a case.

        Raises:
            GeometryError: from outlines or mesher.
        """
        shape = shape_case(case)
        pair = profile_pair(shape)
        fastener, wrench = self._fastener(shape, pair), self._wrench(shape, pair)
        fastener = at_modulus(fastener, case.fastener.elastic_modulus)
        return assemble(case, pair, fastener, at_modulus(wrench, case.wrench.elastic_modulus))

    def _fastener(self, shape: CaseInput, pair: ProfilePair) -> BodyModel:
        # Of the wrench only its sense and the place of its flats shape the fastener's mesh.
        head = replace(shape.wrench, opening=1.0, points=0, dims_items=(), poisson=0.0)
        if head.profile not in ("open-end", "outline"):
            head = replace(head, profile="ring")
        key = replace(shape, wrench=head)
        if key not in self._fasteners:
            self._fasteners[key] = fastener_body(shape, pair)
        return self._fasteners[key]

    def _wrench(self, shape: CaseInput, pair: ProfilePair) -> BodyModel:
        # Of the fastener only the new one of its size shapes the wrench's mesh.
        key = replace(
            shape,
            fastener=replace(shape.fastener, rounding=0.0, worn_side="both", core_radius=0.0, poisson=0.0),
        )
        if key not in self._wrenches:
            self._wrenches[key] = wrench_body(shape, pair)
        return self._wrenches[key]
