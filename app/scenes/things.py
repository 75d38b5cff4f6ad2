"""Things put into a scene, taken out of it and renamed: edits of its text, with all that refers to them.

1. Every edit gives a whole text; what it does not speak of stays byte for byte (`edits.py`).
2. A new thing goes beside its likes: a body behind what it stands on, a tool behind the last tool.
3. Taking something out never takes out what refers to it: who does is told by `riders_of`, for the user to decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from app.scenes.document import Document
from app.scenes.edits import EditError, insert_entry, insert_holder, remove_entry, set_value
from app.scenes.faults import SceneFileError
from app.scenes.forms import Thing, things_of, units_of
from app.scenes.located import ListNode, MapNode, ScalarNode
from app.scenes.names import FORBIDDEN, RESERVED, names_in
from app.scenes.yaml_text import Plain

BodyKind = Literal["box", "cylinder", "screw", "pin", "mesh"]

# What a new body starts as, in mm: sizes that a small fixture has, to be set right in its form.
STARTS: dict[BodyKind, Mapping[str, Plain]] = {
    "box": {"box": [20.0, 20.0, 20.0]},
    "cylinder": {"cylinder": {"d": 20.0, "h": 20.0}},
    "screw": {"screw": {"standard": "ISO 4762", "size": "M6"}},
    "pin": {"cylinder": {"d": 4.0, "h": 6.0}},
}
MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class Put:
    """A text with something new in it, and the path of that."""

    text: str
    path: str


def free_name(text: str, base: str) -> str:
    """`base`, or `base 2` and so on, whichever nothing is called yet."""
    taken = {use.name for use in names_in(_opened(text))} | set(RESERVED)
    number = 1
    while (name := base if number == 1 else f"{base} {number}") in taken:
        number += 1
    return name


def body_put(text: str, kind: BodyKind, *, on: str, mesh: str = "", mesh_units: str = "") -> Put:
    """A new body in the middle of the top of another, or on a frame. `mesh`: the file of a mesh, beside the scene."""
    name = free_name(text, kind if kind != "mesh" else "mesh body")
    if kind == "mesh":
        units: Mapping[str, Plain] = {"units": mesh_units} if mesh_units else {}
        shape: Mapping[str, Plain] = {"mesh": {"file": mesh, **units}}
    else:
        shape = _in_units(STARTS[kind], units_of(_opened(text)))
    entry: dict[str, Plain] = {"name": name, "rides_on": on, **shape}
    document = _opened(text)
    if on in {use.name for use in names_in(document) if use.what == "body"}:
        return Put(insert_entry(text, on, entry), name)
    return Put(_in_list(text, "bodies", entry), name)


def tool_put(text: str, tool: Mapping[str, Plain]) -> Put:
    """A new tool, last."""
    return Put(_in_list(text, "tools", dict(tool)), str(tool["id"]))


def holder_put(text: str) -> Put:
    """A new holder of two steps, to be set right in its form."""
    name = free_name(text, "H1")
    start: dict[str, Plain] = {"profile": [[28.0, 22.0, "nut"], [46.0, 20.0, "flange"]]}
    holder = {"title": "a new holder", **_in_units(start, units_of(_opened(text)))}
    return Put(insert_holder(text, name, holder), name)


def orientation_put(text: str, name: str, angles_deg: Mapping[str, float]) -> Put:
    """A new orientation without cuts, last."""
    entry: dict[str, Plain] = {"name": name, **angles_deg, "cuts": []}
    return Put(_in_list(text, "orientations", entry), name)


def cut_put(text: str, orientation: str, cut: Mapping[str, Plain]) -> Put:
    """A new cut of an orientation, last."""
    path = f"{orientation}/cuts"
    return Put(_in_list(text, path, dict(cut)), f"{orientation}/{cut['name']}")


def removed(text: str, path: str) -> str:
    """The text without a thing. Raises EditError where there is no such thing, or the scene can't be without it."""
    thing = _thing(_opened(text), path)
    if thing.kind in ("scene", "workpiece"):
        raise EditError(f"{path or 'the set-up'}: a scene can't be without it; expected a body, tool, holder or cut")
    return remove_entry(text, path)


def riders_of(text: str, path: str) -> tuple[str, ...]:
    """What refers to a thing, by path: bodies on it, cuts made with it, tools held by it, states after it."""
    document = _opened(text)
    thing = _thing(document, path)
    found = [document.path_of(node) for node in _references(document, thing)]
    owners = (_owner_of(document, reference) for reference in found)
    return tuple(dict.fromkeys(owner for owner in owners if owner != path and not owner.startswith(f"{path}/")))


