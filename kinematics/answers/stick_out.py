"""How short may a tool stick out: the least lengths at which a cut does not hit, cannot hit, is clear.

1. Pairs: where a longer stick-out never leaves less room each limit is one root; elsewhere the whole range is cut
   into pieces that are certain (`by_length.py`, `roots.py`).
2. Depth: what is above the flutes has to stay out of the material; it needs a least length of its own.
3. Travel: the gauge line goes up with the stick-out; X, Y and the table do not depend on it.
4. The tool: no shorter than what cuts, no longer than leaves the least grip.
5. Where the lift is the retract, the height from which a cut is approached depends on the other cuts of the tool:
   it is that of the scene with the tool changed.
6. What this file does not know: files, words for people beyond names and reasons.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from kinematics.answers.by_length import LEVELS, LiftHeight, Row, Stretch
from kinematics.answers.margins import Limit, with_stick_out
from kinematics.answers.ranges import Range, least_at, merged
from kinematics.answers.roots import RESOLUTION, STEP, certain_pieces, least_met
from kinematics.assembly import ToolAssembly, tool_assembly
from kinematics.depth_rule import SLACK, depth_needed
from kinematics.errors import TightsideError
from kinematics.moves.cuts import lift_height
from kinematics.moves.swings import all_between, approach_heights
from kinematics.placed_cut import PlacedCut
from kinematics.prepared import Prepared
from kinematics.rigidity import holder_beams, tip_deflection, tool_beams
from kinematics.scene import Holder, Scene, Tool
from kinematics.tool_faults import tool_faults
from kinematics.tool_kinds import NECK, SHANK, cutter_top, given, gripped_length, largest_stick_out, shank_d
from kinematics.travel import travel_report
from kinematics.verdict import Verdict, worst

LONGEST = 500.0  # mm; a tool whose overall length is not known is not looked at beyond this
NEXT_TO = RESOLUTION + STEP  # mm; an answer this near to what limits it is limited by it
SHANK_FIT = 1e-6  # mm; rounding of a shank's diameter
_LIMITS = (Limit.HITS, Limit.CAN_HIT, Limit.CLEAR)


@dataclass(frozen=True, slots=True)
class StickOutAnswer:
    """The stick-outs of one cut, or of all cuts of a tool, with one holder. Lengths in mm.

    Parameters
    ----------
    now : the stick-out in the scene, if the tool stands in this holder there.
    least_not_hits, least_cannot_hit, least_clear : the least lengths, rounded up to 0.01 mm, at which the cut does
        not hit, cannot hit, is clear; None where none up to the longest does.
    ranges : of the whole verdict, pairs, depth and travel together, from the shortest to the longest stick-out.
    limit : what keeps the least clear length, or else the best there is, from being better: "pair", "tool", "depth"
        or "travel"; `limited_by` the pair, if it is one.
    longest_by : what ends the ranges: "grip", "outline", "travel", or "500 mm" where the tool's length is not known.
    grip_left : gripped length at the least clear stick-out; None where the overall length is not known.
    bending : how far the tip gives way there under a force, relative to the tool as it stands in the scene.
    length_to_diameter : the least clear stick-out over the cutter's diameter.
    best : the best verdict that some length reaches; None where the holder can't take the tool.
    why : why no stick-out is clear; None where one is.
    """

    holder: str
    now: float | None
    least_not_hits: float | None = None
    least_cannot_hit: float | None = None
    least_clear: float | None = None
    ranges: tuple[Range, ...] = ()
    limit: str | None = None
    limited_by: tuple[str, str] | None = None
    longest_by: str | None = None
    grip_left: float | None = None
    bending: float | None = None
    length_to_diameter: float | None = None
    best: Verdict | None = None
    why: str | None = None


class CutStickOuts:
    """What a cut asks of the stick-out of its tool; what does not depend on the holder is found once."""

    def __init__(self, placed: PlacedCut, lifts: Lifts | None = None) -> None:
        self.placed = placed
        self.lifts = lifts or Lifts(placed.prepared)

    def answer(self, holder: Holder) -> StickOutAnswer:
        """The stick-outs with a holder. One that can't take the tool is an answer with a reason."""
        return _Search(self, holder).answer()

    @cached_property
    def depth_needed(self) -> float:
        """How much must be free above the tip, whatever the holder, mm."""
        material = [(t.tree.tree, t.X_WG) for t in self.placed.pairs.targets if t.is_own_workpiece]
        return depth_needed(self.placed.assembly.cutter_radius, self.placed.move.feature, material)


