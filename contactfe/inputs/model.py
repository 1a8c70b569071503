"""The resolved case: every value filled in, in N, mm, MPa and rad. Frozen, comparable and picklable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..standards import Profile, profile

GIVEN = "given"
"""Origin of a value that the file states."""


@dataclass(frozen=True)
class FastenerInput:
    """The fastener. Lengths mm, stresses MPa, `rounding` 0 to 1.

    `across_flats_nominal` is the width of the size, `across_flats` what is left of it after `undersize`.
    `corner_radius` is the fillet of each corner (mm, > 0). `rounding` r turns the corners down on a circle of
    diameter e - r (e - s), e = 2 s / sqrt(3) for a hex; `worn_side` "driven" applies that to the driven side
    of each corner only: from the flat that the wrench drives to the corner's bisector it lies on that circle,
    beyond it runs straight on to the trailing flat. Which side is driven follows from the turning direction.
    `size`, `grade` and `outline` are None where they were not given. `stock` is "bolt"
    (a shank that can twist off) or "bar" (solid stock of the full section, or a nut). `chamfer_angle` (rad)
    is that of the head's chamfer to its face, 0 for none. `tensile_ratio` is tensile over yield strength of the grade
    (-), None where nothing tells it. `inch` says whether the width is an inch width, which decides the tables of the
    wrench.
    """

    shape: str
    size: str | None
    grade: str | None
    across_flats_nominal: float
    across_flats: float
    engaged_depth: float
    yield_strength: float
    rounding: float
    corner_radius: float
    worn_side: str
    elastic_modulus: float
    poisson: float
    core_radius: float
    outline: str | None
    stock: str
    chamfer_angle: float = 0.0
    tensile_ratio: float | None = None
    inch: bool = False


@dataclass(frozen=True)
class WrenchInput:
    """The wrench head. Lengths mm, angles rad, stresses MPa.

    `opening` is the width across the jaws or across the flats of the ring (of an outline, the
    nominal width across flats until its file is measured). `dims` maps the name of each
    dimension of the profile (see `contactfe.standards.heads`) to its value, `rules` the same name to the rule
    or "given". `lead_in` is the depth that the chamfer of the opening takes off the engagement, 0 for none.
    Both mappings are kept as tuples of pairs so that the object can be pickled and hashed.
    """

    profile: str
    opening: float
    points: int
    thickness: float
    yield_strength: float
    elastic_modulus: float
    poisson: float
    dims_items: tuple[tuple[str, float], ...]
    rules_items: tuple[tuple[str, str], ...]
    outline: str | None
    lead_in: float = 0.0

    @property
    def dims(self) -> Mapping[str, float]:
        """Dimensions of the head by name, read-only (mm, rad)."""
        return MappingProxyType(dict(self.dims_items))

    @property
    def rules(self) -> Mapping[str, str]:
        """The rule behind each dimension, or "given", by name, read-only."""
        return MappingProxyType(dict(self.rules_items))

    @property
    def family(self) -> Profile:
        """The record of the wrench's family."""
        return profile(self.profile)

    @property
    def measured(self) -> tuple[str, ...]:
        """Names of the head's dimensions that the file states, in alphabetical order."""
        return tuple(name for name, rule in self.rules_items if rule == GIVEN)

    @property
    def defaulted(self) -> tuple[str, ...]:
        """Names of the head's dimensions that come from a rule, in alphabetical order: these should be measured."""
        return tuple(name for name, rule in self.rules_items if rule != GIVEN)


@dataclass(frozen=True)
class ContactInput:
    """Contact law: Coulomb `friction` (-), `constraint_factor` (pressure cap over yield
    without friction, -), `plane` state."""

    friction: float
    constraint_factor: float
    plane: str


@dataclass(frozen=True)
class LoadInput:
    """Load: `lever_arm` in mm from the fastener's axis to the hand, None for a pure couple; turning
    `direction`; number of `pulls` on the same corners."""

    lever_arm: float | None
    direction: str
    pulls: int = 1


@dataclass(frozen=True)
class MeshInput:
    """Mesh sizes: `edge_at_contact` and `edge_max` in mm, `growth` of edge length per unit distance (-)."""

    edge_at_contact: float
    edge_max: float
    growth: float


@dataclass(frozen=True)
class CaseInput:
    """One complete case. `cautions` are sentences about inputs that are allowed but unusual.

    `origins_items` says of every key, by dotted path, that it was given or which rule its value comes from; it is
    words about the case, not part of it, so two cases with the same values are equal.
    """

    name: str
    fastener: FastenerInput
    wrench: WrenchInput
    contact: ContactInput
    load: LoadInput
    mesh: MeshInput
    cautions: tuple[str, ...]
    origins_items: tuple[tuple[str, str], ...] = field(default=(), compare=False)

    @property
    def origins(self) -> Mapping[str, str]:
        """Where the value of each key comes from, by dotted path: "given" or the rule in words. Read-only."""
        return MappingProxyType(dict(self.origins_items))

    def stated(self, path: str) -> bool:
        """Return whether the file states the key at a dotted path."""
        return self.origins.get(path) == GIVEN
