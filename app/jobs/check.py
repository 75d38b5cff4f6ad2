"""Check a set-up: every cut, link and swing as its result comes, then what they say together.

1. A cut in which the engine fails is not checked, with the reason; the cuts after it are still made.
2. What was not reached before a check was stopped is not checked, and listed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from app.jobs.results import (
    Check,
    CutResult,
    MoveResult,
    NotChecked,
    Result,
    UncheckedCut,
    UncheckedMove,
    name_of_move,
)
from kinematics.clearance import check_cut
from kinematics.errors import TightsideError
from kinematics.placement import place_scene
from kinematics.prepared import Prepared
from kinematics.report import CutReport, SwingReport
from kinematics.scene import Cut, Orientation, Scene
from kinematics.swing_clearance import PROVEN, Settle, check_links, check_swings
from kinematics.work_offset import work_offsets

if TYPE_CHECKING:
    from app.scenes.reader import SceneFile

STOPPED = "stopped before it was checked"


def steps_of(scene_file: SceneFile) -> list[str]:
    """What a check does, step by step, in words for a progress line."""
    scene = scene_file.scene
    cuts = [f"{o.name} {c.name}" for o, c in scene.cuts()]
    return [f"checking {name}, {i} of {len(cuts)} cuts" for i, name in enumerate(cuts, 1)]


def check_scene(
    scene_file: SceneFile, *, second_opinion: bool = True, prepared: Prepared | None = None
) -> Iterator[Result]:
    """One result per cut, then per link, then per swing, each in machining order.

    `second_opinion` : a second engine finds every clearance again; where the two disagree, it is not checked.
    `prepared` : the scene made ready, where others ask it too.
    """
    scene = scene_file.scene
    prepared = prepared or Prepared(scene)
    done: set[tuple[str, str]] = set()
    for orientation, cut in scene.cuts():
        yield result_of(prepared, orientation, cut, frozenset(done), second_opinion=second_opinion)
        done.add((orientation.name, cut.name))
    yield from moves_of(scene_file, prepared, second_opinion=second_opinion)


def result_of(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    done: frozenset[tuple[str, str]],
    *,
    second_opinion: bool = False,
) -> CutResult:
    """The result of one cut; `done` are the cuts made before it, as (orientation, cut)."""
    try:
        return check_cut(prepared, orientation, cut, done, second_opinion=second_opinion)
    except TightsideError as error:
        return _unchecked(prepared.scene, orientation, cut, error.message)


def moves_of(
    scene_file: SceneFile,
    prepared: Prepared | None = None,
    settle: Settle = PROVEN,
    *,
    with_links: bool = True,
    second_opinion: bool = False,
) -> Iterator[MoveResult]:
    """One result per link, then per swing. Where they can't be laid out, one result says why."""
    scene = scene_file.scene
    prepared = prepared or Prepared(scene)
    try:
        prepared.between()
    except TightsideError as error:
        yield UncheckedMove("all links", "swings", None, error.message)
        return
    if with_links:
        yield from check_links(scene, prepared, second_opinion=second_opinion)
    yield from check_swings(scene, prepared, settle, second_opinion=second_opinion)


def whole_check(scene_file: SceneFile, results: Sequence[Result], *, is_stopped: bool = False) -> Check:
    """The check as a whole from its results; what has no result was stopped before it came."""
    scene = scene_file.scene
    made = [r for r in results if isinstance(r, CutResult)]
    moves = [r for r in results if isinstance(r, MoveResult)]
    rest = scene.cuts()[len(made) :]
    cuts = (*made, *(_unchecked(scene, orientation, cut, STOPPED) for orientation, cut in rest))
    links = tuple(r for r in moves if r.orientation is not None)
    swings = tuple(r for r in moves if r.orientation is None)
    not_checked = [item for cut in cuts for item in _not_checked_in(cut)]
    not_checked += [NotChecked(name_of_move(m), m.why) for m in moves if m.why is not None]
    if is_stopped:
        not_checked.append(NotChecked("links and swings after that", STOPPED))
    left_out: dict[NotChecked, None] = {}
    for result in results:
        if isinstance(result, CutReport | SwingReport):
            name = _name_of(result)
            left_out.update((NotChecked(f"{name}: {pair}", why), None) for pair, why in result.left_out)
    offsets = work_offsets(scene, place_scene(scene))
    return Check(scene_file, cuts, links, swings, offsets, tuple(not_checked), tuple(left_out))


def _name_of(result: CutReport | SwingReport) -> str:
    if isinstance(result, CutReport):
        return f"{result.orientation}/{result.cut}"
    return "swings" if result.orientation is None else "links"  # much the same pairs in each


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
