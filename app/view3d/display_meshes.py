"""Shapes and tool parts as triangles for the eye: round solids smooth, huge meshes reduced.

1. What is drawn is never what is measured: clearances come from `kinematics`, with meshes of its own.
2. A round solid has the same number of sides whatever its size; nobody sees them in a picture.
3. A mesh of more than MOST_TRIANGLES triangles is reduced by merging corners that share a cell of a grid. The
   corner of a cell stays in it, where it is nearest to the planes of all triangles that meet there (Lindstrom,
   "Out-of-core simplification of large polygonal models", 2000): edges stay sharp, faces even. `off_by` bounds
   how far a corner moved.
4. What this file does not know: where things stand, cameras, colours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.assembly import Slice
from kinematics.pose import Array
from kinematics.shapes import Box, MeshShape, Revolve, Screw, Shape
from kinematics.solids import Triangles, pieces, stacked_rings, unit_polygon

N_SIDES = 96  # of every round solid; at radius 100 the sides lie 0.05 mm inside the circle
MOST_TRIANGLES = 200_000  # of one mesh as drawn
_CALM = 1e-4  # of the planes' weight
_FINEST, _COARSEST = 4096, 8  # cells along the longest side of a mesh's box


@dataclass(frozen=True, slots=True, eq=False)
class DisplayMesh:
    """Triangles for the eye, mm, in the frame of what they show.

    Parameters
    ----------
    vertices : (n, 3) float64.
    faces : (m, 3) int32, corners counter-clockwise seen from outside.
    off_by : how far a corner may have moved where the mesh was reduced, mm; None where all of it is drawn.
    """

    vertices: Array
    faces: NDArray[np.int32]
    off_by: float | None = None


def shape_mesh(shape: Shape) -> DisplayMesh:
    """The shape in its own frame G."""
    match shape:
        case Box():
            return _whole(pieces(shape)[0].outer)
        case Revolve(steps):
            return turned([(s.d1 / 2, s.d2 / 2, s.length) for s in steps], 0.0)
        case Screw(head_d=d, head_h=h, shank_d=shank_d, length=length):
            shank = [(shank_d / 2, shank_d / 2, length)] if length else []
            return turned([*shank, (d / 2, d / 2, h)], -(length or 0.0))
        case MeshShape(mesh):
            return reduced(mesh.vertices, mesh.faces)


def part_mesh(slices: tuple[Slice, ...]) -> DisplayMesh:
    """One part of a tool assembly in the tip frame L, from its slices, lowest first."""
    return turned([(s.r1, s.r2, s.z2 - s.z1) for s in slices], slices[0].z1)


def turned(steps: list[tuple[float, float, float]], base: float) -> DisplayMesh:
    """A solid of revolution about Z, from `base` up, of (lower radius, upper radius, height)."""
    ring = unit_polygon(N_SIDES)
    rings, z = [], base
    for lower, upper, height in steps:
        for radius, at in ((lower, z), (upper, z + height)):
            rings.append(np.column_stack([ring * radius, np.full(N_SIDES, at)]))
        z += height
    return _whole(stacked_rings(rings))


def _whole(triangles: Triangles) -> DisplayMesh:
    return DisplayMesh(np.asarray(triangles.vertices), triangles.faces)


def reduced(vertices: Array, faces: NDArray[np.int32], most: int = MOST_TRIANGLES) -> DisplayMesh:
    """The mesh with at most `most` triangles, which is all of it where it has no more than these."""
    if len(faces) <= most:
        return DisplayMesh(vertices, faces)
    low, high = _FINEST, _COARSEST  # a surface has about cells squared corners, so halving the range is quick
    cells = int(math.sqrt(most))
    found = None
    while low - high > max(1, low // 16):
        merged = _merged(vertices, faces, cells)
        if len(merged.faces) <= most:
            found, high = merged, cells
        else:
            low = cells
        cells = (low + high) // 2 if found is None or low < _FINEST else min(2 * cells, _FINEST)
    return _with_corners(vertices, faces, found or _merged(vertices, faces, _COARSEST))


@dataclass(frozen=True, slots=True, eq=False)
class _Merged:
    """Corners by cells of a grid: `cell` (n,) of each, by its place among those that are used; faces that are left."""

    cell: NDArray[np.int64]
    low: Array
    edge: float
    faces: NDArray[np.int32]


def _merged(vertices: Array, faces: NDArray[np.int32], n_cells: int) -> _Merged:
    """The mesh with one corner for each cell of a grid that has `n_cells` along its longest side."""
    origin = vertices.min(axis=0)
    edge = float((vertices.max(axis=0) - origin).max()) / n_cells
    at = np.floor((vertices - origin) / edge).astype(np.int64)
    key = (at[:, 0] * (n_cells + 1) + at[:, 1]) * (n_cells + 1) + at[:, 2]
    _, first, new = np.unique(key, return_index=True, return_inverse=True)
    cell = new.reshape(-1)
    merged = cell[faces].astype(np.int32)
    a, b, c = merged.T
    return _Merged(cell, origin + edge * at[first], edge, merged[(a != b) & (b != c) & (c != a)])


def _with_corners(vertices: Array, faces: NDArray[np.int32], merged: _Merged) -> DisplayMesh:
    """The mesh of what was merged, with the corner of each cell where it is nearest to the planes that meet there."""
    n = len(merged.low)
    count = np.bincount(merged.cell, minlength=n).astype(np.float64)
    mean = np.column_stack([np.bincount(merged.cell, vertices[:, i], n) for i in range(3)]) / count[:, None]
    a = vertices[faces[:, 0]]
    normal = np.cross(vertices[faces[:, 1]] - a, vertices[faces[:, 2]] - a)  # as long as the triangle is large
    height = (normal * a).sum(axis=1)
    cells = merged.cell[faces]

    def summed(values: Array) -> Array:
        return np.asarray(sum(np.bincount(cells[:, k], values, n) for k in range(3)))

    planes = np.zeros((n, 3, 3))
    pull = np.zeros((n, 3))
    for i in range(3):
        pull[:, i] = summed(normal[:, i] * height)
        for j in range(i, 3):
            planes[:, i, j] = planes[:, j, i] = summed(normal[:, i] * normal[:, j])
    pull -= np.einsum("nij,nj->ni", planes, mean)  # as seen from the mean, to keep digits
    calm = _CALM * np.trace(planes, axis1=1, axis2=2) + 1e-12  # along a face or an edge the corner stays at the mean
    moved = np.linalg.solve(planes + calm[:, None, None] * np.eye(3), pull[..., None])[..., 0]
    corners = np.clip(mean + moved, merged.low, merged.low + merged.edge)
    return DisplayMesh(np.ascontiguousarray(corners), merged.faces, off_by=merged.edge * math.sqrt(3.0))
