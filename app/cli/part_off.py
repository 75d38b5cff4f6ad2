"""What `tightside check --part-off` adds: how far the part may be off in every cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.text import Text

from app.cli.output import new_table, print_blocks, print_check, print_json
from app.jobs.part_off import part_off_json, part_off_line, rounded_down
from app.jobs.report import check_json
from app.jobs.words import number
from kinematics.answers.part_off import FARTHEST, FARTHEST_DEG, Off, PartOff, Way

if TYPE_CHECKING:
    from app.jobs.results import Check

_HEADS = {
    Way.TO_YOU: "to you",
    Way.AWAY: "away",
    Way.LEFT: "left",
    Way.RIGHT: "right",
    Way.UP: "up",
    Way.DOWN: "down",
    Way.COUNTER_CLOCKWISE: "ccw",
    Way.CLOCKWISE: "cw",
}
_FIRST_ORDER = "To first order, and true at that place; --exact proves the whole way."
_EXACT = "Proven all the way."


def print_check_with_part_off(check: Check, answers: Sequence[PartOff]) -> None:
    """The check for people, then the ways of every cut as a table, and of the tightest in a sentence."""
    print_check(check)
    print_blocks(_blocks(check, answers))


def print_check_with_part_off_json(check: Check, answers: Sequence[PartOff]) -> None:
    """The check as one JSON object, with one more key: `part_off`."""
    print_json({**check_json(check), "part_off": [part_off_json(answer) for answer in answers]})


def _blocks(check: Check, answers: Sequence[PartOff]) -> Iterator[RenderableType]:
    by_name = {(cut.orientation, cut.cut): cut for cut in check.cuts}
    yield Text()
    yield Text("HOW FAR THE PART MAY BE OFF, on top of the set-up errors, until the spare is used up", style="bold")
    heads = [_HEADS[way] for way in Way]
    table = new_table("cut", "verdict", *heads, "first at", numbers=heads)
    ordered = sorted(answers, key=_least)
    for answer in ordered:
        if answer.why is None:
            cut = by_name.get((answer.orientation, answer.cut))
            verdict = str(cut.verdict) if cut is not None else ""
            table.add_row(f"{answer.orientation} {answer.cut}", verdict, *map(_cell, answer.ways), _first(answer))
    yield table
    for answer in answers:
        if answer.why is not None:
            yield Text(f"{answer.orientation} {answer.cut}: {part_off_line(answer)}")
    if ordered and ordered[0].why is None:
        yield Text(f"{ordered[0].orientation} {ordered[0].cut}: {part_off_line(ordered[0])}.")
    is_exact = all(off.is_exact for answer in answers for off in answer.ways)
    yield Text(
        f"The part with all that stands with it, shifted in mm as you stand at the machine, or turned in degrees about "
        f"part zero's Z as seen from the part's top. free: {FARTHEST:g} mm, {FARTHEST_DEG:g} degrees and more. "
        f"{_EXACT if is_exact else _FIRST_ORDER}"
    )


def _least(answer: PartOff) -> float:
    return min((off.most for off in answer.ways if off.most is not None and not off.way.is_turn), default=FARTHEST)


def _cell(off: Off) -> str:
    return "free" if off.most is None else number(rounded_down(off.most))


def _first(answer: PartOff) -> str:
    """Between which two the least of the shifts ends."""
    known = [off for off in answer.ways if off.between is not None and off.most is not None]
    if not known:
        return ""
    first = min(known, key=lambda off: (off.way.is_turn, off.most))
    return ", ".join(first.between or ())
