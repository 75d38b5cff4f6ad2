"""Clearance of one tool-side part against one obstacle over a whole move, as a proven interval.

1. A part is convex pieces, a move is convex position sets in a tree, an obstacle is convex pieces or a
   mesh. The best-first search always opens the triple that could be nearest; what it leaves closed is
   proven by support planes to be farther.
2. `at_least` comes from solids that cover the true ones; `value` is attained by a point of the true
   tool, at a tip position of the move, and a point of the true obstacle.
3. A support plane also tests every answer of the distance library: an answer under it is an error.
4. Meshes are hollow to the distance library: containment is tested on its own, both ways.
5. A number that could not be established raises EngineError; the caller says "not checked".
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from kinematics.engine.depth import Depth, overlap_depth
from kinematics.engine.fcl_engine import MeshTree, PosedTree, surface_distance, surfaces_cross
from kinematics.engine.sweep import PolyPiece, Positions, RoundPiece, hull_cover
from kinematics.errors import EngineError
from kinematics.meshes import Mesh
from kinematics.pose import Array, Pose
from kinematics.remembered import Remembered
from kinematics.report import ContactKind
from kinematics.solids import SAGITTA, Piece, Triangles
from kinematics.winding import Inside, components, is_inside

ROUNDING = 1e-6  # mm, subtracted before a floating-point bound is called proven
Tool = RoundPiece | PolyPiece


@dataclass(frozen=True, slots=True, eq=False)
class Clear:
    """No contact: `at_least` is proven, `value` attained between p_tool and p_obstacle, the tip at `tip`."""

    at_least: float
    value: float
    p_tool: Array
    p_obstacle: Array
    tip: Array


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """Contact, or contact that could not be excluded.

    `kind` says how. `depth` is None for meshes; else the interval of depth, the larger end proven; its
    smaller end is minus a distance that is attained where contact is not proven.
    `is_proven`: solids inside the true ones touch, so the true ones do.
    """

    kind: ContactKind
    depth: tuple[float, float] | None
    is_proven: bool
    normal: Array | None
    p_tool: Array
    p_obstacle: Array
    tip: Array


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """The search stopped: the clearance is at least this, more than was asked for."""

    at_least: float


def _search_directions() -> Array:
    """Directions of the support planes: the coordinate axes first, then a spread of others."""
    rings = [(0.0, 96)]
    for elevation, n in ((15.0, 16), (30.0, 16), (45.0, 16), (60.0, 8), (75.0, 8)):
        rings += [(elevation, n), (-elevation, n)]
    found = [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0)]
    for elevation, n in rings:
        e = np.radians(elevation)
        for i in range(n):
            t = 2 * np.pi * i / n
            found.append((float(np.cos(e) * np.cos(t)), float(np.cos(e) * np.sin(t)), float(np.sin(e))))
    directions = np.array(found)
    directions[np.abs(directions) < 1e-15] = 0.0
    return directions


DIRECTIONS = _search_directions()


class ObstaclePiece:
    """A piece of an obstacle, posed in W: its trees and supports are made when first needed."""

    def __init__(self, piece: Piece, X_WG: Pose, trees: TreeCache) -> None:
        self.piece = piece
        self.X_WG = X_WG
        self._trees = trees
        self._vertices: Array | None = None
        self._inner_vertices: Array | None = None
        self._outer: PosedTree | None = None
        self._low: Array | None = None

    @property
    def low(self) -> Array:
        """Supports of the obstacle towards the tool: min over its points along each of DIRECTIONS."""
        if self._low is None:
            lowest = _lowest(self._trees.cover_of(self.piece), DIRECTIONS @ self.X_WG.R_AB)
            self._low = lowest + DIRECTIONS @ self.X_WG.p_AB
        return self._low

    @property
    def vertices_W(self) -> Array:
        if self._vertices is None:
            self._vertices = self.X_WG.points(self.piece.outer.vertices)
        return self._vertices

    @property
    def inner_vertices_W(self) -> Array:
        if self._inner_vertices is None:
            self._inner_vertices = self.X_WG.points(self.piece.inner.vertices)
        return self._inner_vertices

    @property
    def outer(self) -> PosedTree:
        if self._outer is None:
            self._outer = self._trees.of(self.piece.outer).posed(self.X_WG)
        return self._outer

    @property
    def inner(self) -> PosedTree:
        return self._trees.of(self.piece.inner).posed(self.X_WG)

    def on_solid(self, p_W: Array) -> Array:
        """A point of the outer triangles, moved onto the true solid."""
        X_GW = self.X_WG.inverse()
        return self.X_WG.points(self.piece.on_solid(X_GW.points(p_W)[None, :]))[0]


def _lowest(vertices: Array, directions: Array) -> Array:
    """min over vertices (n, 3) along directions (d, 3), in bounded memory."""
    lows = [(vertices[i : i + 65536] @ directions.T).min(axis=0) for i in range(0, len(vertices), 65536)]
    return np.min(lows, axis=0)


class TreeCache:
    """Trees by the triangles that they were built over; keeps both alive."""

    def __init__(
        self,
        trees: Remembered[tuple[Triangles, MeshTree]] | None = None,
        components: Remembered[tuple[Mesh, Array]] | None = None,
        covers: Remembered[tuple[Triangles, Array]] | None = None,
    ) -> None:
        self._trees = trees or Remembered()
        self._components = components or Remembered()
        self._covers = covers or Remembered()

    def following(self) -> TreeCache:
        """The trees of the next scene, which has some of the same triangles."""
        return TreeCache(self._trees.following(), self._components.following(), self._covers.following())

    def take_over(self, pieces: Sequence[Piece]) -> None:
        """Keep what there is of some pieces, also where nobody asks for it this time."""
        sides = {id(t.vertices) for piece in pieces for t in (piece.outer, piece.inner)}
        self._trees.take_over(sides)
        self._covers.take_over(sides)
        self._components.take_over(id(piece.mesh) for piece in pieces if piece.mesh is not None)

    def of(self, triangles: Triangles) -> MeshTree:
        return self._trees.get(id(triangles.vertices), lambda: (triangles, MeshTree(triangles)))[1]

    def cover_of(self, piece: Piece) -> Array:
        """The corners (k, 3) in G of a convex polyhedron around a piece."""
        outer = piece.outer
        return self._covers.get(id(outer.vertices), lambda: (outer, hull_cover(outer.vertices)))[1]

    def component_points(self, piece: Piece) -> Array:
        """One vertex (k, 3) in G of every connected component of a mesh."""
        mesh = piece.mesh
        assert mesh is not None, "only a mesh has components"

        def made() -> tuple[Mesh, Array]:
            return mesh, np.array([mesh.vertices[mesh.faces[faces[0], 0]] for faces in components(mesh)])

        return self._components.get(id(mesh), made)[1]


@dataclass(frozen=True, slots=True, eq=False)
class Obstacle:
    """A body in W as pieces."""

    name: str
    pieces: tuple[ObstaclePiece, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A tree over position sets: a box that holds them, or (leaf) one convex set itself.

    `supports` (d,) are those of the box or the set in DIRECTIONS.
    """

    supports: Array
    children: tuple[Node, ...]
    positions: Positions | None


