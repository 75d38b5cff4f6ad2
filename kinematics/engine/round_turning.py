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
from kinematics.engine.chains import Chains
from kinematics.engine.exact_pair import BodyTree, RoundPart
from kinematics.engine.joined_bodies import JoinedBodies
from kinematics.engine.pair import as_mesh, has_inside
from kinematics.engine.round_clearance import is_way_up_free
from kinematics.engine.sweep import Positions, hull_cover
from kinematics.engine.turning import TurnPair, TurnResult, Witness, crude_bounds, least_over_turn
from kinematics.engine.turning_bounds import Stretch, farthest
from kinematics.engine.turning_pieces import Box, TurnAxis
from kinematics.errors import EngineError
from kinematics.mesh_topology import face_labels
from kinematics.pose import Array, Pose, identity
from kinematics.solids import Piece

Ints = NDArray[np.int64]

MAX_QUERIES = 200_000  # exact triangles after which a swing counts as not settled
FEW = 2_000  # within which the spare is told as finely as it may be
NEAR = 1e-6  # mm; a point so near to the box around a body counts as in it, whatever the order of its turns rounds


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
        return self.carried(angles_deg) @ self.X_CG.relabelled("A", "G")

    def carried(self, angles_deg: Sequence[float]) -> Pose:
        """X_WC of what the last axis carries."""
        X = identity("A")
        for axis, angle in zip(self.axes, angles_deg, strict=True):
            X = X @ axis.pose(angle)
        return X


# ---- the search ------------------------------------------------------------------------------------


def least_over_round_turn(
    pairs: Sequence[RoundPair],
    enough: Enough,
    joined: JoinedBodies,
    *,
    known: float = math.inf,
    max_queries: int | None = None,
) -> TurnResult:
    """Search all pairs over their boxes until `enough`; the witness's pair is one of `pairs`.

    A proven contact ends the search at once. All pairs have the same axes, or the first of them, or none. `known`: a
    value that others attain, so that more than this need not be told: then there is no witness, and `at_most` is
    infinite. `max_queries`: MAX_QUERIES unless given.
    """
    if not pairs:
        return TurnResult(math.inf, math.inf, None, 0, is_settled=True)
    asked = _Asked(pairs, joined)
    return asked.inside or asked.least(enough, known, MAX_QUERIES if max_queries is None else max_queries)


def least_over_any_turn(
    pairs: Sequence[TurnPair | RoundPair], enough: Enough, fine: Enough, joined: JoinedBodies
) -> TurnResult:
    """Search pairs of both kinds until `enough`.

    The kind that may come nearer comes first, so that of the other only what is nearer still is looked at. Those of
    round parts are quick: for FEW queries they are searched until `fine`.
    """
    round_ones = [pair for pair in pairs if isinstance(pair, RoundPair)]
    others = [pair for pair in pairs if isinstance(pair, TurnPair)]
    if not round_ones:
        return least_over_turn(others, enough)
    asked = _Asked(round_ones, joined)
    if asked.inside:
        return asked.inside
    if not others:
        return _quick(asked, enough, fine, math.inf)
    crude, of_round = crude_bounds(others), asked.crude_bound()
    if min(crude) < of_round:
        b = least_over_turn(others, enough, crude=crude)
        if b.at_most <= of_round or (b.witness is not None and b.witness.is_proven):
            return replace(b, unknown=tuple(dict.fromkeys((*asked.unknown, *b.unknown))))
        return _lesser(_quick(asked, enough, fine, b.at_most), b)
    a = _quick(asked, enough, fine, math.inf)
    if a.witness is not None and a.witness.is_proven:
        return a
    return _lesser(a, least_over_turn(others, enough, known=a.at_most, crude=crude))


def _quick(asked: _Asked, enough: Enough, fine: Enough, known: float) -> TurnResult:
    """A search until `fine`, or where that takes more than FEW queries, until `enough`."""
    first = asked.least(fine, known, FEW)
    if first.is_settled:
        return first
    if enough(first.at_least, min(first.at_most, known)):
        return replace(first, is_settled=True)
    again = asked.least(enough, known, MAX_QUERIES)
    return replace(again, n_queries=first.n_queries + again.n_queries)


def _lesser(a: TurnResult, b: TurnResult) -> TurnResult:
    """The results of two searches as those of one."""
    is_by_b = b.witness is not None and (b.witness.is_proven or b.at_most < a.at_most)
    return TurnResult(
        min(a.at_least, b.at_least),
        min(a.at_most, b.at_most),
        b.witness if is_by_b else a.witness,
        a.n_queries + b.n_queries,
        is_settled=a.is_settled and b.is_settled,
        unknown=tuple(dict.fromkeys((*a.unknown, *b.unknown))),
    )


