"""The pairs of a cut over a stretch of stick-outs: what changes with the length is made anew, nothing else.

1. The tip stays where it is. The cutter stays with it, neck and shank grow, the holder and all above it rise
   with the stick-out, and the tool lifts by less or as much, never by less than the stick-out grew.
2. So over the lengths from a to b all that the tool sweeps lies within a hull, and all of it holds a core, and
   both are such sweeps themselves: two queries bound a pair over the whole stretch, without steps.
3. What is not round, and what a table that moves in Z brings near, is worked out at single lengths; elsewhere it
   differs by no more than the length does.
4. A pair whose hull is clear is out of the question in all the stretch.
5. What this file does not know: travel, depth, what is done with the answers.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property

import numpy as np

from kinematics.answers.margins import Limit, with_stick_out
from kinematics.assembly import Slice, ToolAssembly, tool_assembly
from kinematics.cut_pairs import CutPairs, Group, Moves, Target
from kinematics.engine.chains import Chains, chains
from kinematics.engine.exact_pair import MoveSets, RoundPart, move_sets, near_enough
from kinematics.engine.pair import Clear, Contact
from kinematics.engine.position_sets import sets_of
from kinematics.engine.sweep import Positions
from kinematics.machine import BED
from kinematics.moves.cuts import relifted
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Array
from kinematics.prepared import BEHIND_TOOL, Part
from kinematics.scene import Tool
from kinematics.tool_kinds import CUTTER, NECK, ROUNDING, SHANK
from kinematics.verdict import Verdict

LEVELS = (Verdict.CLEAR, Verdict.TIGHT, Verdict.CAN_HIT, Verdict.HITS)  # as `level` counts them
_CLEAR, _TIGHT, _CAN_HIT, _HITS = range(4)
ABOVE_ZERO = 1e-9  # mm; a spare of nothing is not above nothing


class _Kind(Enum):
    """How a part changes with the stick-out."""

    TIP = "stays"
    STEM = "grows"
    ABOVE = "rises"
    SLOW = "is worked out at single lengths"


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

    `known` holds, for the move as it is and as it is swept, a length and a proven clearance at it.
    """

    part: Part
    target: Target
    kind: _Kind
    is_bed: bool
    errors: float
    keep_off: float
    floor: float
    slices: tuple[Slice, ...]
    known: dict[bool, tuple[float, float]] = field(default_factory=dict)
    slow: dict[float, tuple[float, float]] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.name

    @property
    def is_constant(self) -> bool:
        """It is the same at every length: a body of the bed beside what the table carries."""
        return self.part.order >= BEHIND_TOOL

    def subtract(self, limit: Limit) -> float:
        match limit:
            case Limit.HITS:
                return 0.0
            case Limit.CAN_HIT:
                return self.errors + ABOVE_ZERO
            case Limit.CLEAR:
                return self.errors + self.keep_off


