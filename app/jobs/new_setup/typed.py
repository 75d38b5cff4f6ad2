"""Everything on the page of a new set-up as it was typed and clicked, and what follows from it.

1. `Typed` is a value: a page shows one, a step of undo brings one back, and the scene's text follows from it alone.
2. What is wrong is told by the field that it is about; what is right goes into the scene, so that a number is there
   as soon as there is one part, one tool and one orientation.
3. Points that were clicked are counted from the middle of the part's top, since the bar over the part may change.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Literal

from app.jobs.new_setup.answers import Answers, HoldingKind, OrientationAnswer, PartAnswer, ToolAnswer, Units
from app.jobs.new_setup.directions import ASSUMED_TOP, bar_top, solution_text, table_solutions, written_angles
from app.jobs.new_setup.draft import Draft
from app.jobs.new_setup.orientation_lines import orientation_line
from app.jobs.new_setup.own_machine import sign_questions
from app.jobs.new_setup.scene_text import AnswerFault, bar_size, scene_text
from app.jobs.new_setup.tool_lines import tool_of
from app.jobs.new_setup.words import LineFault, near
from app.scenes.catalogues import Catalogues
from app.scenes.names import FORBIDDEN, RESERVED
from kinematics.assembly import Slice, tool_assembly
from kinematics.errors import TightsideError
from kinematics.machine import Machine, TableSolution
from kinematics.pose import Vector
from kinematics.scene import Holder

DEFAULT_TOOL = {
    "mm": "1 end mill d10 flute 22 out 35 holder collet_16_jis30",
    "inch": "1 end mill d0.375 flute 0.875 out 1.375 holder collet_16_jis30",
}
STAND_IN = "all of this tool, to begin with"


@dataclass(frozen=True, slots=True)
class TypedOrientation:
    """One orientation.

    Parameters
    ----------
    direction_P : from the tip up the tool.
    point : where the cut enters, mm from the middle of the part's top; None where nobody said it.
    which : of the table's positions within their limits.
    depth : as typed.
    tool : its name; empty for the first.
    """

    name: str
    direction_P: Vector
    point: Vector | None = None
    which: int = 0
    depth: str = ""
    tool: str = ""
    state: Literal["bar", "part"] | None = None
    cut: str | None = None


@dataclass(frozen=True, slots=True)
class Typed:
    """The page. Empty texts are questions that nobody answered.

    Parameters
    ----------
    units : of what is typed, and of the scene.
    signs : (machine, axis, what was seen) of questions that were answered at the machine.
    """

    units: Units = "mm"
    part: PartAnswer | None = None
    machine: str = ""
    signs: tuple[tuple[str, str, str], ...] = ()
    holding: str = str(HoldingKind.DOVETAIL)
    screws: str = ""
    riser: str = ""
    grip: str = ""
    turn: str = ""
    bar: str = ""
    top: str = ""
    tools: str = ""
    stand_in: str = ""
    orientations: tuple[TypedOrientation, ...] = ()

    def sign(self, axis: str) -> str:
        """What was seen of an axis of the machine; empty where nobody looked."""
        return next((seen for machine, name, seen in self.signs if (machine, name) == (self.machine, axis)), "")


def with_text(typed: Typed, field: str, text: str) -> Typed:
    """The page with another text in one of its fields."""
    changes: dict[str, Any] = {field: text}
    return replace(typed, **changes)


@dataclass(frozen=True, slots=True)
class ToolNow:
    """A line of the tools' field. `row` counts from 0; `profile` is the tool's outline, lowest first."""

    row: int
    text: str
    tool: ToolAnswer | None = None
    faults: tuple[LineFault, ...] = ()
    profile: tuple[Slice, ...] = ()


@dataclass(frozen=True, slots=True)
class OrientationNow:
    """An orientation with every position of the table for it. `answer` is None where `why` says why not."""

    typed: TypedOrientation
    solutions: tuple[TableSolution, ...]
    answer: OrientationAnswer | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Followed:
    """What follows from a page.

    Parameters
    ----------
    machine, holders : that were found.
    answers : None while something is missing.
    text : the scene; empty while something is missing.
    missing : in words.
    faults : by the name of the field of Typed.
    bar : its size, mm, answered or assumed; None while there is no part.
    stands : the answers with a tool and an orientation that stand in, to show how everything stands; None without part.
    """

    machine: Machine | None
    holders: Mapping[str, Holder]
    tools: tuple[ToolNow, ...]
    orientations: tuple[OrientationNow, ...]
    faults: Mapping[str, str]
    answers: Answers | None = None
    text: str = ""
    missing: tuple[str, ...] = ()
    bar: Vector | None = None
    top: float = 0.0
    stands: Answers | None = None

    @property
    def is_right(self) -> bool:
        """Whether nothing that was typed is wrong."""
        lines = any(tool.faults for tool in self.tools) or any(o.why for o in self.orientations)
        return not self.faults and not lines


def followed(typed: Typed, folder: Path, catalogues: Catalogues) -> Followed:
    """What follows from a page whose scene is to stand in a folder."""
    draft = Draft(folder, typed.units, catalogues)
    faults: dict[str, str] = {}
    draft.part = typed.part
    if typed.machine:
        _take(faults, "machine", lambda: draft.take_machine(typed.machine))
    if typed.bar:
        _take(faults, "bar", lambda: draft.take_bar(typed.bar))
    if typed.top:
        _take(faults, "top", lambda: draft.take_top(typed.top))
    _take_holding(draft, typed, faults)
    tools = _tools(draft, typed)
    orientations = _orientations(draft, typed)
    draft.orientations = [o.answer for o in orientations if o.answer is not None]
    found = Followed(draft.machine, draft.holders, tools, orientations, faults)
    if draft.part is None or draft.machine is None or draft.holding is None:
        return replace(found, missing=draft.missing())
    stands = _stands(draft, typed)
    found = replace(found, top=bar_top(stands), stands=stands, missing=draft.missing())
    try:
        found = replace(found, bar=bar_size(replace(stands, bar=draft.bar)))
        if draft.missing():
            return found
        answers = replace(draft.answers(), assumed=_assumed(typed, draft.machine))
        return replace(found, answers=answers, text=scene_text(answers))
    except AnswerFault as fault:
        return replace(found, faults={"bar": fault.message, **faults})


def _take(faults: dict[str, str], field: str, step: Callable[[], object]) -> None:
    try:
        step()
    except AnswerFault as fault:
        faults[field] = fault.message


def _take_holding(draft: Draft, typed: Typed, faults: dict[str, str]) -> None:
    """Each field by itself, so that what is wrong is told there; what is right is kept."""
    right: dict[str, str] = {}
    for field in ("screws", "riser", "grip", "turn"):
        text = getattr(typed, field).strip()
        if text:
            _take(faults, field, partial(draft.take_holding, typed.holding, **right, **{field: text}))
            if field not in faults:
                right[field] = text
    _take(faults, "holding", partial(draft.take_holding, typed.holding, **right))


# ---- tools ----


def tool_lines(typed: Typed, folder: Path, catalogues: Catalogues) -> tuple[tuple[ToolNow, ...], Mapping[str, Holder]]:
    """The tools' field alone, as it is while somebody types; and the holders that may be named."""
    draft = Draft(folder, typed.units, catalogues)
    return _tools(draft, typed), draft.holders


