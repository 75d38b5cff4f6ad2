"""Round tool parts against bodies that the table turns: the least spare over boxes of angles, certified.

1. One search for all pairs (`turning_search.py`): the bodies' trees are joined into one set of arrays, kept from
   search to search, and every convex stretch of a part is compared with every body over every box of angles.
2. A part that touches no surface of a body may still be inside it. That can't change while no surface is touched, so
   the middle of each stretch is tested at one pose.
3. What this file does not know: machines, moves, where set-up errors come from, verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kinematics.engine import turning_search
from kinematics.engine.exact_pair import BodyTree, RoundPart
from kinematics.engine.pair import as_mesh, has_inside
from kinematics.engine.round_clearance import is_way_up_free
from kinematics.engine.sweep import Positions, hull_cover
from kinematics.engine.triangle_tree import LEAF
from kinematics.engine.turning import TurnPair, TurnResult, Witness, least_over_turn
from kinematics.engine.turning_bounds import Stretch, farthest
from kinematics.engine.turning_pieces import Box, TurnAxis
from kinematics.errors import EngineError
from kinematics.mesh_topology import face_labels
from kinematics.pose import Array, Pose
from kinematics.solids import OnFrustum, Piece

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]

MAX_QUERIES = 200_000  # exact triangles after which a swing counts as not settled
FEW = 2_000  # within which the spare is told as finely as it may be


@dataclass(frozen=True, slots=True)
class Enough:
    """When an interval at_least..at_most is enough; `at_most` must be attained.

    Parameters
    ----------
    below : at_most is at most this.
    above : at_least is at least this.
    between : at_least is more than the first and at_most less than the second.
    tolerance, share : the width is at most the tolerance, or that share of at_most if it is more.
    about_zero : at_most is at most the first and the width at most the second.
    """

    below: float = -math.inf
    above: float = math.inf
    between: tuple[float, float] = (math.inf, -math.inf)
    tolerance: float = 0.0
    share: float = 0.0
    about_zero: tuple[float, float] = (-math.inf, 0.0)

    def __call__(self, at_least: float, at_most: float) -> bool:
        return bool(turning_search.is_enough(at_least, at_most, *self.numbers()))

    def numbers(self) -> tuple[float, ...]:
        return (self.below, self.above, *self.between, self.tolerance, self.share, *self.about_zero)


@dataclass(frozen=True, slots=True, eq=False)
class RoundPair:
    """A round part over level tip positions against a body over a box of angles.

    Parameters
    ----------
    X_CG : pose of the body in what the last of `axes` carries.
    axes : none, one or two axes, the first first.
    subtract : what set-up errors subtract from the clearance, mm.
    """

    part: RoundPart
    positions: Positions
    body: BodyTree
    X_CG: Pose
    axes: tuple[TurnAxis, ...]
    box: Box
    subtract: float
    names: tuple[str, str]
    order: tuple[int, int]

    def pose(self, angles_deg: Sequence[float]) -> Pose:
        """X_WG of the body."""
        X = self.X_CG.relabelled("A", "G")
        for axis, angle in zip(reversed(self.axes), reversed(list(angles_deg)), strict=True):
            X = axis.pose(angle) @ X
        return X


class JoinedBodies:
    """The trees of bodies as one set of arrays, with the pose of each in what carries it.

    Asked again for bodies that it has, it gives the same arrays.
    """

    def __init__(self) -> None:
        self._number: dict[tuple[int, bytes, int], int] = {}
        self._pairs: list[RoundPair] = []

    def numbers_of(self, pairs: Sequence[RoundPair]) -> list[int]:
        """Which body of the arrays each pair has."""
        keys = [(id(p.body), p.X_CG.R_AB.tobytes() + p.X_CG.p_AB.tobytes(), len(p.axes)) for p in pairs]
        if any(key not in self._number for key in keys):
            self._number, self._pairs = {}, []
            for key, pair in zip(keys, pairs, strict=True):
                if key not in self._number:
                    self._number[key] = len(self._pairs)
                    self._pairs.append(pair)
            self._join()
        return [self._number[key] for key in keys]

    def _join(self) -> None:
        bodies = [pair.body for pair in self._pairs]
        trees = [body.tree for body in bodies]
        assert all(int(t.count.max()) <= LEAF for t in trees), "a leaf holds no more triangles than LEAF"
        n_vertices = np.cumsum([0] + [len(t.vertices) for t in trees])
        n_faces = np.cumsum([0] + [len(t.faces) for t in trees])
        n_nodes = np.cumsum([0] + [len(t.boxes) for t in trees])
        self.face_starts = n_faces
        insides = [_inner_vertices(body) for body in bodies]
        of_body: list[int] = []
        after = int(n_vertices[-1])
        for inside in insides:
            of_body.append(0 if inside is None else after - int(n_vertices[len(of_body)]))
            after += 0 if inside is None else len(inside)
        n_axes: Ints = np.array([len(pair.axes) for pair in self._pairs], dtype=np.int64)
        roots: Ints = n_nodes[:-1].astype(np.int64)
        within: Ints = np.array(of_body, dtype=np.int64)
        poses = np.array([[*pair.X_CG.R_AB.ravel(), *pair.X_CG.p_AB] for pair in self._pairs])
        chord = np.array([body.chord_error for body in bodies])
        vertices = np.concatenate([t.vertices for t in trees] + [v for v in insides if v is not None])
        faces: Ints32 = np.concatenate([t.faces + n for t, n in zip(trees, n_vertices, strict=False)], dtype=np.int32)
        boxes = np.concatenate([t.boxes for t in trees])
        first: Ints32 = np.concatenate(
            [np.where(t.count > 0, t.first + f, t.first + n) for t, f, n in zip(trees, n_faces, n_nodes, strict=False)],
            dtype=np.int32,
        )
        count: Ints32 = np.concatenate([t.count for t in trees], dtype=np.int32)
        n_pieces = np.cumsum([0] + [len(body.pieces) for body in bodies])
        piece_of: Ints32 = np.concatenate(
            [
                np.searchsorted(np.array(body.ends), body.tree.order, side="right") + n
                for body, n in zip(bodies, n_pieces, strict=False)
            ],
            dtype=np.int32,
        )
        solids = np.array([_solid(piece) for body in bodies for piece in body.pieces])
        self.arrays = turning_search.Bodies(
            n_axes, roots, within, poses, chord, vertices, faces, boxes, first, count, piece_of, solids
        )


def _inner_vertices(body: BodyTree) -> Array | None:
    """Vertices within the true body, row for row those around it; None where these are the same."""
    if all(piece.inner is piece.outer for piece in body.pieces):
        return None
    assert all(len(p.inner.vertices) == len(p.outer.vertices) for p in body.pieces), "inner and outer match"
    return np.concatenate([p.inner.vertices for p in body.pieces])


def _solid(piece: Piece) -> tuple[float, ...]:
    """A frustum's numbers, for `on_solid` in the kernel; zeros where the triangles are the solid."""
    if isinstance(piece.on_solid, OnFrustum):
        f = piece.on_solid
        return (1.0, f.r1, f.r2, f.z1, f.z2)
    return (0.0,) * 5


