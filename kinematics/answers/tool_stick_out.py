"""One stick-out for all cuts of a tool: where the verdicts of all of them meet, and the cut that dictates it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kinematics.answers.ranges import Range, least_at, worst_of
from kinematics.answers.roots import STEP
from kinematics.answers.stick_out import StickOutAnswer, rigidity_at
from kinematics.scene import Holder, Scene, Tool
from kinematics.verdict import Verdict

CutName = tuple[str, str]  # orientation and cut


@dataclass(frozen=True, slots=True)
class ToolAnswer:
    """The stick-outs that serve all cuts of a tool with one holder.

    `dictated_by` is the cut that keeps the least clear one (or, where none is clear, the best) from being better;
    None where the tool itself does.
    """

    answer: StickOutAnswer
    dictated_by: CutName | None


def over_all_cuts(
    scene: Scene, tool: Tool, holder: Holder, by_cut: Sequence[tuple[CutName, StickOutAnswer]]
) -> ToolAnswer:
    """What the answers of every cut of a tool, in one holder, have in common."""
    first = by_cut[0][1]
    for name, answer in by_cut:
        if not answer.ranges:  # the holder can't take the tool, or a cut was not checked
            why = answer.why if answer.best is None else f"{'/'.join(name)}: {answer.why}"
            return ToolAnswer(
                StickOutAnswer(answer.holder, answer.now, best=answer.best, why=why),
                None if answer.best is None else name,
            )
    ranges = worst_of([answer.ranges for _, answer in by_cut])
    best = min((r.verdict for r in ranges), key=lambda v: v.severity)
    clear = least_at(ranges, Verdict.CLEAR)
    dictating = _dictating(ranges, best, by_cut)
    limiting = None if dictating is None else dict(by_cut)[dictating]
    said = limiting or first
    answer = StickOutAnswer(
        holder=first.holder,
        now=first.now,
        least_not_hits=least_at(ranges, Verdict.CAN_HIT),
        least_cannot_hit=least_at(ranges, Verdict.TIGHT),
        least_clear=clear,
        ranges=ranges,
        limit="tool" if limiting is None else said.limit,
        limited_by=None if limiting is None else said.limited_by,
        longest_by=said.longest_by,
        best=best,
        why=None if clear is not None else _why_never(best, dictating, said),
        **rigidity_at(scene, tool, holder, clear),
    )
    return ToolAnswer(answer, dictating)


def _dictating(
    ranges: Sequence[Range], best: Verdict, by_cut: Sequence[tuple[CutName, StickOutAnswer]]
) -> CutName | None:
    """The first cut that is worst just below the least clear length, or where the whole is at its best."""
    of_best = [r for r in ranges if r.verdict is best]
    at = of_best[0].start - STEP / 2 if best is Verdict.CLEAR else of_best[-1].end
    if at < ranges[0].start:
        return None
    said = {name: _verdict_near(answer.ranges, at) for name, answer in by_cut}
    return max(said, key=lambda name: said[name].severity)


def _verdict_near(ranges: Sequence[Range], length: float) -> Verdict:
    return next((r.verdict for r in ranges if length <= r.end), ranges[-1].verdict)


def _why_never(best: Verdict, dictating: CutName | None, answer: StickOutAnswer) -> str:
    if answer.why is not None and dictating is not None:
        return f"{'/'.join(dictating)}: {answer.why}"
    return f"{best} at best: no stick-out is clear in every cut"
