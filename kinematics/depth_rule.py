"""The depth rule: is the flute long enough, or what is above it thinner than the cutter?

Depth is measured from the highest material over the sweep of the cutter, along the tool axis.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from kinematics.assembly import ToolAssembly
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.pose import Array
from kinematics.report import DepthReport
from kinematics.solids import Triangles
from kinematics.verdict import Verdict

SLOPE_STEP = 0.5  # mm of height per piece when a sloping move is split for this rule
SLACK = 1e-6  # mm, so that a flute as long as the depth is long enough, and what touches a side is over it
TINY = 1e-12  # below this a side or an area is nothing
AT_ONCE = 256  # triangles that are compared with a region together


def depth_report(
    assembly: ToolAssembly, feature: Sequence[Positions], material: Iterable[Triangles]
) -> DepthReport | None:
    """What the cut needs and what the tool has. `material`: triangles in W, from outside.

    None where the tool has no depth rule (a probe).
    """
    if assembly.flute is None or assembly.depth_limit is None:
        return None
    solids = tuple(material)
    needs = 0.0
    for s in feature:
        for level in _levels(s):
            region = _region(level, assembly.cutter_radius)
            z = float(level.points[:, 2].min())
            for solid in solids:
                needs = max(needs, highest_over(solid, region, at_least=z + needs) - z)
    has = assembly.depth_limit
    verdict = Verdict.CLEAR if needs <= has + SLACK else Verdict.CAN_HIT
    return DepthReport(verdict, needs, has)


def _levels(s: Positions) -> list[Positions]:
    """A sloping segment as short pieces, each taken at its lowest height; a level set is itself."""
    if s.is_level:
        return [s]
    a, b = s.points[0], s.points[-1]
    n = max(1, math.ceil(abs(float(b[2] - a[2])) / SLOPE_STEP))
    cuts = [a + (b - a) * i / n for i in range(n + 1)]
    found = []
    for p, q in pairwise(cuts):
        low = min(float(p[2]), float(q[2]))
        found.append(Positions(np.array([[p[0], p[1], low], [q[0], q[1], low]])))
    return found


def _region(level: Positions, radius: float) -> Array:
    """The convex polygon (k, 2) around everything that the cutter covers, seen along the axis."""
    disc = RoundPiece("cutter", radius, radius, 0.0, 1.0)
    points = disc.swept(level).vertices
    bottom = points[points[:, 2] <= points[:, 2].min() + 1e-9]
    return np.asarray(bottom[:, :2])


def highest_over(solid: Triangles, region: Array, *, at_least: float) -> float:
    """Greatest height of a surface over a convex counter-clockwise polygon (k, 2), or `at_least`.

    The highest triangles first, many at a time; the rest are lower than what was found.
    """
    corners = solid.vertices[solid.faces]
    tops = corners[:, :, 2].max(axis=1)
    low, high = region.min(axis=0), region.max(axis=0)
    near = (
        (tops > at_least)
        & (corners[:, :, :2].min(axis=1) <= high).all(axis=1)
        & (corners[:, :, :2].max(axis=1) >= low).all(axis=1)
    )
    best = at_least
    candidates, tops = corners[near], tops[near]
    order = np.argsort(-tops, kind="stable")
    for start in range(0, len(order), AT_ONCE):
        block = order[start : start + AT_ONCE]
        if tops[block[0]] <= best:
            break
        best = max(best, _highest_edge(candidates[block], region), _highest_inside(candidates[block], region))
    return best


def _highest_edge(triangles: Array, region: Array) -> float:
    """Greatest height of the edges of triangles (n, 3, 3) over a region; each is clipped by all of its sides at once.

    Clipping of a line by a convex polygon: M. Cyrus, J. Beck, "Generalized two- and three-dimensional
    clipping", Computers & Graphics 3 (1978).
    """
    p, q = triangles.reshape(-1, 3), np.roll(triangles, -1, axis=1).reshape(-1, 3)
    sides = np.roll(region, -1, axis=0) - region
    inward = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.maximum(np.hypot(*sides.T), TINY)[:, None]
    offsets = (inward * region).sum(axis=1) - SLACK
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


def _highest_inside(triangles: Array, region: Array) -> float:
    """Greatest height of triangles (n, 3, 3) over the corners of a region."""
    a, b, c = (triangles[:, k] for k in range(3))
    u, v = (b - a)[:, :2], (c - a)[:, :2]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    flat = np.abs(area) <= TINY  # seen from above it is a line: its edges say it all
    safe = np.where(flat, 1.0, area)
    w = region[None, :, :] - a[:, None, :2]
    wb = (w[:, :, 0] * v[:, 1, None] - w[:, :, 1] * v[:, 0, None]) / safe[:, None]
    wc = (w[:, :, 1] * u[:, 0, None] - w[:, :, 0] * u[:, 1, None]) / safe[:, None]
    inside = ~flat[:, None] & (wb >= 0.0) & (wc >= 0.0) & (wb + wc <= 1.0)
    if not inside.any():
        return -math.inf
    heights = a[:, 2, None] + wb * (b - a)[:, 2, None] + wc * (c - a)[:, 2, None]
    return float(heights[inside].max())
