"""Graded meshes of six-node triangles of one outline, and their files."""

from contactfe.mesh.files import read_mesh, write_fields, write_mesh
from contactfe.mesh.mesher import mesh_outline
from contactfe.mesh.morph import moved_mesh, same_pieces
from contactfe.mesh.points import values_at
from contactfe.mesh.section import BoundarySides, MeshQuality, SectionMesh, least_jacobian
from contactfe.mesh.sectors import SectorMesh, mesh_fastener, mesh_sectors
from contactfe.mesh.shapes import NODES, shapes, side_shapes, side_slopes, slopes
from contactfe.mesh.sizing import STANDARD_CONTACT_EDGE, SizeField, fastener_sizes, wrench_sizes

__all__ = [
    "NODES",
    "STANDARD_CONTACT_EDGE",
    "BoundarySides",
    "MeshQuality",
    "SectionMesh",
    "SectorMesh",
    "SizeField",
    "fastener_sizes",
    "least_jacobian",
    "mesh_fastener",
    "mesh_outline",
    "mesh_sectors",
    "moved_mesh",
    "read_mesh",
    "same_pieces",
    "shapes",
    "side_shapes",
    "side_slopes",
    "slopes",
    "values_at",
    "wrench_sizes",
    "write_fields",
    "write_mesh",
]
