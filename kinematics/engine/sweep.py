"""A tool-side piece swept by a convex set of tip positions and a straight lift.

1. With the table locked every tool move is a translation, so a cut is the Minkowski sum of a convex
   piece K and a convex set S of tip positions: no time steps, nothing between samples.
2. Everything here is in the tool frame's directions (Z along the spindle); positions are absolute.
3. S is the hull of `points`, extruded `up` and `down` along Z.
4. The mesh of a sweep covers it from outside by the piece's own sagitta; support functions are exact.
5. What this file does not know: obstacles, cuts, verdicts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array
from kinematics.solids import Triangles, corner_count, stacked_rings, unit_polygon

FEW = 64  # corners of which no hull is made
MOST_CORNERS = 320  # of the hull of a mesh; a hull of more is covered by one of fewer
LEVEL = 1e-9  # mm; positions whose heights differ by no more than this are level


@dataclass(frozen=True, slots=True)
class Arc:
    """The true positions that a polygon of positions covers: an arc about `centre`, level, mm."""

    centre: tuple[float, float, float]
    radius: float


@dataclass(frozen=True, slots=True, eq=False)
class Positions:
    """A convex set of tip positions: the hull of `points` (k, 3), each may rise by `up`.

    `down` is how far the stick-out may be off. `arc` is set where the hull covers an arc from outside.
    More than two points must be level and in counter-clockwise order.
    """

    points: Array
    up: float = 0.0
    down: float = 0.0
    arc: Arc | None = None

    @property
    def is_level(self) -> bool:
        z = self.points[:, 2]
        return len(z) == 1 or bool(z.max() - z.min() <= LEVEL)

    def lowered(self, by: float) -> Positions:
        """The same positions with a stick-out that may be longer by `by`."""
        return Positions(self.points, self.up, self.down + by, self.arc)

    def inside(self) -> Positions:
        """A set of none but true positions: of a set that covers an arc, the one where the arc begins."""
        return self if self.arc is None else Positions(self.points[:1], self.up, self.down)

    def ends(self) -> Array:
        """The corners (n, 3) of the set, lifted and lowered as far as they go."""
        return np.concatenate([self.points + (0.0, 0.0, self.up), self.points - (0.0, 0.0, self.down)])

    def supports(self, directions: Array) -> Array:
        """Support values (d,) of the set in the given directions (d, 3)."""
        lift = np.maximum(directions[:, 2] * self.up, -directions[:, 2] * self.down)
        return (self.points @ directions.T).max(axis=0) + lift

    def on_path(self, tip: Array) -> Array:
        """The nearest true position, for a position of the covering set."""
        if self.arc is None:
            return tip
        moved = np.array(tip)
        off = moved[:2] - self.arc.centre[:2]
        length = float(np.hypot(*off))
        if length > 0.0:
            moved[:2] = np.asarray(self.arc.centre[:2]) + off * (self.arc.radius / length)
        return moved


class ToolPiece(Protocol):
    """A convex piece of the tool side, in the frame of the tool tip."""

    part: str

    def supports(self, directions: Array) -> Array: ...

    def swept(self, positions: Positions) -> Triangles: ...

    def inner_swept(self, positions: Positions) -> Triangles: ...


@dataclass(frozen=True, slots=True)
class RoundPiece:
    """A frustum about the spindle axis: radius r1 at height z1 over the tip, r2 at z2.

    `inner` is the frustum that lies inside the real tool where this one covers it from outside.
    """

    part: str
    r1: float
    r2: float
    z1: float
    z2: float

    def supports(self, directions: Array) -> Array:
        """Exact support values of the frustum, (d,) for directions (d, 3)."""
        level = np.hypot(directions[:, 0], directions[:, 1])
        return np.maximum(level * self.r1 + directions[:, 2] * self.z1, level * self.r2 + directions[:, 2] * self.z2)

    def swept(self, positions: Positions) -> Triangles:
        """Triangles around the sweep, from outside, by SAGITTA at most."""
        return self._mesh(positions, 1.0 / math.cos(math.pi / corner_count(max(self.r1, self.r2))))

    def inner_swept(self, positions: Positions) -> Triangles:
        """Triangles inside the sweep."""
        return self._mesh(positions, 1.0)

    def _mesh(self, positions: Positions, grow: float) -> Triangles:
        ring = unit_polygon(corner_count(max(self.r1, self.r2))) * grow
        if positions.is_level:
            return self._level_mesh(positions, ring)
        levels = [
            np.column_stack([ring * r, np.full(len(ring), z)]) for r, z in ((self.r1, self.z1), (self.r2, self.z2))
        ]
        piece = np.concatenate(levels)
        return hull((piece[:, None, :] + positions.ends()[None, :, :]).reshape(-1, 3))

    def _level_mesh(self, positions: Positions, ring: Array) -> Triangles:
        corner, point = _minkowski_order(ring, positions.points[:, :2])
        base = positions.points[point, :2]
        z = positions.points[:, 2]
        low, high = float(z.min()) - positions.down, float(z.max()) + positions.up

        def at(radius: float, height: float) -> Array:
            return np.column_stack([base + ring[corner] * radius, np.full(len(corner), height)])

        rings = [at(self.r1, self.z1 + low)]
        if self.r1 != self.r2 and high > low:
            rings.append(at(self.r2, self.z2 + low) if self.r1 < self.r2 else at(self.r1, self.z1 + high))
        rings.append(at(self.r2, self.z2 + high))
        return stacked_rings(rings)

    def distance_to(self, p_L: Array) -> tuple[float, Array]:
        """Distance from a point (3,) in the tip frame to the frustum, and its nearest point (3,).

        The nearest point lies at the point's own azimuth, so this is a distance in (r, z).
        """
        rho, z = math.hypot(p_L[0], p_L[1]), float(p_L[2])
        near_rho, near_z = _nearest_in_profile(rho, z, self.r1, self.r2, self.z1, self.z2)
        if rho > 0.0:
            nearest = np.array([p_L[0] / rho * near_rho, p_L[1] / rho * near_rho, near_z])
        else:
            nearest = np.array([near_rho, 0.0, near_z])
        return math.hypot(rho - near_rho, z - near_z), nearest

    def middle(self) -> Array:
        """A point well inside, in the tip frame."""
        return np.array([0.0, 0.0, (self.z1 + self.z2) / 2])


def _nearest_in_profile(rho: float, z: float, r1: float, r2: float, z1: float, z2: float) -> tuple[float, float]:
    """The point of the quadrilateral (0, z1), (r1, z1), (r2, z2), (0, z2) nearest to (rho, z), rho >= 0."""
    if z1 <= z <= z2 and rho <= r1 + (r2 - r1) * (z - z1) / (z2 - z1):
        return rho, z
    best = (math.inf, 0.0, 0.0)
    for (ar, az), (br, bz) in (((0.0, z1), (r1, z1)), ((r1, z1), (r2, z2)), ((r2, z2), (0.0, z2))):
        dr, dz = br - ar, bz - az
        length2 = dr * dr + dz * dz
        t = 0.0 if length2 == 0.0 else min(1.0, max(0.0, ((rho - ar) * dr + (z - az) * dz) / length2))
        pr, pz = ar + t * dr, az + t * dz
        best = min(best, (math.hypot(rho - pr, z - pz), pr, pz))
    return best[1], best[2]


@dataclass(frozen=True, slots=True, eq=False)
class PolyPiece:
    """A polyhedron that moves with the spindle (a body of the head), in the tip frame.

    `outer` is convex. Where the body is not, `outer` is its hull and `inner` the body itself: then a
    sweep covers more than the body does, and proves nothing but distance.
    """

    part: str
    outer: Triangles
    inner: Triangles
    is_convex: bool = True

    def supports(self, directions: Array) -> Array:
        """Support values (d,) of the outer polyhedron in directions (d, 3)."""
        return (self.outer.vertices @ directions.T).max(axis=0)

    def swept(self, positions: Positions) -> Triangles:
        return _poly_sweep(self.outer, positions)

    def inner_swept(self, positions: Positions) -> Triangles:
        return _poly_sweep(self.inner, positions)

    def placed(self, positions: Positions) -> tuple[tuple[Array, Triangles], ...]:
        """The body itself at each corner of the positions, with the tip there."""
        return tuple((q, Triangles(self.inner.vertices + q, self.inner.faces)) for q in positions.ends())

    def tip_of(self, p_W: Array, positions: Positions) -> Array:
        """A tip position at which the convex piece holds a point of its sweep (a linear programme)."""
        from scipy.optimize import linprog

        ends, corners = positions.ends(), self.outer.vertices
        n, m = len(corners), len(ends)
        one = np.vstack([np.r_[np.ones(n), np.zeros(m)], np.r_[np.zeros(n), np.ones(m)]])
        made = linprog(
            np.zeros(n + m),
            A_eq=np.vstack([np.hstack([(corners - p_W).T, ends.T]), one]),
            b_eq=np.r_[0.0, 0.0, 0.0, 1.0, 1.0],
        )
        return np.asarray(made.x[n:] @ ends) if made.success else np.array(ends[0])

    def middle(self) -> Array:
        return self.inner.vertices.mean(axis=0)


def _poly_sweep(triangles: Triangles, positions: Positions) -> Triangles:
    ends = positions.ends()
    return hull((triangles.vertices[:, None, :] + ends[None, :, :]).reshape(-1, 3))


def hull(points: Array) -> Triangles:
    """The convex hull of points (n, 3) as outward triangles; raises EngineError where there is none."""
    from scipy.spatial import ConvexHull, QhullError

    from kinematics.errors import EngineError

    try:
        found = ConvexHull(points)
    except QhullError as error:
        raise EngineError("the swept solid has no volume") from error
    faces = found.simplices.copy()
    a, b, c = (points[faces[:, k]] for k in range(3))
    inward = (np.cross(b - a, c - a) * found.equations[:, :3]).sum(axis=1) < 0.0
    faces[inward] = faces[inward][:, ::-1]
    used, renumbered = np.unique(faces, return_inverse=True)
    return Triangles(points[used], renumbered.reshape(faces.shape).astype(np.int32))


def grown_hull(vertices: Array, by: float) -> Triangles:
    """The hull of points (n, 3) and of all that is within `by` of them, from outside: a cube at each."""
    if by == 0.0:
        return hull(vertices)
    cube = np.array([[x, y, z] for x in (-by, by) for y in (-by, by) for z in (-by, by)])
    corners = hull(vertices).vertices
    return hull((corners[:, None, :] + cube).reshape(-1, 3))


def hull_cover(vertices: Array) -> Array:
    """Corners (k, 3) of a convex polyhedron that covers the vertices (n, 3): their hull, or all of them where few.

    Of a hull with very many corners the outermost are taken and spread from their middle until they cover the
    rest: a scan of a round part is covered by MOST_CORNERS corners, some tenths of a millimetre farther out.
    """
    if len(vertices) <= FEW:
        return vertices
    from scipy.spatial import ConvexHull, QhullError

    try:
        corners = vertices[ConvexHull(vertices).vertices]
        if len(corners) <= MOST_CORNERS:
            return np.asarray(corners)
        sizes = np.maximum(np.ptp(corners, axis=0), LEVEL)  # a needle is as well covered as a ball
        chosen = np.unique((corners / sizes @ _spread(MOST_CORNERS).T).argmax(axis=0))
        equations = ConvexHull(corners[chosen]).equations
    except QhullError:
        return vertices
    middle = corners[chosen].mean(axis=0)
    room = -(equations[:, :3] @ middle + equations[:, 3])  # from the middle to each face
    if room.min() <= LEVEL:
        return np.asarray(corners)
    grow = 1.0
    for i in range(0, len(corners), 4096):
        grow = max(grow, float((((corners[i : i + 4096] - middle) @ equations[:, :3].T) / room).max()))
    return np.asarray(middle + (corners[chosen] - middle) * (grow + 1e-12))


@lru_cache(maxsize=1)
def _spread(n: int) -> Array:
    """n unit directions, spread evenly over the sphere along a spiral of the golden angle."""
    i = np.arange(n) + 0.5
    z, turn = 1.0 - 2.0 * i / n, math.pi * (3.0 - math.sqrt(5.0)) * i
    level = np.sqrt(1.0 - z * z)
    return np.column_stack([level * np.cos(turn), level * np.sin(turn), z])


def _from_level(angles: Array) -> Array:
    """Edge angles in (-pi, pi] of a convex polygon from its lowest corner on, from 0 to 2 pi and never falling.

    An edge that lies level but for rounding may point down by some 1e-17: it comes first, not last.
    """
    turned = np.mod(angles, 2 * math.pi)
    back = int(((turned > 0.5 * math.pi) & (turned < 1.5 * math.pi)).argmax())  # from here on it turns back
    turned[:back] = np.where(turned[:back] > 1.5 * math.pi, 0.0, turned[:back])
    return np.asarray(np.maximum.accumulate(turned))


def _minkowski_order(ring: Array, q: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which corner of the ring and which point of q make each corner of their Minkowski sum, in order.

    `q` is a point, a segment or a counter-clockwise convex polygon (k, 2). Edges are merged by angle.
    """
    n, k = len(ring), len(q)
    if k == 1:
        return np.arange(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    ring_edges = np.roll(ring, -1, axis=0) - ring
    q_edges = np.roll(q, -1, axis=0) - q
    ring_angles = np.arctan2(ring_edges[:, 1], ring_edges[:, 0])
    q_angles = np.arctan2(q_edges[:, 1], q_edges[:, 0])
    # start where both polygons have their lowest corner, so that angles run from 0 to 2 pi
    i0 = int(np.lexsort((ring[:, 0], ring[:, 1]))[0])
    j0 = int(np.lexsort((q[:, 0], q[:, 1]))[0])
    ring_turn, q_turn = _from_level(np.roll(ring_angles, -i0)), _from_level(np.roll(q_angles, -j0))
    order = np.argsort(np.concatenate([ring_turn, q_turn]), kind="stable")
    is_ring = order < n
    corner = (i0 + np.concatenate([[0], np.cumsum(is_ring)[:-1]])) % n
    point = (j0 + np.concatenate([[0], np.cumsum(~is_ring)[:-1]])) % k
    return corner, point