# ---- the search ------------------------------------------------------------------------------------


def least_over_round_turn(
    pairs: Sequence[RoundPair], enough: Enough, joined: JoinedBodies, *, max_queries: int | None = None
) -> TurnResult:
    """Search all pairs over their boxes until `enough`; the witness's pair is one of `pairs`.

    A proven contact ends the search at once. `max_queries`: MAX_QUERIES unless given. All pairs have the same axes,
    or the first of them, or none.
    """
    if not pairs:
        return TurnResult(math.inf, math.inf, None, 0, is_settled=True)
    inside, unknown = _inside(pairs)
    if inside is not None:
        return TurnResult(-math.inf, -inside.pair.subtract, inside, 0, is_settled=True)
    numbers = joined.numbers_of(pairs)
    tool = ToolArrays(pairs)
    units, values, angles, angle_axes = _units(pairs, numbers, tool)
    result = np.zeros(12)
    allowed = MAX_QUERIES if max_queries is None else max_queries
    status, unit, n_exact, _ = turning_search.search(
        tool.arrays, tool.axes, units, values, joined.arrays,
        angles, angle_axes, np.array(enough.numbers()), allowed, result,
    )  # fmt: skip
    at_least, at_most, value = (float(v) for v in result[:3])
    if unit < 0:
        return TurnResult(at_least, at_most, None, n_exact, status == 0, unknown)
    pair = pairs[int(units[unit, turning_search.PAIR])]
    where = tuple(float(a) for a in result[3 : 3 + len(pair.axes)])
    contact = None
    if status == turning_search.CONTACT:
        face = int(pair.body.tree.order[int(result[11]) - joined.face_starts[units[unit, turning_search.BODY]]])
        rows = tool.arrays.profile[units[unit, turning_search.FIRST] : units[unit, turning_search.LAST] + 1]
        contact = "inside" if _is_swallowed(pair, where, face, rows) else "overlap"
    witness = Witness(pair, where, value, result[5:8].copy(), result[8:11].copy(), contact, contact is not None)
    is_settled = contact is not None or enough(at_least, at_most)
    return TurnResult(at_least, at_most, witness, n_exact, is_settled, unknown)