class _Asked:
    """Pairs as arrays: bodies where they stand, parts over position sets, boxes of angles, each of them once.

    `of_pair` (n_pairs, 3): which tool, which body and which box of angles.
    """

    def __init__(self, pairs: Sequence[RoundPair], joined: JoinedBodies) -> None:
        self.pairs = pairs
        longest = max((pair.axes for pair in pairs), key=len)
        assert all(pair.axes is longest or pair.axes == longest[: len(pair.axes)] for pair in pairs), "of the same axes"
        self.axes = np.array([[*a.origin, *a.direction] for a in longest] + [[0.0] * 6] * (2 - len(longest)))
        tools: dict[tuple[int, int], int] = {}
        bodies: dict[tuple[int, int, int], int] = {}
        boxes: dict[tuple[Box, tuple[TurnAxis, ...]], int] = {}
        self._tools: list[RoundPair] = []  # the first pair with each
        self._bodies: list[RoundPair] = []
        self._boxes: list[RoundPair] = []
        rows = []
        last_box, angles = None, 0
        for pair in pairs:
            tool = tools.setdefault((id(pair.part), id(pair.positions)), len(tools))
            if tool == len(self._tools):
                self._tools.append(pair)
            body = bodies.setdefault((id(pair.body), id(pair.X_CG), len(pair.axes)), len(bodies))
            if body == len(self._bodies):
                self._bodies.append(pair)
            if pair.box is not last_box:
                last_box, angles = pair.box, boxes.setdefault((pair.box, pair.axes), len(boxes))
                if angles == len(self._boxes):
                    self._boxes.append(pair)
            rows.append((tool, body, angles))
        self.of_pair: Ints = np.array(rows, dtype=np.int64)
        self._join_bodies(joined)
        self._join_tools()
        self._longest, self._has_far = len(longest), False
        ends = [[end for stretch in p.box for end in stretch] + [0.0] * (4 - 2 * len(p.box)) for p in self._boxes]
        self.stretches = np.array(ends)
        self.n_axes: Ints = np.array([len(p.box) for p in self._boxes], dtype=np.int64)
        self.inside, self.unknown = _inside(self)
        self.rows, self.values = self._units()

    def crude_bound(self) -> float:
        """A lower bound of what any of the pairs has left."""
        return self.least(Enough(), math.inf, 0).at_least

    def least(self, enough: Enough, known: float, allowed: int) -> TurnResult:
        """The search over the boxes, with so many exact triangles at most; `inside` is known to be None."""
        units, result = self.rows, np.zeros(12)
        if allowed > 0 and not self._has_far:
            self._put_far()
        status, unit, n_exact, _ = turning_search.search(
            self.tool, self.axes, units, self.values, self.arrays,
            self.stretches, self.n_axes, np.array(enough.numbers()), known, allowed, result,
        )  # fmt: skip
        at_least, at_most, value = (float(v) for v in result[:3])
        if unit < 0:
            return TurnResult(at_least, math.inf, None, n_exact, status == turning_search.SETTLED, self.unknown)
        pair = self.pairs[int(units[unit, turning_search.PAIR])]
        where = tuple(float(a) for a in result[3 : 3 + len(pair.axes)])
        contact = None
        if status == turning_search.CONTACT:
            before = self._places[int(units[unit, turning_search.BODY])].face
            rows = self.tool.profile[units[unit, turning_search.FIRST] : units[unit, turning_search.LAST] + 1]
            face = int(pair.body.tree.order[int(result[11]) - before])
            contact = "inside" if _is_swallowed(pair, where, face, rows) else "overlap"
        witness = Witness(pair, where, value, result[5:8].copy(), result[8:11].copy(), contact, contact is not None)
        is_settled = contact is not None or enough(at_least, at_most)
        return TurnResult(at_least, at_most, witness, n_exact, is_settled, self.unknown)

    def _join_bodies(self, joined: JoinedBodies) -> None:
        of, self._places = joined.of([pair.body for pair in self._bodies])
        self.poses = np.array([[*p.X_CG.R_AB.ravel(), *p.X_CG.p_AB] for p in self._bodies])
        n_axes: Ints = np.array([len(pair.axes) for pair in self._bodies], dtype=np.int64)
        roots: Ints = np.array([place.root for place in self._places], dtype=np.int64)
        within: Ints = np.array([place.to_inner for place in self._places], dtype=np.int64)
        chord = np.array([pair.body.chord_error for pair in self._bodies])
        self.arrays = turning_search.Bodies(
            n_axes, roots, within, self.poses, chord, of.vertices, of.faces, of.boxes, of.first, of.counts, of.piece_of,
            of.solids,
        )  # fmt: skip

    def _join_tools(self) -> None:
        """Profiles, stretches and tip positions as arrays; for each tool the rows of its stretches."""
        profiles: list[Array] = []
        ranges: list[Ints] = []
        points: list[Array] = []
        self._columns: list[Ints] = []
        self._values: list[Array] = []
        starts: dict[int, int] = {}  # of the profiles and of the points, by their identity
        sizes = {"rows": 0, "ranges": 0, "points": 0}

        def put(own: Chains) -> int:
            if id(own) not in starts:
                starts[id(own)] = sizes["ranges"]
                profiles.append(own.profile)
                ranges.append(own.ranges + sizes["rows"])
                sizes["rows"] += len(own.profile)
                sizes["ranges"] += len(own.ranges)
            return starts[id(own)]

        for pair in self._tools:
            part, positions = pair.part, pair.positions
            outer, inner = put(part.outer), put(part.inner)
            if id(positions) not in starts:
                assert positions.is_level and positions.arc is None, "a tool waits at one height"
                starts[id(positions)] = sizes["points"]
                points.append(positions.points)
                sizes["points"] += len(positions.points)
            q0, n = starts[id(positions)], len(part.outer.ranges)
            columns = np.zeros((n, 7), dtype=np.int64)
            columns[:, 3:] = (inner, inner + len(part.inner.ranges), q0, q0 + len(positions.points))
            columns[:, :3] = np.concatenate(ranges)[outer : outer + n]
            self._columns.append(columns)
            values = np.zeros((n, 5))
            values[:, :2] = (positions.down, positions.up)
            self._values.append(values)
        self.tool = turning_search.Tool(np.concatenate(profiles), np.concatenate(ranges), np.concatenate(points))

    def _units(self) -> tuple[Ints, Array]:
        """Every stretch of every pair, in the columns that the search reads."""
        rows, of = self._rows_of_tools, _ = _spread([len(c) for c in self._columns], self.of_pair[:, 0])
        units: Ints = np.zeros((len(rows), 10), dtype=np.int64)
        units[:, :7] = np.concatenate(self._columns)[rows]
        units[:, 7:9] = self.of_pair[of, 1:]
        units[:, 9] = of
        values = np.concatenate(self._values)[rows]
        values[:, 2] = np.array([pair.subtract for pair in self.pairs])[of]
        return units, values

    def _put_far(self) -> None:
        """How far each stretch ever is from the axes, which only a search needs that goes beyond the first bounds."""
        far = [_far_from_axes(pair.part, pair.positions, self.axes, self._longest) for pair in self._tools]
        self.values[:, 3:] = np.concatenate(far)[self._rows_of_tools]
        self._has_far = True

    def middles(self) -> tuple[Ints, Array, Array]:
        """What may be inside: rows of pairs (n,), points in W and in the body's frame (n, 3).

        A point well inside each true stretch of a part, with the table in the middle of the angles; those that are
        within the box around the body.
        """
        points = [_middles(pair) for pair in self._tools]
        rows, of = _spread([len(p) for p in points], self.of_pair[:, 0])
        p_W = np.concatenate(points)[rows]
        body, box = self.of_pair[of, 1], self.of_pair[of, 2]
        chains = [pair.carried([(low + high) / 2 for low, high in pair.box]) for pair in self._boxes]
        R_WC, p_WC = np.array([X.R_AB for X in chains])[box], np.array([X.p_AB for X in chains])[box]
        R_CG, p_CG = self.poses[body, :9].reshape(-1, 3, 3), self.poses[body, 9:]
        p_C = np.einsum("nji,nj->ni", R_WC, p_W - p_WC)
        p_G = np.einsum("nji,nj->ni", R_CG, p_C - p_CG)
        around = self.arrays.boxes[self.arrays.roots][body]
        near = np.flatnonzero(((p_G >= around[:, :3] - NEAR) & (p_G <= around[:, 3:] + NEAR)).all(axis=1))
        return of[near], p_W[near], p_G[near]


