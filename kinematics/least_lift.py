"""The least lift of a swing: how low may the spindle be while the table turns?

1. The tool is swept from the height to the top of travel, so that the spare never falls as the height
   grows and there is one root.
2. Over a box of angles a support plane that looks down gives the height from which on the box is clear,
   in closed form. Boxes are opened from the highest of these down.
3. A distance in the middle of the highest box, at a height that is known not to be clear and a little
   more, either raises that height or narrows the box. Between the two lies the root.
4. What stands under the tool has one box of no width. What moves without the tool is tested first: no
   height helps there.
5. What can't be established counts as not clear.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from kinematics.assembly import tool_assembly
from kinematics.engine.fcl_engine import MeshTree, surface_distance
from kinematics.engine.pair import DIRECTIONS, ROUNDING
from kinematics.engine.sweep import PolyPiece, Positions, RoundPiece
from kinematics.engine.turning import MAX_QUERIES, TurnPair, at_middle, is_narrow, least_over_turn, split
from kinematics.engine.turning_pieces import Box, StillPiece, TurningPiece, halved
from kinematics.errors import EngineError
from kinematics.machine import BED
from kinematics.moves.cuts import seen_from_bed
from kinematics.pose import Array, shift
from kinematics.prepared import Part
from kinematics.scene import Tool
from kinematics.setup_error import stick_out_error
from kinematics.swing_pairs import SwingSetup, Target

STEP = 0.02  # mm, of the height
UNKNOWN_DEG = 1.0  # a box this narrow in which a distance can't be established is taken as it is bounded


def least_lift(setup: SwingSetup, keep_off: float, *, most_queries: int = MAX_QUERIES) -> float | None:
    """The least height of the gauge line at which the swing is clear, to STEP, mm in W; None if none is.

    After `most_queries` distance queries the least that is proven by then is told: it is clear, and may be more than
    a STEP too high.

    None also where bodies without the tool come too near: no height helps there. Where Z moves the table
    and something stands on the bed, the height moves those bodies too, and None is all that is known.
    """
    if setup.machine.z.moves == "table" and any(t.body.carrier == BED for t in setup.targets):
        return None
    others = setup.standing_pairs(exact=False) + setup.carried_pairs(exact=False) + setup.bed_pairs()
    if others and not _is_clear(others, keep_off, STEP / 2 + setup.chord_error()):
        return None
    return _Search(setup, keep_off).height(most_queries)


def _is_clear(pairs: list[TurnPair], keep_off: float, narrow: float) -> bool:
    """Whether the spare is proven to be the keep-off; an interval that is `narrow` won't get narrower."""
    result = least_over_turn(pairs, lambda low, high: low >= keep_off or high < keep_off or high - low <= narrow)
    return result.is_settled and result.at_least >= keep_off and not result.unknown