class Stretch:
    """The pairs of one cut with one tool at the stick-outs from `low` to `high`; raises ToolError, FeatureError."""

    def __init__(self, placed: PlacedCut, tool: Tool, low: float, high: float, lift: LiftHeight) -> None:
        self.placed, self.tool, self.low, self.high, self.lift = placed, tool, low, high, lift
        self.prepared = placed.prepared
        self.machine = self.prepared.scene.machine
        self.is_table_z = self.machine.z.moves != "head"
        self.pairs = self._pairs_at(high)
        self.assembly: ToolAssembly = self.pairs.assembly
        self._head = self.assembly.gauge_length - self.assembly.stick_out  # from holder to gauge line
        self._parts: dict[tuple[object, ...], RoundPart | None] = {}
        self._sets: dict[tuple[bool, bytes], MoveSets] = {}
        self._slow_pairs: dict[float, CutPairs] = {}
        self._sets_of_move()
        self.rows: Sequence[Row] = tuple(self._rows())

    def _pairs_at(self, length: float) -> CutPairs:
        tool = with_stick_out(self.tool, length)
        placed, prepared = self.placed, self.prepared
        assembly = tool_assembly(tool, self.machine.spindle_nose)
        move = relifted(placed.cut, placed.move, assembly, placed.X_WP, self.lift.at(length))
        return CutPairs(prepared, placed.cut, tool, assembly, move, placed.bodies, placed.poses, placed.pairs.targets)

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

    def _moved(self, row: Row, up: Array) -> MoveSets:
        """The positions as arrays, with these lifts."""
        key = (row.is_bed, up.tobytes())
        if key not in self._sets:
            arrays = (self.pairs.bed_moves if row.is_bed else self.pairs.moves).arrays.arrays
            self._sets[key] = MoveSets((), sets_of(arrays.points, arrays.starts, up))
        return self._sets[key]

    # ---- which pairs -------------------------------------------------------------------------------

    def _kind_of(self, part: Part, *, is_bed: bool) -> _Kind:
        if part.round is None or (is_bed and self.is_table_z):
            return _Kind.SLOW
        if part.name == CUTTER:
            return _Kind.TIP
        return _Kind.STEM if part.name in (NECK, SHANK) else _Kind.ABOVE

    def _rows(self) -> Iterator[Row]:
        for group in self.pairs.groups:
            floors = self._floors(group)
            errors = np.array([t.errors.total for t in group.targets])
            keep_offs = np.array([self.pairs.keep_off_of(p) for p in group.parts])
            matters = group.is_compared & (floors < errors[None, :] + keep_offs[:, None])
            for i, j in zip(*np.nonzero(matters), strict=True):
                part, target = group.parts[i], group.targets[j]
                is_bed = target.body.carrier == BED
                kind = self._kind_of(part, is_bed=is_bed or part.order >= BEHIND_TOOL)
                slices = () if part.round is None else self.assembly.slices_of(part.name)[0]
                yield Row(
                    part, target, kind, is_bed, float(errors[j]), float(keep_offs[i]), float(floors[i, j]), slices
                )

    def _floors(self, group: Group) -> Array:
        """Crude lower bounds (n_parts, n_targets) of the clearance at every length of the stretch."""
        is_of_bed = group.parts[0].order >= BEHIND_TOOL
        is_bed = group.moves is not self.pairs.moves
        if is_of_bed or (is_bed and self.is_table_z):
            if self.is_table_z:
                return np.zeros(group.is_compared.shape)
            return self.pairs.bounds(group.parts, group.targets, group.moves)
        run = self.high - self.low
        found = np.zeros(group.is_compared.shape)
        rises = np.array([p.name not in (CUTTER, NECK, SHANK) for p in group.parts])
        hulls = ((~rises, 0.0, self.up(self.low)), (rises, run, self.up(self.high) + run))
        for which, lower, up in hulls:
            if which.any():
                parts = tuple(p for p, is_in in zip(group.parts, which, strict=True) if is_in)
                sets = [
                    Positions(s.points - (0.0, 0.0, lower), float(u))
                    for s, u in zip(group.moves.arrays.sets, up, strict=True)
                ]
                found[which] = self.pairs.bounds(parts, group.targets, Moves(move_sets(sets), self.pairs.down))
        return found

    # ---- one pair ----------------------------------------------------------------------------------

    def _hull(self, row: Row, a: float, b: float) -> tuple[RoundPart | None, MoveSets]:
        """A part and a move around all that the part sweeps at the lengths from a to b; None: it is not there."""
        if row.kind is _Kind.ABOVE:
            return self._risen(row, a), self._moved(row, self.up(b) + (b - a))
        return self._grown(row, b), self._moved(row, self.up(a))

    def _core(self, row: Row, a: float, b: float) -> tuple[RoundPart | None, MoveSets]:
        """A part and a move within what the part sweeps at every length from a to b; None: there is nothing."""
        if row.kind is not _Kind.ABOVE:
            return self._grown(row, a), self._moved(row, self.up(b))
        up = self.up(a)
        if up.min() >= b - a:
            return self._risen(row, b), self._moved(row, up - (b - a))
        return self._risen(row, b, cut_off=b - a), self._moved(row, up)

    def _grown(self, row: Row, length: float) -> RoundPart | None:
        """Cutter, neck or shank at a length."""
        if row.kind is _Kind.TIP:
            return row.part.round
        key = ("grown", row.part.name, length)
        if key not in self._parts:
            self._parts[key] = _part(tuple(_up_to(row.slices, length)))
        return self._parts[key]

    def _risen(self, row: Row, length: float, cut_off: float = 0.0) -> RoundPart | None:
        """A part of the holder at a length; what of it is there too when it stands `cut_off` lower."""
        key = ("risen", row.part.name, length, cut_off)
        if key not in self._parts:
            own: RoundPart | None = row.part.round
            assert own is not None, "what is not round is slow"
            if cut_off > 0.0:
                own = _part(tuple(_in_both(row.slices, cut_off)))
            if own is not None:
                risen = Chains(own.outer.profile + (0.0, length - self.high), own.outer.ranges)
                own = RoundPart(risen, risen)
            self._parts[key] = own
        return self._parts[key]

    def _clearance(self, row: Row, shape: tuple[RoundPart | None, MoveSets], down: float, cap: float) -> float:
        """The clearance of a part over a move, or `cap` where it is at least that; -inf on contact."""
        part, move = shape
        if part is None:
            return cap
        found = near_enough(part, move, down, row.target.tree, row.target.X_WG, cap)
        return -math.inf if found is None else found

    def clearance(self, row: Row, length: float, *, is_swept: bool, cap: float) -> float:
        """The proven clearance of a pair at a length, at most `cap`; -inf on contact. Raises EngineError."""
        if row.kind is _Kind.SLOW:
            found = self._slow(row, length)[int(is_swept)]
            row.known[is_swept] = (length, found)
            return min(found, cap)
        down = self.pairs.down if is_swept else 0.0
        found = self._clearance(row, self._hull(row, length, length), down, cap)
        row.known[is_swept] = (length, found)
        return found

    def _slow(self, row: Row, length: float) -> tuple[float, float]:
        """Clearance of the move as it is, and swept, by the pairs of a tool of just that length."""
        at = self.high if row.is_constant and not self.is_table_z else length
        if at not in row.slow:
            if at not in self._slow_pairs:
                self._slow_pairs[at] = self._pairs_at(at)
            pairs = self._slow_pairs[at]
            pair = next((p for p in pairs.worst_first() if p.names == row.names), None)
            measured = None if pair is None else pairs.measure(pair, math.inf)
            if measured is None:  # a part that is not there at this length
                row.slow[at] = (math.inf, math.inf)
            else:
                row.slow[at] = (_proven(measured.exact), _proven(measured.swept))
        return row.slow[at]

    # ---- a whole stretch ---------------------------------------------------------------------------

    def levels(self, a: float, b: float, rows: Sequence[Row]) -> tuple[int, int, Sequence[Row]]:
        """How bad it is at best and at worst at every length from a to b (as LEVELS counts), and what is in doubt.

        Raises EngineError where a pair can't be established.
        """
        doubtful = [(self._level(row, a, b, is_hull=True), k) for k, row in enumerate(rows)]
        doubtful = sorted((item for item in doubtful if item[0] > _CLEAR), reverse=True)
        best = _CLEAR
        for level, k in doubtful:
            if level <= best:
                break
            best = max(best, self._level(rows[k], a, b, is_hull=False))
        return best, doubtful[0][0] if doubtful else _CLEAR, [rows[k] for _, k in doubtful]

    def _level(self, row: Row, a: float, b: float, *, is_hull: bool) -> int:
        far = row.subtract(Limit.CLEAR)
        if row.kind is _Kind.SLOW:
            run = 0.0 if row.is_constant and not self.is_table_z else 0.5 * (b - a)
            exact, swept = (c + (-run if is_hull else run) for c in self._slow(row, 0.5 * (a + b)))
        else:
            shape = self._hull(row, a, b) if is_hull else self._core(row, a, b)
            swept = self._clearance(row, shape, self.pairs.down, far)
            exact = math.inf
            if swept < row.subtract(Limit.CAN_HIT):
                exact = swept if self.pairs.down == 0.0 else self._clearance(row, shape, 0.0, 0.0)
        if swept >= far:
            return _CLEAR
        if swept >= row.subtract(Limit.CAN_HIT):
            return _TIGHT
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


def _proven(answer: Clear | Contact) -> float:
    return answer.at_least if isinstance(answer, Clear) else -math.inf


def _part(slices: tuple[Slice, ...]) -> RoundPart | None:
    if not slices:
        return None
    made = chains(slices)
    return RoundPart(made, made)


def _up_to(slices: Sequence[Slice], top: float) -> Iterator[Slice]:
    """What of a stack is below a height."""
    for s in slices:
        if s.z2 <= top:
            yield s
        elif top - s.z1 > ROUNDING:
            yield Slice(s.part, s.r1, s.r1 + (s.r2 - s.r1) * (top - s.z1) / (s.z2 - s.z1), s.z1, top)


def _in_both(slices: Sequence[Slice], lower: float) -> Iterator[Slice]:
    """What of each slice is also in it wherever it stands lower, by at most so much."""
    for s in slices:
        height = s.z2 - s.z1
        if height - lower <= ROUNDING:
            continue
        run = (s.r2 - s.r1) * lower / height
        if s.r2 >= s.r1:
            yield Slice(s.part, s.r1, s.r2 - run, s.z1, s.z2 - lower)
        else:
            yield Slice(s.part, s.r1 + run, s.r2, s.z1, s.z2 - lower)
