"""What the engine's process works on: the scene that was asked last, what was prepared of it, what is looked at.

1. Every method that answers is a generator: each yield is one result, and a place to stop.
2. Cuts come first, without the second opinion; then links and swings; then all of it with the second opinion, as
   `tightside check` gives it. While a number is being turned, only the cuts.
3. The same values give the same results as the command line: `app/jobs` computes, nothing here does.
"""

from __future__ import annotations

import contextlib
from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from app.jobs.alternatives import advice, alternatives
from app.jobs.check import moves_of, result_of, whole_check
from app.jobs.dial_offers import dial_offers
from app.jobs.dials import dial_face
from app.jobs.part_off import IN_INCH, part_off_line
from app.jobs.polar_plot import round_the_tool
from app.jobs.profile_plot import side_on
from app.jobs.results import CutResult, MoveResult, Result
from app.jobs.uses_up import uses_up
from app.jobs.whatif_dials import Bench
from app.jobs.words import tightest_first
from app.scenes.edits import EditError
from app.scenes.faults import Fault, SceneFileError
from app.scenes.live import LiveScene
from app.scenes.origins import fault_of
from app.scenes.reader import SceneFile
from app.view3d.places import card_place, following_place, place_of, room_of, swept_place
from app.view3d.scene_meshes import MeshCache
from app.window.answers import (
    Ask,
    Body,
    CutDone,
    CutKey,
    CutOutline,
    DialsWanted,
    Faulty,
    Found,
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
from app.window.new_setup_desk import NewSetupDesk
from app.window.new_setup_wanted import DRAFT_PANELS
from app.window.part_answers import PANELS
from app.window.part_desk import PartDesk
from kinematics.answers.part_off import part_off
from kinematics.engine import kernel_cache
from kinematics.errors import TightsideError
from kinematics.machine import control_angles
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import CutReport, SwingReport
from kinematics.scene import Cut, Orientation
from kinematics.verdict import Verdict

MOST_SHAPES = 400  # of which display meshes are kept


class Desk:
    """One scene at a time."""

    def __init__(self) -> None:
        self._live: LiveScene | None = None
        self._scene_file: SceneFile | None = None
        self._prepared: Prepared | None = None
        self._meshes = MeshCache()
        self._parts = PartDesk()
        self._new_setup = NewSetupDesk()
        self._n_shapes = 0
        self._results: dict[CutKey, CutResult] = {}
        self._swings: dict[MoveKey, MoveResult] = {}
        self._bench: Bench | None = None
        self._focus: CutKey | None = None
        self._dials = DialsWanted()
        self._is_checking = False
        self._cards: dict[CutKey, tuple[object, ...]] = {}  # what the picture was made of that was sent last

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
        self._focus, self._dials, self._is_checking = ask.focus, ask.dials, True
        if ask.how_far == "all":
            yield Opened(outline_of(scene_file, self._live))
        yield from self._cuts(ask, scene_file, prepared)
        yield Stage("", "cuts")
        if ask.how_far == "all":
            yield from self._rest(scene_file, prepared)

    def _read(self, ask: Ask) -> SceneFile:
        if self._live is None or self._live.text != ask.text or self._live.path != Path(ask.path):
            if self._live is None or self._live.path != Path(ask.path):
                self._cards.clear()
            self._live = None
            self._live = LiveScene(ask.text, Path(ask.path))
        return self._live.with_values(dict(ask.values))

    def _cuts(self, ask: Ask, scene_file: SceneFile, prepared: Prepared) -> Iterator[Body]:
        order = _in_order(scene_file.scene.cuts(), ask)
        for i, (orientation, cut) in enumerate(order):
            if ask.how_far == "all":
                yield Stage(f"{orientation.name} {cut.name}")
            yield CutDone((orientation.name, cut.name), self._result(prepared, orientation, cut))
            if i == 0 and ask.focus is not None and ask.how_far == "cuts":
                yield from self._follow(orientation, cut)

    def _rest(self, scene_file: SceneFile, prepared: Prepared) -> Iterator[Body]:
        """The cut that is looked at; pictures, tightest first; links and swings; the second opinion of everything."""
        placed = {(p.orientation.name, p.cut.name): p for p in placed_cuts(prepared)}
        ranked = [(r.orientation, r.cut) for r in tightest_first(tuple(self._results.values()))]
        wanted = self._focus  # of the question, or picked while the cuts came
        focus = wanted if wanted in placed else ranked[0] if ranked else None
        self._focus = focus
        if focus is not None:
            yield from self._views(placed[focus])
        yield Stage("links and swings")
        keys = yield from self._moves(scene_file, prepared)
        yield Stage("the second opinion")
        results: list[Result] = []
        for orientation, cut in scene_file.scene.cuts():
            found = self._result(prepared, orientation, cut, with_opinion=True)
            results.append(found)
            yield CutDone((orientation.name, cut.name), found)
        again = moves_of(scene_file, prepared, second_opinion=True)
        for move_key, move in zip(keys, again, strict=False):
            results.append(move)
            yield MoveDone(move_key, move)
        check = whole_check(scene_file, results)
        yield Whole(check.verdict, check.second_opinion, check.not_checked, check.work_offsets)
        yield Stage("what stands round the tool")
        if self._focus in placed:  # something else may be looked at by now
            yield from self._plots(placed[self._focus])
            yield from self._offers()
        yield Stage("pictures")
        for key in ranked:
            yield from self._card(placed[key])
        yield from self._advice()
        yield Stage("dials")
        self._is_checking = False
        yield from self._faces()
        yield Stage("", "all")

    def _advice(self) -> Iterator[Body]:
        """What would help at the tightest place, for the headline."""
        bench, ranked = self._bench_now(), tightest_first(tuple(self._results.values()))
        if bench is None or not ranked or ranked[0].verdict in (Verdict.CLEAR, Verdict.NOT_CHECKED):
            return
        found = []
        with contextlib.suppress(TightsideError):  # no advice is worth a fault
            for change in alternatives(bench, ranked[0].orientation):
                found.append(change)
                yield Stage("what would help")
        yield Found("advice", ranked[0].orientation, advice(found))

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
        self._swings = {}
        for key, move in zip(keys, moves_of(scene_file, prepared), strict=True):
            self._swings[key] = move
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
        """What is shown of one cut, or of one swing; parts and changes are answered beside that."""
        if look.panel in PANELS:
            yield from self._parts.look(look, self._bench_of_text())
            return
        if look.panel in DRAFT_PANELS:
            yield from self._new_setup.look(look)
            return
        if self._prepared is None:
            return
        if look.move is not None:
            yield from self._swept(look.move)
            return
        found = [p for p in placed_cuts(self._prepared) if (p.orientation.name, p.cut.name) == look.focus]
        if not found:
            return
        if look.focus not in self._results:
            self._focus = look.focus  # it is shown once the cuts are there
            return
        if look.panel == "round_tool":
            height = look.about if isinstance(look.about, float) else None
            yield from self._round_tool(found[0], height)
        elif look.panel == "room":
            yield self._room(found[0], str(look.about))
        elif look.panel == "faces":
            assert isinstance(look.about, DialsWanted), "what is wanted of the dials comes along"
            self._focus, self._dials = look.focus, look.about
            yield from self._offers()
            yield from self._faces_unless_checking()
        else:
            self._focus = look.focus
            yield from self._views(found[0])
            if self._focus == look.focus:
                yield from self._plots(found[0])
            if self._focus == look.focus:
                yield from self._offers()
                yield from self._faces_unless_checking()

    def _views(self, placed: PlacedCut) -> Iterator[Body]:
        """What the tight view and the bar show."""
        key, result = self._of(placed)
        assert self._scene_file is not None, "a scene was read before it is shown"
        try:
            yield Shapes(key, place_of(*self._where(placed), result, meshes=self._mesh_cache()), "look")
        except TightsideError as error:
            yield NoShapes(key, error.message)
        yield Found("uses_up", key, uses_up(self._scene_file.scene, result))

    def _card(self, placed: PlacedCut) -> Iterator[Body]:
        """The picture of a cut, unless it would be the one that was sent last."""
        key, result = self._of(placed)
        around = placed.prepared.surroundings  # the same object as long as all is equal that is drawn
        shown = (around, placed.orientation.angles_deg, placed.cut, placed.tool, result.verdict)
        if key in self._cards and self._cards[key][0] is around and self._cards[key] == shown:
            return
        self._cards[key] = shown
        try:
            yield Shapes(key, card_place(*self._where(placed), result, meshes=self._mesh_cache()), "card")
        except TightsideError as error:
            yield NoShapes(key, error.message)

    def _follow(self, orientation: Orientation, cut: Cut) -> Iterator[Body]:
        """Where everything stands now, while a number is turned."""
        assert self._prepared is not None and self._scene_file is not None, "a scene was read before it is shown"
        key = (orientation.name, cut.name)
        result = self._results[key]
        try:
            place = following_place(self._prepared, orientation, cut, result, meshes=self._mesh_cache())
            yield Shapes(key, place, "follow")
        except TightsideError as error:
            yield NoShapes(key, error.message)
        yield Found("uses_up", key, uses_up(self._scene_file.scene, result))

    def _room(self, placed: PlacedCut, name: str) -> Body:
        """What a body has for room, which the report of the cut does not tell."""
        told = room_of(*self._where(placed), name)
        return Found("room", self._of(placed)[0], (name, told))

    def _swept(self, key: MoveKey) -> Iterator[Body]:
        """The room that a swing sweeps."""
        assert self._prepared is not None, "a scene was read before it is shown"
        report = self._swings.get(key)
        try:
            _, swings = self._prepared.between()
            at = next(i for i, b in enumerate(swings) if (b.start, b.end) == key[1:])
            assert isinstance(report, SwingReport), "a swing that is laid out has a report"
            yield Shapes(key, swept_place(self._prepared, at, report, meshes=self._mesh_cache()), "look")
        except TightsideError as error:
            yield NoShapes(key, error.message)
        except StopIteration:
            yield NoShapes(key, "it is not there any more")

    def _plots(self, placed: PlacedCut) -> Iterator[Body]:
        """What the side plots show, and how far the part may be off."""
        key, result = self._of(placed)
        report = result if isinstance(result, CutReport) else None
        try:
            for plot in side_on(placed, report):
                yield Found("side_on", key, plot)
        except TightsideError as error:
            yield Found("side_on", key, error.message)
        yield from self._round_tool(placed, None)
        answer = part_off(placed)
        yield Found("part_off", key, (part_off_line(answer), part_off_line(answer, IN_INCH)))

    def _round_tool(self, placed: PlacedCut, height: float | None) -> Iterator[Body]:
        key, result = self._of(placed)
        report = result if isinstance(result, CutReport) else None
        try:
            for plot in round_the_tool(placed, report, height):
                yield Found("round_tool", key, plot)
        except TightsideError as error:
            yield Found("round_tool", key, error.message)

    # ---- dials ----

    def _bench_now(self) -> Bench | None:
        """The scene to turn dials of, as the text is: numbers that are being turned have been let go by then."""
        return None if self._focus is None else self._bench_of_text()

    def _bench_of_text(self) -> Bench | None:
        """The same, whatever is looked at; None where the text is at fault."""
        if self._live is not None and (self._bench is None or self._bench.live is not self._live):
            try:
                self._bench = Bench(self._live)
            except SceneFileError:
                return None
        return self._bench if self._live is not None else None

    def _offers(self) -> Iterator[Body]:
        """Which dials there are at the cut that is looked at."""
        bench, focus = self._bench_now(), self._focus
        if bench is not None and focus is not None:
            try:
                yield Found("offers", focus, dial_offers(bench, focus, self._dials.added))
            except TightsideError as error:
                yield Found("offers", focus, error.message)

    def _faces_unless_checking(self) -> Iterator[Body]:
        """Faces take long: while a check is under way they come at its end."""
        if not self._is_checking:
            yield Stage("dials")
            yield from self._faces()
            yield Stage("", "all")

    def _faces(self) -> Iterator[Body]:
        """What every dial shows, the ones that are wanted first; given up when other faces are wanted."""
        bench, focus, dials = self._bench_now(), self._focus, self._dials
        if bench is None or focus is None:
            return
        try:
            offers = dial_offers(bench, focus, dials.added)
        except TightsideError:
            return  # it was said with the offers
        order = {key: i for i, key in enumerate(dials.first)}
        for offer in sorted(offers, key=lambda o: order.get(o.key, len(order))):
            for face in dial_face(bench, offer, dials.scope, focus):
                if self._focus != focus or self._dials != dials or self._bench is not bench:
                    return
                yield Found("face", focus, face)

    def _of(self, placed: PlacedCut) -> tuple[CutKey, CutResult]:
        key = (placed.orientation.name, placed.cut.name)
        return key, self._results[key]

    def _where(self, placed: PlacedCut) -> tuple[Prepared, Orientation, Cut]:
        return placed.prepared, placed.orientation, placed.cut

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
