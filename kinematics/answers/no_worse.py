"""How far may a stick-out be off before a cut gets worse than it is now: the lengths over which it stays as good.

1. Where a cut is clear now, those at which it stays clear. Where it is tight, those at which no pair has less over
   its keep-off than the tightest has now; depth and travel count too.
2. A range was proven as a whole (`stick_out.py`); nothing is tried length by length.
3. What this file does not know: words, rounding for people.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kinematics.answers.ranges import Range
from kinematics.answers.stick_out import CutStickOuts, Lifts, StickOutAnswer
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import KeepOff
from kinematics.verdict import Verdict

SAME = 0.005  # mm; spares that differ by no more are one: as far apart as the two ends of a clearance may be
LEAST_KEEP_OFF = 1e-6  # mm; a keep-off of nothing would call a spare of nothing clear


@dataclass(frozen=True, slots=True)
class NoWorse:
    """The stick-outs at which a cut is as good as it is now, mm, its tool in its holder.

    Parameters
    ----------
    least, most : both are proven; `now` lies between them.
    limit : what keeps `least` from being less: "pair", "tool", "depth" or "travel"; `limited_by` the pair, where it
        is one and is known.
    ended_by : what ends the range at `most`: None where longer only makes the cut worse, else as in StickOutAnswer.
    """

    least: float
    most: float
    limit: str | None
    limited_by: tuple[str, str] | None
    ended_by: str | None


@dataclass(frozen=True, slots=True)
class Lengths:
    """What a cut says to the stick-out of its tool, in its holder.

    Parameters
    ----------
    held : None where the cut is neither clear nor tight.
    clear_from : the least length at which it is clear, mm; None where none is.
    why : why no length is clear; None where one is.
    """

    held: NoWorse | None
    clear_from: float | None
    why: str | None


def lengths_of(placed: PlacedCut, report: CutReport, lifts: Lifts | None = None) -> Lengths:
    """The lengths at which a cut is no worse than its report says, and from which it is clear."""
    answer = CutStickOuts(placed, lifts).answer(placed.tool.holder)
    held = _held(placed, report, answer) if report.verdict in (Verdict.CLEAR, Verdict.TIGHT) else None
    return Lengths(held, answer.least_clear, answer.why)


def _held(placed: PlacedCut, report: CutReport, answer: StickOutAnswer) -> NoWorse:
    now = placed.tool.stick_out
    if report.verdict is Verdict.TIGHT:
        pair = report.worst
        assert pair is not None and pair.spare is not None, "only a pair with a spare makes a cut tight"
        alike = _with_keep_off(placed, pair.spare - pair.keep_off - SAME)
        answer = CutStickOuts(alike).answer(placed.tool.holder)
    held = next((r for r in answer.ranges if r.verdict is Verdict.CLEAR and r.start <= now <= r.end), None)
    if held is None:  # as good as now is just what this length gives
        return NoWorse(now, now, None, None, None)
    limit, pair_names = _what_limits(answer, held)
    ended_by = answer.longest_by if held is answer.ranges[-1] else None
    return NoWorse(held.start, held.end, limit, pair_names, ended_by)


def _with_keep_off(placed: PlacedCut, more: float) -> PlacedCut:
    """The same cut in a scene that wants `more` spare everywhere."""
    scene = placed.prepared.scene
    wanted = scene.keep_off
    cutter, part = (max(k + more, LEAST_KEEP_OFF) for k in (wanted.cutter, wanted.holder))
    alike = replace(scene, keep_off=KeepOff(cutter, part, wanted.swing))
    cuts = placed_cuts(Prepared(alike, like=placed.prepared))
    return next(c for c in cuts if (c.orientation.name, c.cut.name) == (placed.orientation.name, placed.cut.name))


def _what_limits(answer: StickOutAnswer, held: Range) -> tuple[str | None, tuple[str, str] | None]:
    """What keeps the range from beginning earlier; the answer knows it of the first clear range."""
    if held.start == answer.least_clear:
        return answer.limit, answer.limited_by
    return "pair", None
