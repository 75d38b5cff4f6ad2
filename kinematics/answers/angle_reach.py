"""How far a table axis may turn for a cut, as in "how far past 90": the tip is kept, the tool re-aimed.

1. Ranges of the verdict over all that the axis may turn are proven as a whole (`dial_ranges.py`); nothing is sampled.
2. What may be told of an angle is told of the stretch that the orientation is in now, or of the nearest one.
3. What stops it is looked up right behind its end: a pair, the flute, travel, or the limit of the axis itself.
4. What this file does not know: files, words for people, links and swings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from kinematics.answers.dial_ranges import dial_pieces
from kinematics.answers.ranges import Range, merged
from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.answers.worst_room import CutRoom, cut_room
from kinematics.errors import TightsideError
from kinematics.machine import TableAxis
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Cut, Orientation, Scene
from kinematics.verdict import Verdict

HALF_TURN = 180.0  # degrees; of an endless axis, to either side of where it stands
FINEST = 0.01  # degrees; nothing shorter is looked at
SLIVER = 0.06  # degrees; a better stretch this short, between two worse ones, is not told apart
BEHIND = (0.01, 0.03, 0.1, 0.3)  # degrees behind an end, where what stops it is looked up
NEARLY = 0.05  # mm; where nothing is wrong yet behind an end, what is this near to wrong stops it
Kind = Literal["pair", "depth", "travel", "not checked", "axis limit", "all round"]


@dataclass(frozen=True, slots=True)
class Stop:
    """What stops the axis from going on: `between` which two, if it is a pair; `why` in words, if there is more."""

    kind: Kind
    between: tuple[str, str] | None = None
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Within:
    """Degrees from the lowest to the highest angle at which something is proven of a cut, and what stops either."""

    lowest: float
    highest: float
    stops_low: Stop
    stops_high: Stop


@dataclass(frozen=True, slots=True)
class AngleReach:
    """How far one table axis may turn for one cut.

    Parameters
    ----------
    now : where it stands in the scene, degrees. `limits`: its own; None for an endless axis.
    ranges : of the verdict, over all that it may turn.
    clear, cannot_hit, not_hits : where the cut is clear, cannot hit, does not hit; None: nowhere.
    """

    axis: str
    now: float
    limits: tuple[float, float] | None
    ranges: tuple[Range, ...]
    clear: Within | None
    cannot_hit: Within | None
    not_hits: Within | None


_ALLOWED = (
    (Verdict.CLEAR,),
    (Verdict.CLEAR, Verdict.TIGHT),
    (Verdict.CLEAR, Verdict.TIGHT, Verdict.CAN_HIT),
)


def angle_reach(prepared: Prepared, orientation: Orientation, cut: Cut, axis: TableAxis) -> AngleReach:
    """How far `axis` may turn for a cut; the other axes stay where they are."""
    return _Search(prepared, orientation, cut, axis).answer()


class _Search:
    def __init__(self, prepared: Prepared, orientation: Orientation, cut: Cut, axis: TableAxis) -> None:
        self.prepared, self.scene = prepared, prepared.scene
        self.orientation, self.axis = orientation, axis
        self.name = (orientation.name, cut.name)
        self.now = dict(orientation.angles_deg).get(axis.name, 0.0)
        self.limits = axis.limits or (self.now - HALF_TURN, self.now + HALF_TURN)

    def scene_at(self, angle_deg: float) -> Scene:
        aimed = re_aimed(self.scene, self.prepared.placed, self.orientation, {self.axis.name: angle_deg})
        return with_orientation(self.scene, aimed)

    def answer(self) -> AngleReach:
        pieces = list(dial_pieces(self.scene_at, *self.limits, {self.name}, finest=FINEST))
        ranges = without_slivers(merged(pieces))
        clear, cannot_hit, not_hits = (self._within(ranges, allowed) for allowed in _ALLOWED)
        return AngleReach(self.axis.name, self.now, self.axis.limits, ranges, clear, cannot_hit, not_hits)

    def _within(self, ranges: Sequence[Range], allowed: Sequence[Verdict]) -> Within | None:
        stretches = _stretches(ranges, allowed)
        if self.axis.limits is None:
            stretches = _joined_round(stretches, *self.limits)
        if not stretches:
            return None
        low, high = min(stretches, key=lambda s: max(s[0] - self.now, self.now - s[1], 0.0))
        if self.axis.limits is None and high - low >= 2.0 * HALF_TURN:
            return Within(low, high, Stop("all round"), Stop("all round"))
        return Within(low, high, self._stop(low, -1.0, allowed), self._stop(high, 1.0, allowed))

    def _stop(self, end: float, towards: float, allowed: Sequence[Verdict]) -> Stop:
        limit = towards * math.inf if self.axis.limits is None else self.limits[0 if towards < 0.0 else 1]
        if end == limit:
            return Stop("axis limit")
        room: CutRoom | None = None
        for behind in BEHIND:
            angle = end + towards * behind
            if (angle - limit) * towards > 0.0:
                break
            try:
                room = cut_room(self._placed(angle))
            except TightsideError as error:
                return Stop("not checked", why=error.message)
            stop = _wrong(room, allowed)
            if stop is not None:
                return stop
        return _nearly_wrong(room)

    def _placed(self, angle_deg: float) -> PlacedCut:
        cuts = placed_cuts(Prepared(self.scene_at(angle_deg), like=self.prepared))
        return next(p for p in cuts if (p.orientation.name, p.cut.name) == self.name)


def _wrong(room: CutRoom, allowed: Sequence[Verdict]) -> Stop | None:
    """What makes a verdict worse than is allowed; of several causes the pair is told first."""
    if room.pair is not None and room.pair.verdict not in allowed:
        return Stop("pair", room.pair.between)
    if room.depth is not None and room.depth.verdict not in allowed:
        return Stop("depth", why=f"needs {room.depth.needs:.2f} of flute, has {room.depth.has:.2f}")
    if room.travel is not None and room.travel.verdict not in allowed:
        return Stop("travel", why=room.travel.why)
    if room.why is not None:
        return Stop("not checked", why=room.why)
    return None


def _nearly_wrong(room: CutRoom | None) -> Stop:
    """What is nearest to being wrong where nothing is yet: the end is proven, and a little short of what is true."""
    if room is not None:
        if room.depth is not None and room.depth.has - room.depth.needs < NEARLY:
            return Stop("depth", why=f"needs {room.depth.needs:.2f} of flute, has {room.depth.has:.2f}")
        if room.travel is not None and room.travel.least_left < NEARLY:
            return Stop("travel", why="the spindle is at the end of its travel")
        if room.pair is not None:
            return Stop("pair", room.pair.between)
    return Stop("not checked", why="what stops it there is not known")


def _stretches(ranges: Sequence[Range], allowed: Sequence[Verdict]) -> list[tuple[float, float]]:
    """Where a verdict that is allowed goes on without a break."""
    found: list[tuple[float, float]] = []
    for r in ranges:
        if r.verdict in allowed:
            if found and found[-1][1] == r.start:
                found[-1] = (found[-1][0], r.end)
            else:
                found.append((r.start, r.end))
    return found


def _joined_round(stretches: Sequence[tuple[float, float]], low: float, high: float) -> list[tuple[float, float]]:
    """Stretches of a whole turn from low to high, those that go on over its ends told on both sides."""
    if len(stretches) < 2 or stretches[0][0] != low or stretches[-1][1] != high:
        return list(stretches)
    turn = high - low
    first, last = stretches[0], stretches[-1]
    return [(last[0] - turn, first[1]), *stretches[1:-1], (last[0], first[1] + turn)]


def without_slivers(ranges: Sequence[Range], least: float = SLIVER) -> tuple[Range, ...]:
    """Ranges, of which none that is shorter than `least` is better than both of its neighbours; claims no more."""
    kept = list(ranges)
    for i in range(1, len(kept) - 1):
        milder = min(kept[i - 1].verdict, kept[i + 1].verdict, key=lambda v: v.severity)
        if kept[i].end - kept[i].start < least and kept[i].verdict.severity < milder.severity:
            kept[i] = replace(kept[i], verdict=milder)
    joined = kept[:1]
    for before, r in pairwise(kept):
        if r.verdict is before.verdict:
            joined[-1] = replace(joined[-1], end=r.end)
        else:
            joined.append(r)
    return tuple(joined)
