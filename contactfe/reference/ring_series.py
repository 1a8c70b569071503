"""Exact plane solution of a ring under N equal radial pressure patches (Michell's functions)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from contactfe.reference.plane import Array, PlaneElastic, below, positive, require, within
from contactfe.reference.rings import lame_displacement, lame_stress


@dataclass(frozen=True)
class RingPatches:
    """N patches of uniform pressure on one edge of the ring a <= r <= b (mm), `load` (N/mm) on each.

    `edge` "inner": pressed outward from the bore; "outer": pressed inward from outside. `half_angle` (rad) is
    half the angle one patch covers; `load` is pressure times arc length. Patches are centred at angles 0, 2
    pi/N, ...
    """

    count: int
    load: float
    half_angle: float
    inner: float
    outer: float
    edge: Literal["inner", "outer"] = "inner"

    def __post_init__(self) -> None:
        require(
            "RingPatches",
            (self.count >= 2, f"number of patches is {self.count}, must be at least 2"),
            positive("half angle", self.half_angle),
            (
                self.half_angle * self.count <= math.pi,
                f"half angle is {self.half_angle:g} rad, patches would overlap",
            ),
            positive("inner radius", self.inner),
            below("inner radius", self.inner, self.outer, "outer radius"),
            (self.edge in ("inner", "outer"), f'edge is {self.edge!r}, must be "inner" or "outer"'),
        )


@dataclass(frozen=True)
class RingField:
    """Displacements (mm) and stresses (MPa) at one point of the ring."""

    radial_mm: float
    tangential_mm: float
    radial_MPa: float
    hoop_MPa: float
    shear_MPa: float


def ring_patches(
    patches: RingPatches, radius: float, angle: float, material: PlaneElastic, harmonics: int = 4000
) -> RingField:
    """Exact field at (`radius` mm, `angle` rad) of a ring under equal radial pressure patches.

    Mean pressure by Lame, every harmonic m = N, 2N, ... by the stress function
    (A r^m + B r^-m + C r^(m+2) + D r^(2-m)) cos m angle with the four edge conditions.
    Source: Michell 1899; Timoshenko & Goodier, Theory of Elasticity, art. 43; displacements as tabulated in
    Barber, Elasticity, Michell solution (all from memory; the tests check equilibrium, the edge conditions
    and Hooke's law). Stresses on the loaded edge itself, at the patch ends, converge slowly; everywhere else
    they are exact to rounding. Raises ContactFEError unless a <= r <= b.

    Known from an independent series and from finite elements alike (a = 2/3, b = 4/3, E = 1, nu = 0.3):

    >>> ring = RingPatches(count=6, load=1.0, half_angle=0.1, inner=2 / 3, outer=4 / 3)
    >>> round(ring_patches(ring, 4 / 3, 0.0, PlaneElastic(1.0, 0.3)).radial_mm, 4)
    1.3875
    """
    require("ring_patches", within("radius", radius, patches.inner, patches.outer))
    require("ring_patches", (harmonics >= 1, f"number of harmonics is {harmonics}, must be at least 1"))
    edge_radius = patches.inner if patches.edge == "inner" else patches.outer
    mean = patches.count * patches.load / (2.0 * math.pi * edge_radius)
    pressures = (mean, 0.0) if patches.edge == "inner" else (0.0, mean)
    radial, hoop = lame_stress(radius, patches.inner, patches.outer, *pressures)
    moved = lame_displacement(radius, patches.inner, patches.outer, pressures, material)

    m = patches.count * np.arange(1.0, harmonics + 1.0)
    amplitude = 2.0 * mean * np.sinc(m * patches.half_angle / math.pi)
    weights = _edge_weights(m, amplitude, patches)
    stress = np.einsum("qmk,mk->qm", _stress_terms(m, radius, patches), weights)
    motion = np.einsum("qmk,mk->qm", _motion_terms(m, radius, patches, material), weights)
    cosine, sine = np.cos(m * angle), np.sin(m * angle)
    return RingField(
        radial_mm=float(moved + motion[0] @ cosine),
        tangential_mm=float(motion[1] @ sine),
        radial_MPa=float(radial + stress[0] @ cosine),
        hoop_MPa=float(hoop + stress[1] @ cosine),
        shear_MPa=float(stress[2] @ sine),
    )


def _powers(m: Array, radius: float, patches: RingPatches) -> Array:
    """Columns r^(m-2), r^(-m-2), r^m, r^-m, each scaled by its largest value in the ring; shape (m, 4)."""
    out, inward = radius / patches.outer, patches.inner / radius
    return np.stack([out ** (m - 2.0), inward ** (m + 2.0), out**m, inward**m], axis=1)


def _stress_terms(m: Array, radius: float, patches: RingPatches) -> Array:
    """Radial, hoop and shear stress of the four functions; shape (3, m, 4)."""
    radial = [m * (1 - m), -m * (1 + m), m + 2 - m**2, 2 - m - m**2]
    hoop = [m * (m - 1), m * (m + 1), (m + 2) * (m + 1), (2 - m) * (1 - m)]
    shear = [m * (m - 1), -m * (m + 1), m * (m + 1), m * (1 - m)]
    factors = np.stack([np.stack(rows, axis=1) for rows in (radial, hoop, shear)])
    return factors * _powers(m, radius, patches)


def _motion_terms(m: Array, radius: float, patches: RingPatches, material: PlaneElastic) -> Array:
    """Radial and tangential displacement of the four functions; shape (2, m, 4)."""
    twice_shear = material.modulus / (1.0 + material.ratio)
    kappa = (3.0 - material.ratio) / (1.0 + material.ratio)
    radial = [-m, m, kappa - m - 1, kappa + m - 1]
    tangential = [m, m, kappa + m + 1, -(kappa - m + 1)]
    factors = np.stack([np.stack(rows, axis=1) for rows in (radial, tangential)])
    return factors * _powers(m, radius, patches) * radius / twice_shear


def _edge_weights(m: Array, amplitude: Array, patches: RingPatches) -> Array:
    """Weights of the four functions: pressure on the loaded edge, all else free; shape (m, 4)."""
    at_inner = _stress_terms(m, patches.inner, patches)
    at_outer = _stress_terms(m, patches.outer, patches)
    system = np.stack([at_inner[0], at_inner[2], at_outer[0], at_outer[2]], axis=1)
    given = np.zeros((m.size, 4))
    given[:, 0 if patches.edge == "inner" else 2] = -amplitude
    return np.linalg.solve(system, given[:, :, None])[:, :, 0]
