"""Orientations of a new set-up in words: what each position of the table leaves, in the unit that the user chose."""

from __future__ import annotations

from app.jobs.new_setup.directions import written_angles
from app.jobs.new_setup.rooms import Room
from app.jobs.new_setup.typed import Followed, OrientationNow, Typed
from app.jobs.words import angles_text, nearest_bodies, sentence, side_phrase, verdict_word
from app.window.new_setup_wanted import RoomsShown
from app.window.panels.new_setup_orientations import OrientationWords, PositionWords
from app.window.telling import LengthsIn
from app.window.units import Unit, length, spare_text, with_unit
from kinematics.machine import TableSolution
from kinematics.measured.found import FoundHole, FoundPocket, FoundSlot
from kinematics.pose import Vector, as_vector, unit
from kinematics.report import CutReport

Measured = FoundHole | FoundPocket | FoundSlot
SNAP = 1e-4  # a normal of triangles this near to an axis is along it


def direction_of(normal: Vector) -> Vector:
    """The direction that a face looks in; along an axis of the part where it differs by no more than rounding."""
    whole = as_vector([round(v) + 0.0 for v in unit(normal)])
    if max(abs(a - b) for a, b in zip(unit(normal), whole, strict=True)) < SNAP and sum(map(abs, whole)) == 1.0:
        return whole
    x, y, z = (round(v, 6) + 0.0 for v in unit(normal))
    return (x, y, z)


def orientation_words(
    now: OrientationNow,
    shown: RoomsShown | None,
    typed: Typed,
    followed: Followed,
    unit_shown: Unit,
    measured: Measured | None,
) -> OrientationWords:
    """One orientation with both positions, and with what was measured where somebody clicked."""
    rooms = {room.solution: room for room in shown.rooms} if shown is not None else {}
    why = shown.why if shown is not None else "" if now.answer is not None else "type a tool first"
    positions = tuple(_position(s, rooms.get(s), why, unit_shown) for s in now.solutions)
    tools = tuple(tool.tool.id for tool in followed.tools if tool.tool is not None)
    said = measured_words(measured, unit_shown) if measured is not None else ""
    return OrientationWords(now, positions, now.typed.which, tools, typed.units, said)


def measured_words(found: Measured, unit_shown: Unit) -> str:
    """What stands where somebody clicked, with its sizes."""
    match found:
        case FoundHole():
            said = f"Hole {length(found.diameter, unit_shown)}"
        case FoundPocket():
            said = f"Pocket {' x '.join(length(side, unit_shown) for side in found.size)}"
        case FoundSlot():
            said = f"Slot {length(found.width, unit_shown)} wide"
    return f"{said}, {with_unit(length(found.depth, unit_shown), unit_shown)} deep"


def _position(solution: TableSolution, room: Room | None, why: str, unit_shown: Unit) -> PositionWords:
    angles = angles_text(written_angles(solution)) or "as it stands"
    if solution.outside:
        return PositionWords(angles, None, "", "", f"{' and '.join(solution.outside)} out of limits", False)
    if solution.free:
        angles += f" ({', '.join(solution.free)} may stand anywhere)"
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
