"""Scenes for the tests of envelope and polar: bodies, position sets and stacks, and what the exact leaf says of them.

The reference takes every triangle, every position set and every frustum by itself and keeps the least answer: no bins,
no trees, no sectors. The leaf itself is proven case by case in `test_exact_leaf.py`. Sampling is plain numpy.
"""

import math
from dataclasses import dataclass

import numpy as np

from kinematics.engine.envelope import NearBody
from kinematics.engine.exact_leaf import triangle_least
from kinematics.engine.sweep import Positions
from kinematics.engine.triangle_tree import triangle_tree
from kinematics.pose import Pose, identity
from kinematics.solids import Triangles
from tests.truth import brute_force
from tests.truth.leaf_cases import TRIANGLES, tips_of, triangle_of

SETS = ("point", "level segment", "sloping segment", "upright segment", "no segment", "rectangle", "polygon",
        "flat polygon")  # fmt: skip


@dataclass(frozen=True)
class Step:
    """A frustum: radius r1 at height z1, r2 at z2."""

    r1: float
    r2: float
    z1: float
    z2: float


NUT = Step(8.0, 8.0, 0.0, 12.0)
HOLDER = (
    Step(6.0, 8.0, 0.0, 3.0),
    Step(8.0, 8.0, 3.0, 12.0),
    Step(12.0, 12.0, 12.0, 20.0),
    Step(12.0, 7.0, 20.0, 40.0),
)


def body(mesh, *, name="body", subtract=0.0, error=0.0, is_solid=False, X_WG=None):
    vertices, faces = mesh
    tree = triangle_tree(Triangles(np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.int32)))
    return NearBody(name, tree, X_WG or identity("W", "G"), subtract, error, is_solid)


def soup(triangles):
    """Triangles (n, 3, 3) as a mesh that shares no corners."""
    triangles = np.asarray(triangles, dtype=float)
    return triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3)


def turned(degrees, shift=(0.0, 0.0, 0.0), axis=2):
    """A pose of G in W: turned about an axis of W, then moved."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    R = np.eye(3)
    a, b = (axis + 1) % 3, (axis + 2) % 3
    R[a, a], R[a, b], R[b, a], R[b, b] = c, -s, s, c
    return Pose("W", "G", R, np.asarray(shift, dtype=float))


def triangles_of(near):
    """The triangles (n, 3, 3) of a body in W, in its own order."""
    faces = np.zeros_like(near.tree.faces)
    faces[near.tree.order] = near.tree.faces
    return near.X_WG.points(near.tree.vertices)[faces]


def random_scene(rng, is_aligned, n_triangles, kinds=SETS, n_sets=1):
    """Triangles of all the awkward kinds round the tips of some position sets, half of them with a lift."""
    sets, triangles = [], []
    at = rng.integers(-300, 300, 3) if is_aligned else rng.uniform(-300, 300, 3)
    for _ in range(n_sets):
        tips = tips_of(rng, str(rng.choice(kinds)), is_aligned)
        tips = 0.5 * tips if not is_aligned else tips
        sets.append(Positions(tips + at, up=float(rng.choice([0.0, 0.0, 3.0, 25.0]))))
        for _ in range(n_triangles):
            made = triangle_of(rng, str(rng.choice(TRIANGLES)), is_aligned, tips, np.array([(8.0, 0.0), (8.0, 40.0)]))
            off = rng.uniform(-50, 50, 3) + (0.0, 0.0, 15.0)
            off = off.round() if is_aligned else off
            triangles.append(made + off + sets[-1].points[rng.integers(len(tips))])
    return sets, soup(triangles)


def rows_of(step, shift=0.0):
    """The profile of one frustum as the leaf wants it: (n, 2) with its widest point twice, and the row of the first."""
    ends = [(step.r1, step.z1 + shift), (step.r2, step.z2 + shift)]
    widest = 1 if step.r2 > step.r1 else 0
    ends.insert(widest, ends[widest])
    return np.array(ends), widest


def exact(profile, bodies, sets, *, shift=0.0, down=0.0, ups=None):
    """The least clearance less `subtract`: every frustum, body, triangle and set by itself. -inf on contact."""
    best = math.inf
    ups = [s.up for s in sets] if ups is None else ups
    for near in bodies:
        triangles = np.ascontiguousarray(triangles_of(near))
        for step in profile:
            rows, split = rows_of(step, shift)
            for s, up in zip(sets, ups, strict=True):
                points = np.ascontiguousarray(s.points, dtype=float)
                for t in triangles:
                    d = triangle_least(rows, 0, 2, split, down, up, t, points, 0, len(points), math.inf)[0]
                    best = min(best, d - near.subtract if d > 0.0 else -math.inf)
    return best


def tool_sees(mesh, sets, n):
    """Points (k, 3) of a body as the tool sees them, spread over triangles and positions, with the lift of each."""
    u, v = (a.ravel() / n for a in np.meshgrid(np.arange(n + 1), np.arange(n + 1)))
    u, v = u[u + v <= 1.0 + 1e-9, None], v[u + v <= 1.0 + 1e-9, None]
    found, lifts = [], []
    for s in sets:
        p = s.points
        q = p if len(p) < 2 else p[0] + np.linspace(0.0, 1.0, n + 1)[:, None] * (p[1] - p[0])
        if len(p) > 2:  # the fan of triangles over a polygon
            q = np.concatenate([p[0] + u * (p[k] - p[0]) + v * (p[k + 1] - p[0]) for k in range(1, len(p) - 1)])
        for a, b, c in mesh[0][mesh[1]]:
            seen = ((a + u * (b - a) + v * (c - a))[:, None, :] - q[None]).reshape(-1, 3)
            found.append(seen)
            lifts.append(np.full(len(seen), s.up))
    return np.concatenate(found), np.concatenate(lifts)


def sampled_distance(points, lifts, step, down=0.0):
    """Distance of points (k, 3) to a frustum that is swept by `down` and by the lift of each point."""
    rise = np.clip(points[:, 2] - step.z2, -down, lifts)
    best = np.full(len(points), np.inf)
    for share in np.linspace(0.0, 1.0, 25):
        at = np.clip(points[:, 2] - (step.z1 + share * (step.z2 - step.z1)), -down, lifts)
        for h in (rise, at):
            moved = points - np.column_stack([np.zeros(len(points)), np.zeros(len(points)), h])
            best = np.minimum(best, brute_force.frustum_distance(moved, step.r1, step.r2, step.z1, step.z2))
    return best
