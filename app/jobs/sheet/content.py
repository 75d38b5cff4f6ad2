"""Everything that a sheet says, as frozen texts: the pages only place it, and so may any other front end.

1. Every number stands here as it is printed, in the units asked for, rounded to the safe side (`lengths.py`).
2. A cut that a picture may go with is named by (orientation, cut).
3. What this file does not know: how the texts come about, fonts, paper.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.jobs.sheet.facts import CutName
from kinematics.verdict import Verdict


@dataclass(frozen=True, slots=True)
class SetUp:
    """What stands on the table and how.

    Parameters
    ----------
    turns : how each fixture stands, "dovetail fixture: turned 0 degrees".
    screws : one line for each kind, with the torque as given, or that none is.
    stock : what the first cut begins with, one line for each workpiece.
    keys : whether the keys reach their screws.
    notes : of the scene, as they are written.
    """

    turns: tuple[str, ...]
    screws: tuple[str, ...]
    stock: tuple[str, ...]
    keys: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ZeroRow:
    """One place of part zero."""

    name: str
    x: str
    y: str
    z: str


@dataclass(frozen=True, slots=True)
class PartZero:
    """Part zero as it is to be keyed in.

    Parameters
    ----------
    where : where it lies on each workpiece.
    how : "SET ONCE at A 0 C 0", "SET EACH", or what to ask.
    counted : what the numbers count from.
    rows : to be keyed in.
    checking : other orientations, not to be keyed in; only for comparing.
    """

    where: tuple[str, ...]
    how: str
    counted: str
    rows: tuple[ZeroRow, ...]
    checking: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ToolRow:
    """One tool that is used.

    Parameters
    ----------
    set : the stick-out to set; "" on a sheet that must not be run.
    not_under : the length under which a cut gets worse than it is now; "?" where nobody can say.
    guards : what that length guards: the cut and the pair.
    verdict : the worst of its cuts.
    """

    id: str
    tool: str
    holder: str
    holder_title: str
    set: str
    not_under: str
    gauge_length: str
    slenderness: str
    guards: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One orientation in machining order, with the tightest of its cuts. `gap` is "?" where there is none."""

    name: str
    angles: str
    cuts: str
    tightest: str
    gap: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Watch:
    """One place to watch, or one that hits.

    Parameters
    ----------
    cut : None for a move of the table or a link: there is no picture of it.
    name, place : "V1 profile, T1 in H16", "at full depth, at the back".
    part, beside, bodies, where : "cutter", "over", "clamp screws L and R", "below the tool".
    gap, stop, pin : "gap 2.5 mm", "STOP under 1.2 mm", "2.0 mm pin must pass"; "" where it means nothing.
    seen : whether it is seen from the door, and from where else.
    """

    cut: CutName | None
    name: str
    place: str
    part: str
    beside: str
    bodies: str
    where: str
    gap: str
    stop: str
    pin: str
    seen: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class WatchList:
    """Where to look. `items` in machining order; `more` and `nearest` are lines under them."""

    title: str
    items: tuple[Watch, ...]
    more: tuple[str, ...]
    nearest: str


@dataclass(frozen=True, slots=True)
class SheetContent:
    """A whole sheet.

    Parameters
    ----------
    units : in words, of every length without a unit.
    action : "run", "run, with the watch list", "LOOK FIRST", "DO NOT RUN".
    may_run : whether the sheet says what to set.
    turns : of the table: from where, how low the tool may wait, what is tight.
    pin : how a pin may be tried. `before`: cautions. `sign`: what is initialled. `made`: date, program, inputs.
    """

    title: str
    machine: str
    units: str
    verdict: Verdict
    word: str
    action: str
    may_run: bool
    sentences: tuple[str, ...]
    set_up: SetUp
    zero: PartZero
    tools: tuple[ToolRow, ...]
    tool_notes: tuple[str, ...]
    order: tuple[OrderRow, ...]
    turns: tuple[str, ...]
    watch: WatchList
    not_checked: tuple[str, ...]
    not_modelled: str
    assumed: tuple[str, ...]
    pin: str
    before: str
    sign: tuple[str, ...]
    made: str
