"""How short may a tool stick out: the least lengths at which a cut does not hit, cannot hit, is clear.

1. Pairs: the margins to the three limits (`margins.py`). With a straight lift to a fixed height they never fall
   when the tool gets longer, so each limit is one root; elsewhere the whole range is cut into certain pieces.
2. Depth: what is above the flutes has to stay out of the material; it needs a least length of its own.
3. Travel: the gauge line goes up with the stick-out; X, Y and the table do not depend on it.
4. The tool: no shorter than what cuts, no longer than leaves the least grip.
5. What this file does not know: files, words for people.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from kinematics.answers.margins import Limit, Margin, margin, trial, with_stick_out
from kinematics.answers.roots import RESOLUTION, Root, certain_pieces, least_met, rounded_up
from kinematics.assembly import tool_assembly
from kinematics.cut_pairs import CutPairs
from kinematics.depth_rule import SLACK, depth_needed
from kinematics.errors import TightsideError
from kinematics.moves.cuts import CutMove
from kinematics.placed_cut import PlacedCut
from kinematics.rigidity import holder_beams, tip_deflection, tool_beams
from kinematics.scene import Holder, Tool
from kinematics.tool_faults import tool_faults
from kinematics.tool_kinds import gripped_length, largest_stick_out, least_stick_out
from kinematics.travel import travel_report
from kinematics.verdict import Verdict, worst

LONGEST = 500.0  # mm; a tool whose overall length is not known is not looked at beyond this
_LIMITS = (Limit.HITS, Limit.CAN_HIT, Limit.CLEAR)


@dataclass(frozen=True, slots=True)
class Range:
    """A stretch of stick-outs, mm, over which the verdict of the cut is at most this bad."""

    start: float
    end: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class StickOutAnswer:
    """The stick-outs of one cut with one holder.

    Parameters
    ----------
    now : the stick-out in the scene, if the tool stands in this holder there.
    least : the least lengths, rounded up to 0.01 mm, at which the cut does not hit, cannot hit, is clear; None
        where none up to the longest does.
    ranges : of the whole verdict, pairs, depth and travel together, from the shortest to the longest stick-out.
    limited_by : the pair that leaves the least room just below the least clear length; None where something
        else limits it.
    limit : what limits the least clear length: "pair", "tool", "depth" or "travel".
    grip_left : gripped length at the least clear stick-out; None where the overall length is not known.
    bending : how far the tip gives way there under a force, relative to the tool as it stands in the scene.
    length_to_diameter : the least clear stick-out over the cutter's diameter.
    why : why no stick-out serves; None where one does.
    """

    holder: str
    now: float | None
    least_not_hits: float | None
    least_cannot_hit: float | None
    least_clear: float | None
    ranges: tuple[Range, ...]
    limited_by: tuple[str, str] | None
    limit: str | None
    grip_left: float | None
    bending: float | None
    length_to_diameter: float | None
    why: str | None


def stick_out_answer(placed: PlacedCut, holder: Holder) -> StickOutAnswer:
    """The stick-outs that serve a cut with a holder. A holder that can't take the tool is an answer with a reason."""
    return _Search(placed, holder).answer()


