"""What a check gives, as frozen values without any geometry, so that nobody who shows them loads the engine.

1. A cut or move without a report says why; it counts as not checked.
2. What the set-up has and nobody compared keeps the verdict of the whole from being clear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kinematics.report import CutReport, SecondOpinion, SwingReport
from kinematics.verdict import Verdict, worst
from kinematics.work_offset import WorkOffset

if TYPE_CHECKING:
    from app.scenes.reader import SceneFile


@dataclass(frozen=True, slots=True)
class UncheckedCut:
    """A cut without a report, and why."""

    orientation: str
    cut: str
    workpiece: str | None
    tool: str
    holder: str
    angles_deg: tuple[tuple[str, float], ...]
    why: str
    origin: object = None

    @property
    def verdict(self) -> Verdict:
        return Verdict.NOT_CHECKED


CutResult = CutReport | UncheckedCut


@dataclass(frozen=True, slots=True)
class UncheckedMove:
    """A link or swing that could not be laid out at all, and why."""

    start: str
    end: str
    orientation: str | None
    why: str

    @property
    def verdict(self) -> Verdict:
        return Verdict.NOT_CHECKED


MoveResult = SwingReport | UncheckedMove
Result = CutResult | MoveResult


@dataclass(frozen=True, slots=True)
class NotChecked:
    """Something that was not compared, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Check:
    """What a check says as a whole.

    Parameters
    ----------
    cuts, links, swings : each in machining order.
    work_offsets : part zero at every orientation.
    not_checked : what the set-up has and nobody compared; each makes the verdict "not checked" at least.
    left_out : pairs that are not compared by rule; they do not change the verdict.
    """

    scene_file: SceneFile
    cuts: tuple[CutResult, ...]
    links: tuple[MoveResult, ...]
    swings: tuple[MoveResult, ...]
    work_offsets: tuple[WorkOffset, ...]
    not_checked: tuple[NotChecked, ...]
    left_out: tuple[NotChecked, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of all cuts and moves, and of what was not checked."""
        said = [r.verdict for r in (*self.cuts, *self.links, *self.swings)]
        return worst([*said, *(Verdict.NOT_CHECKED for _ in self.not_checked)])

    @property
    def verdict_of_cuts(self) -> Verdict:
        return worst([c.verdict for c in self.cuts])

    @property
    def second_opinion(self) -> SecondOpinion:
        """Whether the second engine agrees everywhere that it was asked; off where it never was."""
        said = {opinion_of(r) for r in (*self.cuts, *self.links, *self.swings)}
        return next((o for o in (SecondOpinion.DISAGREES, SecondOpinion.AGREES) if o in said), SecondOpinion.OFF)


def opinion_of(result: Result) -> SecondOpinion:
    """What the second engine says of one result; off where there is nothing that it could be asked."""
    return result.second_opinion if isinstance(result, CutReport | SwingReport) else SecondOpinion.OFF


def name_of_move(move: MoveResult) -> str:
    """A swing by its orientations, a link by its orientation and cuts."""
    way = f"{move.start} > {move.end}"
    return f"swing {way}" if move.orientation is None else f"link {move.orientation}: {way}"
