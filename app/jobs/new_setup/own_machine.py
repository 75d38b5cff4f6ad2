"""A machine of one's own: the numbers that differ from one of the library, and which way its table really turns.

1. A machine of one's own is the text of another one with some values spliced in; its comments and castings stay.
2. Which way an axis turns is asked at the machine and compared with what its file says; nothing is turned unasked.
3. Where a number is found is told in general words: the machine builder's manual goes before them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.jobs.new_setup.answers import MM_PER_INCH
from app.scenes.catalogue_machines import SUFFIX
from app.scenes.catalogues import Catalogues
from app.scenes.edits import EditError, edited, value_at
from app.scenes.side_files import SideFileFault, text_file
from kinematics.machine import Machine, TableAxis, frame_poses
from kinematics.pose import Vector

TRIAL_DEG = 30.0  # keyed in at the machine
LOOK_AT_IT = "Stand at the machine and look; don't take it from memory."
CAREFUL = "Spindle fully retracted, guards shut, and only as the machine builder's manual and local rules allow."
TO_YOU, AWAY = "to you", "away from you"
LEFT, RIGHT = "to the left", "to the right"
WITH, AGAINST = "with the clock", "against the clock"
PAIRS = ((TO_YOU, AWAY), (LEFT, RIGHT), (WITH, AGAINST))

_FIND_TRAVEL = (
    "The travels are in the builder's manual, under technical data. Here they count from the middle of the table, to "
    "where the spindle's middle can go; check one end by jogging there slowly and reading the position."
)
_FIND_HEIGHT = (
    "The height of the gauge line (the face or the taper's gauge plane at the spindle) over the table, at both ends "
    "of Z. The builder's manual gives the distance from spindle nose to table; or touch the table with a gauge of "
    "known length."
)
_FIND_AXIS = (
    "The builder's sheet that came with the machine or the table gives the pivot; many controls keep it among the "
    "parameters of the table axes. To measure: indicate a bar in the rotary at 0 and at 90 degrees."
)
_FIND_LIMIT = "The limits of the table axis are in the builder's manual, and on the plate of an added table."
_FIND_FACE = "From the middle of the tilt axis to the clamping face, in the builder's drawing of the table."


@dataclass(frozen=True, slots=True)
class Dimension:
    """A number of a machine that a person may know better. `value`: mm or degrees; `mark`: its letter in drawings."""

    path: str
    mark: str
    label: str
    value: float
    is_angle: bool
    find: str


@dataclass(frozen=True, slots=True)
class SignQuestion:
    """Which way an axis turns. `choices`: what may be seen; `says`: what the machine's file says."""

    axis: str
    letter: str
    words: str
    choices: tuple[str, str]
    says: str


def machine_text(name: str, folder: Path, catalogues: Catalogues) -> str:
    """The text of the machine that a scene in `folder` means by `name`. Raises SideFileFault, UnicodeDecodeError."""
    if name.endswith((".yaml", ".yml")) or "/" in name:
        return text_file(name, folder)[1].decode("utf-8")
    found = catalogues.find("machine", name)
    if found is None:
        raise SideFileFault(f"no machine '{name}' in the library")
    return found.read().decode("utf-8")


def dimensions(machine: Machine) -> tuple[Dimension, ...]:
    """What the drawings of a machine have a letter for."""
    rows = [(path, label, value, is_angle, find) for path, label, value, is_angle, find in _rows(machine)]
    return tuple(
        Dimension(path, chr(ord("a") + i), label, value, is_angle, find)
        for i, (path, label, value, is_angle, find) in enumerate(rows)
    )


def _rows(machine: Machine) -> Iterator[tuple[str, str, float, bool, str]]:
    for axis, words in zip(machine.linear_axes, (("left", "right"), ("to you", "away"), ("low", "high")), strict=True):
        find = _FIND_HEIGHT if axis.name == "z" else _FIND_TRAVEL
        for i, (word, limit) in enumerate(zip(words, axis.limits, strict=True), 1):
            yield f"linear_axes/{axis.name}/limits/{i}", f"{axis.name.upper()} {word}", limit, False, find
    for n, table in enumerate(machine.table_axes):
        for at, name in enumerate("xyz"):
            label = f"{table.name} axis, {name.upper()}" if n == 0 else f"{table.name} face, {name.upper()}"
            find = _FIND_AXIS if n == 0 else _FIND_FACE
            yield f"{table.name}/origin/{name}", label, table.origin[at], False, find
        for i, word in enumerate(("least", "most")):
            if table.limits is not None:
                yield f"{table.name}/limits/{i + 1}", f"{table.letter} {word}", table.limits[i], True, _FIND_LIMIT


