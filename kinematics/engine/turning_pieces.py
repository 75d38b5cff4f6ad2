"""The pieces of a swing: what turns, with the exact extent of its arcs, and what stands still.

1. Under one axis a point runs on a circle, and its extent along a direction is a sine: its least value
   over a stretch of angles is exact. A body stays within the hull of its corners' arcs.
2. Under two axes the arcs of the second are exact at both ends of the first axis's stretch; between
   them a point stays within ``r (1 - cos(half width))`` of the chord, square to the first axis, where r
   is its own largest distance from that axis.
3. The hull of a mesh fills its notches. Where that hides how near it is, the mesh is taken in two halves
   of its surface, again and again. Surface tells of crossing only: whether one solid lies inside the
   other is told once, by the whole meshes.
4. What this file does not know: how a search is made, tools, machines.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from kinematics.engine.fcl_engine import MeshTree, PosedTree
from kinematics.engine.pair import DIRECTIONS, TreeCache
from kinematics.engine.sweep import hull_cover
from kinematics.meshes import Mesh
from kinematics.pose import Array, Pose, Vector, cos_sin_deg, shift, turn_about
from kinematics.solids import Piece, Triangles

Box = tuple[tuple[float, float], ...]  # (low, high) in degrees for each axis that moves the body
MOST_KEPT = 4096  # boxes of a piece whose extents are kept
N_AROUND = 24  # planes along an axis by which it is told how near a piece comes to it
RING_DEG = 15.0  # between the places at which the farthest reach about the first axis is looked for


@dataclass(frozen=True, slots=True)
class TurnAxis:
    """A rotary axis in its parent's frame: a point on it and its unit direction."""

    origin: Vector
    direction: Vector

    def pose(self, angle_deg: float) -> Pose:
        return _axis_pose(self, angle_deg)


@lru_cache(maxsize=65536)
def _axis_pose(axis: TurnAxis, angle_deg: float) -> Pose:
    return shift("A", "B", axis.origin) @ turn_about("B", "A", axis.direction, angle_deg)


@dataclass(frozen=True, slots=True)
class Drum:
    """A solid of revolution about an axis, around all that a piece sweeps: its radius, and its ends along the axis."""

    radius: float
    low: float
    high: float


