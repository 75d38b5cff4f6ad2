"""Meshes of triangles: a frozen value, read from a file, turned and shifted as a scene places it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Vector, as_vector, frozen, shortest_turn

Triangles = NDArray[np.int32]
Bounds = tuple[Vector, Vector]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles in mm, in the frame that the scene's `at` places.

    Parameters
    ----------
    vertices : (n, 3) float64, not writeable.
    faces : (m, 3) int32, corners counter-clockwise seen from outside, not writeable.
    n_open_edges : edges at which the faces running one way and those running the other are not equal
        in number, as a rule edges of one face only; 0 for a closed mesh.
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
    _bounds: Bounds | None = field(default=None, init=False, repr=False)

    @property
    def is_closed(self) -> bool:
        return self.n_open_edges == 0

    @property
    def bounds(self) -> Bounds:
        """Lowest and highest corner of the axis-aligned box, looked for once."""
        if self._bounds is None:
            lo, hi = as_vector(self.vertices.min(axis=0)), as_vector(self.vertices.max(axis=0))
            object.__setattr__(self, "_bounds", (lo, hi))
            return lo, hi
        return self._bounds


# --- reading ------------------------------------------------------------------------------------


def load_mesh(
    path: Path,
    *,
    units: str | None,
    body: str | None = None,
    chord_tolerance: float = 0.01,
    origin: object = None,
) -> Mesh:
    """The mesh of a file, in mm, welded and tidied (see `mesh_topology.py`), in the file's own frame.

    STL, OBJ and PLY have no unit and need `units`; STEP and 3MF have their own, which
    goes before `units`; a note says so where the two differ.

    Parameters
    ----------
    path : ends in .stl, .step, .stp, .obj, .ply or .3mf.
    units : mm, cm, m, inch, foot or micron, or None where the file says it.
    body : which of several bodies, by its name in the file; None takes all of them together.
    chord_tolerance : how far facets may lie from curved faces of a STEP file, mm.
    origin : mark of the entry that names the file, handed on in errors.

    Raises
    ------
    MeshFileError : whatever is wrong with the file; `key` is file, units or body.
    """
    from kinematics import mesh_reading

    return mesh_reading.load_mesh(path, units, body, chord_tolerance, origin)


# --- placing ------------------------------------------------------------------------------------

Up = Literal["+X", "-X", "+Y", "-Y", "+Z", "-Z"]

_UP = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}


def placed_mesh(mesh: Mesh, *, from_: Literal["origin", "base_centre"], up: Up) -> Mesh:
    """The mesh turned so that its direction `up` becomes +Z, the shortest way, by exact quarter turns.

    With `base_centre` it is then shifted so that the centre of the bottom of its box is the origin.
    """
    vertices = mesh.vertices
    if up != "+Z":
        turn = shortest_turn("F", "G", _UP[up]).inverse()
        vertices = turn.points(vertices) + 0.0  # + 0.0 makes a zero of -0.0
    if from_ == "base_centre":
        lo, hi = vertices.min(axis=0), vertices.max(axis=0)
        vertices = vertices - np.array([(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0, lo[2]])
    if vertices is mesh.vertices:
        return mesh
    return replace(mesh, vertices=frozen(vertices))
