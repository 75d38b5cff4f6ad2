"""How far the part may be off, on top of the set-up errors, before the spare of a cut is used up.

1. The part stands elsewhere than the model says, with all that the scene places on what carries it; the tool goes
   where the model says, and the machine's own bodies stay.
2. Shifts are along the operator's directions in W, turns about the Z of part zero.
3. To first order: every pair where it is nearest now, by its contact normal. What that says is tried at its end; where
   it says too much, and where nothing seems to be in the way, the exact answer takes its place.
4. Exact: each pair is followed by itself. It can't use its spare up sooner than its body moves so far, so that much is
   skipped, and what is left of its spare is measured there (conservative advancement: B. Mirtich, "Impulse-based
   dynamic simulation of rigid body systems", 1996). Nothing between is left out.
5. What this file does not know: words for people, files.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from kinematics.cut_pairs import CutPairs, Moves, Target, measured
from kinematics.engine.exact_pair import near_enough
from kinematics.engine.pair import Clear, Contact
from kinematics.engine.round_clearance import farthest_from_line
from kinematics.errors import TightsideError
from kinematics.machine import BED, P, W
from kinematics.pairs import reason_to_leave_out
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Z_AXIS, Array, Pose, as_vector, direction_between, shift, turn_about
from kinematics.prepared import Part, Prepared

FARTHEST = 10.0  # mm; a part that may be off by as much may be off freely, as far as anybody cares
FARTHEST_DEG = 10.0  # the same for a turn
NOBODY: frozenset[str] = frozenset()
STILL = 1e-9  # mm per degree; what moves less stands still
USED_UP = 0.002  # mm; a spare that is no more than this is used up


class Way(Enum):
    """Which way the part is off, as the operator stands; turns as seen from the part's top."""

    TO_YOU = "to you"
    AWAY = "away from you"
    LEFT = "left"
    RIGHT = "right"
    UP = "up"
    DOWN = "down"
    COUNTER_CLOCKWISE = "counter-clockwise"
    CLOCKWISE = "clockwise"

    @property
    def is_turn(self) -> bool:
        return self in (Way.COUNTER_CLOCKWISE, Way.CLOCKWISE)

    @property
    def farthest(self) -> float:
        """How far is looked, mm or degrees."""
        return FARTHEST_DEG if self.is_turn else FARTHEST


@dataclass(frozen=True, slots=True)
class Off:
    """How far the part may be off one way, mm or degrees; None: freely, as far as is looked. `between`: what ends it.

    `is_exact` : proven all the way; else to first order, and true at its end.
    """

    way: Way
    most: float | None
    between: tuple[str, str] | None
    is_exact: bool


@dataclass(frozen=True, slots=True)
class PartOff:
    """How far the part may be off in one cut, each way in the order of `Way`; `why` says why that is not known."""

    orientation: str
    cut: str
    ways: tuple[Off, ...]
    why: str | None = None

    def off(self, way: Way) -> Off:
        return next(off for off in self.ways if off.way is way)


def part_off(placed: PlacedCut) -> PartOff:
    """To first order: what a glance at the contact normals says, tried where it ends."""
    return _answer(placed, _first_order)


def exact_part_off(placed: PlacedCut) -> PartOff:
    """Exact to USED_UP of spare: proven for all that lies between."""
    return _answer(placed, lambda shifted: tuple(shifted.exact(way) for way in Way))


def _answer(placed: PlacedCut, ways: Callable[[_Shifted], tuple[Off, ...]]) -> PartOff:
    name = (placed.orientation.name, placed.cut.name)
    try:
        if placed.prepared.placed.zero_of(placed.prepared.scene, placed.workpiece).carrier == BED:
            return PartOff(*name, (), "the part stands on the bed, and the table moves past it")
        return PartOff(*name, ways(_Shifted(placed)))
    except TightsideError as error:
        return PartOff(*name, (), error.message)


def _first_order(shifted: _Shifted) -> tuple[Off, ...]:
    least: dict[Way, tuple[float, tuple[str, str] | None]] = {way: (way.farthest, None) for way in Way}
    for pair in shifted.pairs:
        if all(pair.soonest(way) >= least[way][0] for way in Way):
            continue
        target = pair.target if pair.met is None else pair.met(pair.part, pair.target)
        found = None if target is None else measured(pair.part, target, pair.moves, FARTHEST + pair.errors)
        if found is None:
            continue
        swept = found.swept
        if isinstance(swept, Contact) or (spare := swept.at_least - pair.errors) <= 0.0:
            return tuple(Off(way, 0.0, pair.names, is_exact=True) for way in Way)
        normal_W = direction_between(swept.p_tool, swept.p_obstacle)
        for way in Way:
            nearer = 1.0 if normal_W is None else -float(np.dot(normal_W, shifted.velocity(way, swept.p_obstacle)))
            if nearer > 0.0 and spare / nearer < least[way][0]:
                least[way] = (spare / nearer, pair.names)
    return tuple(shifted.tried(Off(way, *least[way], is_exact=False)) for way in Way)


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """A pair whose body goes with the part. `at_least`: a crude bound of its spare, mm.

    `arm` : the farthest that its body is from the line about which it turns, mm. `met` : of a workpiece of which the
    part meets only what the cutter leaves, which stays with the tool: what that is, of the whole where it stands.
    """

    part: Part
    target: Target
    moves: Moves
    at_least: float
    arm: float
    met: Callable[[Part, Target], Target | None] | None

    @property
    def names(self) -> tuple[str, str]:
        return self.part.name, self.target.name

    @property
    def errors(self) -> float:
        return self.target.errors.total

    def rate(self, way: Way) -> float:
        """The most that the body moves per mm or degree."""
        return math.radians(self.arm) if way.is_turn else 1.0

    def soonest(self, way: Way) -> float:
        """How far the part may be off before this pair can use up its spare."""
        return max(self.at_least, 0.0) / max(self.rate(way), STILL)

    def spare(self, X_WW: Pose, most: float) -> float:
        """What is proven of the spare where the body is moved by X_WW, or `most`; -inf on contact."""
        far = most + self.errors
        whole = replace(self.target, X_WG=X_WW @ self.target.X_WG)
        there = whole if self.met is None else self.met(self.part, whole)
        if there is None:
            return most
        if self.part.round is not None:
            found = near_enough(self.part.round, self.moves.arrays, self.moves.down, there.tree, there.X_WG, far)
            return -math.inf if found is None else found - self.errors
        answer = measured(self.part, there, self.moves, far)
        if answer is None:
            return most
        return answer.swept.at_least - self.errors if isinstance(answer.swept, Clear) else -math.inf


