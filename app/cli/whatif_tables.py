"""What `tightside whatif` prints: a table for each dial, under it the best value and the ranges."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from app.cli.output import CAUTIONS, MARKS, new_table, print_blocks, print_json
from app.jobs.results import name_of_move
from app.jobs.whatif import DialAnswer, DialValue, n_as_good
from app.jobs.whatif_dials import Dial, Value
from app.jobs.whatif_report import what_if_json
from app.jobs.words import MINUS, proven, spare_text
from app.scenes.reader import SceneFile
from kinematics.answers.worst_room import CutName, PairRoom
from kinematics.verdict import Verdict

_HEADS = ("", "verdict", "spare", "cut", "between", "travel left")
MOST_WHY = 3  # reasons that are told under a table


def print_what_if(
    scene_file: SceneFile,
    answers: Sequence[DialAnswer],
    only: frozenset[CutName] | None,
    asked: argparse.Namespace,
    cancelled: str | None,
) -> None:
    """Everything that is known, for people or for programs."""
    if asked.json:
        print_json(what_if_json(answers, with_swings=asked.swings, cancelled=cancelled))
        return
    scene = scene_file.scene
    blocks: list[RenderableType] = [Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()]
    for answer in answers:
        blocks += [*_dial_blocks(answer, with_best=asked.best, with_ranges=asked.ranges), Text()]
    if cancelled is not None:
        blocks += [Text(f"CANCELLED {cancelled}", style="bold"), Text()]
    blocks += [Text(_what_counts(only, with_swings=asked.swings)), Text(), Text(CAUTIONS)]
    print_blocks(blocks)


def _what_counts(only: frozenset[CutName] | None, *, with_swings: bool) -> str:
    cuts = "all cuts" if only is None else ", ".join(sorted(" ".join(name) for name in only))
    if with_swings:
        return f"Counted: {cuts}; links and swings too. Ranges are of the cuts alone."
    return f"Counted: {cuts}. LEFT OUT: links and swings (--swings counts them)."


def _dial_blocks(answer: DialAnswer, *, with_best: bool, with_ranges: bool) -> Iterator[RenderableType]:
    dial = answer.asked.dial
    now = "" if dial.now is None else f", now {_text(dial.now)}"
    yield Text.assemble((f"{dial.name}{f', {dial.unit}' if dial.unit else ''}", "bold"), now)
    best = answer.best if with_best else None
    if answer.values:
        table = new_table(*_HEADS, numbers=("", "spare", "travel left"))
        table.columns[0].justify = "left" if isinstance(answer.values[0].value, str) else "right"
        table.columns[1].no_wrap = True
        for value in answer.values:
            table.add_row(*_cells(value, is_best=value is best), style="bold" if value is best else "")
        yield table
        yield from _reasons(answer.values)
    if with_best:
        yield Text(_best_text(dial, best, answer.values))
    if with_ranges:
        yield from _ranges(answer)


def _text(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:.6g}".replace("-", MINUS)


def _cells(value: DialValue, *, is_best: bool) -> tuple[str, ...]:
    shown = f"{'best ' if is_best else ''}{_text(value.value)}"
    room = value.room
    word = f"{MARKS[value.verdict]} {value.verdict}"
    if room is None:
        return shown, word, "?", "", "", ""
    if room.cause == "travel":
        word = f"{MARKS[value.verdict]} cannot reach"
    travel = "" if room.travel is None else f"{room.travel.axis.upper()} {proven(room.travel.least_left, 1)}"
    if room.pair is None:
        return shown, word, "", "", "", travel
    return shown, word, _spare(room.pair), f"{room.orientation} {room.cut}", ", ".join(room.pair.between), travel


def _spare(pair: PairRoom) -> str:
    return "overlap" if pair.spare is None else spare_text(pair.spare, pair.keep_off)


def _reasons(values: Sequence[DialValue]) -> Iterator[Text]:
    """Why values are worse than their worst pair: those of the first, the others by their number."""
    told: dict[str, list[Value]] = {}
    for value in values:
        why = value.why if value.room is None else value.room.why
        if value.room is not None and value.room.swing is not None and value.room.swing.verdict is value.verdict:
            why = why or (None if value.verdict is Verdict.CLEAR else name_of_move(value.room.swing))
        if why is not None:
            told.setdefault(why, []).append(value.value)
    for why, at in list(told.items())[:MOST_WHY]:
        yield Text(f"at {_text(at[0])}{f' and {len(at) - 1} more' if len(at) > 1 else ''}: {why}")
    if len(told) > MOST_WHY:
        rest = sum(len(at) for at in list(told.values())[MOST_WHY:])
        yield Text(f"and {rest} more values, see --json")


def _best_text(dial: Dial, best: DialValue | None, values: Sequence[DialValue]) -> str:
    if best is None:
        return "Best: none of the values can be checked."
    pair = best.room.pair if best.room else None
    spare = "" if pair is None else f", worst spare {_spare(pair)} ({', '.join(pair.between)})"
    n_others = n_as_good(values) - 1
    others = "" if n_others == 0 else f"; {n_others} more as good" if n_others > 1 else "; one more is as good"
    return f"Best: {dial.name} {_text(best.value)}, {best.verdict}{spare}{others}"


def _ranges(answer: DialAnswer) -> Iterator[RenderableType]:
    if answer.ranges is None:
        yield Text(f"No ranges: {answer.why_no_ranges}")
        return
    if not answer.ranges:
        yield Text("No ranges: stopped before they were known")
        return
    table = new_table("from", "to", "verdict of the cuts, proven for all values between", numbers=("from", "to"))
    for piece in answer.ranges:
        word = "hits or cannot reach" if piece.verdict is Verdict.HITS else str(piece.verdict)
        table.add_row(_text(piece.start), _text(piece.end), f"{MARKS[piece.verdict]} {word}")
    yield table
