"""Solids that move in straight lines against one that stands, by FCL, mesh against mesh, from near triangles only.

1. The sweep of a piece is made as a polyhedron around it, and of the obstacle the triangles are taken whose box
   comes near the sweep's box, found in plain numpy: no tree of the engine is used.
2. FCL builds trees of MOST_AT_ONCE triangles at most, the nearest first, as long as any can be nearer.
3. Whether one solid is inside the other is decided by winding numbers.
4. Of a move of very many parts those sweeps are measured that planes part least, MOST_SWEEPS of them; the
   answer says whether that was all that can be near.
5. What this file does not know: what was claimed, cuts, swings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinematics.engine.fcl_engine import MeshTree, PosedTree, SurfaceDistance, surface_distance
from kinematics.engine.pair import ROUNDING
from kinematics.engine.sweep import PolyPiece, Positions, RoundPiece
from kinematics.errors import EngineError
from kinematics.mesh_topology import face_labels
from kinematics.meshes import Mesh
from kinematics.moves.cuts import ARC_SAGITTA
from kinematics.near_triangles import Indices, box_distances, faces_near, joined, least_along, some_of, turned_box
from kinematics.pose import Array, Pose
from kinematics.prepared import Part
from kinematics.report import ContactKind
from kinematics.solids import SAGITTA, Piece, Triangles
from kinematics.tool_kinds import ARC_GAP
from kinematics.winding import Inside, is_inside

MOST_AT_ONCE = 2000  # triangles in one tree of FCL
MOST_SWEEPS = 200  # sweeps of one solid that are measured
MOST_PLACES = 2000  # position sets of one move that are told apart by planes

AXES = np.concatenate([np.eye(3), -np.eye(3)])

Posed = tuple[Piece, Pose]  # a piece of an obstacle and its X_WG


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """A piece that does not move, as it stands in W."""

    outer: Triangles
    mesh: Mesh | None
    is_convex: bool

    def swept(self, positions: Positions) -> Triangles:
        return Triangles(self.outer.vertices + positions.points[0], self.outer.faces)

    def middle(self) -> Array:
        """A point of it."""
        return self.outer.vertices.mean(axis=0) if self.is_convex else np.array(self.outer.vertices[0])


MoverPiece = RoundPiece | PolyPiece | Standing


class Moving:
    """Position sets, and the same with the stick-out longer by `down`."""

    def __init__(self, sets: Sequence[Positions], down: float = 0.0) -> None:
        self.sets = tuple(sets)
        self.down = down
        self._corners = np.concatenate([s.points for s in self.sets])
        self._starts = np.cumsum([0, *(len(s.points) for s in self.sets)])[:-1]
        self._up = np.array([s.up for s in self.sets])
        self._down = np.array([s.down for s in self.sets])
        self.error = ARC_SAGITTA if any(s.arc is not None for s in self.sets) else 0.0

    def reach(self, directions: Array, down: float) -> Array:
        """How far (d, n_sets) the positions reach along directions (d, 3)."""
        along = np.maximum.reduceat(directions @ self._corners.T, self._starts, axis=1)
        z = directions[:, 2:]
        return np.asarray(along + np.maximum(z * self._up, -z * (self._down + down)))


STILL = Moving([Positions(np.zeros((1, 3)))])


@dataclass(frozen=True, slots=True, eq=False)
class Mover:
    """A solid as pieces over the position sets of a move.

    Parameters
    ----------
    error : how far the polyhedra of its sweep may lie outside the true one, mm.
    is_loose : a piece is the hull of something hollow: only the nearer end of a claim is about it.
    """

    pieces: tuple[MoverPiece, ...]
    moving: Moving
    error: float
    is_loose: bool = False

    def reach(self, directions: Array) -> Array:
        """How far (d, n_pieces) its pieces reach from the tip along directions (d, 3)."""
        level, z = np.hypot(directions[:, 0], directions[:, 1]), directions[:, 2]
        found = []
        for piece in self.pieces:
            if isinstance(piece, RoundPiece):
                found.append(np.maximum(level * piece.r1 + z * piece.z1, level * piece.r2 + z * piece.z2))
            else:
                found.append((directions @ piece.outer.vertices.T).max(axis=1))
        return np.stack(found, axis=1)

    def extent(self, directions: Array, down: float) -> Array:
        """How far (d,) it reaches over the whole move along directions (d, 3)."""
        return np.asarray(self.reach(directions).max(axis=1) + self.moving.reach(directions, down).max(axis=1))


def part_mover(part: Part, moving: Moving) -> Mover:
    """A tool-side part, or a body of the bed that moves past the table."""
    pieces = tuple(piece for piece, _ in part.outer)
    rounds = tuple(piece for piece in pieces if isinstance(piece, RoundPiece))
    if rounds:
        return Mover(pieces, moving, moving.error + SAGITTA + (0.0 if rounds == part.real else ARC_GAP))
    solids = [piece for piece in pieces if not isinstance(piece, RoundPiece)]
    error = moving.error + max(_polygon_error(p.outer, p.inner) for p in solids)
    return Mover(pieces, moving, error, is_loose=any(not p.is_convex for p in solids))


def body_mover(obstacle: Sequence[Posed]) -> Mover:
    """A body that stands, on the side that moves."""
    pieces = []
    for solid, X_WG in obstacle:
        outer = Triangles(X_WG.points(solid.outer.vertices), solid.outer.faces)
        n_open = solid.mesh.n_open_edges if solid.mesh else 0
        mesh = None if solid.is_convex else Mesh(outer.vertices, outer.faces, n_open, 0.0, "")
        pieces.append(Standing(outer, mesh, solid.is_convex))
    return Mover(tuple(pieces), STILL, body_error(obstacle))


def body_error(obstacle: Sequence[Posed]) -> float:
    """How far the triangles around a body may lie outside it, or its faces outside them, mm."""
    return max(_polygon_error(p.outer, p.inner) + p.chord_error for p, _ in obstacle)


def _polygon_error(outer: Triangles, inner: Triangles) -> float:
    return 0.0 if np.array_equal(outer.vertices, inner.vertices) else SAGITTA


# ---- near surfaces ---------------------------------------------------------------------------------


class Surface:
    """Some triangles of an obstacle in W, and a tree over them where they are few."""

    def __init__(self, triangles: Triangles) -> None:
        self.triangles = triangles
        self.box = box_of(triangles)

    @cached_property
    def _tree(self) -> PosedTree:
        return MeshTree(self.triangles).at_origin()

    def lows(self, directions: Array) -> Array:
        """The least extent (d,) along directions (d, 3); infinite where there is no triangle."""
        if len(self.triangles.faces) == 0:
            return np.full(len(directions), math.inf)
        return np.asarray((directions @ self.triangles.vertices.T).min(axis=1))

    def nearest(self, made: Triangles, within: float) -> SurfaceDistance | None:
        """The distance from another surface to this one; None where it is not below `within`."""
        near = faces_near(made, self.box[0] - within, self.box[1] + within)
        if len(near) == 0:
            return None
        made = some_of(made, near)
        if max(len(near), len(self.triangles.faces)) > MOST_AT_ONCE:
            return nearest(made, self.triangles, within)
        found = surface_distance(MeshTree(made).at_origin(), self._tree)
        return found if found.distance < within else None


def near_surface(obstacle: Sequence[Posed], box: tuple[Array, Array], within: float) -> Surface:
    """The triangles of an obstacle whose box comes within a distance of a box, in W."""
    low, high = box[0] - within, box[1] + within
    found = []
    for piece, X_WG in obstacle:
        near = faces_near(piece.outer, *turned_box(X_WG.inverse(), low, high))
        if len(near):
            some = piece.outer if len(near) == len(piece.outer.faces) else some_of(piece.outer, near)
            found.append(Triangles(X_WG.points(some.vertices), some.faces))
    return Surface(joined(found))


def box_of(surface: Triangles) -> tuple[Array, Array]:
    """Lowest and highest corner; of no triangles a box that is nowhere near."""
    if len(surface.faces) == 0:
        return np.full(3, math.inf), np.full(3, math.inf)
    return surface.vertices.min(axis=0), surface.vertices.max(axis=0)


def nearest(a: Triangles, b: Triangles, within: float) -> SurfaceDistance | None:
    """The distance of two surfaces of one frame; None where it is not below `within`."""
    if len(a.faces) > len(b.faces):
        found = nearest(b, a, within)
        return None if found is None else SurfaceDistance(found.distance, found.p_b, found.p_a)
    if len(b.faces) <= MOST_AT_ONCE:
        found = surface_distance(MeshTree(a).at_origin(), MeshTree(b).at_origin()) if len(a.faces) else None
        return None if found is None or found.distance >= within else found
    gaps = box_distances(b, *box_of(a))
    best: SurfaceDistance | None = None
    while (gaps < within).any():
        near = np.flatnonzero(gaps < within)
        if len(near) > MOST_AT_ONCE:
            near = near[np.argpartition(gaps[near], MOST_AT_ONCE)[:MOST_AT_ONCE]]
        found = nearest(a, some_of(b, near), within)
        gaps[near] = math.inf
        if found is None:
            continue
        if found.distance <= 0.0:
            return found
        best, within = found, found.distance - ROUNDING
        direction = (found.p_b - found.p_a) / found.distance
        gaps = np.maximum(gaps, least_along(b, direction) - float((a.vertices @ direction).max()))
    return best


# ---- measuring -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Seen:
    """What FCL finds: a distance, 0 on contact, whose kind is told.

    `is_beyond`: nothing is nearer than `distance`. `is_whole`: nothing is nearer in what was not measured either.
    """

    distance: float
    contact: ContactKind | None = None
    is_beyond: bool = False
    is_whole: bool = True

    def __str__(self) -> str:
        if self.contact is not None:
            return "contact" if self.contact == "overlap" else "that one is inside the other"
        return f"more than {self.distance:.3f}" if self.is_beyond else f"{self.distance:.3f}"


@dataclass(frozen=True, slots=True, eq=False)
class Sweeps:
    """Every piece of a mover over position sets of its move, the stick-out longer by `down`.

    Sweep i is piece `which[i, 0]` over set `which[i, 1]`. `left_out`: a lower bound of the distance of those
    of the move that are not in it.
    """

    mover: Mover
    down: float
    which: Indices
    left_out: float = math.inf

    def reach(self, directions: Array) -> Array:
        """How far (d, n) each sweep reaches along directions (d, 3)."""
        of_sets = self.mover.moving.reach(directions, self.down)
        return np.asarray(self.mover.reach(directions)[:, self.which[:, 0]] + of_sets[:, self.which[:, 1]])

    def triangles(self, i: int) -> Triangles:
        """Sweep i as a polyhedron around it."""
        piece, of = self.which[i].tolist()
        return self.mover.pieces[piece].swept(self.mover.moving.sets[of].lowered(self.down))

    def as_mesh(self, i: int) -> Mesh:
        piece = self.mover.pieces[int(self.which[i, 0])]
        if isinstance(piece, Standing) and piece.mesh is not None:
            return piece.mesh
        made = self.triangles(i)
        return Mesh(made.vertices, made.faces, 0, 0.0, "")


def every_sweep(mover: Mover, down: float = 0.0) -> Sweeps:
    """All sweeps of a mover."""
    return _sweeps_of(mover, down, np.arange(len(mover.moving.sets)), math.inf)


def sweeps(mover: Mover, surface: Surface, down: float, first: int = -1) -> Sweeps:
    """The sweeps of a mover; of very many positions `first` and those that the main planes part least."""
    if len(mover.moving.sets) <= MOST_PLACES:
        return every_sweep(mover, down)
    reach = mover.reach(AXES).max(axis=1)[:, None] + mover.moving.reach(AXES, down)
    bounds = (surface.lows(AXES)[:, None] - reach).max(axis=0)
    if first >= 0:
        bounds[first] = -math.inf
    order = np.argpartition(bounds, MOST_PLACES)
    return _sweeps_of(mover, down, order[:MOST_PLACES], float(bounds[order[MOST_PLACES:]].min()))


def _sweeps_of(mover: Mover, down: float, sets: Indices, left_out: float) -> Sweeps:
    pieces = np.repeat(np.arange(len(mover.pieces)), len(sets))
    return Sweeps(mover, down, np.column_stack([pieces, np.tile(sets, len(mover.pieces))]), left_out)


def measured(some: Sweeps, obstacle: Sequence[Posed], surface: Surface, limit: float, first: int = -1) -> Seen:
    """The least distance of sweeps to the near surface of an obstacle, as far as `limit`.

    `first` : the position set that is looked at before the others.
    Raises EngineError where it can't be told whether one is inside the other, or FCL contradicts itself.
    """
    bounds = _apart(some, surface, AXES)
    is_open = np.ones(len(bounds), dtype=bool)
    is_first = some.which[:, 1] == first
    best, has_found, is_whole = limit, False, False
    for _ in range(MOST_SWEEPS):
        near = is_open & (bounds < best - ROUNDING)
        if not near.any():
            is_whole = some.left_out >= best - ROUNDING
            break
        i = int(np.where(near & is_first if (near & is_first).any() else near, bounds, math.inf).argmin())
        is_open[i] = False
        found = surface.nearest(some.triangles(i), best)
        if found is None:
            continue
        if found.distance <= 0.0:
            return Seen(0.0, "overlap")
        best, has_found = found.distance, True
        bounds = np.maximum(bounds, _apart(some, surface, (found.p_b - found.p_a)[None, :] / best))
    if _swallows(some, surface, bounds) or _is_swallowed(some, obstacle):
        return Seen(0.0, "inside")
    return Seen(best, None, not has_found, is_whole)


def _apart(some: Sweeps, surface: Surface, directions: Array) -> Array:
    """For each sweep (n,) by how much one of the directions (d, 3) parts it from the whole surface, at best."""
    return np.asarray((surface.lows(directions)[:, None] - some.reach(directions)).max(axis=0))


def _swallows(some: Sweeps, surface: Surface, bounds: Array) -> bool:
    """Whether a connected piece of a surface, which no sweep touches, lies inside a sweep."""
    candidates = np.flatnonzero(bounds <= 0.0)
    if len(candidates) == 0:
        return False
    points = _one_of_each(surface.triangles)
    reach = some.reach(AXES)[:, candidates]
    for i, high, low in zip(candidates.tolist(), reach[:3].T, -reach[3:].T, strict=True):
        within = points[((points >= low) & (points <= high)).all(axis=1)]
        if len(within) and _is_any_in(some.as_mesh(i), within):
            return True
    return False


def _is_swallowed(some: Sweeps, obstacle: Sequence[Posed]) -> bool:
    """Whether a solid that touches nothing on its way lies inside an obstacle.

    Of what moves one point tells, since it hangs together; of a mesh that stands one of each connected piece.
    """
    mover = some.mover
    meshes = [piece.outer for piece in mover.pieces if isinstance(piece, Standing) and piece.mesh is not None]
    p_W = mover.moving.sets[0].points[0] + mover.pieces[0].middle()
    for solid, X_WG in obstacle:
        X_GW, vertices = X_WG.inverse(), solid.outer.vertices
        box = vertices.min(axis=0), vertices.max(axis=0)
        reach = mover.extent(X_WG.directions(AXES), some.down)  # along the axes of G
        points = []
        if (X_GW.p_AB - reach[3:] >= box[0]).all() and (X_GW.p_AB + reach[:3] <= box[1]).all():
            points.append(p_W[None, :])
        for surface in meshes:
            points.append(_one_of_each(some_of(surface, faces_near(surface, *turned_box(X_WG, *box)))))
        mesh = solid.mesh or Mesh(vertices, solid.outer.faces, 0, 0.0, "")
        if points and _is_any_in(mesh, X_GW.points(np.concatenate(points))):
            return True
    return False


def _one_of_each(surface: Triangles) -> Array:
    """A corner (k, 3) of each connected piece of a surface."""
    if len(surface.faces) == 0:
        return np.zeros((0, 3))
    _, labels = face_labels(surface.faces, len(surface.vertices))
    return np.asarray(surface.vertices[surface.faces[np.unique(labels, return_index=True)[1], 0]])


def _is_any_in(mesh: Mesh, points: Array) -> bool:
    """Whether any of the points (n, 3) is inside a mesh; raises EngineError where that can't be told."""
    answers = is_inside(points, mesh)
    if Inside.YES in answers:
        return True
    if Inside.UNDECIDED in answers:
        raise EngineError("it can't be told whether one is inside the other")
    return False
