"""One way to name a number: ``riser/h``, ``T4/stick_out``, ``V6/drain spot/depth``.

1. Names are joined by ``/``, the key comes last. A body is named by its own name alone, wherever it
   stands in the file; a cut by its orientation and its own name.
2. The key of the shape or of the feature (cylinder, hole, ...) is left out, other nested keys stay.
3. Entries of points are x, y, z, all other entries are counted from 1.
4. Scene keys start the path: ``keep_off/cut``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from app.scenes.located import ListNode, MapNode, Node, ScalarNode

Kind = Literal["scene", "machine", "holder", "hardware"]
Steps = tuple[str, ...]

SHAPE_KEYS = ("box", "cylinder", "cone", "revolve", "screw", "mesh")
FEATURE_KEYS = ("hole", "pocket", "slot", "profile", "face", "path")
_POINTS = frozenset({"at", "from", "to", "origin", "axis", "along"})
_POINT_OF = {"control": "zero"}  # `zero` is a point there, and places P in a workpiece
_LISTS_OF_POINTS = {"points", "outline"}


def named_nodes(root: Node, kind: Kind) -> Iterator[tuple[Steps, Node]]:
    """Every value below the root with its path, objects before what they hold."""
    if not isinstance(root, MapNode):
        return
    for entry in root.entries:
        key, value = entry.key.text, entry.value
        if kind == "scene":
            yield from _scene_value(key, value)
        elif kind == "machine":
            yield from _machine_value(key, value, ())
        else:
            yield from _value((key,), key, value, outer="")


def joined(steps: Steps) -> str:
    """The path as text."""
    return "/".join(steps)


def _scene_value(key: str, value: Node) -> Iterator[tuple[Steps, Node]]:
    if key == "machine" and isinstance(value, MapNode):
        yield ("machine",), value
        for entry in value.entries:
            yield from _machine_value(entry.key.text, entry.value, ("machine",))
    elif key == "bodies":
        yield from _bodies(key, value)
    elif key == "holders" and isinstance(value, MapNode):
        yield (key,), value
        for entry in value.entries:
            yield from _object((entry.key.text,), entry.value)
    elif key == "tools":
        for steps, tool in _entries(key, value, "id"):
            yield from _tool(steps, tool)
    elif key == "orientations":
        for steps, orientation in _entries(key, value, "name"):
            yield from _orientation(steps, orientation)
    elif key == "workpiece":
        yield from _workpiece((key,), value)
    elif key == "workpieces":
        for steps, workpiece in _entries(key, value, "name"):
            yield from _workpiece(steps, workpiece)
    else:
        yield from _value((key,), key, value, outer="")


def _machine_value(key: str, value: Node, prefix: Steps) -> Iterator[tuple[Steps, Node]]:
    if key == "bodies":
        yield from _bodies(key, value)
    elif key == "table_axes":
        for steps, axis in _entries(key, value, "name"):
            yield from _object(steps, axis)
    else:
        yield from _value((*prefix, key), key, value, outer="")


def _entries(key: str, value: Node, name_key: str, prefix: Steps = ()) -> Iterator[tuple[Steps, Node]]:
    """The list itself, then its entries by their names; an entry without a name is counted."""
    yield (*prefix, key), value
    if isinstance(value, ListNode):
        for index, item in enumerate(value.items):
            yield (*prefix, *_name_of(item, name_key, (key, str(index + 1)))), item


def _name_of(node: Node, name_key: str, otherwise: Steps) -> Steps:
    name = node.get(name_key) if isinstance(node, MapNode) else None
    return (name.text,) if isinstance(name, ScalarNode) and name.text else otherwise


def _bodies(key: str, value: Node) -> Iterator[tuple[Steps, Node]]:
    for steps, body in _entries(key, value, "name"):
        yield steps, body
        if body is value or not isinstance(body, MapNode):
            continue
        for entry in body.entries:
            if entry.key.text == "bodies":
                yield from _bodies("bodies", entry.value)
            elif entry.key.text in SHAPE_KEYS:
                yield from _value(steps, entry.key.text, entry.value, outer="")
            else:
                yield from _value((*steps, entry.key.text), entry.key.text, entry.value, outer="")


def _tool(steps: Steps, tool: Node) -> Iterator[tuple[Steps, Node]]:
    yield steps, tool
    if isinstance(tool, MapNode):
        for entry in tool.entries:
            is_outline = entry.key.text == "outline"
            yield from _value((*steps, entry.key.text), "rows" if is_outline else entry.key.text, entry.value, outer="")


def _orientation(steps: Steps, orientation: Node) -> Iterator[tuple[Steps, Node]]:
    yield steps, orientation
    if not isinstance(orientation, MapNode):
        return
    for entry in orientation.entries:
        if entry.key.text != "cuts":
            yield from _value((*steps, entry.key.text), entry.key.text, entry.value, outer="")
            continue
        for cut_steps, cut in _entries("cuts", entry.value, "name", steps):
            yield cut_steps, cut
            if cut is entry.value or not isinstance(cut, MapNode):
                continue
            for part in cut.entries:
                own = () if part.key.text in FEATURE_KEYS else (part.key.text,)
                yield from _value((*cut_steps, *own), part.key.text, part.value, outer="")


def _workpiece(steps: Steps, workpiece: Node) -> Iterator[tuple[Steps, Node]]:
    yield steps, workpiece
    if not isinstance(workpiece, MapNode):
        return
    for entry in workpiece.entries:
        if entry.key.text != "states" or not isinstance(entry.value, MapNode):
            yield from _value((*steps, entry.key.text), entry.key.text, entry.value, outer="")
            continue
        yield (*steps, "states"), entry.value
        for state in entry.value.entries:
            state_steps = (*steps, state.key.text)
            if isinstance(state.value, ListNode):
                yield state_steps, state.value
                yield from (pair for pair in _bodies("bodies", state.value) if pair[1] is not state.value)
            elif isinstance(state.value, MapNode):
                yield state_steps, state.value
                for part in state.value.entries:
                    if part.key.text == "bodies":
                        yield from _bodies("bodies", part.value)
                    else:
                        yield from _value((*state_steps, part.key.text), part.key.text, part.value, outer="")
            else:
                yield state_steps, state.value


def _object(steps: Steps, node: Node) -> Iterator[tuple[Steps, Node]]:
    yield steps, node
    if isinstance(node, MapNode):
        for entry in node.entries:
            yield from _value((*steps, entry.key.text), entry.key.text, entry.value, outer="")


def _value(steps: Steps, key: str, node: Node, outer: str) -> Iterator[tuple[Steps, Node]]:
    yield steps, node
    if isinstance(node, MapNode):
        for entry in node.entries:
            yield from _value((*steps, entry.key.text), entry.key.text, entry.value, outer=key)
    elif isinstance(node, ListNode):
        is_point = key in _POINTS or _POINT_OF.get(outer) == key
        inner = "at" if key in _LISTS_OF_POINTS else ""
        for index, item in enumerate(node.items):
            step = "xyz"[index] if is_point and index < 3 else str(index + 1)
            yield from _value((*steps, step), inner, item, outer=key)
