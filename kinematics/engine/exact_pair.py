"""A round part against a body over a move, by the exact engine: the interval of the clearance, and where.

1. `at_least` is the distance of the profiles around the part to the triangles around the body. `value` is
   attained by a point of the true body and a profile inside the true part, at a tip position of the move.
2. Contact is told, not measured: depth and proof of contact are for `pair.py`.
3. Surfaces only touch or do not. A part that touches nothing is inside a body only if its middle is: what can
   leave straight up is outside; elsewhere the winding number decides.
4. What this file does not know: set-up errors, verdicts, bodies of the head.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinematics.engine.chains import Chains, chains
from kinematics.engine.exact_leaf import profile_near
from kinematics.engine.pair import ROUNDING, Bound, Clear, as_mesh, has_inside
from kinematics.engine.position_sets import PositionSets, position_sets
from kinematics.engine.round_clearance import is_way_up_free, least, point_least
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.engine.triangle_tree import TriangleTree, triangle_tree
from kinematics.pose import Array, Pose
from kinematics.solids import Piece, Triangles

FAR = 1e-3  # mm; the exact move can't be nearer than the swept one by more than the sweep and this


@dataclass(frozen=True, slots=True, eq=False)
class RoundPart:
    """A part of the tool as convex profiles: `outer` cover it, `inner` lie in it."""

    outer: Chains
    inner: Chains


def round_part(outer: Sequence[RoundPiece], inner: Sequence[RoundPiece]) -> RoundPart:
    around = chains(outer)
    return RoundPart(around, around if list(outer) == list(inner) else chains(inner))


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class BodyTree:
    """The triangles around all pieces of a body in one tree; `ends[k]` counts those of pieces 0..k."""

    pieces: tuple[Piece, ...]
    ends: tuple[int, ...]
    tree: TriangleTree
    chord_error: float

    def piece_of(self, face: int) -> Piece:
        return next(p for p, end in zip(self.pieces, self.ends, strict=True) if face < end)


def body_tree(pieces: Sequence[Piece]) -> BodyTree:
    """The tree over the outer triangles of a body's pieces, in its frame G."""
    ends = tuple(int(n) for n in np.cumsum([len(p.outer.faces) for p in pieces]))
    if len(pieces) == 1:
        joined = pieces[0].outer
    else:
        before = np.cumsum([0] + [len(p.outer.vertices) for p in pieces])
        faces = [p.outer.faces + n for p, n in zip(pieces, before, strict=False)]
        joined = Triangles(np.concatenate([p.outer.vertices for p in pieces]), np.concatenate(faces).astype(np.int32))
    return BodyTree(tuple(pieces), ends, triangle_tree(joined), max(p.chord_error for p in pieces))


@dataclass(frozen=True, slots=True, eq=False)
class MoveSets:
    """The position sets of a move, one by one and as arrays."""

    sets: tuple[Positions, ...]
    arrays: PositionSets


def move_sets(sets: Sequence[Positions]) -> MoveSets:
    return MoveSets(tuple(sets), position_sets(sets))


def exact_clearance(
    part: RoundPart, move: MoveSets, down: float, body: BodyTree, X_WG: Pose, *, beyond: float = math.inf
) -> Clear | Bound | None:
    """The clearance of a round part over a move; None on contact, or where the surfaces around the two touch.

    Parameters
    ----------
    down : how far the stick-out may be longer than given, mm.
    beyond : stop with a Bound as soon as the clearance is proven to be at least this.

    Raises EngineError where it can't be told whether the part is inside the body.
    """
    cap = beyond + body.chord_error + ROUNDING
    found = least(part.outer, move.arrays, down, body.tree, X_WG, cap)
    if found.distance <= 0.0:
        return None
    if _is_inside(part, move, body, X_WG):
        return None
    if found.distance >= cap:
        return Bound(beyond)
    at_least = found.distance - body.chord_error - ROUNDING
    X_GW = X_WG.inverse()
    piece = body.piece_of(found.face)
    p = X_WG.points(piece.on_solid(X_GW.points(np.array([found.p]))))[0]
    return attained(part.inner, move, down, found.set_index, p, at_least)


