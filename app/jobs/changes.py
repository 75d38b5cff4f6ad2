"""Two set-ups, before and after: which cuts, links and swings got tighter, looser, new or gone, and what made them so.

1. Room is compared as intervals: tighter and looser are said only where the two cannot be the same number.
2. A worse verdict is tighter even where the room is the same (a flute that got too short, travel), unless it is only
   the keep-off that was asked for that changed: then the room decides.
3. What was not checked on one side is never called tighter, looser or the same.
4. Inputs are compared value by value (see `app/scenes/differences.py`), in every file that either scene uses.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Literal

from app.jobs.check import moves_of
from app.jobs.report import FORMAT, Json, cut_json, link_json, nearest, program, swing_json
from app.jobs.results import Check, CutResult, MoveResult, Result, UncheckedMove, name_of_move
from app.jobs.words import cause, name_of
from app.scenes.differences import Difference, DifferenceKind, differences
from app.scenes.document import Document
from app.scenes.paths import Kind
from app.scenes.reader import SceneFile
from app.scenes.sources import SourcePart
from kinematics.errors import TightsideError
from kinematics.report import CutReport, SwingReport
from kinematics.swing_clearance import TOLERANCE, Settle
from kinematics.verdict import Verdict

LEAST_DIGITS = 8  # of a checksum; fewer would be met by chance too often to be believed
_TEXT_ROLES: dict[str, Kind] = {"scene": "scene", "machine": "machine", "holder": "holder", "hardware": "hardware"}


class Change(StrEnum):
    """What happened to the room of a cut, link or swing."""

    TIGHTER = "tighter"
    LOOSER = "looser"
    SAME = "same"
    NEW = "new"
    GONE = "gone"
    UNTOLD = "can't be told"


@dataclass(frozen=True, slots=True)
class ResultChange:
    """One cut, link or swing before and after; None on the side that does not have it.

    `spare_change` : how much the spare grew, mm; None where either side has no number for it.
    """

    kind: Literal["cut", "link", "swing"]
    name: str
    change: Change
    before: Result | None
    after: Result | None
    spare_change: float | None


@dataclass(frozen=True, slots=True)
class InputChange:
    """One thing that differs in a file. `role` and `name` say which (`machine`, `compact_ac`)."""

    role: str
    name: str
    difference: Difference


@dataclass(frozen=True, slots=True)
class Changes:
    """What changed between two checks."""

    before: Check
    after: Check
    results: tuple[ResultChange, ...]
    inputs: tuple[InputChange, ...]

    @property
    def are_inputs_the_same(self) -> bool:
        """Whether both were made from the same bytes."""
        return self.before.scene_file.input_sha256 == self.after.scene_file.input_sha256

    def of(self, *changes: Change) -> tuple[ResultChange, ...]:
        """The results that changed so, in machining order."""
        return tuple(r for r in self.results if r.change in changes)


class ChecksumFault(TightsideError):
    """A text is no checksum of a sheet."""


@dataclass(frozen=True, slots=True)
class SheetSum:
    """The checksum that a sheet shows: the first digits of its inputs' SHA-256."""

    digits: str

    def __str__(self) -> str:
        return " ".join(self.digits[i : i + 4] for i in range(0, len(self.digits), 4))

    def is_of(self, scene_file: SceneFile) -> bool:
        """Whether the sheet was made from these inputs."""
        return scene_file.input_sha256.startswith(self.digits)


def sheet_sum(text: str) -> SheetSum:
    """The checksum of a sheet from how somebody types it: `7c1e 90ab`. Raises ChecksumFault."""
    digits = re.sub(r"[\s\u2009\u00a0-]", "", text).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{LEAST_DIGITS},64}}", digits):
        raise ChecksumFault(
            f"{text}: no scene file, and no checksum of a sheet; expected a file, or at least {LEAST_DIGITS} of the "
            "digits 0-9 a-f, as 7c1e 90ab"
        )
    return SheetSum(digits)


def shown_sum(scene_file: SceneFile, n_digits: int = LEAST_DIGITS) -> str:
    """The checksum of a scene as a sheet shows it."""
    return str(SheetSum(scene_file.input_sha256[:n_digits]))


def compared(before: Check, after: Check) -> Changes:
    """What changed from one check to another."""
    return Changes(before, after, tuple(_results(before, after)), input_changes(before.scene_file, after.scene_file))


# --- cuts, links and swings ------------------------------------------------------------------------


