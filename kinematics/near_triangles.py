"""Which triangles come near a box, and how far a point is from triangles: plain numpy, without any tree.

1. Triangles are found in the frame that they are given in: a box of another frame is turned into a box
   around it, which is never smaller.
2. What this file does not know: solids, tools, poses over time.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array, Pose
from kinematics.solids import Triangles

Indices = NDArray[np.integer[Any]]


def turned_box(X_AB: Pose, low: Array, high: Array) -> tuple[Array, Array]:
    """Lowest and highest corner in A of a box around the box [low, high] of B."""
    middle, half = X_AB.points((low + high) / 2), np.abs(X_AB.R_AB) @ ((high - low) / 2)
    return middle - half, middle + half


def faces_near(surface: Triangles, low: Array, high: Array) -> Indices:
    """Indices of the triangles whose box meets the box [low, high] (3,), both in one frame.

    Each corner is marked with the sides of the box that it lies beyond; the box of a triangle is apart
    from it just where its three corners lie beyond one side together.
    """
    beyond = np.zeros(len(surface.vertices), dtype=np.uint8)
    for axis in range(3):
        along = surface.vertices[:, axis]
        beyond |= (along < low[axis]).view(np.uint8) << (2 * axis)
        beyond |= (along > high[axis]).view(np.uint8) << (2 * axis + 1)
    first, second, third = surface.faces.T
    return np.flatnonzero((beyond[first] & beyond[second] & beyond[third]) == 0)


def some_of(surface: Triangles, chosen: Indices) -> Triangles:
    """The chosen triangles with no other corners than theirs."""
    faces = surface.faces[chosen]
    is_used = np.zeros(len(surface.vertices), dtype=bool)
    is_used[faces] = True
    renumbered = np.cumsum(is_used, dtype=np.int32) - np.int32(1)
    return Triangles(surface.vertices[is_used], renumbered[faces])


def joined(surfaces: list[Triangles]) -> Triangles:
    """Several surfaces of one frame as one, not welded; one without triangles where there is none."""
    if not surfaces:
        return Triangles(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
    starts = np.cumsum([0, *(len(s.vertices) for s in surfaces)])
    faces = [s.faces + start for s, start in zip(surfaces, starts, strict=False)]
    return Triangles(np.concatenate([s.vertices for s in surfaces]), np.concatenate(faces).astype(np.int32))


def box_distances(surface: Triangles, low: Array, high: Array) -> Array:
    """Distance (m,) from the box of each triangle to the box [low, high]; 0 where they meet."""
    first, second, third = (surface.vertices[surface.faces[:, k]] for k in range(3))
    lows = np.minimum(np.minimum(first, second), third)
    highs = np.maximum(np.maximum(first, second), third)
    off = np.maximum(np.maximum(lows - high, low - highs), 0.0)
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", off, off)))


def least_along(surface: Triangles, direction: Array) -> Array:
    """The least extent (m,) of each triangle along a direction (3,)."""
    first, second, third = (surface.vertices @ direction)[surface.faces.T]
    return np.asarray(np.minimum(np.minimum(first, second), third))


def distance_to_point(p: Array, surface: Triangles) -> float:
    """Distance from a point (3,) to the nearest triangle, flat ones included; infinite where there is none.

    Beside the inside of a triangle it is the distance to its plane, else to the nearest of its edges.
    """
    if len(surface.faces) == 0:
        return float("inf")
    a, b, c = (surface.vertices[surface.faces[:, k]] - p for k in range(3))
    normal = _cross(b - a, c - a)
    length = np.sqrt((normal**2).sum(axis=1))
    is_beside = length > 0.0
    for start, end in ((a, b), (b, c), (c, a)):
        is_beside &= (_cross(start, end) * normal).sum(axis=1) >= 0.0
    to_plane = np.abs((a * normal).sum(axis=1)) / np.where(length > 0.0, length, 1.0)
    to_edges = np.minimum.reduce([_to_segments(a, b), _to_segments(b, c), _to_segments(c, a)])
    return float(np.where(is_beside, to_plane, to_edges).min())


def _to_segments(a: Array, b: Array) -> Array:
    """Distance (m,) from the origin to segments a-b, each (m, 3)."""
    along = b - a
    length2 = (along**2).sum(axis=1)
    t = np.clip(-(a * along).sum(axis=1) / np.where(length2 > 0.0, length2, 1.0), 0.0, 1.0)
    return np.asarray(np.sqrt(((a + t[:, None] * along) ** 2).sum(axis=1)))


def _cross(u: Array, v: Array) -> Array:
    """The cross products (m, 3); numpy's own takes most of the time of the few triangles that there are."""
    (ux, uy, uz), (vx, vy, vz) = u.T, v.T
    return np.column_stack([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx])