def position_tree(sets: Sequence[Positions]) -> Node:
    """A binary tree over position sets in their order along the path."""
    assert sets, "a move has at least one position"
    nodes = [Node(s.supports(DIRECTIONS), (), s) for s in sets]
    while len(nodes) > 1:
        nodes = [
            Node(np.maximum.reduce([n.supports for n in group]), tuple(group), None) if len(group) > 1 else group[0]
            for group in (nodes[i : i + 4] for i in range(0, len(nodes), 4))
        ]
    return nodes[0]


def lower_bound(tool_supports: Array, obstacle: ObstaclePiece, node: Node) -> float:
    """A proven lower bound of the clearance; negative: minus an upper bound of the overlap depth."""
    return float((obstacle.low - tool_supports - node.supports).max()) - obstacle.piece.chord_error - ROUNDING


def pair_clearance(
    part: Sequence[tuple[Tool, Array]],
    real: Sequence[RoundPiece],
    obstacle: Obstacle,
    tree: Node,
    trees: TreeCache,
    *,
    beyond: float = float("inf"),
) -> Clear | Contact | Bound:
    """Clearance of a part over the moves of `tree` against an obstacle.

    Parameters
    ----------
    part : pieces that cover the part from outside, each with its supports in DIRECTIONS.
    real : pieces inside the true part, for `value`; empty for parts that are not round.
    beyond : stop with a Bound as soon as the clearance is proven to be at least this.

    Raises EngineError where the clearance can't be established.
    """
    counter = itertools.count()
    heap: list[tuple[float, int, Tool, Array, ObstaclePiece, Node]] = []
    for piece, supports in part:
        for target in obstacle.pieces:
            bound = lower_bound(supports, target, tree)
            heapq.heappush(heap, (bound, next(counter), piece, supports, target, tree))
    found: list[Clear | Contact] = []
    nearest = float("inf")
    while heap:
        bound, _, piece, supports, target, node = heapq.heappop(heap)
        if bound >= nearest:
            break
        if bound >= beyond:
            return Bound(bound)
        if node.positions is None:
            for child in node.children:
                item = (lower_bound(supports, target, child), next(counter), piece, supports, target, child)
                heapq.heappush(heap, item)
            continue
        answer = _triple(piece, real, target, node.positions, trees, bound)
        if isinstance(answer, Contact) and answer.depth is None:
            return answer  # nothing is worse than an overlap without depth
        nearest = min(nearest, _proven(answer))
        found.append(answer)
    return min(found, key=_proven)


