"""A scene file -> the frozen scene of the core, or all of its faults at once.

Text -> located tree -> models -> scene. What can be built from faulty files is built and checked on,
so that a wrong name and a wrong number are told together; the scene itself is only handed out if
there is no fault at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.scenes import body_model, machine_model, scene_model
from app.scenes.build_bodies import BodyBuilder
from app.scenes.build_cuts import CutBuilder
from app.scenes.build_machine import build_machine
from app.scenes.build_tools import HolderRack, build_tools
from app.scenes.catalogues import Catalogues
from app.scenes.document import Document, nearest
from app.scenes.faults import Fault, SceneFileError
from app.scenes.kept import Kept
from app.scenes.located import MAX_BYTES, MapNode, Node, ScalarNode
from app.scenes.names import NameUse, name_faults, names_in
from app.scenes.origins import Mark, fault_of
from app.scenes.prelude import inline, opened
from app.scenes.reading import Reading, read_model
from app.scenes.references import References
from app.scenes.side_files import SideFileFault, names_in_folder, reason_of, text_file
from app.scenes.sources import SourcePart, Sources
from kinematics import scene as core
from kinematics.errors import TightsideError
from kinematics.machine import Machine, P
from kinematics.moves.cuts import check_cut
from kinematics.placement import place_scene, place_state

MACHINE_SUFFIX = ".machine.yaml"


@dataclass(frozen=True, slots=True)
class SceneFile:
    """A scene and the file that it was read from.

    Parameters
    ----------
    input_sha256 : checksum over the scene's text and every file that it uses (see `sources.py`).
    files : every file that was read, the scene first.
    noted : what is worth knowing at a place of the input and is no fault (an open mesh, say).
    parts : the same files with their roles and checksums, in the order of `input_sha256`.
    units : of the lengths in the scene's text, mm or inch.
    """

    scene: core.Scene
    path: Path
    text: str
    input_sha256: str
    files: tuple[Path, ...]
    noted: tuple[Fault, ...]
    parts: tuple[SourcePart, ...]
    units: str

    @property
    def notes(self) -> tuple[str, ...]:
        """What is noted, in words: the body, then what there is to know about it."""
        return tuple(f"{note.path}: {note.message}" for note in self.noted)


def read_scene(path: Path, *, catalogues: Catalogues | None = None) -> SceneFile:
    """Read a scene file. Raises SceneFileError with everything that is wrong, sorted by position."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        beside = names_in_folder(path.parent)
        near = nearest(path.name, [name for name in beside if name.endswith((".yaml", ".yml"))])
        hint = f"; nearest: {near}" if near else ""
        raise SceneFileError(
            [Fault(str(path), 1, 1, "", f"cannot be read ({reason_of(error)}); expected a scene file{hint}")]
        ) from error
    document = Document.of_bytes(str(path), data, "scene")
    return read_document(document, data, path, catalogues or Catalogues(), Kept())


def read_scene_text(text: str, path: Path, *, catalogues: Catalogues | None = None) -> SceneFile:
    """Read a scene from text that is not saved yet; `path` is where it will stand."""
    return read_document(Document(str(path), text, "scene"), text.encode(), path, catalogues or Catalogues(), Kept())


def read_document(document: Document, data: bytes, path: Path, catalogues: Catalogues, kept: Kept) -> SceneFile:
    """Read a scene from its tree. `data`: the bytes of its text; `kept`: of the same tree with other numbers."""
    read = _SceneReader(document, path, catalogues, kept)
    scene = read.scene()
    if read.faults or scene is None:
        assert read.faults, "a scene that could not be built has a fault"
        raise SceneFileError(read.faults, str(path))
    files = (path, *read.sources.files.values())
    read.sources.add("scene", "", data, str(path))
    noted, sources = tuple(sorted(read.noted)), read.sources
    return SceneFile(scene, path, document.text, sources.checksum(), files, noted, sources.ordered(), read.units)