def renamed(text: str, path: str, name: str) -> Put:
    """The text with a thing under another name, everywhere. Raises EditError where the name can't be had."""
    document = _opened(text)
    thing = _thing(document, path)
    if thing.kind in ("scene", "workpiece", "holder"):
        raise EditError(f"{path}: is renamed in the file; expected a body, tool, orientation or cut")
    if not name.strip() or name != name.strip() or any(sign in FORBIDDEN for sign in name):
        raise EditError(f"'{name}' can't be a name; expected one without blanks at its ends and without {FORBIDDEN}")
    key = "id" if thing.kind == "tool" else "name"
    own = document.find(path)
    scope = [u.name for u in names_in(document) if u.scope == _scope_of(thing) and u.name != path.rpartition("/")[2]]
    if name in (*scope, *RESERVED):
        raise EditError(f"something is called '{name}' already; expected another name")
    assert isinstance(own, MapNode), "a thing with a form is an object"
    changes: list[tuple[str, Plain]] = [
        (document.path_of(node), _reference_to(thing, node, name)) for node in _references(document, thing)
    ]
    for at, value in changes:
        text = set_value(text, at, value)
    text = set_value(text, f"{path}/{key}", name)
    head, _, _ = path.rpartition("/")
    return Put(text, f"{head}/{name}" if head else name)


# --- below the surface ---


def _opened(text: str) -> Document:
    document = Document("", text, "scene")
    if document.root is None or document.faults:
        raise SceneFileError(document.faults)
    return document


def _thing(document: Document, path: str) -> Thing:
    thing = next((t for t in things_of(document) if t.path == path), None)
    if thing is None:
        raise EditError(f"nothing is called '{path}'; expected a body, tool, holder, orientation or cut")
    return thing


def _in_units(start: Mapping[str, Plain], units: str) -> dict[str, Plain]:
    """Lengths of a start in the units of the file, in inch to a thousandth."""

    def turned(value: Plain) -> Plain:
        if isinstance(value, bool | str):
            return value
        if isinstance(value, int | float):
            return round(value / MM_PER_INCH, 3) if units == "inch" else value
        if isinstance(value, Mapping):
            return {key: turned(item) for key, item in value.items()}
        return [turned(item) for item in value]

    return {key: turned(value) for key, value in start.items()}


def _in_list(text: str, path: str, entry: Mapping[str, Plain]) -> str:
    """An entry put last into a list, which is made where it is missing."""
    document = _opened(text)
    root = document.root
    node = root.get(path) if isinstance(root, MapNode) and "/" not in path else document.find(path)
    if isinstance(node, ListNode) and node.items:
        return insert_entry(text, document.path_of(node.items[-1]), dict(entry))
    if node is document.find(path) is not None:
        return insert_entry(text, path, dict(entry))
    return set_value(text, path, [dict(entry)])


def _scope_of(thing: Thing) -> str:
    return f"cut of {thing.inside}" if thing.kind == "cut" else ""


def _references(document: Document, thing: Thing) -> Iterator[ScalarNode]:
    """The values that name a thing."""
    name = thing.path
    for path, node in document.paths().items():
        if not isinstance(node, ScalarNode):
            continue
        steps = path.split("/")
        last, above = steps[-1], steps[-2] if len(steps) > 1 else ""
        if thing.kind == "body":
            is_one = node.text == name and (last == "rides_on" or (last == "body" and above == "rides_on"))
        elif thing.kind in ("tool", "holder"):
            is_one = node.text == name and last == thing.kind
        else:  # an orientation or a cut, in what a state comes after
            whole = node.text == name or (thing.kind == "orientation" and node.text.startswith(f"{name}/"))
            is_one = above == "after" and whole
        if is_one:
            yield node


def _reference_to(thing: Thing, node: ScalarNode, name: str) -> str:
    if thing.kind == "cut":
        return f"{thing.inside}/{name}"
    if thing.kind == "orientation" and "/" in node.text:
        return f"{name}/{node.text.partition('/')[2]}"
    return name


def _owner_of(document: Document, path: str) -> str:
    """The thing that a value stands in: the longest path of a thing that it begins with."""
    inside = [t.path for t in things_of(document) if t.path and path.startswith(f"{t.path}/")]
    return max(inside, key=len) if inside else path
