"""Tool and holder models -> tools of the core, each with the holder that it names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from app.scenes import tool_model as model
from app.scenes.catalogues import Catalogues
from app.scenes.document import Document, nearest
from app.scenes.located import MapNode, Node
from app.scenes.origins import Mark, fault_of
from app.scenes.prelude import opened
from app.scenes.reading import Reading, read_model
from app.scenes.rows import Row
from app.scenes.side_files import SideFileFault, text_file
from app.scenes.sources import Sources
from kinematics.scene import Holder, HolderStep, OutlineStep, Tool
from kinematics.tool_faults import narrow_holder_faults, tool_faults

HOLDER_SUFFIX = ".holder.yaml"


class HolderRack:
    """The holders of a scene: its own, those it takes from the library, and those from files beside it."""

    def __init__(self, reading: Reading, catalogues: Catalogues, sources: Sources, folder: Path) -> None:
        self.reading = reading
        self.catalogues = catalogues
        self.sources = sources
        self.folder = folder
        self.own: dict[str, Holder | None] = {}
        self.taken: dict[str, Holder | None] = {}

    def add_own(self, holders: dict[str, model.Holder | str], node: Node | None) -> None:
        """The holders of the scene itself; one that is given as a text is a name or file of elsewhere."""
        if not isinstance(node, MapNode):
            return
        for entry in node.entries:
            name, holder = entry.key.text, holders.get(entry.key.text)
            if isinstance(holder, str):
                taken = self._from_elsewhere(holder, entry.value)
                self.own[name] = None if taken is None else _renamed(taken, name)
            else:
                self.own[name] = None if holder is None else holder_of(name, holder, self.reading.document, entry.value)

    def all(self) -> tuple[Holder, ...]:
        """Every holder that is whole, own ones first."""
        return tuple(holder for holder in (*self.own.values(), *self.taken.values()) if holder is not None)

    def find(self, name: str, node: Node) -> Holder | None:
        """The holder that a tool names; tells an unknown one at the node. None also for a faulty one."""
        if name in self.own:
            return self.own[name]
        return self._from_elsewhere(name, node)

    def _from_elsewhere(self, name: str, node: Node) -> Holder | None:
        if name not in self.taken:
            self.taken[name] = self._read(name, node)
        return self.taken[name]

    def _file(self, name: str) -> tuple[Path, Document, bytes]:
        file, data = text_file(name, self.folder)
        return file, Document.of_bytes(str(file), data, "holder"), data

    def _read(self, name: str, node: Node) -> Holder | None:
        kept = self.reading.kept
        if name.endswith((".yaml", ".yml")) or "/" in name:
            try:
                file, document, data = kept.once(("holder file", name), lambda: self._file(name))
            except SideFileFault as fault:
                self.reading.tell(node, str(fault))
                return None
            name = file.name.removesuffix(HOLDER_SUFFIX)
        else:
            found = kept.once(("holder", name), lambda: self.catalogues.find("holder", name))
            if found is None:
                known = (*self.own, *self.catalogues.names("holder"))
                near = nearest(name, known)
                hint = f"nearest: {near}" if near else f"holders of this scene: {', '.join(self.own) or 'none'}"
                self.reading.tell(node, f"no holder '{name}' in this scene or in the library; {hint}")
                return None
            try:
                document, data = kept.once(("document", found.file), lambda: self.catalogues.document(found))
            except SideFileFault as fault:
                self.reading.tell(node, str(fault))
                return None
        self.sources.add("holder", name, data, document.file)
        reading = opened(document, self.reading.faults, self.reading.assumed, kept)
        if reading is None or document.root is None:
            return None
        holder = read_model(model.HolderFile, document.root, reading)
        return holder_of(name, holder, document, document.root) if holder else None


def holder_of(name: str, holder: model.Holder, document: Document, node: Node) -> Holder:
    """The holder of a model, read from a node of a document."""
    steps = tuple(HolderStep(row.d1, row.d2, row.length, row.word) for row in holder.profile)
    return Holder(name, steps, holder.title or "", holder.grip, Mark(document, node), holder.shanks, holder.interface)


def _renamed(holder: Holder, name: str) -> Holder:
    return replace(holder, name=name)


def build_tools(tools: tuple[model.Tool, ...], rack: HolderRack, reading: Reading) -> tuple[Tool, ...]:
    """The tools whose holder is known. Tells everything that is wrong with their numbers."""
    built: list[Tool] = []
    told: set[str] = set()
    for tool in tools:
        node = tool.node.get("holder")
        assert node is not None, "a tool without a holder is a fault of its model"
        holder = rack.find(tool.holder, node)
        if holder is None:
            continue
        one = _tool(tool, holder, Mark(reading.document, tool.node))
        faults = tool_faults(one) or tuple(narrow_holder_faults(one))
        for error in faults:
            fault = fault_of(error)
            if str(fault) not in told:  # two tools in one faulty holder tell it once
                told.add(str(fault))
                reading.faults.append(fault)
        if not faults:
            _assume(one, reading.assume)
            built.append(one)
    return tuple(built)


def _tool(tool: model.Tool, holder: Holder, mark: Mark) -> Tool:
    return Tool(
        id=tool.id,
        kind=tool.kind,
        stick_out=tool.stick_out,
        holder=holder,
        d=tool.d,
        flute=tool.flute,
        shank=tool.shank,
        neck=(tool.neck.d, tool.neck.to) if tool.neck else None,
        corner_radius=tool.corner_radius,
        point_deg=tool.point_deg,
        tip_d=tool.tip_d,
        taper_deg=tool.taper_deg,
        flank_deg=tool.flank_deg,
        overall=tool.overall,
        outline=tuple(_outline_step(row) for row in tool.outline or ()),
        is_stick_out_measured=bool(tool.stick_out_measured),
        origin=mark,
    )


def _outline_step(row: Row) -> OutlineStep:
    return OutlineStep(row.d1, row.d2, row.length, row.word)  # type: ignore[arg-type]  # the model allows these words only


def _assume(tool: Tool, assume: Callable[[str], None]) -> None:
    """What the file did not say about a tool and what is taken instead."""
    if tool.holder.grip is None:
        assume(f"{tool.holder.name}: least grip 2 x shank (default)")
    if tool.kind == "step drill" and not tool.outline:
        assume(f"{tool.id}: step drill without outline, full diameter from the point up")
    if not tool.outline and tool.overall is None:
        assume(f"{tool.id}: overall length not given, its grip is not checked")
