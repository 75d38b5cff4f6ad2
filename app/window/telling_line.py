"""What the room line shows of a snapshot: a tick for every cut, link and swing with a result."""

from __future__ import annotations

from collections.abc import Iterator

from app.jobs.words import name_of, sentence
from app.window.panels.room_line import Tick
from app.window.results import Holds, Snapshot, result_shown
from app.window.telling import LengthsIn, strip_texts
from app.window.units import Unit
from kinematics.report import CutReport, SwingReport
from kinematics.verdict import Verdict


def ticks_of(snapshot: Snapshot, unit: Unit) -> tuple[Tick, ...]:
    """In machining order, cuts before moves; what is being computed for the first time has none yet."""
    return tuple(_cuts(snapshot, unit)) + tuple(_moves(snapshot, unit))


def _cuts(snapshot: Snapshot, unit: Unit) -> Iterator[Tick]:
    for cut in snapshot.cuts:
        if cut.holds is Holds.COMPUTING:
            continue
        result = result_shown(cut)
        worst = result.worst if isinstance(result, CutReport) else None
        words = f"{name_of(result)}: {sentence(result, LengthsIn(unit))}"
        is_fresh = cut.holds is Holds.FRESH
        yield Tick(cut.key, cut.verdict, worst.spare if worst else None, False, is_fresh, words)


def _moves(snapshot: Snapshot, unit: Unit) -> Iterator[Tick]:
    for move in snapshot.moves:
        result = move.result
        if move.holds is Holds.COMPUTING or result is None:
            continue
        spare = result.spare if isinstance(result, SwingReport) else None
        if spare is None and move.verdict is Verdict.CLEAR:
            continue  # nothing is there to come near
        words = strip_texts(move, unit).tip
        yield Tick(move.key, move.verdict, spare, True, move.holds is Holds.FRESH, words)