class _SceneReader:
    """Reads one scene; collects faults, assumptions, notes and files on the way."""

    def __init__(self, document: Document, path: Path, catalogues: Catalogues, kept: Kept) -> None:
        self.document = document
        self.folder = path.parent
        self.catalogues = catalogues
        self.kept = kept
        self.faults: list[Fault] = []
        self.assumed: list[str] = []
        self.noted: list[Fault] = []
        self.sources = Sources()
        self.hardware: dict[str, object] = {}
        self.machine_names: tuple[NameUse, ...] | None = None  # of a machine in a file of its own
        self.units = "mm"

    def scene(self) -> core.Scene | None:
        """The scene as far as it can be built; it is whole only if there are no faults."""
        reading = opened(self.document, self.faults, self.assumed, self.kept)
        root = self.document.root
        if reading is None or not isinstance(root, MapNode):
            return None
        self.units = reading.units
        machine = self._machine(root, reading)
        reading.axis_names = self._axis_names(root)
        model = read_model(scene_model.Scene, root, reading)
        if model is None:
            return None
        own_names = self._own_names()
        uses = (*(self.machine_names or ()), *own_names)
        builder = self._builder(reading, self.folder)
        bodies = builder.bodies(model.bodies or (), None)
        workpieces = self._workpieces(model, builder)
        rack = HolderRack(reading, self.catalogues, self.sources, self.folder)
        rack.add_own(dict(model.holders or {}), root.get("holders"))
        tools = build_tools(model.tools or (), rack, reading)
        allowed = builder.allowed
        cutter = CutBuilder(reading, self.sources, self.folder, allowed, model.retract, model.leave)
        orientations = cutter.orientations(model.orientations or ())
        references = References(reading, uses, machine.frames if machine else None)
        references.bodies((*(machine.bodies if machine else ()), *bodies), len(workpieces))
        for workpiece in workpieces:
            references.zero(workpiece, bodies)
            for state in workpiece.states:
                references.state(state.name, state.bodies)
        references.cuts(orientations, workpieces)
        references.after(workpieces, tuple(f"{use.owner}/{use.name}" for use in own_names if use.what == "cut"))
        if machine is None or model.title is None:
            return None
        scene = core.Scene(
            title=model.title,
            machine=machine,
            workpieces=workpieces,
            bodies=bodies,
            holders=rack.all(),
            tools=tools,
            orientations=orientations,
            keep_off=self._keep_off(model.keep_off, reading),
            setup_errors=self._setup_errors(model.setup_errors, reading),
            lift=self._lift(model.swings, reading),
            notes=model.notes or (),
            assumed=tuple(self.assumed),
            origin=Mark(self.document, root),
        )
        self._check_geometry(scene)
        return scene

    def _own_names(self) -> tuple[NameUse, ...]:
        """The names of the scene; tells what is wrong with all names. No number is a name."""
        kept: tuple[NameUse, ...] | None = self.kept.made("names")
        if kept is not None:
            return kept
        own = tuple(names_in(self.document))
        faults = list(name_faults([*(self.machine_names or ()), *own]))
        self.faults.extend(faults)
        if not faults:
            self.kept.keep("names", own)
        return own

    # --- the machine ---

    def _machine(self, root: MapNode, reading: Reading) -> Machine | None:
        node = root.get("machine")
        if isinstance(node, MapNode):
            return self._built_machine("machine", node, inline(self.document, node, reading), self.folder)
        kept: _KeptMachine | None = self.kept.made("machine")
        if kept is not None:
            return kept.take(self)
        machine = self._named_machine(node, reading)
        if machine is not None and not self.faults:
            self.kept.keep("machine", _KeptMachine.of(machine, self))
        return machine

    def _named_machine(self, node: Node | None, reading: Reading) -> Machine | None:
        if not isinstance(node, ScalarNode) or not isinstance(node.value, str | float) or not node.text.strip():
            if node is not None:
                reading.tell(node, "names no machine; expected the name of one, a file, or its keys")
            return None
        found = self._machine_file(node, reading)
        if found is None:
            return None
        name, document, data = found
        self.sources.add("machine", name, data, document.file)
        self.machine_names = tuple(names_in(document)) if isinstance(document.root, MapNode) else None
        own = opened(document, self.faults, self.assumed, self.kept)
        if own is None or not isinstance(document.root, MapNode):
            return None
        return self._built_machine(name, document.root, own, Path(document.file).parent)

    def _machine_file(self, node: ScalarNode, reading: Reading) -> tuple[str, Document, bytes] | None:
        name = node.text
        if name.endswith((".yaml", ".yml")) or "/" in name:
            try:
                file, data = text_file(name, self.folder)
            except SideFileFault as fault:
                reading.tell(node, str(fault))
                return None
            return file.name.removesuffix(MACHINE_SUFFIX), Document.of_bytes(str(file), data, "machine"), data
        found = self.catalogues.find("machine", name)
        if found is None:
            known = self.catalogues.names("machine")
            near = nearest(name, known)
            hint = f"nearest: {near}" if near else f"machines: {', '.join(known) or 'none'}"
            reading.tell(node, f"no machine '{name}' in the library; {hint}")
            return None
        try:
            document, data = self.catalogues.document(found)
        except SideFileFault as fault:
            reading.tell(node, str(fault))
            return None
        return name, document, data

    def _built_machine(self, name: str, node: MapNode, reading: Reading, folder: Path) -> Machine | None:
        model = read_model(machine_model.Machine, node, reading)
        return None if model is None else build_machine(model, name, node, self._builder(reading, folder))

    def _axis_names(self, root: MapNode) -> tuple[str, ...] | None:
        """The names of the table axes, also of a machine that is faulty elsewhere."""
        uses = self.machine_names
        if uses is None:
            uses = tuple(names_in(self.document)) if isinstance(root.get("machine"), MapNode) else None
        return None if uses is None else tuple(use.name for use in uses if use.what == "table axis")

    def _builder(self, reading: Reading, folder: Path) -> BodyBuilder:
        allowed = (self.folder, folder, self.catalogues.library)
        return BodyBuilder(
            reading,
            self.catalogues,
            self.sources,
            folder,
            allowed,
            self.noted,
            self.hardware,  # type: ignore[arg-type]  # filled by builders only
        )

    # --- workpieces ---

    def _workpieces(self, model: scene_model.Scene, builder: BodyBuilder) -> tuple[core.Workpiece, ...]:
        models = model.workpieces if model.workpieces is not None else (model.workpiece,) if model.workpiece else ()
        found = []
        for one in models:
            if model.workpieces is not None and one.name is None and len(models) > 1:
                builder.reading.tell(
                    one.node, "is missing; expected a name, since there are several workpieces", "name"
                )
            if (workpiece := self._workpiece(one, builder)) is not None:
                found.append(workpiece)
        return tuple(found)

    def _workpiece(self, model: scene_model.Workpiece, builder: BodyBuilder) -> core.Workpiece | None:
        if model.zero is None:
            return None
        zero = builder.placement(model.zero, None)
        if zero is None:
            return None
        states = tuple(self._state(name, state, model, builder) for name, state in (model.states or {}).items())
        return core.Workpiece(model.name, zero, states, Mark(self.document, model.node))

    def _state(
        self,
        name: str,
        state: scene_model.State | tuple[body_model.Body, ...],
        workpiece: scene_model.Workpiece,
        builder: BodyBuilder,
    ) -> core.State:
        states = workpiece.node.get("states")
        node = states.get(name) if isinstance(states, MapNode) else None
        models = state if isinstance(state, tuple) else state.bodies
        after = () if isinstance(state, tuple) else tuple(_split_cut(text) for text in state.after or ())
        return core.State(name, builder.bodies(models, P), after, Mark(self.document, node or workpiece.node))

    # --- numbers of the scene ---

    def _keep_off(self, model: scene_model.KeepOff | None, reading: Reading) -> core.KeepOff:
        default = core.KeepOff()
        cut, swing = (model.cut, model.swing) if model else (None, None)
        if cut is None:
            reading.assume(f"keep-off of cuts {default.cutter:g} (default)")
        if swing is None:
            reading.assume(f"keep-off of swings {default.swing:g} (default)")
        own_swing = default.swing if swing is None else swing
        if isinstance(cut, scene_model.CutKeepOff):
            return core.KeepOff(cut.cutter, cut.holder, own_swing)
        return (
            core.KeepOff(default.cutter, default.holder, own_swing)
            if cut is None
            else core.KeepOff(cut, cut, own_swing)
        )

    def _setup_errors(self, model: scene_model.SetupErrors | None, reading: Reading) -> core.SetupErrors:
        default = core.SetupErrors()
        values: dict[str, float] = {}
        for key in ("location", "body_model", "diameters", "stick_out", "tilt_deg"):
            given = getattr(model, key) if model else None
            values[key] = getattr(default, key) if given is None else given
            if given is None:
                reading.assume(f"{_WORDS.get(key, key)} {values[key]:g}{' deg' if key == 'tilt_deg' else ''} (default)")
        return core.SetupErrors(**values, arm=model.arm if model else None)

    def _lift(self, model: scene_model.Swings | None, reading: Reading) -> core.Lift:
        lift = model.lift if model else None
        if lift is None:
            reading.assume("lift between orientations: top of travel (default)")
            return core.Lift()
        if isinstance(lift, scene_model.GaugeLift):
            return core.Lift("gauge_z", lift.gauge_z)
        return core.Lift(lift)  # type: ignore[arg-type]  # the model allows these words only

    # --- what only geometry can tell ---

    def _check_geometry(self, scene: core.Scene) -> None:
        """What the cuts say of their tools; of a scene that is whole so far, also what placing its bodies says."""
        tools = {tool.id for tool in scene.tools}
        is_whole = not self.faults
        for orientation, cut in scene.cuts():
            if cut.tool in tools:
                self._check_cut(scene, orientation, cut)
        standing = _standing(scene)
        if not is_whole or self.kept.made("standing") == standing:
            return
        try:
            placed = place_scene(scene)
            for workpiece in scene.workpieces:
                for state in workpiece.states:
                    place_state(state, placed.zero_of(scene, workpiece), scene.machine)
            self.kept.keep("standing", standing)
        except TightsideError as error:
            self.faults.append(fault_of(error, file=self.document.file))

    def _check_cut(self, scene: core.Scene, orientation: core.Orientation, cut: core.Cut) -> None:
        key = ("cut", orientation.name, cut.name)
        made_of = (cut, scene.tool(cut.tool), scene.machine.spindle_nose)
        if self.kept.made(key) == made_of:  # that cut was made with that tool before
            return
        try:
            check_cut(scene, cut)
            self.kept.keep(key, made_of)
        except TightsideError as error:
            self.faults.append(fault_of(error, file=self.document.file))


