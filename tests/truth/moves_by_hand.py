"""Random cuts in random places, each with what its definition says about it: tips, and how far a point is from them.

The positions here are written down from what a feature means, not from how the product makes them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from kinematics.scene import Body, Face, Feature, Hole, Path, Placement, Pocket, Profile, Slot
from kinematics.shapes import Box, cone, cylinder
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.truth import brute_force
from tests.truth import sampled_moves as sampled
from tests.truth.supports import rotation

FEATURES = (
    "hole", "level slot", "sloping slot", "pocket", "face", "path", "profile outside", "profile inside", "profile on",
)  # fmt: skip
L_SHAPE = np.array([(-20, -15), (20, -15), (20, 0), (2, 0), (2, 15), (-20, 15)], dtype=float)


@dataclass(frozen=True)
class Move:
    """A feature; its tips (n, 3) in W, densely; and the distance of points (n, 3) to its true positions."""

    feature: Feature
    tips: np.ndarray
    gap: Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Obstacle:
    """A body, its surface sampled in W, and the distance of a point in W to the true solid's surface or inside."""

    body: Body
    points: np.ndarray
    gap: Callable[[np.ndarray], float]


def placement_of(R, p, on="table"):
    """A rotation and a point as a scene file says them: an axis, and a turn about it before."""
    axis = R[:, 2]
    x, y, z = axis
    if z < -1 + 1e-12:
        upright = np.diag([1.0, -1.0, -1.0])
    else:
        k = 1.0 / (1.0 + z)
        upright = np.array([[1 - x * x * k, -x * y * k, x], [-x * y * k, 1 - y * y * k, y], [-x, -y, z]])
    turn = upright.T @ R
    degrees = np.degrees(np.arctan2(turn[1, 0], turn[0, 0]))
    return Placement(on, tuple(map(float, p)), float(degrees), tuple(map(float, axis)))


def move(kind, rng, R, c, r):
    """A random feature for a cutter of radius r, in a part whose zero stands at c, turned by R."""
    depth = rng.uniform(0.0, 8.0)
    down = np.array([0.0, 0.0, -depth])
    at = rng.uniform(-30.0, 30.0, 3)
    t = rng.uniform(0.0, 2 * np.pi)
    along = R.T @ (np.cos(t), np.sin(t), 0.0)
    if rng.random() < 0.5:
        along = along + R.T @ (0.0, 0.0, rng.uniform(-1.0, 1.0))  # not quite square to the tool
    axes = sampled.level_axes(R, along)

    def in_W(p):
        return R @ np.asarray(p, dtype=float) + c

    def as_point(p):
        return tuple(map(float, p))

    match kind:
        case "hole":
            tip = in_W(at) + down
            return Move(Hole(as_point(at), depth), tip[None, :], lambda p: np.linalg.norm(p - tip, axis=1))
        case "level slot" | "sloping slot":
            rise = 0.0 if kind == "level slot" else rng.uniform(-15.0, 15.0)
            end = at + R.T @ (*rng.uniform(-30.0, 30.0, 2), rise)
            p, q = in_W(at) + down, in_W(end) + down
            tips = sampled.along_segment(p, q, 300)
            return Move(Slot(as_point(at), as_point(end), depth), tips, lambda x: sampled.segment_gap(x, p, q))
        case "pocket" | "face":
            size = rng.uniform(2 * r, 60.0, 2)
            if rng.random() < 0.3:
                size[rng.integers(2)] = 2 * r  # as wide as the cutter
            if kind == "pocket":
                centre, half = in_W(at) + down, size / 2 - r
                feature = Pocket(as_point(at), as_point(size), as_point(along), depth)
            else:
                centre, half = in_W(at), size / 2 + r
                feature = Face(as_point(at), as_point(size), as_point(along))
            tips = sampled.rectangle(centre, half, axes, 21)
            return Move(feature, tips, lambda p: sampled.rectangle_gap(p, centre, half, axes))
        case "path":
            points = [at]
            for _ in range(int(rng.integers(1, 8))):
                points.append(points[-1] + rng.uniform(-15.0, 15.0, 3) * rng.choice([0, 1], 3))
            ends = [in_W(p) for p in points]
            tips = np.concatenate([sampled.along_segment(p, q, 60) for p, q in pairwise(ends)])
            return Move(
                Path(tuple(as_point(p) for p in points)),
                tips,
                lambda x: np.min([sampled.segment_gap(x, p, q) for p, q in pairwise(ends)], axis=0),
            )
    side = kind.split()[1]
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=float)
    outline = L_SHAPE if rng.random() < 0.6 else square * rng.uniform(r + 1.0, 30.0, 2)
    if rng.random() < 0.3:
        outline = outline[::-1]
    centre = in_W(at) + down
    off = 0.0 if side == "on" else r
    q = (
        np.vstack([sampled.along_segment(a, b, 60) for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)])
        if side == "on"
        else sampled.beside_outline(outline, r, side, 60)
    )

    def gap(p):
        d = p - centre
        beside = np.abs(sampled.outline_gap(np.column_stack([d @ axes[0], d @ axes[1]]), outline) - off)
        return np.hypot(beside, d[:, 2])

    feature = Profile(tuple(as_point(p) for p in outline), as_point(at), side, depth, as_point(along))
    return Move(feature, centre + q[:, :1] * axes[0] + q[:, 1:] * axes[1], gap)


def obstacle(rng, p, pose):
    """A random solid with its base at p in W."""
    d = rng.uniform(2.0, 50.0, 3)
    R = rotation(rng, pose)
    frustum = None
    match int(rng.integers(4)):
        case 0:
            mesh, shape = brute_force.box_mesh(d, (-d[0] / 2, -d[1] / 2, 0.0)), Box(*map(float, d))
        case 1:
            mesh, shape = brute_force.prism_mesh(96, d[0] / 2, d[0] / 2, d[1]), cylinder(float(d[0]), float(d[1]))
            frustum = (d[0] / 2, d[0] / 2, 0.0, d[1])
        case 2:
            mesh, shape = brute_force.prism_mesh(96, d[0] / 2, d[2] / 2, d[1]), cone(*map(float, (d[0], d[2], d[1])))
            frustum = (d[0] / 2, d[2] / 2, 0.0, d[1])
        case _:
            mesh = brute_force.joined(
                brute_force.box_mesh((40.0, 8.0, 8.0), (-20.0, -4.0, 0.0)),
                brute_force.prism_mesh(9, 5.0, 3.0, 20.0, (15.0, 0.0, 8.0)),
                brute_force.box_mesh((6.0, 6.0, 25.0), (-20.0, -3.0, 8.0)),
            )
            shape = mesh_shape(*mesh)

    def gap(x):
        local = (x - p) @ R
        if frustum is not None:
            return float(brute_force.frustum_distance(local[None, :], *frustum)[0])
        a, b, c = mesh[0][mesh[1]].swapaxes(0, 1)
        on = brute_force.nearest_on_triangles(np.broadcast_to(local, a.shape), a, b, c)
        return float(np.linalg.norm(on - local, axis=1).min())

    points = brute_force.surface_points((mesh[0] @ R.T + p, mesh[1]), 2.0)
    return Obstacle(Body("obstacle", placement_of(R, p), shape), points, gap)
