"""Many holders and stick-outs at one cut: the room of each, certified, from what the tool sees round its axis.

1. `height_bins.py` boils a body, met from all tip positions of a cut, down to the least radius in every bin of
   height. Built once, that answers for any stack of frusta at any stick-out: when only the stick-out
   changes, the tip stays and the same stack stands higher.
2. `subtract` of a body is taken off its clearance before bodies are compared: set-up errors differ by body.
   What differs by part (keep-off) is the caller's: each part is a profile of its own.
3. A tree of boxes over the bins is walked for each stack: every answer is an interval, no wider than the
   tolerance for the bins alone. What the bins leave open (next to contact, outside their range, where
   lifts differ) is settled by `round_clearance.least`.
4. A lift sweeps the stack up, a stick-out that may be longer sweeps it down. Positions that rise by
   different heights are kept apart, or, where they are many, bounded by the least and the largest rise.
5. Contact is never a distance: it reads -inf. `lo` = -inf: contact is not excluded; `hi` = -inf: it is proven.
6. A solid that holds a part without touching it is contact too: the stretch of the axis in the solid is
   among what the tool sees. Of bodies that are not closed this can't be told: `is_solid` says no.
7. What this file does not know: verdicts, keep-offs, how a stick-out is searched, facets of round bodies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kinematics.engine.chains import Chains, Frustum, chains
from kinematics.engine.exact_leaf import triangle_least
from kinematics.engine.height_bins import add_body, add_inside, crossings, height_bins
from kinematics.engine.position_sets import Ints, PositionSets, position_sets, sets_of
from kinematics.engine.room_search import ROUNDING, Boxes, Group, boxes_over, rooms_of
from kinematics.engine.round_clearance import Least, corners_in_W, least
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.engine.triangle_tree import TriangleTree, triangle_tree
from kinematics.errors import EngineError
from kinematics.pose import Array, Pose, identity
from kinematics.solids import Triangles

TOLERANCE = 0.02  # mm; how wide an answer is at most
SLACK = 0.002  # mm; walls that differ by no more are not opened one by one
MOST_GROUPS = 4  # of positions that rise alike


@dataclass(frozen=True, slots=True, eq=False)
class NearBody:
    """A body round the tool, posed in W, with what is taken off its clearance.

    Parameters
    ----------
    subtract : mm, taken off every clearance of the body.
    error : mm, how far the triangles may lie inside the true body; taken off what is proven only.
    is_solid : the surface is closed, so that what is wholly inside it is in contact.
    """

    name: str
    tree: TriangleTree
    X_WG: Pose
    subtract: float = 0.0
    error: float = 0.0
    is_solid: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """Clearance less `subtract`, of each profile at each shift, as intervals; arrays (n_profiles, n_shifts).

    Parameters
    ----------
    lo, hi : mm, lo <= room <= hi; -inf on contact, +inf where nothing is near.
    body : number of the body that gives `hi`, -1 without one.
    frustum : number of the frustum of the profile that gives it.
    face, set_index : row of that body's `tree.faces`, and the position set of the move.
    """

    lo: Array
    hi: Array
    body: NDArray[np.int32]
    frustum: NDArray[np.int32]
    face: NDArray[np.int32]
    set_index: NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class _Inside:
    """A stretch of the axis inside a solid, at the tip position of one set."""

    low: float
    high: float
    body: int
    face: int
    set_index: int


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """What a tool sees of the bodies round it over one cut. Made by `envelope`.

    `move` are the positions; `least_up` (n_sets,): the rise that no change of the lift can shorten.
    """

    bodies: tuple[NearBody, ...]
    move: PositionSets
    least_up: Array
    tolerance: float
    _groups: tuple[Group, ...]
    _inside: tuple[_Inside, ...]
    _boxes: Boxes

    def with_subtracts(self, subtracts: Sequence[float]) -> Envelope:
        """The same surroundings with other numbers taken off, one for each body; takes a millisecond."""
        bodies = tuple(replace(b, subtract=s) for b, s in zip(self.bodies, subtracts, strict=True))
        boxes = _boxes(bodies, self._groups)
        return replace(self, bodies=bodies, _boxes=boxes)

    def rooms(
        self,
        profiles: Sequence[Sequence[Frustum]],
        shifts: ArrayLike,
        *,
        down: float = 0.0,
        raised: ArrayLike = 0.0,
        taller: ArrayLike = 0.0,
        cap: float = math.inf,
        is_refined: bool = True,
    ) -> Room:
        """The room of every profile at every shift.

        Parameters
        ----------
        profiles : stacks of frusta, heights over the tip at shift 0. One for each part of which the room is
            wanted; the room of a whole holder is that of all its frusta as one profile.
        shifts : (n_shifts,) or (n_profiles, n_shifts), mm by which the stack stands higher over the tip.
        down : the stick-out may be longer by this: swept.
        raised : like `shifts`; by how much more (or less) the tool lifts than the positions were given with,
            never less than their `least_up`. With a lift to a fixed height of the gauge line a longer stick-out
            lifts less: then minus the shift.
        taller : like `shifts`; by how much the frusta are taller than given: a shank that reaches up to the
            holder is one of the least length and taller by the shift.
        cap : rooms of at least this are of no interest: then lo is at least `cap` and hi may be +inf.
        is_refined : settle what the bins leave open, one by one; otherwise it stays as wide as it is.

        Returns
        -------
        Room. `hi - lo` is at most `tolerance` (plus the `error` of the body that is nearest).
        """
        rows = [(f.r1, f.r2, f.z1, f.z2) for profile in profiles for f in profile]
        frusta = np.array(rows, dtype=np.float64).reshape(-1, 4)
        starts = np.cumsum([0] + [len(p) for p in profiles], dtype=np.int64)
        n_shifts = np.asarray(shifts).shape[-1]
        tables = [_table(v, (len(profiles), n_shifts)) for v in (shifts, raised, taller)]
        lo, hi, at = rooms_of(
            frusta, starts, tables[0], tables[1], tables[2], down, cap, self.tolerance - 2 * ROUNDING,
            self._boxes.box, self._boxes.attained, self._boxes.levels, self._boxes.sizes, self._boxes.rises,
        )  # fmt: skip
        known = np.concatenate([self._boxes.who, np.full((1, 3), -1, dtype=np.int32)])
        who = known[at[..., 0]]  # -1 is the row without a body
        room = Room(lo, hi, who[..., 0], at[..., 1].copy(), who[..., 1], who[..., 2])
        if is_refined:
            self._refine(room, profiles, tables, down, cap)
        return room

    def nearest(
        self,
        profile: Sequence[Frustum],
        shift: float,
        room: Room,
        at: tuple[int, int],
        *,
        down: float = 0.0,
        raised: float = 0.0,
        taller: float = 0.0,
    ) -> Least:
        """Where the room of profile and shift number `at` is: point of the body and tip position in W, mm.

        The distance is that of the triangle which gives `hi`, exact.
        """
        body = self.bodies[room.body[at]]
        face, i = int(room.face[at]), int(room.set_index[at])
        triangle = np.zeros((3, 3))
        corners_in_W(body.tree.vertices, body.tree.faces, face, body.X_WG.R_AB, body.X_WG.p_AB, triangle)
        part = _shifted(profile, shift)
        up = self._lifted(raised, taller)[i]
        found = [
            triangle_least(
                part.profile, first, last, split, down, up,
                triangle, self.move.points, self.move.starts[i], self.move.starts[i + 1], math.inf,
            )
            for first, last, split in part.ranges
        ]  # fmt: skip
        chain = min(range(len(found)), key=lambda k: found[k][0])
        d, px, py, pz, qx, qy, qz = found[chain]
        return Least(d, (px, py, pz), (qx, qy, qz), chain, int(body.tree.order[face]), i)

    def _lifted(self, raised: float, taller: float) -> Array:
        return np.maximum(self.least_up, self.move.up + raised) + taller

    def _refine(
        self, room: Room, profiles: Sequence[Sequence[Frustum]], tables: Sequence[Array], down: float, cap: float
    ) -> None:
        """Settle what is wider than the tolerance, exactly."""
        slack = np.array([b.error for b in self.bodies] + [0.0])[room.body] + self.tolerance
        is_open = (room.lo < cap) & ~(room.hi == -math.inf) & ~(room.hi <= room.lo + slack)
        moves: dict[tuple[float, float], PositionSets] = {}
        for p, s in zip(*np.nonzero(is_open), strict=True):
            shift, raised, taller = (float(t[p, s]) for t in tables)
            if (raised, taller) not in moves:
                up = self._lifted(raised, taller)
                moves[raised, taller] = sets_of(self.move.points, self.move.starts, up)
            self._settle(room, (p, s), profiles[p], shift, moves[raised, taller], down, cap)

    def _settle(
        self, room: Room, at: tuple[int, int], profile: Sequence[Frustum], shift: float, move: PositionSets,
        down: float, cap: float,
    ) -> None:  # fmt: skip
        low = min(f.z1 for f in profile) + shift - down
        high = max(f.z2 for f in profile) + shift
        for inside in self._inside:
            if inside.low < high + move.up[inside.set_index] and inside.high > low:
                room.lo[at] = room.hi[at] = -math.inf
                room.body[at], room.face[at], room.set_index[at] = inside.body, inside.face, inside.set_index
                return
        part = _shifted(profile, shift)
        lo = hi = min(room.hi[at], cap)
        for b, body in enumerate(self.bodies):
            found = least(part, move, down, body.tree, body.X_WG, hi + body.subtract + body.error + 2 * ROUNDING)
            if found.distance == math.inf:
                continue
            proven = found.distance - body.error - ROUNDING
            lo = min(lo, proven - body.subtract if proven > 0.0 else -math.inf)
            value = found.distance - body.subtract if found.distance > 0.0 else -math.inf
            if value < hi:
                hi = value
                room.hi[at], room.body[at], room.set_index[at] = value, b, found.set_index
                room.face[at] = int(np.flatnonzero(body.tree.order == found.face)[0])
                room.frustum[at] = _frustum_at(profile, part, found, shift)
            if hi == -math.inf:
                break
        room.lo[at] = min(lo, hi)


def envelope(
    bodies: Sequence[NearBody],
    sets: Sequence[Positions],
    heights: tuple[float, float],
    *,
    least_up: Sequence[float] | None = None,
    tolerance: float = TOLERANCE,
) -> Envelope:
    """What a tool sees of bodies over the position sets of a cut.

    Parameters
    ----------
    sets : tip positions in W; their own `down` is not used, it belongs to `rooms`.
    heights : over the tip, the lowest and the highest at which answers from the bins alone are to be sharp: what
        the profiles reach (lifts left out), and as far around as the rooms of interest. Beyond, they are bounds.
    least_up : the rise of each set that no change of the lift shortens (the retract); None: `up` never changes.
    tolerance : mm, how wide an answer may be.

    Raises EngineError where a solid turns out not to be closed.
    """
    move = position_sets(sets)
    fixed = move.up.copy() if least_up is None else np.array(least_up, dtype=np.float64)
    step = math.sqrt(max((tolerance - 3 * ROUNDING) ** 2 - SLACK**2, (tolerance / 2) ** 2))
    groups, inside = [], []
    for members in _alike(move.up, fixed):
        own = sets_of_some(move, members)
        bins = []
        for b, body in enumerate(bodies):
            seen = height_bins(heights[0], heights[1], step, min(SLACK, tolerance / 4))
            add_body(seen, body.tree, body.X_WG, own)
            if body.is_solid:
                for low, high, face, i in stretches_inside(body, move, members):
                    add_inside(seen, low, high, face, int(np.flatnonzero(members == i)[0]))
                    inside.append(_Inside(low, high, b, face, i))
            bins.append(seen)
        bins = bins or [height_bins(heights[0], heights[1], step, SLACK)]
        up, least_of = move.up[members], fixed[members]
        rises = (float(up.min()), float(up.max()), float(least_of.min()), float(least_of.max()))
        groups.append(Group(members, rises, tuple(bins)))
    boxes = _boxes(bodies, groups)
    return Envelope(tuple(bodies), move, fixed, tolerance, tuple(groups), tuple(inside), boxes)


def sets_of_some(move: PositionSets, members: Ints) -> PositionSets:
    """Some of the sets of a move as a move of their own."""
    if len(members) == len(move.up):
        return move
    sizes = np.diff(move.starts)[members]
    rows = np.concatenate([np.arange(move.starts[i], move.starts[i + 1]) for i in members])
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return sets_of(np.ascontiguousarray(move.points[rows]), starts, move.up[members])


def _alike(up: Array, least_up: Array) -> list[Ints]:
    """Numbers of the sets that rise alike; at most MOST_GROUPS, then those that rise and those that do not."""
    _, which = np.unique(np.column_stack([up, least_up]), axis=0, return_inverse=True)
    which = which.ravel()
    if which.max() >= MOST_GROUPS:
        which = (np.maximum(up, least_up) > 0.0).astype(np.int64)
    return [np.flatnonzero(which == k) for k in np.unique(which)]


def stretches_inside(body: NearBody, move: PositionSets, members: Ints) -> list[tuple[float, float, int, int]]:
    """Where the tool's axis is inside a solid: lowest and highest height over the tip, face where it enters, set.

    Seen from one tip position of each run of sets that touch: a part that touches no surface is inside at all
    of them or at none. Raises EngineError where the surface is not closed.
    """
    found = []
    met: set[tuple[float, ...]] = set()
    for i in members:
        corners = [tuple(float(v) for v in q) for q in move.points[move.starts[i] : move.starts[i + 1]]]
        is_new = met.isdisjoint(corners)
        met = set(corners)
        if not is_new:
            continue
        x, y, z = corners[0]
        heights, signs, faces = crossings(body.tree, body.X_WG, x, y)
        depth = np.cumsum(-signs)
        if len(depth) and depth[-1] != 0:
            raise EngineError(f"{body.name} is not closed, so inside can't be told")
        for k in np.flatnonzero(depth[:-1] > 0):
            low, high = float(heights[k]) - z, float(heights[k + 1]) - z
            if high > low:
                found.append((low, high, int(faces[k]), int(i)))
    return found


def _boxes(bodies: Sequence[NearBody], groups: Sequence[Group]) -> Boxes:
    none = [0.0]  # where there is no body there is one row of empty bins
    subtract = np.array([b.subtract for b in bodies] or none, dtype=np.float64)
    return boxes_over(groups, subtract, np.array([b.error for b in bodies] or none, dtype=np.float64))


def _table(values: ArrayLike, shape: tuple[int, int]) -> Array:
    return np.ascontiguousarray(np.broadcast_to(np.asarray(values, dtype=np.float64), shape))


def _shifted(profile: Sequence[Frustum], shift: float) -> Chains:
    part = chains(profile)
    return Chains(part.profile + (0.0, shift), part.ranges)


def _frustum_at(profile: Sequence[Frustum], part: Chains, found: Least, shift: float) -> int:
    """The lowest frustum of the chain that was nearest whose top is not under the point; else the chain's last."""
    first, last, _ = part.ranges[found.chain]
    low, high = part.profile[first, 1] - shift, part.profile[last, 1] - shift
    own = [k for k, f in enumerate(profile) if f.z1 >= low - 1e-9 and f.z2 <= high + 1e-9]
    height = float(found.p[2] - found.q[2]) - shift
    above = [k for k in own if profile[k].z2 >= height]
    return min(above or own, key=lambda k: profile[k].z2 if above else -profile[k].z2)


def a_little() -> tuple[NearBody, list[Positions], list[RoundPiece]]:
    """A body, position sets of every kind and a profile, for `warm_up`."""
    corners = np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), (0.0, 9.0, 0.0), (0.0, 0.0, 9.0)])
    faces = np.array([(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)], dtype=np.int32)
    q = np.array([(20.0, 0.0, 0.0), (20.0, 5.0, 0.0), (15.0, 5.0, 0.0), (20.0, 5.0, 5.0)])
    sets = [Positions(q[:1], 5.0), Positions(q[:2], 5.0), Positions(q[:3], 5.0), Positions(q[[0, 3]], 5.0)]
    body = NearBody("", triangle_tree(Triangles(corners, faces)), identity("W", "G"))
    return body, sets, [RoundPiece("", 3.0, 4.0, 1.0, 9.0)]


def warm_up() -> None:
    """Compile the kernels for the types that the product uses."""
    body, sets, part = a_little()
    made = envelope([body], sets, (-1.0, 1.0))
    room = made.rooms([part], [0.0])
    made.nearest(part, 0.0, room, (0, 0))
