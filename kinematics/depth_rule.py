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
SLACK = 1e-6  # mm, so that a flute as long as the depth is long enough


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

    Triangles are clipped by the polygon (Sutherland and Hodgman, 1974), the highest first.
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
    candidates = corners[near]
    for i in np.argsort(-tops[near], kind="stable"):
        triangle = candidates[i]
        if triangle[:, 2].max() <= best:
            break
        clipped = _clipped(triangle, region)
        if len(clipped):
            best = max(best, float(clipped[:, 2].max()))
    return best


def _clipped(polygon: Array, region: Array) -> Array:
    """A polygon in space (n, 3), clipped to the vertical prism over a convex region (k, 2)."""
    edges = np.roll(region, -1, axis=0) - region
    # edges that cut nothing off are skipped at once
    side = edges[:, 0, None] * (polygon[None, :, 1] - region[:, 1, None]) - edges[:, 1, None] * (
        polygon[None, :, 0] - region[:, 0, None]
    )
    for k in np.nonzero((side < 0.0).any(axis=1))[0]:
        if len(polygon) == 0:
            break
        ex, ey = edges[k]
        s = ex * (polygon[:, 1] - region[k, 1]) - ey * (polygon[:, 0] - region[k, 0])
        kept = []
        for j in range(len(polygon)):
            p, sp = polygon[j - 1], s[j - 1]
            q, sq = polygon[j], s[j]
            if (sp >= 0.0) != (sq >= 0.0):
                kept.append(p + (q - p) * (sp / (sp - sq)))
            if sq >= 0.0:
                kept.append(q)
        polygon = np.array(kept).reshape(-1, 3)
    return polygon