def _results(before: Check, after: Check) -> list[ResultChange]:
    same_keep_off = before.scene_file.scene.keep_off == after.scene_file.scene.keep_off
    found: list[ResultChange] = []
    cuts = [{(c.workpiece, c.orientation, c.cut): c for c in check.cuts} for check in (before, after)]
    for cut_key in dict.fromkeys([*cuts[1], *cuts[0]]):
        pair = cuts[0].get(cut_key), cuts[1].get(cut_key)
        name = name_of(next(c for c in pair if c is not None))
        found.append(_change("cut", name, *pair, same_keep_off=same_keep_off))
    for kind, olds, news in (("link", before.links, after.links), ("swing", before.swings, after.swings)):
        old, new = ({(m.orientation, m.start, m.end): m for m in moves} for moves in (olds, news))
        if kind == "swing" and any(_is_wide(old[key], new[key]) for key in old.keys() & new.keys()):
            old, new = (_settled(check, moves) for check, moves in ((before, old), (after, new)))
        for key in dict.fromkeys([*new, *old]):
            ends = old.get(key), new.get(key)
            name = name_of_move(next(m for m in ends if m is not None))
            found.append(_change("link" if kind == "link" else "swing", name, *ends, same_keep_off=same_keep_off))
    return found


_MoveKey = tuple[str | None, str, str]


def _is_wide(before: MoveResult, after: MoveResult) -> bool:
    """Whether two moves that were proven far enough for their verdicts cannot be told apart by their bounds."""
    rooms = _room(before), _room(after)
    if rooms[0] is None or rooms[1] is None:
        return False
    overlap = min(rooms[0][1], rooms[1][1]) - max(rooms[0][0], rooms[1][0])
    return overlap > 2.0 * TOLERANCE


def _settled(check: Check, moves: dict[_MoveKey, MoveResult]) -> dict[_MoveKey, MoveResult]:
    """The same swings worked out to the tolerance, under the verdicts that the check gave them."""
    settled = {
        (m.orientation, m.start, m.end): m
        for m in moves_of(check.scene_file, settle=Settle(TOLERANCE), with_links=False)
    }
    return {
        key: found if (found := settled.get(key)) is not None and found.verdict is move.verdict else move
        for key, move in moves.items()
    }


def _change(
    kind: Literal["cut", "link", "swing"],
    name: str,
    before: Result | None,
    after: Result | None,
    *,
    same_keep_off: bool,
) -> ResultChange:
    if before is None or after is None:
        return ResultChange(kind, name, Change.NEW if before is None else Change.GONE, before, after, None)
    old, new = _room(before), _room(after)
    grown = None if old is None or new is None else new[0] - old[0]
    return ResultChange(kind, name, _change_between(before, after, same_keep_off=same_keep_off), before, after, grown)


def _change_between(before: Result, after: Result, *, same_keep_off: bool) -> Change:
    if Verdict.NOT_CHECKED in (before.verdict, after.verdict):
        return Change.UNTOLD
    worse = after.verdict.severity - before.verdict.severity
    if worse and (same_keep_off or _is_of_reach(before) or _is_of_reach(after)):
        return Change.TIGHTER if worse > 0 else Change.LOOSER
    old, new = _room(before), _room(after)
    if old is not None and new is not None:
        if new[1] < old[0]:
            return Change.TIGHTER
        if new[0] > old[1]:
            return Change.LOOSER
        is_known = max(old[1] - old[0], new[1] - new[0]) <= max(0.1, 0.02 * abs(new[0]))
        return Change.SAME if is_known or old == new else Change.UNTOLD
    if old is None and new is None:
        return Change.SAME if _contact(before) == _contact(after) else Change.UNTOLD
    # a contact without a depth is less room than any number
    is_touching = _contact(before if old is None else after) is not None
    if not is_touching:
        return Change.LOOSER if new is None else Change.TIGHTER  # nothing is near on one side
    return Change.TIGHTER if new is None else Change.LOOSER


def _is_of_reach(result: Result) -> bool:
    """Whether a verdict comes from depth or travel: no keep-off is in it."""
    return isinstance(result, CutReport) and cause(result) in ("depth", "travel")


def _contact(result: Result) -> str | None:
    if isinstance(result, CutReport):
        return result.worst.contact if result.worst else None
    return result.contact if isinstance(result, SwingReport) else None


def _room(result: Result) -> tuple[float, float] | None:
    """The least and the most that the spare can be, mm; None where there is no number.

    In a cut both ends of the clearance are near each other, and so are those of its spare. In a swing the spare is at
    most the attained clearance less all errors but the stick-out, which is geometry.
    """
    if isinstance(result, CutReport):
        pair = result.worst
        if pair is None or pair.spare is None or pair.clearance is None:
            return None
        return pair.spare, pair.spare + (pair.clearance.value - pair.clearance.at_least)
    if not isinstance(result, SwingReport) or result.spare is None or result.clearance is None:
        return None
    errors = result.setup_error
    used = 0.0 if errors is None else errors.total - errors.stick_out
    return result.spare, max(result.spare, result.clearance.value - used)


# --- inputs --------------------------------------------------------------------------------------------


