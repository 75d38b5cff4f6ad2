"""The least room that a whole set-up leaves, as quickly as it can be had: of every cut only the pair that is worst.

1. Verdict, worst pair and spare of a cut are those that a check gives: the same pairs, bounds, ties and order. What
   a check says beside them (next pairs, sight, sides, a second opinion) is not worked out.
2. The pair that a set-up is known by is the worst of all its cuts: by verdict, then by spare over keep-off.
3. What this file does not know: dials, files, words.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from kinematics.cut_pairs import TIE, CutPairs, Pair, Rank, rank
from kinematics.depth_rule import depth_report
from kinematics.engine.exact_pair import near_enough
from kinematics.engine.pair import Clear, Contact
from kinematics.errors import EngineError, TightsideError
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import AxisTravel, DepthReport, SwingReport, TravelReport
from kinematics.scene import Path
from kinematics.travel import travel_report
from kinematics.verdict import Verdict, verdict_of, worst

Cause = Literal["pair", "depth", "travel", "unknown"]
CutName = tuple[str, str]  # orientation and cut


@dataclass(frozen=True, slots=True)
class PairRoom:
    """A pair with its spare, mm; None: solids touch and no depth is known."""

    between: tuple[str, str]
    verdict: Verdict
    spare: float | None
    keep_off: float

    @property
    def rank(self) -> Rank:
        return rank(self.verdict, self.spare, self.keep_off)


@dataclass(frozen=True, slots=True)
class CutRoom:
    """What one cut leaves. `pair` is None where no pair is compared; `why` says what was not checked."""

    orientation: str
    cut: str
    pair: PairRoom | None
    depth: DepthReport | None
    travel: TravelReport | None
    why: str | None = None

    @property
    def verdict(self) -> Verdict:
        said = [Verdict.NOT_CHECKED] if self.why is not None else []
        said += [part.verdict for part in (self.pair, self.depth, self.travel) if part is not None]
        return worst(said)


@dataclass(frozen=True, slots=True)
class LeastTravel:
    """Where the least travel is left: the axis, how far the spindle goes on that side, mm, and the cut."""

    verdict: Verdict
    least_left: float
    axis: str
    reached: float
    orientation: str
    cut: str
    why: str | None


@dataclass(frozen=True, slots=True)
class Room:
    """What a set-up leaves over all its cuts, and its swings where they were asked for.

    `pair` stands in `cut` of `orientation`. `cause` says what the verdict comes from: that pair, the depth of a cut,
    travel, or that something was not checked; `why` says it in words, None for the pair.
    """

    verdict: Verdict
    pair: PairRoom | None
    orientation: str | None
    cut: str | None
    travel: LeastTravel | None
    cause: Cause
    why: str | None
    swing: SwingReport | None = None


class Rooms:
    """Finds the rooms of one scene after the other; a cut whose every input is equal to the last keeps its room."""

    def __init__(self) -> None:
        self._last: dict[CutName, tuple[object, object, CutRoom]] = {}

    def of(
        self, prepared: Prepared, only: Collection[CutName] | None = None, swings: Sequence[SwingReport] = ()
    ) -> Room:
        """The room that a scene leaves in the cuts that are named, or all; `swings` are those that count too."""
        cuts = [
            self.of_cut(placed)
            for placed in placed_cuts(prepared)
            if only is None or (placed.orientation.name, placed.cut.name) in only
        ]
        return room_of(cuts, swings)

    def of_cut(self, placed: PlacedCut) -> CutRoom:
        """The room of one cut, as `cut_room` finds it."""
        if isinstance(placed.cut.feature, Path):  # its points may be a million: too long to compare
            return cut_room(placed)
        prepared, name = placed.prepared, (placed.orientation.name, placed.cut.name)
        lift_to = prepared.lift_to(placed.orientation, placed.cut)
        key = (placed.orientation.angles_deg, placed.cut, placed.tool, placed.done, lift_to)
        around = prepared.surroundings
        last = self._last.get(name)
        if last is None or last[0] is not around or last[1] != key:
            last = self._last[name] = (around, key, cut_room(placed))
        return last[2]


def cut_room(placed: PlacedCut) -> CutRoom:
    """The worst pair, depth and travel of one cut; what can't be established is not checked, and says why."""
    orientation, cut = placed.orientation.name, placed.cut.name
    scene = placed.prepared.scene
    try:
        pairs = placed.pairs
        move = pairs.move
        travel = travel_report(scene.machine, move, placed.cut.retract, scene.lift, placed.angles)
        material = [(t.tree.tree, t.X_WG) for t in pairs.targets if t.is_own_workpiece]
        depth = depth_report(placed.assembly, move.feature, material)
        pair, unknown = worst_pair(pairs)
    except TightsideError as error:
        return CutRoom(orientation, cut, None, None, None, error.message)
    if placed.premature:
        before = ", ".join("/".join(c) for c in placed.premature)
        unknown = f"the state {placed.state.name} exists only after {before}, made later"
    return CutRoom(orientation, cut, pair, depth, travel, unknown)