class _Rising:
    """A tool piece from a height of the gauge line to the top of travel, over all X, Y where it waits."""

    def __init__(
        self, setup: SwingSetup, part: Part, piece: RoundPiece | PolyPiece, supports: Array, level: Positions, by: float
    ) -> None:
        self._setup, self.part, self.piece = setup, part, piece
        self._level = level  # the positions with the gauge line at the top of travel
        self._top, self._by = setup.machine.z.limits[1], by
        self._z = float(level.points[0, 2])
        self._ready = supports + self._sideways(DIRECTIONS)
        self._at: dict[float, StillPiece] = {}
        self._tree: MeshTree | None = None

    def _sideways(self, directions: Array) -> Array:
        return np.asarray((self._level.points[:, :2] @ directions[:, :2].T).max(axis=0))

    def height_for(self, lows: Array, need: float) -> float:
        """The least height that a support plane in DIRECTIONS proves, for what lies beyond `lows` (d,)."""
        return self._height(lows - self._ready - need, DIRECTIONS[:, 2])

    def height_along(self, low: float, direction: Array, need: float) -> float:
        """The same by one support plane."""
        d = direction[None, :]
        room = low - self.piece.supports(d) - self._sideways(d) - need
        return self._height(room, d[:, 2])

    def _height(self, room: Array, up: Array) -> float:
        """From the room along directions, the tool's own height left out: up its top counts, down its foot."""
        if (room - np.maximum(up, 0.0) * self._z)[up >= 0.0].max(initial=-math.inf) >= 0.0:
            return -math.inf
        down = up < -1e-9
        # room - up (h - top + z - by) >= 0 with up below 0
        heights = -room[down] / -up[down] + self._top - self._z + self._by
        return float(heights.min(initial=math.inf))

    def at(self, height: float) -> StillPiece:
        """The piece swept from a height to the top of travel."""
        if height not in self._at:
            lift = self._top - height
            positions = Positions(self._level.points - (0.0, 0.0, lift), lift).lowered(self._by)
            supports = self.piece.supports(DIRECTIONS) + positions.supports(DIRECTIONS)
            self._at = {height: self._setup.tool_piece(self.part, self.piece, positions, supports)}
        return self._at[height]

    def distance(self, height: float, turning: TurningPiece, angles_deg: tuple[float, ...]) -> float:
        """Distance of the covering surfaces with the piece at this height alone."""
        if self._tree is None:
            self._tree = MeshTree(self.piece.swept(self._level.lowered(self._by)))
        posed = self._tree.posed(shift("W", "L", (0.0, 0.0, height - self._top)))
        return surface_distance(posed, turning.outer_at(turning.pose(angles_deg))).distance


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    rising: _Rising
    turning: TurningPiece
    need: float  # mm between the covering solids: keep-off, set-up errors, chord error and rounding
    subtract: float
    names: tuple[str, str]


@dataclass(order=True, slots=True)
class _Item:
    """A box that is clear from a height on; the highest first."""

    minus_height: float
    tie: int
    pair: _Pair = field(compare=False)
    box: Box = field(compare=False)
    is_coarse: bool = field(compare=False)
    hint: Array | None = field(compare=False)


