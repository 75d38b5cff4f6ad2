"""The workpiece without what the cutter takes, as its neck and shank meet it.

1. In a hole, for a neck or shank that is wider than the cutter: the material within the cutter's
   diameter is gone when they come down.
2. In a cut that is left along its path, for a neck or shank that is no wider: what stands above the
   cutter stays, since the cutter does not lift through it (the roof of a T-slot).
3. Less is taken away than the cutter takes, never more; of a mesh that does not close nothing is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kinematics.meshes import Mesh
from kinematics.pose import Array, Vector, shortest_turn
from kinematics.solids import Faces, Piece, Triangles, corner_count, stacked_rings, unit_polygon

if TYPE_CHECKING:
    from manifold3d import Manifold

REACH = 1e4  # mm; the hole is open towards the spindle
TOUCHING = 1e-6  # mm; what reaches above a plane by no more than rounding only touches it


def without_hole(piece: Piece, tip_G: Array, axis_G: Vector, radius: float) -> Piece | None:
    """A solid minus a round hole from `tip_G` along `axis_G` (unit, towards the spindle), in its frame G.

    None where nothing can be taken away: the mesh does not close, or the hole misses it or swallows it.
    The difference is manifold3d's, in 64-bit; its status is tested, since open input gives an empty result.
    """
    if piece.mesh is not None and not piece.mesh.is_closed:
        return None
    outer = _difference(piece.outer, tip_G, axis_G, radius)
    inner = outer if piece.inner is piece.outer else _difference(piece.inner, tip_G, axis_G, radius)
    if outer is None or inner is None:
        return None
    return _rest_of(piece, outer, inner)


def above_plane(piece: Piece, p_G: Array, axis_G: Vector) -> Piece | None:
    """What of a solid lies above a plane through `p_G`, square to `axis_G` (unit), in its frame G; None if nothing.

    The whole solid where its mesh does not close, and anything of it lies above.
    """
    offset = float(np.asarray(axis_G) @ p_G) + TOUCHING
    if float((piece.outer.vertices @ np.asarray(axis_G)).max()) <= offset:
        return None
    if piece.mesh is not None and not piece.mesh.is_closed:
        return piece
    outer = _trimmed(piece.outer, axis_G, offset)
    inner = outer if piece.inner is piece.outer else _trimmed(piece.inner, axis_G, offset)
    return piece if outer is None or inner is None else _rest_of(piece, outer, inner)


def _rest_of(piece: Piece, outer: Triangles, inner: Triangles) -> Piece:
    source = piece.mesh.source if piece.mesh else "the workpiece"
    mesh = Mesh(outer.vertices, outer.faces, 0, piece.chord_error, source)
    return Piece(outer, inner, False, mesh, piece.on_solid)


def _trimmed(solid: Triangles, axis_G: Vector, offset: float) -> Triangles | None:
    whole = _manifold(solid.vertices, solid.faces)
    return None if whole is None else _triangles(whole.trim_by_plane(axis_G, offset))


def _difference(solid: Triangles, tip_G: Array, axis_G: Vector, radius: float) -> Triangles | None:
    ring = unit_polygon(corner_count(radius)) * radius
    rings = [np.column_stack([ring, np.full(len(ring), z)]) for z in (0.0, REACH)]
    hole = stacked_rings(rings)
    turned = shortest_turn("G", "hole", axis_G).points(hole.vertices) + tip_G
    whole, taken = _manifold(solid.vertices, solid.faces), _manifold(turned, hole.faces)
    return None if whole is None or taken is None else _triangles(whole - taken)


def _manifold(vertices: Array, faces: Faces) -> Manifold | None:
    from manifold3d import Error, Manifold, Mesh64

    # copies, since manifold3d takes no array that may not be written to, and those of a mesh file may not
    mesh = Mesh64(np.array(vertices, dtype=np.float64, order="C"), np.array(faces, dtype=np.uint64, order="C"))
    made = Manifold(mesh)
    return None if made.status() != Error.NoError or made.is_empty() else made


def _triangles(solid: Manifold) -> Triangles | None:
    from manifold3d import Error

    if solid.status() != Error.NoError or solid.is_empty():
        return None
    out = solid.to_mesh64()
    vertices = np.array(out.vert_properties, dtype=np.float64)[:, :3]
    return Triangles(vertices, np.array(out.tri_verts, dtype=np.int32))
