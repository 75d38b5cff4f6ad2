"""The only home of FCL: distance and intersection of two triangle meshes.

1. Only calls that were found right in axis-aligned poses are used: `distance()` and `collide()` between two meshes
   (BVH against BVH). Shapes (cylinder, cone, convex, sphere) give wrong distances or witness points there,
   `continuousCollide` misses hits, overlap depths are meaningless, and meshes are hollow: none of that is used here.
2. Each call gets a fresh result; a reused one keeps its old minimum. Input is tested first, because FCL crashes on
   an empty mesh and accepts a scaled "rotation".
3. Its trees take 400 bytes a triangle. A large mesh is cut into patches, which get trees when they may be the
   nearest; of these the ones that were used last are kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import fcl
import numpy as np

from kinematics.engine.patches import Rows, box_around, nearest_first, patches, turned
from kinematics.errors import EngineError
from kinematics.pose import Array, Pose
from kinematics.solids import Faces, Triangles

WITNESS_SLACK = 1e-6  # mm; the witness points must be this exactly as far apart as the distance says
WHOLE = 50_000  # triangles up to which a mesh gets one tree
KEPT = 200  # trees of patches that a mesh keeps


class MeshTree:
    """Bounding-volume trees over triangles, built once and posed many times."""

    __slots__ = ("_boxes", "_models", "_patches", "_triangles", "n_faces")

    def __init__(self, triangles: Triangles) -> None:
        vertices, faces = triangles.vertices, triangles.faces
        if len(faces) == 0:
            raise EngineError("a mesh without triangles can't be compared")
        if not np.isfinite(vertices).all():
            raise EngineError("a mesh with coordinates that are no numbers can't be compared")
        if faces.min() < 0 or faces.max() >= len(vertices):
            raise EngineError("a mesh whose faces name missing corners can't be compared")
        self.n_faces = len(faces)
        self._triangles = triangles
        self._patches: list[Rows] = []
        self._boxes: Array | None = None
        self._models: dict[int, fcl.BVHModel] = {}
        if self.n_faces <= WHOLE:
            self._models[0] = _model(vertices, faces)
        else:
            self._patches, self._boxes = patches(triangles)

    def posed(self, X_WG: Pose) -> PosedTree:
        """The tree where X_WG puts it."""
        boxes = None if self._boxes is None else turned(self._boxes, X_WG)
        return PosedTree(self, X_WG, boxes)

    def at_origin(self) -> PosedTree:
        """The tree in the frame that its triangles are given in."""
        return PosedTree(self, None, self._boxes)

    def model(self, k: int) -> fcl.BVHModel:
        """The tree of patch k; of all triangles where there are no patches."""
        if not self._patches:
            return self._models[0]
        found = self._models.pop(k, None)
        if found is None:
            used, corners = np.unique(self._triangles.faces[self._patches[k]], return_inverse=True)
            found = _model(self._triangles.vertices[used], corners.reshape(-1, 3).astype(np.int32))
        self._models[k] = found  # the last used is the last; threads may make the same one twice
        for old in list(self._models)[:-KEPT]:
            self._models.pop(old, None)
        return found

    def box(self, X_WG: Pose | None) -> Array:
        """(6,) low and high corner of a box around all triangles."""
        vertices = self._triangles.vertices
        return box_around(vertices if X_WG is None else X_WG.points(vertices))


def _model(vertices: Array, faces: Faces) -> fcl.BVHModel:
    model = fcl.BVHModel()
    model.beginModel(len(faces), len(vertices))
    model.addSubModel(np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces))
    model.endModel()
    return model


class PosedTree:
    """A tree at a pose, None where its triangles are given; keeps the tree alive.

    `boxes` (n, 6) are around its patches; None where there are none.
    """

    __slots__ = ("_X_WG", "_whole", "boxes", "tree")

    def __init__(self, tree: MeshTree, X_WG: Pose | None, boxes: Array | None) -> None:
        self.tree, self._X_WG, self.boxes = tree, X_WG, boxes
        self._whole = self._placed(0) if boxes is None else None

    def part(self, k: int) -> fcl.CollisionObject:
        """Patch k; all of it where there are no patches."""
        return self._whole or self._placed(k)

    def near(self, box: Array) -> Iterator[tuple[float, int, Array]]:
        """Its parts with the boxes around them and how near a box these come at least, the nearest first."""
        if self.boxes is None:
            yield 0.0, 0, self.box()
            return
        for apart, k in nearest_first(self.boxes, box):
            yield apart, k, self.boxes[k]

    def box(self) -> Array:
        """(6,) low and high corner of a box around all of it."""
        if self.boxes is None:
            return self.tree.box(self._X_WG)
        return np.concatenate([self.boxes[:, :3].min(axis=0), self.boxes[:, 3:].max(axis=0)])

    def _placed(self, k: int) -> fcl.CollisionObject:
        X = self._X_WG
        return fcl.CollisionObject(self.tree.model(k), fcl.Transform() if X is None else fcl.Transform(X.R_AB, X.p_AB))


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
    if a.boxes is None and b.boxes is None:
        return _distance(a.part(0), b.part(0))
    best: SurfaceDistance | None = None
    for from_b, i, box in a.near(b.box()):
        if best is not None and from_b >= best.distance:
            break
        for apart, j, _ in b.near(box):
            if best is not None and apart >= best.distance:
                break
            found = _distance(a.part(i), b.part(j))
            if best is None or found.distance < best.distance:
                best = found
            if best.distance <= 0.0:
                return best
    assert best is not None, "a mesh has at least one part"
    return best


def _distance(a: fcl.CollisionObject, b: fcl.CollisionObject) -> SurfaceDistance:
    result = fcl.DistanceResult()
    distance = fcl.distance(a, b, fcl.DistanceRequest(enable_nearest_points=True), result)
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
    if a.boxes is None and b.boxes is None:
        return _cross(a.part(0), b.part(0))
    touching = ((i, box) for apart, i, box in a.near(b.box()) if apart <= 0.0)
    return any(_cross(a.part(i), b.part(j)) for i, box in touching for apart, j, _ in b.near(box) if apart <= 0.0)


def _cross(a: fcl.CollisionObject, b: fcl.CollisionObject) -> bool:
    return bool(fcl.collide(a, b, fcl.CollisionRequest(), fcl.CollisionResult()))
