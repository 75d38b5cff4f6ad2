"""An orientation typed in one line: `V2 +Y T2 at 0 15 -30 depth 8`.

The line is: a name (left out: V1, V2, ...), the direction that the tool comes from (a side of the part, or
`0.7,0,0.7`), then in any order

    a tool's name     the first tool unless told     at X Y Z    where the cut enters, in the part's coordinates
    depth             down to the tip                state       bar, or part
    second            the other position of the table            cut         its name: one word, or in quotes
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from app.jobs.new_setup.answers import OrientationAnswer, ToolAnswer, Units
from app.jobs.new_setup.directions import SIDES, solution_text, table_solutions, written_angles
from app.jobs.new_setup.words import Line, LineFault, Word, near
from app.scenes.names import FORBIDDEN, RESERVED
from kinematics.machine import Machine, TableSolution
from kinematics.pose import Vector

WORDS = ("at", "depth", "state", "second", "first", "cut", "tool")
_DIRECTION = re.compile(r"[+-]?[\d.]+,[+-]?[\d.]+,[+-]?[\d.]+")
_QUOTED = re.compile(r'"([^"]*)"')


@dataclass(frozen=True, slots=True)
class OrientationLine:
    """A line as it was read, with every position of the table for its direction. None while there are faults."""

    text: str
    words: tuple[Word, ...]
    orientation: OrientationAnswer | None
    solutions: tuple[TableSolution, ...]
    faults: tuple[LineFault, ...]


def orientation_line(
    text: str,
    machine: Machine,
    tools: Sequence[ToolAnswer],
    *,
    turn_deg: float = 0.0,
    units: Units = "mm",
    taken: Collection[str] = (),
    number: int = 1,
) -> OrientationLine:
    """Read one line.

    Parameters
    ----------
    turn_deg : of the fixture; it decides which position of the table a direction takes.
    taken : names that other orientations have.
    number : of the orientation where the line gives it no name.
    """
    read = _Reading(Line(text, units), machine, tools, turn_deg)
    answer = read.orientation(taken, number)
    faults = tuple(sorted(read.line.faults, key=lambda f: (f.start, f.end)))
    return OrientationLine(text, read.line.words, None if faults else answer, read.solutions, faults)


class _Reading:
    """One line on its way to an orientation."""

    def __init__(self, line: Line, machine: Machine, tools: Sequence[ToolAnswer], turn_deg: float) -> None:
        self.line = line
        self.machine = machine
        self.tools = {tool.id: tool for tool in tools}
        self.turn_deg = turn_deg
        self.solutions: tuple[TableSolution, ...] = ()
        self.tool: str | None = next(iter(self.tools), None)
        self.at: Vector | None = None
        self.depth: float | None = None
        self.state: Literal["bar", "part"] | None = None
        self.cut: str | None = None
        self.which = 0
        self.which_word: Word | None = None

    def orientation(self, taken: Collection[str], number: int) -> OrientationAnswer | None:
        line = self.line
        if line.n_left() == 0:
            line.tell_end("is empty; expected a direction of the part, as V1 +Z, or V2 +Y T2 at 0 15 -30 depth 8")
            return None
        name = self._name(taken, number)
        direction = self._direction()
        while line.n_left():
            self._word(line.take())
        if direction is None or line.faults:
            return None
        if self.tool is None:
            line.tell_end("there is no tool yet; expected one, as 2 end mill d6 flute 13 out 20 holder H11")
            return None
        solution = self._solution()
        if solution is None:
            return None
        return OrientationAnswer(
            name, direction, written_angles(solution), self.tool, self.at, self.depth, self.state, self.cut
        )

    def _name(self, taken: Collection[str], number: int) -> str:
        line = self.line
        first = line.words[0]
        if _is_direction(first.text):
            while (name := f"V{number}") in taken:
                number += 1
            return name
        line.take()
        if bad := sorted({c for c in first.text if c in FORBIDDEN or not c.isprintable()}):
            line.tell(
                first, f"the name '{first.text}' has {' '.join(bad)} in it; expected a name as V1, or a direction"
            )
        elif first.text in RESERVED or first.text in self.tools:
            line.tell(first, f"the name '{first.text}' means something else; expected a name as V1")
        elif first.text in taken:
            line.tell(first, f"{first.text} is taken by another orientation; expected another name")
        return first.text

    def _direction(self) -> Vector | None:
        line, word = self.line, self.line.word
        if word is None or not _is_direction(word.text):
            what = "the direction is missing" if word is None else f"'{word.text}' is no direction"
            start, end = (word.start, word.end) if word else (len(line.text.rstrip()),) * 2
            known = f"{', '.join(SIDES)}, or three numbers as 0.7,0,0.7"
            line.faults.append(LineFault(start, end, f"{what}; expected {known}"))
            return None
        line.take()
        side = SIDES.get(word.text.upper())
        if side is not None:
            found = side
        else:
            try:
                x, y, z = (float(part) for part in word.text.split(","))
            except ValueError:
                line.tell(word, f"'{word.text}' is no direction; expected three numbers as 0.7,0,0.7")
                return None
            found = (x, y, z)
            if max(map(abs, found)) < 1e-9:
                line.tell(word, "0,0,0 is no direction; expected one longer than 0")
                return None
        self.solutions = table_solutions(self.machine, found, turn_deg=self.turn_deg)
        if not any(not s.outside for s in self.solutions):
            what = "; ".join(solution_text(s) for s in self.solutions) or "none at all"
            line.tell(word, f"no position of the table brings {word.text} upright within its limits: {what}")
        return found

    def _word(self, word: Word) -> None:
        line, key = self.line, word.text.lower()
        if word.text in self.tools:
            self.tool = word.text
        elif key == "tool":
            self._take_tool(word)
        elif key == "at":
            values = [line.length(axis) for axis in "XYZ"]
            if None not in values:
                x, y, z = (v for v in values if v is not None)
                self.at = (x, y, z)
        elif key == "depth":
            self.depth = line.length("the depth")
            if self.depth is not None and self.depth < 0.0:
                line.tell(word, f"depth of {self.depth:g} mm; expected 0 or more, down along the tool")
        elif key == "state":
            self._take_state(word)
        elif key in ("first", "second"):
            self.which, self.which_word = ("first", "second").index(key), word
        elif key == "cut":
            self._take_cut(word)
        elif re.fullmatch(r"[Tt]?\d+", word.text):
            line.tell(word, f"no tool '{word.text}'; expected {', '.join(self.tools) or 'a tool line first'}")
        else:
            line.tell(word, f"'{word.text}' is no word of an orientation{near(word.text, (*WORDS, *self.tools))}")

    def _take_tool(self, word: Word) -> None:
        named = self.line.take() if self.line.n_left() else None
        if named is None or named.text not in self.tools:
            said = "tool has no name" if named is None else f"no tool '{named.text}'"
            known = ", ".join(self.tools) or "a tool line first"
            self.line.tell(named or word, f"{said}; expected {known}")
        else:
            self.tool = named.text

    def _take_state(self, word: Word) -> None:
        named = self.line.take() if self.line.n_left() else None
        match named.text.lower() if named else "":
            case "bar":
                self.state = "bar"
            case "part":
                self.state = "part"
            case _:
                said = f"no state '{named.text}'" if named else "state has no name"
                self.line.tell(named or word, f"{said}; expected bar or part")

    def _take_cut(self, word: Word) -> None:
        line = self.line
        if line.n_left() == 0:
            line.tell(word, "cut has no name; expected one, as cut profile")
            return
        named = line.take()
        quoted = _QUOTED.match(line.text, named.start)
        if quoted is not None:
            while line.n_left() and line.words[line.at].start < quoted.end():
                line.take()
        self.cut = quoted[1].strip() if quoted else named.text
        if not self.cut or any(c in FORBIDDEN for c in self.cut):
            line.tell(named, f"'{self.cut}' is no name of a cut; expected one without any of {' '.join(FORBIDDEN)}")

    def _solution(self) -> TableSolution | None:
        """The position that was asked for, of those within the limits."""
        usable = [s for s in self.solutions if not s.outside]
        if self.which < len(usable):
            return usable[self.which]
        assert self.which_word is not None, "the first of several is always there"
        self.line.tell(
            self.which_word,
            f"there is no second position of the table within its limits; the first: {solution_text(usable[0])}",
        )
        return None


def _is_direction(text: str) -> bool:
    return text.upper() in SIDES or _DIRECTION.fullmatch(text) is not None
