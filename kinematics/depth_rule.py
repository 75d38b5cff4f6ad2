"""The depth rule: is the flute long enough, or what is above it thinner than the cutter?

Depth is measured from the highest material over the sweep of the cutter, along the tool axis. What the cutter
covers is taken from outside, by a polygon for its circle; a sloping move is taken in pieces, each at its lowest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np

from kinematics.assembly import ToolAssembly
from kinematics.engine.highest import rise_over_sweep
from kinematics.engine.sweep import Positions
from kinematics.engine.triangle_tree import TriangleTree
from kinematics.pose import Array, Pose, frozen
from kinematics.report import DepthReport
from kinematics.solids import corner_count, unit_polygon
from kinematics.verdict import Verdict

SLACK = 1e-6  # mm, so that a flute as long as the depth is long enough


def depth_report(
    assembly: ToolAssembly, feature: Sequence[Positions], material: Iterable[tuple[TriangleTree, Pose]]
) -> DepthReport | None:
    """What the cut needs and what the tool has. `material`: trees over triangles around it, with their poses X_WG.

    None where the tool has no depth rule (a probe).
    """
    if assembly.flute is None or assembly.depth_limit is None:
        return None
    needs = depth_needed(assembly.cutter_radius, feature, material)
    has = assembly.depth_limit
    verdict = Verdict.CLEAR if needs <= has + SLACK else Verdict.CAN_HIT
    return DepthReport(verdict, needs, has)


def depth_needed(radius: float, feature: Sequence[Positions], material: Iterable[tuple[TriangleTree, Pose]]) -> float:
    """How far the material under a cutter rises above its tip, at most, over all positions; 0 where it does not."""
    points = np.concatenate([s.points for s in feature])
    ends = np.cumsum([len(s.points) for s in feature], dtype=np.int32)
    ring = cutter_outline(radius)
    needs = 0.0
    for tree, X_WG in material:
        needs = rise_over_sweep(
            points, ends, ring, needs, X_WG.R_AB, X_WG.p_AB,
            tree.vertices, tree.faces, tree.boxes, tree.first, tree.count,
        )  # fmt: skip
    return needs


@lru_cache(maxsize=256)
def cutter_outline(radius: float) -> Array:
    """The polygon (n, 2) around a circle."""
    n = corner_count(radius)
    return frozen(unit_polygon(n) * (radius / math.cos(math.pi / n)))