def _proven(answer: Clear | Contact) -> float:
    if isinstance(answer, Clear):
        return answer.at_least
    return float("-inf") if answer.depth is None else -answer.depth[1]


def _triple(
    piece: Tool, real: Sequence[RoundPiece], target: ObstaclePiece, positions: Positions, trees: TreeCache, bound: float
) -> Clear | Contact:
    """One convex tool piece over one convex set of positions against one obstacle piece."""
    swept = piece.swept(positions)
    answer = surface_distance(MeshTree(swept).at_origin(), target.outer)
    if answer.distance <= 0.0:
        return _contact("overlap", piece, real, target, positions, swept)
    if bound <= 0.0 and _swallows(piece, target, positions, swept, trees):
        return _contact("inside", piece, real, target, positions, swept)
    at_least = answer.distance - target.piece.chord_error - ROUNDING
    if at_least < bound - SAGITTA - 2 * ROUNDING:  # the swept mesh lies outside the piece by the sagitta
        raise EngineError(f"the distance {answer.distance:g} lies under the support plane {bound:g}")
    return _attained(piece, real, target, positions, max(at_least, bound), answer.p_b)


def _swallows(piece: Tool, target: ObstaclePiece, positions: Positions, swept: Triangles, trees: TreeCache) -> bool:
    """Whether one of two surfaces that do not cross lies inside the other.

    The obstacle in the sweep first: where none of it is there, the middle of the tool is on no surface.
    """
    points_G = trees.component_points(target.piece) if target.piece.mesh else target.piece.outer.vertices[:1]
    points_W = target.X_WG.points(points_G)
    low, high = swept.vertices.min(axis=0), swept.vertices.max(axis=0)
    if has_inside(as_mesh(swept), points_W[((points_W >= low) & (points_W <= high)).all(axis=1)]):
        return True
    p_G = target.X_WG.inverse().points(positions.points[0] + piece.middle())
    return has_inside(target.piece.mesh or as_mesh(target.piece.outer), p_G[None, :])


def has_inside(mesh: Mesh, points: Array) -> bool:
    """Whether any of the points (n, 3) lies inside; raises EngineError where that can't be told."""
    if len(points) == 0:
        return False
    answers = is_inside(points, mesh)
    if Inside.YES in answers:
        return True
    if Inside.UNDECIDED in answers:
        how = f"is open at {mesh.n_open_edges} edges" if mesh.n_open_edges else "turns its surface inside out"
        raise EngineError(f"{mesh.source or 'a body'} {how}, so inside can't be told")
    return False