def near_enough(part: RoundPart, move: MoveSets, down: float, body: BodyTree, X_WG: Pose, cap: float) -> float | None:
    """The proven clearance of a round part, or `cap` where it is at least that; None on contact.

    As `exact_clearance`, without where and without what is attained: for searches that need one number.
    """
    beyond = cap + body.chord_error + ROUNDING
    found = least(part.outer, move.arrays, down, body.tree, X_WG, beyond)
    if found.distance <= 0.0 or _is_inside(part, move, body, X_WG):
        return None
    return cap if found.distance >= beyond else found.distance - body.chord_error - ROUNDING


def attained(inner: Chains, move: MoveSets, down: float, i: int, p: Array, at_least: float) -> Clear:
    """The clearance at a point of the true body: the nearest true tool point over the positions of set i."""
    arrays, positions = move.arrays, move.sets[i]
    x, y, z = float(p[0]), float(p[1]), float(p[2])
    up = positions.up
    q0, q1 = int(arrays.starts[i]), int(arrays.starts[i + 1])
    value, chain, qx, qy, qz = point_least(inner.profile, inner.ranges, down, up, x, y, z, arrays.points, q0, q1)
    q = np.array([qx, qy, qz])
    if positions.arc is not None:
        q = positions.on_path(q)
        value, chain, *_ = point_least(inner.profile, inner.ranges, down, up, x, y, z, q[None, :], 0, 1)
    r, height, rise = nearest_on_chain(inner, chain, down, up, math.hypot(x - q[0], y - q[1]), z - float(q[2]))
    rho = math.hypot(x - q[0], y - q[1])
    away = (p[:2] - q[:2]) / rho if rho > 0.0 else np.array([1.0, 0.0])
    p_tool = np.array([q[0] + away[0] * r, q[1] + away[1] * r, q[2] + height])
    return Clear(at_least, max(at_least, value), p_tool, p, q + (0.0, 0.0, rise))


def nearest_on_chain(
    part: Chains, chain: int, down: float, up: float, rho: float, z: float
) -> tuple[float, float, float]:
    """The point (r, z) of a lifted chain nearest to (rho, z), and the least lift at which the chain has it."""
    first, last, split = (int(v) for v in part.ranges[chain])
    _, r, height = profile_near(part.profile, first, last, split, down, up, rho, z)
    rows = part.profile[first : last + 1]
    low, high = float(rows[0, 1]), float(rows[-1, 1])
    for (ar, az), (br, bz) in zip(rows[:-1].tolist(), rows[1:].tolist(), strict=True):
        if ar < r <= br:  # widening: from here on up the chain is at least so wide
            low = max(low, az + (bz - az) * (r - ar) / (br - ar))
        elif br < r <= ar:
            high = min(high, az + (bz - az) * (ar - r) / (ar - br))
    rise = height - high if height > high else height - low if height < low else 0.0
    return r, height, min(max(rise, -down), up)


def _is_inside(part: RoundPart, move: MoveSets, body: BodyTree, X_WG: Pose) -> bool:
    """Whether a part that touches no surface of the body is inside it; raises EngineError if that can't be told."""
    first, last, _ = part.outer.ranges[0]
    z = (part.outer.profile[first, 1] + part.outer.profile[last, 1]) / 2
    middle = move.arrays.points[0] + (0.0, 0.0, z)
    p_G = X_WG.inverse().points(middle)
    box = body.tree.boxes[0]
    if (p_G < box[:3]).any() or (p_G > box[3:]).any():
        return False
    t = body.tree
    is_closed = all(p.mesh is None or p.mesh.n_open_edges == 0 for p in body.pieces)
    if is_closed and is_way_up_free(
        t.vertices, t.faces, t.boxes, t.first, t.count, X_WG.R_AB, X_WG.p_AB, *(float(v) for v in middle)
    ):
        return False
    return any(has_inside(p.mesh or as_mesh(p.outer), p_G[None, :]) for p in body.pieces)
