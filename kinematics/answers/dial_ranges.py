"""Ranges of a dial: stretches of a number with a verdict each that nothing in them exceeds.

1. A stretch is judged by its middle: what a pair leaves there, less what its sides can move against each other from
   there to anywhere in the stretch (`moved.py`), less the largest set-up errors, is left everywhere. Nothing is
   sampled.
2. Depth is judged likewise, by a cutter wider by that much, and travel by how far the spindle moves.
3. Stretches are halved until how bad they are is certain, or they are so short that nobody minds; what is not certain
   then counts as the worse.
4. Only the worst cut counts: a cut that can't be the worst over a stretch is not asked again about its halves.
5. A stretch in which there is no scene, or a cut that can't be bounded, is not checked.
6. What this file does not know: what the number is, files, links, swings.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from kinematics.answers.moved import BY_POLYHEDRA, REPEATED, LiftBound, Moved, Unbounded, Unknown, moved
from kinematics.answers.ranges import Range, merged
from kinematics.answers.roots import RESOLUTION, certain_pieces
from kinematics.depth_rule import SLACK, depth_needed
from kinematics.engine.exact_pair import near_enough
from kinematics.engine.pair import Contact, pair_clearance
from kinematics.errors import EngineError, TightsideError
from kinematics.machine import BED, Machine
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import BEHIND_TOOL, Prepared
from kinematics.scene import Scene
from kinematics.tool_kinds import CUTTER
from kinematics.travel import travel_report
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from kinematics.answers.worst_room import CutName
    from kinematics.cut_pairs import Pair

MOST_KEPT = 48  # values whose scenes are kept: those of the stretches that wait, and a few
FINEST = 1e-4  # of the whole range; nothing shorter is looked at
SLIVER = 0.05  # mm or degrees; nobody sets anything into a range so narrow
TOUCHING = 1 / 128  # of the whole range; where meshes touch in the middle of so short a stretch, they count as touching
HALF_TURN = 180.0  # degrees; `moved` needs no more to either side of the middle
MOST_DEPTHS = 3  # pairs of a cut whose depth of overlap is worked out
CLEAR, TIGHT, NOT_CHECKED, CAN_HIT, HITS = (v.severity for v in (
    Verdict.CLEAR, Verdict.TIGHT, Verdict.NOT_CHECKED, Verdict.CAN_HIT, Verdict.HITS))  # fmt: skip
OF_SEVERITY = {v.severity: v for v in Verdict}
Level = tuple[int, int]  # how bad it is at best, and at worst, by severity
Known = tuple[Level, ...]  # of every cut
ANYTHING: Level = (CLEAR, HITS)


def dial_pieces(
    scene_at: Callable[[float], Scene],
    low: float,
    high: float,
    only: Collection[CutName] | None = None,
    *,
    finest: float | None = None,
) -> Iterator[Range]:
    """Pieces of [low, high] in order, each with a verdict that no value in it exceeds.

    Parameters
    ----------
    scene_at : the scene at a value; raises TightsideError where there is none. Whatever changes with the value has to
        do so along a line or on a circle, at one speed (`moved.py`), over any stretch of HALF_TURN.
    only : the cuts that count, as (orientation, cut); None: all of them.
    finest : no piece is cut that is shorter; None: FINEST of the whole, but not under RESOLUTION.
    """
    stretches = _Stretches(scene_at, only, high - low)
    finest = finest or max(RESOLUTION, FINEST * (high - low))
    n_parts = max(1, math.ceil((high - low) / HALF_TURN))
    ends = [low + k * (high - low) / n_parts for k in range(n_parts)] + [high]
    for a, b in pairwise(ends):
        nothing: Known = ()
        for start, end, severity in certain_pieces(stretches.levels, a, b, nothing, resolution=finest):
            yield Range(start, end, OF_SEVERITY[severity])


def joined(pieces: Sequence[Range]) -> tuple[Range, ...]:
    """Pieces in order as ranges: ends rounded so that the better one claims less, slivers between worse ones given up.

    Where a limit is met at a shallow angle, pieces that are certain and pieces that are not take turns.
    """
    ranges = list(merged(pieces)) if pieces else []
    k = 1
    while k < len(ranges) - 1:
        before, own, after = ranges[k - 1 : k + 2]
        least = min(before.verdict, after.verdict, key=lambda v: v.severity)
        if own.end - own.start <= SLIVER and own.verdict.severity < least.severity:
            ranges[k - 1 : k + 2] = merged([before, replace(own, verdict=least), after])
            k = max(k - 1, 1)
        else:
            k += 1
    return tuple(ranges)


class _Stretches:
    """Judges stretches of one dial."""

    def __init__(self, scene_at: Callable[[float], Scene], only: Collection[CutName] | None, whole: float) -> None:
        self.scene_at, self.only, self.whole = scene_at, only, whole
        self._kept: OrderedDict[float, list[PlacedCut] | None] = OrderedDict()
        self._last: Prepared | None = None

    def cuts_at(self, value: float) -> list[PlacedCut] | None:
        """All cuts at a value; None where there is no scene."""
        if value in self._kept:
            self._kept.move_to_end(value)
            return self._kept[value]
        made: list[PlacedCut] | None
        try:
            self._last = Prepared(self.scene_at(value), like=self._last)
            made = placed_cuts(self._last)
        except TightsideError:
            made = None
        self._kept[value] = made
        if len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)
        return made

    def levels(self, a: float, b: float, known: Known) -> tuple[int, int, Known]:
        """How bad the cuts are over [a, b] at best and at worst; `known` is of each over a longer stretch."""
        three = [self.cuts_at(v) for v in (a, a + 0.5 * (b - a), b)]
        low, middle, high = three
        if low is None or middle is None or high is None:
            return (NOT_CHECKED if all(cuts is None for cuts in three) else CLEAR), NOT_CHECKED, known
        count = [i for i, p in enumerate(middle) if self.only is None or (p.orientation.name, p.cut.name) in self.only]
        found = dict(zip(count, known or (ANYTHING,) * len(count), strict=True))
        best = max((level[0] for level in found.values()), default=CLEAR)
        lifts = _lift_bounds(low, middle, high)
        for i in sorted(count, key=lambda i: -found[i][1]):
            if found[i][1] <= best:
                continue
            level = self._level(low[i], middle[i], high[i], lifts[i], b - a)
            found[i] = (max(found[i][0], level[0]), min(found[i][1], level[1]))
            best = max(best, found[i][0])
        worst = max((level[1] for level in found.values()), default=CLEAR)
        return best, worst, tuple(found[i] for i in count)

    def _level(self, low: PlacedCut, middle: PlacedCut, high: PlacedCut, lift: LiftBound, width: float) -> Level:
        try:
            bounds = moved(low, middle, high, lift)
            levels = [_travel_level(bounds), _depth_level(bounds), self._pairs_level(bounds, width)]
        except Unbounded:
            return ANYTHING
        except (Unknown, EngineError):
            return NOT_CHECKED, NOT_CHECKED
        except TightsideError:  # the cut can't be made at one of the three values
            return CLEAR, NOT_CHECKED
        if middle.premature:
            levels.append((NOT_CHECKED, NOT_CHECKED))
        return max(level[0] for level in levels), max(level[1] for level in levels)

    def _pairs_level(self, bounds: Moved, width: float) -> Level:
        """How bad the worst pair is: by what it leaves in the middle, less and more what its sides move."""
        best, worst = CLEAR, CLEAR
        touching: list[tuple[Pair, float]] = []
        for lowest, pair in bounds.pairs.nearest_first(errors=0.0, keep_off=0.0):
            by, errors, least_errors, keep_off = _of_pair(bounds, pair)
            if lowest - by - errors - keep_off >= 0.0:
                continue
            enough = by + errors + keep_off
            swept = _clearance(bounds, pair, pair.moves.down, enough)
            if swept is not None and swept >= enough:  # what is taken off again may be a digit short of the keep-off
                continue
            left = -math.inf if swept is None else swept - by - errors
            most = (0.0 if swept is None else swept) + by + bounds.sinks - least_errors  # that is left anywhere
            best = max(best, CAN_HIT if most <= 0.0 else TIGHT if most < min(_keep_offs(bounds, pair)) else CLEAR)
            worst = max(worst, TIGHT)
            if left <= 0.0:
                exact = _clearance(bounds, pair, 0.0, by + REPEATED)
                worst = max(worst, HITS if exact is None or exact <= by else CAN_HIT)
                if exact is None:
                    touching.append((pair, by))
        if touching and self._touch_all_over(touching, width):
            best = HITS
        return best, worst

    def _touch_all_over(self, touching: Sequence[tuple[Pair, float]], width: float) -> bool:
        """Whether some pair that touches in the middle counts as touching in all of a stretch."""
        if any(not pair.target.is_convex for pair, _ in touching) and width <= TOUCHING * self.whole:
            return True
        convex = [(pair, by) for pair, by in touching if pair.target.is_convex]
        return any(_overlap(pair) > by for pair, by in convex[:MOST_DEPTHS])


def _overlap(pair: Pair) -> float:
    """The depth of overlap of a pair of convex solids in the middle; 0 where it is not known."""
    target = pair.target
    answer = pair_clearance(pair.part.outer, pair.part.real, target.obstacle, pair.moves.exact, target.prepared.trees)
    if not isinstance(answer, Contact) or not answer.is_proven or answer.depth is None:
        return 0.0
    return answer.depth[0]


def _lift_bounds(low: list[PlacedCut], middle: list[PlacedCut], high: list[PlacedCut]) -> list[LiftBound]:
    """How high each cut lifts at most; a cut is joined to those before and after it by links or swings."""
    heights = [[p.prepared.lift_to(p.orientation, p.cut) for p in cuts] for cuts in (low, middle, high)]
    tops = [max(row) for row in zip(*heights, strict=True)]
    if middle and middle[0].prepared.scene.lift.kind != "retract":
        return [LiftBound(top) for top in tops]
    ends = [max(_retract_end(p) for p in three) for three in zip(low, middle, high, strict=True)]
    moving = max((_spindle_step(*three) for three in zip(low, middle, high, strict=True)), default=0.0)
    around = [max(ends[max(i - 1, 0) : i + 2]) + moving for i in range(len(ends))]
    return [LiftBound(max(top, end)) for top, end in zip(tops, around, strict=True)]


def _retract_end(placed: PlacedCut) -> float:
    top = max(float(s.points[:, 2].max()) for s in placed.move.sets)
    return top + placed.assembly.gauge_length + placed.cut.retract


def _spindle_step(low: PlacedCut, middle: PlacedCut, high: PlacedCut) -> float:
    """How far the spindle moves along Z from the middle to the ends, at most."""
    reach = []
    for end in (low, high):
        pairs = zip(end.move.sets, middle.move.sets, strict=False)
        reach += [float(abs(s.points - m.points).max()) * 2.0 for s, m in pairs if s.points.shape == m.points.shape]
        reach.append(abs(end.assembly.gauge_length - middle.assembly.gauge_length))
    return 2.0 * max(reach)


def _of_pair(bounds: Moved, pair: Pair) -> tuple[float, float, float, float]:
    """How far the sides of a pair move against each other, the most and least errors, the largest keep-off."""
    k = pair.target.order
    is_far = pair.part.order >= BEHIND_TOOL or pair.target.body.carrier == BED
    by = float(bounds.far[k] if is_far else bounds.near[k]) + REPEATED
    if pair.part.round is None:
        by += BY_POLYHEDRA
    return by, float(bounds.errors[k]), float(bounds.least_errors[k]), max(_keep_offs(bounds, pair))


def _keep_offs(bounds: Moved, pair: Pair) -> list[float]:
    return [k.cutter if pair.part.name == CUTTER else k.holder for k in bounds.keep_offs]


def _clearance(bounds: Moved, pair: Pair, down: float, enough: float) -> float | None:
    """The proven clearance of a pair in the middle, or `enough` where it is at least that; None on contact."""
    if pair.part.round is not None:
        return near_enough(pair.part.round, pair.moves.arrays, down, pair.target.tree, pair.target.X_WG, enough)
    measured = bounds.pairs.measure(pair, enough + pair.moves.down)
    if measured is None:
        return enough
    answer = measured.exact if down == 0.0 else measured.swept
    return None if isinstance(answer, Contact) else min(answer.at_least, enough)


def _depth_level(bounds: Moved) -> Level:
    """Too short a flute can hit."""
    three = (bounds.ends[0], bounds.middle, bounds.ends[1])
    limits = [p.assembly.depth_limit for p in three]
    has = [limit for limit in limits if limit is not None]
    if bounds.middle.assembly.flute is None or not has:
        return CLEAR, CLEAR
    material = [(t.tree.tree, t.X_WG) for t in bounds.middle.pairs.targets if t.is_own_workpiece]
    feature, radius, by = bounds.middle.move.feature, bounds.middle.assembly.cutter_radius, bounds.own
    most = depth_needed(radius + by, feature, material) + by
    least = most
    if by > 0.0:  # a cutter that is no wider than nothing says nothing
        least = depth_needed(radius - by, feature, material) - by if radius > by else -math.inf
    return (CAN_HIT if least > max(has) + SLACK else CLEAR), (CAN_HIT if most > min(has) + SLACK else CLEAR)


def _travel_level(bounds: Moved) -> Level:
    """Out of travel counts as hits: by the spindle, by the height of the lift, by a table axis."""
    middle, scene = bounds.middle, bounds.middle.prepared.scene
    report = travel_report(scene.machine, middle.move, middle.cut.retract, scene.lift, {})
    by = bounds.travel
    best = HITS if report.least_left + by < 0.0 else CLEAR
    worst = HITS if report.least_left - by < 0.0 else CLEAR
    limits = scene.machine.z.limits
    lifts = [p.prepared.scene.lift.gauge_z for p in (*bounds.ends, middle)]
    outside = [z is not None and not limits[0] <= z <= limits[1] for z in lifts]
    table = _table_level(scene.machine, *(p.angles for p in (bounds.ends[0], middle, bounds.ends[1])))
    best = max(best, HITS if all(outside) else CLEAR, table[0])
    worst = max(worst, HITS if any(outside) else CLEAR, table[1])
    return best, worst


def _table_level(machine: Machine, low: dict[str, float], middle: dict[str, float], high: dict[str, float]) -> Level:
    """Whether the table axes are within their limits, by whichever turn they are counted."""
    best, worst = CLEAR, CLEAR
    for axis in machine.table_axes:
        if axis.limits is None:
            continue
        angles = [at.get(axis.name, 0.0) for at in (low, middle, high)]
        is_within = axis.within(angles[1]) is not None
        by = max(abs(angle - angles[1]) for angle in angles)
        room = min(abs(math.remainder(angles[1] - limit, 360.0)) for limit in axis.limits)
        if by > room:
            worst = HITS
        elif not is_within:
            best, worst = HITS, HITS
    return best, worst