class StillPiece:
    """A piece on the side that does not turn: a swept tool piece, or a piece of a standing body.

    Parameters
    ----------
    supports : function of directions (d, 3) -> (d,), of a convex cover of the piece.
    outer : makes its outer triangles. Made when first needed, since most pieces are never near.
    inner : makes triangles within the true piece; contact with any of them is proven contact.
    attained : for a point of the turning solid and the point of `outer` nearest to it, a true point of
        the piece near the latter.
    mesh : the mesh that it is, or None.
    corners : makes a point (k, 3) of each connected part of `outer`; None where it is one part.
    is_loose : `outer` is the hull of something hollow that moves, so that being in it proves nothing.
    is_part : it is some of the surface of `mesh`.
    """

    def __init__(
        self,
        part: str,
        supports: Callable[[Array], Array],
        outer: Callable[[], Triangles],
        inner: Callable[[], tuple[Triangles, ...]],
        attained: Callable[[Array, Array], Array],
        *,
        mesh: Mesh | None = None,
        corners: Callable[[], Array] | None = None,
        is_loose: bool = False,
        is_part: bool = False,
    ) -> None:
        self.part, self.supports, self.attained, self.mesh = part, supports, attained, mesh
        self.is_loose, self.is_part = is_loose, is_part
        self._make_outer, self._make_inner, self._make_corners = outer, inner, corners
        self._outer: Triangles | None = None
        self._tree: PosedTree | None = None
        self._ready: Array | None = None
        self._beside: dict[TurnAxis, tuple[float, float, float]] = {}
        self._halves: tuple[StillPiece, ...] | None = None

    @property
    def ready_supports(self) -> Array:
        """Its supports in DIRECTIONS."""
        if self._ready is None:
            self._ready = self.supports(DIRECTIONS)
        return self._ready

    @property
    def outer(self) -> Triangles:
        if self._outer is None:
            self._outer = self._make_outer()
        return self._outer

    @property
    def inner(self) -> tuple[Triangles, ...]:
        return self._make_inner()

    @property
    def tree(self) -> PosedTree:
        if self._tree is None:
            self._tree = MeshTree(self.outer).at_origin()
        return self._tree

    @property
    def corners(self) -> Array:
        return self.outer.vertices[:1] if self._make_corners is None else self._make_corners()

    @property
    def chord_error(self) -> float:
        return self.mesh.chord_error if self.mesh else 0.0

    def from_drum(self, axis: TurnAxis, drum: Drum) -> float:
        """A lower bound of its distance from a drum about an axis."""
        found = self._beside.get(axis)
        if found is None:
            directions = _around(axis.direction)
            reach = self.supports(directions) - directions @ np.asarray(axis.origin)
            # along the axis and against it; then how near the axis it comes, by planes along the axis
            found = self._beside[axis] = (float(-reach[2:].min()), -float(reach[1]), float(reach[0]))
        away, low, high = found
        off, gap = max(away - drum.radius, 0.0), max(drum.low - high, low - drum.high, 0.0)
        return math.hypot(off, gap)

    def halves(self) -> tuple[StillPiece, ...]:
        """Two halves of the surface of a mesh; none of anything else, or of one triangle."""
        if self._halves is None:
            self._halves = tuple(map(self._part, surface_halves(self.outer))) if self.mesh else ()
        return self._halves

    def _part(self, some: Triangles) -> StillPiece:
        return StillPiece(
            self.part,
            VertexSupports(hull_cover(some.vertices)),
            lambda: some,
            lambda: (some,),
            self.attained,
            mesh=self.mesh,
            corners=self._make_corners,
            is_part=True,
        )


@dataclass(frozen=True, slots=True, eq=False)
class VertexSupports:
    """Supports of the hull of vertices (n, 3)."""

    vertices: Array

    def __call__(self, directions: Array) -> Array:
        return np.asarray((self.vertices @ directions.T).max(axis=0))