class Lifts:
    """How high the cuts of a scene lift, with a tool changed; remembers what it has worked out."""

    def __init__(self, prepared: Prepared) -> None:
        self.prepared = prepared
        self._heights: dict[tuple[str, Holder, float], list[float]] = {}

    def of(self, placed: PlacedCut, tool: Tool, low: float, high: float) -> LiftHeight:
        """Of a cut, with its tool at stick-outs from low to high. Raises ToolError, FeatureError."""
        scene = self.prepared.scene
        if scene.lift.kind != "retract":
            return LiftHeight(lift_height(scene.lift, scene.machine))
        # each way to a cut ends at a height that is fixed or rises as the tool does, so that two lengths tell all
        i = scene.cuts().index((placed.orientation, placed.cut))
        at_low, at_high = (self._at(scene, with_stick_out(tool, length))[i] for length in (low, high))
        return LiftHeight(at_low, at_high - high if at_high > at_low else -math.inf)

    def _at(self, scene: Scene, tool: Tool) -> list[float]:
        key = (tool.id, tool.holder, tool.stick_out)
        if key not in self._heights:
            changed = replace(scene, tools=tuple(tool if t.id == tool.id else t for t in scene.tools))
            between = all_between(changed, self.prepared.placed)
            self._heights[key] = approach_heights(*between, len(changed.cuts()))
        return self._heights[key]


@dataclass(frozen=True, slots=True)
class Bounds:
    """The stick-outs that a tool allows in a holder, and what ends them."""

    low: float
    high: float
    longest_by: str


def grips_shank(holder: Holder, tool: Tool) -> bool:
    """Whether a holder grips shanks of this diameter, as far as is known."""
    if holder.shanks is None:
        return True
    return holder.shanks[0] - SHANK_FIT <= shank_d(tool) <= holder.shanks[1] + SHANK_FIT


def tool_bounds(tool: Tool) -> Bounds | str:
    """The shortest and the longest stick-out that the tool allows in its holder, or why there is none."""
    shanks = tool.holder.shanks
    if shanks is not None and not grips_shank(tool.holder, tool):
        grips = f"{shanks[0]:g}" if shanks[0] == shanks[1] else f"{shanks[0]:g} to {shanks[1]:g}"
        return f"{tool.holder.name} grips shanks of {grips} mm; that of {tool.id} is {shank_d(tool):g}"
    low = cutter_top(tool)
    if tool.neck is not None and tool.neck[0] > given(tool.shank):
        low = max(low, tool.neck[1])  # the holder grips the shank, a wider neck stays out of it
    ends = [(LONGEST, f"{LONGEST:g} mm")]
    if (most := largest_stick_out(tool)) is not None:
        ends = [(most, "grip")]
    if tool.outline:
        ends.append((sum(step.length for step in tool.outline), "outline"))
    high, by = min(ends)
    if high < low - RESOLUTION:
        return f"{tool.id} is too short for the least grip of {tool.holder.name}"
    high = max(low, high)
    for length in (low, high):
        faults = tool_faults(with_stick_out(tool, length))
        if faults:
            return faults[0].message
    return Bounds(low, high, by)


