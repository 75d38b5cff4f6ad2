"""The pairs of one cut: every tool-side part against every body, worst first, each worked out on demand.

1. Round parts are measured by the exact engine; bodies of the head, and depths of overlap, by polyhedra.
2. Pairs are opened in the order of crude lower bounds. What stays closed is proven to rank behind the pairs
   that are named, and to be farther than the nearest one.
3. What this file does not know: travel, depth, words.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

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
    """A part against a body over a move, with a crude lower bound of its clearance (0: they may touch).

    `key` is the worst rank that it can still have; `least_behind` the least bound of it and of all that follow it.
    """

    part: Part
    target: Target
    keep_off: float
    moves: Moves
    bound: float
    key: Rank
    least_behind: float

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
        # a pair that touches may hit, however deep in the errors the last one is
        return max(spare + self.target.errors.total, 0.0) + ROUNDING

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.name


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Parts against bodies over one move; `is_compared` (n_parts, n_targets)."""

    parts: tuple[Part, ...]
    targets: list[Target]
    moves: Moves
    is_compared: NDArray[np.bool_]
    left_out: list[tuple[str, str]]


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Pairs as columns: their group, part and target in it; total of the errors that act any way, keep-off, mm."""

    group: Ints
    part: Ints
    target: Ints
    errors: Array
    keep_off: Array


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
    rest_slack : by how much less is taken away of the workpiece than the cutter takes, on every side, mm.
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
        *,
        rest_slack: float = 0.0,
    ) -> None:
        self.prepared, self.cut, self.assembly, self.move, self.poses = prepared, cut, assembly, move, poses
        self.scene = prepared.scene
        self.machine = self.scene.machine
        self.rest_slack = rest_slack
        self.parts = prepared.parts(assembly)
        self.targets = targets or tuple(
            self._target(body, order, is_own=own) for order, (body, own) in enumerate(bodies)
        )
        self.down = stick_out_error(self.scene.setup_errors, tool)
        self.moves = Moves(move_sets(move.sets), self.down)

    def _frame(self, carrier: str) -> Pose:
        """The carrier's pose in the frame in which it is compared: W, or for the bed its own."""
        return self.poses.get(carrier) or identity(W, carrier)

    def _target(self, body: PlacedBody, order: int, *, is_own: bool) -> Target:
        X_WG = self._frame(body.carrier) @ body.X_CG
        tree = self.prepared.tree_of_body(body)

        def arm() -> float:
            first = self.machine.table_axes[0]  # the first axis stands in W, whatever the angles
            X_GW = X_WG.inverse()
            return farthest_from_line(tree.tree, X_GW.points(np.asarray(first.origin)), X_GW.direction(first.axis))

        errors = other_errors(self.scene.setup_errors, body, self.machine, arm)
        return Target(body, tree.pieces, tree, X_WG, order, errors, is_own, self.prepared)

    def keep_off_of(self, part: Part) -> float:
        """The spare that is wanted of a part; what does not cut counts as holder."""
        return self.scene.keep_off.cutter if part.name == CUTTER else self.scene.keep_off.holder

    @cached_property
    def bed_moves(self) -> Moves:
        """The tip as the bed sees it."""
        return Moves(move_sets(self.move.against_bed(self.machine)), self.down)

    # ---- which ---------------------------------------------------------------------------------

    def worst_first(self) -> Iterator[Pair]:
        """All pairs that are compared, by the worst rank that each can still have."""
        spare = self._bounds_of_all - self._table.errors
        over = spare - self._table.keep_off
        severity = np.select([spare <= 0.0, over < 0.0], [_CAN_HIT, _TIGHT], _CLEAR)
        may_touch = self._bounds_of_all <= 0.0
        severity[may_touch], over[may_touch] = _HITS, -math.inf
        return self._in_order(np.lexsort((over, severity)), severity, over)

    def nearest_first(self, *, errors: float, keep_off: float) -> Iterator[tuple[float, Pair]]:
        """All pairs by the least that can be left of their clearance, with that number.

        Taken off are so many times the set-up errors and the keep-off of each.
        """
        left = self._bounds_of_all - errors * self._table.errors - keep_off * self._table.keep_off
        order = np.argsort(left, kind="stable")
        pairs = self._in_order(order, np.zeros(len(left)), left)
        return zip(left[order].tolist(), pairs, strict=True)

    def _in_order(self, order: NDArray[np.intp], severity: Array, over: Array) -> Iterator[Pair]:
        """Pairs in an order, each made when it is asked for."""
        groups, table = self.groups, self._table
        bounds = self._bounds_of_all[order]
        behind = np.minimum.accumulate(bounds[::-1])[::-1]
        rows = (table.group, table.part, table.target, table.keep_off, severity, over)
        for k, bound, least in zip(range(len(order)), bounds.tolist(), behind.tolist(), strict=True):
            group, part, target, keep_off, severe, spare = (column[order[k]].item() for column in rows)
            of = groups[group]
            yield Pair(of.parts[part], of.targets[target], keep_off, of.moves, bound, (severe, spare), least)

    @cached_property
    def left_out(self) -> list[tuple[str, str]]:
        """What is not compared, as "part - body", with the reason of each."""
        return [left for group in self.groups for left in group.left_out]

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """Everything that is compared, by the move over which it is."""
        heads = frozenset(b.name for b in self.prepared.head_bodies)
        found: list[Group] = []
        for is_bed in (False, True):
            targets = [t for t in self.targets if (t.body.carrier == BED) == is_bed]
            if targets:
                found += self._tool_groups(targets, self.bed_moves if is_bed else self.moves, heads)
        if parts := self.prepared.bed_parts():
            found.append(self._bed_group(parts))
        return tuple(found)

    def _tool_groups(self, targets: list[Target], moves: Moves, heads: frozenset[str]) -> Iterator[Group]:
        """The tool side against bodies; where a part meets only some of the workpiece, in a group of its own."""
        is_compared = np.ones((len(self.parts), len(targets)), dtype=bool)
        left_out: list[tuple[str, str]] = []
        apart: list[Group] = []
        for j, target in enumerate(targets):
            is_own = target.is_own_workpiece
            if not is_own and (target.body.carrier != BED or not heads):
                continue  # nothing is left out
            for i, part in enumerate(self.parts):
                reason = reason_to_leave_out(
                    part.name, self.assembly, target.body, is_own_workpiece=is_own, head_parts=heads
                )
                against = self._cut_target(part, target, reason) if is_own else None if reason else target
                is_compared[i, j] = against is target
                if against is None:
                    left_out.append((f"{part.name} - {target.name}", reason or FOLLOWS))
                elif against is not target:
                    apart.append(Group((part,), [against], moves, np.ones((1, 1), dtype=bool), []))
        yield Group(self.parts, targets, moves, is_compared, left_out)
        yield from apart

    def _bed_group(self, parts: tuple[Part, ...]) -> Group:
        """What the table carries against the bed, where linear axes move the table."""
        moves = Moves(move_sets(self.move.of_bed(self.machine)), 0.0)
        targets = [t for t in self.targets if t.body.carrier != BED]
        own = {b.name for b in self.prepared.placed.bodies if b.is_machine}
        is_compared = np.array([[not (p.name in own and t.body.is_machine) for t in targets] for p in parts])
        left_out = [
            (f"{part.name} - {target.name}", BUILDER)
            for part, row in zip(parts, is_compared, strict=True)
            for target, is_in in zip(targets, row, strict=True)
            if not is_in
        ]
        return Group(parts, targets, moves, is_compared, left_out)

    @cached_property
    def _table(self) -> _Table:
        """Every pair that is compared, as arrays."""
        rows = []
        for n, group in enumerate(self.groups):
            part, target = np.nonzero(group.is_compared)
            errors = np.array([t.errors.total for t in group.targets])[target]
            keep_off = np.array([self.keep_off_of(p) for p in group.parts])[part]
            rows.append((np.full(len(part), n), part, target, errors, keep_off))
        return _Table(*(np.concatenate(column) for column in zip(*rows, strict=True)))

    @cached_property
    def _bounds_of_all(self) -> Array:
        """A crude lower bound of the clearance of every pair of the table."""
        return np.concatenate([self.bounds(g.parts, g.targets, g.moves)[g.is_compared] for g in self.groups])

    def bounds(self, parts: tuple[Part, ...], targets: list[Target], moves: Moves) -> Array:
        """Crude lower bounds (n_parts, n_targets) of the clearance."""
        return crude_clearances(parts, targets, moves)

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
        tip = self.move.feature[0].points[0] + (0.0, 0.0, self.rest_slack)
        radius = self.assembly.cutter_radius - self.rest_slack
        if radius <= 0.0:
            return target
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
        height = max(s.z2 for s in self.assembly.slices_of(CUTTER)[0]) - self.rest_slack
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
        found = measured(pair.part, pair.target, pair.moves, far)
        if found is None:
            return None
        exact = self._in_W(pair, found.exact)
        return Measured(exact, exact if found.swept is found.exact else found.swept)

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


def measured(part: Part, target: Target, moves: Moves, far: float) -> Measured | None:
    """The clearance of a part over a move; None once it is proven to be at least `far`. Raises EngineError."""
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
            return Measured(exact, swept)
    trees = target.prepared.trees
    by_polyhedra = pair_clearance(part.outer, part.real, target.obstacle, moves.swept, trees, beyond=far)
    if isinstance(by_polyhedra, Bound):
        return None
    exact_answer = (
        by_polyhedra
        if moves.exact is moves.swept
        else pair_clearance(part.outer, part.real, target.obstacle, moves.exact, trees)
    )
    assert not isinstance(exact_answer, Bound), "no bound was asked for"
    return Measured(exact_answer, by_polyhedra)


def crude_clearances(parts: Sequence[Part], targets: Sequence[Target], moves: Moves) -> Array:
    """Crude lower bounds (n_parts, n_targets) of the clearance."""
    found = np.zeros((len(parts), len(targets)))
    roots = np.concatenate([t.tree.tree.boxes[:1] for t in targets])
    Rs, ps = np.array([t.X_WG.R_AB for t in targets]), np.array([t.X_WG.p_AB for t in targets])
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