def _tools(draft: Draft, typed: Typed) -> tuple[ToolNow, ...]:
    """Every line that is not empty. `H11 = collet_11_jis30` gives a holder a short name."""
    found: list[ToolNow] = []
    lines = list(enumerate(typed.tools.splitlines()))
    for row, text in lines:
        if "=" in text:
            found.append(_short_name(draft, row, text))
    for row, text in lines:
        if not text.strip() or text.lstrip().startswith("#") or "=" in text:
            continue
        line = draft.take_tool(text)
        if line.tool is None:
            found.append(ToolNow(row, text, None, line.faults))
            continue
        if text.strip() == typed.stand_in:
            draft.tools[-1] = replace(line.tool, assumed=(STAND_IN,))
        found.append(ToolNow(row, text, draft.tools[-1], (), profile_of(draft.tools[-1], draft.holders)))
    return tuple(sorted(found, key=lambda tool: tool.row))


def _short_name(draft: Draft, row: int, text: str) -> ToolNow:
    try:
        draft.take_holder(text)
    except AnswerFault as fault:
        return ToolNow(row, text, None, (LineFault(0, len(text), fault.message),))
    return ToolNow(row, text)


def profile_of(answer: ToolAnswer, holders: Mapping[str, Holder]) -> tuple[Slice, ...]:
    """The outline of a tool in its holder, from the tip up; nothing where it can't be assembled."""
    try:
        return tool_assembly(tool_of(answer, holders[answer.holder]), ()).outer
    except TightsideError:
        return ()


# ---- orientations ----


def _orientations(draft: Draft, typed: Typed) -> tuple[OrientationNow, ...]:
    if draft.machine is None or draft.holding is None:
        return ()
    return tuple(_orientation(draft, draft.machine, o) for o in typed.orientations)


