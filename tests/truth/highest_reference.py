"""The highest material over the sweep of a cutter, in plain numpy: every triangle is clipped by every region.

What a cutter covers, seen along its axis, is the hull of the corners of a circumscribed polygon put at every corner
of the positions; a sloping move is cut into pieces of SLOPE_STEP, each at its lowest height. Clipping of a line by a
convex polygon: M. Cyrus, J. Beck, "Generalized two- and three-dimensional clipping", Computers & Graphics 3 (1978).
Shares no code with the product but the corner count of its circles.
"""

import itertools
import math

import numpy as np
from scipy.spatial import ConvexHull

from kinematics.solids import corner_count

SLOPE_STEP = 0.5  # mm
SLACK = 1e-6  # mm; what touches a side of a region is over it
LEVEL = 1e-9  # mm
TINY = 1e-12


def depth_needed(radius, feature, solids):
    """How far the highest material over the sweep of a cutter is above its tip, at most; at least 0.

    `feature`: corners (k, 3) of convex sets of tip positions; `solids`: (vertices, faces) in W.
    """
    needs = 0.0
    for points in feature:
        for corners, z in levels(np.asarray(points, dtype=float)):
            outline = region(corners, radius)
            for vertices, faces in solids:
                needs = max(needs, highest_over(vertices[faces], outline) - z)
    return needs


def levels(points):
    """The level pieces of a set: corners (k, 2) and height."""
    z = points[:, 2]
    if z.max() - z.min() <= LEVEL:
        return [(points[:, :2], z.min())]
    a, b = points[0], points[-1]
    n = max(1, math.ceil(abs(b[2] - a[2]) / SLOPE_STEP))
    ends = [a + (b - a) * i / n for i in range(n + 1)]
    return [(np.array([p[:2], q[:2]]), min(p[2], q[2])) for p, q in itertools.pairwise(ends)]


def region(corners, radius):
    """The convex counter-clockwise polygon (n, 2) that a cutter covers with its axis anywhere over the corners."""
    n = corner_count(radius)
    t = 2 * np.pi * np.arange(n) / n
    ring = np.column_stack([np.cos(t), np.sin(t)]) * radius / math.cos(math.pi / n)
    points = (corners[:, None, :] + ring[None, :, :]).reshape(-1, 2)
    return points[ConvexHull(points).vertices]


def highest_over(corners, outline):
    """The greatest height of triangles (n, 3, 3) over a convex counter-clockwise polygon; minus infinity for none."""
    low, high = outline.min(axis=0) - SLACK, outline.max(axis=0) + SLACK
    level = corners[:, :, :2]
    corners = corners[((level.min(axis=1) <= high) & (level.max(axis=1) >= low)).all(axis=1)]
    return max(highest_edge(corners, outline), highest_inside(corners, outline))


def highest_edge(corners, outline):
    p, q = corners.reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)
    sides = np.roll(outline, -1, axis=0) - outline
    inward = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.maximum(np.hypot(*sides.T), TINY)[:, None]
    offsets = (inward * outline).sum(axis=1) - SLACK
    in_p, in_q = p[:, :2] @ inward.T - offsets, q[:, :2] @ inward.T - offsets  # not below 0: inside
    crosses = (in_p >= 0.0) != (in_q >= 0.0)
    t = np.where(crosses, in_p / np.where(crosses, in_p - in_q, 1.0), 0.0)
    enters = np.where(crosses & (in_p < 0.0), t, 0.0).max(axis=1)
    leaves = np.where(crosses & (in_p >= 0.0), t, 1.0).min(axis=1)
    over = ~((in_p < 0.0) & (in_q < 0.0)).any(axis=1) & (enters <= leaves)
    if not over.any():
        return -math.inf
    rise = (q[:, 2] - p[:, 2])[over]
    return float((p[over, 2] + np.maximum(rise * enters[over], rise * leaves[over])).max())


def highest_inside(corners, outline):
    """Greatest height of triangles over the corners of the polygon."""
    a, b, c = (corners[:, k] for k in range(3))
    u, v = (b - a)[:, :2], (c - a)[:, :2]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    flat = np.abs(area) <= TINY  # seen from above it is a line: its edges say it all
    safe = np.where(flat, 1.0, area)
    w = outline[None, :, :] - a[:, None, :2]
    wb = (w[:, :, 0] * v[:, 1, None] - w[:, :, 1] * v[:, 0, None]) / safe[:, None]
    wc = (w[:, :, 1] * u[:, 0, None] - w[:, :, 0] * u[:, 1, None]) / safe[:, None]
    inside = ~flat[:, None] & (wb >= 0.0) & (wc >= 0.0) & (wb + wc <= 1.0)
    if not inside.any():
        return -math.inf
    heights = a[:, 2, None] + wb * (b - a)[:, 2, None] + wc * (c - a)[:, 2, None]
    return float(heights[inside].max())