def worst_pair(pairs: CutPairs) -> tuple[PairRoom | None, str | None]:
    """The pair that ranks first, of those that tie the first in file order; and why some pair is not known."""
    found: list[tuple[Pair, PairRoom]] = []
    unknown: str | None = None
    last: Rank = (0, math.inf)
    for pair in pairs.worst_first():
        if pair.key > (last[0], last[1] + TIE):
            break
        try:
            room = _room_of_pair(pairs, pair, pair.behind(last))
        except EngineError as error:
            unknown = unknown or f"{' - '.join(pair.names)}: {error.message}"
            continue
        if room is not None:
            found.append((pair, room))
            last = min(last, room.rank)
    if not found:
        return None, unknown
    ties = [(pair, room) for pair, room in found if _ties(last, room.rank)]
    return min(ties, key=lambda tie: (tie[0].target.order, tie[0].part.order))[1], unknown


def _ties(first: Rank, other: Rank) -> bool:
    return first[0] == other[0] and (first[1] == other[1] or other[1] - first[1] <= TIE)


def _room_of_pair(pairs: CutPairs, pair: Pair, far: float) -> PairRoom | None:
    """What a pair leaves; None once its clearance is proven to be at least `far`. Raises EngineError."""
    round_part, target, moves = pair.part.round, pair.target, pair.moves
    if round_part is not None:
        swept = near_enough(round_part, moves.arrays, moves.down, target.tree, target.X_WG, far)
        if swept is not None:  # and what is clear when it is swept is clear as it is
            spare = swept - target.errors.total
            verdict = verdict_of(spare, pair.keep_off)
            return None if swept >= far else PairRoom(pair.names, verdict, spare, pair.keep_off)
    measured = pairs.measure(pair, far)
    return None if measured is None else _room(pair, measured.exact, measured.swept)


def _room(pair: Pair, exact: Clear | Contact, swept: Clear | Contact) -> PairRoom:
    least = _at_least(swept)
    spare = None if least is None else least - pair.target.errors.total
    if isinstance(exact, Contact) and exact.is_proven:
        verdict = Verdict.HITS
    elif spare is None:
        verdict = Verdict.CAN_HIT
    else:
        verdict = verdict_of(spare, pair.keep_off)
    return PairRoom(pair.names, verdict, spare, pair.keep_off)


def _at_least(answer: Clear | Contact) -> float | None:
    if isinstance(answer, Clear):
        return answer.at_least
    return None if answer.depth is None else -answer.depth[1]


def room_of(cuts: Sequence[CutRoom], swings: Sequence[SwingReport] = ()) -> Room:
    """What the cuts, and the swings, leave together."""
    known = [(cut.pair, cut) for cut in cuts if cut.pair is not None]
    pair, where = min(known, key=lambda item: item[0].rank) if known else (None, None)
    swing = max(swings, key=lambda s: (s.verdict.severity, -math.inf if s.spare is None else -s.spare), default=None)
    travel = _least_travel(cuts)
    verdict = worst([c.verdict for c in cuts] + ([swing.verdict] if swing else [])) if cuts else Verdict.CLEAR
    cause, why = _cause(verdict, pair, cuts, travel, swing)
    orientation, cut = (where.orientation, where.cut) if where else (None, None)
    return Room(verdict, pair, orientation, cut, travel, cause, why, swing)


def _cause(
    verdict: Verdict,
    pair: PairRoom | None,
    cuts: Sequence[CutRoom],
    travel: LeastTravel | None,
    swing: SwingReport | None,
) -> tuple[Cause, str | None]:
    """What the verdict comes from; where the worst pair is as bad as it, the pair."""
    if pair is None or pair.verdict is not verdict:
        if travel is not None and travel.verdict is verdict and travel.why is not None:
            return "travel", f"{travel.orientation} {travel.cut}: {travel.why}"
        for cut in cuts:
            if cut.depth is not None and cut.depth.verdict is verdict is not Verdict.CLEAR:
                needs, has = cut.depth.needs, cut.depth.has
                return "depth", f"{cut.orientation} {cut.cut} needs {needs:.2f} of flute, has {has:.2f}"
        for cut in cuts:
            if cut.why is not None and verdict is Verdict.NOT_CHECKED:
                return "unknown", f"{cut.orientation} {cut.cut}: {cut.why}"
        if swing is not None and swing.verdict is verdict is not Verdict.CLEAR:
            return ("unknown" if verdict is Verdict.NOT_CHECKED else "pair"), f"swing {swing.start} > {swing.end}"
    return "pair", None


def _least_travel(cuts: Sequence[CutRoom]) -> LeastTravel | None:
    """The cut with the worst verdict of travel, of several the one with the least left."""
    known = [(cut.travel, cut) for cut in cuts if cut.travel is not None]
    if not known:
        return None
    travel, cut = min(known, key=lambda item: (-item[0].verdict.severity, item[0].least_left))
    axes: tuple[tuple[str, AxisTravel], ...] = (("x", travel.x), ("y", travel.y), ("z", travel.z))
    _, axis, reached = min((left, name, at) for name, a in axes for left, at in zip(a.left, a.reached, strict=True))
    return LeastTravel(travel.verdict, travel.least_left, axis, reached, cut.orientation, cut.cut, travel.why)