def least_over_any_turn(
    pairs: Sequence[TurnPair | RoundPair], enough: Enough, fine: Enough, joined: JoinedBodies
) -> TurnResult:
    """Search pairs of both kinds until `enough`.

    Those of round parts come first, since they are quick: for FEW queries even until `fine`.
    """
    round_ones = [pair for pair in pairs if isinstance(pair, RoundPair)]
    others = [pair for pair in pairs if isinstance(pair, TurnPair)]
    a = least_over_round_turn(round_ones, fine, joined, max_queries=FEW)
    if not a.is_settled:
        again = least_over_round_turn(round_ones, enough, joined)
        a = replace(again, n_queries=a.n_queries + again.n_queries)
    if not others or (a.witness is not None and a.witness.is_proven):
        return a
    b = least_over_turn(others, enough, known=a.at_most)
    n_queries, unknown = a.n_queries + b.n_queries, tuple(dict.fromkeys((*a.unknown, *b.unknown)))
    is_by_b = b.witness is not None and (b.witness.is_proven or b.at_most < a.at_most)
    return TurnResult(
        min(a.at_least, b.at_least),
        min(a.at_most, b.at_most),
        b.witness if is_by_b else a.witness,
        n_queries,
        is_settled=a.is_settled and b.is_settled,
        unknown=unknown,
    )


