"""Check a set-up: every cut as its result comes, then what they say together.

1. A cut in which the engine fails is not checked, with the reason; the cuts after it are still made.
2. What this version does not check although the set-up has it (swings, links) is listed, and makes the
   set-up "not checked" unless something worse is proven.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from kinematics.clearance import check_cut
from kinematics.errors import TightsideError
from kinematics.pose import angle_difference_deg
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import Cut, Orientation, Scene
from kinematics.verdict import Verdict, worst

if TYPE_CHECKING:
    from app.scenes.reader import SceneFile

CUTS_ONLY = "this version checks cuts only"
STOPPED = "stopped before it was checked"
SAME_ANGLE_DEG = 1e-9  # two angles this close are the same position of the table


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
class NotChecked:
    """Something that was not compared, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Check:
    """What a check says as a whole.

    Parameters
    ----------
    cuts : in machining order.
    not_checked : what the set-up has and nobody compared; each makes the verdict "not checked" at least.
    left_out : pairs that are not compared by rule; they do not change the verdict.
    n_done : cuts that were reached before the check was stopped.
    """

    scene_file: SceneFile
    cuts: tuple[CutResult, ...]
    not_checked: tuple[NotChecked, ...]
    left_out: tuple[NotChecked, ...]
    n_done: int

    @property
    def verdict(self) -> Verdict:
        """The worst of all cuts and of what was not checked."""
        return worst([*(c.verdict for c in self.cuts), *(Verdict.NOT_CHECKED for _ in self.not_checked)])

    @property
    def verdict_of_cuts(self) -> Verdict:
        return worst([c.verdict for c in self.cuts])


def check_scene(scene_file: SceneFile) -> Iterator[CutResult]:
    """One result per cut, in machining order."""
    scene = scene_file.scene
    prepared = Prepared(scene)
    done: set[tuple[str, str]] = set()
    for orientation, cut in scene.cuts():
        try:
            yield check_cut(prepared, orientation, cut, frozenset(done))
        except TightsideError as error:
            yield _unchecked(scene, orientation, cut, error.message)
        done.add((orientation.name, cut.name))


def whole_check(scene_file: SceneFile, results: Sequence[CutResult]) -> Check:
    """The check as a whole from the results of its first cuts; cuts without a result were stopped."""
    scene = scene_file.scene
    rest = scene.cuts()[len(results) :]
    cuts = (*results, *(_unchecked(scene, orientation, cut, STOPPED) for orientation, cut in rest))
    not_checked = [*(item for cut in cuts for item in _not_checked_in(cut)), *_not_built(scene)]
    left_out: dict[NotChecked, None] = {}
    for result in results:
        if isinstance(result, CutReport):
            left_out.update((NotChecked(pair, why), None) for pair, why in result.left_out)
    return Check(scene_file, cuts, tuple(not_checked), tuple(left_out), len(results))


def _unchecked(scene: Scene, orientation: Orientation, cut: Cut, why: str) -> UncheckedCut:
    holder = scene.tool(cut.tool).holder.name
    workpiece = scene.workpiece_of(cut).name
    return UncheckedCut(
        orientation.name, cut.name, workpiece, cut.tool, holder, orientation.angles_deg, why, cut.origin
    )


def _not_checked_in(result: CutResult) -> Iterator[NotChecked]:
    name = f"{result.orientation}/{result.cut}"
    if result.why is not None:
        yield NotChecked(name, result.why)
    if isinstance(result, CutReport):
        for pair in result.not_checked:
            tool_side, obstacle = pair.between
            yield NotChecked(f"{name}: {tool_side} - {obstacle}", pair.why or "the distance was not established")


def _not_built(scene: Scene) -> Iterator[NotChecked]:
    """The moves that a set-up has and that this version does not check."""
    if has_swings(scene):
        yield NotChecked("swings", CUTS_ONLY)
    if any(len(orientation.cuts) > 1 for orientation in scene.orientations):
        yield NotChecked("links", CUTS_ONLY)


def has_swings(scene: Scene) -> bool:
    """Whether the table turns at all: between orientations, or from and to home."""
    home = scene.machine.home_deg
    stops = [dict(angles) for angles in (home, *(o.angles_deg for o in scene.orientations), home)]
    names = [axis.name for axis in scene.machine.table_axes]
    return any(
        abs(angle_difference_deg(a.get(name, 0.0), b.get(name, 0.0))) > SAME_ANGLE_DEG
        for a, b in pairwise(stops)
        for name in names
    )
