"""What `tightside stickout` prints: a table for each cut as soon as it is known, then one for each tool."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.text import Text

from app.cli.output import CAUTIONS, MARKS, new_table, print_blocks, print_json
from app.jobs.stickout import CutAnswers, ToolAnswers, stick_outs_json
from app.jobs.words import number
from kinematics.answers.stick_out import StickOutAnswer, band
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.jobs.stickout import Holders, Result
    from app.scenes.reader import SceneFile

_LIMITS = {"tool": "end of what cuts", "depth": "depth of the cut", "travel": "travel"}
_HEADS = ("holder", "no hit", "cannot hit", "clear from", "to", "grip", "bend", "L/D", "", "limited by")
_LEGEND = (
    "Stick-outs from the tip to the holder, stiffest first. grip: shank left in the holder; bend: how far the tip "
    "gives way, 1 as the tool stands now; L/D with its word: rule of thumb, common practice."
)


def print_head(scene_file: SceneFile) -> None:
    scene = scene_file.scene
    print_blocks([Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()])


def print_result(scene_file: SceneFile, result: Result) -> None:
    """The answers of one cut, or of one tool over all its cuts; a tool of one cut has been told with it."""
    if isinstance(result, ToolAnswers) and len(result.cuts) < 2:
        return
    tool = scene_file.scene.tool(result.tool)
    head = Text.assemble((_title(result), "bold"), f", now {number(tool.stick_out)} in {tool.holder.name}")
    print_blocks([head, *_table(_rows(result)), Text()])


def _title(result: Result) -> str:
    if isinstance(result, CutAnswers):
        return f"{result.orientation} {result.cut}, {result.tool}"
    return f"{result.tool} serves {', '.join(' '.join(name) for name in result.cuts)}"


def _rows(result: Result) -> list[tuple[StickOutAnswer, str | None]]:
    """Answers, those of a tool with the cut that dictates them."""
    if isinstance(result, CutAnswers):
        return [(answer, None) for answer in result.answers]
    return [(a.answer, None if a.dictated_by is None else " ".join(a.dictated_by)) for a in result.answers]


def print_tail(results: Sequence[Result], holders: Holders, *, is_json: bool) -> None:
    """What stands under the tables; in JSON, all."""
    if is_json:
        print_json(stick_outs_json(results, holders))
        return
    notes = [Text(f"NOTE: {note}") for note in holders.notes]
    print_blocks([Text(_LEGEND), *notes, Text(), Text(CAUTIONS)])


def _table(rows: Sequence[tuple[StickOutAnswer, str | None]]) -> Iterator[RenderableType]:
    """The answers, and under them the holders that have none."""
    shown = [(answer, cut) for answer, cut in rows if answer.ranges]
    if shown:
        table = new_table(*_HEADS, numbers=_HEADS[1:8])
        table.columns[0].no_wrap = True
        for answer, cut in shown:
            table.add_row(*_cells(answer, cut))
        yield table
    for answer, _ in rows:
        if not answer.ranges:
            why = answer.why or ""
            mark = "" if answer.best is None else f"{MARKS[answer.best]} {answer.best}, "
            yield Text(f"{mark}{why}" if answer.holder in why else f"{answer.holder}: {mark}{why}")


def _cells(answer: StickOutAnswer, cut: str | None) -> Iterable[str]:
    ratio, end = answer.length_to_diameter, _clear_up_to(answer)
    yield answer.holder
    yield from (_number(v) for v in (answer.least_not_hits, answer.least_cannot_hit))
    yield "never" if answer.least_clear is None else number(answer.least_clear)
    yield from (_number(v) for v in (end, answer.grip_left, answer.bending))
    yield "" if ratio is None else number(ratio, 1)
    yield "" if ratio is None else band(ratio)
    yield _limited(answer, cut)


def _number(value: float | None) -> str:
    return "" if value is None else number(value)


def _clear_up_to(answer: StickOutAnswer) -> float | None:
    """Where the first clear range ends."""
    return next((r.end for r in answer.ranges if r.verdict is Verdict.CLEAR), None)


def _limited(answer: StickOutAnswer, cut: str | None) -> str:
    said = ", ".join(answer.limited_by) if answer.limited_by else _LIMITS.get(answer.limit or "", answer.limit or "")
    if answer.least_clear is None and answer.best is not None:
        said = f"{MARKS[answer.best]} {answer.best} at best: {said}"
    n_clear = sum(r.verdict is Verdict.CLEAR for r in answer.ranges)
    if n_clear > 1:
        said += f" (clear in {n_clear} ranges, see --json)"
    return f"{cut}: {said}" if cut else said
