"""Shapes and tool parts as triangles for the eye: round solids smooth, huge meshes reduced.

1. What is drawn is never what is measured: clearances come from `kinematics`, with meshes of its own.
2. A round solid has the same number of sides whatever its size; nobody sees them in a picture.
3. A mesh of more than MOST_TRIANGLES triangles is reduced by merging corners that share a cell of a grid. A
   cell keeps one of its own corners, so what is drawn lies on the mesh; `off_by` bounds how far a corner moved.
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
    return found or _merged(vertices, faces, _COARSEST)


def _merged(vertices: Array, faces: NDArray[np.int32], n_cells: int) -> DisplayMesh:
    """The mesh with one corner for each cell of a grid that has `n_cells` along its longest side."""
    origin = vertices.min(axis=0)
    edge = float((vertices.max(axis=0) - origin).max()) / n_cells
    cell = np.floor((vertices - origin) / edge).astype(np.int64)
    key = (cell[:, 0] * (n_cells + 1) + cell[:, 1]) * (n_cells + 1) + cell[:, 2]
    _, first, new = np.unique(key, return_index=True, return_inverse=True)
    merged = new.reshape(-1)[faces].astype(np.int32)
    a, b, c = merged.T
    kept = merged[(a != b) & (b != c) & (c != a)]
    return DisplayMesh(np.ascontiguousarray(vertices[first]), kept, off_by=edge * math.sqrt(3.0))
