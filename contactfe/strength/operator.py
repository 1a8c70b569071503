"""The sections of a wrench's head, and what a displacement of the head does to each: worked out once for a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, vstack
from scipy.spatial import cKDTree

from contactfe.elastic import PlaneMaterial, stress_operator
from contactfe.errors import ContactFEError
from contactfe.mesh import SectionMesh, values_at
from contactfe.strength.cuts import HANDLE, Cuts, head_cuts
from contactfe.strength.sections import STATIONS, Resultants, resultants

Array = NDArray[np.float64]
Index = NDArray[np.int64]

RECENT = 4  # heads that one process remembers: a study's cases come wrench after wrench


@dataclass(frozen=True, eq=False)
class HeadSections:
    """Cuts of a head, which of them go round a closed ring (c,), and the rows of N, V and M of all cuts in turn,
    (3c, 2n), that a displacement (2n,) of the nodes is multiplied by."""

    cuts: Cuts
    around: NDArray[np.bool_]
    rows: csr_matrix

    def loads(self, displacement: Array) -> Resultants:
        """Resultants (k, c) of the cuts at displacements (k, n, 2) in mm."""
        c = len(self.cuts.place)
        found = (self.rows @ displacement.reshape(len(displacement), -1).T).T
        height = np.broadcast_to(self.cuts.height, (len(displacement), c))
        return Resultants(height, found[:, :c], found[:, c : 2 * c], found[:, 2 * c :])


@lru_cache(maxsize=RECENT)
def head_sections(mesh: SectionMesh, material: PlaneMaterial, across_flats: float) -> HeadSections:
    """The sections of a wrench's head, across_flats (mm) of its fastener setting how close they lie.

    Raises:
        ContactFEError: the head has none, or one lies outside the mesh.
    """
    cuts = head_cuts(mesh.outline, across_flats)
    if not cuts.place:
        raise ContactFEError("no section of the wrench's head was found", slug="no-sections")
    stations = values_at(mesh, cuts.points(STATIONS).reshape(-1, 2))
    return HeadSections(cuts, closed_round(mesh, cuts), _rows(mesh, material, cuts, stations))


def _rows(mesh: SectionMesh, material: PlaneMaterial, cuts: Cuts, stations: csr_matrix) -> csr_matrix:
    """Rows of N, V and M from the nodal displacements; stresses are means over the cells that share a node."""
    used = np.zeros(len(mesh.nodes), dtype=bool)
    used[stations.indices] = True
    cells = mesh.cells[used[mesh.cells].any(axis=1)]
    count = np.bincount(mesh.cells.ravel(), minlength=len(mesh.nodes))
    mean = csr_matrix(
        (1.0 / count[cells].ravel(), (cells.ravel(), np.arange(cells.size))), (len(mesh.nodes), cells.size)
    )
    of_cells = csr_matrix(stations @ mean)
    weights = _station_weights(cuts)
    c, q = len(cuts.place), len(STATIONS)
    stresses = _cell_stresses(mesh, material, cells)
    blocks = []
    for weight in weights:  # of N, V and M
        block = csr_matrix((c, 2 * len(mesh.nodes)))
        for component in range(3):
            at = (weight[component].ravel(), (np.repeat(np.arange(c), q), np.arange(c * q)))
            block = block + (csr_matrix(at, (c, c * q)) @ of_cells) @ stresses[component]
        blocks.append(block)
    return csr_matrix(vstack(blocks))


def _station_weights(cuts: Cuts) -> Array:
    """What a unit stress sxx, syy or sxy at each station adds to N, V and M of its cut: (3, 3, c, q)."""
    c, q = len(cuts.place), len(STATIONS)
    unit = np.zeros((3, q, c, q, 4))
    for component in range(3):
        for k in range(q):
            unit[component, k, :, k, component] = 1.0
    one = resultants(unit, cuts.direction, cuts.height)
    return np.stack([np.swapaxes(part, 1, 2) for part in (one.normal, one.shear, one.moment)])


def _cell_stresses(mesh: SectionMesh, material: PlaneMaterial, cells: Index) -> list[csr_matrix]:
    """Of sxx, syy and sxy the rows (6m, 2n) that give it at the six nodes of some cells (m, 6) from displacements."""
    m = len(cells)
    values = stress_operator(mesh, material, cells)
    columns = np.broadcast_to((2 * cells[:, :, None] + np.arange(2))[:, None], (m, 6, 6, 2))
    row = np.broadcast_to(np.arange(6 * m).reshape(m, 6, 1, 1), (m, 6, 6, 2))
    shape = (6 * m, 2 * len(mesh.nodes))
    return [csr_matrix((part.ravel(), (row.ravel(), columns.ravel())), shape) for part in values]


def closed_round(mesh: SectionMesh, cuts: Cuts) -> NDArray[np.bool_]:
    """Which cuts (c,) are sections of a closed ring: they lead from one loop of the outline to another."""
    loops = mesh.outline.loops
    if len(loops) == 1:
        return np.zeros(len(cuts.place), dtype=bool)
    u = np.linspace(0.0, 1.0, 41)
    points = np.vstack([piece.points(u) for loop in loops for piece in loop])
    loop_of = np.repeat(np.arange(len(loops)), [len(u) * len(loop) for loop in loops])
    tree = cKDTree(points)
    ends = [loop_of[tree.query(at)[1]] for at in (cuts.inner, cuts.outer)]
    return np.asarray((ends[0] != ends[1]) & (np.array(cuts.place) != HANDLE))
