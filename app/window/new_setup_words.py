"""Orientations of a new set-up in words: what each position of the table leaves, in the unit that the user chose."""

from __future__ import annotations

from app.jobs.new_setup.directions import solution_text
from app.jobs.new_setup.rooms import Room
from app.jobs.new_setup.typed import Followed, OrientationNow, Typed
from app.jobs.words import nearest_bodies, sentence, side_phrase, verdict_word
from app.window.new_setup_wanted import RoomsShown
from app.window.panels.new_setup_orientations import OrientationWords, PositionWords
from app.window.telling import LengthsIn
from app.window.units import Unit, spare_text
from kinematics.machine import TableSolution
from kinematics.pose import Vector, as_vector, unit
from kinematics.report import CutReport

SNAP = 1e-4  # a normal of triangles this near to an axis is along it


def direction_of(normal: Vector) -> Vector:
    """The direction that a face looks in; along an axis of the part where it differs by no more than rounding."""
    whole = as_vector([round(v) + 0.0 for v in unit(normal)])
    if max(abs(a - b) for a, b in zip(unit(normal), whole, strict=True)) < SNAP and sum(map(abs, whole)) == 1.0:
        return whole
    x, y, z = (round(v, 6) + 0.0 for v in unit(normal))
    return (x, y, z)


def orientation_words(
    now: OrientationNow, shown: RoomsShown | None, typed: Typed, followed: Followed, unit_shown: Unit
) -> OrientationWords:
    """One orientation with both positions."""
    rooms = {room.solution: room for room in shown.rooms} if shown is not None else {}
    why = shown.why if shown is not None else "" if now.answer is not None else "type a tool first"
    positions = tuple(_position(s, rooms.get(s), why, unit_shown) for s in now.solutions)
    tools = tuple(tool.tool.id for tool in followed.tools if tool.tool is not None)
    return OrientationWords(now, positions, now.typed.which, tools, typed.units)


def _position(solution: TableSolution, room: Room | None, why: str, unit_shown: Unit) -> PositionWords:
    angles = solution_text(solution)
    if solution.outside:
        return PositionWords(angles, None, "", "", "out of the table's limits", False)
    if room is None or room.result is None:
        return PositionWords(angles, None, "", "", why or "being checked", True)
    result = room.result
    word = verdict_word(result).upper()
    if not isinstance(result, CutReport) or result.worst is None or result.worst.spare is None:
        return PositionWords(angles, result.verdict, word, "", sentence(result, LengthsIn(unit_shown)), True)
    worst = result.worst
    assert worst.spare is not None, "as asked above"
    number = f"{spare_text(worst.spare, worst.keep_off, unit_shown)} spare"
    said = f"{worst.between[0]} to {nearest_bodies(result, worst)}"
    side = side_phrase(result)
    return PositionWords(angles, result.verdict, word, number, f"{said}, {side}" if side else said, True)
