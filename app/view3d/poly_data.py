"""From our triangles to those of the graphics library: corners joined, normals for smooth faces, skins of swept room.

Loads the graphics library: only for the processes that draw.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista

from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import Shell

N_SMOOTH = 60  # rounds of smoothing of a shell, whose grid is coarse
PASS_BAND = 0.01


def joined(mesh: DisplayMesh) -> pyvista.PolyData:
    """A mesh with corners at one place made one, so that faces know their neighbours."""
    faces: Any = np.array(mesh.faces)  # any kind of integers will do, though its types ask for one
    whole = pyvista.PolyData.from_regular_faces(np.array(mesh.vertices), faces)
    made: pyvista.PolyData = whole.clean(tolerance=0.0, absolute=False)
    return made


def smooth(data: pyvista.PolyData, fold_deg: float) -> pyvista.PolyData:
    """The same with normals; where two triangles meet at more than `fold_deg` the corner is split."""
    made: pyvista.PolyData = data.compute_normals(
        cell_normals=False,
        split_vertices=True,
        consistent_normals=False,
        auto_orient_normals=False,
        feature_angle=fold_deg,
    )
    return made


def skin(shell: Shell) -> pyvista.PolyData:
    """The outer skin of swept room, smoothed over the steps of its grid."""
    grid = pyvista.ImageData(dimensions=shell.taken.shape, spacing=(shell.step,) * 3, origin=shell.origin)
    grid.point_data["taken"] = np.ascontiguousarray(shell.taken.transpose(2, 1, 0)).ravel()
    edges = grid.contour([127.5], scalars="taken", compute_normals=False, compute_scalars=False, method="flying_edges")
    made: pyvista.PolyData = edges.connectivity("largest").smooth_taubin(n_iter=N_SMOOTH, pass_band=PASS_BAND)
    return made
