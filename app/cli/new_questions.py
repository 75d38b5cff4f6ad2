"""The questions of `tightside new --ask`: one after the other on standard error, answers from standard input.

An empty answer takes what stands in brackets. A wrong one is told with its place, and asked for again.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.new import copy_part, say_faults
from app.jobs.new_setup.answers import MM_PER_INCH, HoldingKind
from app.jobs.new_setup.directions import solution_text
from app.jobs.new_setup.draft import ASSUMED_UP
from app.jobs.new_setup.rooms import rooms
from app.jobs.new_setup.scene_text import AnswerFault
from app.jobs.words import sentence, verdict_word
from app.scenes.faults import SceneFileError

if TYPE_CHECKING:
    from app.jobs.new_setup.draft import Draft
    from app.jobs.new_setup.orientation_lines import OrientationLine

TRIES = 20  # wrong answers to one question, before somebody who is no person is taken for it


class NoMoreAnswers(Exception):
    """Standard input has ended, or gives nothing but wrong answers."""


def ask_for_the_rest(draft: Draft, part: Path | None, scene: Path, copied: list[Path]) -> Path:
    """Ask for everything that no flag has told; gives the part file. Raises NoMoreAnswers."""
    found = _part(draft, part)
    if draft.machine is None:
        machines = draft.catalogues.names("machine")
        _say(f"Machines: {', '.join(machines)}")
        _until_right("Machine", machines[0], draft.take_machine)
    _bar(draft)
    if draft.holding is None:
        kinds = [str(kind) for kind in HoldingKind]
        _until_right(f"How is it held ({', '.join(kinds)})", kinds[0], lambda kind: _holding(draft, kind))
    _until_right("", "", lambda _: copy_part(found, scene, copied), is_asked=False)
    _tools(draft)
    _orientations(draft, scene)
    return found


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")


def _asked(question: str, default: str) -> str:
    """One answer; the default for an empty one."""
    sys.stderr.write(f"{question}{f' [{default}]' if default else ''}: ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        sys.stderr.write("\n")
        raise NoMoreAnswers
    return line.strip() or default


def _until_right(question: str, default: str, step: Callable[[str], object], *, is_asked: bool = True) -> None:
    for _ in range(TRIES):
        try:
            step(_asked(question, default) if is_asked else "")
            return
        except AnswerFault as fault:
            _say(f"  {fault.message}")
            if not is_asked:
                break
    raise NoMoreAnswers


def _part(draft: Draft, given: Path | None) -> Path:
    """The part file and, where it does not say it, its unit."""
    found: list[Path] = [] if given is None else [given]

    def take(text: str) -> None:
        file = Path(text).expanduser()
        if not text:
            raise AnswerFault("expected a part file: STEP, STL, OBJ, PLY or 3MF")
        question = draft.take_part(file)
        while question is not None:
            unit = _asked(f"{question} mm or inch", "")
            try:
                question = draft.take_part(file, units=unit)
            except AnswerFault as fault:
                _say(f"  {fault.message}")
        found[:] = [file]

    if draft.part is None and given is not None:
        take(str(given))
    elif draft.part is None:
        _until_right("Part file", "", take)
    assert draft.part is not None, "asked until it is right"
    size = draft.part.size
    mm, inch = (
        " x ".join(f"{side / unit:.{digits}f}" for side in size) for unit, digits in ((1.0, 2), (MM_PER_INCH, 3))
    )
    _say(f"The part is {mm} mm, {inch} inch, with {draft.part.up} of its file up.")
    if given is None and (up := _asked("Which direction of its file is up", draft.part.up)) != ASSUMED_UP:
        units = draft.part.units
        _until_right("", "", lambda _: draft.take_part(found[0], units=units, up=up), is_asked=False)
    return found[0]


def _bar(draft: Draft) -> None:
    if draft.bar.size is None:

        def take(text: str) -> None:
            if text:
                draft.take_bar(text)

        _until_right("Bar, X x Y x Z as it stands, as 40x34x52 (empty: the part and a little more)", "", take)


def _holding(draft: Draft, kind: str) -> None:
    draft.take_holding(kind)
    screws = _asked("Screws", "ISO 4762 M6")
    turn = _asked("Turned about the platter's Z, degrees", "0")
    draft.take_holding(kind, screws=screws, turn=turn)


def _tools(draft: Draft) -> None:
    """Tools, one a line, until an empty line."""
    if draft.tools:
        return
    _say("Tools, one a line, as: 2 end mill d6 flute 13 out 20 holder NAME; an empty line ends.")
    _say(f"Holders: {', '.join(draft.holders)}")
    for _ in range(10 * TRIES):
        text = _asked(f"Tool {len(draft.tools) + 1}", "")
        if not text and draft.tools:
            return
        say_faults("tool", text, draft.take_tool(text).faults)
    raise NoMoreAnswers


def _orientations(draft: Draft, scene: Path) -> None:
    """Orientations, one a line, each with both positions of the table and what they leave."""
    if draft.orientations:
        return
    _say("Orientations, one a line, as: V1 +Z, or V2 +Y T2 at 0 15 -30 depth 8; an empty line ends.")
    for _ in range(10 * TRIES):
        text = _asked(f"Orientation {len(draft.orientations) + 1}", "" if draft.orientations else "+Z")
        if not text:
            return
        line = draft.orientation(text)
        if say_faults("orientation", text, line.faults):
            _choose(draft, text, line, scene)
    raise NoMoreAnswers


def _choose(draft: Draft, text: str, line: OrientationLine, scene: Path) -> None:
    """Offer both positions of the table, with what each leaves; keep the one that is chosen."""
    assert line.orientation is not None, "a line without faults is an orientation"
    usable = [s for s in line.solutions if not s.outside]
    try:
        positions = rooms(draft.answers([line.orientation]), line.solutions, scene, draft.catalogues)
        for n, room in enumerate(positions, 1):
            said = "out of its limits"
            if room.result is not None:
                said = f"{verdict_word(room.result).upper()}: {sentence(room.result)}"
            _say(f"  {n}  {solution_text(room.solution)}: {said}")
    except AnswerFault as fault:
        _say(f"  {fault.message}")
    except SceneFileError as error:
        for fault_line in error.faults:
            _say(f"  {fault_line.path}: {fault_line.message}")
    is_chosen = {"first", "second"} & set(text.split())
    if len(usable) > 1 and not is_chosen and _asked("Which position, 1 or 2", "1") == "2":
        text += " second"
    draft.take_orientation(text)