def own_machine(text: str, values: Mapping[str, float], title: str) -> str:
    """The text of a machine with some of its numbers (mm, degrees) and a title of its own.

    Raises
    ------
    EditError, SceneFileError : a number can't stand there.
    """
    is_inch = value_at(text, "units", kind="machine") == "inch"
    made = edited(
        text,
        [(path, _in_file(path, value, is_inch=is_inch)) for path, value in values.items()],
        kind="machine",
    )
    return edited(made, [("title", title), ("sources", "typed in for a new set-up; see each number")], kind="machine")


def _in_file(path: str, value: float, *, is_inch: bool) -> float:
    is_angle = "/limits/" in path and not path.startswith("linear_axes/")
    return round(value / MM_PER_INCH, 6) if is_inch and not is_angle else value


def sign_questions(machine: Machine) -> tuple[SignQuestion, ...]:
    """One for each table axis, the one that stands in the machine first."""
    return tuple(_question(machine, axis) for axis in machine.table_axes)


def _question(machine: Machine, axis: TableAxis) -> SignQuestion:
    seen = _seen(machine, axis, TRIAL_DEG * sign_of(machine, axis.name))
    choices = next(pair for pair in PAIRS if seen in pair)
    key = f"Key in {axis.letter} +{TRIAL_DEG:g}:"
    if choices == (WITH, AGAINST):
        asked = "which way does the part turn, seen from above?"
    else:
        first, second = choices if seen in (TO_YOU, AWAY) else (LEFT, RIGHT)
        asked = f"does the part lean {first}, or {second}?"
    return SignQuestion(axis.name, axis.letter, f"{key} {asked} {LOOK_AT_IT}", choices, seen)


def sign_of(machine: Machine, axis: str) -> int:
    """How the control counts an axis: 1 by the right hand of the table, -1 the other way."""
    return dict(machine.control.signs).get(axis, 1) if machine.control is not None else 1


def _seen(machine: Machine, axis: TableAxis, angle_deg: float) -> str:
    """What one sees who stands before the machine while the table turns to this angle."""
    X_WC = frame_poses(machine, {axis.name: angle_deg})[axis.carries]
    lean = np.asarray(X_WC.direction((0.0, 0.0, 1.0)))
    operator = np.asarray(machine.operator)
    to_you, to_right = float(lean @ operator), float(lean @ np.asarray(_right_of(machine.operator)))
    if max(abs(to_you), abs(to_right)) < 1e-6:
        turned = np.cross((1.0, 0.0, 0.0), X_WC.direction((1.0, 0.0, 0.0)))
        return AGAINST if turned[2] > 0.0 else WITH
    if abs(to_you) >= abs(to_right):
        return TO_YOU if to_you > 0.0 else AWAY
    return RIGHT if to_right > 0.0 else LEFT


def _right_of(operator: Vector) -> Vector:
    """To the right of who looks at the machine: away from the operator, turned a quarter with the clock."""
    x, y, _ = operator
    return (-y, x, 0.0)


@dataclass(frozen=True, slots=True)
class SignRemedy:
    """What can be done where a machine turns the other way than its file says. `words`: for a button."""

    words: str
    values: tuple[tuple[str, float], ...]


def sign_remedies(machine: Machine, axis: str) -> tuple[SignRemedy, ...]:
    """The sign turned, with the table's limits as they are, or turned with it. Empty where the file has no control."""
    if machine.control is None:
        return ()
    table, sign = machine.axis(axis), sign_of(machine, axis)
    turned = ((f"control/signs/{axis}", float(-sign)),)
    if table.limits is None:
        return (SignRemedy(f"Turn the sign of {table.letter}", turned),)
    low, high = table.limits
    kept, other = sorted((-sign * low, -sign * high)), sorted((sign * low, sign * high))
    limits = ((f"{axis}/limits/1", -high + 0.0), (f"{axis}/limits/2", -low + 0.0))
    return (
        SignRemedy(f"Turn the sign: {table.letter} goes from {kept[0]:g} to {kept[1]:g} on my control", turned),
        SignRemedy(
            f"Turn sign and limits: {table.letter} goes from {other[0]:g} to {other[1]:g} on my control",
            (*turned, *limits),
        ),
    )


def free_machine_file(folder: Path, stem: str) -> Path:
    """A name for a machine's file that is not taken."""
    number, file = 2, folder / f"{stem}{SUFFIX}"
    while file.exists():
        file, number = folder / f"{stem}_{number}{SUFFIX}", number + 1
    return file


__all__ = [
    "CAREFUL",
    "Dimension",
    "EditError",
    "SignQuestion",
    "SignRemedy",
    "dimensions",
    "free_machine_file",
    "machine_text",
    "own_machine",
    "sign_questions",
    "sign_remedies",
]
