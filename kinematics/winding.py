"""Is a point inside a mesh? The generalized winding number, and the pieces that a mesh falls into.

The winding number of a point is the sum of the signed solid angles of all triangles, over 4 pi: 1
inside a closed mesh, 0 outside, 0 in a hollow, and something between for a mesh with holes.
Sources: A. Jacobson, L. Kavan, O. Sorkine-Hornung, "Robust inside-outside segmentation using
generalized winding numbers", ACM Transactions on Graphics 32 (2013); the solid angle of a triangle by
A. Van Oosterom, J. Strackee, IEEE Transactions on Biomedical Engineering 30 (1983).
"""

from __future__ import annotations

import math
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kinematics.meshes import Mesh

PAIRS_AT_ONCE = 1 << 16  # point-triangle pairs held in memory together, about 10 MB
UNDECIDED_FROM = 0.1  # a winding number farther than this from an integer does not tell

Coordinates = NDArray[np.float64]


class Inside(Enum):
    """Whether a point lies in the solid that a mesh bounds."""

    YES = "inside"
    NO = "outside"
    UNDECIDED = "cannot be decided"


def winding_numbers(
    points: ArrayLike, vertices: NDArray[np.float64], faces: NDArray[np.integer[Any]]
) -> NDArray[np.float64]:
    """Winding numbers (n,) of points (n, 3) against triangles, all in one frame.

    On a triangle the number is halfway between its two sides; at a corner or on an edge that several
    triangles share it is what rounding makes it.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    total = np.zeros(len(points))
    n_faces = max(1, min(len(faces), PAIRS_AT_ONCE // 2))
    n_points = PAIRS_AT_ONCE // n_faces
    for i in range(0, len(faces), n_faces):
        a, b, c = (np.ascontiguousarray(vertices[faces[i : i + n_faces, k]].T)[:, None, :] for k in range(3))
        for j in range(0, len(points), n_points):
            p = np.ascontiguousarray(points[j : j + n_points].T)[:, :, None]
            total[j : j + n_points] += _half_solid_angles(a - p, b - p, c - p).sum(axis=1)
    return total / (2.0 * math.pi)


def is_inside(points: ArrayLike, mesh: Mesh) -> list[Inside]:
    """For each point (n, 3), in the frame of the mesh, whether it is inside.

    Against a closed mesh the answer is never UNDECIDED except within rounding of the surface, and for
    a winding number below zero: there the mesh is inside out, and nobody knows which side is metal.
    Against an open mesh it is UNDECIDED where the number is over 0.1 from an integer.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if not mesh.is_closed:
        return [_decided(w) for w in winding_numbers(points, mesh.vertices, mesh.faces)]
    answers = [Inside.NO] * len(points)
    lo, hi = mesh.bounds
    within = np.flatnonzero(((points >= lo) & (points <= hi)).all(axis=1))  # elsewhere it is 0 exactly
    for i, w in zip(within, winding_numbers(points[within], mesh.vertices, mesh.faces), strict=True):
        answers[i] = _decided(w)
    return answers


def components(mesh: Mesh) -> tuple[NDArray[np.int64], ...]:
    """The connected pieces of a mesh: for each the indices of its faces, in ascending order.

    Faces that share a point are connected. Pieces stand in the order of their first face.
    """
    from kinematics.mesh_topology import face_labels

    count, labels = face_labels(mesh.faces, len(mesh.vertices))
    order = np.argsort(labels, kind="stable")
    pieces = np.split(order, np.searchsorted(labels[order], np.arange(1, count)))
    return tuple(sorted(pieces, key=lambda piece: int(piece[0])))


def _decided(winding: float) -> Inside:
    nearest = round(winding)
    if nearest < 0 or abs(winding - nearest) > UNDECIDED_FROM:
        return Inside.UNDECIDED
    return Inside.YES if nearest >= 1 else Inside.NO


def _half_solid_angles(a: Coordinates, b: Coordinates, c: Coordinates) -> Coordinates:
    """Half the signed solid angle of each triangle seen from the origin; 0 where it lies in its plane.

    Corners as three rows of coordinates (3, ...), which is three times as fast as rows of points.
    """
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = a, b, c
    la, lb, lc = (np.sqrt(x * x + y * y + z * z) for x, y, z in (a, b, c))
    triple = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    below = la * lb * lc
    below += (ax * bx + ay * by + az * bz) * lc
    below += (bx * cx + by * cy + bz * cz) * la
    below += (cx * ax + cy * ay + cz * az) * lb
    half: Coordinates = np.arctan2(triple, below)
    half[triple == 0.0] = 0.0
    return half