class _Search:
    """One cut with one holder over all stick-outs."""

    def __init__(self, cut: CutStickOuts, holder: Holder) -> None:
        self.cut, self.placed, self.holder = cut, cut.placed, holder
        self.scene = self.placed.prepared.scene
        self.machine = self.scene.machine
        self.tool: Tool = replace(self.placed.tool, holder=holder)
        self.now = self.placed.tool.stick_out if holder == self.placed.tool.holder else None

    def answer(self) -> StickOutAnswer:
        bounds = tool_bounds(self.tool)
        if isinstance(bounds, str):
            return StickOutAnswer(self.holder.name, self.now, why=bounds)
        if self.placed.premature:
            before = ", ".join("/".join(c) for c in self.placed.premature)
            return self._not_checked(f"the state {self.placed.state.name} exists only after {before}, made later")
        try:
            return self._over(bounds)
        except TightsideError as error:
            return self._not_checked(error.message)

    def _not_checked(self, why: str) -> StickOutAnswer:
        return StickOutAnswer(self.holder.name, self.now, best=Verdict.NOT_CHECKED, why=why)

    def _over(self, bounds: Bounds) -> StickOutAnswer:
        low, high = bounds.low, bounds.high
        lift = self.cut.lifts.of(self.placed, self.tool, low, high)
        whole = Stretch(self.placed, self.tool, low, high, lift)
        travel = self._travel(whole)
        if isinstance(travel, str):
            out = (Range(low, high, Verdict.HITS),)
            return StickOutAnswer(
                self.holder.name, self.now, ranges=out, limit="travel", longest_by=bounds.longest_by,
                best=Verdict.HITS, why=travel,
            )  # fmt: skip
        first, last = travel
        depth = self._least_for_depth(low, high)
        stretches = list(self._stretches(whole, first, last, lift))
        pieces = [r for stretch in stretches for r in _ranges_of(stretch)]
        ranges = merged(
            [Range(low, first, Verdict.HITS)]
            + [r for piece in pieces for r in _with_depth(piece, depth)]
            + [Range(last, high, Verdict.HITS)]
        )
        least = {v: least_at(ranges, v) for v in (Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR)}
        best = min((r.verdict for r in ranges), key=lambda v: v.severity)
        limit, pair = self._limited(stretches, ranges, best, low, first, depth)
        clear = least[Verdict.CLEAR]
        return StickOutAnswer(
            holder=self.holder.name,
            now=self.now,
            least_not_hits=least[Verdict.CAN_HIT],
            least_cannot_hit=least[Verdict.TIGHT],
            least_clear=clear,
            ranges=ranges,
            limit=limit,
            limited_by=pair,
            longest_by="travel" if last < high - SLACK else bounds.longest_by,
            best=best,
            why=None if clear is not None else _why_never(best, limit, pair),
            **rigidity_at(self.scene, self.placed.tool, self.holder, clear),
        )

    # ---- what bounds the length ----------------------------------------------------------------------

    def _travel(self, whole: Stretch) -> tuple[float, float] | str:
        """The stick-outs at which the gauge line stays within its travel, or what is out of it."""
        low, high = whole.low, whole.high
        move, cut = whole.pairs.move, self.placed.cut
        head = move.gauge_length - high  # both ends of the gauge line's way go up with the stick-out

        def at(length: float) -> tuple[float, float, str | None]:
            there = replace(move, gauge_length=head + length)
            report = travel_report(self.machine, there, cut.retract, self.scene.lift, self.placed.angles)
            return *report.z.left, report.why

        below, above, _ = at(low)
        first, last = low + max(0.0, -below), min(high, low + above)
        if first > last + SLACK:
            return at(min(first, high))[2] or "Z is out of travel"
        last = max(first, last)
        why = at(first)[2]
        return (first, last) if why is None else why

    def _least_for_depth(self, low: float, high: float) -> float | None:
        """The least stick-out at which the depth rule is kept; None where it never is."""

        def margin(length: float) -> float:
            limit = tool_assembly(with_stick_out(self.tool, length), self.machine.spindle_nose).depth_limit
            return math.inf if limit is None else limit + SLACK - self.cut.depth_needed

        return least_met(margin, low, high)

    # ---- the pairs ---------------------------------------------------------------------------------

    def _stretches(self, whole: Stretch, first: float, last: float, lift: LiftHeight) -> Iterator[Stretch]:
        """Stretches in which the same pairs are compared, and the lift is of one kind."""
        ends = {*_widenings(whole.assembly), whole.lifts_to_one_height_up_to}
        cuts = [end for end in sorted(ends) if first + RESOLUTION < end < last - RESOLUTION]
        points = [first, *cuts, last]
        if len(points) == 2 and (first, last) == (whole.low, whole.high):
            yield whole
            return
        for a, b in pairwise(points):
            yield Stretch(self.placed, self.tool, a, b, lift)

    def _limited(
        self,
        stretches: Sequence[Stretch],
        ranges: Sequence[Range],
        best: Verdict,
        low: float,
        first: float,
        depth: float | None,
    ) -> tuple[str, tuple[str, str] | None]:
        """What keeps the best stick-out from being less, or from being clear."""
        at = [r.end for r in ranges if r.verdict is best][-1]
        if best is Verdict.CLEAR:
            begins = next(r.start for r in ranges if r.verdict is best)
            for limit, length in (("tool", low), ("travel", first), ("depth", depth)):
                if length is not None and abs(begins - length) <= NEXT_TO:
                    return limit, None
            at = begins - NEXT_TO
        left, pair = _least_room(stretches, at)
        if pair is not None and left < 0.0:
            return "pair", pair.names
        return ("depth" if depth is None or at < depth else "travel"), None


