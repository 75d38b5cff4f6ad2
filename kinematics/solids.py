"""From shapes to triangles: every solid from outside and from inside, at a stated error.

1. A round solid becomes a polygon prism twice: circumscribed (proves a bound) and inscribed (attains
   a value). The sagitta between them and the true circle is at most SAGITTA on either side.
2. The corner count is a multiple of 4 and the first corner lies on +X, so that what is symmetric about
   an axis stays symmetric and ties stay ties.
3. `on_solid` moves a point of the outer triangles to a point of the true solid, by the sagitta at most.
4. A mesh is itself on both sides; a chord error of its file is subtracted from bounds elsewhere.
5. What this file does not know: poses, tools, distances.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kinematics.meshes import Mesh
from kinematics.pose import Array
from kinematics.shapes import Box, MeshShape, Revolve, Screw, Shape, Step, cylinder

SAGITTA = 0.00249  # mm; the polygon's corner and the middle of its side are this close to the circle
Faces = NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Triangles:
    """Vertices (n, 3) and faces (m, 3) of a closed surface, outward corners counter-clockwise."""

    vertices: Array
    faces: Faces


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One part of a solid in the shape's frame G.

    Parameters
    ----------
    outer, inner : triangles that cover the solid, and triangles that lie in it.
    is_convex : then the depth of an overlap can be given.
    mesh : the mesh it is, or None.
    on_solid : moves points (n, 3) of `outer` to points of the solid, by SAGITTA at most.
    """

    outer: Triangles
    inner: Triangles
    is_convex: bool
    mesh: Mesh | None
    on_solid: Callable[[Array], Array]

    @property
    def chord_error(self) -> float:
        return self.mesh.chord_error if self.mesh else 0.0


@lru_cache(maxsize=4096)
def corner_count(radius: float, sagitta: float = SAGITTA) -> int:
    """Corners of the polygon that stands for a circle: a multiple of 4, at least 8."""
    if radius <= 0.0:
        return 8
    # circumscribed: r / cos(pi / n) - r <= sagitta; this bound is the stricter of the two
    half_step = math.acos(radius / (radius + sagitta))
    return max(8, 4 * math.ceil(math.pi / half_step / 4.0))


@lru_cache(maxsize=512)
def unit_polygon(n: int) -> Array:
    """The n corners (n, 2) on the unit circle, the first on +X, exactly symmetric about X and Y."""
    quarter = n // 4
    angles = [math.pi / 2 * i / quarter for i in range(quarter + 1)]
    first = [(math.cos(a), math.sin(a)) for a in angles]
    first[0], first[-1] = (1.0, 0.0), (0.0, 1.0)
    for i in range(quarter // 2 + 1):  # symmetric about the diagonal, to the last bit
        first[quarter - i] = (first[i][1], first[i][0])
    if quarter % 2 == 0:
        first[quarter // 2] = (math.sqrt(0.5), math.sqrt(0.5))
    ring = first[:-1]
    ring = ring + [(-y, x) for x, y in ring]
    ring = ring + [(-x, -y) for x, y in ring]
    corners = np.array(ring, dtype=np.float64) + 0.0
    corners.flags.writeable = False
    return corners


def stacked_rings(rings: list[Array]) -> Triangles:
    """The closed surface over rings (n, 3) of equal corner count, lowest first, each convex and level.

    Rings that shrink to a point or a segment are allowed; triangles without area are dropped.
    """
    n = len(rings[0])
    i = np.arange(n)
    j = np.roll(i, -1)
    parts = [np.column_stack([np.zeros(n - 2, dtype=np.int64), i[2:], i[1:-1]])]
    for k in range(len(rings) - 1):
        low, high = k * n, (k + 1) * n
        parts.append(np.column_stack([low + i, low + j, high + j]))
        parts.append(np.column_stack([low + i, high + j, high + i]))
    top = (len(rings) - 1) * n
    parts.append(np.column_stack([np.full(n - 2, top), top + i[1:-1], top + i[2:]]))
    vertices = np.concatenate(rings)
    faces = np.concatenate(parts)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    keep = (np.abs(np.cross(b - a, c - a)) > 0.0).any(axis=1)
    return Triangles(vertices, faces[keep].astype(np.int32))


def frustum(r1: float, r2: float, h: float, *, base: float = 0.0) -> tuple[Triangles, Triangles]:
    """Outer and inner triangles of a frustum about Z from `base` up: radius r1 at the base, r2 at the top."""
    n = corner_count(max(r1, r2))
    ring = unit_polygon(n)
    grow = 1.0 / math.cos(math.pi / n)

    def at(radius: float, z: float) -> Array:
        return np.column_stack([ring * radius, np.full(n, z)])

    outer = stacked_rings([at(r1 * grow, base), at(r2 * grow, base + h)])
    inner = stacked_rings([at(r1, base), at(r2, base + h)])
    return outer, inner


_BOX_CORNERS = np.array([[x, y, z] for x in (-0.5, 0.5) for y in (-0.5, 0.5) for z in (0.0, 1.0)])
_BOX_FACES = np.array(
    [
        [0, 1, 3], [0, 3, 2],  # -X
        [4, 6, 7], [4, 7, 5],  # +X
        [0, 4, 5], [0, 5, 1],  # -Y
        [2, 3, 7], [2, 7, 6],  # +Y
        [0, 2, 6], [0, 6, 4],  # -Z
        [1, 5, 7], [1, 7, 3],  # +Z
    ],
    dtype=np.int32,
)  # fmt: skip


def pieces(shape: Shape) -> tuple[Piece, ...]:
    """The convex pieces of a shape in its frame G, or its mesh as the one piece."""
    match shape:
        case Box(dx, dy, dz):
            triangles = Triangles(_BOX_CORNERS * (dx, dy, dz), _BOX_FACES)
            return (Piece(triangles, triangles, True, None, _unchanged),)
        case Revolve(steps):
            return _turned(steps, 0.0)
        case Screw(head_d=d, head_h=h, shank_d=shank_d, length=length):
            head = _turned(cylinder(d, h).steps, 0.0)
            return head if length is None else head + _turned((Step(shank_d, shank_d, length),), -length)
        case MeshShape(mesh):
            triangles = Triangles(mesh.vertices, mesh.faces)
            return (Piece(triangles, triangles, False, mesh, _unchanged),)


def _unchanged(points: Array) -> Array:
    return points


def _turned(steps: tuple[Step, ...], base: float) -> tuple[Piece, ...]:
    found = []
    z = base
    for step in steps:
        r1, r2 = step.d1 / 2, step.d2 / 2
        outer, inner = frustum(r1, r2, step.length, base=z)
        found.append(Piece(outer, inner, True, None, OnFrustum(r1, r2, z, z + step.length)))
        z += step.length
    return tuple(found)


@dataclass(frozen=True, slots=True)
class OnFrustum:
    """A point of the frustum about Z, no farther than the sagitta from a point of its circumscribed polygon."""

    r1: float
    r2: float
    z1: float
    z2: float

    def __call__(self, points: Array) -> Array:
        moved = np.array(points, dtype=np.float64)
        rho = np.hypot(moved[:, 0], moved[:, 1])
        z = np.clip(moved[:, 2], self.z1, self.z2)
        allowed = self.r1 + (self.r2 - self.r1) * (z - self.z1) / (self.z2 - self.z1)
        scale = np.where(rho > allowed, allowed / np.maximum(rho, 1e-300), 1.0)
        moved[:, 0] *= scale
        moved[:, 1] *= scale
        moved[:, 2] = z
        return moved
