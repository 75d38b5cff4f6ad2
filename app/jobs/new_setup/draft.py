"""The answers to a new set-up as they come in: each is judged at once, with what is known so far.

1. A step takes what was typed and keeps it, or raises AnswerFault; nothing half right is kept.
2. Machine and holding come before orientations: they say which positions of the table there are.
3. What this file does not know: who asks, and where the scene is written.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import get_args

from app.jobs.new_setup.answers import (
    Answers,
    BarAnswer,
    HoldingAnswer,
    HoldingKind,
    OrientationAnswer,
    PartAnswer,
    ToolAnswer,
    Units,
)
from app.jobs.new_setup.orientation_lines import OrientationLine, orientation_line
from app.jobs.new_setup.part_files import UPS, UnitQuestion, part_answer
from app.jobs.new_setup.scene_text import AnswerFault, bar_size
from app.jobs.new_setup.tool_lines import ToolLine, tool_line
from app.jobs.new_setup.words import Line, near
from app.scenes.catalogue_holders import catalogue_holders
from app.scenes.catalogue_machines import machine_called
from app.scenes.catalogues import Catalogues
from app.scenes.faults import SceneFileError
from app.scenes.names import FORBIDDEN
from kinematics.errors import MeshFileError
from kinematics.machine import Machine
from kinematics.scene import Holder

ASSUMED_UP = "+Z"
FILE_UNITS = ("mm", "cm", "m", "inch", "foot", "micron")


class Draft:
    """A set-up on its way. `folder`: where the scene will stand; `units`: that it is written in."""

    def __init__(self, folder: Path, units: Units = "mm", catalogues: Catalogues | None = None) -> None:
        self.folder = folder
        self.units: Units = units
        self.catalogues = catalogues or Catalogues()
        found, _ = catalogue_holders(self.catalogues)
        self.holders: dict[str, Holder] = {holder.name: holder for holder in found}
        self.own_holders: list[tuple[str, str]] = []
        self.title = ""
        self.part: PartAnswer | None = None
        self.machine: Machine | None = None
        self.machine_name = ""
        self.bar = BarAnswer()
        self.holding: HoldingAnswer | None = None
        self.tools: list[ToolAnswer] = []
        self.orientations: list[OrientationAnswer] = []
        self.retract: float | None = None

    # --- one step after the other ---

    def take_part(self, file: Path, *, units: str | None = None, up: str = ASSUMED_UP) -> UnitQuestion | None:
        """Measure the part. Gives the question to ask where its file has no unit. Raises AnswerFault."""
        if up not in UPS:
            raise AnswerFault(f"no direction '{up}'; expected one of {', '.join(UPS)}")
        if units is not None and units not in FILE_UNITS:
            raise AnswerFault(f"no unit '{units}'; expected one of {', '.join(FILE_UNITS)}")
        try:
            found = part_answer(file, units=units, up=up)
        except MeshFileError as error:
            raise AnswerFault(error.message) from error
        if isinstance(found, UnitQuestion):
            return found
        self.part = found
        return None

    def take_machine(self, name: str) -> None:
        """Raises AnswerFault with the first thing that is wrong."""
        try:
            self.machine = machine_called(name, self.folder, self.catalogues)
        except SceneFileError as error:
            raise AnswerFault(error.faults[0].message) from error
        self.machine_name = name

    def take_bar(self, text: str) -> None:
        """The bar as 40x34x52, in X, Y and Z as it stands. Raises AnswerFault."""
        sides = [side for side in re.split(r"\s*[x\u00d7*]\s*|\s+", text.strip().lower()) if side]
        if len(sides) != 3:
            raise AnswerFault(f"'{text}' has {len(sides)} sides; expected three, as 40x34x52")
        x, y, z = (self._length(side, "a side of the bar") for side in sides)
        if min(x, y, z) <= 0.0:
            raise AnswerFault(f"'{text}' has a side of 0 or less; expected three lengths above 0")
        self.bar = BarAnswer((x, y, z), self.bar.top)

    def take_top(self, text: str) -> None:
        """How far the bar stands over the part. Raises AnswerFault."""
        self.bar = BarAnswer(self.bar.size, self._not_below_0(text, "the bar over the part"))

    def take_holding(
        self,
        kind: str,
        *,
        screws: str | None = None,
        riser: str | None = None,
        grip: str | None = None,
        turn: str = "0",
    ) -> None:
        """Kind, screws (ISO 4762 M6), riser, grip and turn, as typed. Raises AnswerFault."""
        known = [str(k) for k in HoldingKind]
        if kind not in known:
            hint = difflib.get_close_matches(kind.lower(), known, 1, cutoff=0.5)
            raise AnswerFault(
                f"no holding '{kind}'; " + (f"nearest: {hint[0]}" if hint else f"expected one of {_or(known)}")
            )
        standard = size = None
        if screws is not None:
            standard, _, size = screws.strip().rpartition(" ")
            if not standard or self.catalogues.find("hardware", standard) is None:
                names = self.catalogues.names("hardware")
                raise AnswerFault(
                    f"no screws '{screws}'; expected a standard and a size, as ISO 4762 M6{near(standard, names)}"
                )
        try:
            degrees = float(turn)
        except ValueError as error:
            raise AnswerFault(f"'{turn}' is no angle; expected degrees about the platter's Z, as 90") from error
        if not -360.0 <= degrees <= 360.0:
            raise AnswerFault(f"turned {degrees:g} degrees; expected -360 to 360")
        self.holding = HoldingAnswer(
            HoldingKind(kind),
            standard,
            size,
            None if riser is None else self._not_below_0(riser, "the riser"),
            None if grip is None else self._not_below_0(grip, "the grip"),
            degrees,
        )

    def take_holder(self, text: str) -> None:
        """A name of this scene for a holder of the library, as H11=collet_11_jis30. Raises AnswerFault."""
        name, equals, holder = (part.strip() for part in text.partition("="))
        if not equals or not name or any(c in FORBIDDEN or c.isspace() for c in name):
            raise AnswerFault(f"'{text}'; expected a name and a holder of the library, as H11=collet_11_jis30")
        if holder not in self.holders:
            raise AnswerFault(f"no holder '{holder}' in the library{near(holder, self.holders)}")
        self.own_holders.append((name, holder))
        self.holders = {name: self.holders[holder], **self.holders}

    def take_retract(self, text: str) -> None:
        """Raises AnswerFault."""
        self.retract = self._not_below_0(text, "the retract")

    def depth_in(self, text: str) -> float:
        """A depth as it was typed, mm. Raises AnswerFault."""
        return self._not_below_0(text, "the depth")

    def take_tool(self, text: str) -> ToolLine:
        """Read a tool line; kept if nothing is wrong with it."""
        taken = {tool.id for tool in self.tools}
        line = tool_line(text, self.holders, units=self.units, taken=taken, number=len(self.tools) + 1)
        if line.tool is not None:
            self.tools.append(line.tool)
        return line

    def take_orientation(self, text: str) -> OrientationLine:
        """Read an orientation line; kept if nothing is wrong with it. Machine and holding have to be known."""
        line = self.orientation(text)
        if line.orientation is not None:
            self.orientations.append(line.orientation)
        return line

    def orientation(self, text: str) -> OrientationLine:
        """An orientation line as it would be read; nothing is kept."""
        assert self.machine is not None and self.holding is not None, "asked after machine and holding"
        return orientation_line(
            text,
            self.machine,
            self.tools,
            turn_deg=self.holding.turn,
            units=self.units,
            taken={o.name for o in self.orientations},
            number=len(self.orientations) + 1,
        )

    # --- what came of it ---

    def missing(self) -> tuple[str, ...]:
        """What a scene cannot do without and nobody has answered, in words."""
        known = {
            "the part file": self.part,
            "the machine": self.machine,
            "how it is held": self.holding,
            "a tool": self.tools,
            "an orientation": self.orientations,
        }
        return tuple(name for name, value in known.items() if not value)

    def answers(self, orientations: Iterable[OrientationAnswer] | None = None) -> Answers:
        """All answers, with these orientations in place of those that were taken. Raises AnswerFault."""
        if missing := [m for m in self.missing() if orientations is None or m != "an orientation"]:
            raise AnswerFault(f"{', '.join(missing)} is missing")
        assert self.part is not None and self.machine is not None and self.holding is not None, "not missing"
        machine = self.machine
        names = {*machine.frames, *(b.name for b in machine.bodies), *(a.name for a in machine.table_axes)}
        answers = Answers(
            title=self.title or Path(self.part.file).stem,
            units=self.units,
            machine=self.machine_name,
            carrier=machine.platter,
            part=self.part,
            bar=self.bar,
            holding=self.holding,
            tools=tuple(self.tools),
            orientations=tuple(self.orientations if orientations is None else orientations),
            holders=tuple(self.own_holders),
            retract=self.retract,
            taken=frozenset(names),
        )
        bar_size(answers)
        return answers

    def _length(self, text: str, what: str) -> float:
        line = Line(text, self.units)
        value = line.length(what)
        if line.faults or line.n_left() or value is None:
            why = line.faults[0].message if line.faults else f"'{text}' is more than one number; expected {what}"
            raise AnswerFault(why)
        return value

    def _not_below_0(self, text: str, what: str) -> float:
        value = self._length(text, what)
        if value < 0.0:
            raise AnswerFault(f"'{text}' is below 0; expected {what} as a length of 0 or more")
        return value


def _or(words: list[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


UNITS: tuple[str, ...] = get_args(Units)