def input_changes(before: SceneFile, after: SceneFile) -> tuple[InputChange, ...]:
    """What differs in the files of two scenes: values of texts, whole meshes and lists of points.

    Files are found by their role and name; a scene has one machine, whatever its name. A file that cannot be read
    again is told as a whole.
    """
    found: list[InputChange] = []
    old, new = ({_key(part): part for part in scene.parts} for scene in (before, after))
    for key in dict.fromkeys([*old, *new]):
        a, b = old.get(key), new.get(key)
        part = b or a
        assert part is not None, "a key comes from one of the two"
        if a is not None and b is not None and a.sha256 == b.sha256:
            continue
        found += [InputChange(part.role, part.name, d) for d in _between(a, b, before, after)]
    return tuple(found)


def _key(part: SourcePart) -> tuple[str, str]:
    return part.role, "" if part.role == "machine" else part.name


def _between(a: SourcePart | None, b: SourcePart | None, before: SceneFile, after: SceneFile) -> list[Difference]:
    if a is None or b is None:
        part, kind = (b, DifferenceKind.NEW) if a is None else (a, DifferenceKind.GONE)
        assert part is not None, "one of the two is there"
        texts = (None, part.name) if a is None else (part.name, None)
        return [Difference(f"{part.role} {part.name}", kind, *texts)]
    documents = _document(a, before), _document(b, after)
    if documents[0] is None or documents[1] is None:
        sums = [f"content {part.sha256[:LEAST_DIGITS]}" for part in (a, b)]
        return [Difference(b.name, DifferenceKind.VALUE, *sums)]
    prefix = f"{b.name}/" if b.role in ("holder", "hardware") else ""
    return [
        Difference(f"{prefix}{d.path}", d.kind, d.before, d.after, d.before_value, d.after_value)
        for d in differences(documents[0], documents[1])
    ]


def _document(part: SourcePart, scene_file: SceneFile) -> Document | None:
    """A text of the inputs as a document; None for meshes and lists of points, and for what cannot be read again."""
    kind = _TEXT_ROLES.get(part.role)
    if kind is None:
        return None
    if part.role == "scene":
        return Document(part.file, scene_file.text, kind)
    try:
        return Document.of_bytes(part.file, Path(part.file).read_bytes(), kind)
    except OSError:
        return None


# --- for programs --------------------------------------------------------------------------------------


def changes_json(changes: Changes) -> Json:
    """The changes as the JSON object of `tightside changes --json`: mm and degrees."""
    lists = {
        f"{kind}s": [_result_json(r) for r in changes.results if r.kind == kind] for kind in ("cut", "link", "swing")
    }
    return {
        "format": FORMAT,
        "program": program(),
        "verdict": str(changes.after.verdict),
        "before": _side_json(changes.before),
        "after": _side_json(changes.after),
        "same_inputs": changes.are_inputs_the_same,
        **lists,
        "inputs": [_input_json(i) for i in changes.inputs],
    }


def sheet_json(sheet: SheetSum, check: Check) -> Json:
    """Whether a sheet was made from a scene as it is now, as data: `tightside changes SUM SCENE --json`."""
    return {
        "format": FORMAT,
        "program": program(),
        "verdict": str(check.verdict),
        "sheet": sheet.digits,
        "after": _side_json(check),
        "same_inputs": sheet.is_of(check.scene_file),
    }


def _side_json(check: Check) -> Json:
    scene_file = check.scene_file
    return {
        "file": str(scene_file.path),
        "scene": scene_file.scene.title,
        "input_sha256": scene_file.input_sha256,
        "verdict": str(check.verdict),
    }


def _result_json(change: ResultChange) -> Json:
    some = change.after or change.before
    assert some is not None, "a result is on one side at least"
    if change.kind == "cut":
        assert not isinstance(some, SwingReport | UncheckedMove), "a cut has the result of a cut"
        name: Json = {"orientation": some.orientation, "cut": some.cut, "workpiece": some.workpiece}
    else:
        assert isinstance(some, SwingReport | UncheckedMove), "a move has the result of a move"
        name = {"from": some.start, "to": some.end}
        if change.kind == "link":
            name = {"orientation": some.orientation, **name}
    return {
        **name,
        "change": str(change.change),
        "spare_change": nearest(change.spare_change),
        "before": None if change.before is None else _one_json(change.before),
        "after": None if change.after is None else _one_json(change.after),
    }


def _one_json(result: CutResult | MoveResult) -> Json:
    """The part of a result that is compared, under the keys of `check --json`."""
    if isinstance(result, SwingReport | UncheckedMove):
        whole = swing_json(result) if result.orientation is None else link_json(result)
        keys: Sequence[str] = ("verdict", "clearance", "contact", "spare", "keep_off", "between", "tool")
    else:
        whole = cut_json(result)
        keys = ("verdict", "clearance", "contact", "spare", "keep_off", "between", "side", "tool", "holder")
    return {key: whole[key] for key in keys}


def _input_json(change: InputChange) -> Json:
    d = change.difference
    return {
        "file": change.role,
        "name": change.name or None,
        "path": d.path,
        "change": str(d.kind),
        "before": d.before if d.before_value is None else d.before_value,
        "after": d.after if d.after_value is None else d.after_value,
    }
