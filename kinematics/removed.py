"""The workpiece without the hole that the cutter has just made in it.

Only for the neck and shank of a tool that is narrower at the cutter: the material within the cutter's
diameter is gone when they come down. Less is taken away than the cutter takes, never more.
"""

from __future__ import annotations

import numpy as np

from kinematics.meshes import Mesh
from kinematics.pose import Array, Vector, shortest_turn
from kinematics.solids import Piece, Triangles, corner_count, stacked_rings, unit_polygon

REACH = 1e4  # mm; the hole is open towards the spindle


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
    chord_error = piece.mesh.chord_error if piece.mesh else 0.0
    source = piece.mesh.source if piece.mesh else "the workpiece"
    mesh = Mesh(outer.vertices, outer.faces, 0, chord_error, source)
    return Piece(outer, inner, False, mesh, piece.on_solid)


def _difference(solid: Triangles, tip_G: Array, axis_G: Vector, radius: float) -> Triangles | None:
    from manifold3d import Error, Manifold, Mesh64

    ring = unit_polygon(corner_count(radius)) * radius
    rings = [np.column_stack([ring, np.full(len(ring), z)]) for z in (0.0, REACH)]
    hole = stacked_rings(rings)
    turned = shortest_turn("G", "hole", axis_G).points(hole.vertices) + tip_G
    bodies = []
    for vertices, faces in ((solid.vertices, solid.faces), (turned, hole.faces)):
        # copies, since manifold3d takes no array that may not be written to
        mesh = Mesh64(np.array(vertices, dtype=np.float64, order="C"), np.array(faces, dtype=np.uint64, order="C"))
        made = Manifold(mesh)
        if made.status() != Error.NoError or made.is_empty():
            return None
        bodies.append(made)
    rest = bodies[0] - bodies[1]
    if rest.status() != Error.NoError or rest.is_empty():
        return None
    out = rest.to_mesh64()
    vertices = np.array(out.vert_properties, dtype=np.float64)[:, :3]
    return Triangles(vertices, np.array(out.tri_verts, dtype=np.int32))
