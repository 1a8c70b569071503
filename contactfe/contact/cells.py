"""What unit pressures on cells do to one body: nodal forces along the normal and along the tangent."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class CellForces:
    """Nodal forces (N/mm per MPa) of cells (c of them) on one body with ``size`` unknowns, in compressed rows.

    ``first`` (c + 1,): where each cell's entries begin; ``dofs`` (n,): unknowns; ``normal``/``tangent`` (n,): forces
    on them from unit pressure and from its full friction with mu = 1. One pattern serves both.
    """

    size: int
    first: Index
    dofs: Index
    normal: Array
    tangent: Array

    @cached_property
    def owner(self) -> Index:
        """The cell of each entry, (n,)."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    def loads(self, friction: float) -> Array:
        """Forces (n,) of unit pressures with friction."""
        return self.normal + friction * self.tangent

    def gathered(self, loads: Array, pressure: Array) -> Array:
        """Nodal forces (size,) in N/mm from forces (n,) of unit pressures under pressures (c,)."""
        found = np.bincount(self.dofs, loads * pressure[self.owner], minlength=self.size)
        return np.asarray(found, dtype=float)

    def forces(self, pressure: Array, friction: float) -> Array:
        """Nodal forces (size,) in N/mm under pressures (c,)."""
        return self.gathered(self.loads(friction), pressure)

    def measured(self, displacement: Array) -> Array:
        """Normal part of displacements (size,), integrated over each cell, (c,) mm2 per mm of depth."""
        return self.summed(self.normal * displacement[self.dofs])

    def summed(self, values: Array) -> Array:
        """Sums of values (n,) over the entries of each cell, (c,)."""
        if not len(values):
            return np.zeros(len(self.first) - 1)
        return np.asarray(np.add.reduceat(values, self.first[:-1]))

    def rows(self, values: Array) -> csr_matrix:
        """Values (n,) as a sparse matrix (c, size)."""
        return csr_matrix((values, self.dofs, self.first), shape=(len(self.first) - 1, self.size))

    def with_friction(self, share: Array) -> CellForces:
        """The same with a share (c,) of the friction on each cell."""
        return replace(self, tangent=self.tangent * share[self.owner])


def cell_forces(cell: Index, cells: int, nodes: Index, size: int, shares: tuple[Array, Array]) -> CellForces:
    """Sum up the shares of stretches.

    Args:
        cell: cell of each stretch, (q,).
        nodes: the three nodes of the side on which it lies, (q, 3).
        shares: forces along x and y on these nodes, (q, 3, 2), from the normal and from the tangential traction.
    """
    key, place = np.unique(cell[:, None] * size + 2 * nodes, return_inverse=True)
    owner, dof = np.divmod(key, size)
    first = np.concatenate([[0], np.cumsum(2 * np.bincount(owner, minlength=cells))])
    place = place.ravel()
    normal, tangent = (
        np.column_stack([np.bincount(place, share[:, :, c].ravel(), minlength=len(key)) for c in (0, 1)])
        .ravel()
        .astype(float)
        for share in shares
    )
    return CellForces(size, first, np.column_stack([dof, dof + 1]).ravel(), normal, tangent)
