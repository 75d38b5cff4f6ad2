"""Clearance while the table turns: best-first over boxes of angles, certified, all pairs at once.

1. Two table axes do not finish together, so the whole box of angles is covered, not a line in it.
2. Over a box a body stays within the hull of its four corner positions, widened by
   ``rho (1 - cos(half width))`` for each axis (the arc leaves its chord by no more than that).
   Support planes against that hull give a bound that is exact to the second order.
3. What turns about its own axis does not move. For what the second axis carries, its solid of
   revolution about that axis is tried first: it is still under that axis.
4. Meshes that are not convex also get a first-order bound: the distance in the middle of the box, less
   how far any point can have moved from there.
5. All pairs share one upper bound; boxes that can't beat it are never opened.
6. What this file does not know: machines, cuts, verdicts.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from kinematics.engine.fcl_engine import MeshTree, PosedTree, surface_distance
from kinematics.engine.pair import DIRECTIONS, ROUNDING, TreeCache, as_mesh, has_inside
from kinematics.meshes import Mesh
from kinematics.pose import Array, Pose, Vector, shift, turn_about
from kinematics.solids import Piece, Triangles

MAX_QUERIES = 20_000  # distance queries after which a swing counts as not settled
COARSE_DEG = 10.0  # a solid of revolution is tried down to this width of the first axis
Box = tuple[tuple[float, float], ...]  # (low, high) in degrees for each axis that moves the body


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


class StillPiece:
    """A piece on the side that does not turn: a swept tool piece, or a piece of a standing body.

    Parameters
    ----------
    supports : function of directions (d, 3) -> (d,), of a convex cover of the piece.
    outer, inner : make its outer and inner triangles; contact with the inner is proven contact. Made
        when first needed, since most pieces are never near.
    attained : for a point of the turning solid and the point of `outer` nearest to it, a true point of
        the piece near the latter.
    mesh : the mesh that it is, or None.
    """

    def __init__(
        self,
        part: str,
        supports: Callable[[Array], Array],
        outer: Callable[[], Triangles],
        inner: Callable[[], Triangles],
        attained: Callable[[Array, Array], Array],
        mesh: Mesh | None = None,
    ) -> None:
        self.part, self.supports, self.attained, self.mesh = part, supports, attained, mesh
        self._make_outer, self._make_inner = outer, inner
        self._outer: Triangles | None = None
        self._tree: PosedTree | None = None

    @property
    def outer(self) -> Triangles:
        if self._outer is None:
            self._outer = self._make_outer()
        return self._outer

    @property
    def inner(self) -> Triangles:
        return self._make_inner()

    @property
    def tree(self) -> PosedTree:
        if self._tree is None:
            self._tree = MeshTree(self.outer).at_origin()
        return self._tree

    @property
    def chord_error(self) -> float:
        return self.mesh.chord_error if self.mesh else 0.0


class TurningPiece:
    """A piece of a body that the axes carry: its hull for bounds, its triangles for distances."""

    def __init__(self, piece: Piece, X_CG: Pose, axes: Sequence[TurnAxis], trees: TreeCache) -> None:
        self.piece = piece
        self.X_CG = X_CG.relabelled("A", "G")
        self.axes = tuple(axes)
        self._trees = trees
        self.hull_G = hull_vertices(piece.outer.vertices)
        p_C = self.X_CG.points(self.hull_G)
        self.radii = self._radii(p_C)
        self.profile = _about(p_C, self.axes[-1]) if len(self.axes) == 2 else None
        self._lows: dict[tuple[Box, bool], Array] = {}

    def _radii(self, p_C: Array) -> tuple[float, ...]:
        """Largest distance of any point from each axis, whatever the other axis does."""
        last = self.axes[-1]
        rho, _ = _about(p_C, last)
        if len(self.axes) == 1:
            return (float(rho.max()),)
        first = self.axes[0]
        rings = np.concatenate(
            [last.pose(a).points(p_C) for a in np.arange(0.0, 360.0, 15.0)]
        )  # a chord of 15 degrees lies 1 - cos 7.5 inside its arc
        ring, _ = _about(rings, first)
        return float(ring.max()) + float(rho.max()) * (1.0 - math.cos(math.radians(7.5))), float(rho.max())

    def pose(self, angles_deg: Sequence[float]) -> Pose:
        """X_BG: the piece in the frame of the still side."""
        X = self.X_CG
        for axis, angle in zip(reversed(self.axes), reversed(list(angles_deg)), strict=True):
            X = axis.pose(angle) @ X
        return X

    def lows(self, box: Box, directions: Array) -> Array:
        """min over the piece and the box of its extent along each direction (d,)."""
        corners = [self.pose(angles) for angles in itertools.product(*({lo, hi} for lo, hi in box))]
        lows = [(self.hull_G @ (directions @ X.R_AB).T).min(axis=0) + directions @ X.p_AB for X in corners]
        return np.asarray(np.min(lows, axis=0) - self._off_chord(box))

    def _off_chord(self, box: Box) -> float:
        return sum(
            r * (1.0 - math.cos(math.radians(min((hi - lo) / 2, 180.0))))
            for r, (lo, hi) in zip(self.radii, box, strict=True)
        )

    def lows_in_directions(self, box: Box, *, revolved: bool) -> Array:
        """`lows` or `revolved_lows` in DIRECTIONS, kept: the same boxes come again with every tool and lift."""
        found = self._lows.get((box, revolved))
        if found is None:
            found = self.revolved_lows(box, DIRECTIONS) if revolved else self.lows(box, DIRECTIONS)
            self._lows[box, revolved] = found
        return found

    def revolved_lows(self, box: Box, directions: Array) -> Array:
        """The same for the solid of revolution of the piece about the second axis; the box of the first."""
        assert self.profile is not None, "only what two axes carry has a solid of revolution"
        first, last = self.axes
        rho, height = self.profile
        lo, hi = box[0]
        lows = []
        for angle in {lo, hi}:
            X = first.pose(angle)
            along = directions @ np.asarray(X.direction(last.direction))
            across = np.sqrt(np.maximum(1.0 - along**2, 0.0))
            base = directions @ X.points(last.origin)
            lows.append(base + (along[:, None] * height - across[:, None] * rho).min(axis=1))
        return np.asarray(np.min(lows, axis=0) - self._off_chord((box[0], (0.0, 0.0))))

    def moved(self, box: Box) -> float:
        """How far any point can be from where it is in the middle of the box."""
        return sum(
            2.0 * r * math.sin(math.radians(min((hi - lo) / 4, 90.0)))
            for r, (lo, hi) in zip(self.radii, box, strict=True)
        )

    def outer_at(self, X: Pose) -> PosedTree:
        return self._trees.of(self.piece.outer).posed(X)

    def inner_at(self, X: Pose) -> PosedTree:
        return self._trees.of(self.piece.inner).posed(X)

    def component_points(self) -> Array:
        return self._trees.component_points(self.piece) if self.piece.mesh else self.piece.outer.vertices[:1]


def is_coaxial(X_CG: Pose, axis: TurnAxis) -> bool:
    """Whether a solid of revolution about its own Z (pose X_CG in the carried frame) turns on itself."""
    z = np.asarray(X_CG.direction((0.0, 0.0, 1.0)))
    d = np.asarray(axis.direction)
    off = X_CG.p_AB  # the frame that the axis carries has its origin on the axis
    return bool(np.linalg.norm(np.cross(z, d)) < 1e-12 and np.linalg.norm(np.cross(off, d)) < 1e-9)


def hull_vertices(vertices: Array) -> Array:
    """The vertices (k, 3) of the convex hull; all of them where there are few."""
    if len(vertices) <= 64:
        return vertices
    from scipy.spatial import ConvexHull, QhullError

    try:
        return np.asarray(vertices[ConvexHull(vertices).vertices])
    except QhullError:
        return vertices


def _about(points: Array, axis: TurnAxis) -> tuple[Array, Array]:
    """Distance from an axis and height along it, for points (n, 3) in the frame that it carries.

    That frame has its origin on the axis.
    """
    height = points @ np.asarray(axis.direction)
    return np.sqrt(np.maximum((points**2).sum(axis=1) - height**2, 0.0)), height


@dataclass(frozen=True, slots=True, eq=False)
class TurnPair:
    """One still piece against one turning piece over a box, with what is subtracted from its clearance."""

    still: StillPiece
    turning: TurningPiece
    box: Box
    subtract: float
    names: tuple[str, str]
    order: tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Witness:
    """An attained clearance: where, at which angles, between which points. Contact: value at most 0."""

    pair: TurnPair
    angles_deg: tuple[float, ...]
    value: float
    p_still: Array
    p_turning: Array
    contact: str | None = None
    is_proven: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class TurnResult:
    """`at_least` <= least (clearance - subtract) over all pairs and boxes <= `at_most`."""

    at_least: float
    at_most: float
    witness: Witness | None
    n_queries: int
    is_settled: bool


@dataclass(order=True, slots=True)
class _Item:
    bound: float
    tie: int
    pair: TurnPair = field(compare=False)
    box: Box = field(compare=False)
    is_revolved: bool = field(compare=False)
    hint: Array | None = field(compare=False)


def least_over_turn(
    pairs: Sequence[TurnPair], is_enough: Callable[[float, float], bool], *, max_queries: int = MAX_QUERIES
) -> TurnResult:
    """Search all pairs over their boxes until `is_enough(at_least, at_most)`.

    A proven contact ends the search at once. Raises EngineError where a distance contradicts itself.
    """
    counter = itertools.count()
    heap: list[_Item] = []
    at_most, witness, n_queries = math.inf, None, 0
    supports = {id(p.still): p.still.supports(DIRECTIONS) for p in pairs}
    for pair in pairs:
        revolved = pair.turning.profile is not None
        lows = pair.turning.lows_in_directions(pair.box, revolved=revolved)
        bound = _separation(lows, supports[id(pair.still)], pair)
        heap.append(_Item(bound, next(counter), pair, pair.box, revolved, None))
    heapq.heapify(heap)
    closed = math.inf  # the least bound of what needs no further opening
    while heap:
        at_least = min(heap[0].bound, closed, at_most)
        if is_enough(at_least, at_most):
            return TurnResult(at_least, at_most, witness, n_queries, True)
        if n_queries >= max_queries:
            return TurnResult(at_least, at_most, witness, n_queries, False)
        item = heapq.heappop(heap)
        if item.bound >= at_most:
            closed = min(closed, item.bound)
            continue
        if item.is_revolved:
            for child in _opened_revolved(item, supports[id(item.pair.still)], counter):
                heapq.heappush(heap, child)
            continue
        n_queries += 1
        found, bound, hint = _middle(item)
        if found.value - item.pair.subtract < at_most or found.is_proven:
            at_most, witness = found.value - item.pair.subtract, found
            if found.is_proven:
                return TurnResult(min(at_least, at_most), at_most, found, n_queries, True)
        for child in _split(item, bound, hint, supports[id(item.pair.still)], counter):
            heapq.heappush(heap, child)
    at_least = min(closed, at_most)
    return TurnResult(at_least, at_most, witness, n_queries, is_enough(at_least, at_most))


def _separation(lows: Array, supports: Array, pair: TurnPair) -> float:
    return float((lows - supports).max()) - _chord_error(pair) - ROUNDING - pair.subtract


def _chord_error(pair: TurnPair) -> float:
    return pair.turning.piece.chord_error + pair.still.chord_error


def _opened_revolved(item: _Item, supports: Array, counter: itertools.count[int]) -> list[_Item]:
    """Two halves of the first axis, or, once narrow, the piece itself over the whole second axis."""
    (lo, hi), second = item.box
    pair = item.pair
    if hi - lo <= COARSE_DEG:
        bound = max(item.bound, _separation(pair.turning.lows_in_directions(item.box, revolved=False), supports, pair))
        return [_Item(bound, next(counter), pair, item.box, False, None)]
    middle = (lo + hi) / 2
    children = []
    for half in ((lo, middle), (middle, hi)):
        box = (half, second)
        lows = pair.turning.lows_in_directions(box, revolved=True)
        bound = max(item.bound, _separation(lows, supports, pair))
        children.append(_Item(bound, next(counter), pair, box, True, None))
    return children


def _middle(item: _Item) -> tuple[Witness, float, Array | None]:
    """The distance in the middle of a box: attained there, a bound over the box, a direction to try."""
    pair, turning, still = item.pair, item.pair.turning, item.pair.still
    angles = tuple((lo + hi) / 2 for lo, hi in item.box)
    X = turning.pose(angles)
    answer = surface_distance(still.tree, turning.outer_at(X))
    if answer.distance <= 0.0:
        return _contact(pair, angles, X), -math.inf, None
    hint = (answer.p_b - answer.p_a) / answer.distance
    if not _is_apart(pair, X, hint) and _is_swallowed(pair, X):
        return Witness(pair, angles, 0.0, answer.p_a, answer.p_b, "inside", True), -math.inf, None
    p_turning = X.points(turning.piece.on_solid(X.inverse().points(answer.p_b)[None, :]))[0]
    p_still = still.attained(p_turning, answer.p_a)
    value = float(np.linalg.norm(p_turning - p_still))
    bound = answer.distance - turning.moved(item.box) - _chord_error(pair) - ROUNDING - pair.subtract
    return Witness(pair, angles, value, p_still, p_turning), bound, hint


def _contact(pair: TurnPair, angles: tuple[float, ...], X: Pose) -> Witness:
    """Contact of the covering solids: proven if the solids inside the true ones touch as well."""
    inner = surface_distance(MeshTree(pair.still.inner).at_origin(), pair.turning.inner_at(X))
    if inner.distance > 0.0:
        return Witness(pair, angles, inner.distance, inner.p_a, inner.p_b)
    middle = _common_point(pair.still.outer, X.points(pair.turning.hull_G))
    return Witness(pair, angles, 0.0, middle, middle, "overlap", True)


def _is_apart(pair: TurnPair, X: Pose, hint: Array) -> bool:
    """Whether the plane square to the nearest points parts the two solids: then none is inside the other."""
    low = float((pair.turning.hull_G @ (X.R_AB.T @ hint)).min() + hint @ X.p_AB)
    return low - float(pair.still.supports(hint[None, :])[0]) > 0.0


def _is_swallowed(pair: TurnPair, X: Pose) -> bool:
    """Whether one of two surfaces that do not cross lies inside the other."""
    turning, still = pair.turning, pair.still
    turning_mesh = turning.piece.mesh or as_mesh(turning.piece.outer)
    still_mesh = still.mesh or as_mesh(still.outer)
    return has_inside(turning_mesh, X.inverse().points(still.outer.vertices[:1])) or has_inside(
        still_mesh, X.points(turning.component_points())
    )


def _common_point(still: Triangles, turning: Array) -> Array:
    low = np.maximum(still.vertices.min(axis=0), turning.min(axis=0))
    high = np.minimum(still.vertices.max(axis=0), turning.max(axis=0))
    return np.asarray((low + high) / 2)


def _split(
    item: _Item, bound: float, hint: Array | None, supports: Array, counter: itertools.count[int]
) -> list[_Item]:
    """Two halves across the axis that moves the piece farther."""
    pair, turning = item.pair, item.pair.turning
    moves = [r * (hi - lo) for r, (lo, hi) in zip(turning.radii, item.box, strict=True)]
    axis = int(np.argmax(moves))
    lo, hi = item.box[axis]
    middle = (lo + hi) / 2
    hint = item.hint if hint is None else hint
    children = []
    for half in ((lo, middle), (middle, hi)):
        box = (*item.box[:axis], half, *item.box[axis + 1 :])
        own = _separation(turning.lows_in_directions(box, revolved=False), supports, pair)
        if hint is not None:
            along = hint[None, :]
            own = max(own, _separation(turning.lows(box, along), pair.still.supports(along), pair))
        children.append(_Item(max(item.bound, bound, own), next(counter), pair, box, False, hint))
    return children
