"""Polygons of a mesh file cut into triangles, without a new point.

1. A flat polygon keeps its area, also where it is not convex.
2. A polygon that is not flat has no shape of its own; that it was cut is told with how far it bulges.
3. One that crosses itself is fanned out: its edges stay joined to its neighbours, and it covers more
   than it should rather than less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Indices = NDArray[np.int64]
Triangle = tuple[int, int, int]
BULGE = 1e-6  # of a polygon's size; what single precision does to a flat one


@dataclass(frozen=True, slots=True, eq=False)
class Polygons:
    """Polygons by vertex numbers, all in one row: `corners` (k,), of which each takes `counts` (m,) in turn."""

    corners: Indices
    counts: Indices

    @property
    def n_triangles(self) -> int:
        return int(self.counts.sum()) - 2 * len(self.counts)

    def of_count(self, n: int) -> Indices:
        """Those of n corners, (m, n)."""
        starts = np.cumsum(self.counts) - self.counts
        chosen: Indices = self.corners[starts[self.counts == n][:, None] + np.arange(n)]
        return chosen


def triangulated(vertices: NDArray[np.float64], polygons: Polygons) -> tuple[Indices, tuple[str, ...]]:
    """Triangles (m, 3) of polygons of 3 corners and more, and remarks in words.

    Vertex numbers must be in range. Triangles come first, then what was quadrangles, and so on.
    """
    faces: list[Indices] = [np.zeros((0, 3), dtype=np.int64)]
    n_bulging, most = 0, 0.0
    for n in (int(count) for count in np.unique(polygons.counts)):
        corners = polygons.of_count(n)
        if n == 3:
            faces.append(corners)
            continue
        points = vertices[corners]
        flat, bulge = _in_their_planes(points)
        is_convex = _is_convex(flat)
        fan = np.array([(0, k, k + 1) for k in range(1, n - 1)])
        cuts = [corners[is_convex][:, fan].reshape(-1, 3)]
        cuts += [corners[k][np.array(_ears(flat[k]) or fan)] for k in np.flatnonzero(~is_convex)]
        faces.extend(cuts)
        is_bulging = bulge > BULGE * np.ptp(points, axis=1).max(axis=1)
        n_bulging += int(is_bulging.sum())
        most = max(most, float(bulge[is_bulging].max(initial=0.0)))
    told = f"{n_bulging} faces of more than three corners are not flat, by up to {most:.3g} of the file's unit"
    return np.concatenate(faces), (told,) if n_bulging else ()


def _in_their_planes(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Polygons (m, n, 3) seen from where they run counter-clockwise (m, n, 2), and how far each is from flat."""
    centred = points - points.mean(axis=1, keepdims=True)
    normal = np.cross(centred, np.roll(centred, -1, axis=1)).sum(axis=1)  # Newell: twice the area vector
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0.0)
    bulge = np.abs(np.einsum("mni,mi->mn", centred, normal)).max(axis=1)
    drop = np.abs(normal).argmax(axis=1)
    rows = np.arange(len(points))
    x, y = centred[rows, :, (drop + 1) % 3], centred[rows, :, (drop + 2) % 3]
    flip = normal[rows, drop] < 0.0
    x, y = np.where(flip[:, None], y, x), np.where(flip[:, None], x, y)
    return np.stack([x, y], axis=-1), bulge


def _is_convex(flat: NDArray[np.float64]) -> NDArray[np.bool_]:
    """For each polygon (m, n, 2) whether it turns left at every corner, and once round in all."""
    sides = np.roll(flat, -1, axis=1) - flat
    headings = np.arctan2(sides[..., 1], sides[..., 0])
    turns = np.mod(np.diff(headings, axis=1, append=headings[:, :1]), 2.0 * np.pi)
    left = (_area(np.roll(flat, 1, axis=1), flat, np.roll(flat, -1, axis=1)) >= 0.0).all(axis=1)
    once: NDArray[np.bool_] = np.abs(turns.sum(axis=1) - 2.0 * np.pi) < 1.0  # twice round is a star
    return left & once


def _area(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the signed areas of triangles in the plane, (..., 2) each."""
    area: NDArray[np.float64] = (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
        c[..., 0] - a[..., 0]
    )
    return area


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
            is_corner = (others == pa).all(axis=1) | (others == pb).all(axis=1) | (others == pc).all(axis=1)
            if not (is_in & ~is_corner).any():
                triangles.append((a, b, c))
                del left[k]
                break
        else:
            return []
    triangles.append((left[0], left[1], left[2]))
    return triangles
