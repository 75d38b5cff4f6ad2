"""What the engine is measured against: a general distance library, mesh against mesh, used as well as it can be.

1. The tool is the surface of revolution of its outline with 64 sides, corners on the true circle: never nearer than
   the true tool, and by no more than r (1 - cos(pi / 64)), 0.03 mm at the widest tool here.
2. Both trees are built beforehand and the obstacle is posed beforehand; only the query is timed, with its witness.
3. This file is not to be made slower, nor faster: it is the yardstick.

Library: FCL (Flexible Collision Library, J. Pan, S. Chitta, D. Manocha, ICRA 2012) through python-fcl.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import fcl
import numpy as np

SIDES = 64


def lathe(outline: Sequence[tuple[float, float]], sides: int = SIDES) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of the outline (r, z) turned about Z, from its lowest point to its highest, closed at both."""
    angles = 2 * math.pi * np.arange(sides) / sides
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    rings = [np.column_stack([circle * r, np.full(sides, z)]) for r, z in outline]
    ends = np.array([[0.0, 0.0, outline[0][1]], [0.0, 0.0, outline[-1][1]]])
    low, high = sides * len(rings), sides * len(rings) + 1
    here = np.arange(sides)
    after = (here + 1) % sides
    faces = [np.column_stack([after, here, np.full(sides, low)])]
    for k in range(len(rings) - 1):
        a, b = here + k * sides, after + k * sides
        faces += [np.column_stack([a, b, b + sides]), np.column_stack([a, b + sides, a + sides])]
    last = (len(rings) - 1) * sides
    faces.append(np.column_stack([here + last, after + last, np.full(sides, high)]))
    return np.concatenate([*rings, ends]), np.concatenate(faces).astype(np.int32)


def model(vertices: np.ndarray, faces: np.ndarray) -> fcl.BVHModel:
    """The library's tree over triangles."""
    built = fcl.BVHModel()
    built.beginModel(len(faces), len(vertices))
    built.addSubModel(np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces))
    built.endModel()
    return built


def posed(built: fcl.BVHModel, R: np.ndarray, p: np.ndarray) -> fcl.CollisionObject:
    return fcl.CollisionObject(built, fcl.Transform(R, p))


def distance(tool: fcl.CollisionObject, obstacle: fcl.CollisionObject) -> float:
    """The query that is timed."""
    return fcl.distance(tool, obstacle, fcl.DistanceRequest(enable_nearest_points=True), fcl.DistanceResult())


def distance_and_points(tool: fcl.CollisionObject, obstacle: fcl.CollisionObject) -> tuple[float, np.ndarray]:
    """The distance and the two nearest points (2, 3), not timed."""
    result = fcl.DistanceResult()
    found = fcl.distance(tool, obstacle, fcl.DistanceRequest(enable_nearest_points=True), result)
    return found, np.array(result.nearest_points)
