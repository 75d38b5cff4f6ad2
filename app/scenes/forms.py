"""What can be edited of a scene, thing by thing: every value that stands there, and those that may be added.

1. Made from the text's tree and the models of the format: a key that the format knows is offered, with its own
   description; nothing here knows a key by name that the models know better.
2. A field is set by its path (`edits.set_text`); a field without a value is put in by the same.
3. Names that a field may take are those of the scene itself and of the catalogues that are handed in.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from app.scenes.body_model import Body
from app.scenes.catalogues import Catalogues
from app.scenes.document import Document, text_of
from app.scenes.located import Entry, ListNode, MapNode, Node, ScalarNode
from app.scenes.models import models_of
from app.scenes.paths import FEATURE_KEYS, SHAPE_KEYS, named_nodes
from app.scenes.reading import Located
from app.scenes.values import ChoiceRule, FlagRule, ListRule, NumberRule, TextRule
from app.scenes.yaml_text import plain_value

ThingKind = Literal["scene", "workpiece", "body", "holder", "tool", "orientation", "cut"]
FieldKind = Literal["number", "text", "choice", "flag", "list"]

MOST_ENTRIES = 40  # a longer list is edited in its file
_ALTERNATIVES = frozenset((*SHAPE_KEYS, *FEATURE_KEYS, "bodies", "cuts", "outline", "rectangle", "points", "file"))
_OWN_THINGS = frozenset({"bodies", "tools", "holders", "orientations", "cuts", "workpiece", "workpieces", "states"})
_NOT_OFFERED = frozenset({"format", "units", "name", "id", "machine", "profile", "workpiece", "workpieces", "notes"})
_STEP = ("d1", "d2", "length", "name")


@dataclass(frozen=True, slots=True)
class FormField:
    """One value.

    Parameters
    ----------
    path : as edits take it.
    hint : what it is among the fields of its row (x, y, z, d ...); empty where the row's label says it.
    written : as it stands in the text; None where the file does not give it.
    unit : mm, inch, deg or empty.
    choices : words that it may take, or names that there are; with kind `text` others may be typed too.
    """

    path: str
    hint: str
    kind: FieldKind
    written: str | None
    unit: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FormRow:
    """Fields that belong together.

    Parameters
    ----------
    about : what they are, in the words of the format.
    entry : the path of the entry of a list that they are, which may have more like it; empty for others.
    """

    label: str
    about: str
    fields: tuple[FormField, ...]
    entry: str = ""

    @property
    def is_given(self) -> bool:
        return any(field.written is not None for field in self.fields)


@dataclass(frozen=True, slots=True)
class Thing:
    """Something of a scene that has a form. `inside`: the group or orientation that it stands in; empty for none."""

    path: str
    kind: ThingKind
    what: str
    inside: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """All values of one thing, those that are given first in file order, then those that may be."""

    thing: Thing
    rows: tuple[FormRow, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Names:
    """Names that fields may take, beyond those of the scene's own text.

    Parameters
    ----------
    carriers : frames that a body may ride on.
    holders : of the catalogues.
    sizes : the sizes of each standard.
    """

    carriers: tuple[str, ...] = ("bed", "table", "head")
    holders: tuple[str, ...] = ()
    sizes: tuple[tuple[str, tuple[str, ...]], ...] = ()


def names_in(catalogues: Catalogues, machine: str | None) -> Names:
    """The names that the catalogues give; `machine`: by its name, for the frames that its axes carry."""
    sizes = []
    for found in catalogues.listing("hardware"):
        root = catalogues.document(found)[0].root
        rows = root.get("sizes") if isinstance(root, MapNode) else None
        if isinstance(rows, MapNode):
            sizes.append((found.name, tuple(entry.key.text for entry in rows.entries)))
    carriers = ["bed", "table", "head"]
    there = catalogues.find("machine", machine) if machine else None
    if there is not None:
        root = catalogues.document(there)[0].root
        axes = root.get("table_axes") if isinstance(root, MapNode) else None
        for axis in axes.items if isinstance(axes, ListNode) else ():
            carried = text_of(axis.get("carries")) if isinstance(axis, MapNode) else None
            carriers += [carried] if carried else []
    return Names(tuple(carriers), catalogues.names("holder"), tuple(sizes))


def units_of(document: Document) -> str:
    """The units that a scene says its lengths are in; mm where it does not say them."""
    root = document.root
    return (text_of(root.get("units")) if isinstance(root, MapNode) else None) or "mm"


def things_of(document: Document) -> tuple[Thing, ...]:
    """Everything that has a form: the scene itself, then its things in file order."""
    root = document.root
    if not isinstance(root, MapNode):
        return ()
    found = [Thing("", "scene", text_of(root.get("title")) or "set-up")]
    models = models_of(document)
    inside = ""
    for steps, node in named_nodes(root, document.kind):
        model = models.get(id(node))
        kind = _KINDS.get(model.__name__) if model is not None else None
        if kind is None or not isinstance(node, MapNode):
            continue
        path = "/".join(steps)
        if kind == "orientation":
            inside = path
        found.append(Thing(path, kind, _what(node, kind), inside if kind == "cut" else ""))
    return tuple(_with_groups(document, found))


_KINDS: dict[str, ThingKind] = {
    "Workpiece": "workpiece",
    "Body": "body",
    "Holder": "holder",
    "Tool": "tool",
    "Orientation": "orientation",
    "Cut": "cut",
}


def _with_groups(document: Document, found: list[Thing]) -> Iterator[Thing]:
    """Bodies with the group that they stand in."""
    groups: dict[str, str] = {}
    for thing in found:
        node = document.find(thing.path) if thing.kind == "body" else None
        members = node.get("bodies") if isinstance(node, MapNode) else None
        for member in members.items if isinstance(members, ListNode) else ():
            groups[document.path_of(member)] = thing.path
        yield replace(thing, inside=groups.get(thing.path, thing.inside))


def _what(node: MapNode, kind: ThingKind) -> str:
    """What a thing is, in a word or two."""
    if kind == "body":
        keys = [entry.key.text for entry in node.entries]
        return next((key for key in keys if key in SHAPE_KEYS), "group" if "bodies" in keys else "body")
    if kind == "tool":
        return text_of(node.get("kind")) or "tool"
    if kind == "holder":
        return text_of(node.get("title")) or "holder"
    if kind == "cut":
        feature = next((entry.key.text for entry in node.entries if entry.key.text in FEATURE_KEYS), "cut")
        tool = text_of(node.get("tool"))
        return f"{feature}, {tool}" if tool else feature
    return kind


def form_of(document: Document, thing: Thing, names: Names) -> Form:
    """The form of a thing of this document."""
    node = document.find(thing.path) if thing.path else document.root
    if not isinstance(node, MapNode):
        return Form(thing, ())
    making = _Making(document, names)
    model = making.models[id(node)]
    rows = list(making.given(node, model, "", thing.path)) + list(making.may_be_given(node, model, thing.path))
    return Form(thing, tuple(rows), "; ".join(making.notes))


class _Making:
    """Rows of one form."""

    def __init__(self, document: Document, names: Names) -> None:
        self.document = document
        self.names = names
        self.notes: list[str] = []
        self.models = models_of(document)
        self.length_unit = units_of(document)

    def given(self, node: MapNode, model: type[Located], prefix: str, path: str) -> Iterator[FormRow]:
        """Rows of what stands in an object; objects within it follow where they stand."""
        known = model.known_keys()
        for entry in node.entries:
            key, value = entry.key.text, entry.value
            if key in _OWN_THINGS or (not path and key in ("format", "units")):
                continue
            field = known.get(key)
            annotation = field.annotation if field is not None else None
            metadata = field.metadata if field is not None else [NumberRule("an angle", "deg")]
            about = (field.description if field is not None else "degrees of this table axis") or ""
            label = f"{prefix} {key}".strip()
            if isinstance(value, MapNode):
                inner = self.models.get(id(value))
                if inner is not None:
                    yield from self.given(value, inner, prefix if key in _ALTERNATIVES else label, path or key)
            elif isinstance(value, ListNode):
                yield from self._list(value, label, about, annotation, metadata)
            elif isinstance(value, ScalarNode):
                yield FormRow(label, about, (self._field(value, "", annotation, metadata, entry, node),))

    def may_be_given(self, node: MapNode, model: type[Located], path: str) -> Iterator[FormRow]:
        """Rows of what the format knows and the file does not give."""
        there = {entry.key.text for entry in node.entries}
        is_group = "bodies" in there and bool(path)
        for key, field in model.known_keys().items():
            if key in there | _OWN_THINGS | _NOT_OFFERED | _ALTERNATIVES or (is_group and key == "errors"):
                continue
            own = f"{path}/{key}" if path else key
            rule = _rule(field.annotation, field.metadata)
            if rule is not None:
                kind, unit, choices = self._kind(rule, key, node)
                yield FormRow(key, field.description or "", (FormField(own, "", kind, None, unit, choices),))
            elif (inner := _model_in(field.annotation)) is not None:
                fields = tuple(
                    FormField(f"{own}/{k}", k, *self._empty(f, k, node))
                    for k, f in inner.known_keys().items()
                    if _rule(f.annotation, f.metadata) is not None
                )
                if fields and key != "leave":
                    yield FormRow(key, field.description or "", fields)
            elif _list_rule(field.annotation, field.metadata) is not None:
                yield FormRow(key, field.description or "", (FormField(own, "", "list", None),))

    def _empty(self, field: Any, key: str, node: MapNode) -> tuple[FieldKind, None, str, tuple[str, ...]]:
        rule = _rule(field.annotation, field.metadata)
        assert rule is not None, "only single values are asked"
        kind, unit, choices = self._kind(rule, key, node)
        return kind, None, unit, choices

    def _list(self, value: ListNode, label: str, about: str, annotation: Any, metadata: list[Any]) -> Iterator[FormRow]:
        if len(value.items) > MOST_ENTRIES:
            self.notes.append(f"{label} has {len(value.items)} entries: they are edited in the file")
            return
        if value.items and all(isinstance(item, ListNode) for item in value.items):
            for number, item in enumerate(value.items, start=1):
                assert isinstance(item, ListNode)
                steps = tuple(self._step(item, index, node) for index, node in enumerate(item.items))
                if None not in steps:
                    fields = tuple(step for step in steps if step is not None)
                    yield FormRow(f"{label} {number}", about, fields, self.document.path_of(item))
            return
        if not all(isinstance(item, ScalarNode) for item in value.items):
            return
        item_annotation = _item_of(annotation)
        singles = tuple(
            self._field(
                item, self._hint(item), item_annotation, metadata if item_annotation is None else [], None, None
            )
            for item in value.items
            if isinstance(item, ScalarNode)
        )
        if singles:
            yield FormRow(label, about, singles)

    def _step(self, row: ListNode, index: int, node: Node) -> FormField | None:
        """A field of a step [d, l] or [d1, d2, l], with or without a word last."""
        if not isinstance(node, ScalarNode):
            return None
        path = self.document.path_of(node)
        if isinstance(node.value, str):
            return FormField(path, "name", "text", self.document.written(node))
        numbers = [item for item in row.items if isinstance(item, ScalarNode) and not isinstance(item.value, str)]
        is_point = path.rpartition("/")[2] in ("x", "y", "z")
        hint = path.rpartition("/")[2] if is_point else ("l" if index == len(numbers) - 1 else "d")
        return FormField(path, hint, "number", self.document.written(node), self.length_unit)

    def _hint(self, item: Node) -> str:
        last = self.document.path_of(item).rpartition("/")[2]
        return last if last in ("x", "y", "z") else ""

    def _field(
        self,
        value: ScalarNode,
        hint: str,
        annotation: Any,
        metadata: list[Any],
        entry: Entry | None,
        node: MapNode | None,
    ) -> FormField:
        rule = _rule(annotation, metadata) or TextRule("a text")
        kind, unit, choices = self._kind(rule, entry.key.text if entry is not None else "", node)
        written = self.document.written(value)
        if kind in ("text", "choice"):
            plain = plain_value(written)
            written = plain if isinstance(plain, str) else written
        return FormField(self.document.path_of(value), hint, kind, written, unit, choices)

    def _kind(self, rule: object, key: str, node: MapNode | None) -> tuple[FieldKind, str, tuple[str, ...]]:
        if isinstance(rule, NumberRule):
            return "number", self.length_unit if rule.unit == "mm" else rule.unit, ()
        if isinstance(rule, FlagRule):
            return "flag", "", ("true", "false")
        if isinstance(rule, ChoiceRule):
            return "choice", "", rule.options
        return "text", "", self._names_for(key, node)

    def _names_for(self, key: str, node: MapNode | None) -> tuple[str, ...]:
        if key == "holder":
            return tuple(dict.fromkeys((*self._keys("holders"), *self.names.holders)))
        if key == "tool":
            return self._named("tools", "id")
        if key in ("rides_on", "body"):
            return (*self.names.carriers, *self._solids())
        if key == "state":
            return tuple(dict.fromkeys(self._states()))
        if key == "standard":
            return tuple(standard for standard, _ in self.names.sizes)
        if key == "size" and node is not None:
            standard = text_of(node.get("standard"))
            return dict(self.names.sizes).get(standard or "", ())
        return ()

    def _solids(self) -> Iterator[str]:
        """Bodies that others can stand on."""
        for steps, node in named_nodes(_root(self.document), self.document.kind):
            is_body = isinstance(node, MapNode) and self.models.get(id(node)) is Body
            if is_body and isinstance(node, MapNode) and node.get("bodies") is None:
                yield "/".join(steps)

    def _keys(self, key: str) -> tuple[str, ...]:
        root = self.document.root
        node = root.get(key) if isinstance(root, MapNode) else None
        return tuple(entry.key.text for entry in node.entries) if isinstance(node, MapNode) else ()

    def _named(self, key: str, name: str) -> tuple[str, ...]:
        root = self.document.root
        node = root.get(key) if isinstance(root, MapNode) else None
        items = node.items if isinstance(node, ListNode) else ()
        found = (text_of(item.get(name)) for item in items if isinstance(item, MapNode))
        return tuple(text for text in found if text)

    def _states(self) -> Iterator[str]:
        root = self.document.root
        if not isinstance(root, MapNode):
            return
        several = root.get("workpieces")
        for node in (root.get("workpiece"), *(several.items if isinstance(several, ListNode) else ())):
            states = node.get("states") if isinstance(node, MapNode) else None
            if isinstance(states, MapNode):
                yield from (entry.key.text for entry in states.entries)


def _root(document: Document) -> Node:
    assert document.root is not None, "a form is made of something"
    return document.root


def _parts(annotation: Any) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """The forms of a value with what is annotated to each."""
    origin = get_origin(annotation)
    if origin is Annotated:
        base, *metadata = get_args(annotation)
        for form, own in _parts(base):
            yield form, (*own, *metadata)
    elif origin is Union or origin is types.UnionType:
        for part in get_args(annotation):
            yield from _parts(part)
    else:
        yield annotation, ()


_SINGLE = (NumberRule, ChoiceRule, FlagRule, TextRule)


def _rule(annotation: Any, metadata: list[Any]) -> object | None:
    """The rule of a single value; None for lists and objects."""
    for form, own in _parts(annotation):
        if get_origin(form) is tuple:
            continue
        found = next((m for m in (*own, *metadata) if isinstance(m, _SINGLE)), None)
        if found is not None:
            return found
    return None


def _list_rule(annotation: Any, metadata: list[Any]) -> ListRule | None:
    for form, own in _parts(annotation):
        if get_origin(form) is tuple:
            return next((m for m in (*own, *metadata) if isinstance(m, ListRule)), None)
    return None


def _item_of(annotation: Any) -> Any:
    for form, _ in _parts(annotation):
        if get_origin(form) is tuple:
            return get_args(form)[0]
    return None


def _model_in(annotation: Any) -> type[Located] | None:
    for form, _ in _parts(annotation):
        if isinstance(form, type) and issubclass(form, Located):
            return form
    return None