def _spread(sizes: Sequence[int], which: Ints) -> tuple[Ints, Ints]:
    """Rows of blocks that stand one behind another, those of block which[k] for each k; and the k of each row."""
    n = np.array(sizes, dtype=np.int64)
    starts = np.cumsum(n) - n
    lengths = n[which]
    of = np.repeat(np.arange(len(which)), lengths)
    before = np.cumsum(lengths) - lengths
    return starts[which][of] + np.arange(len(of)) - before[of], of


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


# ---- inside ------------------------------------------------------------------------------------------


def _inside(asked: _Asked) -> tuple[TurnResult | None, tuple[str, ...]]:
    """A part whose middle is inside a body, or why that can't be told."""
    unknown: dict[str, None] = {}
    for k, p_W, p_G in zip(*asked.middles(), strict=True):
        pair = asked.pairs[int(k)]
        angles = tuple((low + high) / 2 for low, high in pair.box)
        try:
            if _is_in_body(pair.body, pair.pose(angles), p_W, p_G):
                witness = Witness(pair, angles, 0.0, p_W, p_W, "inside", is_proven=True)
                return TurnResult(-math.inf, -pair.subtract, witness, 0, is_settled=True), ()
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


def _middles(pair: RoundPair) -> Array:
    """Points (n, 3) in W, one well inside each true stretch of a part."""
    ranges, z = pair.part.inner.ranges, pair.part.inner.profile[:, 1]
    middles = np.repeat(pair.positions.points[:1], len(ranges), axis=0)
    middles[:, 2] += (z[ranges[:, 0]] + z[ranges[:, 1]]) / 2
    return middles


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
