"""A large mesh in patches of triangles that lie together, and which of them may be near a box.

What this file does not know: who measures distances between patches.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array, Pose
from kinematics.solids import Triangles

PATCH = 2_000  # most triangles of a patch
ROUNDED = 1e-9  # mm; by so much boxes are larger than they need be

Rows = NDArray[np.int32]


def patches(triangles: Triangles) -> tuple[list[Rows], Array]:
    """Rows of faces, each in one patch, and the boxes (n, 6) around the patches, low corner then high corner."""
    vertices, faces = triangles.vertices, triangles.faces
    middles = (vertices[faces[:, 0]] + vertices[faces[:, 1]] + vertices[faces[:, 2]]) / 3.0
    found: list[Rows] = []
    waiting: list[Rows] = [np.arange(len(faces), dtype=np.int32)]
    while waiting:
        rows = waiting.pop()
        if len(rows) <= PATCH:
            found.append(rows)
            continue
        own = middles[rows]
        half = len(rows) // 2
        order = np.argpartition(own[:, int(np.ptp(own, axis=0).argmax())], half)
        waiting += [rows[order[half:]], rows[order[:half]]]
    return found, np.array([box_around(vertices[faces[rows]].reshape(-1, 3)) for rows in found])


def box_around(points: Array) -> Array:
    """(6,) low and high corner of a box around points (n, 3)."""
    return np.concatenate([points.min(axis=0) - ROUNDED, points.max(axis=0) + ROUNDED])


def turned(boxes: Array, X_WG: Pose) -> Array:
    """The upright boxes (n, 6) around boxes (n, 6) where a pose puts them."""
    middles, halves = X_WG.points((boxes[:, :3] + boxes[:, 3:]) / 2), (boxes[:, 3:] - boxes[:, :3]) / 2
    reach = halves @ np.abs(X_WG.R_AB).T + ROUNDED
    return np.concatenate([middles - reach, middles + reach], axis=1)


def nearest_first(boxes: Array, box: Array) -> Iterator[tuple[float, int]]:
    """How near boxes (n, 6) come to a box (6,) at least, with their rows, the nearest first."""
    gaps = np.maximum(np.maximum(boxes[:, :3] - box[3:], box[:3] - boxes[:, 3:]), 0.0)
    apart = np.sqrt((gaps * gaps).sum(axis=1))
    order = np.argsort(apart, kind="stable")
    return zip(apart[order].tolist(), order.tolist(), strict=True)
