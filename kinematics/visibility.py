"""Can the operator see the gap? Straight lines from its middle, tested against everything in the way.

1. The operator looks from level to 45 degrees down, from 30 degrees to either side. The gap is hidden when
   every line of a 5-degree grid is stopped by a body or by the tool.
2. A line that passes the tool closer than GRAZE is stopped: nobody sees along a face.
3. The tool first, since the gap is beside it; then the bodies, until no line is left.
4. What this file does not know: which gap, whose bodies.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np

from kinematics.engine.sight_lines import stopped_by_frusta, stopped_by_triangles
from kinematics.engine.sweep import RoundPiece
from kinematics.engine.triangle_tree import TriangleTree
from kinematics.pose import Array, Pose, Vector, frozen

LEVELS_DEG = range(0, 46, 5)
SIDES_DEG = range(-30, 31, 5)
GRAZE = 0.1  # mm


@lru_cache(maxsize=16)
def sight_lines(operator: Vector) -> Array:
    """Unit directions (n, 3) in W from a gap towards the operator's eyes, the level middle one first."""
    towards = np.asarray(operator, dtype=np.float64)
    right = np.cross((0.0, 0.0, 1.0), towards)
    found = []
    for level in LEVELS_DEG:
        for side in sorted(SIDES_DEG, key=abs):
            e, a = np.radians(level), np.radians(side)
            level_part = np.cos(a) * towards + np.sin(a) * right
            found.append(np.cos(e) * level_part + np.sin(e) * np.array([0.0, 0.0, 1.0]))
    return frozen(found)


@lru_cache(maxsize=16)
def _sides_of_view(operator: Vector) -> Array:
    """Directions (4, 3) in W to none of which a sight line runs opposite: up, in from either side, down from above."""
    towards, up = np.asarray(operator, dtype=np.float64), np.array([0.0, 0.0, 1.0])
    right = np.cross(up, towards)
    side, top = np.radians(max(SIDES_DEG)), np.radians(max(LEVELS_DEG))
    from_left = np.sin(side) * towards + np.cos(side) * right
    from_right = np.sin(side) * towards - np.cos(side) * right
    from_above = np.sin(top) * towards - np.cos(top) * np.cos(side) * up  # as flat as the steepest line at either side
    return frozen([up, from_left, from_right, from_above])


def is_hidden(
    ends_W: tuple[Array, Array],
    operator: Vector,
    tool: Sequence[RoundPiece],
    tip_W: Array,
    bodies: Iterable[tuple[TriangleTree, Pose]],
) -> bool:
    """Whether every sight line from the middle of a gap is stopped by the tool or by a body.

    `ends_W` are the ends of the gap; the tool stands with its tip at `tip_W`; bodies are trees with their poses
    X_WG.
    """
    lines, sides = sight_lines(operator), _sides_of_view(operator)
    p_W = (ends_W[0] + ends_W[1]) / 2
    graze = min(GRAZE, float(np.linalg.norm(ends_W[1] - ends_W[0])) / 4)
    is_open = np.ones(len(lines), dtype=bool)
    if tool:
        frusta = np.array([(piece.r1, piece.r2, piece.z1, piece.z2) for piece in tool])
        if stopped_by_frusta(p_W - tip_W, lines, frusta, graze, is_open) == 0:
            return True
    for tree, X_WG in bodies:
        n_open = stopped_by_triangles(
            p_W, lines, sides, X_WG.R_AB, X_WG.p_AB,
            tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, is_open,
        )  # fmt: skip
        if n_open == 0:
            return True
    return False