@dataclass(frozen=True, slots=True)
class _KeptMachine:
    """A machine from a file, with all that its reading has told; read once, it stays the same object."""

    machine: Machine
    names: tuple[NameUse, ...] | None
    assumed: tuple[str, ...]
    noted: tuple[Fault, ...]
    sources: Sources

    @classmethod
    def of(cls, machine: Machine, reader: _SceneReader) -> _KeptMachine:
        own = reader.sources.copy()
        return cls(machine, reader.machine_names, tuple(reader.assumed), tuple(reader.noted), own)

    def take(self, reader: _SceneReader) -> Machine:
        """Tell the reader what it would have been told."""
        reader.machine_names = self.names
        reader.assumed.extend(self.assumed)
        reader.noted.extend(self.noted)
        reader.sources.add_all(self.sources)
        return self.machine


def _standing(scene: core.Scene) -> tuple[object, ...]:
    """What stands on what, and which way: all that a placement can be wrong in, without the numbers that cannot."""
    groups = [scene.machine.bodies, scene.bodies, *(state.bodies for w in scene.workpieces for state in w.states)]
    return (
        tuple(_support(workpiece.zero) for workpiece in scene.workpieces),
        *(tuple((b.name, b.group, b.shape is None, _support(b.placement)) for b in bodies) for bodies in groups),
    )


def _support(placement: core.Placement) -> tuple[object, ...]:
    return placement.rides_on, placement.face, placement.axis


_WORDS = {"body_model": "body model", "stick_out": "stick-out error", "tilt_deg": "tilt error"}


def _split_cut(text: str) -> tuple[str, str]:
    """V1/profile as orientation and cut."""
    orientation, _, cut = text.partition("/")
    return orientation, cut
