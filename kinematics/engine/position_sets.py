"""All tip positions of a move as arrays: convex sets in order, and a tree of spheres over them.

1. Set i has the corners `points[starts[i] : starts[i + 1]]`, each may rise by `up[i]`.
2. A node of the tree is a stretch of the move: a ball around all corners of its sets, and their largest rise.
   Node i has its children at `first[i]` and `first[i] + 1`; where `first[i]` is negative it is set
   `-1 - first[i]`.
3. What this file does not know: tools, obstacles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.engine.sweep import Positions
from kinematics.pose import Array

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class PositionSets:
    """Position sets of one move in W, mm. `ball` is (k, 5): centre, radius and the largest rise of each stretch."""

    points: Array
    starts: Ints
    up: Array
    ball: Array
    first: Ints


def position_sets(sets: Sequence[Positions]) -> PositionSets:
    """The arrays of position sets; a `down` of theirs is not kept, since it is one number for the whole move."""
    points = np.ascontiguousarray(np.concatenate([s.points for s in sets]), dtype=np.float64)
    starts = np.cumsum([0] + [len(s.points) for s in sets], dtype=np.int64)
    return sets_of(points, starts, np.array([s.up for s in sets], dtype=np.float64))


def path_sets(points: Array, up: float) -> PositionSets:
    """The straight moves through points (n, 3), each may rise by `up`."""
    points = np.asarray(points, dtype=np.float64)
    if len(points) == 1:
        return sets_of(points, np.array([0, 1]), np.array([up]))
    ends = np.ascontiguousarray(np.stack([points[:-1], points[1:]], axis=1).reshape(-1, 3))
    return sets_of(ends, np.arange(0, len(ends) + 1, 2, dtype=np.int64), np.full(len(points) - 1, up))


def sets_of(points: Array, starts: Ints, up: Array) -> PositionSets:
    """The sets with the tree over them."""
    ball, first = _stretches(points, starts, up)
    return PositionSets(points, starts, up, ball, first)


@kernel
def _stretches(points: Array, starts: Ints, up: Array) -> tuple[Array, Ints]:
    n = len(up)
    ball = np.zeros((2 * n - 1, 5))
    first = np.zeros(2 * n - 1, dtype=np.int64)
    low = np.zeros(2 * n - 1, dtype=np.int64)
    high = np.zeros(2 * n - 1, dtype=np.int64)
    low[0], high[0] = 0, n
    n_nodes = 1
    for node in range(2 * n - 1):
        a, b = low[node], high[node]
        p, q = starts[a], starts[b]
        for k in range(3):
            lo, hi = points[p, k], points[p, k]
            for i in range(p, q):
                lo, hi = min(lo, points[i, k]), max(hi, points[i, k])
            ball[node, k] = 0.5 * (lo + hi)
        far = 0.0
        for i in range(p, q):
            dx, dy, dz = points[i, 0] - ball[node, 0], points[i, 1] - ball[node, 1], points[i, 2] - ball[node, 2]
            far = max(far, dx * dx + dy * dy + dz * dz)
        ball[node, 3] = np.sqrt(far)
        ball[node, 4] = up[a:b].max()
        if b - a == 1:
            first[node] = -1 - a
            continue
        first[node] = n_nodes
        low[n_nodes], high[n_nodes] = a, (a + b) // 2
        low[n_nodes + 1], high[n_nodes + 1] = (a + b) // 2, b
        n_nodes += 2
    return ball, first
