"""What the engine's process works on: the scene that was asked last, what was prepared of it, what is looked at.

1. Every method that answers is a generator: each yield is one result, and a place to stop.
2. Cuts come first, without the second opinion; then links and swings; then all of it with the second opinion, as
   `tightside check` gives it. While a number is being turned, only the cuts.
3. The same values give the same results as the command line: `app/jobs` computes, nothing here does.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from app.jobs.check import moves_of, result_of, whole_check
from app.jobs.results import CutResult, Result
from app.jobs.words import tightest_first
from app.scenes.edits import EditError
from app.scenes.faults import Fault, SceneFileError
from app.scenes.live import LiveScene
from app.scenes.origins import fault_of
from app.scenes.reader import SceneFile
from app.view3d.scene_meshes import MeshCache, display_scene
from app.window.answers import (
    Ask,
    Body,
    CutDone,
    CutKey,
    CutOutline,
    Faulty,
    Look,
    MoveDone,
    MoveKey,
    MovesPlanned,
    NoShapes,
    Opened,
    OrientationOutline,
    Outline,
    Shapes,
    Stage,
    ToolOutline,
    Whole,
)
from kinematics.engine import kernel_cache
from kinematics.errors import TightsideError
from kinematics.machine import control_angles
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import Cut, Orientation

MOST_SHAPES = 400  # of which display meshes are kept


class Desk:
    """One scene at a time."""

    def __init__(self) -> None:
        self._live: LiveScene | None = None
        self._scene_file: SceneFile | None = None
        self._prepared: Prepared | None = None
        self._meshes = MeshCache()
        self._n_shapes = 0
        self._results: dict[CutKey, CutResult] = {}

    # ---- the whole set-up ----

    def check(self, ask: Ask) -> Iterator[Body]:
        """Everything about a scene, or its cuts only."""
        if not kernel_cache.is_ready():
            yield Stage(f"preparing the exact engine, once, about {kernel_cache.COMPILE_SECONDS:.0f} s")
            from kinematics.engine.compiled import compile_all

            compile_all()
        try:
            scene_file = self._read(ask)
            prepared = Prepared(scene_file.scene, like=self._prepared)
        except SceneFileError as error:
            yield Faulty(tuple(error.faults))
            return
        except EditError as error:
            yield Faulty((Fault(ask.path, 1, 1, "", error.message),))
            return
        except TightsideError as error:
            yield Faulty((fault_of(error, file=ask.path),))
            return
        self._scene_file, self._prepared, self._results = scene_file, prepared, {}
        if ask.how_far == "all":
            yield Opened(outline_of(scene_file, self._live))
        yield from self._cuts(ask, scene_file, prepared)
        yield Stage("", "cuts")
        if ask.how_far == "all":
            yield from self._rest(scene_file, prepared)

    def _read(self, ask: Ask) -> SceneFile:
        if self._live is None or self._live.text != ask.text or self._live.path != Path(ask.path):
            self._live = None
            self._live = LiveScene(ask.text, Path(ask.path))
        return self._live.with_values(dict(ask.values))

    def _cuts(self, ask: Ask, scene_file: SceneFile, prepared: Prepared) -> Iterator[Body]:
        order = _in_order(scene_file.scene.cuts(), ask)
        for i, (orientation, cut) in enumerate(order):
            yield Stage(f"{orientation.name} {cut.name}")
            yield CutDone((orientation.name, cut.name), self._result(prepared, orientation, cut))
            if i == 0 and ask.focus is not None:
                yield from self._shapes(orientation, cut)

    def _rest(self, scene_file: SceneFile, prepared: Prepared) -> Iterator[Body]:
        """Shapes of all cuts, tightest first; links and swings; then the second opinion of everything."""
        cuts = {(o.name, c.name): (o, c) for o, c in scene_file.scene.cuts()}
        for result in tightest_first(tuple(self._results.values())):
            yield from self._shapes(*cuts[(result.orientation, result.cut)])
        yield Stage("links and swings")
        moves = yield from self._moves(scene_file, prepared)
        yield Stage("the second opinion")
        results: list[Result] = []
        for orientation, cut in cuts.values():
            found = self._result(prepared, orientation, cut, with_opinion=True)
            results.append(found)
            yield CutDone((orientation.name, cut.name), found)
        again = moves_of(scene_file, prepared, second_opinion=True)
        for key, move in zip(moves, again, strict=False):
            results.append(move)
            yield MoveDone(key, move)
        check = whole_check(scene_file, results)
        yield Whole(check.verdict, check.second_opinion, check.not_checked, check.work_offsets)
        yield Stage("", "all")

    def _moves(self, scene_file: SceneFile, prepared: Prepared) -> Generator[Body, None, list[MoveKey]]:
        """Links and swings; returns their keys."""
        try:
            links, swings = prepared.between()
            keys: list[MoveKey] = [
                (b.orientation.name if b.orientation else None, b.start, b.end) for b in (*links, *swings)
            ]
            yield MovesPlanned(tuple(keys))
        except TightsideError:  # the one result of `moves_of` says why
            keys = [(None, "all links", "swings")]
        for key, move in zip(keys, moves_of(scene_file, prepared), strict=True):
            yield MoveDone(key, move)
        return keys

    def _result(
        self, prepared: Prepared, orientation: Orientation, cut: Cut, *, with_opinion: bool = False
    ) -> CutResult:
        cuts = prepared.scene.cuts()
        done = frozenset((o.name, c.name) for o, c in cuts[: cuts.index((orientation, cut))])
        result = result_of(prepared, orientation, cut, done, second_opinion=with_opinion)
        result = replace(result, origin=None)  # the tree of the text stays here
        self._results[orientation.name, cut.name] = result
        return result

    # ---- one cut ----

    def look(self, look: Look) -> Iterator[Body]:
        """What is shown of one cut."""
        if self._prepared is None:
            return
        found = [(o, c) for o, c in self._prepared.scene.cuts() if (o.name, c.name) == look.focus]
        if found:
            yield from self._shapes(*found[0])

    def _shapes(self, orientation: Orientation, cut: Cut) -> Iterator[Body]:
        assert self._prepared is not None, "a scene was read before it is shown"
        key = (orientation.name, cut.name)
        result = self._results.get(key)
        report = result if isinstance(result, CutReport) else None
        try:
            yield Shapes(key, display_scene(self._prepared, orientation, cut, report, self._mesh_cache()))
        except TightsideError as error:
            yield NoShapes(key, error.message)

    def _mesh_cache(self) -> MeshCache:
        """Display meshes of shapes; begun anew now and then, since a turned number makes new shapes each time."""
        self._n_shapes += 1
        if self._n_shapes > MOST_SHAPES:
            self._meshes, self._n_shapes = MeshCache(), 0
        return self._meshes


def _in_order(cuts: Sequence[tuple[Orientation, Cut]], ask: Ask) -> list[tuple[Orientation, Cut]]:
    """The cut that is looked at, then those wanted first, then the others in machining order."""
    wanted = ([ask.focus] if ask.focus else []) + list(ask.first)
    places = {key: i for i, key in reversed(list(enumerate(wanted)))}
    return sorted(cuts, key=lambda one: places.get((one[0].name, one[1].name), len(wanted)))


def outline_of(scene_file: SceneFile, live: LiveScene | None) -> Outline:
    """Names and numbers of a scene."""
    scene, machine = scene_file.scene, scene_file.scene.machine
    orientations = tuple(
        OrientationOutline(
            o.name,
            tuple(control_angles(machine, dict(o.angles_deg)).items()),
            tuple(CutOutline((o.name, c.name), c.workpiece, c.tool, scene.tool(c.tool).holder.name) for c in o.cuts),
        )
        for o in scene.orientations
    )
    states = [body.name for w in scene.workpieces for state in w.states for body in state.bodies]
    numbers = live.numbers() if live else ()
    return Outline(
        title=scene.title,
        machine=machine.title,
        unit=next((n.unit for n in numbers if n.unit in ("mm", "inch")), "mm"),
        orientations=orientations,
        tools=tuple(ToolOutline(t.id, t.kind, t.holder.name, t.stick_out) for t in scene.tools),
        holders=tuple(h.name for h in scene.holders),
        bodies=tuple(dict.fromkeys([*states, *(b.name for b in (*scene.bodies, *machine.bodies))])),
        numbers=numbers,
        keep_off_cut=max(scene.keep_off.cutter, scene.keep_off.holder),
        keep_off_swing=scene.keep_off.swing,
        not_modelled=machine.not_modelled,
        assumed=(*scene.assumed, *scene_file.notes),
        notes=scene_file.notes,
        files=tuple(str(file) for file in scene_file.files),
        input_sha256=scene_file.input_sha256,
    )