class ToolArrays:
    """Parts and position sets of pairs as arrays: each once, with how far each stretch comes from the axes."""

    def __init__(self, pairs: Sequence[RoundPair]) -> None:
        longest = max((pair.axes for pair in pairs), key=len)
        assert all(pair.axes == longest[: len(pair.axes)] for pair in pairs), "all pairs have the same axes"
        self.axes = np.array([[*a.origin, *a.direction] for a in longest] + [[0.0] * 6] * (2 - len(longest)))
        self._profiles: list[Array] = []
        self._ranges: list[Ints] = []
        self._n_rows = self._n_ranges = 0
        self._parts: dict[int, tuple[int, int, int]] = {}
        self._points: list[Array] = []
        self._n_points = 0
        self._sets: dict[int, tuple[int, int]] = {}
        self._fars: dict[tuple[int, int], Array] = {}
        for pair in pairs:
            self._add(pair, len(longest))
        self.ranges: Ints = np.concatenate(self._ranges)
        self.arrays = turning_search.Tool(np.concatenate(self._profiles), self.ranges, np.concatenate(self._points))

    def _add(self, pair: RoundPair, n_axes: int) -> None:
        part, positions = pair.part, pair.positions
        if id(part) not in self._parts:
            outer = self._n_ranges
            self._append(part.outer.profile, part.outer.ranges)
            inner = outer
            if part.inner is not part.outer:
                inner = self._n_ranges
                self._append(part.inner.profile, part.inner.ranges)
            self._parts[id(part)] = (outer, inner, inner + len(part.inner.ranges))
        if id(positions) not in self._sets:
            assert positions.is_level and positions.arc is None, "a tool waits at one height"
            self._points.append(positions.points)
            self._sets[id(positions)] = (self._n_points, self._n_points + len(positions.points))
            self._n_points += len(positions.points)
        key = (id(part), id(positions))
        if key not in self._fars:
            self._fars[key] = _far_from_axes(part, positions, self.axes, n_axes)

    def _append(self, profile: Array, ranges: Ints) -> None:
        self._profiles.append(profile)
        self._ranges.append(ranges + self._n_rows)
        self._n_rows += len(profile)
        self._n_ranges += len(ranges)

    def rows_of(self, pair: RoundPair) -> tuple[int, int, int, int, int, Array]:
        """First outer stretch, inner stretches from and to, points from and to; far (n, 2) from the axes."""
        return (
            *self._parts[id(pair.part)],
            *self._sets[id(pair.positions)],
            self._fars[id(pair.part), id(pair.positions)],
        )


def _far_from_axes(part: RoundPart, positions: Positions, axes: Array, n_axes: int) -> Array:
    """For each outer stretch how far (n, 2) from the first and second axis it ever is, to who stands on the table."""
    far = np.zeros((len(part.outer.ranges), 2))
    points = np.ascontiguousarray(positions.points)
    for k, (first, last, split) in enumerate(part.outer.ranges.tolist() if n_axes else ()):
        stretch = Stretch(
            part.outer.profile, first, last, split, positions.down, positions.up, points, 0, len(points)
        )  # fmt: skip
        far[k] = farthest(stretch, n_axes, axes)
    return far


def _units(
    pairs: Sequence[RoundPair], numbers: Sequence[int], tool: ToolArrays
) -> tuple[Ints, Array, Array, Ints]:  # fmt: skip
    """Every stretch of every pair, in the columns that the search reads, and the boxes of angles."""
    units: list[tuple[int, ...]] = []
    values: list[tuple[float, ...]] = []
    boxes: dict[Box, int] = {}
    for i, (pair, body) in enumerate(zip(pairs, numbers, strict=True)):
        outer, inner0, inner1, q0, q1, far = tool.rows_of(pair)
        angles = boxes.setdefault(pair.box, len(boxes))
        for k in range(len(pair.part.outer.ranges)):
            units.append((*tool.ranges[outer + k].tolist(), inner0, inner1, q0, q1, body, angles, i))
            values.append((pair.positions.down, pair.positions.up, pair.subtract, *far[k].tolist()))
    rows = [[end for stretch in box for end in stretch] + [0.0] * (4 - 2 * len(box)) for box in boxes]
    return (
        np.array(units, dtype=np.int64),
        np.array(values),
        np.array(rows),
        np.array([len(box) for box in boxes], dtype=np.int64),
    )


# ---- inside ------------------------------------------------------------------------------------------


def _inside(pairs: Sequence[RoundPair]) -> tuple[Witness | None, tuple[str, ...]]:
    """A part whose middle is inside a body, or why that can't be told."""
    unknown: dict[str, None] = {}
    groups: dict[tuple[int, bytes, Box], list[RoundPair]] = {}
    for pair in pairs:
        key = (id(pair.body), pair.X_CG.R_AB.tobytes() + pair.X_CG.p_AB.tobytes(), pair.box)
        groups.setdefault(key, []).append(pair)
    for group in groups.values():
        angles = tuple((low + high) / 2 for low, high in group[0].box)
        X_WG = group[0].pose(angles)
        middles = [(pair, p) for pair in group for p in _middles(pair)]
        p_G = X_WG.inverse().points(np.array([p for _, p in middles]))
        box = group[0].body.tree.boxes[0]
        for k in np.flatnonzero(((p_G >= box[:3]) & (p_G <= box[3:])).all(axis=1)).tolist():
            pair, p_W = middles[k]
            try:
                if _is_in_body(pair.body, X_WG, p_W, p_G[k]):
                    return Witness(pair, angles, 0.0, p_W, p_W, "inside", is_proven=True), ()
            except EngineError as error:
                unknown[error.message] = None
    return None, tuple(unknown)


