"""Depth of overlap of two convex solids: the least translation that parts them, as an interval.

The difference A - B of two convex solids holds the origin when they overlap; the depth is the distance
from the origin to its boundary. A polytope inside the difference is grown by support points until its
nearest face and the support plane beside it agree (expanding polytope: G. van den Bergen, "Proximity
queries and penetration depth computation on 3D game objects", 2001).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinematics.errors import EngineError
from kinematics.pose import Array

GAP = 1e-5  # mm; the two ends of the interval agree to this, or
MAX_STEPS = 400  # the search ends: the interval is wider then (solids of kilometres), and as true


@dataclass(frozen=True, slots=True, eq=False)
class Depth:
    """`at_least <= depth <= at_most`. `normal` points from A to B; a and b are the deepest points."""

    at_least: float
    at_most: float
    normal: Array
    p_a: Array
    p_b: Array


def overlap_depth(a: Array, b: Array) -> Depth | None:
    """Depth by which the hulls of a (n, 3) and b (m, 3) overlap; None where they do not overlap."""
    from scipy.spatial import ConvexHull, QhullError

    first = _DIRECTIONS
    seeds = a[(a @ first.T).argmax(axis=0)] - b[(b @ first.T).argmin(axis=0)]
    try:
        polytope = ConvexHull(seeds, incremental=True)
    except QhullError as error:
        raise EngineError("two flat solids have no depth of overlap") from error
    best: Depth | None = None
    proven = 0.0
    try:
        for _ in range(MAX_STEPS):
            offsets = polytope.equations[:, 3]  # n . x + offset <= 0 inside
            face = int(offsets.argmax())
            normal, inner = polytope.equations[face, :3], -float(offsets[face])
            p_a, p_b = a[(a @ normal).argmax()], b[(b @ normal).argmin()]
            outer = float(normal @ (p_a - p_b))
            if outer <= 0.0:
                return None
            proven = max(proven, inner)
            if best is None or outer < best.at_most:
                best = Depth(0.0, outer, normal, p_a, p_b)
            if outer - inner <= GAP:
                break
            polytope.add_points((p_a - p_b)[None, :])
    except QhullError as error:
        if best is None:
            raise EngineError("the depth of an overlap was not found") from error
    finally:
        polytope.close()
    assert best is not None, "the first face gives a depth"
    return Depth(min(proven, best.at_most), best.at_most, best.normal, best.p_a, best.p_b)


def _directions() -> Array:
    grid = [(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)]
    directions = np.array(grid, dtype=np.float64)
    return directions / np.linalg.norm(directions, axis=1)[:, None]


_DIRECTIONS = _directions()
