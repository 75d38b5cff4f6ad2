"""Meshes of triangles: a frozen value, and (below) the readers of mesh files."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Triangles = NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles in mm, in the frame that the scene's `at` places.

    Parameters
    ----------
    vertices : (n, 3) float64, not writeable.
    faces : (m, 3) int32, corners counter-clockwise seen from outside, not writeable.
    n_open_edges : edges that do not join exactly two faces running opposite ways; 0 for a closed mesh.
    chord_error : how far the triangles may lie from the true surface (STEP), mm; 0 for files that
        hold triangles.
    source : file name, for words to people.
    notes : what was welded, dropped or turned when it was read, in words.
    """

    vertices: NDArray[np.float64]
    faces: Triangles
    n_open_edges: int
    chord_error: float
    source: str
    notes: tuple[str, ...] = ()

    @property
    def is_closed(self) -> bool:
        return self.n_open_edges == 0

    @property
    def bounds(self) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """Lowest and highest corner of the axis-aligned box."""
        lo, hi = self.vertices.min(axis=0), self.vertices.max(axis=0)
        return (float(lo[0]), float(lo[1]), float(lo[2])), (float(hi[0]), float(hi[1]), float(hi[2]))
