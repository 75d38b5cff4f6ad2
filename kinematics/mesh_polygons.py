"""Polygons of a mesh file cut into triangles, without a new point.

1. A flat polygon keeps its area, also where it is not convex.
2. A polygon that is not flat has no shape of its own; that it was cut is told with how far it bulges.
3. One that crosses itself is fanned out: its edges stay joined to its neighbours, and it covers more
   than it should rather than less.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Triangle = tuple[int, int, int]
BULGE = 1e-6  # of a polygon's size; what single precision does to a flat one


def triangulated(
    vertices: NDArray[np.float64], polygons: Sequence[Sequence[int]]
) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Triangles (m, 3) of polygons given by vertex numbers, which must be in range, and remarks in words."""
    triangles: list[Triangle] = []
    n_bulging, most = 0, 0.0
    for polygon in polygons:
        if len(polygon) == 3:
            triangles.append((polygon[0], polygon[1], polygon[2]))
            continue
        points = vertices[list(polygon)]
        cut, bulge = _cut(points)
        triangles.extend((polygon[a], polygon[b], polygon[c]) for a, b, c in cut)
        if bulge > BULGE * float(np.ptp(points, axis=0).max()):
            n_bulging += 1
            most = max(most, bulge)
    notes = ()
    if n_bulging:
        notes = (f"{n_bulging} faces of more than three corners are not flat, by up to {most:.3g} of the file's unit",)
    return np.array(triangles, dtype=np.int64).reshape(-1, 3), notes


def _cut(points: NDArray[np.float64]) -> tuple[list[Triangle], float]:
    """Corners of triangles, and how far the polygon is from flat."""
    n = len(points)
    fan = [(0, k, k + 1) for k in range(1, n - 1)]
    centred = points - points.mean(axis=0)
    normal = np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)  # Newell: twice the area vector
    length = float(np.linalg.norm(normal))
    if length == 0.0:
        return fan, 0.0
    normal /= length
    bulge = float(np.abs(centred @ normal).max())
    drop = int(np.abs(normal).argmax())
    flat = np.delete(points, drop, axis=1)
    if (normal[drop] < 0.0) != (drop == 1):  # seen so that the polygon runs counter-clockwise
        flat = flat[:, ::-1]
    before, after = np.roll(flat, 1, axis=0), np.roll(flat, -1, axis=0)
    if (_area(before, flat, after) >= 0.0).all() and _turns_once(flat):
        return fan, bulge
    return _ears(flat) or fan, bulge


def _area(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the signed areas of triangles in the plane, (..., 2) each."""
    area: NDArray[np.float64] = (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
        c[..., 0] - a[..., 0]
    )
    return area


def _turns_once(flat: NDArray[np.float64]) -> bool:
    """False for a star, which turns left everywhere and crosses itself."""
    sides = np.roll(flat, -1, axis=0) - flat
    headings = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.diff(np.append(headings, headings[0]))
    return bool(abs(np.mod(turns, 2.0 * np.pi).sum() - 2.0 * np.pi) < 1.0)


def _ears(flat: NDArray[np.float64]) -> list[Triangle]:
    """Cuts off one convex corner after the other that holds no other corner; empty where there is none."""
    left = list(range(len(flat)))
    triangles: list[Triangle] = []
    while len(left) > 3:
        for k in range(len(left)):
            a, b, c = left[k - 1], left[k], left[(k + 1) % len(left)]
            pa, pb, pc = flat[a], flat[b], flat[c]
            if _area(pa, pb, pc) <= 0.0:
                continue
            others = flat[[i for i in left if i not in (a, b, c)]]
            is_in = (_area(pa, pb, others) >= 0.0) & (_area(pb, pc, others) >= 0.0) & (_area(pc, pa, others) >= 0.0)
            is_corner = ((others == pa) | (others == pb) | (others == pc)).all(axis=1)
            if not (is_in & ~is_corner).any():
                triangles.append((a, b, c))
                del left[k]
                break
        else:
            return []
    triangles.append((left[0], left[1], left[2]))
    return triangles
