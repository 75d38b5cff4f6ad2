"""The room that the table sweeps while it swings, as a grid of taken cells. For the eye: nothing is measured on it.

1. What turns is sampled on its surface and turned about the last axis first, then about the one before; an axis
   that the body does not ride on does not move it.
2. What lies within the sampled skin, seen along all three directions both ways, is taken too.
3. What this file does not know: clearances, which place is the nearest.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import Shell
from app.view3d.scene_meshes import Turning
from kinematics.machine import Machine, TableAxis, W
from kinematics.pose import Array, as_vector

N_CELLS = 90  # along the longest side of the room
PIECE = 0.6
Cells = NDArray[np.bool_]
Box = tuple[tuple[float, float], ...]


def swept_shell(machine: Machine, turning: Sequence[Turning], boxes: Sequence[Box]) -> Shell | None:
    """The room that bodies sweep while the table's angles go through boxes; None where nothing turns.

    Parameters
    ----------
    turning : meshes with their pose in the frame that carries them, and how many table axes carry that.
    boxes : for each way round, (low, high) in degrees of every table axis in order.
    """
    if not turning or not boxes:
        return None
    reach = max(float(np.linalg.norm(X_CG.points(mesh.vertices), axis=1).max()) for mesh, X_CG, _ in turning)
    step = 2.0 * reach / N_CELLS
    found = []
    for mesh, X_CG, n_axes in turning:
        points = X_CG.points(_samples(mesh, step))
        for box in boxes:
            moved = points
            for axis, (low, high) in reversed([*zip(machine.table_axes[:n_axes], box[:n_axes], strict=True)]):
                moved = _turned(axis, moved, low, high, step)
            found.append(moved)
    every = np.concatenate(found)
    origin = (np.floor(every.min(axis=0) / step) - 3.0) * step
    shape = tuple(int(n) for n in np.ceil((every.max(axis=0) - origin) / step) + 4)
    skin = np.zeros(shape, dtype=np.bool_)
    skin[tuple(np.floor((every - origin) / step).astype(np.int64).T)] = True
    taken = np.where(_filled(_closed(skin)), np.uint8(255), np.uint8(0))
    key = hashlib.blake2b(taken.tobytes() + origin.tobytes(), digest_size=12).hexdigest()
    # a cell stands for its middle
    return Shell(key, as_vector(origin + step / 2.0), step, _softened(taken))


def _samples(mesh: DisplayMesh, step: float) -> Array:
    """Points on the triangles of a mesh, so close that each cell that the surface passes has one."""
    corners = mesh.vertices[mesh.faces]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    parts = np.ceil(longest / (0.7 * step)).astype(np.int64)  # into how many each side is divided
    found = []
    for n in np.unique(parts[parts > 0]):
        i, j = (v.ravel() for v in np.mgrid[0 : n + 1, 0 : n + 1])
        inside = i + j <= n
        share = np.column_stack([i, j, n - i - j])[inside] / n
        found.append(np.einsum("pk,tkx->tpx", share, corners[parts == n]).reshape(-1, 3))
    return _thinned(np.concatenate(found), step)


def _turned(axis: TableAxis, points: Array, low: float, high: float, step: float) -> Array:
    """Points of what an axis carries, in what carries the axis, at angles so close that no cell is jumped over.

    One point for each piece of a cell, as of `_thinned`.
    """
    along = points @ np.asarray(axis.axis)  # the origin of what is carried lies on the axis
    radius = math.sqrt(max(float(((points * points).sum(axis=1) - along * along).max()), 0.0))
    n = 1 + math.ceil(math.radians(high - low) * radius / step) if high > low else 1
    piece = PIECE * step
    reach = float(np.linalg.norm(points, axis=1).max())
    first = np.floor((np.asarray(axis.origin) - reach) / piece)
    side = math.ceil(2.0 * reach / piece) + 2
    taken = np.zeros((side, side, side), dtype=np.bool_)
    for angle in np.linspace(low, high, n):
        cells = (np.floor(axis.pose(float(angle), W).points(points) / piece) - first).astype(np.int32)
        taken[cells[:, 0], cells[:, 1], cells[:, 2]] = True
    return np.asarray((np.argwhere(taken) + first + 0.5) * piece)


def _thinned(points: Array, step: float) -> Array:
    """One point for each piece of a cell, in its middle, so that no cell goes without when the points are turned."""
    piece = PIECE * step
    cells = np.floor(points / piece).astype(np.int64)
    low = cells.min(axis=0)
    taken = np.zeros(cells.max(axis=0) - low + 1, dtype=np.bool_)
    taken[tuple((cells - low).T)] = True
    return np.asarray((np.argwhere(taken) + low + 0.5) * piece)


def _closed(skin: Cells) -> Cells:
    """Holes of a cell closed: grown by one, shrunk by one. The rim of the grid is free."""
    return ~_grown(~_grown(skin))


def _grown(cells: Cells) -> Cells:
    found = cells.copy()
    for axis in range(3):
        ahead, behind = [slice(None)] * 3, [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        found[tuple(ahead)] |= cells[tuple(behind)]
        found[tuple(behind)] |= cells[tuple(ahead)]
    return found


def _filled(skin: Cells) -> Cells:
    """The skin, and what it hides from all six sides."""
    inside = np.ones_like(skin)
    for axis in range(3):
        inside &= np.logical_or.accumulate(skin, axis=axis)
        inside &= np.flip(np.logical_or.accumulate(np.flip(skin, axis), axis=axis), axis)
    return np.asarray(inside | skin)


def _softened(taken: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Each cell the mean with its two neighbours, along each axis: a skin between cells has no steps."""
    soft = taken.astype(np.float32)
    for axis in range(3):
        soft = (2.0 * soft + np.roll(soft, 1, axis) + np.roll(soft, -1, axis)) / 4.0
    return soft.astype(np.uint8)