def as_mesh(triangles: Triangles) -> Mesh:
    """Triangles of our own making, which are closed, as a mesh."""
    return Mesh(triangles.vertices, triangles.faces, 0, 0.0, "")


def _contact(
    kind: ContactKind,
    piece: Tool,
    real: Sequence[RoundPiece],
    target: ObstaclePiece,
    positions: Positions,
    swept: Triangles,
) -> Contact:
    inner = _within(piece, real, positions)
    is_loose = isinstance(piece, PolyPiece) and not piece.is_convex
    if is_loose or not target.piece.is_convex:
        proven = (kind == "inside" and not is_loose) or any(
            surfaces_cross(MeshTree(i).at_origin(), target.inner) for _, i in inner
        )
        where = _somewhere_in_both(inner[0][1], target)
        return Contact(kind, None, proven, None, where, where, _tip(where, piece, positions))
    middle = positions.points[0] + piece.middle()
    outer = overlap_depth(swept.vertices, target.vertices_W)
    if outer is None:  # they touch within rounding
        outer = Depth(0.0, 0.0, np.array([0.0, 0.0, -1.0]), middle, middle)
    depths = [d.at_least for _, i in inner if (d := overlap_depth(i.vertices, target.inner_vertices_W)) is not None]
    most = outer.at_most + ROUNDING
    if depths:
        least = max(depths)
        p_tool, p_obstacle = outer.p_a, outer.p_b
    else:  # where solids inside the true ones are apart, what is attained is their distance
        answers = [surface_distance(MeshTree(i).at_origin(), target.inner) for _, i in inner]
        apart = min(answers, key=lambda answer: answer.distance)
        least = -apart.distance
        p_tool, p_obstacle = (apart.p_a, apart.p_b) if apart.distance > 0.0 else (outer.p_a, outer.p_b)
    tip = _tip(p_tool, piece, positions)
    return Contact(kind, (least, max(most, least)), bool(depths), outer.normal, p_tool, p_obstacle, tip)


def _within(piece: Tool, real: Sequence[RoundPiece], positions: Positions) -> list[tuple[Array | None, Triangles]]:
    """Triangles inside the true sweep, each with the tip where the piece stands in one place only."""
    inside = positions.inside()
    if isinstance(piece, RoundPiece):
        return [(None, true.inner_swept(inside)) for true in near_pieces(real, piece)]
    return [(None, piece.inner_swept(inside))] if piece.is_convex else list(piece.placed(inside))


def _tip(p_W: Array, piece: Tool, positions: Positions) -> Array:
    """A tip position at which the piece is at, or nearest to, a point of its sweep."""
    if isinstance(piece, RoundPiece):
        return tip_at(p_W, piece, positions)[0]
    return piece.tip_of(p_W, positions) if piece.is_convex else np.array(positions.points[0])


def _somewhere_in_both(inner: Triangles, target: ObstaclePiece) -> Array:
    """A point near where a sweep and a mesh overlap: the mesh corner deepest in the sweep's box."""
    low, high = inner.vertices.min(axis=0), inner.vertices.max(axis=0)
    points = target.vertices_W
    near = points[((points >= low) & (points <= high)).all(axis=1)]
    middle = (low + high) / 2
    if len(near) == 0:
        centre = (points.min(axis=0) + points.max(axis=0)) / 2
        return np.asarray(np.clip(centre, low, high))
    return np.asarray(near[np.abs((near - middle) / np.maximum(high - low, 1e-9)).max(axis=1).argmin()])


def tip_at(p_W: Array, piece: RoundPiece, positions: Positions) -> tuple[Array, float]:
    """The true tip position at which the piece comes nearest to p_W, and how far it then is.

    The distance to a convex piece is convex over the positions, so a bracket finds it on a slope; level
    sets are solved in the plane.
    """
    corners = positions.points
    if len(corners) > 2:
        q = np.array(corners[0])
        q[:2] = _nearest_in_polygon(p_W[:2], corners[:, :2])
    elif len(corners) == 2:
        a, d = corners[0], corners[1] - corners[0]
        level2 = float(d[:2] @ d[:2])
        t = 0.0 if level2 == 0.0 else min(1.0, max(0.0, float((p_W[:2] - a[:2]) @ d[:2]) / level2))
        if not positions.is_level:
            t = _least_along(lambda s: _risen(p_W, piece, positions, a + s * d)[1])
        q = a + t * d
    else:
        q = np.array(corners[0])
    return _risen(p_W, piece, positions, positions.on_path(q))


