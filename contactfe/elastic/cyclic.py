"""Flexibility of a body whose sectors are all alike, from one of them.

Loads on such a body are sums of harmonics, which go from sector to sector with a phase of 2 pi h / n; the body answers
each of them alone, with the same phase. So the stiffness of one sector is enough: its second cut moves like its first
one, turned into the next sector and with one phase more (cyclic symmetry; Thomas 1979, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from contactfe.elastic.body import Flexibility, HeldBody
from contactfe.elastic.plane import PlaneMaterial
from contactfe.mesh import SectorMesh

Array = NDArray[np.float64]
Index = NDArray[np.int64]


def cyclic_flexibility(
    sector: SectorMesh, material: PlaneMaterial, clamped: Index, nodes: Index
) -> Flexibility:
    """Flexibility of some nodes (k,) of one sector in all of them, per unit depth; those of the whole mesh, sector after
    sector.

    Args:
        clamped: nodes of the sector that cannot move.
        nodes: nodes that can, none of them on the second cut.

    Raises:
        ContactFEError: the body is not held, or a node is clamped.
    """
    ends = [cut[~np.isin(cut, clamped)] for cut in (sector.first, sector.second)]
    inner = nodes[~np.isin(nodes, sector.first)]
    moving = np.concatenate([inner, *ends])
    stiff = HeldBody(sector.mesh, material, clamped=clamped).condensed(moving)
    place = {node: i for i, node in enumerate(moving.tolist())}
    wanted = _unknowns(np.array([place[node] for node in nodes.tolist()], dtype=np.int64))
    response = _harmonics(stiff, (len(inner), len(ends[0])), wanted, sector)
    numbers = sector.number[:, nodes].ravel()
    return Flexibility(numbers, _in_all_sectors(response, sector), {})


def _unknowns(nodes: Index) -> Index:
    return np.column_stack([2 * nodes, 2 * nodes + 1]).ravel()


def _harmonics(stiff: Array, sizes: tuple[int, int], wanted: Index, sector: SectorMesh) -> Array:
    """Displacements (n, 2k, 2k) in a sector, in its own frame, under forces in the one 0, 1, ... n - 1 places behind.

    ``sizes``: how many nodes lie inside and on each cut.
    """
    inner, cut = (2 * size for size in sizes)
    c, s = np.cos(sector.pitch), np.sin(sector.pitch)
    next_one = np.kron(np.eye(sizes[1]), np.array([[c, -s], [s, c]]))
    held = np.zeros((len(stiff), inner + cut), dtype=complex)
    held[: inner + cut] = np.eye(inner + cut)
    found = np.empty((sector.count, len(wanted), len(wanted)), dtype=complex)
    for h in range(sector.count // 2 + 1):
        held[inner + cut :, inner:] = next_one * np.exp(1j * sector.pitch * h)
        own = np.linalg.inv(held.conj().T @ stiff @ held)[np.ix_(wanted, wanted)]
        found[h], found[-h] = own, own.conj()  # the phase runs the other way round
    return np.asarray(np.fft.ifft(found, axis=0).real)


def _in_all_sectors(response: Array, sector: SectorMesh) -> Array:
    """The flexibility (n 2k, n 2k) in one frame, from what sectors do to each other in their own."""
    n, k = sector.count, response.shape[1] // 2
    angle = sector.pitch * np.arange(n)
    turn = np.moveaxis(np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]), 2, 0)
    blocks = response.reshape(n, k, 2, k, 2)
    whole = np.empty((n, k, 2, n, k, 2))
    for row in range(n):
        for column in range(n):
            own = blocks[(row - column) % n]
            whole[row, :, :, column] = np.einsum("ab,kblc,dc->kald", turn[row], own, turn[column])
    found = whole.reshape(2 * n * k, 2 * n * k)
    return np.asarray(0.5 * (found + found.T))
