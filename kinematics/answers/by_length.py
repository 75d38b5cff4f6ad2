"""The pairs of a cut over a stretch of stick-outs: what changes with the length is made anew, nothing else.

1. The tip stays where it is. The cutter stays with it, neck and shank grow, the holder and all above it rise
   with the stick-out, and the tool lifts by less or as much, never by less than the stick-out grew.
2. So over the lengths from a to b all that the tool sweeps lies within a hull, and all of it holds a core, and
   both are such sweeps themselves: two queries bound a pair over the whole stretch, without steps.
3. Seen from a bed past which the table moves in Z the holder stays and the tip goes down; what stands on the bed
   rises past the table like the holder does past the part.
4. A pair whose hull is clear is out of the question in all the stretch.
5. What this file does not know: travel, depth, what is done with the answers.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property

import numpy as np

from kinematics.answers.margins import Limit, with_stick_out
from kinematics.assembly import Slice, ToolAssembly, tool_assembly
from kinematics.cut_pairs import CutPairs, Group, Moves, Target
from kinematics.engine.chains import chains
from kinematics.engine.exact_pair import MoveSets, RoundPart, move_sets, near_enough
from kinematics.engine.pair import Contact, Node, pair_clearance, position_tree
from kinematics.engine.position_sets import sets_of
from kinematics.engine.sweep import Positions
from kinematics.moves.cuts import relifted
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Array
from kinematics.prepared import BEHIND_TOOL, Part
from kinematics.scene import Tool
from kinematics.tool_kinds import CUTTER, NECK, ROUNDING, SHANK
from kinematics.verdict import Verdict

LEVELS = (Verdict.CLEAR, Verdict.TIGHT, Verdict.CAN_HIT, Verdict.HITS)  # as `level` counts them
_CLEAR, _TIGHT, _CAN_HIT, _HITS = range(4)
TOUCHING_PIECE = 0.25  # mm; where polyhedra touch in the middle of so short a stretch, they count as touching in all
ABOVE_ZERO = 1e-9  # mm; a spare of nothing is not above nothing


class _Kind(Enum):
    """How a part changes with the stick-out, as its obstacle sees it."""

    TIP = "stays with the tip"
    STEM = "grows"
    ABOVE = "rises"
    STILL = "is not concerned"
    SINKING_TIP = "goes down with the tip"
    SINKING_STEM = "grows, and goes down with the tip"

    @property
    def is_stem(self) -> bool:
        return self in (_Kind.STEM, _Kind.SINKING_STEM)

    @property
    def sinks(self) -> bool:
        return self in (_Kind.SINKING_TIP, _Kind.SINKING_STEM)


@dataclass(frozen=True, slots=True)
class LiftHeight:
    """The height of the gauge line to which a cut lifts: `least`, or, if that is more, `offset` over the stick-out."""

    least: float
    offset: float = -math.inf

    def at(self, length: float) -> float:
        return max(self.least, length + self.offset)


@dataclass(slots=True, eq=False)
class Row:
    """A pair that matters somewhere in the stretch.

    `moves` and `slices` are those of the longest tool. `known` holds, for the move as it is and as it is swept, a
    length and a proven clearance at it.
    """

    part: Part
    target: Target
    kind: _Kind
    moves: Moves
    errors: float
    keep_off: float
    floor: float
    slices: tuple[Slice, ...]
    known: dict[bool, tuple[float, float]] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.name

    def subtract(self, limit: Limit) -> float:
        match limit:
            case Limit.HITS:
                return 0.0
            case Limit.CAN_HIT:
                return self.errors + ABOVE_ZERO
            case Limit.CLEAR:
                return self.errors + self.keep_off


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """A part over the moves of its pair, `shift` higher and with other lifts; `round` is None for polyhedra."""

    round: RoundPart | None
    shift: float
    up: Array


class Stretch:
    """The pairs of one cut with one tool at the stick-outs from `low` to `high`; raises ToolError, FeatureError."""

    def __init__(self, placed: PlacedCut, tool: Tool, low: float, high: float, lift: LiftHeight) -> None:
        self.placed, self.tool, self.low, self.high, self.lift = placed, tool, low, high, lift
        self.prepared = placed.prepared
        self.machine = self.prepared.scene.machine
        self.is_table_z = self.machine.z.moves != "head"
        self.assembly: ToolAssembly = tool_assembly(with_stick_out(tool, high), self.machine.spindle_nose)
        move = relifted(placed.cut, placed.move, self.assembly, placed.X_WP, lift.at(high))
        self.pairs = CutPairs(
            self.prepared,
            placed.cut,
            with_stick_out(tool, high),
            self.assembly,
            move,
            placed.bodies,
            placed.poses,
            placed.pairs.targets,
        )
        self._head = self.assembly.gauge_length - self.assembly.stick_out  # from holder to gauge line
        self._parts: dict[tuple[Slice, ...], RoundPart] = {}
        self._sets: dict[tuple[int, float, bytes], MoveSets] = {}
        self._trees: dict[tuple[int, float, bytes, float], Node] = {}
        self._sets_of_move()
        self.rows: Sequence[Row] = tuple(self._rows())

    # ---- the move ----------------------------------------------------------------------------------

    def _sets_of_move(self) -> None:
        sets = self.pairs.move.sets
        is_lifting = [self.placed.cut.leave_to is None] * (len(sets) - 1) + [True]
        self._is_lifting = np.array(is_lifting)
        self._lowest = np.array([float(s.points[:, 2].min()) for s in sets])
        self._fixed = np.array([s.up for s in sets])

    def up(self, length: float) -> Array:
        """How far each set of positions lifts (n,), mm."""
        wanted = self.lift.at(length) - self._lowest - self._head - length
        return np.where(self._is_lifting, np.maximum(np.maximum(wanted, self.placed.cut.retract), 0.0), self._fixed)

    @property
    def lifts_to_one_height_up_to(self) -> float:
        """The stick-out up to which every position lifts to one height that does not change; -inf if to none."""
        if self.placed.cut.leave_to is not None or self.lift.offset > -math.inf:
            return -math.inf
        return float((self.lift.least - self._lowest - self._head).min()) - max(self.placed.cut.retract, 0.0)

    # ---- which pairs -------------------------------------------------------------------------------

    def _kind_of(self, part: Part, moves: Moves) -> _Kind:
        """How a part changes over the moves of its group."""
        if part.order >= BEHIND_TOOL:
            return _Kind.ABOVE if self.is_table_z else _Kind.STILL
        sinks = self.is_table_z and moves is not self.pairs.moves
        if part.name == CUTTER:
            return _Kind.SINKING_TIP if sinks else _Kind.TIP
        if part.name in (NECK, SHANK):
            return _Kind.SINKING_STEM if sinks else _Kind.STEM
        return _Kind.STILL if sinks else _Kind.ABOVE

    def _rows(self) -> Iterator[Row]:
        for group in self.pairs.groups:
            floors = self._floors(group)
            errors = np.array([t.errors.total for t in group.targets])
            keep_offs = np.array([self.pairs.keep_off_of(p) for p in group.parts])
            matters = group.is_compared & (floors < errors[None, :] + keep_offs[:, None])
            for i, j in zip(*np.nonzero(matters), strict=True):
                part, target = group.parts[i], group.targets[j]
                slices = () if part.round is None else self.assembly.slices_of(part.name)[0]
                numbers = (float(errors[j]), float(keep_offs[i]), float(floors[i, j]))
                yield Row(part, target, self._kind_of(part, group.moves), group.moves, *numbers, slices)

    def _floors(self, group: Group) -> Array:
        """Crude lower bounds (n_parts, n_targets) of the clearance at every length of the stretch."""
        found = np.zeros(group.is_compared.shape)
        kinds = [self._kind_of(p, group.moves) for p in group.parts]
        for kind in dict.fromkeys(kinds):
            shift, up = self._hull_lift(kind, group.moves, self.low, self.high)
            sets = [
                Positions(s.points + (0.0, 0.0, shift), float(u))
                for s, u in zip(group.moves.arrays.sets, up, strict=True)
            ]
            which = [k for k, other in enumerate(kinds) if other == kind]
            parts = tuple(group.parts[k] for k in which)
            found[which] = self.pairs.bounds(parts, group.targets, Moves(move_sets(sets), group.moves.down))
        return found

    # ---- one pair ----------------------------------------------------------------------------------

    def _hull_lift(self, kind: _Kind, moves: Moves, a: float, b: float) -> tuple[float, Array]:
        """How much higher, and with which lifts, the positions hold all that there are at the lengths from a to b."""
        if kind is _Kind.STILL:
            return 0.0, moves.arrays.arrays.up
        if kind is _Kind.ABOVE:
            return a - self.high, self.up(b) + (b - a)
        if kind.sinks:
            return self.high - b, moves.arrays.arrays.up + (b - a)
        return 0.0, self.up(a)

    def _hull(self, row: Row, a: float, b: float) -> _Shape | None:
        """What holds all that a part sweeps at the lengths from a to b; None: it is not there."""
        shift, up = self._hull_lift(row.kind, row.moves, a, b)
        return self._shape(row, self._grown(row, b), shift, up)

    def _core(self, row: Row, a: float, b: float) -> _Shape | None:
        """What lies within all that a part sweeps at every length from a to b; None: nothing that is known."""
        run = b - a
        if row.kind is _Kind.STILL:
            return self._hull(row, a, b)
        if row.kind is _Kind.ABOVE:
            up = self.up(a)
            if up.min() >= run:
                return self._shape(row, row.slices, b - self.high, up - run)
            return None if row.part.round is None else self._shape(row, _in_both(row.slices, run), b - self.high, up)
        grown = self._grown(row, a)
        if row.kind.sinks:
            return self._shape(row, _in_both(grown, run), self.high - a, row.moves.arrays.arrays.up)
        return self._shape(row, grown, 0.0, self.up(b))

    def _grown(self, row: Row, length: float) -> tuple[Slice, ...]:
        """A part with as much of it as is out of the holder at a length."""
        return _up_to(row.slices, length) if row.kind.is_stem else row.slices

    def _shape(self, row: Row, slices: tuple[Slice, ...], shift: float, up: Array) -> _Shape | None:
        if row.part.round is None or slices is row.slices:
            return _Shape(row.part.round, shift, up)
        if not slices:
            return None
        if slices not in self._parts:
            made = chains(slices)
            self._parts[slices] = RoundPart(made, made)
        return _Shape(self._parts[slices], shift, up)

    def _clearance(self, row: Row, shape: _Shape, down: float, cap: float) -> float:
        """The clearance of a part over a move, or `cap` where it is at least that; -inf on contact."""
        key = (id(row.moves), shape.shift, shape.up.tobytes())
        target = row.target
        if shape.round is not None:
            if key not in self._sets:
                arrays = row.moves.arrays.arrays
                points = arrays.points + (0.0, 0.0, shape.shift)
                self._sets[key] = MoveSets((), sets_of(points, arrays.starts, shape.up))
            found = near_enough(shape.round, self._sets[key], down, target.tree, target.X_WG, cap)
            return -math.inf if found is None else found
        if (*key, down) not in self._trees:
            sets = zip(row.moves.arrays.sets, shape.up, strict=True)
            self._trees[*key, down] = position_tree(
                [replace(s, points=s.points + (0.0, 0.0, shape.shift), up=float(u), down=down) for s, u in sets]
            )
        answer = pair_clearance(
            row.part.outer, row.part.real, target.obstacle, self._trees[*key, down], self.prepared.trees, beyond=cap
        )
        if isinstance(answer, Contact):
            return -math.inf
        return min(answer.at_least, cap)

    def clearance(self, row: Row, length: float, *, is_swept: bool, cap: float) -> float:
        """The proven clearance of a pair at a length, at most `cap`; -inf on contact. Raises EngineError."""
        shape = self._hull(row, length, length)
        if shape is None:  # a shank that is not out yet says nothing of the same shank later
            return cap
        found = self._clearance(row, shape, row.moves.down if is_swept else 0.0, cap)
        row.known[is_swept] = (length, found)
        return found

    # ---- a whole stretch ---------------------------------------------------------------------------

    def levels(self, a: float, b: float, rows: Sequence[Row]) -> tuple[int, int, Sequence[Row]]:
        """How bad it is at best and at worst at every length from a to b (as LEVELS counts), and what is in doubt.

        Raises EngineError where a pair can't be established.
        """
        levels = [(_CLEAR if (shape := self._hull(row, a, b)) is None else self._level(row, shape)) for row in rows]
        doubtful = sorted(((level, k) for k, level in enumerate(levels) if level > _CLEAR), reverse=True)
        best = _CLEAR
        for level, k in doubtful:
            if level <= best:
                break
            best = max(best, self._at_best(rows[k], a, b))
        return best, doubtful[0][0] if doubtful else _CLEAR, [rows[k] for _, k in doubtful]

    def _at_best(self, row: Row, a: float, b: float) -> int:
        """How bad a pair is at least at every length from a to b."""
        shape = self._core(row, a, b)
        if shape is not None:
            return self._level(row, shape)
        if row.part.round is not None or b - a > TOUCHING_PIECE:
            return _CLEAR
        middle = self._hull(row, 0.5 * (a + b), 0.5 * (a + b))
        assert middle is not None, "polyhedra are there at every length"
        return self._level(row, middle, nearer=0.5 * (b - a))

    def _level(self, row: Row, shape: _Shape, nearer: float = 0.0) -> int:
        """How bad it is over a shape; `nearer`: every clearance counts as so much more."""
        far, something = (row.subtract(limit) - nearer for limit in (Limit.CLEAR, Limit.CAN_HIT))
        swept = self._clearance(row, shape, row.moves.down, max(far, 0.0))
        if swept >= far:
            return _CLEAR
        if swept >= something:
            return _TIGHT
        exact = swept if row.moves.down == 0.0 else self._clearance(row, shape, 0.0, 0.0)
        return _CAN_HIT if exact >= 0.0 else _HITS

    # ---- where it never falls ----------------------------------------------------------------------

    @cached_property
    def never_falls(self) -> bool:
        """Whether a longer stick-out never leaves less room in all this stretch.

        The lift ends at one height, so that what the holder sweeps gets less from below; what comes out of the
        holder is no wider than the holder was there.
        """
        widest = max((max(s.r1, s.r2) for s in self.assembly.outer if s.part in (NECK, SHANK)), default=0.0)
        return (
            not self.is_table_z
            and self.high <= self.lifts_to_one_height_up_to + ROUNDING
            and 2.0 * widest <= self.tool.holder.steps[0].d1 + ROUNDING
        )

    def margin(self, length: float, limit: Limit) -> tuple[float, Row | None]:
        """What is left over a limit at a length (-inf on contact), and the pair that leaves the least.

        Infinite where no pair matters in this stretch. Raises EngineError.
        """
        is_swept = limit is not Limit.HITS
        waiting = [
            (self._at_least(row, length, is_swept=is_swept) - row.subtract(limit), k) for k, row in enumerate(self.rows)
        ]
        best, nearest = math.inf, None
        for bound, k in sorted(waiting):
            if bound >= best:
                break
            row = self.rows[k]
            subtract = row.subtract(limit)
            found = self.clearance(row, length, is_swept=is_swept, cap=best + subtract) - subtract
            if found < best:
                best, nearest = found, row
            if best == -math.inf:
                break
        return best, nearest

    def _at_least(self, row: Row, length: float, *, is_swept: bool) -> float:
        """What is known of a pair's clearance at a length without asking."""
        if is_swept not in row.known:
            return row.floor
        at, value = row.known[is_swept]
        if value == -math.inf:
            return row.floor
        shorter = abs(length - at) if length < at or not self.never_falls else 0.0
        return max(row.floor, value - shorter)


def _up_to(slices: tuple[Slice, ...], top: float) -> tuple[Slice, ...]:
    """What of a stack is below a height."""
    found = []
    for s in slices:
        if s.z2 <= top:
            found.append(s)
        elif top - s.z1 > ROUNDING:
            found.append(Slice(s.part, s.r1, s.r1 + (s.r2 - s.r1) * (top - s.z1) / (s.z2 - s.z1), s.z1, top))
    return slices if len(found) == len(slices) and found[-1] is slices[-1] else tuple(found)


def _in_both(slices: Sequence[Slice], lower: float) -> tuple[Slice, ...]:
    """What of each slice is also in it wherever it stands lower, by at most so much."""
    found = []
    for s in slices:
        height = s.z2 - s.z1
        if height - lower <= ROUNDING:
            continue
        run = (s.r2 - s.r1) * lower / height
        r1, r2 = (s.r1, s.r2 - run) if s.r2 >= s.r1 else (s.r1 + run, s.r2)
        found.append(Slice(s.part, r1, r2, s.z1, s.z2 - lower))
    return tuple(found)