def surface_halves(surface: Triangles) -> tuple[Triangles, ...]:
    """The triangles of a surface in two halves, cut across its longest side; none of one triangle."""
    vertices, faces = surface.vertices, surface.faces
    if len(faces) < 2:
        return ()
    middles = vertices[faces].mean(axis=1)
    order = np.argsort(middles[:, int(np.ptp(middles, axis=0).argmax())], kind="stable")
    found = []
    for chosen in (order[: len(order) // 2], order[len(order) // 2 :]):
        used, renumbered = np.unique(faces[chosen], return_inverse=True)
        found.append(Triangles(vertices[used], renumbered.reshape(-1, 3).astype(np.int32)))
    return tuple(found)


@lru_cache(maxsize=64)
def _around(direction: Vector) -> Array:
    """Unit directions (n, 3): along an axis, against it, and square to it all round."""
    a = np.asarray(direction)
    u = np.cross(a, np.eye(3)[int(np.abs(a).argmin())])
    u /= np.linalg.norm(u)
    v = np.cross(a, u)
    turns = np.arange(N_AROUND) * (2.0 * math.pi / N_AROUND)
    return np.vstack([a, -a, np.outer(np.cos(turns), u) + np.outer(np.sin(turns), v)])


class TurningPiece:
    """A piece of a body that the axes carry: its hull for bounds, its triangles for distances.

    Parameters
    ----------
    X_CG : pose of the piece in the frame C that the last of `axes` carries.
    axes : one or two axes, the first first.
    is_part : it is some of the surface of its mesh.
    """

    def __init__(
        self, piece: Piece, X_CG: Pose, axes: Sequence[TurnAxis], trees: TreeCache, *, is_part: bool = False
    ) -> None:
        self.piece, self.is_part = piece, is_part
        self.X_CG = X_CG.relabelled("A", "G")
        self.axes = tuple(axes)
        self._trees = trees
        self.hull_G = piece.outer.vertices if piece.is_convex else trees.cover_of(piece)
        self._circles = _Circles(self.X_CG.points(self.hull_G), self.axes[-1])
        self.reach = self._reach() if len(self.axes) == 2 else self._circles.radii
        self.radii = tuple(float(r.max()) for r in (self.reach, self._circles.radii)[: len(self.axes)])
        self.drum = self._drum()
        self._lows: dict[Box, Array] = {}
        self._halves: tuple[TurningPiece, ...] | None = None

    def halves(self) -> tuple[TurningPiece, ...]:
        """Two halves of the surface of a mesh; none of anything else, or of one triangle."""
        if self._halves is None:
            parts = surface_halves(self.piece.outer) if self.piece.mesh else ()
            pieces = [replace(self.piece, outer=part, inner=part) for part in parts]
            self._halves = tuple(TurningPiece(p, self.X_CG, self.axes, self._trees, is_part=True) for p in pieces)
        return self._halves

    def _drum(self) -> Drum:
        """All that it sweeps, over every angle, as a drum about its first axis; heights from that axis' origin."""
        low, high = self._circles.along(np.asarray(self.axes[0].direction))
        if len(self.axes) == 1:
            origin = float(np.asarray(self.axes[0].origin) @ np.asarray(self.axes[0].direction))
            low, high = low - origin, high - origin
        return Drum(float(self.reach.max()), low, high)

    def _reach(self) -> Array:
        """For each corner its largest distance (n,) from the first axis, wherever the second stands."""
        first, last = self.axes
        turns, a = [last.pose(float(angle)) for angle in np.arange(0.0, 360.0, RING_DEG)], np.asarray(first.direction)
        p_C = self._circles.points @ np.array([X.R_AB.T for X in turns]) + np.array([X.p_AB for X in turns])[:, None, :]
        off = p_C - (p_C @ a)[:, :, None] * a  # (n_turns, n, 3), square to the first axis
        reach = np.sqrt((off**2).sum(axis=2).max(axis=0))
        return np.asarray(reach + self._circles.radii * (1.0 - cos_sin_deg(RING_DEG / 2)[0]))

    def pose(self, angles_deg: Sequence[float]) -> Pose:
        """X_BG: the piece in the frame of the still side."""
        X = self.X_CG
        for axis, angle in zip(reversed(self.axes), reversed(list(angles_deg)), strict=True):
            X = axis.pose(angle) @ X
        return X

    def lows(self, box: Box, directions: Array) -> Array:
        """A lower bound (d,) of the extent along unit directions (d, 3), over the piece and the box.

        For one axis, and for the second of two, it is the extent of the hull of the arcs.
        """
        if len(self.axes) == 1:
            return np.asarray(self._circles.lows(box[0], directions).min(axis=0))
        first = self.axes[0]
        lo, hi = box[0]
        ends = []
        for angle in {lo, hi}:
            X = first.pose(angle)
            ends.append(self._circles.lows(box[1], directions @ X.R_AB) + directions @ X.p_AB)
        off_chord = 1.0 - cos_sin_deg(min((hi - lo) / 2, 180.0))[0]
        if off_chord == 0.0:
            return np.asarray(ends[0].min(axis=0))
        across = np.sqrt(np.maximum(1.0 - (directions @ np.asarray(first.direction)) ** 2, 0.0))
        return np.asarray((np.minimum(*ends) - np.outer(off_chord * self.reach, across)).min(axis=0))

    def lows_in_directions(self, box: Box) -> Array:
        """`lows` in DIRECTIONS, kept: the same boxes come again with every tool piece and every lift."""
        found = self._lows.get(box)
        if found is None:
            if len(self._lows) >= MOST_KEPT:
                self._lows.clear()
            found = self._lows[box] = self.lows(box, DIRECTIONS)
        return found

    def moved(self, box: Box) -> float:
        """How far any point can be from where it is in the middle of the box."""
        return sum(
            2.0 * r * math.sin(math.radians(min((hi - lo) / 4, 90.0)))
            for r, (lo, hi) in zip(self.radii, box, strict=True)
        )

    def half_boxes(self, box: Box) -> tuple[Box, Box]:
        """Two halves of a box, across the axis that moves the piece farther."""
        moves = [r * (hi - lo) for r, (lo, hi) in zip(self.radii, box, strict=True)]
        return halved(box, int(np.argmax(moves)))

    def off_chord(self, box: Box) -> float:
        """How far a point can be off the chord between where it is at the two ends of each axis."""
        return sum(
            r * (1.0 - cos_sin_deg(min((hi - lo) / 2, 180.0))[0]) for r, (lo, hi) in zip(self.radii, box, strict=True)
        )

    def outer_at(self, X: Pose) -> PosedTree:
        return self._trees.of(self.piece.outer).posed(X)

    def inner_at(self, X: Pose) -> PosedTree:
        return self._trees.of(self.piece.inner).posed(X)

    def component_points(self) -> Array:
        return self._trees.component_points(self.piece) if self.piece.mesh else self.piece.outer.vertices[:1]


def halved(box: Box, axis: int) -> tuple[Box, Box]:
    """A box of angles cut in the middle of one axis."""
    lo, hi = box[axis]
    middle = (lo + hi) / 2
    return (*box[:axis], (lo, middle), *box[axis + 1 :]), (*box[:axis], (middle, hi), *box[axis + 1 :])


class _Circles:
    """Points (n, 3) of the frame that an axis carries, and the circles on which it turns them.

    That frame has its origin on the axis. ``extent(angle) = level + c cos + s sin`` along a direction.
    """

    def __init__(self, points: Array, axis: TurnAxis) -> None:
        a = np.asarray(axis.direction)
        along = (points @ a)[:, None] * a
        self.points = points
        self._centres = np.asarray(axis.origin) + along
        self._c, self._s = points - along, points @ _cross_with(axis.direction)
        self.radii = np.sqrt((self._c**2).sum(axis=1))

    def along(self, direction: Array) -> tuple[float, float]:
        """Least and greatest extent of all circles along a unit direction of the parent's frame."""
        level, off = self._centres @ direction, np.hypot(self._c @ direction, self._s @ direction)
        return float((level - off).min()), float((level + off).max())

    def lows(self, stretch: tuple[float, float], directions: Array) -> Array:
        """Least extent (n, d) of each point's arc over a stretch in degrees, in the parent's frame."""
        lo, hi = stretch
        level, c, s = (part @ directions.T for part in (self._centres, self._c, self._s))
        cos_lo, sin_lo = cos_sin_deg(lo)
        if hi == lo:
            return np.asarray(level + c * cos_lo + s * sin_lo)
        if hi - lo >= 360.0:
            return np.asarray(level - np.hypot(c, s))
        cos_hi, sin_hi = cos_sin_deg(hi)
        ends = np.minimum(c * cos_lo + s * sin_lo, c * cos_hi + s * sin_hi)
        if hi - lo < 180.0:  # it falls at the lower end and rises at the upper: the least value lies between
            is_between = (s * cos_lo < c * sin_lo) & (s * cos_hi > c * sin_hi)
        else:
            is_between = np.mod(np.degrees(np.arctan2(-s, -c)) - lo, 360.0) <= hi - lo
        return np.asarray(level + np.where(is_between, -np.hypot(c, s), ends))


@lru_cache(maxsize=64)
def _cross_with(a: Vector) -> Array:
    """The matrix that turns rows of points p into rows of a x p."""
    x, y, z = a
    return np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])


def is_coaxial(X_CG: Pose, axis: TurnAxis) -> bool:
    """Whether a solid of revolution about its own Z (pose X_CG in the carried frame) turns on itself."""
    lean = _cross(X_CG.direction((0.0, 0.0, 1.0)), axis.direction)
    off = _cross(X_CG.origin(), axis.direction)  # the frame that the axis carries has its origin on the axis
    return math.hypot(*lean) < 1e-12 and math.hypot(*off) < 1e-9


def _cross(u: Vector, v: Vector) -> Vector:
    return (u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0])