def _ranges_of(stretch: Stretch) -> Iterator[Range]:
    """The verdicts of the pairs over a stretch."""
    low, high = stretch.low, stretch.high
    if not stretch.rows:
        yield Range(low, high, Verdict.CLEAR)
    elif stretch.never_falls:
        yield from _by_roots(stretch)
    else:
        for a, b, level in certain_pieces(stretch.levels, low, high, stretch.rows):
            yield Range(a, b, LEVELS[level])


def _by_roots(stretch: Stretch) -> Iterator[Range]:
    start, high = stretch.low, stretch.high
    if stretch.margin(start, Limit.CLEAR)[0] >= 0.0:
        yield Range(start, high, Verdict.CLEAR)
        return
    for limit, verdict in zip(_LIMITS, reversed(LEVELS), strict=False):
        root = least_met(lambda length, limit=limit: stretch.margin(length, limit)[0], start, high)  # type: ignore[misc]  # a default binds the loop's
        yield Range(start, high if root is None else root, verdict)
        if root is None:
            return
        start = root
    yield Range(start, high, Verdict.CLEAR)


def _least_room(stretches: Sequence[Stretch], length: float) -> tuple[float, Row | None]:
    """What is left over keep-off at a length, and the pair that leaves it; infinite where none matters."""
    for stretch in stretches:
        if stretch.low - STEP <= length <= stretch.high + STEP:
            return stretch.margin(min(max(length, stretch.low), stretch.high), Limit.CLEAR)
    return math.inf, None


def _widenings(assembly: ToolAssembly) -> Iterator[float]:
    """Heights at which neck or shank become wider than the cutter: from there on they are compared with more."""
    limit = assembly.cutter_radius
    for part in (NECK, SHANK):
        for s in assembly.slices_of(part)[0]:
            if max(s.r1, s.r2) > limit:
                yield s.z1 if s.r1 > limit else s.z1 + (s.z2 - s.z1) * (limit - s.r1) / (s.r2 - s.r1)
                break


def _why_never(best: Verdict, limit: str, pair: tuple[str, str] | None) -> str:
    if limit == "depth":
        return "the flute is too short for the depth at every stick-out"
    between = " to ".join(pair) if pair else "travel"
    return f"{best} at best, whatever the stick-out: {between}"


def _with_depth(piece: Range, depth: float | None) -> list[Range]:
    """A range with what the depth rule says: too short a flute can hit."""
    if depth is None or depth >= piece.end:
        return [replace(piece, verdict=worst([piece.verdict, Verdict.CAN_HIT]))]
    if depth <= piece.start:
        return [piece]
    return [Range(piece.start, depth, worst([piece.verdict, Verdict.CAN_HIT])), replace(piece, start=depth)]


def rigidity_at(scene: Scene, now: Tool, holder: Holder, length: float | None) -> dict[str, float | None]:
    """Grip, bending relative to the tool as it stands, and slenderness at a stick-out; None where there is none."""
    if length is None:
        return {"grip_left": None, "bending": None, "length_to_diameter": None}
    tool = with_stick_out(replace(now, holder=holder), length)
    nose = scene.machine.spindle_nose
    made, before = tool_assembly(tool, nose), tool_assembly(now, nose)
    then, at_first = (tip_deflection((*tool_beams(a), *holder_beams(a)), 1.0) for a in (made, before))
    return {
        "grip_left": gripped_length(tool),
        "bending": then / at_first,
        "length_to_diameter": length / (2.0 * made.cutter_radius),
    }


def band(length_to_diameter: float) -> str:
    """What is usually said of a tool that sticks out so many diameters (rule of thumb, common practice, no source)."""
    length_to_diameter = round(length_to_diameter, 1)
    for most, word in ((3.0, "usual"), (4.0, "take care"), (5.0, "feed less")):
        if length_to_diameter <= most:
            return word
    return "slender"