def _is_swallowed(pair: RoundPair, angles_deg: tuple[float, ...], face: int, rows: Array) -> bool:
    """Whether the connected surface that a face is of lies wholly inside a stretch (rows of r, z) of the tool."""
    piece = pair.body.piece_of(face)
    faces = piece.outer.faces
    own = face - (0, *pair.body.ends)[pair.body.pieces.index(piece)]
    X_WG = pair.pose(angles_deg)
    if not _are_within(X_WG.points(piece.outer.vertices[faces[own]]), pair.positions, rows):
        return False
    _, labels = face_labels(faces, len(piece.outer.vertices))
    together = np.unique(faces[labels == labels[own]])
    return _are_within(X_WG.points(piece.outer.vertices[together]), pair.positions, rows)


def _are_within(points: Array, positions: Positions, rows: Array) -> bool:
    """Whether all points (n, 3) in W are inside a convex stretch of the tool over level positions."""
    z = points[:, 2] - positions.points[0, 2]
    is_raised = np.arange(len(rows)) > int(rows[:, 0].argmax())
    heights = rows[:, 1] + np.where(is_raised, positions.up, -positions.down)
    if z.min() < heights[0] or z.max() > heights[-1]:
        return False
    allowed = np.interp(z, heights, rows[:, 0])
    return bool((_level_distance(points[:, :2], positions.points[:, :2]) <= allowed).all())


def _level_distance(points: Array, corners: Array) -> Array:
    """Distances (n,) of points (n, 2) from a point, a segment or a counter-clockwise convex polygon."""
    best, is_in = np.full(len(points), np.inf), np.full(len(points), len(corners) > 2)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along, off = b - a, points - a
        is_in &= along[0] * off[:, 1] - along[1] * off[:, 0] >= 0.0
        share = np.clip(off @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
        best = np.minimum(best, np.linalg.norm(off - share[:, None] * along, axis=1))
    return np.where(is_in, 0.0, best)


def _middles(pair: RoundPair) -> list[Array]:
    """A point in W well inside each true stretch of a part."""
    rows = pair.part.inner.profile[:, 1]
    return [
        pair.positions.points[0] + (0.0, 0.0, (rows[start] + rows[end]) / 2)
        for start, end, _ in pair.part.inner.ranges.tolist()
    ]


def _is_in_body(body: BodyTree, X_WG: Pose, p_W: Array, p_G: Array) -> bool:
    """Whether a point is inside a body; raises EngineError where that can't be told."""
    t = body.tree
    is_closed = all(piece.mesh is None or piece.mesh.n_open_edges == 0 for piece in body.pieces)
    if is_closed and is_way_up_free(
        t.vertices, t.faces, t.boxes, t.first, t.count, X_WG.R_AB, X_WG.p_AB, *(float(v) for v in p_W)
    ):
        return False
    return any(_is_in_piece(piece, p_G) for piece in body.pieces)


def _is_in_piece(piece: Piece, p_G: Array) -> bool:
    vertices = piece.outer.vertices
    if (p_G < vertices.min(axis=0)).any() or (p_G > vertices.max(axis=0)).any() or _is_off_hull(vertices, p_G):
        return False
    return has_inside(piece.mesh or as_mesh(piece.inner), p_G[None, :])


def _is_off_hull(vertices: Array, p: Array) -> bool:
    """Whether a point is outside the convex hull of vertices."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        equations = ConvexHull(hull_cover(vertices)).equations
    except QhullError:
        return False
    return bool((equations[:, :3] @ p + equations[:, 3]).max() > 0.0)
