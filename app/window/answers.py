"""What is asked of the engine's process, and what it answers: frozen values that can be pickled.

1. Every question has a generation; what answers an older one is dropped by whoever asked.
2. No value here holds a scene, a tree of its text, or a mesh that is measured.
3. Loading this file loads neither the engine nor Qt.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from app.jobs.dial_faces import DialScope
from app.jobs.results import CutResult, MoveResult, NotChecked
from app.scenes.faults import Fault
from app.scenes.live import Number
from app.view3d.places import Place
from kinematics.report import SecondOpinion
from kinematics.verdict import Verdict
from kinematics.work_offset import WorkOffset

CutKey = tuple[str, str]  # orientation, cut
MoveKey = tuple[str | None, str, str]  # orientation of a link or None, from, to

HowFar = Literal["cuts", "all"]


@dataclass(frozen=True, slots=True)
class DialsWanted:
    """Whose worst spare dials show; which faces are wanted first; paths of numbers that were made dials."""

    scope: DialScope = DialScope.TOOL
    first: tuple[str, ...] = ()
    added: tuple[str, ...] = ()


# ---- questions -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ask:
    """Check a set-up.

    Parameters
    ----------
    text, path : the scene as it is now, and where it stands or will stand.
    values : numbers that are being turned, by path, in the units of the file.
    first : the cuts in the order in which they are wanted; the rest follow in machining order.
    focus : the cut that is looked at; its shapes and plots come first.
    dials : which dials there are to be, and whose spare they show.
    how_far : `cuts` while a dial is held; else everything.
    """

    generation: int
    text: str
    path: str
    values: tuple[tuple[str, float], ...] = ()
    first: tuple[CutKey, ...] = ()
    focus: CutKey | None = None
    dials: DialsWanted = DialsWanted()
    how_far: HowFar = "all"


@dataclass(frozen=True, slots=True)
class Look:
    """Another cut is looked at: its shapes and plots. `generation` is the one of the Ask that it belongs to.

    `move` : the swing that is looked at instead. `panel`: one thing only, by the name of a Found; empty for all.
    """

    generation: int
    focus: CutKey
    move: MoveKey | None = None
    panel: str = ""
    about: object = None


@dataclass(frozen=True, slots=True)
class Stop:
    """Stop what is being computed; answered by Stopped."""

    generation: int


Question = Ask | Look | Stop


# ---- answers -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CutOutline:
    """A cut before it is checked."""

    key: CutKey
    workpiece: str | None
    tool: str
    holder: str


@dataclass(frozen=True, slots=True)
class OrientationOutline:
    """An orientation and its cuts; `control_deg`: its angles by letter, as the control counts them."""

    name: str
    control_deg: tuple[tuple[str, float], ...]
    cuts: tuple[CutOutline, ...]


@dataclass(frozen=True, slots=True)
class ToolOutline:
    """A tool as the window names it. `stick_out` and `holder` are as the scene has them, mm."""

    id: str
    kind: str
    holder: str
    stick_out: float


@dataclass(frozen=True, slots=True)
class Outline:
    """What a scene is made of, in names and numbers.

    Parameters
    ----------
    unit : of the lengths in its file.
    files : every file that was read.
    keep_off_cut : the larger of the two for cuts, mm; keep_off_swing : for swings.
    notes : what is worth knowing, as that a mesh is open.
    """

    title: str
    machine: str
    unit: str
    orientations: tuple[OrientationOutline, ...]
    tools: tuple[ToolOutline, ...]
    holders: tuple[str, ...]
    bodies: tuple[str, ...]
    numbers: tuple[Number, ...]
    keep_off_cut: float
    keep_off_swing: float
    not_modelled: tuple[str, ...]
    assumed: tuple[str, ...]
    notes: tuple[str, ...]
    files: tuple[str, ...]
    input_sha256: str

    def cuts(self) -> tuple[CutOutline, ...]:
        """All cuts in machining order."""
        return tuple(cut for orientation in self.orientations for cut in orientation.cuts)


@dataclass(frozen=True, slots=True)
class Opened:
    """The scene could be read."""

    outline: Outline


@dataclass(frozen=True, slots=True)
class Faulty:
    """The scene could not be read; everything that is wrong."""

    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class CutDone:
    """One cut was checked."""

    key: CutKey
    result: CutResult


@dataclass(frozen=True, slots=True)
class MovesPlanned:
    """Which links and swings there are, links first, each in machining order."""

    keys: tuple[MoveKey, ...]


@dataclass(frozen=True, slots=True)
class MoveDone:
    """One link or swing was checked."""

    key: MoveKey
    result: MoveResult


@dataclass(frozen=True, slots=True)
class Shapes:
    """What stands on the machine at the tightest place of a cut or swing.

    `what_for` : `card` has the one standpoint across the gap, `look` all views, `follow` none: it follows the place
    that was looked at before, as a number is turned.
    """

    key: CutKey | MoveKey
    place: Place
    what_for: Literal["card", "look", "follow"]


@dataclass(frozen=True, slots=True)
class NoShapes:
    """Nothing can be shown of a cut, and why."""

    key: CutKey | MoveKey
    why: str


@dataclass(frozen=True, slots=True)
class Whole:
    """What the check says as a whole, once everything is there."""

    verdict: Verdict
    second_opinion: SecondOpinion
    not_checked: tuple[NotChecked, ...]
    work_offsets: tuple[WorkOffset, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """An answer of a job that belongs to one panel.

    Parameters
    ----------
    panel : `uses_up`, `part_off`, `side_on`, `round_tool`, `offers`, `face`, `advice`.
    about : the cut or dial that it is about.
    value : as the job gives it.
    """

    panel: str
    about: object
    value: object


@dataclass(frozen=True, slots=True)
class Stage:
    """What is being done, in words, and what is finished."""

    words: str
    done: Literal["", "cuts", "all"] = ""


@dataclass(frozen=True, slots=True)
class Stopped:
    """The process does nothing now."""


@dataclass(frozen=True, slots=True)
class Failed:
    """A fault of the program, in one line."""

    why: str


Body = (
    Opened | Faulty | CutDone | MovesPlanned | MoveDone | Shapes | NoShapes | Whole | Found | Stage | Stopped | Failed
)


@dataclass(frozen=True, slots=True)
class Answer:
    """One result, and the generation of the question that it answers."""

    generation: int
    body: Body
