"""Names: what they may not contain, which are reserved, and that each names one thing only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from app.scenes.document import Document
from app.scenes.faults import Fault
from app.scenes.located import ListNode, MapNode, Node, ScalarNode, short

FORBIDDEN = "/#,:[]{}"
RESERVED = ("bed", "table", "head", "P", "home", "cutter", "neck", "shank", "holder", "spindle nose")


@dataclass(frozen=True, slots=True)
class NameUse:
    """A name where it is given. Names of the same scope must differ; scope "" is the whole set-up."""

    what: str
    scope: str
    node: Node
    document: Document
    owner: str = ""

    @property
    def name(self) -> str:
        """The name; empty where it is missing or faulty, which is told elsewhere (`node` is then its owner)."""
        return self.node.text if isinstance(self.node, ScalarNode) else ""


def names_in(document: Document) -> Iterator[NameUse]:
    """Every name that a scene or machine file gives to something."""
    root = document.root
    if not isinstance(root, MapNode):
        return
    if document.kind == "machine":
        yield from _machine_names(document, root)
        return
    machine = root.get("machine")
    if isinstance(machine, MapNode):
        yield from _machine_names(document, machine)
    yield from _body_names(document, root.get("bodies"), "body")
    for key in ("workpiece", "workpieces"):
        for workpiece in _items(root.get(key)):
            yield from _workpiece_names(document, workpiece)
    holders = root.get("holders")
    if isinstance(holders, MapNode):
        for entry in holders.entries:
            yield NameUse("holder", "", entry.key, document)
    for tool in _items(root.get("tools")):
        yield from _named(document, tool, "id", "tool", "")
    for orientation in _items(root.get("orientations")):
        yield from _named(document, orientation, "name", "orientation", "")
        owner = next((use.name for use in _named(document, orientation, "name", "", "")), "")
        for cut in _items(orientation.get("cuts")):
            yield from _named(document, cut, "name", "cut", f"cut of {owner}", owner)


def _machine_names(document: Document, machine: MapNode) -> Iterator[NameUse]:
    for axis in _items(machine.get("table_axes")):
        yield from _named(document, axis, "name", "table axis", "")
        yield from _named(document, axis, "carries", "frame", "")
    yield from _body_names(document, machine.get("bodies"), "body of the machine")


def _workpiece_names(document: Document, workpiece: MapNode) -> Iterator[NameUse]:
    yield from _named(document, workpiece, "name", "workpiece", "")
    owner = next((use.name for use in _named(document, workpiece, "name", "", "")), "")
    states = workpiece.get("states")
    if isinstance(states, MapNode):
        for entry in states.entries:
            yield NameUse("state", state_scope(owner), entry.key, document)
            bodies = entry.value.get("bodies") if isinstance(entry.value, MapNode) else entry.value
            yield from _body_names(document, bodies, f"body of state {entry.key.text}")


def _body_names(document: Document, bodies: Node | None, what: str) -> Iterator[NameUse]:
    for body in _items(bodies):
        yield from _named(document, body, "name", what, "")
        yield from _body_names(document, body.get("bodies"), what)


def _named(document: Document, holder: MapNode, key: str, what: str, scope: str, owner: str = "") -> Iterator[NameUse]:
    node = holder.get(key)
    is_readable = isinstance(node, ScalarNode) and not node.is_broken and isinstance(node.value, str | float)
    yield NameUse(what, scope, node if is_readable and node is not None else holder, document, owner)


def _items(node: Node | None) -> Iterator[MapNode]:
    items = node.items if isinstance(node, ListNode) else (node,)
    yield from (item for item in items if isinstance(item, MapNode))


def state_scope(workpiece: str | None) -> str:
    """The scope of the names of a workpiece's states."""
    return f"state of {workpiece or ''}"


def name_faults(uses: list[NameUse]) -> Iterator[Fault]:
    """What is wrong with the names of a set-up; a name that is given twice is told where it comes second.

    The names of the machine come first, then those of the scene in the order of the file.
    """
    frames = {use.name for use in uses if use.what == "frame"}
    first: dict[tuple[str, str], NameUse] = {}
    for use in sorted(uses, key=lambda use: (use.document.kind != "machine", use.node.start)):
        if not use.name:
            continue
        message = _spelling_fault(use)
        if message is None and use.what != "frame" and use.name in frames:
            message = f"the name '{use.name}' is that of a frame of the machine; expected another name"
        if message is None and (other := first.setdefault((use.scope, use.name), use)) is not use:
            line, _ = other.document.position(other.node.start)
            where = "" if other.document is use.document else f" of {other.document.file}"
            message = f"the name '{use.name}' is taken by the {other.what} in line {line}{where}; expected another name"
        if message is not None:
            path = use.document.path_of(use.node) or use.name
            yield use.document.fault_at(use.node.start, path, message)


def _spelling_fault(use: NameUse) -> str | None:
    name = short(use.name)
    found = sorted({c for c in use.name if c in FORBIDDEN or not c.isprintable()})
    if found:
        listed = " ".join(c if c.isprintable() else repr(c).strip("'") for c in found)
        return f"the name '{name}' has {listed} in it; expected a name without any of {' '.join(FORBIDDEN)}"
    if name != name.strip():
        return f"the name '{name}' begins or ends with a blank; expected '{name.strip()}'"
    if name in RESERVED:
        return (
            f"the name '{name}' is reserved ({', '.join(RESERVED)} have a meaning of their own); expected another name"
        )
    return None