class _Misplaced(CutPairs):
    """The pairs of a cut whose workpiece stands elsewhere, while the cutter takes what it takes."""

    def met(self, part: Part, whole: Target) -> Target | None:
        """What of its workpiece a part meets; None where they are not compared there."""
        reason = reason_to_leave_out(part.name, self.assembly, whole.body, is_own_workpiece=True, head_parts=NOBODY)
        return self._cut_target(part, whole, reason)


class _Shifted:
    """A cut whose part may be off; `pairs` are those that change then, by what is crudely left of their spare."""

    def __init__(self, placed: PlacedCut) -> None:
        self.X_WP = placed.X_WP
        self.operator = np.asarray(placed.prepared.scene.machine.operator)
        carrier = placed.prepared.placed.zero_of(placed.prepared.scene, placed.workpiece).carrier
        arms: dict[int, float] = {}

        def arm(target: Target) -> float:
            if target.order not in arms:
                X_GP = target.X_WG.inverse() @ self.X_WP
                line = X_GP.p_AB, X_GP.direction(Z_AXIS)
                arms[target.order] = farthest_from_line(target.tree.tree, *line)
            return arms[target.order]

        whole = {target.order: target for target in placed.pairs.targets}
        misplaced: list[_Misplaced] = []

        def met(target: Target) -> Callable[[Part, Target], Target | None] | None:
            if target is whole[target.order]:
                return None
            if not misplaced:  # what it makes goes with it
                prepared = Prepared(placed.prepared.scene, placed.prepared)
                cut = (placed.cut, placed.tool, placed.assembly, placed.move, placed.bodies, placed.poses)
                misplaced.append(_Misplaced(prepared, *cut, placed.pairs.targets))
            return misplaced[0].met

        self.pairs = tuple(
            _Pair(pair.part, whole[target.order] if met(target) else target, pair.moves, left, arm(target), met(target))
            for left, pair in placed.pairs.nearest_first(errors=1.0, keep_off=0.0)
            if (target := pair.target).body.carrier == carrier and not target.body.is_machine
        )

    def moved(self, way: Way, by: float) -> Pose:
        """X_WW of what goes with the part, off by so many mm or degrees."""
        if not way.is_turn:
            return shift(W, W, as_vector(self._direction(way) * by))
        turned = turn_about(P, P, Z_AXIS, by if way is Way.COUNTER_CLOCKWISE else -by)
        return self.X_WP @ turned @ self.X_WP.inverse()

    def velocity(self, way: Way, p_W: Array) -> Array:
        """How a point that goes with the part moves per mm or degree."""
        if not way.is_turn:
            return self._direction(way)
        axis_W = np.asarray(self.X_WP.direction(Z_AXIS)) * (1.0 if way is Way.COUNTER_CLOCKWISE else -1.0)
        return np.cross(axis_W, p_W - self.X_WP.p_AB) * math.radians(1.0)

    def _direction(self, way: Way) -> Array:
        right = np.cross(Z_AXIS, self.operator)  # the operator looks the other way, so this is at their right hand
        match way:
            case Way.TO_YOU:
                return self.operator
            case Way.AWAY:
                return -self.operator
            case Way.RIGHT:
                return right
            case Way.LEFT:
                return -right
            case Way.UP:
                return np.asarray(Z_AXIS)
            case _:
                return -np.asarray(Z_AXIS)

    def tried(self, off: Off) -> Off:
        """What first order says, if nothing is used up there; else the exact answer."""
        assert off.most is not None, "first order says how far it looked"
        by = max(off.most - USED_UP, 0.0)
        X_WW = self.moved(off.way, by)
        for pair in self.pairs:
            reach = pair.rate(off.way) * by
            if pair.at_least < reach and pair.spare(X_WW, reach) < 0.0:
                return self.exact(off.way)
        return replace(off, most=None if off.between is None else by)

    def exact(self, way: Way) -> Off:
        """The least by which the part is off where some pair has no more than USED_UP of spare left."""
        waiting = [(pair.soonest(way), k) for k, pair in enumerate(self.pairs)]
        heapq.heapify(waiting)
        while waiting:
            by, k = heapq.heappop(waiting)
            if by >= way.farthest:
                break
            pair = self.pairs[k]
            rate = max(pair.rate(way), STILL)
            left = pair.spare(self.moved(way, by), (way.farthest - by) * rate)
            if left <= USED_UP:
                return Off(way, by, pair.names, is_exact=True)
            heapq.heappush(waiting, (by + left / rate, k))
        return Off(way, None, None, is_exact=True)