class _Search:
    """The root in height over all pairs of a swing that have the tool in them."""

    def __init__(self, setup: SwingSetup, keep_off: float) -> None:
        self.setup, self.keep_off = setup, keep_off
        self.low, self.top = setup.machine.z.limits
        self.heap: list[_Item] = []
        self.counter = itertools.count()
        self.rising: dict[tuple[str, bool], list[_Rising]] = {}

    def height(self, most_queries: int) -> float | None:
        """The least height that is proven clear; None where the top of travel is not."""
        for pair, box in self._pairs():
            self._add(pair, box, math.inf, is_coarse=len(box) == 2)
        blocked, proven = self.low, self.low  # not clear below the one, clear from the other on
        for _ in range(most_queries):
            if not self.heap or -self.heap[0].minus_height <= blocked + STEP / 2:
                break
            item = heapq.heappop(self.heap)
            if item.is_coarse:
                self._open_coarse(item)
                continue
            tried = blocked + STEP / 4
            try:
                blocked, proven = self._opened(item, tried, blocked, proven)
            except EngineError:
                if max(hi - lo for lo, hi in item.box) <= UNKNOWN_DEG:
                    blocked = max(blocked, -item.minus_height)
                    proven = max(proven, blocked)
                else:
                    self._split(item, item.hint)
            if blocked >= self.top:
                return None
        highest = -self.heap[0].minus_height if self.heap else self.low
        height = max(highest, proven, blocked)
        return height if height <= self.top else None

    def _pairs(self) -> Iterator[tuple[_Pair, Box]]:
        for tool_id in self.setup.between.tools:
            tool = self.setup.scene.tool(tool_id)
            for target, turning, box in itertools.chain(self.setup.turning_boxes(), self.setup.resting_boxes()):
                for rising in self._risings(tool, target):
                    subtract = target.errors.total
                    need = self.keep_off + subtract + turning.piece.chord_error + ROUNDING
                    yield _Pair(rising, turning, need, subtract, (rising.part.name, target.body.name)), box

    def _risings(self, tool: Tool, target: Target) -> list[_Rising]:
        """The pieces of tool and head as the table, or for a body of the bed the bed, sees them."""
        is_bed = target.body.carrier == BED
        key = (tool.id, is_bed)
        if key not in self.rising:
            assembly = tool_assembly(tool, self.setup.machine.spindle_nose)
            level = replace(self.setup.between, gauge_z=self.top).positions(assembly.gauge_length)
            if is_bed:
                gauge = np.array([0.0, 0.0, assembly.gauge_length])
                (level,) = seen_from_bed(self.setup.machine, [level], gauge)
            by = stick_out_error(self.setup.scene.setup_errors, tool)
            self.rising[key] = [
                _Rising(self.setup, part, piece, supports, level, by)
                for part in self.setup.prepared.parts(assembly)
                for piece, supports in part.outer
            ]
        heads = {b.name for b in self.setup.prepared.head_bodies}
        is_machine = is_bed and target.body.is_machine
        return [r for r in self.rising[key] if not (is_machine and r.part.name in heads)]

    def _add(
        self, pair: _Pair, box: Box, at_most: float, *, is_coarse: bool = False, hint: Array | None = None
    ) -> None:
        height = min(at_most, pair.rising.height_for(pair.turning.lows_in_directions(box), pair.need))
        if hint is not None:
            low = float(pair.turning.lows(box, hint[None, :])[0])
            height = min(height, pair.rising.height_along(low, hint, pair.need))
        if height > self.low:
            heapq.heappush(self.heap, _Item(-height, next(self.counter), pair, box, is_coarse, hint))

    def _open_coarse(self, item: _Item) -> None:
        height = -item.minus_height
        if is_narrow(item.box):
            heapq.heappush(self.heap, replace(item, is_coarse=False))
            return
        for box in halved(item.box, 0):
            self._add(item.pair, box, height, is_coarse=True)

    def _split(self, item: _Item, hint: Array | None) -> None:
        for box in item.pair.turning.half_boxes(item.box):
            self._add(item.pair, box, -item.minus_height, hint=hint)

    def _opened(self, item: _Item, tried: float, blocked: float, proven: float) -> tuple[float, float]:
        """The heights known not to be clear, and clear, after a distance in the middle of a box."""
        pair = item.pair
        turn = TurnPair(pair.rising.at(tried), pair.turning, item.box, pair.subtract, pair.names, (0, 0))
        witness, bound, hint = at_middle(turn, item.box)
        if bound >= self.keep_off:
            return blocked, max(proven, tried)
        if bound + pair.turning.moved(item.box) < self.keep_off:
            blocked = self._root(pair, witness.angles_deg, tried)
        hint_or_last = hint if hint is not None else item.hint
        for part, box in split(turn, item.box, witness, hint):
            self._add(replace(pair, turning=part.turning), box, -item.minus_height, hint=hint_or_last)
        return blocked, proven

    def _root(self, pair: _Pair, angles_deg: tuple[float, ...], blocked: float) -> float:
        """The height up to which the piece is too near with the table at these angles, from below."""
        rising, turning = pair.rising, pair.turning
        box = tuple((a, a) for a in angles_deg)

        def is_near(height: float) -> bool:
            return rising.distance(height, turning, angles_deg) < pair.need

        def is_near_above(height: float) -> bool:
            turn = TurnPair(rising.at(height), turning, box, pair.subtract, pair.names, (0, 0))
            return at_middle(turn, box)[1] < self.keep_off

        # the piece at one height tells as much, and faster, unless it is near only higher up or lies inside
        test = is_near if is_near(blocked) else is_near_above
        clear = self.top
        if test(clear):
            return clear
        while clear - blocked > STEP / 8:
            middle = (clear + blocked) / 2
            blocked, clear = (middle, clear) if test(middle) else (blocked, middle)
        return blocked
