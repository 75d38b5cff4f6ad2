"""The pairs of one cut: every tool-side part against every body, worst first, each worked out on demand.

1. Round parts are measured by the exact engine; bodies of the head, and depths of overlap, by polyhedra.
2. Pairs are opened in the order of crude lower bounds. What stays closed is proven to rank behind the pairs
   that are named, and to be farther than the nearest one.
3. What this file does not know: travel, depth, words.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from kinematics.assembly import ToolAssembly
from kinematics.engine.exact_pair import BodyTree, MoveSets, exact_clearance, move_sets
from kinematics.engine.pair import (
    ROUNDING,
    Bound,
    Clear,
    Contact,
    Node,
    Obstacle,
    ObstaclePiece,
    pair_clearance,
    position_tree,
)
from kinematics.engine.position_sets import Ints
from kinematics.engine.round_clearance import boxes_in_W, crude_bounds, farthest_from_line
from kinematics.engine.sweep import PolyPiece
from kinematics.machine import BED, W, bed_motion
from kinematics.moves.cuts import CutMove
from kinematics.pairs import BUILDER, FOLLOWS, reason_to_leave_out
from kinematics.placement import PlacedBody
from kinematics.pose import Z_AXIS, Array, Pose, as_vector, identity
from kinematics.prepared import BEHIND_TOOL, Part, Prepared
from kinematics.removed import above_plane, without_hole
from kinematics.scene import Cut, Hole, Tool
from kinematics.setup_error import OtherErrors, other_errors, stick_out_error
from kinematics.solids import Piece
from kinematics.tool_kinds import CUTTER, NECK, SHANK
from kinematics.verdict import Verdict

TIE = 0.005  # mm; pairs whose spare over keep-off differs by no more are named together
Rank = tuple[int, float]
_HITS, _CAN_HIT, _TIGHT, _CLEAR = (-v.severity for v in (Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR))


@dataclass(frozen=True, eq=False)
class Target:
    """An obstacle at one orientation, with what applies to it. `X_WG` poses its pieces in W (a bed's: as drawn)."""

    body: PlacedBody
    pieces: tuple[Piece, ...]
    tree: BodyTree
    X_WG: Pose
    order: int
    errors: OtherErrors
    is_own_workpiece: bool
    prepared: Prepared

    @property
    def name(self) -> str:
        return self.body.name

    @cached_property
    def obstacle(self) -> Obstacle:
        """The body as polyhedra, for depths and for bodies of the head."""
        posed = (ObstaclePiece(p, self.X_WG, self.prepared.trees) for p in self.pieces)
        return Obstacle(self.body.name, tuple(posed))

    @property
    def is_convex(self) -> bool:
        return all(p.is_convex for p in self.pieces)


@dataclass(frozen=True, eq=False)
class Moves:
    """Position sets of a cut as arrays; trees of polyhedra are made where a pair needs them."""

    arrays: MoveSets
    down: float

    @cached_property
    def exact(self) -> Node:
        return position_tree(self.arrays.sets)

    @cached_property
    def swept(self) -> Node:
        return self.exact if self.down == 0.0 else position_tree([s.lowered(self.down) for s in self.arrays.sets])

    @cached_property
    def box(self) -> Array:
        """(6,): low and high corner of all tip positions, lifted and lowered."""
        points = self.arrays.arrays.points
        low, high = points.min(axis=0), points.max(axis=0)
        top = max(float(s.points[:, 2].max()) + s.up for s in self.arrays.sets)
        return np.concatenate([low - (0.0, 0.0, self.down), [high[0], high[1], top]])


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A part against a body over a move, with a crude lower bound of its clearance (0: they may touch)."""

    part: Part
    target: Target
    keep_off: float
    moves: Moves
    bound: float
    key: Rank

    def behind(self, last: Rank) -> float:
        """The clearance from which on the pair is sure to rank behind `last` and not to tie with it."""
        severity = last[0]
        named = self.keep_off + last[1] + TIE  # the spare at which it would rank like the last
        if severity == _CLEAR:
            spare = max(named, self.keep_off)
        elif severity == _TIGHT:
            spare = min(max(named, 0.0), self.keep_off)
        elif severity == _CAN_HIT:
            spare = min(named, 0.0)
        else:
            spare = 0.0
        return spare + self.target.errors.total + ROUNDING

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.name


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What a pair's clearance is: of the move, and of the move with the stick-out swept."""

    exact: Clear | Contact
    swept: Clear | Contact


def rank(verdict: Verdict, spare: float | None, keep_off: float) -> Rank:
    """Sorts worst first: verdict, then spare over keep-off; an overlap without a depth before every number."""
    return -verdict.severity, -math.inf if spare is None else spare - keep_off


class CutPairs:
    """All pairs of a cut at one orientation.

    Parameters
    ----------
    bodies : obstacles with whether each is the workpiece that is cut, in file order.
    poses : X_WA of every frame A that turns.
    targets : the same bodies as another `CutPairs` of the same cut placed them, with another tool.
    """

    def __init__(
        self,
        prepared: Prepared,
        cut: Cut,
        tool: Tool,
        assembly: ToolAssembly,
        move: CutMove,
        bodies: list[tuple[PlacedBody, bool]],
        poses: dict[str, Pose],
        targets: tuple[Target, ...] | None = None,
    ) -> None:
        self.prepared, self.cut, self.assembly, self.move, self.poses = prepared, cut, assembly, move, poses
        self.scene = prepared.scene
        self.machine = self.scene.machine
        self.parts = prepared.parts(assembly)
        self.targets = targets or tuple(
            self._target(body, order, is_own=own) for order, (body, own) in enumerate(bodies)
        )
        self.left_out: list[tuple[str, str]] = []
        self.down = stick_out_error(self.scene.setup_errors, tool)
        self.moves = Moves(move_sets(move.sets), self.down)
        self._keep_offs = {p.name: self._keep_off(p) for p in self.parts}

    def _frame(self, carrier: str) -> Pose:
        """The carrier's pose in the frame in which it is compared: W, or for the bed its own."""
        return self.poses.get(carrier) or identity(W, carrier)

    def _target(self, body: PlacedBody, order: int, *, is_own: bool) -> Target:
        X_WG = self._frame(body.carrier) @ body.X_CG
        tree = self.prepared.tree_of(body.shape)

        def arm() -> float:
            first = self.machine.table_axes[0]  # the first axis stands in W, whatever the angles
            X_GW = X_WG.inverse()
            return farthest_from_line(tree.tree, X_GW.points(np.asarray(first.origin)), X_GW.direction(first.axis))

        errors = other_errors(self.scene.setup_errors, body, self.machine, arm)
        pieces = self.prepared.pieces_of(body.shape)
        return Target(body, pieces, tree, X_WG, order, errors, is_own, self.prepared)

    def _keep_off(self, part: Part) -> float:
        return self.scene.keep_off.cutter if part.name == CUTTER else self.scene.keep_off.holder

    @cached_property
    def bed_moves(self) -> Moves:
        """The tip as the bed sees it."""
        return Moves(move_sets(self.move.against_bed(self.machine)), self.down)

    # ---- which ---------------------------------------------------------------------------------

    def worst_first(self) -> Iterator[Pair]:
        """All pairs that are compared, by the worst rank that each can still have."""
        pairs = [*self._standing_as_they_are(), *self._as_cut(), *self._bed_pairs()]
        return iter(sorted(pairs, key=lambda pair: pair.key))

    def _standing_as_they_are(self) -> Iterator[Pair]:
        """Parts against everything but the workpiece that is cut."""
        heads = frozenset(b.name for b in self.prepared.head_bodies)
        for is_bed in (False, True):
            targets = [t for t in self.targets if not t.is_own_workpiece and (t.body.carrier == BED) == is_bed]
            if not targets:
                continue
            moves = self.bed_moves if is_bed else self.moves
            bounds = self._bounds(self.parts, targets, moves)
            for part, row in zip(self.parts, bounds.tolist(), strict=True):
                for target, bound in zip(targets, row, strict=True):
                    if is_bed and part.name in heads:
                        reason = reason_to_leave_out(
                            part.name, self.assembly, target.body, is_own_workpiece=False, head_parts=heads
                        )
                        if reason is not None:
                            self.left_out.append((f"{part.name} - {target.name}", reason))
                            continue
                    yield self._pair(part, target, moves, bound)

    def _as_cut(self) -> Iterator[Pair]:
        """Parts against the workpiece that is cut, without what the cutter takes."""
        heads = frozenset(b.name for b in self.prepared.head_bodies)
        for target in (t for t in self.targets if t.is_own_workpiece):
            moves = self.bed_moves if target.body.carrier == BED else self.moves
            for part in self.parts:
                reason = reason_to_leave_out(
                    part.name, self.assembly, target.body, is_own_workpiece=True, head_parts=heads
                )
                against = self._cut_target(part, target, reason)
                if against is None:
                    self.left_out.append((f"{part.name} - {target.name}", reason or FOLLOWS))
                    continue
                bound = float(self._bounds((part,), [against], moves)[0, 0])
                yield self._pair(part, against, moves, bound)

    def _bed_pairs(self) -> Iterator[Pair]:
        """What the table carries against the bed, where linear axes move the table."""
        parts = self.prepared.bed_parts()
        if not parts:
            return
        moves = Moves(move_sets(self.move.of_bed(self.machine)), 0.0)
        targets = [t for t in self.targets if t.body.carrier != BED]
        bounds = self._bounds(parts, targets, moves)
        for part, row in zip(parts, bounds.tolist(), strict=True):
            is_machine = any(b.name == part.name and b.is_machine for b in self.prepared.placed.bodies)
            for target, bound in zip(targets, row, strict=True):
                if is_machine and target.body.is_machine:
                    self.left_out.append((f"{part.name} - {target.name}", BUILDER))
                    continue
                yield self._pair(part, target, moves, bound)

    def _pair(self, part: Part, target: Target, moves: Moves, bound: float) -> Pair:
        keep_off = self._keep_offs.get(part.name, self.scene.keep_off.holder)
        spare = bound - target.errors.total
        if bound > 0.0:
            key = (_CAN_HIT if spare <= 0.0 else _TIGHT if spare < keep_off else _CLEAR, spare - keep_off)
        else:
            key = (_HITS, -math.inf)
        return Pair(part, target, keep_off, moves, bound, key)

    def _bounds(self, parts: tuple[Part, ...], targets: list[Target], moves: Moves) -> Array:
        """Crude lower bounds (n_parts, n_targets) of the clearance."""
        found = np.zeros((len(parts), len(targets)))
        roots = np.concatenate([t.tree.tree.boxes[:1] for t in targets])
        Rs, ps = np.stack([t.X_WG.R_AB for t in targets]), np.stack([t.X_WG.p_AB for t in targets])
        chord = np.array([t.tree.chord_error for t in targets])
        which = [k for k, part in enumerate(parts) if part.round is not None]
        if which:
            profile, ranges, starts = _joined([parts[k] for k in which])
            m = moves.arrays.arrays
            by_round = np.zeros((len(which), len(targets)))
            crude_bounds(
                profile, ranges, starts, m.points, m.starts, m.up, m.ball, m.first, moves.down, roots, Rs, ps, by_round
            )
            found[which] = by_round
        others = [k for k in range(len(parts)) if parts[k].round is None]
        if others:
            centres, halves = boxes_in_W(roots, Rs, ps)
            for k in others:
                low, high = _box_of(parts[k])
                low, high = low + moves.box[:3], high + moves.box[3:]
                gap = np.maximum(np.maximum(low - centres - halves, centres - halves - high), 0.0)
                found[k] = np.sqrt((gap * gap).sum(axis=1))
        return np.asarray(np.maximum(found - chord - ROUNDING, 0.0))

    # ---- the workpiece as it is cut --------------------------------------------------------------

    def _cut_target(self, part: Part, target: Target, reason: str | None) -> Target | None:
        """The workpiece as the part meets it; None where they are not compared."""
        is_hole = isinstance(self.cut.feature, Hole)
        if reason == FOLLOWS and self.cut.leave_to is not None and not is_hole:
            return self._above_cutter(target)
        if reason is not None:
            return None
        if is_hole and part.name in (NECK, SHANK):
            return self._without_hole(target)
        return target

    def _without_hole(self, target: Target) -> Target:
        """The workpiece without what the cutter took; as it is where its mesh does not close."""
        tip, radius = self.move.feature[0].points[0], self.assembly.cutter_radius
        X_GW = target.X_WG.inverse()
        tip_G, axis_G = X_GW.points(tip), X_GW.direction(Z_AXIS)

        def rest(piece: Piece) -> Piece:
            return without_hole(piece, tip_G, axis_G, radius) or piece

        key = ("hole", tip_G.tobytes(), axis_G, radius)
        made = self.prepared.rests_of(target.body.shape, key, lambda: tuple(rest(p) for p in target.pieces))
        return self._of_rest(target, *made) if made else target

    def _above_cutter(self, target: Target) -> Target | None:
        """What of the workpiece is above the cutter, which does not lift through it; None if nothing is."""
        lowest = min(float(s.points[:, 2].min()) for s in self.move.sets)
        height = max(s.z2 for s in self.assembly.slices_of(CUTTER)[0])
        X_GW = target.X_WG.inverse()
        p_G, axis_G = X_GW.points(np.array([0.0, 0.0, lowest + height])), X_GW.direction(Z_AXIS)

        def rests() -> tuple[Piece, ...]:
            found = (above_plane(p, p_G, axis_G) for p in target.pieces)
            return tuple(p for p in found if p is not None)

        key = ("above", p_G.tobytes(), axis_G, 0.0)
        made = self.prepared.rests_of(target.body.shape, key, rests)
        return self._of_rest(target, *made) if made else None

    def _of_rest(self, target: Target, pieces: tuple[Piece, ...], tree: BodyTree) -> Target:
        return replace(target, pieces=pieces, tree=tree)

    # ---- how near --------------------------------------------------------------------------------

    def measure(self, pair: Pair, far: float) -> Measured | None:
        """The pair's clearance; None once it is proven to be at least `far`. Raises EngineError."""
        part, target, moves = pair.part, pair.target, pair.moves
        if part.round is not None:
            sets = moves.arrays
            swept = exact_clearance(part.round, sets, moves.down, target.tree, target.X_WG, beyond=far)
            if isinstance(swept, Bound):
                return None
            if swept is not None:
                exact = swept
                if moves.down > 0.0:
                    found = exact_clearance(part.round, sets, 0.0, target.tree, target.X_WG)
                    assert isinstance(found, Clear), "what is clear when it is swept farther is clear"
                    exact = found
                return Measured(self._in_W(pair, exact), swept)
        trees = self.prepared.trees
        by_polyhedra = pair_clearance(part.outer, part.real, target.obstacle, moves.swept, trees, beyond=far)
        if isinstance(by_polyhedra, Bound):
            return None
        exact_answer = (
            by_polyhedra
            if moves.exact is moves.swept
            else pair_clearance(part.outer, part.real, target.obstacle, moves.exact, trees)
        )
        assert not isinstance(exact_answer, Bound), "no bound was asked for"
        return Measured(self._in_W(pair, exact_answer), by_polyhedra)

    def _in_W(self, pair: Pair, answer: Clear | Contact) -> Clear | Contact:
        """Points and tip in W; those of a pair with the bed were found as the bed, or the table, sees them."""
        if pair.part.order >= BEHIND_TOOL:
            gauge = np.array([0.0, 0.0, self.assembly.gauge_length])
            sets = self.move.sets
            seen = np.array([bed_motion(self.machine, as_vector(s.points[0] + gauge)) for s in sets])
            return replace(answer, tip=sets[int(np.abs(seen - answer.tip).sum(axis=1).argmin())].points[0])
        if pair.target.body.carrier != BED:
            return answer
        tip = self.move.tip_for(self.machine, answer.tip)
        off = tip - answer.tip
        return replace(answer, tip=tip, p_tool=answer.p_tool + off, p_obstacle=answer.p_obstacle + off)


def _joined(parts: list[Part]) -> tuple[Array, Ints, Ints]:
    """Profiles of several round parts as one array, with the ranges of each part."""
    profiles, ranges, starts, n = [], [], [0], 0
    for part in parts:
        assert part.round is not None, "only round parts have profiles"
        own = part.round.outer
        profiles.append(own.profile)
        ranges.append(own.ranges + n)
        n += len(own.profile)
        starts.append(starts[-1] + len(own.ranges))
    return np.concatenate(profiles), np.concatenate(ranges), np.array(starts, dtype=np.int64)


def _box_of(part: Part) -> tuple[Array, Array]:
    """The box around a part that is not round, in the frame that moves."""
    corners = [piece.outer.vertices for piece, _ in part.outer if isinstance(piece, PolyPiece)]
    low = np.min([c.min(axis=0) for c in corners], axis=0)
    high = np.max([c.max(axis=0) for c in corners], axis=0)
    return low, high