class _Search:
    """One cut with one holder over all stick-outs."""

    def __init__(self, placed: PlacedCut, holder: Holder) -> None:
        self.placed, self.holder = placed, holder
        self.scene = placed.prepared.scene
        self.machine = self.scene.machine
        self.tool: Tool = replace(placed.tool, holder=holder)
        self._trials: dict[float, CutPairs] = {}
        self._margins: dict[tuple[float, Limit], Margin] = {}

    # ---- one length ------------------------------------------------------------------------------

    def _pairs(self, length: float) -> CutPairs:
        if length not in self._trials:
            self._trials[length] = trial(self.placed, with_stick_out(self.tool, length))
        return self._trials[length]

    def _margin(self, length: float, limit: Limit) -> Margin:
        key = (length, limit)
        if key not in self._margins:
            self._margins[key] = margin(self._pairs(length), limit)
        return self._margins[key]

    def _value(self, limit: Limit) -> Callable[[float], float]:
        return lambda length: self._margin(length, limit).value

    # ---- what bounds the length -------------------------------------------------------------------

    def _bounds(self) -> tuple[float, float] | str:
        """The shortest and the longest stick-out that the tool allows in this holder, or why there is none."""
        low = least_stick_out(self.tool)
        most = largest_stick_out(self.tool)
        if self.tool.outline:
            outline = sum(step.length for step in self.tool.outline)
            most = outline if most is None else min(most, outline)
        high = LONGEST if most is None else most
        if high < low - RESOLUTION:
            return f"{self.tool.id} is too short for the least grip of {self.holder.name}"
        high = max(low, high)
        for length in (low, high):
            faults = tool_faults(with_stick_out(self.tool, length))
            if faults:
                return faults[0].message
        return low, high

    def _travel(self, low: float, high: float) -> tuple[float, float] | str:
        """The stick-outs within [low, high] at which the gauge line stays within its travel, or what is out of it."""
        move = self._move(low)
        report = travel_report(self.machine, move, self.placed.cut.retract, self.scene.lift, self.placed.angles)
        if min(*report.x.left, *report.y.left) < -SLACK:
            return report.why or "out of travel"
        # both ends of the gauge line's way go up with the stick-out
        first = low + max(0.0, -report.z.left[0])
        last = min(high, low + report.z.left[1])
        if report.verdict is Verdict.HITS and min(report.z.left) >= -SLACK:
            return report.why or "out of travel"
        return (first, last) if first <= last + SLACK else (report.why or "Z is out of travel")

    def _move(self, length: float) -> CutMove:
        return self._pairs(length).move

    def _least_for_depth(self, low: float, high: float) -> float | None:
        """The least stick-out at which the depth rule is kept; None where it never is."""
        targets = [t for t in self.placed.pairs.targets if t.is_own_workpiece]
        first = self._pairs(low).assembly
        if first.flute is None:
            return low
        material = [(t.tree.tree, t.X_WG) for t in targets]
        needs = depth_needed(first.cutter_radius, self.placed.move.feature, material)

        def has(length: float) -> float:
            limit = tool_assembly(with_stick_out(self.tool, length), self.machine.spindle_nose).depth_limit
            return math.inf if limit is None else limit

        root = least_met(lambda length: has(length) + SLACK - needs, low, high)
        return None if root is None else root.length

    def _never_falls(self, high: float) -> bool:
        """Whether a longer stick-out never leaves less room: the lift ends at one height, above every retract."""
        if self.placed.cut.leave_to is not None or self.scene.lift.kind == "retract":
            return False
        retract = self.placed.cut.retract
        return all(s.up > retract or s.up == 0.0 for s in self._move(high).sets)

    # ---- the answer ------------------------------------------------------------------------------

    def answer(self) -> StickOutAnswer:
        bounds = self._bounds()
        if isinstance(bounds, str):
            return self._none(bounds)
        low, high = bounds
        try:
            travel = self._travel(low, high)
            if isinstance(travel, str):
                return self._none(travel)
            return self._over(low, high, travel)
        except TightsideError as error:
            return self._none(error.message)

    def _over(self, low: float, high: float, travel: tuple[float, float]) -> StickOutAnswer:
        first, last = travel
        depth = self._least_for_depth(low, high)
        pieces = self._by_roots(first, last) if self._never_falls(last) else self._by_pieces(first, last)
        ranges = _merged(
            [Range(low, first, Verdict.HITS)]
            + [r for piece in pieces for r in _with_depth(piece, depth)]
            + [Range(last, high, Verdict.HITS)]
        )
        least = {v: _least(ranges, v) for v in (Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR)}
        clear = least[Verdict.CLEAR]
        limit, between = self._limited(clear, low, first, depth, last)
        return StickOutAnswer(
            holder=self.holder.name,
            now=self.placed.tool.stick_out if self.holder == self.placed.tool.holder else None,
            least_not_hits=least[Verdict.CAN_HIT],
            least_cannot_hit=least[Verdict.TIGHT],
            least_clear=clear,
            ranges=ranges,
            limited_by=between,
            limit=limit,
            grip_left=None if clear is None else gripped_length(with_stick_out(self.tool, clear)),
            bending=None if clear is None else self._bending(clear),
            length_to_diameter=None if clear is None else clear / (2.0 * self._pairs(low).assembly.cutter_radius),
            why=None if clear is not None else self._why_never(last, depth),
        )

    def _by_roots(self, low: float, high: float) -> list[Range]:
        roots: list[float] = []
        start = low
        for limit in _LIMITS:
            root: Root | None = least_met(self._value(limit), start, high)
            if root is None:
                break
            start = root.length
            roots.append(root.length)
        ends = [low, *roots, high]
        verdicts = (Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR)
        return [Range(a, b, v) for a, b, v in zip(ends[:-1], ends[1:], verdicts, strict=False)]

    def _by_pieces(self, low: float, high: float) -> list[Range]:
        def margins(length: float) -> tuple[float, ...]:
            return tuple(self._margin(length, limit).value for limit in _LIMITS)

        verdicts = (Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR)
        found = []
        for a, b, met in certain_pieces(margins, low, high):
            n_met = next((k for k, is_met in enumerate(met) if not is_met), len(met))
            found.append(Range(a, b, verdicts[n_met]))
        return found

    def _limited(
        self, clear: float | None, low: float, first: float, depth: float | None, last: float
    ) -> tuple[str | None, tuple[str, str] | None]:
        """What keeps the least clear stick-out from being less."""
        if clear is None:
            return ("depth", None) if depth is None else ("pair", self._margin(last, Limit.CLEAR).between)
        if clear <= low + 2 * RESOLUTION + 0.01:
            return "tool", None
        if depth is not None and abs(clear - depth) <= 2 * RESOLUTION + 0.01:
            return "depth", None
        if abs(clear - first) <= 2 * RESOLUTION + 0.01:
            return "travel", None
        return "pair", self._margin(max(first, clear - 0.02), Limit.CLEAR).between

    def _why_never(self, last: float, depth: float | None) -> str:
        if depth is None:
            return "the flute is too short for the depth at every stick-out"
        longest = self._margin(last, Limit.CLEAR)
        between = " to ".join(longest.between) if longest.between else "nothing near"
        return f"at its longest, {last:.2f}, {between} still leaves too little"

    def _bending(self, length: float) -> float:
        """Deflection of the tip at this stick-out, relative to the tool as it stands in the scene."""
        nose = self.machine.spindle_nose
        made, now = tool_assembly(with_stick_out(self.tool, length), nose), tool_assembly(self.placed.tool, nose)
        then = tip_deflection((*tool_beams(made), *holder_beams(made)), 1.0)
        return then / tip_deflection((*tool_beams(now), *holder_beams(now)), 1.0)

    def _none(self, why: str) -> StickOutAnswer:
        now = self.placed.tool.stick_out if self.holder == self.placed.tool.holder else None
        return StickOutAnswer(self.holder.name, now, None, None, None, (), None, None, None, None, None, why)