def _orientation(draft: Draft, machine: Machine, typed: TypedOrientation) -> OrientationNow:
    assert draft.holding is not None, "asked after the holding"
    solutions = table_solutions(machine, typed.direction_P, turn_deg=draft.holding.turn)
    usable = [s for s in solutions if not s.outside]
    if not usable:
        what = "; ".join(solution_text(s) for s in solutions) or "none at all"
        return OrientationNow(typed, solutions, None, f"no position of the table within its limits: {what}")
    depth = None
    if typed.depth.strip():
        try:
            depth = draft.depth_in(typed.depth)
        except AnswerFault as fault:
            return OrientationNow(typed, solutions, None, fault.message)
    ids = [tool.id for tool in draft.tools]
    tool = typed.tool or next(iter(ids), "")
    if tool not in ids:
        why = f"no tool '{tool}'{near(tool, ids)}" if tool else ""
        return OrientationNow(typed, solutions, None, why)
    at = None
    if typed.point is not None:
        x, y, z = typed.point
        at = (round(x, 4) + 0.0, round(y, 4) + 0.0, round(z - _top(draft), 4) + 0.0)
    angles = written_angles(usable[min(typed.which, len(usable) - 1)])
    answer = OrientationAnswer(typed.name, typed.direction_P, angles, tool, at, depth, typed.state, typed.cut)
    return OrientationNow(typed, solutions, answer)


def _top(draft: Draft) -> float:
    return ASSUMED_TOP if draft.bar.top is None else draft.bar.top


def typed_orientation(text: str, now: Followed, typed: Typed) -> tuple[TypedOrientation | None, tuple[LineFault, ...]]:
    """An orientation that was typed as a line, `V2 +Y T2 at 0 15 -30 depth 8`; else what is wrong with it."""
    if now.machine is None or now.stands is None:
        return None, (LineFault(0, len(text), "the part is missing; expected it first"),)
    tools = [tool.tool for tool in now.tools if tool.tool is not None]
    line = orientation_line(
        text,
        now.machine,
        tools or now.stands.tools,
        turn_deg=now.stands.holding.turn,
        units=typed.units,
        taken={o.name for o in typed.orientations},
        number=len(typed.orientations) + 1,
    )
    answer = line.orientation
    if answer is None:
        return None, line.faults
    usable = [s for s in line.solutions if not s.outside]
    which = next(i for i, s in enumerate(usable) if written_angles(s) == answer.angles_deg)
    point = None
    if answer.at is not None:
        point = (answer.at[0], answer.at[1], answer.at[2] + now.top)
    depth = "" if answer.depth is None else f"{answer.depth:g} mm"
    tool = answer.tool if tools else ""
    made = TypedOrientation(answer.name, answer.direction_P, point, which, depth, tool, answer.state, answer.cut)
    return made, ()


def why_not_name(name: str, typed: Typed, now: Followed, own: int) -> str:
    """What is wrong with a name for an orientation; empty where nothing is."""
    others = {o.name for i, o in enumerate(typed.orientations) if i != own}
    if not name or any(c in FORBIDDEN or not c.isprintable() for c in name):
        return f"'{name}' is no name; expected one without any of {' '.join(FORBIDDEN)}"
    if name in RESERVED or any(tool.tool is not None and tool.tool.id == name for tool in now.tools):
        return f"the name '{name}' means something else; expected a name as V1"
    if name in others:
        return f"{name} is taken by another orientation; expected another name"
    return ""


def free_orientation_name(typed: Typed) -> str:
    """V1, V2, ..."""
    number, taken = len(typed.orientations) + 1, {o.name for o in typed.orientations}
    while f"V{number}" in taken:
        number += 1
    return f"V{number}"


# ---- the whole ----


def _stands(draft: Draft, typed: Typed) -> Answers:
    """The answers with what is missing made up, so that the set-up can be drawn."""
    assert draft.machine is not None and draft.holding is not None, "asked once they are known"
    other = Draft(draft.folder, draft.units, draft.catalogues)
    other.part, other.machine, other.machine_name = draft.part, draft.machine, draft.machine_name
    other.bar, other.holding, other.own_holders = draft.bar, draft.holding, draft.own_holders
    other.tools = draft.tools or [_made_up(other, typed)]
    up = table_solutions(draft.machine, (0.0, 0.0, 1.0), turn_deg=draft.holding.turn)
    angles = written_angles(up[0]) if up and not up[0].outside else ()
    try:
        return other.answers([OrientationAnswer("V1", (0.0, 0.0, 1.0), angles, other.tools[0].id)])
    except AnswerFault:
        other.bar = replace(other.bar, size=None)  # told at its field
        return other.answers([OrientationAnswer("V1", (0.0, 0.0, 1.0), angles, other.tools[0].id)])


def _made_up(draft: Draft, typed: Typed) -> ToolAnswer:
    line = draft.take_tool(DEFAULT_TOOL[typed.units])
    assert line.tool is not None, "the tool that stands in has no fault"
    return line.tool


def _assumed(typed: Typed, machine: Machine) -> tuple[str, ...]:
    """What nobody answered about the machine."""
    unseen = [q.letter for q in sign_questions(machine) if not typed.sign(q.axis)]
    return (f"which way {' and '.join(unseen)} turn{'' if len(unseen) > 1 else 's'}",) if unseen else ()
