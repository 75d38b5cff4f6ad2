"""The only home of FCL: distance and intersection of two triangle meshes.

Only calls that were found right in axis-aligned poses are used: `distance()` and `collide()` between
two meshes (BVH against BVH). Shapes (cylinder, cone, convex, sphere) give wrong distances or witness
points there, `continuousCollide` misses hits, overlap depths are meaningless, and meshes are hollow:
none of that is used here. Each call gets a fresh result; a reused one keeps its old minimum. Input is
tested first, because FCL crashes on an empty mesh and accepts a scaled "rotation".
"""

from __future__ import annotations

from dataclasses import dataclass

import fcl
import numpy as np

from kinematics.errors import EngineError
from kinematics.pose import Array, Pose
from kinematics.solids import Triangles

WITNESS_SLACK = 1e-6  # mm; the witness points must be this exactly as far apart as the distance says


class MeshTree:
    """A bounding-volume tree over triangles, built once and posed many times."""

    __slots__ = ("_model", "n_faces")

    def __init__(self, triangles: Triangles) -> None:
        vertices, faces = triangles.vertices, triangles.faces
        if len(faces) == 0:
            raise EngineError("a mesh without triangles can't be compared")
        if not np.isfinite(vertices).all():
            raise EngineError("a mesh with coordinates that are no numbers can't be compared")
        if faces.min() < 0 or faces.max() >= len(vertices):
            raise EngineError("a mesh whose faces name missing corners can't be compared")
        model = fcl.BVHModel()
        model.beginModel(len(faces), len(vertices))
        model.addSubModel(np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces))
        model.endModel()
        self._model = model
        self.n_faces = len(faces)

    def posed(self, X_WG: Pose) -> PosedTree:
        """The tree where X_WG puts it."""
        return PosedTree(fcl.CollisionObject(self._model, fcl.Transform(X_WG.R_AB, X_WG.p_AB)), self)

    def at_origin(self) -> PosedTree:
        """The tree in the frame that its triangles are given in."""
        return PosedTree(fcl.CollisionObject(self._model, fcl.Transform()), self)


@dataclass(frozen=True, slots=True, eq=False)
class PosedTree:
    """A tree at a pose; keeps the tree alive."""

    fcl_object: fcl.CollisionObject
    tree: MeshTree


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceDistance:
    """Distance of two surfaces, mm, and the two points that attain it. 0: they cross or touch."""

    distance: float
    p_a: Array
    p_b: Array


def surface_distance(a: PosedTree, b: PosedTree) -> SurfaceDistance:
    """Distance between two surfaces, with witness points on a and on b.

    Raises EngineError where the answer contradicts itself; the caller then says "not checked".
    The surfaces are hollow: a body inside another is at a distance from it.
    """
    result = fcl.DistanceResult()
    distance = fcl.distance(a.fcl_object, b.fcl_object, fcl.DistanceRequest(enable_nearest_points=True), result)
    if not np.isfinite(distance):
        raise EngineError("the distance is not a number")
    if distance <= 0.0:
        return SurfaceDistance(0.0, np.zeros(3), np.zeros(3))
    p_a, p_b = (np.array(p, dtype=np.float64) for p in result.nearest_points)
    apart = float(np.linalg.norm(p_a - p_b))
    if not abs(apart - distance) <= WITNESS_SLACK:
        raise EngineError(f"the nearest points are {apart:g} mm apart, the distance says {distance:g}")
    return SurfaceDistance(float(distance), p_a, p_b)


def surfaces_cross(a: PosedTree, b: PosedTree) -> bool:
    """Whether two surfaces have a point in common."""
    return bool(fcl.collide(a.fcl_object, b.fcl_object, fcl.CollisionRequest(), fcl.CollisionResult()))