def _with_depth(piece: Range, depth: float | None) -> list[Range]:
    """A range with what the depth rule says: too short a flute can hit."""
    if depth is None or depth >= piece.end:
        return [replace(piece, verdict=worst([piece.verdict, Verdict.CAN_HIT]))]
    if depth <= piece.start:
        return [piece]
    return [Range(piece.start, depth, worst([piece.verdict, Verdict.CAN_HIT])), replace(piece, start=depth)]


def _merged(pieces: Sequence[Range]) -> tuple[Range, ...]:
    """Ranges in order, those of one verdict joined; ends rounded so that none claims more than was proven."""
    joined: list[Range] = []
    for piece in pieces:
        if piece.end - piece.start <= 0.0 and len(pieces) > 1:
            continue
        if joined and joined[-1].verdict is piece.verdict:
            joined[-1] = replace(joined[-1], end=piece.end)
        else:
            joined.append(piece)
    found: list[Range] = []
    for piece in joined:
        start = found[-1].end if found else piece.start
        following = joined[len(found) + 1] if len(found) + 1 < len(joined) else None
        end = piece.end
        if following is not None:  # the better of two neighbours gives way
            is_better_next = following.verdict.severity < piece.verdict.severity
            end = rounded_up(end) if is_better_next else math.floor(end * 100 + 1e-6) / 100
        found.append(Range(start, max(start, end), piece.verdict))
    return tuple(r for r in found if r.end > r.start or len(found) == 1)


def _least(ranges: Sequence[Range], at_most: Verdict) -> float | None:
    """The least stick-out whose verdict is no worse than `at_most`."""
    return next((r.start for r in ranges if r.verdict.severity <= at_most.severity), None)


def bands(length_to_diameter: float) -> str:
    """The usual rule of thumb for a slender tool (common practice, no source)."""
    if length_to_diameter <= 3.0:
        return "stiff"
    if length_to_diameter <= 5.0:
        return "usual"
    return "slender: expect chatter and lower feeds"