def _least_along(distance: Callable[[float], float]) -> float:
    """Where a convex function of t in [0, 1] is least."""
    low, high = 0.0, 1.0
    for _ in range(90):
        t1, t2 = low + (high - low) / 3, high - (high - low) / 3
        low, high = (low, t2) if distance(t1) <= distance(t2) else (t1, high)
    return (low + high) / 2


def _risen(p_W: Array, piece: RoundPiece, positions: Positions, q: Array) -> tuple[Array, float]:
    """The tip position q lifted or lowered, as far as the positions allow, to where the piece is nearest."""
    low, high = piece.z1, piece.z2
    rho = float(np.hypot(*(p_W[:2] - q[:2])))
    if piece.r1 != piece.r2:
        narrow, wide = sorted((piece.r1, piece.r2))
        share = (min(max(rho, narrow), wide) - piece.r1) / (piece.r2 - piece.r1)
        reach = piece.z1 + (piece.z2 - piece.z1) * share
        low, high = (reach, high) if piece.r1 < piece.r2 else (low, reach)
    height = float(p_W[2] - q[2])
    rise = min(max(0.0, height - high), height - low)  # the least rise that brings the point to its level
    tip = np.array(q)
    tip[2] += min(max(rise, -positions.down), positions.up)
    return tip, piece.distance_to(p_W - tip)[0]


def _nearest_in_polygon(p: Array, polygon: Array) -> Array:
    """The point of a convex counter-clockwise polygon (k, 2) nearest to p."""
    edges = np.roll(polygon, -1, axis=0) - polygon
    to_p = p - polygon
    if ((edges[:, 0] * to_p[:, 1] - edges[:, 1] * to_p[:, 0]) >= 0.0).all():
        return p
    length2 = np.maximum((edges * edges).sum(axis=1), 1e-300)
    t = np.clip((to_p * edges).sum(axis=1) / length2, 0.0, 1.0)
    feet = polygon + t[:, None] * edges
    return np.asarray(feet[((feet - p) ** 2).sum(axis=1).argmin()])


def _attained(
    piece: Tool,
    real: Sequence[RoundPiece],
    target: ObstaclePiece,
    positions: Positions,
    at_least: float,
    p_b: Array,
) -> Clear:
    """The clearance with a value that is attained between a true tool point and a true obstacle point.

    `p_b` is the nearest point of the obstacle's outer triangles.
    """
    if not isinstance(piece, RoundPiece):
        answers = [
            (surface_distance(MeshTree(i).at_origin(), target.inner), tip) for tip, i in _within(piece, real, positions)
        ]
        found, tip = min(answers, key=lambda answer: answer[0].distance)
        tip = _tip(found.p_a, piece, positions) if tip is None else tip
        return Clear(at_least, max(at_least, found.distance), found.p_a, found.p_b, tip)
    p_obstacle = target.on_solid(p_b)
    best: Clear | None = None
    for true in near_pieces(real, piece):
        tip, value = tip_at(p_obstacle, true, positions)
        if best is None or value < best.value:
            nearest = tip + true.distance_to(p_obstacle - tip)[1]
            best = Clear(at_least, value, nearest, p_obstacle, tip)
    assert best is not None, "every part has at least one piece inside the true tool"
    return best


def near_pieces(real: Sequence[RoundPiece], piece: RoundPiece) -> Iterator[RoundPiece]:
    """The true pieces at the height of a covering piece (with a neighbour's width on either side)."""
    slack = max(piece.z2 - piece.z1, 10 * SAGITTA)
    near = [r for r in real if r.z2 >= piece.z1 - slack and r.z1 <= piece.z2 + slack]
    return iter(near or real)
