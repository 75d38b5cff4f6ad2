"""What the tight view shows of a cut or a swing, as one value that goes from the engine's process to the window's.

1. Made where the engine is; looked at where it is not. Meshes go by keys that follow from their content.
2. `place_of` finds from where to look, which takes a while; `following_place` only says where everything stands,
   fast enough to be asked while a dial is turned, and keeps the looks of the place before.
3. Numbers and words are those of the report, in both units.
4. What this file does not know: windows, who draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from app.jobs.results import CutResult
from app.jobs.words import angles_text, name_of, nearest_bodies, number, verdict_word
from app.view3d.cameras import Aim, View, aim
from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import Shell, ShownBody, mesh_key, shown_bodies
from app.view3d.looks import Look, look_of
from app.view3d.scene_meshes import DisplayScene, Gap, MeshCache, display_scene, display_scene_of_swing
from app.view3d.swept_room import swept_shell
from kinematics.pose import Vector
from kinematics.report import CutReport, Interval, PairReport, SwingReport
from kinematics.scene import Cut, Orientation
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from kinematics.prepared import Prepared

NOMINAL = (1008, 424)  # the size in which it is found what stands before the gap


@dataclass(frozen=True, slots=True, eq=False)
class Standpoint:
    """From where a view is taken, and how bodies are drawn in it."""

    aim: Aim
    look: Look


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of two that are near: numbers of the report, mm. `pair` names them in words."""

    pair: str
    clearance: Interval | None
    spare: float | None
    keep_off: float
    contact: str | None
    why: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A tight place to show.

    Parameters
    ----------
    key : (orientation, cut), or (start, end) of a swing.
    title, word : as `V1 profile, T1 in H16`; the verdict's word.
    meshes : by key.
    workpieces : ids of bodies that are cut.
    told : what stands beside the gap; None where nothing is near.
    next_told : the pair that comes after it in the report.
    rooms : what the report tells of each body, by its id: the first pair that it is one of.
    edits : by id of a body: the path under which its numbers are.
    standpoints : one for each view; empty where the place follows another.
    shell : the room that a swing sweeps.
    """

    key: tuple[str, str]
    title: str
    verdict: Verdict
    word: str
    bodies: tuple[ShownBody, ...]
    meshes: Mapping[str, DisplayMesh]
    gap: Gap | None
    tip_W: Vector
    operator: Vector
    workpieces: frozenset[str]
    told: Told | None
    next_told: Told | None
    rooms: Mapping[str, Told]
    edits: Mapping[str, str]
    standpoints: Mapping[View, Standpoint] = field(default_factory=dict)
    shell: Shell | None = None

    @property
    def middle_W(self) -> Vector:
        """What the picture is about: the middle of the gap, or the tip."""
        return self.gap.middle_W if self.gap else self.tip_W


def place_of(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    *,
    meshes: MeshCache | None = None,
) -> Place:
    """The place of a cut with everything that its views need.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool, so there is no place to show.
    """
    return _seen_from(tuple(View), prepared, orientation, cut, result, meshes)


def card_place(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    *,
    meshes: MeshCache | None = None,
) -> Place:
    """The place of a cut with the one standpoint that a card needs, across the gap; otherwise as `place_of`."""
    return _seen_from((View.ACROSS,), prepared, orientation, cut, result, meshes)


def following_place(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    *,
    meshes: MeshCache | None = None,
) -> Place:
    """The place of a cut without its standpoints; otherwise as `place_of`."""
    return _seen_from((), prepared, orientation, cut, result, meshes)


def _seen_from(
    views: tuple[View, ...],
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    meshes: MeshCache | None,
) -> Place:
    """The place of a cut with the standpoints of some views."""
    report = result if isinstance(result, CutReport) else None
    scene = display_scene(prepared, orientation, cut, report, meshes)
    found = _place(prepared, scene, cut, result)
    return replace(found, standpoints={view: _standpoint(view, scene, report) for view in views})


def swept_place(
    prepared: Prepared,
    at: int,
    report: SwingReport,
    *,
    meshes: MeshCache | None = None,
) -> Place:
    """The swing at a place in machining order, as it stands where it comes nearest, in the room that it sweeps.

    Raises
    ------
    ToolError : a tool can't be assembled, so there is no place to show.
    """
    between = prepared.between()[1][at]
    scene, turning = display_scene_of_swing(prepared, between, report, meshes)
    shell = swept_shell(prepared.scene.machine, [of for _, of in turning], between.boxes)
    if shell is not None:
        shell = replace(shell, turning=frozenset(name for name, _ in turning))
    tool = report.tool or between.tools[0]
    title = f"{report.start} > {report.end}, lift {number(report.lift_gauge_z, 1).removesuffix('.0')}"
    if report.at_angles_deg:
        title += f", nearest at {angles_text(report.at_angles_deg)}"
    standpoints = {}
    for view in View:
        found = _standpoint(view, scene, None)
        look = replace(found.look, hidden_by=None, is_gap_hidden=False)
        standpoints[view] = Standpoint(_wide(found.aim, shell), look)
    return Place(
        key=(report.start, report.end),
        title=title,
        verdict=report.verdict,
        word=str(report.verdict),
        bodies=shown_bodies(scene.bodies),
        meshes={mesh_key(b.mesh): b.mesh for b in scene.bodies},
        gap=scene.gap,
        tip_W=scene.tip_W,
        operator=scene.operator,
        workpieces=_workpieces(prepared),
        told=_told_of_swing(report),
        next_told=None,
        rooms={},
        edits=_edits(prepared, scene, tool),
        standpoints=standpoints,
        shell=shell,
    )


def room_of(prepared: Prepared, orientation: Orientation, cut: Cut, body: str) -> Told | None:
    """What a body, or a part of the tool, has for room over a cut; None if it is compared with nothing.

    For bodies that the report does not name; asked for when one is picked.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool.
    """
    from kinematics.clearance import check_body  # with the engine, which who only draws does not load

    cuts = prepared.scene.cuts()
    done = frozenset((o.name, c.name) for o, c in cuts[: cuts.index((orientation, cut))])
    pair = check_body(prepared, orientation, cut, done, body)
    if pair is None:
        return None
    names = f"{pair.between[0]} to {pair.between[1]}"
    return Told(names, pair.clearance, pair.spare, pair.keep_off, pair.contact, pair.why)


def _place(prepared: Prepared, scene: DisplayScene, cut: Cut, result: CutResult) -> Place:
    return Place(
        key=(result.orientation, result.cut),
        title=f"{name_of(result)}, {result.tool} in {result.holder}",
        verdict=result.verdict,
        word=verdict_word(result),
        bodies=shown_bodies(scene.bodies),
        meshes={mesh_key(b.mesh): b.mesh for b in scene.bodies},
        gap=scene.gap,
        tip_W=scene.tip_W,
        operator=scene.operator,
        workpieces=_workpieces(prepared),
        told=_told(result.worst, result) if isinstance(result, CutReport) and result.worst else None,
        next_told=_next(result),
        rooms=_rooms(scene, result),
        edits=_edits(prepared, scene, cut.tool),
    )


def _standpoint(view: View, scene: DisplayScene, report: CutReport | None) -> Standpoint:
    found = aim(view, scene)
    return Standpoint(found, look_of(view, scene, found.camera(NOMINAL), report=report))


def _wide(found: Aim, shell: Shell | None) -> Aim:
    """An aim that takes in the swept room, where it is no picture through the door, which does already."""
    if shell is None or found.seen_W is not None:
        return found
    size = np.array(shell.taken.shape) * shell.step
    return replace(found, half=max(found.half, 0.3 * float(np.linalg.norm(size))))


def _told(pair: PairReport, result: CutReport) -> Told:
    """A pair of a cut; the worst names all that are as near."""
    bodies = nearest_bodies(result, pair) if pair is result.worst else pair.between[1]
    return Told(f"{pair.between[0]} to {bodies}", pair.clearance, pair.spare, pair.keep_off, pair.contact, pair.why)


def _next(result: CutResult) -> Told | None:
    """The first pair after those that are as near as the worst."""
    if not isinstance(result, CutReport):
        return None
    return next((_told(pair, result) for pair in result.next if pair.between not in result.ties), None)


def _told_of_swing(report: SwingReport) -> Told | None:
    if report.between is None:
        return None
    pair = f"{report.between[0]} to {report.between[1]}"
    return Told(pair, report.clearance, report.spare, report.keep_off, report.contact, report.why)


def _rooms(scene: DisplayScene, result: CutResult) -> dict[str, Told]:
    """The first pair of each body in the report's order, by the body's id."""
    if not isinstance(result, CutReport):
        return {}
    ids: dict[str, list[str]] = {}
    for shown in shown_bodies(scene.bodies):
        ids.setdefault(shown.name, []).append(shown.id)
    found: dict[str, Told] = {}
    pairs = [*([result.worst] if result.worst else []), *_tied(result), *result.next, *result.not_checked]
    for pair in pairs:
        for name in pair.between:
            for own in ids.get(name, ()):
                found.setdefault(own, _told(pair, result))
    return found


def _tied(result: CutReport) -> Sequence[PairReport]:
    """Pairs that are as near as the worst: its numbers, their names."""
    if result.worst is None:
        return ()
    return [replace(result.worst, between=names) for names in result.ties]


def _workpieces(prepared: Prepared) -> frozenset[str]:
    states = (state for workpiece in prepared.scene.workpieces for state in workpiece.states)
    return frozenset(body.name for state in states for body in state.bodies)


def _edits(prepared: Prepared, scene: DisplayScene, tool_id: str) -> dict[str, str]:
    """Under which path the numbers of each body are: its own name, its tool's id, or its holder's name."""
    holder = prepared.scene.tool(tool_id).holder
    steps = {step.name or "holder" for step in holder.steps} | {"holder"}
    own = {b.name for b in prepared.scene.bodies} | _workpieces(prepared)
    found = {}
    for shown in shown_bodies(scene.bodies):
        if shown.id.startswith("tool/") and shown.name in steps:
            found[shown.id] = holder.name
        elif shown.id.startswith("tool/") and shown.name in ("cutter", "neck", "shank"):
            found[shown.id] = tool_id
        elif shown.name in own:
            found[shown.id] = shown.name
    return found
